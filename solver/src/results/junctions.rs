//! Junction temperatures, hot spots and fields from a solution on a mesh.

use std::sync::Arc;

use ndarray::Array2;
use rayon::prelude::*;

use super::peak::{peak, weights_at};
use super::spray::{ChfMargin, wetting_of};
use super::{HotSpot, Junction, PlaneField, SheetField};
use crate::conduction::faces::source_rises;
use crate::conduction::{Network, SourceFace};
use crate::mesh::IslandPart;
use crate::module::Module;
use crate::steady::GridSolution;

/// A local maximum is kept when it stands this far above the lowest junction of its source, as a
/// share of the source's own spread: ripples are no hot spots.
const LEAST_PROMINENCE: f64 = 0.2;

/// Highest, mean and lowest rise of one active face, K, and where the highest lies.
#[derive(Debug, Clone, Copy)]
pub struct FaceStatistics {
    /// Highest rise, K.
    pub max_K: f64,
    /// Area mean, K.
    pub mean_K: f64,
    /// Lowest rise, K.
    pub min_K: f64,
    /// Where the highest lies, m.
    pub at_m: [f64; 2],
    /// Column and row of the highest cell near it, counted from 1; 0 and one past the last are
    /// the rim.
    pub highest: [usize; 2],
    /// Smallest margin to critical heat flux on the wet face above; `None` without nozzles.
    pub chf: Option<ChfMargin>,
    /// Whether the highest lies on the rim of a source on the substrate, where the temperature
    /// goes on rising or falling with no break.
    pub on_rim: bool,
}

/// Statistics of every source's active face.
///
/// Extremes are taken over the middles of the cells and over the rim of the face, to which the
/// outermost two cells are carried on: a junction is coldest at its corner, and the middle of the
/// corner cell would miss it by an error of first order. The sides of a die are adiabatic, so that
/// temperature meets its rim with no slope; the rim of a source on the substrate is inside a
/// sheet, and the cells are carried on linearly.
pub fn face_statistics(network: &Network, solution: &GridSolution) -> Vec<FaceStatistics> {
    let of = |source| FaceStatistics {
        chf: wetting_of(network, solution, source).and_then(|(_, chf)| chf),
        ..statistics_of_face(network, source, &rises_of(network, solution, source))
    };
    network.sources.par_iter().map(of).collect()
}

/// Statistics of one active face from its rises, row by row, see [`face_statistics`]; without the
/// margin to critical heat flux, which is not the face's own.
pub fn statistics_of_face(network: &Network, source: &SourceFace, rises: &[f64]) -> FaceStatistics {
    let plane = &network.mesh.plane;
    let (nx, ny) = (source.cells.nx(), source.cells.ny());
    let (mut sum, mut area_sum) = (0.0, 0.0);
    for (c, &rise) in rises.iter().enumerate() {
        let area = network.cell_area_m2(source.cells.i0 + c % nx, source.cells.j0 + c / nx);
        sum += area * rise;
        area_sum += area;
    }
    let x_points = points(&plane.x_lines_m[source.cells.i0..=source.cells.i1]);
    let y_points = points(&plane.y_lines_m[source.cells.j0..=source.cells.j1]);
    let rim = Rim::of(source);
    let rows: Vec<Vec<f64>> =
        (0..ny).map(|j| with_rim(&rises[j * nx..(j + 1) * nx], &x_points, rim)).collect();
    let column = |i: usize| {
        let cells: Vec<f64> = rows.iter().map(|row| row[i]).collect();
        with_rim(&cells, &y_points, rim)
    };
    let mut max_K = f64::NEG_INFINITY;
    let mut min_K = f64::INFINITY;
    let mut highest = [0, 0];
    for i in 0..x_points.len() {
        for (j, value) in column(i).into_iter().enumerate() {
            min_K = min_K.min(value);
            // Symmetric modules have equal maxima: the first beyond rounding stands.
            if max_K == f64::NEG_INFINITY || value > max_K + 1e-12 * max_K.abs() {
                (max_K, highest) = (value, [i, j]);
            }
        }
    }
    let [i, j] = highest;
    let mut at_m = [x_points[i], y_points[j]];
    let inside = (1..=nx).contains(&i) && (1..=ny).contains(&j);
    // Between the middles of cells the peak may be a little higher.
    if inside {
        let (rise_x, x) = peak(&rows[j - 1], &x_points, i);
        let (rise_y, y) = peak(&column(i), &y_points, j);
        max_K += rise_x + rise_y;
        at_m = [x, y];
    }
    let on_rim = !inside && rim == Rim::Sloped;
    FaceStatistics { max_K, mean_K: sum / area_sum, min_K, at_m, highest, on_rim, chf: None }
}

