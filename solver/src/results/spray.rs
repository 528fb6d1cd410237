//! What a solution says of a spray that is computed from its nozzles.

use super::{PlaneField, plane_field};
use crate::conduction::{Network, SourceFace};
use crate::spray::{CellCurves, CorrelationNote, FluxField};
use crate::steady::{GridSolution, WetLaw};

/// A die (or bare substrate) where the flux asked for exceeds the critical heat flux.
#[derive(Debug, Clone, PartialEq)]
pub struct BurntOut {
    /// Die, or `substrate`.
    pub name: String,
    /// Area beyond critical heat flux, m².
    pub area_m2: f64,
    /// Smallest margin there, below 1.
    pub margin: f64,
    /// Where it is smallest, m.
    pub at_m: [f64; 2],
}

/// The spray side of a solve with nozzles.
#[derive(Debug, Clone)]
pub struct SprayResult {
    /// Flux and wetted share on the cells of the result.
    pub field: FluxField,
    /// Liquid that lands, m³/(m²·s).
    pub volumetric_flux_m_s: PlaneField,
    /// Critical heat flux over local heat flux; NaN where nothing lands.
    pub chf_margin: PlaneField,
    /// The correlations as used.
    pub notes: Vec<CorrelationNote>,
    /// Where the margin is below 1; empty when nowhere.
    pub burnt_out: Vec<BurntOut>,
}

/// Curves and field of a solution whose spray is computed from nozzles.
pub(crate) fn correlated(solution: &GridSolution) -> Option<(&FluxField, &CellCurves)> {
    match &solution.law {
        WetLaw::Correlated { field, curves } => Some((field, curves)),
        WetLaw::Prescribed(_) => None,
    }
}

/// The smallest margin to critical heat flux of a cell over a source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChfMargin {
    /// Critical over local heat flux.
    pub least: f64,
    /// By how much it shrinks for each kelvin that the surface is hotter, 1/K.
    pub per_K: f64,
    /// Where, m.
    pub at_m: [f64; 2],
}

/// Wetted share of the wet cells over a source and the smallest margin to critical heat flux.
///
/// The margin is `q_chf / q`, so that it changes by `q_chf q' / q²` a kelvin, with `q` and its
/// slope `q'` as solved; in a burnt-out cell it is `r_b / r` with the rise r of the surface, and
/// changes by `r_b / r²`.
pub(super) fn wetting_of(
    network: &Network,
    solution: &GridSolution,
    source: &SourceFace,
) -> Option<(f64, Option<ChfMargin>)> {
    let (field, curves) = correlated(solution)?;
    let nx = network.mesh.plane.nx();
    let (mut wetted, mut area_sum) = (0.0, 0.0);
    let mut least: Option<ChfMargin> = None;
    for j in source.cells.j0..source.cells.j1 {
        for i in source.cells.i0..source.cells.i1 {
            let p = j * nx + i;
            let area = network.cell_area_m2(i, j);
            wetted += area * field.wetted_share[p];
            area_sum += area;
            let rise_K = solution.wet.rise_K[p];
            let Some(margin) = curves.critical_margin(p, rise_K) else { continue };
            if least.is_none_or(|l| margin < l.least) {
                let relative = if margin < 1.0 {
                    1.0 / rise_K
                } else {
                    solution.wet.tangent[p].slope_W_m2K / solution.wet.flux_W_m2[p]
                };
                let at_m = network.mesh.plane.cell(i, j).centre_m();
                least = Some(ChfMargin { least: margin, per_K: margin * relative, at_m });
            }
        }
    }
    Some((wetted / area_sum, least))
}

