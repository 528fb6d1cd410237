//! What a sensor would read in a temperature field.
//!
//! A sensor sits at a point of a face. Its reading is the face's temperature there, linear between
//! the middles of the cells around it and level beyond the outermost middles: a weighted sum of at
//! most four cells' face temperatures.

use crate::conduction::faces::{WetSide, source_rises};
use crate::conduction::{Network, SourceFace};
use crate::mesh::CellRange;
use crate::module::{Face, Module, Sensor, SensorPlace};
use crate::steady::GridSolution;

/// Allowance over the change from the half grid to the fine one: at least first order in the cell
/// size, with the published safety factor 1.25 of the grid convergence index (Roache 1994, J.
/// Fluids Eng. 116, 405-413).
const SAFETY: f64 = 1.25;

/// A sensor on a mesh: the cells of the face around it and the weight of each, row by row.
#[derive(Debug, Clone)]
pub struct SensorPoint {
    /// The face, with the cells that count and no heat of its own.
    pub face: SourceFace,
    /// One weight a cell of the face's range; their sum is one.
    pub weights: Vec<f64>,
}

/// The points of `sensors` on the mesh of `network`.
pub fn sensor_points(sensors: &[Sensor], network: &Network) -> Vec<SensorPoint> {
    sensors.iter().map(|sensor| point_at(network, sensor.place, sensor.at_m)).collect()
}

/// Readings in a temperature field, K above the coolant inlet. `x` holds the rises of the
/// unknowns; `factors` those of the conductivities, where any varies.
pub fn sensor_rises(
    network: &Network,
    factors: Option<&[f64]>,
    x: &[f64],
    wet: &WetSide,
    points: &[SensorPoint],
) -> Vec<f64> {
    points
        .iter()
        .map(|point| {
            let rises = source_rises(network, factors, &point.face, x, wet);
            rises.iter().zip(&point.weights).map(|(rise, weight)| rise * weight).sum()
        })
        .collect()
}

/// The face on which a sensor sits: block, face number, and the cells that the face spans.
fn face_of(network: &Network, place: SensorPlace) -> (usize, usize, CellRange) {
    let plane = &network.mesh.plane;
    let whole = CellRange { i0: 0, i1: plane.nx(), j0: 0, j1: plane.ny() };
    match place {
        SensorPlace::Junction { die } => {
            let source = &network.sources[die];
            (source.block, source.face, source.cells)
        }
        SensorPlace::Back { die } => {
            let island = &network.mesh.islands[die];
            (die + 1, island.sheets.len(), island.cells)
        }
        SensorPlace::Layer { layer, face } => {
            let boundary = layer + usize::from(face == Face::Top);
            let face = network.mesh.sheets.iter().filter(|s| s.layer < boundary).count();
            (0, face, whole)
        }
    }
}

/// The point of a face at a position.
pub(crate) fn point_at(network: &Network, place: SensorPlace, at_m: [f64; 2]) -> SensorPoint {
    let (block, face, span) = face_of(network, place);
    let plane = &network.mesh.plane;
    let (i, x) = between_middles(&plane.x_lines_m[span.i0..=span.i1], at_m[0]);
    let (j, y) = between_middles(&plane.y_lines_m[span.j0..=span.j1], at_m[1]);
    let (i0, j0) = (span.i0 + i, span.j0 + j);
    let cells = CellRange { i0, i1: i0 + x.len(), j0, j1: j0 + y.len() };
    let weights = y.iter().flat_map(|wy| x.iter().map(move |wx| wx * wy)).collect();
    SensorPoint { face: SourceFace { block, face, cells, heat_W: Vec::new() }, weights }
}

/// First of the cells between `lines` that count at `position`, and the weights of one or two.
fn between_middles(lines: &[f64], position: f64) -> (usize, Vec<f64>) {
    let middle = |cell: usize| 0.5 * (lines[cell] + lines[cell + 1]);
    let n = lines.len() - 1;
    let above = (0..n).find(|&cell| middle(cell) > position).unwrap_or(n);
    if above == 0 {
        return (0, vec![1.0]);
    }
    if above == n {
        return (n - 1, vec![1.0]);
    }
    let (low, high) = (middle(above - 1), middle(above));
    let share = (position - low) / (high - low);
    (above - 1, vec![1.0 - share, share])
}

