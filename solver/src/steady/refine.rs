//! Solve until every junction temperature is known well enough.
//!
//! Each round solves three grids, refined in the plane and through the thickness together: the
//! *fine* one whose fields are reported; the *half*, with every second line of the plane and half
//! the sheets of every part whose slicing matters; and the *quarter*, likewise. Together, because
//! the error at the edge of a die, where heat turns into the substrate, needs both: cells that
//! are fine in one direction only hide what the other misses. From the three follow an observed
//! order, a correction and an uncertainty ([`super::estimate`]). A fourth, small solve (the
//! quarter's plane with the half's sheets) tells which direction to refine next.
//!
//! On a mesh that the case fixes, the plane is compared on three grids with the sheets as stated,
//! the thickness by doubling all sheets on the half plane, and nothing is extrapolated.

use rayon::prelude::*;

use super::estimate::{self, Estimate};
use super::grids::{GridFamily, Scales};
use super::interpolate::interpolate;
use super::outcome::{model_ranges, result, spray_of};
use super::parts::{Part, all_doubled, live_of, most_slices, parts, scaled, stated_doubled};
use super::{GridSolution, SteadyError, SteadyOptions, solve_on_mesh};
use crate::conduction::Network;
use crate::mesh::{Mesh, PlaneGrid, Slicing};
use crate::module::Module;
use crate::results::{ChfMargin, FaceStatistics, RefinementLevel, SteadyResult, face_statistics};

/// A part is refined with the plane when doubling its sheets changes a junction by more than
/// this share of the accuracy.
const LIVE_SHARE: f64 = 0.05;
/// Most sheets that one part starts from.
const MOST_SLICES: usize = 16;
/// Rounds before the accuracy is given up.
const MOST_ROUNDS: usize = 16;
/// Rounds that may end with the two coarser grids, because the fine one would not be enough.
const MOST_FORECASTS: usize = 6;
/// Uncertainty that a fine grid leaves as a share of the change between the two coarser ones,
/// until a fine grid has shown it: order 1.5 (maximum) and 1.2 (mean), and the correction
/// doubted by [`estimate::joint`]'s least share.
const EXPECTED_SHARES: [f64; 2] = [0.12, 0.13];
/// Least doubt of a CHF margin as a share of it: the least margin of a die lies where the edge of a
/// cone cuts cells, and moves with them. Between grids that agree by chance it was seen to jump by
/// up to 1.4 % later.
const LEAST_CHF_SHARE: f64 = 0.02;
/// Most that cells are widened where a source is known better than asked for.
const MOST_COARSENING: f64 = 1.15;

/// The three temperatures of each source that are printed.
pub(super) type Statistics = Vec<FaceStatistics>;

/// The printed temperatures of `solution`'s sources, as its grid has them.
pub(super) fn statistics_of(module: &Module, solution: &GridSolution) -> Statistics {
    face_statistics(&Network::new(module, &solution.mesh), solution)
}

/// Largest change of maximum and mean of each source, K.
fn changes(a: &Statistics, b: &Statistics) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| largest(&three(a, b).map(f64::abs))).collect()
}

/// Changes of the three printed temperatures of one source, K.
fn three(a: &FaceStatistics, b: &FaceStatistics) -> [f64; 3] {
    [a.max_K - b.max_K, a.mean_K - b.mean_K, a.min_K - b.min_K]
}

/// Doubt of a source's CHF margin: from the change of the margin between the grids, and from
/// `more_K` that the surface may be hotter than any of them says. Margins are printed as the
/// fine grid has them, never extrapolated.
fn chf_doubt(grids: [Option<ChfMargin>; 3], more_K: f64) -> Option<ChfDoubt> {
    let [Some(quarter), Some(half), Some(fine)] = grids else { return None };
    let from_grids = estimate::of_value(half.least - quarter.least, fine.least - half.least);
    let doubt =
        from_grids.without_correction().max(LEAST_CHF_SHARE * fine.least) + fine.per_K * more_K;
    Some(ChfDoubt { doubt, per_K: fine.per_K })
}