/// The spray side of `solution`, `None` when its coefficients are stated.
pub fn spray_result(
    network: &Network,
    solution: &GridSolution,
    notes: Vec<CorrelationNote>,
) -> Option<SprayResult> {
    let (field, curves) = correlated(solution)?;
    let plane = &network.mesh.plane;
    let margins: Vec<f64> = solution
        .wet
        .rise_K
        .iter()
        .enumerate()
        .map(|(p, &rise)| curves.critical_margin(p, rise).unwrap_or(f64::NAN))
        .collect();
    let module = network.module;
    let mut burnt_out: Vec<BurntOut> = Vec::new();
    for (p, &margin) in margins.iter().enumerate() {
        if margin.is_nan() || margin >= 1.0 {
            continue;
        }
        let (i, j) = (p % plane.nx(), p / plane.nx());
        let cell = plane.cell(i, j);
        let area = cell.area_m2() * field.wetted_share[p];
        let name = network
            .die_over(i, j)
            .map_or_else(|| "substrate".to_owned(), |d| module.die[d].name.clone());
        match burnt_out.iter_mut().find(|b| b.name == name) {
            Some(entry) => {
                entry.area_m2 += area;
                if margin < entry.margin {
                    entry.margin = margin;
                    entry.at_m = cell.centre_m();
                }
            }
            None => burnt_out.push(BurntOut { name, area_m2: area, margin, at_m: cell.centre_m() }),
        }
    }
    burnt_out.sort_by(|a, b| a.margin.total_cmp(&b.margin));
    Some(SprayResult {
        field: field.clone(),
        volumetric_flux_m_s: plane_field(network, field.flux_m_s.iter().copied()),
        chf_margin: plane_field(network, margins.into_iter()),
        notes,
        burnt_out,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::module::Rect;
    use crate::study::testing;

    fn holds(rect: &Rect, [x, y]: [f64; 2]) -> bool {
        rect.x0_m < x && x < rect.x1_m && rect.y0_m < y && y < rect.y1_m
    }

    /// Wetting and margin of a die gathered from the printed fields, by where cells lie.
    #[test]
    fn wetting_and_least_margin_of_a_die_are_those_of_the_fields_over_it() {
        let module = testing::with_nozzles();
        let solution = testing::solved(&module);
        let network = Network::new(&module, &solution.mesh);
        let result = spray_result(&network, &solution, Vec::new()).expect("nozzles");
        let plane = &solution.mesh.plane;
        for (die, source) in module.die.iter().zip(&network.sources) {
            let (mut wetted_m2, mut least, mut at) = (0.0, f64::INFINITY, [0.0; 2]);
            for j in 0..plane.ny() {
                for i in 0..plane.nx() {
                    let cell = plane.cell(i, j);
                    if !holds(&die.rect, cell.centre_m()) {
                        continue;
                    }
                    let share = result.field.wetted_share[j * plane.nx() + i];
                    wetted_m2 += share * cell.area_m2();
                    let margin = result.chf_margin.values[[j, i]];
                    if margin < least {
                        (least, at) = (margin, cell.centre_m());
                    }
                }
            }
            let (share, margin) = wetting_of(&network, &solution, source).expect("nozzles");
            assert!((share - wetted_m2 / die.rect.area_m2()).abs() < 1e-12, "{share}");
            assert!(share > 0.2, "{share}");
            let margin = margin.expect("wetted");
            assert_eq!((margin.least, margin.at_m), (least, at));
            // A surface hotter by a hundredth of a kelvin has so much less left.
            let (_, curves) = correlated(&solution).expect("nozzles");
            let p = (0..solution.wet.rise_K.len())
                .find(|p| plane.cell(p % plane.nx(), p / plane.nx()).centre_m() == at)
                .expect("a cell");
            let hotter = curves.critical_margin(p, solution.wet.rise_K[p] + 0.01).expect("wetted");
            let per_K = (margin.least - hotter) / 0.01;
            assert!((per_K / margin.per_K - 1.0).abs() < 0.03, "{per_K} {}", margin.per_K);
        }
    }

    /// Surfaces made hotter by hand until some of them are burnt out.
    #[test]
    fn what_is_burnt_out_is_told_by_die_with_its_area_and_the_worst_place() {
        let module = testing::with_nozzles();
        let mut solution = testing::solved(&module);
        solution.wet.rise_K.iter_mut().for_each(|rise| *rise += 40.0);
        let network = Network::new(&module, &solution.mesh);
        let result = spray_result(&network, &solution, Vec::new()).expect("nozzles");
        let plane = &solution.mesh.plane;
        let mut told = 0.0;
        for burnt in &result.burnt_out {
            let die = module.die.iter().find(|die| die.name == burnt.name);
            let (mut area_m2, mut least, mut at) = (0.0, f64::INFINITY, [0.0; 2]);
            for j in 0..plane.ny() {
                for i in 0..plane.nx() {
                    let cell = plane.cell(i, j);
                    let over = module.die.iter().find(|d| holds(&d.rect, cell.centre_m()));
                    let margin = result.chf_margin.values[[j, i]];
                    if over.map(|d| &d.name) == die.map(|d| &d.name) && margin < 1.0 {
                        let p = j * plane.nx() + i;
                        area_m2 += result.field.wetted_share[p] * cell.area_m2();
                        if margin < least {
                            (least, at) = (margin, cell.centre_m());
                        }
                    }
                }
            }
            assert!(area_m2 > 0.0);
            assert!((burnt.area_m2 / area_m2 - 1.0).abs() < 1e-12, "{}", burnt.name);
            assert_eq!((burnt.margin, burnt.at_m), (least, at));
            told += burnt.area_m2;
        }
        assert!(told > 0.0 && result.burnt_out.iter().any(|burnt| burnt.name != "substrate"));
        assert!(result.burnt_out.is_sorted_by(|a, b| a.margin <= b.margin));
        let margins = result.chf_margin.values.iter().zip(&result.field.wetted_share);
        let beyond = margins.filter(|(margin, _)| **margin < 1.0);
        let areas = (0..plane.nx() * plane.ny())
            .map(|p| plane.cell(p % plane.nx(), p / plane.nx()).area_m2());
        let all: f64 = result
            .chf_margin
            .values
            .iter()
            .zip(&result.field.wetted_share)
            .zip(areas)
            .filter(|((margin, _), _)| **margin < 1.0)
            .map(|((_, share), area)| share * area)
            .sum();
        assert!(beyond.count() > 1 && (told / all - 1.0).abs() < 1e-12, "{told} {all}");
    }
}