/// Middles of the cells between `lines`, with the first and the last line around them.
fn points(lines: &[f64]) -> Vec<f64> {
    let mut points = vec![lines[0]];
    points.extend(lines.windows(2).map(|w| 0.5 * (w[0] + w[1])));
    points.push(lines[lines.len() - 1]);
    points
}

/// How temperature meets the rim of a face.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Rim {
    /// With no slope, as at an adiabatic side.
    Flat,
    /// With the slope of the cells next to it.
    Sloped,
}

impl Rim {
    fn of(source: &SourceFace) -> Rim {
        if source.block == 0 { Rim::Sloped } else { Rim::Flat }
    }
}

/// Cell values with a value at either end, carried on from the two cells next to it, at distances
/// d1 and d2 from the rim; `points` are the positions of all of them.
///
/// ```text
/// sloped: T1 + (T1 - T2) d1 / (d2 - d1)          flat: T1 + (T1 - T2) d1² / (d2² - d1²)
/// ```
fn with_rim(values: &[f64], points: &[f64], meets: Rim) -> Vec<f64> {
    let n = values.len();
    let carried = |near: usize, next: usize, rim: usize| {
        if n == 1 {
            return values[0];
        }
        let [d1, d2] = [near, next].map(|cell| (points[cell + 1] - points[rim]).abs());
        let share = match meets {
            Rim::Sloped => d1 / (d2 - d1),
            Rim::Flat => d1 * d1 / (d2 * d2 - d1 * d1),
        };
        values[near] + (values[near] - values[next]) * share
    };
    let mut all = Vec::with_capacity(n + 2);
    all.push(carried(0, 1.min(n - 1), 0));
    all.extend_from_slice(values);
    all.push(carried(n - 1, n.saturating_sub(2), n + 1));
    all
}

/// The highest temperature of a face as a weighted sum of its cells' temperatures: the weights,
/// row by row, for the point that [`face_statistics`] found. Weights of a point in the middle of a
/// cell are 1 there and 0 elsewhere; on the rim they carry on from two cells.
pub fn peak_weights(network: &Network, source: &SourceFace, top: &FaceStatistics) -> Vec<f64> {
    let plane = &network.mesh.plane;
    // Along one axis: weights of the highest point itself, and of the top of the curve near it.
    let along = |lines: &[f64], highest: usize, at: f64| -> (Vec<f64>, Vec<f64>) {
        let points = points(lines);
        let curve = weights_at(&points, at);
        let n = points.len() - 2;
        (0..n)
            .map(|cell| {
                let unit: Vec<f64> = (0..n).map(|k| if k == cell { 1.0 } else { 0.0 }).collect();
                let values = with_rim(&unit, &points, Rim::of(source));
                let curved: f64 = curve.iter().zip(&values).map(|(w, v)| w * v).sum();
                (values[highest], curved)
            })
            .unzip()
    };
    let cells = source.cells;
    let [i, j] = top.highest;
    let (x, x_curved) = along(&plane.x_lines_m[cells.i0..=cells.i1], i, top.at_m[0]);
    let (y, y_curved) = along(&plane.y_lines_m[cells.j0..=cells.j1], j, top.at_m[1]);
    let mut weights = Vec::with_capacity(cells.len());
    for (wy, cy) in y.iter().zip(&y_curved) {
        for (wx, cx) in x.iter().zip(&x_curved) {
            weights.push(wy * cx + cy * wx - wy * wx);
        }
    }
    weights
}

