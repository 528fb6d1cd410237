//! Solve until every junction temperature is known well enough.
//!
//! Each round solves four grids: the *fine* one whose fields are reported, its *half* and its
//! *quarter* (every second and every fourth line of the plane, the same sheets), and the half
//! with every sheet cut in two. See [`super::estimate`] for what follows from them.

use super::estimate;
use super::grids::{GridFamily, curvature};
use super::interpolate::interpolate;
use super::{GridSolution, SteadyError, SteadyOptions, WetLaw, solve_on_mesh, solve_with_law};
use crate::conduction::Network;
use crate::mesh::{Mesh, PlaneGrid, Slicing};
use crate::module::{Module, Spray};
use crate::results::{
    FaceStatistics, RefinementLevel, SprayResult, SteadyResult, correlated, face_statistics,
    hot_spots, junctions, plane_field, sheet_fields, spray_result,
};
use crate::spray::{Band, SprayModel};

/// Share of the accuracy that the choice of sheets may use.
const THICKNESS_SHARE: f64 = 0.4;
/// Most sheets one part is cut into by choice.
const MOST_SLICES: usize = 32;
/// Rounds before the accuracy is given up.
const MOST_ROUNDS: usize = 12;

/// The three temperatures of each source that are printed.
type Statistics = Vec<FaceStatistics>;

fn statistics_of(module: &Module, solution: &GridSolution) -> Statistics {
    face_statistics(&Network::new(module, &solution.mesh), solution)
}

/// Largest change of any printed temperature of each source, K.
fn changes(a: &Statistics, b: &Statistics) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| largest(&three(a, b).map(f64::abs))).collect()
}

/// Changes of the three printed temperatures of one source, K.
fn three(a: &FaceStatistics, b: &FaceStatistics) -> [f64; 3] {
    [a.max_K - b.max_K, a.mean_K - b.mean_K, a.min_K - b.min_K]
}

/// The largest value; infinite if any is not a number, so that a broken one is never passed by.
fn largest(values: &[f64]) -> f64 {
    values.iter().fold(0.0, |m, &v| if v.is_nan() { f64::INFINITY } else { m.max(v) })
}

/// A part that can be cut finer: a layer, all attaches, or all die.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Part {
    Layer(usize),
    Attach,
    Die,
}

fn parts(module: &Module) -> Vec<Part> {
    let mut parts: Vec<Part> = (0..module.layers.len())
        .filter(|&l| module.layers[l].slices.is_none())
        .map(Part::Layer)
        .collect();
    if module.die.iter().any(|d| d.attach.is_some()) {
        parts.push(Part::Attach);
    }
    if !module.die.is_empty() {
        parts.push(Part::Die);
    }
    parts
}

fn doubled(slicing: &Slicing, part: Part) -> Slicing {
    let mut finer = slicing.clone();
    match part {
        Part::Layer(l) => finer.layers[l] *= 2,
        Part::Attach => finer.die.iter_mut().for_each(|d| d[0] *= 2),
        Part::Die => finer.die.iter_mut().for_each(|d| d[1] *= 2),
    }
    finer
}

fn count(slicing: &Slicing, part: Part) -> usize {
    match part {
        Part::Layer(l) => slicing.layers[l],
        Part::Attach => slicing.die.first().map_or(1, |d| d[0]),
        Part::Die => slicing.die.first().map_or(1, |d| d[1]),
    }
}

fn all_doubled(slicing: &Slicing) -> Slicing {
    Slicing {
        layers: slicing.layers.iter().map(|n| 2 * n).collect(),
        die: slicing.die.iter().map(|[a, d]| [2 * a, 2 * d]).collect(),
    }
}

struct Refiner<'m, 'p> {
    module: &'m Module,
    options: &'m SteadyOptions,
    progress: &'p mut dyn FnMut(&RefinementLevel),
    levels: Vec<RefinementLevel>,
}

impl Refiner<'_, '_> {
    fn solve(
        &mut self,
        plane: PlaneGrid,
        slicing: &Slicing,
        guess: Option<&GridSolution>,
    ) -> Result<GridSolution, SteadyError> {
        let mesh = Mesh::new(self.module, plane, slicing);
        let (needed, allowed) = (mesh.unknowns(), self.module.mesh.max_cells);
        if needed > allowed {
            return Err(SteadyError::TooManyCells { needed, allowed });
        }
        let start = guess.map(|g| interpolate(g, &mesh));
        solve_on_mesh(self.module, mesh, start, self.options)
    }