/// The largest value; infinite if any is not a number, so that a broken one is never passed by.
fn largest(values: &[f64]) -> f64 {
    values.iter().fold(0.0, |m, &v| if v.is_nan() { f64::INFINITY } else { m.max(v) })
}

struct Refiner<'m, 'p> {
    task: Task<'m>,
    progress: &'p mut dyn FnMut(&RefinementLevel),
    levels: Vec<RefinementLevel>,
    /// What stated slices leave, K: told with every level, though no refinement lessens it.
    stated_K: f64,
}

/// What is solved, and how.
#[derive(Clone, Copy)]
struct Task<'m> {
    module: &'m Module,
    options: &'m SteadyOptions,
}

impl Task<'_> {
    /// The cells, if `max_cells` allows so many.
    fn mesh(&self, plane: PlaneGrid, slicing: &Slicing) -> Result<Mesh, SteadyError> {
        let mesh = Mesh::new(self.module, plane, slicing);
        let (needed, allowed) = (mesh.unknowns(), self.module.mesh.max_cells);
        if needed > allowed {
            return Err(SteadyError::TooManyCells { needed, allowed });
        }
        Ok(mesh)
    }

    fn solve(
        &self,
        plane: PlaneGrid,
        slicing: &Slicing,
        guess: Option<&GridSolution>,
    ) -> Result<GridSolution, SteadyError> {
        let mesh = self.mesh(plane, slicing)?;
        let start = guess.map(|g| interpolate(g, &mesh));
        solve_on_mesh(self.module, mesh, start, self.options)
    }

    /// Solves the half grid of a family, or its quarter where `max_cells` refuses that.
    fn scout(
        &self,
        family: &GridFamily,
        slicing: &Slicing,
        guess: Option<&GridSolution>,
    ) -> Result<GridSolution, SteadyError> {
        match self.solve(family.half(), slicing, guess) {
            Err(SteadyError::TooManyCells { .. }) => self.solve(family.quarter(), slicing, guess),
            outcome => outcome,
        }
    }
}

impl Refiner<'_, '_> {
    fn record(
        &mut self,
        solution: &GridSolution,
        statistics: &Statistics,
        uncertainty_K: Option<Vec<f64>>,
        parts_K: Option<[f64; 3]>,
    ) {
        let inlet_K = self.task.module.coolant.inlet_K;
        let level = RefinementLevel {
            unknowns: solution.mesh.unknowns(),
            cells: [solution.mesh.plane.nx(), solution.mesh.plane.ny()],
            sheets: solution.mesh.sheets.len(),
            iterations: solution.iterations,
            junction_max_K: statistics.iter().map(|s| inlet_K + s.max_K).collect(),
            uncertainty_K,
            parts_K,
        };
        (self.progress)(&level);
        self.levels.push(level);
    }

    /// Parts whose doubling changes some junction noticeably, and the change that doubling the
    /// others leaves, K. Judged on one small mesh.
    fn live_parts(
        &self,
        plane: &PlaneGrid,
        slicing: &Slicing,
        base: &GridSolution,
    ) -> Result<(Vec<(f64, Part)>, f64), SteadyError> {
        let now = statistics_of(self.task.module, base);
        let task = self.task;
        let tried = parts(self.task.module)
            .into_par_iter()
            .map(|part| {
                let finer = scaled(slicing, &[part], 2);
                let trial = task.solve(plane.clone(), &finer, Some(base))?;
                let changes = changes(&statistics_of(task.module, &trial), &now);
                Ok((largest(&changes), part))
            })
            .collect::<Result<Vec<_>, SteadyError>>()?;
        Ok(live_of(tried, LIVE_SHARE * self.task.module.mesh.accuracy_K))
    }

