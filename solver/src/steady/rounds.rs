//! One round of a refinement: the grids of a family solved and compared.
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

use super::doubt::{ChfDoubt, Doubt, chf_doubt, hot, largest, most, most_doubtful};
use super::estimate::{self, Estimate};
use super::grids::GridFamily;
use super::interpolate::interpolate;
use super::parts::{Part, all_doubled, live_of, parts, scaled};
use super::{GridSolution, SteadyError, SteadyOptions, solve_on_mesh};
use crate::conduction::Network;
use crate::mesh::{Mesh, PlaneGrid, Slicing};
use crate::module::{Module, Spray};
use crate::results::{FaceStatistics, RefinementLevel, face_statistics};

/// A part is refined with the plane when doubling its sheets changes a junction by more than
/// this share of the accuracy.
const LIVE_SHARE: f64 = 0.05;
/// Relative residual of grids that are only compared with others: it enters the iteration error, and
/// is far below what the grids differ by.
const COMPARED_RESIDUAL: f64 = 1e-8;
/// Uncertainty that a fine grid leaves as a share of the change between the two coarser ones,
/// until a fine grid has shown it: order 1.5 (maximum) and 1.2 (mean), each doubted
/// as [`estimate::joint`] does.
const EXPECTED_SHARES: [f64; 2] = [0.12, 0.10];

/// Whether there are nozzles, which make temperatures restless; see [`estimate::NOZZLE_DOUBT`].
fn sprayed(module: &Module) -> bool {
    matches!(module.spray, Spray::Correlated(_))
}

/// [`EXPECTED_SHARES`], doubted more where there are nozzles.
pub(super) fn expected_shares(module: &Module) -> [f64; 2] {
    let [max, mean] = EXPECTED_SHARES;
    let [more_max, more_mean, _] = estimate::NOZZLE_DOUBT;
    if sprayed(module) { [max * more_max, mean * more_mean] } else { [max, mean] }
}

/// The three temperatures of each source that are printed.
pub(super) type Statistics = Vec<FaceStatistics>;

/// The printed temperatures of `solution`'s sources, as its grid has them.
pub(super) fn statistics_of(module: &Module, solution: &GridSolution) -> Statistics {
    face_statistics(&Network::new(module, &solution.mesh), solution)
}

/// Largest change of maximum and mean of each source, K.
pub(super) fn changes(a: &Statistics, b: &Statistics) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| largest(&three(a, b).map(f64::abs))).collect()
}

/// Changes of the three printed temperatures of one source, K.
fn three(a: &FaceStatistics, b: &FaceStatistics) -> [f64; 3] {
    [a.max_K - b.max_K, a.mean_K - b.mean_K, a.min_K - b.min_K]
}

pub(super) struct Refiner<'m, 'p> {
    pub task: Task<'m>,
    pub progress: &'p mut dyn FnMut(&RefinementLevel),
    pub levels: Vec<RefinementLevel>,
    /// What stated slices leave, K: told with every level, though no refinement lessens it.
    pub stated_K: f64,
}

/// What is solved, and how.
#[derive(Clone, Copy)]
pub(super) struct Task<'m> {
    pub module: &'m Module,
    pub options: &'m SteadyOptions,
}

