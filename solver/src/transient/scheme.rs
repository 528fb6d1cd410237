//! One step in time.
//!
//! The one-step scheme of trapezoid and second-order backward difference, written as a singly
//! diagonal implicit Runge-Kutta scheme with an explicit first stage; of second order, L-stable
//! and stiffly accurate. With h the step, `c = 2 - √2`, `d = c/2 = 1 - √2/2`, `w = √2/4`, f the heat
//! flows into the cells and C their capacities:
//!
//! ```text
//! C (x_c - x_0) = d h (f_0 + f_c)                   at t + c h
//! C (x_1 - x_0) = h (w f_0 + w f_c + d f_1)         at t + h
//! ```
//!
//! Both stages have the matrix `C / (d h) + A`. An embedded scheme of third order,
//! `b^ = ((1 - w)/3, (3 w + 1)/3, d/3)`, gives the error of a step; it is solved with that matrix, so
//! that fast modes do not exaggerate it:
//!
//! ```text
//! (C / (d h) + A) e = 1/d sum over stages of (b^ - b) f
//! ```
//!
//! Source: R. E. Bank et al., Transient simulation of silicon devices and circuits, IEEE Trans.
//! Electron Devices 32 (1985) 1992-2007 (the scheme); M. E. Hosea, L. F. Shampine, Analysis and
//! implementation of TR-BDF2, Appl. Numer. Math. 20 (1996) 21-37 (stages, embedded scheme, filter);
//! both from memory. The tests hold the coefficients to the order conditions.

use super::conditions::System;
use super::ladder::Ladder;
use super::{TransientError, march::State};
use crate::conduction::faces::WetSide;
use crate::linear::norm;
use crate::results::HeatBalance;

/// Place of the middle stage within the step, `2 - √2`.
pub const MIDDLE: f64 = 2.0 - std::f64::consts::SQRT_2;
/// `d = 1 - √2/2`.
pub const DIAGONAL: f64 = 1.0 - std::f64::consts::FRAC_1_SQRT_2;
/// `w = √2/4`.
pub const WEIGHT: f64 = 0.5 * std::f64::consts::FRAC_1_SQRT_2;

/// Most outer iterations of a stage.
const MAX_OUTER: usize = 25;
/// Residual reduction asked of the linear solver within an outer iteration of a nonlinear stage.
const INNER_REDUCTION: f64 = 0.01;
/// Shortest fraction of a correction that is tried.
const SHORTEST: f64 = 1.0 / 64.0;

/// A step that was made.
pub(super) struct Step {
    /// The state at its end.
    pub state: State,
    /// Where the heat went at the middle stage.
    pub middle: HeatBalance,
    /// Estimated error, K, if it was asked for.
    pub error_K: Option<f64>,
}

/// Why a step was not made.
pub(super) enum StepFailure {
    /// Its equations could not be solved; a shorter one may do.
    Unsolved,
    /// No step will do.
    Fatal(TransientError),
}

impl From<TransientError> for StepFailure {
    fn from(error: TransientError) -> Self {
        StepFailure::Fatal(error)
    }
}

struct Stage {
    x: Vec<f64>,
    factors: Option<Vec<f64>>,
    wet: WetSide,
    balance: HeatBalance,
    /// `f`, from the stage's own equation.
    flow_W: Vec<f64>,
}

/// Steps from `state` by `step_s`; `near_s` holds the piece of the profile.
///
/// # Errors
/// See [`StepFailure`].
pub(super) fn step(
    system: &mut System,
    ladder: &mut Ladder,
    state: &State,
    near_s: f64,
    step_s: f64,
    with_error: bool,
) -> Result<Step, StepFailure> {
    let diagonal_s = DIAGONAL * step_s;
    let n = state.x.len();
    // First guesses: straight on from the last step, then straight on through the middle stage.
    let guess: Vec<f64> = match &state.slope_K_s {
        Some(slope) => (0..n).map(|k| state.x[k] + MIDDLE * step_s * slope[k]).collect(),
        None => state.x.clone(),
    };
    system.set_time(near_s, state.time_s + MIDDLE * step_s)?;
    let middle = solve(system, ladder, state, guess, &state.flow_W, diagonal_s)?;
    let known: Vec<f64> = state
        .flow_W
        .iter()
        .zip(&middle.flow_W)
        .map(|(f0, fc)| WEIGHT / DIAGONAL * (f0 + fc))
        .collect();
    let guess = match &state.slope_K_s {
        Some(_) => (0..n).map(|k| state.x[k] + (middle.x[k] - state.x[k]) / MIDDLE).collect(),
        // After a jump the middle stage overshoots in the fast modes.
        None => middle.x.clone(),
    };
    system.set_time(near_s, state.time_s + step_s)?;
    let end = solve(system, ladder, state, guess, &known, diagonal_s)?;
    let error_K = if with_error {
        let [e0, ec, e1] = [
            (1.0 - WEIGHT) / 3.0 - WEIGHT,
            (3.0 * WEIGHT + 1.0) / 3.0 - WEIGHT,
            DIAGONAL / 3.0 - DIAGONAL,
        ];
        let defect: Vec<f64> = (0..n)
            .map(|k| (e0 * state.flow_W[k] + ec * middle.flow_W[k] + e1 * end.flow_W[k]) / DIAGONAL)
            .collect();
        let mut evaluated = system.evaluate(&end.x, Some(&end.wet));
        shift(&mut evaluated.operator, &system.capacity_J_K, diagonal_s);
        match ladder.solve(&evaluated.operator, diagonal_s, &defect, 0.03) {
            Ok((error, _)) => Some(error.iter().fold(0.0, |m: f64, e| m.max(e.abs()))),
            Err(_) => return Err(StepFailure::Unsolved),
        }
    } else {
        None
    };
    let slope_K_s = (0..n).map(|k| (end.x[k] - state.x[k]) / step_s).collect();
    Ok(Step {
        middle: middle.balance,
        error_K,
        state: State {
            time_s: state.time_s + step_s,
            x: end.x,
            factors: end.factors,
            wet: end.wet,
            flow_W: end.flow_W,
            balance: end.balance,
            slope_K_s: Some(slope_K_s),
        },
    })
}