    /// Solves the two coarser grids of a family, `live` parts refined with the plane.
    fn coarse(
        &mut self,
        family: &GridFamily,
        slicing: &Slicing,
        live: &[Part],
        guess: &GridSolution,
    ) -> Result<Coarse, SteadyError> {
        let module = self.task.module;
        // Before anything is solved: does the largest of the three fit?
        self.task.mesh(family.fine(), &scaled(slicing, live, 4))?;
        let quarter = self.task.solve(family.quarter(), slicing, Some(guess))?;
        let quarter_statistics = statistics_of(module, &quarter);
        self.record(&quarter, &quarter_statistics, None, None);
        let in_half = scaled(slicing, live, 2);
        let thicker = self.task.solve(family.quarter(), &in_half, Some(&quarter))?;
        let half = self.task.solve(family.half(), &in_half, Some(&thicker))?;
        let half_statistics = statistics_of(module, &half);
        self.record(&half, &half_statistics, None, None);
        let thicker_statistics = statistics_of(module, &thicker);
        let through_K = changes(&thicker_statistics, &quarter_statistics);
        let in_plane_K = changes(&half_statistics, &thicker_statistics);
        let thickness_share = through_K
            .iter()
            .zip(&in_plane_K)
            .map(|(through, plane)| through / (through + plane).max(f64::MIN_POSITIVE))
            .collect();
        Ok(Coarse { quarter_statistics, half, half_statistics, thickness_share })
    }

    /// Solves the fine grid of a family and compares the three.
    fn round(
        &mut self,
        family: &GridFamily,
        slicing: &Slicing,
        live: &[Part],
        left_K: f64,
        coarse: Coarse,
    ) -> Result<Round, SteadyError> {
        let Coarse { quarter_statistics, half, half_statistics, thickness_share } = coarse;
        let fine = self.task.solve(family.fine(), &scaled(slicing, live, 4), Some(&half))?;
        let on_grid = statistics_of(self.task.module, &fine);
        let mut statistics = on_grid.clone();
        let left = estimate::thickness(left_K);
        let mut uncertainty_K: Vec<Doubt> = Vec::new();
        let mut shares = Vec::new();
        for (k, fine) in statistics.iter_mut().enumerate() {
            let last = three(fine, &half_statistics[k]);
            let before = three(&half_statistics[k], &quarter_statistics[k]);
            let estimates = estimate::joint(before, last, fine.on_rim);
            fine.max_K += estimates[0].correction_K;
            fine.mean_K += estimates[1].correction_K;
            fine.min_K += estimates[2].correction_K;
            let [max, mean, min] = estimates.map(|e| e.uncertainty_K + left);
            let margins = [&quarter_statistics[k], &half_statistics[k], fine].map(|s| s.chf);
            let chf = chf_doubt(margins, left);
            uncertainty_K.push(Doubt { hot_K: max.max(mean), cold_K: min, chf });
            // A change that is small by chance tells little of the next one.
            let share = |m: usize, uncertainty_K: f64| {
                (uncertainty_K / before[m].abs().max(f64::MIN_POSITIVE))
                    .clamp(0.7 * EXPECTED_SHARES[m], 1.4 * EXPECTED_SHARES[m])
            };
            shares.push([share(0, max), share(1, mean)]);
        }
        // Which direction the most doubtful source asks for.
        let thickness_share =
            most_doubtful(&hot(&uncertainty_K)).map_or(0.0, |k| thickness_share[k]);
        let round = Round {
            half,
            half_statistics,
            fine,
            statistics,
            uncertainty_K,
            thickness_share,
            shares_of_change: shares,
        };
        Ok(self.close(round, &on_grid))
    }

    /// The grids of a family that can be halved once only: there is no order to observe, and
    /// nothing is extrapolated.
    fn pair(
        &mut self,
        family: &GridFamily,
        slicing: &Slicing,
        live: &[Part],
        left_K: f64,
        guess: &GridSolution,
    ) -> Result<Round, SteadyError> {
        let module = self.task.module;
        let in_fine = scaled(slicing, live, 2);
        self.task.mesh(family.fine(), &in_fine)?;
        let half = self.task.solve(family.half(), slicing, Some(guess))?;
        let half_statistics = statistics_of(module, &half);
        self.record(&half, &half_statistics, None, None);
        let fine = self.task.solve(family.fine(), &in_fine, Some(&half))?;
        let statistics = statistics_of(module, &fine);
        let left = estimate::thickness(left_K);
        let uncertainty_K = statistics
            .iter()
            .zip(&half_statistics)
            .map(|(fine, half)| {
                let [max, mean, min] = three(fine, half).map(|last| estimate::unseen(last) + left);
                let chf = half.chf.zip(fine.chf).map(|(half, fine)| ChfDoubt {
                    doubt: estimate::unseen(fine.least - half.least) + fine.per_K * left,
                    per_K: fine.per_K,
                });
                Doubt { hot_K: max.max(mean), cold_K: min, chf }
            })
            .collect();
        let on_grid = statistics.clone();
        let round = Round {
            half,
            half_statistics,
            fine,
            statistics,
            uncertainty_K,
            thickness_share: 0.0,
            shares_of_change: Vec::new(),
        };
        Ok(self.close(round, &on_grid))
    }