impl Task<'_> {
    /// The cells, if `max_cells` allows so many.
    pub(super) fn mesh(&self, plane: PlaneGrid, slicing: &Slicing) -> Result<Mesh, SteadyError> {
        let mesh = Mesh::new(self.module, plane, slicing);
        self.allowed(mesh.unknowns())?;
        Ok(mesh)
    }

    /// Whether `max_cells` allows so many unknowns.
    fn allowed(&self, needed: usize) -> Result<(), SteadyError> {
        let allowed = self.module.mesh.max_cells;
        if needed > allowed {
            return Err(SteadyError::TooManyCells { needed, allowed });
        }
        Ok(())
    }

    /// Solves a grid that is only compared with others.
    pub(super) fn solve(
        &self,
        plane: PlaneGrid,
        slicing: &Slicing,
        guess: Option<&GridSolution>,
    ) -> Result<GridSolution, SteadyError> {
        self.solve_as(plane, slicing, guess, &self.compared())
    }

    /// Solves a grid whose fields are reported.
    fn solve_fine(
        &self,
        plane: PlaneGrid,
        slicing: &Slicing,
        guess: &GridSolution,
    ) -> Result<GridSolution, SteadyError> {
        self.solve_as(plane, slicing, Some(guess), self.options)
    }

    fn solve_as(
        &self,
        plane: PlaneGrid,
        slicing: &Slicing,
        guess: Option<&GridSolution>,
        options: &SteadyOptions,
    ) -> Result<GridSolution, SteadyError> {
        let mesh = self.mesh(plane, slicing)?;
        let start = guess.map(|g| interpolate(&g.mesh, &g.rise_K, &mesh));
        solve_on_mesh(self.module, mesh, start, options)
    }

    /// The options for grids that are only compared with others.
    pub(super) fn compared(&self) -> SteadyOptions {
        let relative_tolerance = self.options.relative_tolerance.max(COMPARED_RESIDUAL);
        SteadyOptions { relative_tolerance, ..self.options.clone() }
    }

    /// Solves the half grid of a family, or its quarter where `max_cells` refuses that.
    pub(super) fn scout(
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
    pub(super) fn record(
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
    pub(super) fn live_parts(
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

    /// Solves the two coarser grids of a family, `live` parts refined with the plane; `guess` is a
    /// solution on another grid, `quarter` the coarsest if it is known already.
    pub(super) fn coarse(
        &mut self,
        family: &GridFamily,
        slicing: &Slicing,
        live: &[Part],
        guess: &GridSolution,
        quarter: Option<GridSolution>,
    ) -> Result<Coarse, SteadyError> {
        let (task, module) = (self.task, self.task.module);
        // Before anything is solved: does the largest of the three fit?
        task.mesh(family.fine(), &scaled(slicing, live, 4))?;
        let in_half = scaled(slicing, live, 2);
        let coarsest = || {
            let quarter = match quarter {
                Some(quarter) => quarter,
                None => task.solve(family.quarter(), slicing, Some(guess))?,
            };
            let thicker = task.solve(family.quarter(), &in_half, Some(&quarter))?;
            Ok::<_, SteadyError>((quarter, thicker))
        };
        // Side by side, for grids this small leave threads waiting.
        let (coarsest, half) =
            rayon::join(coarsest, || task.solve(family.half(), &in_half, Some(guess)));
        let (quarter, thicker) = coarsest?;
        let half = half?;
        let quarter_statistics = statistics_of(module, &quarter);
        self.record(&quarter, &quarter_statistics, None, None);
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
    pub(super) fn round(
        &mut self,
        family: &GridFamily,
        slicing: &Slicing,
        live: &[Part],
        left_K: f64,
        coarse: Coarse,
    ) -> Result<Round, SteadyError> {
        let Coarse { quarter_statistics, half, half_statistics, thickness_share } = coarse;
        let fine = self.task.solve_fine(family.fine(), &scaled(slicing, live, 4), &half)?;
        let on_grid = statistics_of(self.task.module, &fine);
        let mut statistics = on_grid.clone();
        let left = estimate::thickness(left_K);
        let expected = expected_shares(self.task.module);
        let mut uncertainty_K: Vec<Doubt> = Vec::new();
        let mut shares = Vec::new();
        for (k, fine) in statistics.iter_mut().enumerate() {
            let last = three(fine, &half_statistics[k]);
            let before = three(&half_statistics[k], &quarter_statistics[k]);
            let estimates = estimate::joint(before, last, fine.on_rim, sprayed(self.task.module));
            fine.max_K += estimates[0].correction_K;
            fine.mean_K += estimates[1].correction_K;
            fine.min_K += estimates[2].correction_K;
            let [max, mean, min] = estimates.map(|e| e.uncertainty_K + left);
            let margins = [&quarter_statistics[k], &half_statistics[k], fine].map(|s| s.chf);
            let chf = chf_doubt(margins, left);
            uncertainty_K.push(Doubt { hot_K: max.max(mean), mean_K: mean, cold_K: min, chf });
            // A change that is small by chance tells little of the next one.
            let share = |m: usize, uncertainty_K: f64| {
                (uncertainty_K / before[m].abs().max(f64::MIN_POSITIVE))
                    .clamp(0.7 * expected[m], 1.4 * expected[m])
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
    pub(super) fn pair(
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
        let fine = self.task.solve_fine(family.fine(), &in_fine, &half)?;
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
                Doubt { hot_K: max.max(mean), mean_K: mean, cold_K: min, chf }
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
    pub(super) fn fixed(&mut self, family: &GridFamily) -> Result<Round, SteadyError> {
        let module = self.task.module;
        let slicing = Slicing::coarsest(module);
        // Counted before a line is made: cells of nanometres would fill the memory with lines.
        self.task.allowed(family.unknowns(module, &slicing))?;
        let quarter = self.task.solve(family.quarter(), &slicing, None)?;
        let quarter_statistics = statistics_of(module, &quarter);
        self.record(&quarter, &quarter_statistics, None, None);
        let half = self.task.solve(family.half(), &slicing, Some(&quarter))?;
        let half_statistics = statistics_of(module, &half);
        self.record(&half, &half_statistics, None, None);
        let thicker = self.task.solve(family.half(), &all_doubled(&slicing), Some(&half))?;
        let fine = self.task.solve_fine(family.fine(), &slicing, &half)?;
        let statistics = statistics_of(module, &fine);
        let thick_statistics = statistics_of(module, &thicker);
        let mut uncertainty_K: Vec<Doubt> = Vec::new();
        let (mut most_K, mut most_through_K) = (0.0f64, 0.0f64);
        for k in 0..statistics.len() {
            let last = three(&statistics[k], &half_statistics[k]);
            let before = three(&half_statistics[k], &quarter_statistics[k]);
            let [max, mean, min] =
                estimate::joint(before, last, statistics[k].on_rim, sprayed(module))
                    .map(Estimate::without_correction);
            let [max_t, mean_t, min_t] =
                three(&thick_statistics[k], &half_statistics[k]).map(estimate::thickness);
            let margins =
                [&quarter_statistics[k], &half_statistics[k], &statistics[k]].map(|s| s.chf);
            let chf = chf_doubt(margins, max_t.max(mean_t));
            uncertainty_K.push(Doubt {
                hot_K: (max + max_t).max(mean + mean_t),
                mean_K: mean + mean_t,
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
    pub(super) fn close(&mut self, mut round: Round, on_grid: &Statistics) -> Round {
        // The residual bounds the error in the energy norm only; a thousandfold allowance over
        // the relative residual covers any temperature printed. The half grid enters the
        // correction with a factor of at most one.
        let iteration_K: f64 = 1e3
            * (round.fine.residual_relative + round.half.residual_relative)
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

/// The two coarser grids of a family.
pub(super) struct Coarse {
    pub quarter_statistics: Statistics,
    pub half: GridSolution,
    pub half_statistics: Statistics,
    /// Share of the thickness in the change of each source, 0 to 1.
    pub thickness_share: Vec<f64>,
}

impl Coarse {
    /// Uncertainty of each source that the fine grid may be expected to leave, K: the change
    /// between the two, times `shares_of_change` (of maximum and mean).
    pub(super) fn expected_K(&self, shares_of_change: &[[f64; 2]]) -> Vec<f64> {
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
    pub thickness_share: f64,
    /// Uncertainty of each source over its change from quarter to half: maximum and mean.
    pub shares_of_change: Vec<[f64; 2]>,
}

impl Round {
    /// Adds `more_K` to every uncertainty.
    pub(super) fn doubted(mut self, more_K: f64) -> Round {
        for doubt in &mut self.uncertainty_K {
            doubt.hot_K += more_K;
            doubt.mean_K += more_K;
            doubt.cold_K += more_K;
            if let Some(chf) = &mut doubt.chf {
                chf.doubt += chf.per_K * more_K;
            }
        }
        self
    }
}