/// What a sensor should read, and how far that may be off; numerical error and error of the
/// sensor are kept apart.
#[derive(Debug, Clone, PartialEq)]
pub struct SensorReading {
    /// Predicted temperature, K.
    pub temperature_K: f64,
    /// Estimated numerical error of the prediction, K.
    pub uncertainty_K: f64,
    /// Limit of error of the sensor at that temperature, K.
    pub limit_of_error_K: f64,
    /// Largest change of the prediction when the sensor sits as far off as `placement_m`, K.
    pub placement_K: f64,
    /// Whether the limit of error is published for that temperature.
    pub limit_applies: bool,
}

/// What `sensors` should read in `fine`, the solution on the last grid. The numerical error is
/// that of the change from `half`, plus the least uncertainty of any junction, which holds what
/// stated slices and iteration leave.
pub fn sensor_readings(
    module: &Module,
    sensors: &[Sensor],
    fine: &GridSolution,
    half: &GridSolution,
    least_uncertainty_K: f64,
) -> Vec<SensorReading> {
    let inlet_K = module.coolant.inlet_K;
    let rises_in = |solution: &GridSolution, wanted: &[(SensorPlace, [f64; 2])]| -> Vec<f64> {
        let network = Network::new(module, &solution.mesh);
        let points: Vec<SensorPoint> =
            wanted.iter().map(|&(place, at_m)| point_at(&network, place, at_m)).collect();
        let factors = solution.factors.as_deref();
        sensor_rises(&network, factors, &solution.rise_K, &solution.wet, &points)
    };
    let places: Vec<(SensorPlace, [f64; 2])> =
        sensors.iter().map(|sensor| (sensor.place, sensor.at_m)).collect();
    let on_fine = rises_in(fine, &places);
    let on_half = rises_in(half, &places);
    sensors
        .iter()
        .zip(on_fine.iter().zip(&on_half))
        .map(|(sensor, (&rise, &coarse))| {
            let moved = moved(module, sensor);
            let placement_K =
                rises_in(fine, &moved).iter().fold(0.0, |m: f64, r| m.max((r - rise).abs()));
            let temperature_K = inlet_K + rise;
            SensorReading {
                temperature_K,
                uncertainty_K: SAFETY * (rise - coarse).abs() + least_uncertainty_K,
                limit_of_error_K: sensor.limit_of_error_K(temperature_K),
                placement_K,
                limit_applies: match sensor.error {
                    crate::module::SensorError::Published(limits) => {
                        limits.covers(temperature_K - 273.15)
                    }
                    crate::module::SensorError::Stated(_) => true,
                },
            }
        })
        .collect()
}