    /// The grids of a mesh that the case fixes: nothing is extrapolated.
    fn fixed(&mut self, family: &GridFamily) -> Result<Round, SteadyError> {
        let module = self.task.module;
        let slicing = Slicing::coarsest(module);
        // The largest first: no use solving the others when that is refused.
        self.task.mesh(family.fine(), &slicing)?;
        let quarter = self.task.solve(family.quarter(), &slicing, None)?;
        let quarter_statistics = statistics_of(module, &quarter);
        self.record(&quarter, &quarter_statistics, None, None);
        let half = self.task.solve(family.half(), &slicing, Some(&quarter))?;
        let half_statistics = statistics_of(module, &half);
        self.record(&half, &half_statistics, None, None);
        let thicker = self.task.solve(family.half(), &all_doubled(&slicing), Some(&half))?;
        let fine = self.task.solve(family.fine(), &slicing, Some(&half))?;
        let statistics = statistics_of(module, &fine);
        let thick_statistics = statistics_of(module, &thicker);
        let mut uncertainty_K: Vec<Doubt> = Vec::new();
        let (mut most_K, mut most_through_K) = (0.0f64, 0.0f64);
        for k in 0..statistics.len() {
            let last = three(&statistics[k], &half_statistics[k]);
            let before = three(&half_statistics[k], &quarter_statistics[k]);
            let [max, mean, min] = estimate::joint(before, last, statistics[k].on_rim)
                .map(Estimate::without_correction);
            let [max_t, mean_t, min_t] =
                three(&thick_statistics[k], &half_statistics[k]).map(estimate::thickness);
            let margins =
                [&quarter_statistics[k], &half_statistics[k], &statistics[k]].map(|s| s.chf);
            let chf = chf_doubt(margins, max_t.max(mean_t));
            uncertainty_K.push(Doubt {
                hot_K: (max + max_t).max(mean + mean_t),
                cold_K: min + min_t,
                chf,
            });
            most_K = largest(&[most_K, max, mean]);
            most_through_K = largest(&[most_through_K, max_t, mean_t]);
        }
        let thickness_share = most_through_K / (most_through_K + most_K).max(f64::MIN_POSITIVE);
        let on_grid = statistics.clone();
        let round = Round {
            half,
            half_statistics,
            fine,
            statistics,
            uncertainty_K,
            thickness_share,
            shares_of_change: Vec::new(),
        };
        Ok(self.close(round, &on_grid))
    }

    /// Adds the iteration error to a round and records its fine grid, whose own temperatures are
    /// `on_grid`.
    fn close(&mut self, mut round: Round, on_grid: &Statistics) -> Round {
        // The residual bounds the error in the energy norm only; a thousandfold allowance over
        // the relative residual covers any temperature printed.
        let iteration_K: f64 = 1e3
            * round.fine.residual_relative
            * round.statistics.iter().map(|s| s.max_K.abs()).fold(0.0, f64::max);
        let discretisation_K = most(&round.uncertainty_K);
        let parts_K = [
            (1.0 - round.thickness_share) * discretisation_K,
            round.thickness_share * discretisation_K,
            iteration_K,
        ];
        round = round.doubted(iteration_K);
        let printed = round.uncertainty_K.iter().map(|d| d.hot_K + self.stated_K).collect();
        self.record(&round.fine, on_grid, Some(printed), Some(parts_K));
        round
    }
}

