//! A better nozzle pattern: positions, flows and stand-off within bounds.
//!
//! - `rules`: what a pattern may be, and ways back inside; `coarse`: the mesh of the study;
//! - `evaluate`: one pattern solved there, with gradients from influences;
//! - `goal`: what is to be made small, and what must hold; `step`: one step of a minimax;
//! - `search`: steps within a trust region; `starts`: where searches begin.
//!
//! Every search moves all nozzles at once by the step that makes the largest of the linearised
//! functions least within a trust region, puts the pattern back inside its bounds, and keeps it
//! where the solution on the study's mesh is better. What comes out is rounded to what a case
//! file states, checked against every bound, and solved in full; the present pattern stays where
//! nothing better is found. A search finds a minimum near its start: several starts make it
//! likely, and nothing makes it certain, that it is the lowest of all.

mod coarse;
mod evaluate;
mod goal;
mod keeper;
mod rules;
mod search;
mod starts;
mod step;
#[cfg(test)]
mod tests;
mod trade_off;

use std::fmt;
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

pub use goal::Goal;
pub use keeper::{Forgetful, Keeper};
pub use rules::Spot;
pub use search::Effort;
pub use trade_off::TradePoint;

use evaluate::{Evaluator, Offsets, Sharpness, State};
use goal::Aim;
use rules::{Rules, nozzles_of, spots_of, with_spots};
use search::{PENALTY, descend, spots_from, values_of};
use trade_off::trade_off;

use crate::module::{ArrangeBounds, Module};
use crate::results::SteadyResult;
use crate::steady::{GridSolution, SteadyError, SteadyOptions, solve_keeping};

/// Sharpness of maxima over the largest value: the softly taken maximum of a face lies within
/// about one in thirty of the largest.
const SHARPNESS: f64 = 200.0;
/// Sharpness of the largest loads, likewise.
const LOAD_SHARPNESS: f64 = 300.0;
/// Full solves after which the best so far is returned.
const MOST_PASSES: usize = 3;
/// A condition broken by less than this share is kept.
const KEPT: f64 = 1e-6;
/// What moving one nozzle back may cost, as a share of the merit.
const NO_LOSS: f64 = 1e-4;
/// Nozzles that are tried at their present place.
const MOST_MOVED_BACK: usize = 100;
/// What a full solve may differ from the study's mesh by to leave it at that, as a share of the
/// largest value.
const LITTLE_LEARNT: f64 = 0.002;

/// What is asked of a study.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ArrangeOptions {
    /// What is sought.
    pub goal: Goal,
    /// Patterns to start from: the present one, one allotted by power, scattered ones.
    pub starts: usize,
    /// Most gradients of each search.
    pub rounds: usize,
    /// Points of the trade-off curve beside the pattern found.
    pub trade_off_points: usize,
    /// Seed of the scattered starts.
    pub seed: u64,
}

impl Default for ArrangeOptions {
    fn default() -> Self {
        ArrangeOptions { goal: Goal::Hottest, starts: 3, rounds: 25, trade_off_points: 6, seed: 1 }
    }
}

/// Why there is no pattern.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub enum ArrangeError {
    /// The spray is prescribed.
    NoNozzles,
    /// No pattern was found that keeps every bound.
    NoRoom,
    /// The present pattern, or the one found, has no steady state.
    Steady(SteadyError),
}