fn rises_of(
    network: &Network,
    solution: &GridSolution,
    source: &crate::conduction::SourceFace,
) -> Vec<f64> {
    source_rises(network, solution.factors.as_deref(), source, &solution.rise_K, &solution.wet)
}

/// What the printed figures of one source may be off by.
#[derive(Debug, Clone, Copy)]
pub struct FaceDoubt {
    /// That of the maximum, K.
    pub max_K: f64,
    /// That of the mean, K.
    pub mean_K: f64,
    /// That of the minimum, K.
    pub min_K: f64,
    /// That of the CHF margin; `None` without nozzles.
    pub chf_margin: Option<f64>,
}

impl FaceDoubt {
    /// Where a mesh is given and its error not asked for.
    pub const NONE: FaceDoubt = FaceDoubt { max_K: 0.0, mean_K: 0.0, min_K: 0.0, chf_margin: None };
}

/// The junction rows: die in case order, then heaters. `statistics` (rises) and `doubts` have one
/// entry a source.
pub fn junctions(
    module: &Module,
    network: &Network,
    solution: &GridSolution,
    statistics: &[FaceStatistics],
    doubts: &[FaceDoubt],
) -> Vec<Junction> {
    let inlet_K = module.coolant.inlet_K;
    let plane = &network.mesh.plane;
    let nx = plane.nx();
    let described =
        module.die.iter().map(|d| (&d.name, &d.type_name[..], d.power_W, d.limit_K, d.rect)).chain(
            module.heaters.iter().map(|h| (&h.name, "heater", h.power_W, h.limit_K, h.rect)),
        );
    described
        .zip(&network.sources)
        .zip(statistics.iter().zip(doubts))
        .map(|(((name, type_name, power_W, limit_K, rect), source), (s, doubt))| {
            let mut heat_to_spray_W = 0.0;
            for j in source.cells.j0..source.cells.j1 {
                for i in source.cells.i0..source.cells.i1 {
                    heat_to_spray_W +=
                        solution.wet.flux_W_m2[j * nx + i] * network.cell_area_m2(i, j);
                }
            }
            let wetting = wetting_of(network, solution, source);
            Junction {
                name: name.clone(),
                type_name: type_name.to_owned(),
                power_W,
                mean_flux_W_m2: power_W / rect.area_m2(),
                max_K: inlet_K + s.max_K,
                mean_K: inlet_K + s.mean_K,
                min_K: inlet_K + s.min_K,
                uncertainty_K: doubt.max_K,
                mean_uncertainty_K: doubt.mean_K,
                min_uncertainty_K: doubt.min_K,
                limit_K,
                hot_spot_m: s.at_m,
                heat_to_spray_W,
                wetted_share: wetting.map(|w| w.0),
                chf_margin: s.chf.map(|chf| chf.least),
                chf_at_m: s.chf.map(|chf| chf.at_m),
                chf_margin_uncertainty: s.chf.and(doubt.chf_margin),
                model_range_K: None,
            }
        })
        .collect()
}

