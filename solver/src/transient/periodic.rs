//! The state that comes back after every period.
//!
//! A period takes a start `x(0)` to `x(P)`. A mode of time constant T that is off by e at the start
//! is off by `e exp(-p)` at the end, `p = P/T`; with the change `D = x(P) - x(0) = -(1 - exp(-p)) e`,
//! what is left at the end is
//!
//! ```text
//! e exp(-p) = -D / (exp(p) - 1)
//! ```
//!
//! Slow modes would take `T/P` periods to die. So each period ends with a correction that stands
//! for the fraction, exact to second order for slow modes and vanishing for fast ones:
//!
//! ```text
//! 1/(exp(p) - 1)  ~  2/(p (2 + p))  =  1/p - 1/(2 + p)
//! x(0) <- x(P) + A^-1 (C D / P) - (A + 2 C / P)^-1 (C D / P)
//! ```
//!
//! Whatever its time constant, a mode keeps at most a twelfth of its error from period to period
//! (the maximum of `exp(-p) - (1 - exp(-p)) 2/(p (2 + p))`, near p = 2.3). Where every mode is fast
//! (p above some 3.6, where the fraction is a tenth) plain periods do better, and there is none. The first start is the
//! steady state of the mean powers: in a linear module the periodic state has just that mean. Or it is
//! a guess, from a coarser mesh or from longer steps.
//!
//! It is found when neither the period nor the correction at its end changes anything by more than
//! the tolerance: a slow mode may be far off and yet change little in one period.

use super::TransientError;
use super::conditions::System;
use super::ladder::Ladder;
use super::march::{Route, Run, Steps, change, march};
use super::plan::Plan;
use super::stage::shift;
use super::trail::Trail;

/// Periods after which it is given up.
const MOST_PASSES: usize = 60;
/// Stands for an infinite step among the rungs of the ladder, s.
const STEADY_S: f64 = 1e30;
/// Periods in which steps are chosen before they are frozen: without a guess the first starts too
/// far away.
const FREE_PASSES: usize = 2;
/// Steps before that may be so many times as inexact: they only lead near.
const FAR_AWAY: f64 = 8.0;
/// Corrections below this share of the change are left out: plain periods do better.
const LEAST_CORRECTION: f64 = 0.1;
/// Relative residual of the corrections.
const CORRECTION_RESIDUAL: f64 = 1e-4;

/// A state that comes back.
#[derive(Debug, Clone)]
pub struct Settled {
    /// Rises at the start of the period, K.
    pub start: Vec<f64>,
    /// The steps.
    pub plan: Plan,
    /// Periods run.
    pub passes: usize,
    /// Largest change of any cell over the last period, K: the residual.
    pub change_K: f64,
    /// The same over the first period.
    pub first_change_K: f64,
}

/// What a search is given.
pub(super) struct Search<'a> {
    /// Rises to start from, K; those of the steady state of the means without.
    pub guess: Option<Vec<f64>>,
    /// The steps of a period.
    pub steps: Steps<'a>,
    /// When pictures are taken, s.
    pub snapshots_s: &'a [f64],
    /// Change that still counts as none, K.
    pub tolerance_K: f64,
}

/// Finds the state that comes back, and the run over its period. `heard` is told of every period
/// run, and its change in K.
///
/// # Errors
/// [`TransientError::NotPeriodic`], [`TransientError::RunAway`] and what a run may fail by.
pub(super) fn settle(
    system: &mut System,
    ladder: &mut Ladder,
    search: Search,
    heard: &mut dyn FnMut(usize, f64),
) -> Result<(Settled, Run), TransientError> {
    let Search { guess, steps, snapshots_s, tolerance_K } = search;
    let free = if guess.is_some() { 1 } else { FREE_PASSES };
    let mut start = match guess {
        Some(guess) => guess,
        None => system.steady(&|signal| signal.mean()).map_err(TransientError::Start)?.rise_K,
    };
    let mut frozen: Option<Plan> = None;
    let mut last_change_K = f64::INFINITY;
    let mut first_change_K = f64::NAN;
    let mut corrects = true;
    let mut trail = Trail::default();
    for pass in 1..=MOST_PASSES {
        let now = match (&frozen, steps) {
            (Some(plan), _) => Steps::Replayed(plan, 1),
            (None, Steps::Chosen(step_K)) if pass < free => Steps::Chosen(FAR_AWAY * step_K),
            (None, steps) => steps,
        };
        trail.turn(matches!(now, Steps::Replayed(..)));
        let (from, trail) = (start.clone(), Some(&mut trail));
        let route = Route { repeats: 1, snapshots_s, steps: now };
        let run = march(system, ladder, from, route, trail, &mut |_| ())?;
        if let Some(time_s) = run.ran_away_s {
            return Err(TransientError::RunAway { time_s });
        }
        let change_K = change(&run.end, &start);
        if pass == 1 {
            first_change_K = change_K;
        }
        heard(pass, change_K);
        // Where the correction does harm (a spray far from linear), plain periods go on.
        corrects &= change_K < last_change_K;
        last_change_K = change_K;
        let missing = if corrects { correction(system, ladder, &run.end, &start) } else { None };
        let missing_K =
            missing.as_ref().map_or(0.0, |m| m.iter().fold(0.0, |m: f64, x| m.max(x.abs())));
        if change_K.max(missing_K) <= tolerance_K {
            let plan = run.plan.clone();
            return Ok((Settled { start, plan, passes: pass, change_K, first_change_K }, run));
        }
        if pass >= free && frozen.is_none() && matches!(steps, Steps::Chosen(_)) {
            frozen = Some(run.plan);
        }
        start = run.end;
        if let Some(missing) = missing.filter(|_| missing_K > LEAST_CORRECTION * change_K) {
            start.iter_mut().zip(&missing).for_each(|(x, missing)| *x += missing);
        }
    }
    Err(TransientError::NotPeriodic { passes: MOST_PASSES, change_K: last_change_K })
}

/// What slow modes still lack after a period from `start` to `end`, K; nothing where its equations
/// cannot be solved.
fn correction(
    system: &mut System,
    ladder: &mut Ladder,
    end: &[f64],
    start: &[f64],
) -> Option<Vec<f64>> {
    let period_s = system.cycle.period_s;
    let defect: Vec<f64> = end
        .iter()
        .zip(start)
        .zip(&system.capacity_J_K)
        .map(|((end, start), capacity)| capacity * (end - start) / period_s)
        .collect();
    let mut at = system.evaluate(end, None);
    let slow = ladder.solve(&at.operator, STEADY_S, &defect, CORRECTION_RESIDUAL, false);
    shift(&mut at.operator, &system.capacity_J_K, 0.5 * period_s);
    let fast = ladder.solve(&at.operator, 0.5 * period_s, &defect, CORRECTION_RESIDUAL, false);
    system.give_back(at.operator, at.rhs_W);
    let ((slow, _), (fast, _)) = (slow.ok()?, fast.ok()?);
    Some(slow.iter().zip(&fast).map(|(slow, fast)| slow - fast).collect())
}