impl fmt::Display for ArrangeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ArrangeError::NoNozzles => write!(f, "a prescribed spray has no nozzles to arrange"),
            ArrangeError::NoRoom => {
                write!(f, "no nozzle pattern was found that keeps every bound of [arrange]")
            }
            ArrangeError::Steady(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for ArrangeError {}

impl From<SteadyError> for ArrangeError {
    fn from(error: SteadyError) -> Self {
        ArrangeError::Steady(error)
    }
}

/// One start and where its search ended, on the study's mesh.
#[derive(Debug, Clone)]
pub struct StartRecord {
    /// `as it is`, `allotted by power`, `scattered 1` and so on.
    pub name: String,
    /// Goal in its own unit at the start and at the end: hottest rise above the inlet (K), least
    /// CHF margin, or flow (m³/s). `None` where the start has no steady state.
    pub goal: Option<[f64; 2]>,
    /// Whether every condition holds at the end.
    pub kept: bool,
}

/// What a study found.
#[derive(Debug, Clone)]
pub struct Arranged {
    /// The module with the pattern found (or the present one).
    pub module: Module,
    /// Its full solve.
    pub result: SteadyResult,
    /// The solution of that.
    pub solution: GridSolution,
    /// Whether it is better than the present pattern.
    pub improved: bool,
    /// Bounds that the present pattern breaks, in words.
    pub broken_before: Vec<String>,
    /// Goal asked for.
    pub goal: Goal,
    /// Least CHF margin that was kept to.
    pub least_chf_margin: f64,
    /// Whether limits, margins and wetted shares hold after.
    pub conditions_hold: bool,
    /// Least spacing that was kept to, m.
    pub spacing_m: f64,
    /// Most flow that was kept to, m³/s.
    pub budget_m3_s: f64,
    /// Every start.
    pub starts: Vec<StartRecord>,
    /// Ascending in flow.
    pub trade_off: Vec<TradePoint>,
    /// Unknowns of the study's mesh.
    pub unknowns: usize,
    /// What it cost.
    pub effort: Effort,
    /// Full solves.
    pub full_solves: usize,
}

/// Every bound of `bounds` that the nozzles of `module` break, in words; ranges that `bounds`
/// leaves open are those of `present`.
pub fn broken_bounds(module: &Module, present: &Module, bounds: &ArrangeBounds) -> Vec<String> {
    let names: Vec<String> = nozzles_of(present).iter().map(|n| n.name.clone()).collect();
    Rules::new(present, bounds).broken(&spots_of(module), &names)
}

/// Looks for a better pattern than that of `module`, which is solved as `before`.
///
/// `progress` hears what is being done, how much of it is done, and of how much.
///
/// The same numbers come out whatever the number of threads.
///
/// # Errors
/// See [`ArrangeError`].
pub fn arrange(
    module: &Module,
    bounds: &ArrangeBounds,
    before: (&SteadyResult, &GridSolution),
    options: &ArrangeOptions,
    progress: &(dyn Fn(&str, usize, usize) + Sync),
) -> Result<Arranged, ArrangeError> {
    arrange_kept(module, bounds, before, options, progress, &Forgetful)
}

/// [`arrange`] that asks `keeper` for what a former run finished, and tells it what it finishes.
///
/// # Errors
/// See [`ArrangeError`].
pub fn arrange_kept(
    module: &Module,
    bounds: &ArrangeBounds,
    before: (&SteadyResult, &GridSolution),
    options: &ArrangeOptions,
    progress: &(dyn Fn(&str, usize, usize) + Sync),
    keeper: &dyn Keeper,
) -> Result<Arranged, ArrangeError> {
    let present = spots_of(module);
    if present.is_empty() {
        return Err(ArrangeError::NoNozzles);
    }
    let (before_result, before_solution) = before;
    let rules = Rules::new(module, bounds);
    let names: Vec<String> = nozzles_of(module).iter().map(|n| n.name.clone()).collect();
    let broken_before = rules.broken(&present, &names);
    let flow_before = rules.flow_m3_s(&present);
    let aim = Aim::new(module, bounds, options.goal, before_result, flow_before);
    let n = before_result.junctions.len();
    let hottest = before_result.junctions.iter().map(|j| j.max_K - module.coolant.inlet_K);
    let loads = before_result.junctions.iter().filter_map(|j| Some(1.0 / j.chf_margin?));
    let mut evaluator = Evaluator {
        module,
        mesh: coarse::study_mesh(module, &before_solution.mesh),
        sharpness: Sharpness {
            hot_1_K: SHARPNESS / hottest.fold(1e-3, f64::max),
            load: LOAD_SHARPNESS / loads.fold(1e-3, f64::max),
        },
        offsets: Offsets { hot_K: vec![0.0; n], load: vec![1.0; n] },
    };
    let state = evaluator.solve(&rules, &present, None)?;
    evaluator.learn_offsets(&state, before_result);

    let (mut state, starts, mut effort) =
        from_several_starts(&evaluator, &rules, &aim, module, options, progress, keeper)?;
    effort.solves += 1;
    state = moved_back(&evaluator, &rules, &aim, &present, state, &mut effort, progress);

    // Rounded, checked, solved in full; where that tells something new, it is learnt and the search
    // goes on from there.
    let mut best: Option<(Vec<Spot>, SteadyResult, GridSolution, [f64; 2])> = None;
    let mut full_solves = 1;
    for pass in 0..MOST_PASSES {
        progress("solving the pattern found in full", pass, MOST_PASSES);
        let spots = rules.rounded(&state.spots).ok_or(ArrangeError::NoRoom)?;
        let candidate = with_spots(module, &spots);
        let solved = solve_keeping(&candidate, &SteadyOptions::default(), &mut |_| {});
        full_solves += 1;
        let (result, solution) = match solved {
            Ok(solved) => solved,
            Err(error) if best.is_none() && !broken_before.is_empty() => return Err(error.into()),
            Err(_) => break,
        };
        let judged = aim.judged(module, &result, rules.flow_m3_s(&spots));
        let plain = evaluator.solve(&rules, &spots, Some(&state))?;
        effort.solves += 1;
        let learnt = evaluator.learn_offsets(&plain, &result);
        let settled = judged[1] <= KEPT && learnt < LITTLE_LEARNT;
        if best.as_ref().is_none_or(|(_, _, _, other)| is_better(judged, *other)) {
            best = Some((spots.clone(), result, solution, judged));
        }
        if settled || pass + 1 == MOST_PASSES {
            break;
        }
        let plain = evaluator.solve(&rules, &spots, Some(&plain))?;
        let (next, cost) = descend(&evaluator, &rules, &aim, plain, options.rounds, &|| {})?;
        effort.add(cost);
        effort.solves += 1;
        state = next;
    }
    let judged_before = aim.judged(module, before_result, flow_before);
    let better = best
        .filter(|(_, _, _, judged)| !broken_before.is_empty() || is_better(*judged, judged_before));
    let improved = better.is_some();
    let (spots, result, solution, judged) = better.unwrap_or_else(|| {
        (present.clone(), before_result.clone(), before_solution.clone(), judged_before)
    });
    if !improved && !broken_before.is_empty() {
        return Err(ArrangeError::NoRoom);
    }
    let trade_off = if options.trade_off_points > 0 {
        trade_off(&evaluator, &rules, &aim, &spots, options, (progress, keeper), &mut effort)
    } else {
        Vec::new()
    };
    Ok(Arranged {
        module: with_spots(module, &spots),
        result,
        solution,
        improved,
        broken_before,
        goal: options.goal,
        least_chf_margin: aim.least_chf_margin,
        conditions_hold: judged[1] <= KEPT,
        spacing_m: rules.spacing_m,
        budget_m3_s: rules.budget_m3_s,
        starts,
        trade_off,
        unknowns: evaluator.mesh.unknowns(),
        effort,
        full_solves,
    })
}

/// Whether goal and broken condition `a` are better than `b`: conditions first.
fn is_better(a: [f64; 2], b: [f64; 2]) -> bool {
    let (broken_a, broken_b) = (a[1].max(KEPT), b[1].max(KEPT));
    if broken_a != broken_b { broken_a < broken_b } else { a[0] < b[0] * (1.0 - 1e-9) }
}

/// The best end of a search from every start.
fn from_several_starts(
    evaluator: &Evaluator,
    rules: &Rules,
    aim: &Aim,
    module: &Module,
    options: &ArrangeOptions,
    progress: &(dyn Fn(&str, usize, usize) + Sync),
    keeper: &dyn Keeper,
) -> Result<(State, Vec<StartRecord>, Effort), ArrangeError> {
    let present = spots_of(module);
    let mut patterns = vec![("as it is".to_owned(), present.clone())];
    if options.starts > 1 {
        patterns.push(("allotted by power".to_owned(), starts::allotted(module, rules, &present)));
    }
    for k in 2..options.starts {
        let mut random = starts::Random::new(options.seed, k as u64);
        let reach = nozzles_of(module).iter().map(|n| n.standoff_m).fold(0.0, f64::max);
        let by_m = 0.25 * reach;
        let spots = starts::scattered(rules, &present, by_m, &mut random);
        patterns.push((format!("scattered {}", k - 1), spots));
    }
    let done = AtomicUsize::new(0);
    let of = patterns.len() * options.rounds;
    let heard = || progress("step", done.fetch_add(1, Ordering::Relaxed) + 1, of);
    let in_unit = |state: &State| match aim.goal {
        Goal::Hottest => state.hot_K.iter().copied().fold(0.0, f64::max),
        Goal::Margin => 1.0 / state.load.iter().copied().fold(0.0, f64::max),
        Goal::Liquid => state.flow_m3_s,
    };
    let search = |spots: &[Spot]| -> Option<Vec<f64>> {
        let spots = rules.repaired(spots)?;
        let start = evaluator.solve(rules, &spots, None).ok()?;
        let from = in_unit(&start);
        let (end, effort) = descend(evaluator, rules, aim, start, options.rounds, &heard).ok()?;
        let mut numbers = vec![from, effort.solves as f64, effort.gradients as f64];
        numbers.extend(values_of(&end.spots));
        Some(numbers)
    };
    let ends: Vec<Option<(f64, State, Effort)>> = patterns
        .par_iter()
        .enumerate()
        .map(|(k, (_, spots))| {
            let piece = format!("start-{k}");
            let numbers = keeper.known(&piece).unwrap_or_else(|| {
                let numbers = search(spots).unwrap_or_default();
                keeper.keep(&piece, &numbers);
                numbers
            });
            let (&[from, solves, gradients], values) = numbers.split_first_chunk::<3>()?;
            // From the pattern alone, so that it ends alike whether it was known or not.
            let end = evaluator.solve(rules, &spots_from(values), None).ok()?;
            let effort = Effort { solves: solves as usize + 2, gradients: gradients as usize };
            Some((from, end, effort))
        })
        .collect();
    let mut effort = Effort::default();
    let mut records = Vec::new();
    let mut best: Option<(f64, State)> = None;
    for ((name, _), end) in patterns.into_iter().zip(ends) {
        let Some((from, end, cost)) = end else {
            records.push(StartRecord { name, goal: None, kept: false });
            continue;
        };
        effort.add(cost);
        let worst = aim.conditions(&end).iter().map(|t| t.value).fold(0.0, f64::max);
        let goal = Some([from, in_unit(&end)]);
        records.push(StartRecord { name, goal, kept: worst <= 1e-3 });
        let merit = aim.merit(&end, PENALTY);
        if best.as_ref().is_none_or(|(least, _)| merit < *least) {
            best = Some((merit, end));
        }
    }
    match best {
        Some((_, state)) => Ok((state, records, effort)),
        None => Err(ArrangeError::NoRoom),
    }
}

/// The pattern with every nozzle back where it was that does not help: a minimax leaves alone
/// what is not hottest, so a nozzle may have been moved, and its die warmed, for nothing. One
/// nozzle after the other is tried at its present place, those that moved least first.
fn moved_back(
    evaluator: &Evaluator,
    rules: &Rules,
    aim: &Aim,
    present: &[Spot],
    mut state: State,
    effort: &mut Effort,
    progress: &(dyn Fn(&str, usize, usize) + Sync),
) -> State {
    let merit = aim.merit(&state, PENALTY);
    let allowed = merit + NO_LOSS * merit.abs();
    let way = |k: usize, state: &State| {
        let by = [0, 1].map(|i| state.spots[k].at_m[i] - present[k].at_m[i]);
        by[0].hypot(by[1])
    };
    let mut order: Vec<usize> = (0..present.len()).filter(|&k| !rules.fixed[k]).collect();
    order.sort_by(|&a, &b| way(a, &state).total_cmp(&way(b, &state)));
    let n = order.len().min(MOST_MOVED_BACK);
    for (done, &k) in order.iter().take(n).enumerate() {
        progress("moving back what need not move", done + 1, n);
        let mut spots = state.spots.clone();
        if spots[k].at_m == present[k].at_m {
            continue;
        }
        spots[k].at_m = present[k].at_m;
        // Repairs may move others: then it is not the same pattern with one nozzle back.
        if rules.repaired(&spots).as_ref() != Some(&spots) {
            continue;
        }
        effort.solves += 1;
        if let Ok(trial) = evaluator.solve(rules, &spots, Some(&state))
            && aim.merit(&trial, PENALTY) <= allowed
        {
            state = trial;
        }
    }
    state
}