/// The sensor moved by its tolerance along either axis, kept on its face; none without one.
fn moved(module: &Module, sensor: &Sensor) -> Vec<(SensorPlace, [f64; 2])> {
    if sensor.placement_m == 0.0 {
        return Vec::new();
    }
    let face = match sensor.place {
        SensorPlace::Junction { die } | SensorPlace::Back { die } => module.die[die].rect,
        SensorPlace::Layer { .. } => module.outline(),
    };
    let [x, y] = sensor.at_m;
    let by = sensor.placement_m;
    [[x - by, y], [x + by, y], [x, y - by], [x, y + by]]
        .map(|[x, y]| {
            let at_m = [x.clamp(face.x0_m, face.x1_m), y.clamp(face.y0_m, face.y1_m)];
            (sensor.place, at_m)
        })
        .to_vec()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::module::{ActiveFace, SensorError};
    use crate::results::face_statistics;
    use crate::steady::{SteadyOptions, solve_keeping_half};
    use crate::study::testing::{prescribed, solved, with_nozzles};

    fn sensor(place: SensorPlace, at_m: [f64; 2]) -> Sensor {
        let error = SensorError::Stated(0.5);
        Sensor { name: "S".to_owned(), place, at_m, error, placement_m: 0.0 }
    }

    fn read(module: &Module, solution: &GridSolution, sensors: &[Sensor]) -> Vec<f64> {
        let network = Network::new(module, &solution.mesh);
        let points = sensor_points(sensors, &network);
        for point in &points {
            assert!((point.weights.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        }
        let factors = solution.factors.as_deref();
        sensor_rises(&network, factors, &solution.rise_K, &solution.wet, &points)
    }

    #[test]
    fn a_sensor_at_the_hottest_cell_reads_within_the_junction_s_extremes() {
        for module in [prescribed(), with_nozzles()] {
            let solution = solved(&module);
            let network = Network::new(&module, &solution.mesh);
            let statistics = face_statistics(&network, &solution);
            for (die, s) in statistics.iter().take(module.die.len()).enumerate() {
                let at = |at_m| sensor(SensorPlace::Junction { die }, at_m);
                let rises = read(&module, &solution, &[at(s.at_m)]);
                assert!(rises[0] <= s.max_K + 1e-9, "{} {}", rises[0], s.max_K);
                assert!(rises[0] > s.mean_K, "{} {}", rises[0], s.mean_K);
            }
        }
    }

    /// Heat flows from the junction of a flip chip through its body: the wet back is colder; and
    /// a sensor between two layers reads between those on either side.
    #[test]
    fn readings_fall_from_the_junction_to_the_wet_back() {
        let module = prescribed();
        let solution = solved(&module);
        for die in 0..module.die.len() {
            let at_m = module.die[die].rect.centre_m();
            let read = read(
                &module,
                &solution,
                &[
                    sensor(SensorPlace::Junction { die }, at_m),
                    sensor(SensorPlace::Back { die }, at_m),
                ],
            );
            if module.die[die].active_face == ActiveFace::Down {
                assert!(read[0] > read[1], "{read:?}");
            } else {
                assert_eq!(read[0], read[1]);
            }
        }
    }

    #[test]
    fn a_sensor_on_a_layer_reads_the_heater_beneath_it() {
        let module = prescribed();
        let solution = solved(&module);
        let network = Network::new(&module, &solution.mesh);
        let heater = &module.heaters[0];
        let s = face_statistics(&network, &solution)[module.die.len()];
        let place = SensorPlace::Layer { layer: heater.layer, face: heater.face };
        let rises = read(&module, &solution, &[sensor(place, heater.rect.centre_m())]);
        assert!(rises[0] <= s.max_K + 1e-9 && rises[0] >= s.min_K, "{} {s:?}", rises[0]);
    }

    /// By as much as the reading of a sensor that stands where this one may be differs from its own;
    /// on the edge of a die it moves along the edge and inward.
    #[test]
    fn placement_costs_what_the_reading_changes_over_the_tolerance() {
        let mut module = prescribed();
        module.mesh.accuracy_K = 0.5;
        let (_, fine, half) =
            solve_keeping_half(&module, &SteadyOptions::default(), &mut |_| ()).unwrap();
        let place = SensorPlace::Junction { die: 0 };
        let rect = module.die[0].rect;
        let by = 0.4e-3;
        for at_m in [rect.centre_m(), [rect.x0_m, rect.y0_m + 0.3 * rect.height_m()]] {
            let mut tolerant = sensor(place, at_m);
            tolerant.placement_m = by;
            let reading = &sensor_readings(&module, &[tolerant], &fine, &half, 0.0)[0];
            let [x, y] = at_m;
            let around = [[(x - by).max(rect.x0_m), y], [x + by, y], [x, y - by], [x, y + by]];
            let here = read(&module, &fine, &[sensor(place, at_m)])[0];
            let there = read(&module, &fine, &around.map(|at_m| sensor(place, at_m)));
            let most = there.iter().fold(0.0f64, |m, r| m.max((r - here).abs()));
            assert!(most > 0.05, "a place with a slope: {most}");
            assert!((reading.placement_K - most).abs() < 1e-9, "{} {most}", reading.placement_K);
            let coarse = read(&module, &half, &[sensor(place, at_m)])[0];
            let error_K = SAFETY * (here - coarse).abs();
            assert!((reading.uncertainty_K - error_K).abs() < 1e-9, "{reading:?} {error_K}");
        }
    }

    #[test]
    fn the_numerical_error_covers_a_much_finer_solve() {
        let mut module = prescribed();
        let sensors: Vec<Sensor> = (0..module.die.len())
            .map(|die| {
                let rect = module.die[die].rect;
                let at_m = [rect.x0_m + 0.31 * rect.width_m(), rect.y0_m + 0.43 * rect.height_m()];
                sensor(SensorPlace::Junction { die }, at_m)
            })
            .collect();
        let mut at = |accuracy_K: f64| {
            module.mesh.accuracy_K = accuracy_K;
            let solved = solve_keeping_half(&module, &SteadyOptions::default(), &mut |_| ());
            let (result, fine, half) = solved.expect("a steady state");
            let least = result.junctions.iter().map(|j| j.uncertainty_K).fold(f64::MAX, f64::min);
            sensor_readings(&module, &sensors, &fine, &half, least)
        };
        let (rough, exact) = (at(0.5), at(0.05));
        for (rough, exact) in rough.iter().zip(&exact) {
            let error = (rough.temperature_K - exact.temperature_K).abs();
            assert!(error <= rough.uncertainty_K + exact.uncertainty_K, "{rough:?} {exact:?}");
        }
    }
}
