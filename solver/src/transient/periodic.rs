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
//! (the maximum of `exp(-p) - (1 - exp(-p)) 2/(p (2 + p))`, near p = 2.3). The first start is the
//! steady state of the mean powers: in a linear module the periodic state has just that mean.

use super::TransientError;
use super::conditions::System;
use super::ladder::Ladder;
use super::march::{Plan, Steps, change, march};
use super::scheme::shift;

/// Periods after which it is given up.
const MOST_PASSES: usize = 60;
/// Stands for an infinite step among the rungs of the ladder, s.
const STEADY_S: f64 = 1e30;
/// Periods in which steps are chosen before they are frozen: the first starts too far away.
const FREE_PASSES: usize = 2;

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

/// Finds the state that comes back within `tolerance_K`.
///
/// # Errors
/// [`TransientError::NotPeriodic`], [`TransientError::RunAway`] and what a run may fail by.
pub(super) fn settle(
    system: &mut System,
    ladder: &mut Ladder,
    steps: Steps,
    tolerance_K: f64,
    heard: &mut dyn FnMut(usize, f64),
) -> Result<Settled, TransientError> {
    let period_s = system.cycle.period_s;
    let mut start = system.steady(&|signal| signal.mean()).map_err(TransientError::Start)?.rise_K;
    let mut frozen: Option<Plan> = None;
    let mut last_change_K = f64::INFINITY;
    let mut first_change_K = f64::NAN;
    let mut corrects = true;
    for pass in 1..=MOST_PASSES {
        let now = match (&frozen, steps) {
            (Some(plan), _) => Steps::Replayed(plan, 1),
            (None, steps) => steps,
        };
        let run = march(system, ladder, start.clone(), 1, &[], now, &mut |_| ())?;
        if let Some(time_s) = run.ran_away_s {
            return Err(TransientError::RunAway { time_s });
        }
        let change_K = change(&run.end, &start);
        if pass == 1 {
            first_change_K = change_K;
        }
        heard(pass, change_K);
        if change_K <= tolerance_K {
            let plan = run.plan;
            return Ok(Settled { start, plan, passes: pass, change_K, first_change_K });
        }
        if frozen.is_none() && (pass >= FREE_PASSES || matches!(steps, Steps::Replayed(..))) {
            frozen = Some(run.plan);
        }
        if pass == MOST_PASSES {
            return Err(TransientError::NotPeriodic { passes: pass, change_K });
        }
        // Where the correction does harm (a spray far from linear), plain periods go on.
        corrects &= change_K < last_change_K;
        last_change_K = change_K;
        let defect: Vec<f64> = run
            .end
            .iter()
            .zip(&start)
            .zip(&system.capacity_J_K)
            .map(|((end, start), capacity)| capacity * (end - start) / period_s)
            .collect();
        start = run.end;
        if !corrects {
            continue;
        }
        let at = system.evaluate(&start, None);
        let slow = ladder.solve(&at.operator, STEADY_S, &defect, 1e-4);
        let mut shifted = at.operator;
        shift(&mut shifted, &system.capacity_J_K, 0.5 * period_s);
        let fast = ladder.solve(&shifted, 0.5 * period_s, &defect, 1e-4);
        if let (Ok((slow, _)), Ok((fast, _))) = (slow, fast) {
            for (x, (slow, fast)) in start.iter_mut().zip(slow.iter().zip(&fast)) {
                *x += slow - fast;
            }
        }
    }
    Err(TransientError::NotPeriodic { passes: MOST_PASSES, change_K: last_change_K })
}