    fn record(
        &mut self,
        solution: &GridSolution,
        uncertainty_K: Option<Vec<f64>>,
        parts_K: Option<[f64; 3]>,
    ) {
        let inlet_K = self.module.coolant.inlet_K;
        let level = RefinementLevel {
            unknowns: solution.mesh.unknowns(),
            cells: [solution.mesh.plane.nx(), solution.mesh.plane.ny()],
            sheets: solution.mesh.sheets.len(),
            iterations: solution.iterations,
            junction_max_K: statistics_of(self.module, solution)
                .iter()
                .map(|s| inlet_K + s.max_K)
                .collect(),
            uncertainty_K,
            parts_K,
        };
        (self.progress)(&level);
        self.levels.push(level);
    }

    /// Cuts parts finer, each time the one whose doubling still changes the junctions most,
    /// until what is left fits in `allowed_K`. Judged on a coarse plane: the error of the
    /// thickness hardly depends on it.
    fn choose_slicing(
        &mut self,
        plane: &PlaneGrid,
        slicing: Slicing,
        allowed_K: f64,
        base: &GridSolution,
    ) -> Result<Slicing, SteadyError> {
        let mut slicing = slicing;
        let mut now = statistics_of(self.module, base);
        let mut trials: Vec<(Part, Statistics, Vec<f64>)> = Vec::new();
        for part in parts(self.module) {
            let trial = self.solve(plane.clone(), &doubled(&slicing, part), Some(base))?;
            let statistics = statistics_of(self.module, &trial);
            let change = changes(&statistics, &now);
            trials.push((part, statistics, change));
        }
        loop {
            let left: f64 =
                trials.iter().map(|(_, _, change)| estimate::thickness(largest(change), true).uncertainty_K).sum();
            let worst = (0..trials.len())
                .filter(|&k| count(&slicing, trials[k].0) < MOST_SLICES)
                .max_by(|&a, &b| largest(&trials[a].2).total_cmp(&largest(&trials[b].2)));
            let Some(worst) = worst else { break };
            if left <= allowed_K {
                break;
            }
            let part = trials[worst].0;
            slicing = doubled(&slicing, part);
            now = trials[worst].1.clone();
            let next = match self.solve(plane.clone(), &doubled(&slicing, part), Some(base)) {
                Ok(next) => next,
                Err(SteadyError::TooManyCells { .. }) => break,
                Err(error) => return Err(error),
            };
            let statistics = statistics_of(self.module, &next);
            let change = changes(&statistics, &now);
            trials[worst] = (part, statistics, change);
        }
        Ok(slicing)
    }

    /// Solves the three grids of a family; returns the fine solution and the two parts of its
    /// uncertainty for every source.
    fn round(
        &mut self,
        family: &GridFamily,
        slicing: &Slicing,
        guess: Option<&GridSolution>,
    ) -> Result<Round, SteadyError> {
        let quarter = self.solve(family.quarter(), slicing, guess)?;
        let quarter_statistics = statistics_of(self.module, &quarter);
        let half = self.solve(family.half(), slicing, Some(&quarter))?;
        let half_statistics = statistics_of(self.module, &half);
        let thick = self.solve(family.half(), &all_doubled(slicing), Some(&half))?;
        let thick_statistics = statistics_of(self.module, &thick);
        let fine = self.solve(family.fine(), slicing, Some(&half))?;
        let mut statistics = statistics_of(self.module, &fine);
        // The residual bounds the error in the energy norm only; a thousandfold allowance over
        // the relative residual covers any temperature printed.
        let iteration_K: f64 = 1e3
            * fine.residual_relative
            * statistics.iter().map(|s| s.max_K.abs()).fold(0.0, f64::max);
        let extrapolate = self.module.mesh.cell_m.is_none();
        let (mut plane_K, mut thickness_K) = (Vec::new(), Vec::new());
        for (k, fine) in statistics.iter_mut().enumerate() {
            let last = three(fine, &half_statistics[k]);
            let before = three(&half_statistics[k], &quarter_statistics[k]);
            let through = three(&thick_statistics[k], &half_statistics[k]);
            let (mut in_plane_K, mut through_K) = (0.0f64, 0.0f64);
            let values = [&mut fine.max_K, &mut fine.mean_K, &mut fine.min_K];
            for (m, value) in values.into_iter().enumerate() {
                let plane = estimate::plane(before[m], last[m], extrapolate);
                let thickness = estimate::thickness(through[m], extrapolate);
                *value += plane.correction_K + thickness.correction_K;
                in_plane_K = largest(&[in_plane_K, plane.uncertainty_K]);
                through_K = largest(&[through_K, thickness.uncertainty_K]);
            }
            plane_K.push(in_plane_K);
            thickness_K.push(through_K);
        }
        let uncertainty_K: Vec<f64> =
            plane_K.iter().zip(&thickness_K).map(|(p, t)| p + t + iteration_K).collect();
        self.record(&quarter, None, None);
        self.record(&half, None, None);
        let parts_K = [largest(&plane_K), largest(&thickness_K), iteration_K];
        self.record(&fine, Some(uncertainty_K.clone()), Some(parts_K));
        Ok(Round { half, half_statistics, fine, statistics, plane_K, thickness_K, uncertainty_K })
    }
}

