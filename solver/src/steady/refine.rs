//! Solve until every junction temperature is known well enough: rounds of three grids
//! ([`super::rounds`]), each fitted to the temperatures of the one before and to the sources that
//! are not yet known well enough.

use super::doubt::{hot, largest, most, most_doubtful};
use super::estimate;
use super::grids::{GridFamily, Scales};
use super::outcome::{model_ranges, result, spray_of};
use super::parts::{Part, most_slices, scaled, stated_doubled};
use super::rounds::{Refiner, Round, Task, changes, expected_shares, statistics_of};
use super::{GridSolution, SteadyError, SteadyOptions};
use crate::mesh::Slicing;
use crate::module::Module;
use crate::results::{RefinementLevel, SteadyResult};

/// Most sheets that one part starts from.
const MOST_SLICES: usize = 16;
/// Rounds before the accuracy is given up.
const MOST_ROUNDS: usize = 16;
/// Rounds that may end with the two coarser grids, because the fine one would not be enough.
const MOST_FORECASTS: usize = 6;
/// A forecast of so many times the accuracy is worth the fine grid.
const ENOUGH: f64 = 1.1;
/// Beyond so many times the accuracy thickness and plane are refined in turn: what both together
/// would gain cannot be foretold well enough.
const FAR: f64 = 1.3;
/// Most that cells are widened where a source is known better than asked for.
const MOST_COARSENING: f64 = 1.15;

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
    let ranges = model_ranges(module, &refiner.task.compared(), &best, &mut warnings);
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
        let mut left = 1.0;
        if let (true, Some(k)) = (thickness_share > 0.5, thickest) {
            // The part whose doubling changed most; from then on it changes about half as much.
            self.slicing = scaled(&self.slicing, &[self.live[k].1], 2);
            self.live[k].0 *= 0.5;
            left -= 0.5 * thickness_share;
            let share = left * largest(uncertainty_K) / self.accuracy_K;
            if !(ENOUGH..FAR).contains(&share) {
                return;
            }
        }
        for (scale, reached_K) in self.scales.sources.iter_mut().zip(uncertainty_K) {
            // Between first and second order in the cell size, as at the edge of a die.
            let factor = (0.8 * self.accuracy_K / (left * reached_K)).powf(0.7);
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
    let mut shares_of_change =
        vec![expected_shares(module); module.die.len() + module.heaters.len()];
    let mut best: Option<Round> = None;
    let mut best_scale = f64::INFINITY;
    let mut refused: Option<(usize, usize)> = None;
    let mut forecasts = 0;
    // The first round starts with a grid that is solved already.
    let mut quarter = Some(scout);
    for _ in 0..MOST_ROUNDS {
        let live = plan.live_parts();
        let coarse = match refiner.coarse(&family, &plan.slicing, &live, &guess, quarter.take()) {
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
            && largest(&expected_K) > ENOUGH * accuracy_K
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
    use crate::mesh::Mesh;
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

    fn plan(live: Vec<(f64, Part)>) -> Plan {
        let module = testing::prescribed();
        let slicing = Slicing::coarsest(&module);
        Plan { scales: Scales::one(&module), slicing, live, accuracy_K: 0.1 }
    }

    #[test]
    fn cells_follow_the_uncertainty_of_their_own_source() {
        let mut plan = plan(Vec::new());
        let sources = plan.scales.sources.len();
        let mut uncertainty_K = vec![0.08; sources];
        // At eight tenths of the accuracy all is well; hardly known; known much too well.
        (uncertainty_K[1], uncertainty_K[2]) = (0.128, 0.0001);
        (uncertainty_K[3], uncertainty_K[4]) = (5.0, 0.08);
        plan.refine(&uncertainty_K, 0.1);
        let expected = [1.0, (0.08f64 / 0.128).powf(0.7), MOST_COARSENING, 0.6, 1.0];
        for (scale, expected) in plan.scales.sources.iter().zip(expected) {
            assert!((scale - expected).abs() < 1e-12, "{scale} {expected}");
        }
        // Between them as in the middle of all.
        assert!((plan.scales.elsewhere - 1.0).abs() < 1e-12, "{}", plan.scales.elsewhere);
    }

    #[test]
    fn the_part_whose_thickness_matters_most_is_cut_first() {
        let mut plan = plan(vec![(0.02, Part::Attach), (0.05, Part::Die)]);
        let before = plan.slicing.clone();
        let sources = plan.scales.sources.len();
        // Far beyond the accuracy: the thickness alone.
        plan.refine(&vec![0.5; sources], 0.8);
        for (now, before) in plan.slicing.die.iter().zip(&before.die) {
            assert_eq!(*now, [before[0], 2 * before[1]]);
        }
        assert_eq!(plan.slicing.layers, before.layers);
        assert_eq!(plan.live, [(0.02, Part::Attach), (0.025, Part::Die)]);
        assert!(plan.scales.sources.iter().all(|scale| *scale == 1.0));
        // Near it: what cutting leaves of the uncertainty is the plane's.
        plan.refine(&vec![0.2; sources], 0.8);
        let left = 1.0 - 0.5 * 0.8;
        assert_eq!(plan.live[1].0, 0.0125);
        let expected = (0.08f64 / (left * 0.2)).powf(0.7);
        assert!((plan.scales.sources[0] - expected).abs() < 1e-12, "{}", plan.scales.sources[0]);
    }

    /// What the uncertainty of a level is made of: nothing negative, and all of the largest.
    fn parts_of(level: &RefinementLevel) -> [f64; 3] {
        let parts_K = level.parts_K.unwrap();
        let most = level.uncertainty_K.iter().flatten().fold(0.0f64, |m, u| m.max(*u));
        assert!(parts_K.iter().all(|part| *part >= 0.0), "{parts_K:?}");
        assert!((parts_K.iter().sum::<f64>() - most).abs() < 1e-9, "{parts_K:?} {most}");
        parts_K
    }

    #[test]
    fn a_fixed_grid_tells_what_plane_and_thickness_leave() {
        let mut module = testing::prescribed();
        let mut shares = [1.5e-3, 0.5e-3].map(|cell_m| {
            module.mesh.cell_m = Some(cell_m);
            let result = solve(&module, &SteadyOptions::default(), &mut |_| ()).unwrap();
            let [plane_K, thickness_K, _] = parts_of(result.levels.last().unwrap());
            assert!(plane_K > 0.01 && thickness_K > 0.01, "{plane_K} {thickness_K}");
            thickness_K / (plane_K + thickness_K)
        });
        // The finer the plane, the more of what is left is the thickness'.
        shares.reverse();
        assert!(shares[0] > shares[1], "{shares:?}");
    }

    /// Whatever was asked for is reached, by finer grids for less; and what the iterations leave is
    /// told with an allowance of a thousand.
    #[test]
    fn a_smaller_accuracy_takes_more_cells_and_is_reached() {
        let mut module = testing::prescribed();
        let mut unknowns = Vec::new();
        for accuracy_K in [0.8, 0.2] {
            module.mesh.accuracy_K = accuracy_K;
            let result = solve(&module, &SteadyOptions::default(), &mut |_| ()).unwrap();
            assert_eq!(result.warnings, [""; 0]);
            for junction in &result.junctions {
                assert!(junction.uncertainty_K <= accuracy_K, "{}", junction.uncertainty_K);
            }
            unknowns.push(result.unknowns);
            let last = result.levels.last().unwrap();
            let hottest_K = result.junctions.iter().map(|j| j.max_K).fold(0.0, f64::max);
            let own = 1e3 * result.residual_relative * hottest_K;
            let [_, _, iteration_K] = parts_of(last);
            assert!(iteration_K >= own && iteration_K < own + 2e-5 * hottest_K);
        }
        assert!(unknowns[1] > 2 * unknowns[0], "{unknowns:?}");
    }

    /// Where `max_cells` stands in the way, the grid is about as fine as it allows, and it is said.
    #[test]
    fn a_bound_on_the_cells_is_used_up_and_told() {
        let mut module = testing::prescribed();
        module.mesh.accuracy_K = 0.02;
        module.mesh.max_cells = 150_000;
        let result = solve(&module, &SteadyOptions::default(), &mut |_| ()).unwrap();
        assert!((75_000..=150_000).contains(&result.unknowns), "{}", result.unknowns);
        let told = result.warnings.iter().filter(|w| w.contains("max_cells allows 150000"));
        assert_eq!(told.count(), 1, "{:?}", result.warnings);
        assert!(result.junctions.iter().any(|j| j.uncertainty_K > 0.02));
    }

    #[test]
    fn unknowns_are_counted_as_the_mesh_has_them() {
        for module in [testing::prescribed(), testing::with_nozzles()] {
            for (cell_m, slicing) in [
                (1.1e-3, Slicing::coarsest(&module)),
                (0.37e-3, super::super::parts::all_doubled(&Slicing::coarsest(&module))),
            ] {
                let family = GridFamily::even(&module, cell_m);
                let mesh = Mesh::new(&module, family.fine(), &slicing);
                assert_eq!(family.unknowns(&module, &slicing), mesh.unknowns());
            }
        }
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
        let (got, residual) = hottest(&askew, 1e-17);
        assert!(residual > 1e-17, "rounding did not limit: {residual:e}");
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