/// Uncertainty of one source, K: that of maximum and mean, and that of the minimum, which lies
/// at a corner of the die and converges slowest.
#[derive(Debug, Clone, Copy)]
pub(super) struct Doubt {
    pub hot_K: f64,
    pub cold_K: f64,
    /// That of the CHF margin; `None` without nozzles.
    pub chf: Option<ChfDoubt>,
}

/// Uncertainty of a CHF margin, and by how much it grows for each kelvin more, 1/K.
#[derive(Debug, Clone, Copy)]
pub(super) struct ChfDoubt {
    pub doubt: f64,
    pub per_K: f64,
}

/// The largest uncertainty of any maximum or mean, K.
fn most(doubts: &[Doubt]) -> f64 {
    doubts.iter().fold(0.0, |m, d| largest(&[m, d.hot_K]))
}

/// Uncertainty of maximum and mean of each source, K.
fn hot(doubts: &[Doubt]) -> Vec<f64> {
    doubts.iter().map(|d| d.hot_K).collect()
}

/// The source with the largest of `uncertainty_K`.
fn most_doubtful(uncertainty_K: &[f64]) -> Option<usize> {
    (0..uncertainty_K.len()).max_by(|&a, &b| uncertainty_K[a].total_cmp(&uncertainty_K[b]))
}

/// The two coarser grids of a family.
struct Coarse {
    quarter_statistics: Statistics,
    half: GridSolution,
    half_statistics: Statistics,
    /// Share of the thickness in the change of each source, 0 to 1.
    thickness_share: Vec<f64>,
}

impl Coarse {
    /// Uncertainty of each source that the fine grid may be expected to leave, K: the change
    /// between the two, times `shares_of_change` (of maximum and mean).
    fn expected_K(&self, shares_of_change: &[[f64; 2]]) -> Vec<f64> {
        self.half_statistics
            .iter()
            .zip(&self.quarter_statistics)
            .zip(shares_of_change)
            .map(|((half, quarter), shares)| {
                let [max, mean, _] = three(half, quarter).map(f64::abs);
                largest(&[shares[0] * max, shares[1] * mean])
            })
            .collect()
    }
}

/// The grids of one round that are still wanted, and what follows from them.
pub(super) struct Round {
    pub half: GridSolution,
    pub half_statistics: Statistics,
    pub fine: GridSolution,
    /// Corrected where the mesh is not fixed.
    pub statistics: Statistics,
    pub uncertainty_K: Vec<Doubt>,
    /// Share of the thickness in the error, 0 to 1.
    thickness_share: f64,
    /// Uncertainty of each source over its change from quarter to half: maximum and mean.
    shares_of_change: Vec<[f64; 2]>,
}