/// Local maxima of every active face, hottest first.
///
/// `statistics` are the printed ones, one entry a source: the hottest spot of a source is its
/// printed maximum, and the correction from the grid's own value goes to its other spots too.
pub fn hot_spots(
    module: &Module,
    network: &Network,
    solution: &GridSolution,
    statistics: &[FaceStatistics],
) -> Vec<HotSpot> {
    let inlet_K = module.coolant.inlet_K;
    let names = module.die.iter().map(|d| &d.name).chain(module.heaters.iter().map(|h| &h.name));
    let mut spots = Vec::new();
    for ((name, source), printed) in names.zip(&network.sources).zip(statistics) {
        let rises = rises_of(network, solution, source);
        let first = spots.len();
        let (nx, ny) = (source.cells.nx(), source.cells.ny());
        let lowest = rises.iter().copied().fold(f64::INFINITY, f64::min);
        let highest = rises.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let floor = lowest + LEAST_PROMINENCE * (highest - lowest);
        for c in 0..rises.len() {
            let (i, j) = (c % nx, c / nx);
            if rises[c] < floor {
                continue;
            }
            let mut is_peak = true;
            for nj in j.saturating_sub(1)..(j + 2).min(ny) {
                for ni in i.saturating_sub(1)..(i + 2).min(nx) {
                    let n = nj * nx + ni;
                    // On a plateau (equal up to rounding) the first cell stands for all.
                    let higher = rises[n] - rises[c];
                    let level = 1e-9 * rises[c].abs();
                    if n != c && (higher > level || (higher > -level && n < c)) {
                        is_peak = false;
                    }
                }
            }
            if is_peak {
                let cell = network.mesh.plane.cell(source.cells.i0 + i, source.cells.j0 + j);
                spots.push(HotSpot {
                    name: name.clone(),
                    temperature_K: inlet_K + rises[c],
                    at_m: cell.centre_m(),
                    flux_W_m2: source.heat_W[c] / cell.area_m2(),
                });
            }
        }
        let own = &mut spots[first..];
        let hottest =
            (0..own.len()).max_by(|&a, &b| own[a].temperature_K.total_cmp(&own[b].temperature_K));
        if let Some(hottest) = hottest {
            let shift = inlet_K + printed.max_K - own[hottest].temperature_K;
            for spot in own.iter_mut() {
                spot.temperature_K += shift;
            }
            own[hottest].at_m = printed.at_m;
        }
    }
    spots.sort_by(|a, b| b.temperature_K.total_cmp(&a.temperature_K));
    spots
}

/// A value a cell of the plane as a field.
pub fn plane_field(network: &Network, values: impl Iterator<Item = f64>) -> PlaneField {
    let plane = &network.mesh.plane;
    let mut field = Array2::from_elem((plane.ny(), plane.nx()), f64::NAN);
    for (cell, value) in field.iter_mut().zip(values) {
        *cell = value;
    }
    PlaneField {
        x_lines_m: plane.x_lines_m.clone(),
        y_lines_m: plane.y_lines_m.clone(),
        values: field,
    }
}

/// Every sheet as a field: the substrate's from the board side up, then attach and die, each
/// counted from the seat up over all islands.
pub fn sheet_fields(
    module: &Module,
    network: &Network,
    solution: &GridSolution,
) -> Vec<SheetField> {
    let mesh = network.mesh;
    let inlet_K = module.coolant.inlet_K;
    let (nx, ny) = (mesh.plane.nx(), mesh.plane.ny());
    let mut fields = Vec::new();
    for (l, sheet) in mesh.sheets.iter().enumerate() {
        let count = mesh.sheets.iter().filter(|other| other.layer == sheet.layer).count();
        let values = &solution.rise_K[l * nx * ny..(l + 1) * nx * ny];
        fields.push(SheetField {
            name: numbered(&module.layers[sheet.layer].name, sheet.slice, count),
            temperature_K: plane_field(network, values.iter().map(|r| inlet_K + r)),
        });
    }
    for (part, word) in [(IslandPart::Attach, "attach"), (IslandPart::Die, "die")] {
        let most = mesh
            .islands
            .iter()
            .map(|i| i.sheets.iter().filter(|s| s.0 == part).count())
            .max()
            .unwrap_or(0);
        for slice in 0..most {
            let mut values = Array2::from_elem((ny, nx), f64::NAN);
            for (island, (cells, offset, _)) in mesh.islands.iter().zip(network.boxes().skip(1)) {
                let sheets: Vec<usize> =
                    (0..island.sheets.len()).filter(|&l| island.sheets[l].0 == part).collect();
                let Some(&l) = sheets.get(slice) else { continue };
                for c in 0..cells.len() {
                    values[[cells.j0 + c / cells.nx(), cells.i0 + c % cells.nx()]] =
                        inlet_K + solution.rise_K[offset + l * cells.len() + c];
                }
            }
            fields.push(SheetField {
                name: numbered(word, slice, most),
                temperature_K: PlaneField {
                    x_lines_m: Arc::clone(&mesh.plane.x_lines_m),
                    y_lines_m: Arc::clone(&mesh.plane.y_lines_m),
                    values,
                },
            });
        }
    }
    fields
}

