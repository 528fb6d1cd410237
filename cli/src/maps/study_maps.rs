//! The pictures of studies around one solution.

use sprayside_solver::module::Module;
use sprayside_solver::results::{PlaneField, SteadyResult};
use sprayside_solver::study::{ResistanceMatrix, Sensitivity};

use super::chart::{self, Chart, Way};
use super::map::{Map, Mark, draw};
use super::matrix::{self, Matrix};
use super::scale::ColourScale;
use super::{MapError, Picture, spray_maps};
use crate::survey::Survey;

/// The influence of a place grows without bound toward the hot spot: on this share of the module
/// the map of cooling is brighter than its scale, so that the rest shows.
const PEAK_SHARE: f64 = 0.003;

/// The resistance matrix, from the highest temperatures.
pub fn of_resistance(module: &Module, result: &ResistanceMatrix) -> Result<Picture, MapError> {
    matrix::draw(&Matrix {
        file: "resistance.png".to_owned(),
        title: "Thermal resistance".to_owned(),
        module: &module.title,
        subtitle: "Row: junction, at its hottest; column: where the watt goes".to_owned(),
        unit: "K/W",
        names: &result.names,
        values: &result.max_K_W,
    })
}

/// Where more cooling helps a junction most.
pub fn of_sensitivity(
    module: &Module,
    result: &SteadyResult,
    gains: &Sensitivity,
    survey: Option<&Survey>,
) -> Result<Picture, MapError> {
    // K²/W to kelvin for 1000 W/(m²K) more on 1 cm².
    let convert = |v: f64| v * 1e3 * 1e-4;
    let (low, high, cut) = range_without_peak(&gains.cooling_K2_W);
    let scale = ColourScale::magma(convert(low), convert(high)).open_above(cut);
    let name = gains.junctions.get(gains.chief).map_or("", String::as_str);
    let footprints = survey.map_or(&[][..], |survey| &survey.footprints);
    let nozzles = spray_maps::nozzle_marks(footprints);
    let marks = result
        .junctions
        .get(gains.chief)
        .map(|junction| Mark { at_m: junction.hot_spot_m, chief: true });
    let subtitle =
        "Kelvin that its hottest point (ring) loses for 1000 W/(m²K) more, counted per cm²";
    draw(
        module,
        &Map {
            file: "cooling_gain.png".to_owned(),
            title: format!("Where more cooling helps {name}"),
            subtitle: spray_maps::with_nozzles(subtitle, &nozzles),
            unit: "K",
            field: &gains.cooling_K2_W,
            convert,
            scale,
            smooth: true,
            jumps: true,
            marks: marks.into_iter().collect(),
            nozzles: &nozzles,
            under_cones: false,
            details: Vec::new(),
        },
    )
}

/// The nozzles coloured by what a junction gains at most when each is blocked, K; `None` where
/// there is no steady state without it.
pub fn of_clog(
    module: &Module,
    survey: Option<&Survey>,
    gains_K: &[Option<f64>],
) -> Result<Picture, MapError> {
    let footprints = survey.map_or(&[][..], |survey| &survey.footprints);
    let mut nozzles = spray_maps::nozzle_marks(footprints);
    for (nozzle, gain) in nozzles.iter_mut().zip(gains_K) {
        nozzle.value = Some(gain.unwrap_or(f64::INFINITY));
    }
    let highest = gains_K.iter().flatten().copied().fold(0.0, f64::max);
    let lines = |length: f64| [0.0, length].into();
    let field = PlaneField {
        x_lines_m: lines(module.size_m[0]),
        y_lines_m: lines(module.size_m[1]),
        values: ndarray::Array2::from_elem((1, 1), f64::NAN),
    };
    let mut subtitle =
        "Disc: largest gain of any junction when this nozzle is blocked; thin lines: cones"
            .to_owned();
    if gains_K.contains(&None) {
        subtitle.push_str("; white: no steady state without it");
    }
    draw(
        module,
        &Map {
            file: "clog.png".to_owned(),
            title: "What a blocked nozzle costs".to_owned(),
            subtitle,
            unit: "K",
            field: &field,
            convert: |v| v,
            scale: ColourScale::magma(0.0, if highest > 0.0 { highest } else { 1.0 }),
            smooth: false,
            jumps: true,
            marks: Vec::new(),
            nozzles: &nozzles,
            under_cones: false,
            details: Vec::new(),
        },
    )
}

/// Lowest and highest value (zero included) of a field but for the [`PEAK_SHARE`] of its area
/// where it is highest, and whether that cut anything off.
fn range_without_peak(field: &PlaneField) -> (f64, f64, bool) {
    let width = |lines: &[f64], k: usize| lines[k + 1] - lines[k];
    let mut cells: Vec<(f64, f64)> = field
        .values
        .indexed_iter()
        .filter(|(_, value)| value.is_finite())
        .map(|((j, i), value)| (*value, width(&field.x_lines_m, i) * width(&field.y_lines_m, j)))
        .collect();
    cells.sort_by(|a, b| b.0.total_cmp(&a.0));
    let allowed = PEAK_SHARE * cells.iter().map(|cell| cell.1).sum::<f64>();
    let mut passed = 0.0;
    let first_shown = cells.iter().position(|cell| {
        passed += cell.1;
        passed > allowed
    });
    let high = first_shown.map_or(0.0, |k| cells[k].0).max(0.0);
    let low = cells.last().map_or(0.0, |cell| cell.0).min(0.0);
    (low, high, cells.first().is_some_and(|cell| cell.0 > high))
}

/// The temperatures of every grid of a solve.
pub fn of_convergence(
    module: &Module,
    result: &SteadyResult,
    goal_K: Option<f64>,
) -> Result<Picture, MapError> {
    let mut order: Vec<usize> = (0..result.levels.len()).collect();
    order.sort_by_key(|&k| result.levels[k].unknowns);
    let way = |junction: usize| -> Way {
        let mut way = Way::default();
        for &k in &order {
            let level = &result.levels[k];
            let unknowns = level.unknowns as f64;
            let distance = level.junction_max_K[junction] - result.junctions[junction].max_K;
            way.distance.push((unknowns, distance.abs()));
            if let Some(uncertainty) = &level.uncertainty_K {
                way.uncertainty.push((unknowns, uncertainty[junction]));
            }
        }
        way
    };
    let chief = result.hottest().unwrap_or(0);
    let others = (0..result.junctions.len()).filter(|&k| k != chief);
    chart::draw(&Chart {
        file: "convergence.png".to_owned(),
        module: &module.title,
        chief: result.junctions.get(chief).map_or("", |junction| &junction.name),
        ways: others.chain((chief < result.junctions.len()).then_some(chief)).map(way).collect(),
        goal_K,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_peak_does_not_darken_the_map_of_cooling() {
        let lines: std::sync::Arc<[f64]> = (0..=100).map(|k| f64::from(k) * 1e-3).collect();
        let mut values = ndarray::Array2::from_elem((100, 100), 2.0);
        values[[50, 50]] = 700.0;
        let field = PlaneField { x_lines_m: lines.clone(), y_lines_m: lines, values };
        assert_eq!(range_without_peak(&field), (0.0, 2.0, true));
        let flat = PlaneField { values: ndarray::Array2::from_elem((100, 100), 2.0), ..field };
        assert_eq!(range_without_peak(&flat), (0.0, 2.0, false));
    }
}