struct Round {
    half: GridSolution,
    half_statistics: Statistics,
    fine: GridSolution,
    statistics: Statistics,
    plane_K: Vec<f64>,
    thickness_K: Vec<f64>,
    uncertainty_K: Vec<f64>,
}

fn has_heat_sink(module: &Module) -> bool {
    let spray = match &module.spray {
        Spray::Prescribed(spray) => {
            let base = match &spray.base {
                crate::module::PrescribedHtc::Uniform(htc) => *htc > 0.0,
                crate::module::PrescribedHtc::Map(map) => map.values.iter().any(|&h| h > 0.0),
            };
            base || spray.patches.iter().any(|p| p.htc_W_m2K > 0.0)
        }
        Spray::Correlated(_) => true,
    };
    spray || module.board.htc_W_m2K > 0.0 || module.edge.htc_W_m2K > 0.0
}

/// Solves `module`; `progress` hears of every grid as it ends.
///
/// # Errors
/// See [`SteadyError`].
pub fn solve(
    module: &Module,
    options: &SteadyOptions,
    progress: &mut dyn FnMut(&RefinementLevel),
) -> Result<SteadyResult, SteadyError> {
    solve_keeping(module, options, progress).map(|(result, _)| result)
}

/// [`solve`], with the solution on the last grid beside the result: what linearised studies
/// start from.
///
/// # Errors
/// See [`SteadyError`].
pub fn solve_keeping(
    module: &Module,
    options: &SteadyOptions,
    progress: &mut dyn FnMut(&RefinementLevel),
) -> Result<(SteadyResult, GridSolution), SteadyError> {
    if !has_heat_sink(module) {
        return Err(SteadyError::NoHeatSink);
    }
    let mut refiner = Refiner { module, options, progress, levels: Vec::new() };
    let mut warnings = Vec::new();
    let best = match module.mesh.cell_m {
        Some(cell_m) => {
            let slicing = Slicing::coarsest(module);
            refiner.round(&GridFamily::even(module, cell_m), &slicing, None)?
        }
        None => refine(&mut refiner, &mut warnings)?,
    };
    let levels = refiner.levels;
    let ranges = model_ranges(module, options, &best, &mut warnings);
    let spray = spray_of(module, &best.fine, &mut warnings)?;
    let mut result = result(module, &best, levels, warnings);
    for (junction, range) in result.junctions.iter_mut().zip(ranges) {
        junction.model_range_K = range;
    }
    result.spray = spray;
    Ok((result, best.fine))
}

fn refine(refiner: &mut Refiner, warnings: &mut Vec<String>) -> Result<Round, SteadyError> {
    let module = refiner.module;
    let accuracy_K = module.mesh.accuracy_K;
    let first = GridFamily::first(module);
    let mut slicing = Slicing::coarsest(module);
    let scout = refiner.solve(first.half(), &slicing, None)?;
    let mut scale = 1.0;
    let mut shape = curvature(module, &scout);
    let mut family = GridFamily::from_curvature(module, &scout, &shape, scale);
    let scout = refiner.solve(family.half(), &slicing, Some(&scout))?;
    slicing =
        refiner.choose_slicing(&family.half(), slicing, THICKNESS_SHARE * accuracy_K, &scout)?;
    shape = curvature(module, &scout);
    family = GridFamily::from_curvature(module, &scout, &shape, scale);
    let mut best: Option<Round> = None;
    let mut guess = scout;
    for _ in 0..MOST_ROUNDS {
        let round = match refiner.round(&family, &slicing, Some(&guess)) {
            Ok(round) => round,
            Err(SteadyError::TooManyCells { needed, allowed }) => {
                let Some(best) = best else {
                    return Err(SteadyError::TooManyCells { needed, allowed });
                };
                warnings.push(format!(
                    "accuracy {accuracy_K} K not reached: the next grid would take {needed} unknowns and max_cells allows {allowed}; the uncertainty printed is what was reached ({:.3} K)",
                    largest(&best.uncertainty_K)
                ));
                return Ok(best);
            }
            Err(error) => return Err(error),
        };
        let (plane, thickness) = (largest(&round.plane_K), largest(&round.thickness_K));
        if largest(&round.uncertainty_K) <= accuracy_K {
            return Ok(round);
        }
        if thickness > THICKNESS_SHARE * accuracy_K {
            let half = refiner.solve(family.half(), &slicing, Some(&round.fine))?;
            let allowed =
                THICKNESS_SHARE * accuracy_K * (accuracy_K * THICKNESS_SHARE / thickness).min(1.0);
            slicing = refiner.choose_slicing(&family.half(), slicing, allowed, &half)?;
        }
        let plane_share = 1.0 - THICKNESS_SHARE;
        if plane > plane_share * accuracy_K {
            scale *= (0.8 * plane_share * accuracy_K / plane).sqrt().clamp(0.2, 0.9);
        }
        shape = curvature(module, &round.fine);
        family = GridFamily::from_curvature(module, &round.fine, &shape, scale);
        guess = round.fine.clone();
        if best.as_ref().is_none_or(|b| largest(&round.uncertainty_K) < largest(&b.uncertainty_K)) {
            best = Some(round);
        }
    }
    let Some(best) = best else { return Err(SteadyError::NoHeatSink) };
    warnings.push(format!(
        "accuracy {accuracy_K} K not reached in {MOST_ROUNDS} rounds of refinement; the uncertainty printed is what was reached ({:.3} K)",
        largest(&best.uncertainty_K)
    ));
    Ok(best)
}