/// `core`, `core-2`, ...; with ten and more sheets `core-02`, so that names sort from the board side
/// up.
fn numbered(name: &str, slice: usize, count: usize) -> String {
    let width = count.to_string().len();
    if slice == 0 { name.to_owned() } else { format!("{name}-{:0width$}", slice + 1) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::module::{PowerBlock, Rect};
    use crate::results::face_statistics;
    use crate::steady::{SteadyOptions, solve_keeping};

    /// A die with most of its power in two blocks far apart is hottest in each of them, and nowhere
    /// between; the hotter one is the printed maximum.
    #[test]
    fn every_block_of_a_die_is_a_hot_spot_of_its_own() {
        let mut module = crate::study::testing::prescribed();
        let die = &mut module.die[0];
        let Rect { x0_m, y0_m, x1_m, y1_m } = die.rect;
        let block = |name: &str, x0_m: f64, y0_m: f64, power_W: f64| PowerBlock {
            name: name.to_owned(),
            rect: Rect { x0_m, y0_m, x1_m: x0_m + 1.5e-3, y1_m: y0_m + 1.5e-3 },
            power_W,
        };
        die.blocks = vec![
            block("near", x0_m + 0.5e-3, y0_m + 0.5e-3, 12.0),
            block("far", x1_m - 2.0e-3, y1_m - 2.0e-3, 9.0),
        ];
        (die.power_W, module.mesh.cell_m) = (22.0, Some(0.4e-3));
        let options = SteadyOptions::default();
        let (result, solution) = solve_keeping(&module, &options, &mut |_| ()).unwrap();
        let network = Network::new(&module, &solution.mesh);
        let statistics = face_statistics(&network, &solution);
        let spots = hot_spots(&module, &network, &solution, &statistics);
        let own: Vec<&HotSpot> = spots.iter().filter(|spot| spot.name == "L0").collect();
        assert_eq!(own.len(), 2, "{own:?}");
        for (spot, block) in own.iter().zip(&module.die[0].blocks) {
            let [x, y] = spot.at_m;
            let r = block.rect;
            assert!(r.x0_m < x && x < r.x1_m && r.y0_m < y && y < r.y1_m, "{spot:?} {r:?}");
        }
        assert!(own[0].temperature_K > own[1].temperature_K + 1.0);
        let inlet_K = module.coolant.inlet_K;
        assert!((own[0].temperature_K - inlet_K - statistics[0].max_K).abs() < 1e-9);
        // The rest of the power lies evenly beneath the blocks' own.
        let rest = 1.0 / (module.die[0].rect.area_m2() - 2.0 * 2.25e-6);
        for (spot, power_W) in own.iter().zip([12.0, 9.0]) {
            let flux = power_W / 2.25e-6;
            let near = (spot.flux_W_m2 - flux).abs() <= rest + 1e-6 * flux;
            assert!(near, "{} {flux}", spot.flux_W_m2);
        }
        assert!(spots.is_sorted_by(|a, b| a.temperature_K >= b.temperature_K));
        assert_eq!(result.hot_spots.len(), spots.len());
    }

    #[test]
    fn names_of_sheets_sort_from_the_board_side_up() {
        for count in [1, 3, 10, 16, 120] {
            let names: Vec<String> = (0..count).map(|k| numbered("core", k, count)).collect();
            let mut sorted = names.clone();
            sorted.sort();
            assert_eq!(names, sorted);
        }
        assert_eq!(numbered("core", 1, 3), "core-2");
        assert_eq!(numbered("core", 1, 12), "core-02");
    }
}