impl Round {
    /// Adds `more_K` to every uncertainty.
    fn doubted(mut self, more_K: f64) -> Round {
        for doubt in &mut self.uncertainty_K {
            doubt.hot_K += more_K;
            doubt.cold_K += more_K;
            if let Some(chf) = &mut doubt.chf {
                chf.doubt += chf.per_K * more_K;
            }
        }
        self
    }
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

/// [`solve_keeping`], with the solution on the half grid as well: what other readings of the
/// field take their uncertainty from.
///
/// # Errors
/// See [`SteadyError`].
pub fn solve_keeping_half(
    module: &Module,
    options: &SteadyOptions,
    progress: &mut dyn FnMut(&RefinementLevel),
) -> Result<(SteadyResult, GridSolution, GridSolution), SteadyError> {
    solve_last_round(module, options, progress).map(|(result, last)| (result, last.fine, last.half))
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
    solve_last_round(module, options, progress).map(|(result, last)| (result, last.fine))
}

fn solve_last_round(
    module: &Module,
    options: &SteadyOptions,
    progress: &mut dyn FnMut(&RefinementLevel),
) -> Result<(SteadyResult, Round), SteadyError> {
    if !module.has_heat_sink() {
        return Err(SteadyError::NoHeatSink);
    }
    let mut refiner =
        Refiner { task: Task { module, options }, progress, levels: Vec::new(), stated_K: 0.0 };
    let mut warnings = Vec::new();
    let best = match module.mesh.cell_m {
        Some(cell_m) => refiner.fixed(&GridFamily::even(module, cell_m))?,
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
    Ok((result, best))
}

/// Where the next grid is refined.
struct Plan {
    scales: Scales,
    slicing: Slicing,
    /// Parts refined with the plane, with the change that doubling each makes, K.
    live: Vec<(f64, Part)>,
    accuracy_K: f64,
}

impl Plan {
    /// Refines where `uncertainty_K` of the sources asks for it: a part that has too few sheets
    /// where the thickness has more than half of the largest, else the cells under each source.
    fn refine(&mut self, uncertainty_K: &[f64], thickness_share: f64) {
        let thickest = (0..self.live.len())
            .filter(|&k| most_slices(&self.slicing, &[self.live[k].1]) < MOST_SLICES)
            .max_by(|&a, &b| self.live[a].0.total_cmp(&self.live[b].0));
        if let (true, Some(k)) = (thickness_share > 0.5, thickest) {
            // The part whose doubling changed most; from then on it changes about half as much.
            self.slicing = scaled(&self.slicing, &[self.live[k].1], 2);
            self.live[k].0 *= 0.5;
            return;
        }
        for (scale, reached_K) in self.scales.sources.iter_mut().zip(uncertainty_K) {
            // Between first and second order in the cell size, as at the edge of a die.
            let factor = (0.8 * self.accuracy_K / reached_K).powf(0.7);
            *scale *= factor.clamp(0.6, MOST_COARSENING);
        }
        // What lies between the sources follows the middle of them.
        let mut sorted = self.scales.sources.clone();
        sorted.sort_by(f64::total_cmp);
        if let Some(&middle) = sorted.get(sorted.len() / 2) {
            self.scales.elsewhere = middle;
        }
    }

    fn live_parts(&self) -> Vec<Part> {
        self.live.iter().map(|(_, part)| *part).collect()
    }
}

fn refine(refiner: &mut Refiner, warnings: &mut Vec<String>) -> Result<Round, SteadyError> {
    let module = refiner.task.module;
    let accuracy_K = module.mesh.accuracy_K;
    let first = GridFamily::first(module);
    let slicing = Slicing::coarsest(module);
    let scout = refiner.task.scout(&first, &slicing, None)?;
    let scales = Scales::one(module);
    let mut family = GridFamily::fitted(module, &scout, &scales);
    // The solution that the family is fitted to, and the first guess of the next grids.
    let mut guess = refiner.task.scout(&family, &slicing, Some(&scout))?;
    family = GridFamily::fitted(module, &guess, &scales);
    let scout = refiner.task.solve(family.quarter(), &slicing, Some(&guess))?;
    let (live, left_K) = refiner.live_parts(&family.quarter(), &slicing, &scout)?;
    // Sheets that the case states stay as they are; what they cost belongs in the uncertainty,
    // but no refinement can lessen it.
    let stated_K = match stated_doubled(module, &slicing) {
        None => 0.0,
        Some(finer) => {
            let trial = refiner.task.solve(family.quarter(), &finer, Some(&scout))?;
            let now = statistics_of(module, &scout);
            estimate::thickness(largest(&changes(&statistics_of(module, &trial), &now)))
        }
    };
    refiner.stated_K = stated_K;
    if stated_K > 0.5 * accuracy_K {
        warnings.push(format!(
            "the slices that the case states leave about {stated_K:.2} K, whatever the grid; leave them out to have them chosen, or state more"
        ));
    }
    let mut plan = Plan { scales, slicing, live, accuracy_K };
    let mut shares_of_change = vec![EXPECTED_SHARES; module.die.len() + module.heaters.len()];
    let mut best: Option<Round> = None;
    let mut best_scale = f64::INFINITY;
    let mut refused: Option<(usize, usize)> = None;
    let mut forecasts = 0;
    for _ in 0..MOST_ROUNDS {
        let live = plan.live_parts();
        let coarse = match refiner.coarse(&family, &plan.slicing, &live, &guess) {
            Ok(coarse) => coarse,
            Err(SteadyError::TooManyCells { needed, allowed }) => {
                // As fine as the bound allows, if that is worth another round.
                plan.scales.times(1.05 * (needed as f64 / allowed as f64).sqrt());
                match best {
                    Some(best) if plan.scales.elsewhere >= 0.9 * best_scale => {
                        warnings.push(format!(
                            "accuracy {accuracy_K} K not reached: the next grid would take {needed} unknowns and max_cells allows {allowed}; the uncertainty printed is what was reached ({:.3} K)",
                            most(&best.uncertainty_K)
                        ));
                        return Ok(best.doubted(stated_K));
                    }
                    kept => best = kept,
                }
                // The outlines alone make so many cells, whatever their width.
                if refused.is_some_and(|(before, _)| needed as f64 > 0.97 * before as f64) {
                    break;
                }
                family = GridFamily::fitted(module, &guess, &plan.scales);
                refused = Some((needed, allowed));
                continue;
            }
            Err(error) => return Err(error),
        };
        // The two coarser grids already tell whether the fine one is worth solving.
        let expected_K = coarse.expected_K(&shares_of_change);
        if forecasts < MOST_FORECASTS
            && refused.is_none()
            && largest(&expected_K) > 1.1 * accuracy_K
        {
            forecasts += 1;
            let worst = most_doubtful(&expected_K).map_or(0.0, |k| coarse.thickness_share[k]);
            plan.refine(&expected_K, worst);
            guess = coarse.half;
            family = GridFamily::fitted(module, &guess, &plan.scales);
            continue;
        }
        let solved_scale = plan.scales.elsewhere;
        let round = refiner.round(&family, &plan.slicing, &live, left_K, coarse)?;
        if most(&round.uncertainty_K) <= accuracy_K {
            return Ok(round.doubted(stated_K));
        }
        shares_of_change.clone_from(&round.shares_of_change);
        plan.refine(&hot(&round.uncertainty_K), round.thickness_share);
        family = GridFamily::fitted(module, &round.half, &plan.scales);
        guess = round.half.clone();
        if best.as_ref().is_none_or(|b| most(&round.uncertainty_K) < most(&b.uncertainty_K)) {
            best_scale = solved_scale;
            best = Some(round);
        }
    }
    let Some(best) = best else {
        let family = GridFamily::fitted(module, &guess, &plan.scales).halved_once();
        let live = plan.live_parts();
        let thicker = scaled(&plan.slicing, &live, 2);
        let round = match refiner.pair(&family, &thicker, &live, left_K, &guess) {
            Err(SteadyError::TooManyCells { .. }) => {
                refiner.pair(&family, &plan.slicing, &live, left_K, &guess)?
            }
            outcome => outcome?,
        };
        if most(&round.uncertainty_K) > accuracy_K {
            warnings.push(format!(
                "accuracy {accuracy_K} K not reached: the many outlines leave room for two grids only under max_cells ({}); the uncertainty printed is what was reached ({:.3} K)",
                module.mesh.max_cells,
                most(&round.uncertainty_K)
            ));
        }
        return Ok(round.doubted(stated_K));
    };
    warnings.push(format!(
        "accuracy {accuracy_K} K not reached in {MOST_ROUNDS} rounds of refinement; the uncertainty printed is what was reached ({:.3} K)",
        most(&best.uncertainty_K)
    ));
    Ok(best.doubted(stated_K))
}

#[cfg(test)]
mod tests {
    use super::super::solve_on_mesh;
    use super::*;
    use crate::study::testing;

    #[test]
    fn a_fixed_mesh_that_is_too_large_is_refused_with_its_own_size_before_any_solve() {
        let mut module = testing::prescribed();
        module.mesh.cell_m = Some(0.2e-3);
        let whole = Mesh::new(
            &module,
            GridFamily::even(&module, 0.2e-3).fine(),
            &Slicing::coarsest(&module),
        )
        .unknowns();
        module.mesh.max_cells = whole - 1;
        let mut solved = 0;
        let outcome = solve(&module, &SteadyOptions::default(), &mut |_| solved += 1);
        match outcome {
            Err(SteadyError::TooManyCells { needed, .. }) => {
                assert_eq!((needed, solved), (whole, 0))
            }
            other => panic!("{:?}", other.map(|r| r.unknowns)),
        }
    }

    #[test]
    fn the_chf_margin_is_doubted_by_its_changes_and_by_what_the_surface_may_be_hotter() {
        let at = |least: f64| Some(ChfMargin { least, per_K: 0.2, at_m: [0.0; 2] });
        // First order: 1.4 in the limit, 0.4 below the finest.
        let first_order = chf_doubt([at(3.0), at(2.2), at(1.8)], 0.0).unwrap();
        assert!(first_order.doubt >= 0.4 && first_order.doubt < 0.7, "{}", first_order.doubt);
        // Grids that agree by chance leave the least share; hotter by 0.5 K costs 0.1 more.
        let by_chance = chf_doubt([at(2.0), at(2.0), at(2.0)], 0.5).unwrap();
        assert!((by_chance.doubt - (0.04 + 0.1)).abs() < 1e-12, "{}", by_chance.doubt);
        assert!(chf_doubt([None, at(2.0), at(2.0)], 0.0).is_none());
    }

    /// A heater moved 6 nm off a die's edge leaves cells of 1.5 nm, whose conductances to their
    /// neighbours are a million times the others: rounding alone leaves a residual above the
    /// tolerance asked for, and the answer is that of the aligned heater all the same.
    #[test]
    fn outer_iterations_end_where_rounding_does_not_let_the_residual_fall() {
        let module = testing::prescribed();
        let mut askew = module.clone();
        askew.heaters[0].rect.x0_m = askew.die[0].rect.x0_m + 6e-9;
        let mut aligned = askew.clone();
        aligned.heaters[0].rect.x0_m = askew.die[0].rect.x0_m;
        let hottest = |module: &Module, relative_tolerance: f64| {
            let options = SteadyOptions { relative_tolerance, ..SteadyOptions::default() };
            let plane = GridFamily::even(module, 0.5e-3).fine();
            let mesh = Mesh::new(module, plane, &Slicing::coarsest(module));
            let solution = solve_on_mesh(module, mesh, None, &options).unwrap();
            assert!(solution.factors.is_some(), "a nonlinear case");
            let faces = statistics_of(module, &solution);
            (faces.iter().map(|f| f.max_K).fold(0.0, f64::max), solution.residual_relative)
        };
        let (expected, _) = hottest(&aligned, 1e-10);
        let (got, residual) = hottest(&askew, 1e-15);
        assert!(residual > 1e-15, "rounding did not limit: {residual:e}");
        assert!((got - expected).abs() < 1e-3, "{got} {expected}");
    }

    /// One sheet for a thick layer is the user's choice; its error shows in the uncertainty.
    #[test]
    fn slices_that_the_case_states_are_doubted() {
        let mut module = testing::prescribed();
        module.mesh.accuracy_K = 1.0;
        let free = solve(&module, &SteadyOptions::default(), &mut |_| ()).unwrap();
        let mut coarse = module.clone();
        coarse.layers[0].thickness_m *= 4.0;
        let thick_free = solve(&coarse, &SteadyOptions::default(), &mut |_| ()).unwrap();
        coarse.layers[0].slices = Some(1);
        let stated = solve(&coarse, &SteadyOptions::default(), &mut |_| ()).unwrap();
        assert!(free.junctions.iter().all(|j| j.uncertainty_K <= 1.0));
        for (a, b) in stated.junctions.iter().zip(&thick_free.junctions) {
            let apart = (a.max_K - b.max_K).abs();
            assert!(
                apart <= a.uncertainty_K + b.uncertainty_K,
                "{}: {apart} K apart, {} + {}",
                a.name,
                a.uncertainty_K,
                b.uncertainty_K
            );
        }
    }

    #[test]
    fn the_hottest_spot_of_a_source_is_its_printed_maximum() {
        let mut module = testing::prescribed();
        module.mesh.accuracy_K = 1.0;
        let result = solve(&module, &SteadyOptions::default(), &mut |_| ()).unwrap();
        for junction in &result.junctions {
            let spot = result.hot_spots.iter().find(|s| s.name == junction.name).unwrap();
            assert!((spot.temperature_K - junction.max_K).abs() < 1e-9);
            assert_eq!(spot.at_m, junction.hot_spot_m);
        }
    }
}