/// Junction maxima with the spray at the two ends of its band: the change is taken on the half
/// grid and added to the reported temperature.
fn model_ranges(
    module: &Module,
    options: &SteadyOptions,
    round: &Round,
    warnings: &mut Vec<String>,
) -> Vec<Option<[f64; 2]>> {
    let n = round.statistics.len();
    if matches!(round.half.law, WetLaw::Prescribed(_)) {
        return vec![None; n];
    }
    let end = |band: Band| -> Result<Statistics, SteadyError> {
        let law = round.half.law.in_band(module, band)?;
        let start = Some(round.half.rise_K.clone());
        let solution = solve_with_law(module, round.half.mesh.clone(), law, start, options)?;
        Ok(statistics_of(module, &solution))
    };
    let inlet_K = module.coolant.inlet_K;
    match (end(Band::Favourable), end(Band::Unfavourable)) {
        (Ok(low), Ok(high)) => (0..n)
            .map(|k| {
                let shift = inlet_K + round.statistics[k].max_K - round.half_statistics[k].max_K;
                Some([low[k].max_K + shift, high[k].max_K + shift])
            })
            .collect(),
        (_, Err(error)) | (Err(error), _) => {
            warnings.push(format!(
                "no steady state at one end of the correlations' band, so no model range is given: {error}"
            ));
            vec![None; n]
        }
    }
}

fn spray_of(
    module: &Module,
    solution: &GridSolution,
    warnings: &mut Vec<String>,
) -> Result<Option<SprayResult>, SteadyError> {
    let (Spray::Correlated(spray), Some((field, _))) = (&module.spray, correlated(solution)) else {
        return Ok(None);
    };
    let model = SprayModel::new(spray, &module.coolant)?;
    warnings.extend(model.warnings());
    let network = Network::new(module, &solution.mesh);
    let result = spray_result(&network, solution, model.notes(field));
    for burnt in result.iter().flat_map(|r| &r.burnt_out) {
        warnings.push(format!(
            "burn-out on {}: {:.2} mm² beyond critical heat flux, margin {:.2} at x = {:.2} mm, y = {:.2} mm",
            burnt.name,
            burnt.area_m2 * 1e6,
            burnt.margin,
            burnt.at_m[0] * 1e3,
            burnt.at_m[1] * 1e3
        ));
    }
    Ok(result)
}

fn result(
    module: &Module,
    round: &Round,
    levels: Vec<RefinementLevel>,
    warnings: Vec<String>,
) -> SteadyResult {
    let solution = &round.fine;
    let network = Network::new(module, &solution.mesh);
    let inlet_K = module.coolant.inlet_K;
    let wet = &solution.wet;
    SteadyResult {
        junctions: junctions(module, &network, solution, &round.statistics, &round.uncertainty_K),
        hot_spots: hot_spots(module, &network, solution),
        balance: crate::conduction::faces::heat_balance(
            &network,
            solution.factors.as_deref(),
            &solution.rise_K,
            wet,
        ),
        surface_K: plane_field(&network, wet.rise_K.iter().map(|r| inlet_K + r)),
        spray_flux_W_m2: plane_field(&network, wet.flux_W_m2.iter().copied()),
        htc_W_m2K: plane_field(
            &network,
            wet.flux_W_m2.iter().zip(&wet.rise_K).zip(&wet.tangent).map(|((q, r), t)| {
                // Where the surface sits at the inlet's temperature the ratio has no meaning;
                // the slope is its limit.
                if r.abs() > 1e-9 { q / r } else { t.slope_W_m2K }
            }),
        ),
        sheets: sheet_fields(module, &network, solution),
        spray: None,
        unknowns: solution.mesh.unknowns(),
        iterations: solution.iterations,
        outer_iterations: solution.outer_iterations,
        residual_relative: solution.residual_relative,
        warnings,
        levels,
    }
}