/// Adds `C / step` to the sinks.
pub(super) fn shift(operator: &mut crate::conduction::Operator, capacity_J_K: &[f64], step_s: f64) {
    let mut rest = capacity_J_K;
    for block in &mut operator.blocks {
        let (own, after) = rest.split_at(block.len());
        rest = after;
        for (sink, capacity) in block.sink.iter_mut().zip(own) {
            *sink += capacity / step_s;
        }
    }
}

/// Solves `f(x) + known - C (x - x_0) / step = 0` by Newton on the wet side, the conductivities
/// following; a correction that does not lessen the residual is shortened.
fn solve(
    system: &mut System,
    ladder: &mut Ladder,
    from: &State,
    mut x: Vec<f64>,
    known: &[f64],
    step_s: f64,
) -> Result<Stage, StepFailure> {
    let linear = system.is_linear();
    let stored = |x: &[f64], k: usize, c: &[f64]| c[k] * (x[k] - from.x[k]) / step_s;
    let residual_of = |system: &System, flow: &[f64], x: &[f64]| -> Vec<f64> {
        (0..x.len()).map(|k| flow[k] + known[k] - stored(x, k, &system.capacity_J_K)).collect()
    };
    let mut at = system.evaluate(&x, Some(&from.wet));
    let mut residual = residual_of(system, &at.flow_W, &x);
    let mut size = norm(&residual);
    for outer in 0..MAX_OUTER {
        if !size.is_finite() {
            return Err(StepFailure::Unsolved);
        }
        let goal = system.goal_W(&at.operator);
        if size <= goal {
            break;
        }
        if outer + 1 == MAX_OUTER {
            return Err(StepFailure::Unsolved);
        }
        shift(&mut at.operator, &system.capacity_J_K, step_s);
        let reduction = 0.5 * goal / size;
        let tolerance = if linear { reduction } else { reduction.max(INNER_REDUCTION) };
        let Ok((correction, info)) =
            ladder.solve(&at.operator, step_s, &residual, tolerance.min(0.5))
        else {
            return Err(StepFailure::Unsolved);
        };
        if linear {
            for (x, correction) in x.iter_mut().zip(&correction) {
                *x += correction;
            }
            at.wet = system.wet(None, &x, &at.wet);
            break;
        }
        let mut share = 1.0;
        loop {
            let trial: Vec<f64> = x.iter().zip(&correction).map(|(x, c)| x + share * c).collect();
            let there = system.evaluate(&trial, Some(&at.wet));
            let left = residual_of(system, &there.flow_W, &trial);
            let left_size = norm(&left);
            if left_size < size || share <= SHORTEST {
                // Rounding limits: nothing more is to be gained, and little is left.
                let stands = left_size > 0.5 * size
                    && (info.limited_by_rounding || left_size <= 100.0 * goal);
                (x, at, residual) = (trial, there, left);
                if left_size >= size && !stands {
                    return Err(StepFailure::Unsolved);
                }
                size = if stands { 0.0 } else { left_size };
                break;
            }
            share *= 0.5;
        }
    }
    let flow_W = (0..x.len()).map(|k| stored(&x, k, &system.capacity_J_K) - known[k]).collect();
    let balance = system.balance(at.factors.as_deref(), &x, &at.wet);
    Ok(Stage { factors: at.factors, wet: at.wet, balance, flow_W, x })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Order conditions: sum b = 1, sum b c = 1/2, and for the embedded weights sum b^ c² = 1/3
    /// and sum b^ A c = 1/6 as well (J. C. Butcher, Numerical Methods for Ordinary Differential
    /// Equations; from memory).
    #[test]
    fn coefficients_meet_the_order_conditions() {
        let c = [0.0, MIDDLE, 1.0];
        let a = [[0.0; 3], [DIAGONAL, DIAGONAL, 0.0], [WEIGHT, WEIGHT, DIAGONAL]];
        let b = a[2];
        let embedded = [(1.0 - WEIGHT) / 3.0, (3.0 * WEIGHT + 1.0) / 3.0, DIAGONAL / 3.0];
        let dot = |p: &[f64; 3], q: &[f64; 3]| p.iter().zip(q).map(|(p, q)| p * q).sum::<f64>();
        let ac = [0, 1, 2].map(|i| dot(&a[i], &c));
        for (i, row) in a.iter().enumerate() {
            assert!((row.iter().sum::<f64>() - c[i]).abs() < 1e-15);
        }
        for weights in [b, embedded] {
            assert!((weights.iter().sum::<f64>() - 1.0).abs() < 1e-15);
            assert!((dot(&weights, &c) - 0.5).abs() < 1e-15);
        }
        let squares = c.map(|c| c * c);
        assert!((dot(&embedded, &squares) - 1.0 / 3.0).abs() < 1e-15);
        assert!((dot(&embedded, &ac) - 1.0 / 6.0).abs() < 1e-15);
        assert!((dot(&b, &squares) - 1.0 / 3.0).abs() > 1e-2, "order 2, not 3");
    }
}
