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
use super::stage::{Stage, by_cell, solve};
use super::trail::Moves;
use super::{TransientError, march::State};
use crate::results::HeatBalance;

/// Place of the middle stage within the step, `2 - √2`.
pub const MIDDLE: f64 = 2.0 - std::f64::consts::SQRT_2;
/// `d = 1 - √2/2`.
pub const DIAGONAL: f64 = 1.0 - std::f64::consts::FRAC_1_SQRT_2;
/// `w = √2/4`.
pub const WEIGHT: f64 = 0.5 * std::f64::consts::FRAC_1_SQRT_2;

/// Relative residual of the estimated error.
const ERROR_RESIDUAL: f64 = 0.03;
/// A parabola through the last times is followed over steps of up to so many of the last.
const LONGEST_REACH: f64 = 2.0;

/// A step that was made.
pub(super) struct Step {
    /// The state at its end.
    pub state: State,
    /// Where the heat went at the middle stage.
    pub middle: HeatBalance,
    /// Estimated error, K, if it was asked for.
    pub error_K: Option<f64>,
    /// How the rises moved, if that is to be kept.
    pub moves: Option<Moves>,
}

/// What is asked of a step beside its end.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Asked<'a> {
    /// An estimate of its error.
    pub error: bool,
    /// Its moves.
    pub moves: bool,
    /// What the same step did in the period before.
    pub former: Option<&'a Moves>,
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

/// The course of the last step, for first guesses.
#[derive(Debug, Clone)]
pub(super) struct Course {
    /// Length of the step, s.
    step_s: f64,
    /// Mean slope over it, K/s.
    slope_K_s: Vec<f64>,
    /// Second divided difference over it and the step before, K/s²; none after the first step.
    bend_K_s2: Option<Vec<f64>>,
}

impl Course {
    /// Rises `ahead_s` after `x`, by the last step's line or by the parabola through the last two.
    fn ahead(&self, x: &[f64], ahead_s: f64) -> Vec<f64> {
        let line = |k: usize| x[k] + ahead_s * self.slope_K_s[k];
        match &self.bend_K_s2 {
            Some(bend) if ahead_s <= LONGEST_REACH * self.step_s => {
                let square = ahead_s * (ahead_s + self.step_s);
                by_cell(x.len(), |k| line(k) + square * bend[k])
            }
            _ => by_cell(x.len(), line),
        }
    }

    /// Rises at the end of a step of `step_s` from `x`, through the middle stage and the last time.
    fn through(&self, x: &[f64], middle: &[f64], step_s: f64) -> Vec<f64> {
        let middle_s = MIDDLE * step_s;
        let square = step_s * (step_s - middle_s);
        by_cell(x.len(), |k| {
            let slope = (middle[k] - x[k]) / middle_s;
            let bend = (slope - self.slope_K_s[k]) / (middle_s + self.step_s);
            x[k] + step_s * slope + square * bend
        })
    }

    /// The course of a step of `step_s` from `x` to `end`, after `before`.
    fn of(before: Option<&Course>, x: &[f64], end: &[f64], step_s: f64) -> Course {
        let slope_K_s = by_cell(x.len(), |k| (end[k] - x[k]) / step_s);
        let bend_K_s2 = before.map(|before| {
            let both_s = step_s + before.step_s;
            by_cell(x.len(), |k| (slope_K_s[k] - before.slope_K_s[k]) / both_s)
        });
        Course { step_s, slope_K_s, bend_K_s2 }
    }
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
    asked: Asked,
) -> Result<Step, StepFailure> {
    let diagonal_s = DIAGONAL * step_s;
    let n = state.x.len();
    let course = state.course.as_ref();
    let guess = match (asked.former, course) {
        (Some(former), _) => former.middle(&state.x),
        (None, Some(course)) => course.ahead(&state.x, MIDDLE * step_s),
        (None, None) => state.x.clone(),
    };
    system.set_time(near_s, state.time_s + MIDDLE * step_s)?;
    let middle = solve(system, ladder, state, guess, &state.flow_W, diagonal_s)?;
    let known = by_cell(n, |k| WEIGHT / DIAGONAL * (state.flow_W[k] + middle.flow_W[k]));
    let guess = match (asked.former, course) {
        (Some(former), _) => former.end(&middle.x),
        (None, Some(course)) => course.through(&state.x, &middle.x, step_s),
        // After a jump the middle stage overshoots in the fast modes.
        (None, None) => middle.x.clone(),
    };
    system.set_time(near_s, state.time_s + step_s)?;
    let end = solve(system, ladder, state, guess, &known, diagonal_s)?;
    let middle_balance = middle.balance;
    let error_K = if asked.error {
        let [e0, ec, e1] = [
            (1.0 - WEIGHT) / 3.0 - WEIGHT,
            (3.0 * WEIGHT + 1.0) / 3.0 - WEIGHT,
            DIAGONAL / 3.0 - DIAGONAL,
        ];
        let defect = by_cell(n, |k| {
            (e0 * state.flow_W[k] + ec * middle.flow_W[k] + e1 * end.flow_W[k]) / DIAGONAL
        });
        match ladder.solve(&end.shifted, diagonal_s, &defect, ERROR_RESIDUAL, false) {
            Ok((error, _)) => Some(error.iter().fold(0.0, |m: f64, e| m.max(e.abs()))),
            Err(_) => return Err(StepFailure::Unsolved),
        }
    } else {
        None
    };
    let moves = asked.moves.then(|| Moves::of(&state.x, &middle.x, &end.x));
    middle.give_back(system);
    let Stage { x, factors, wet, balance, flow_W, shifted, rhs_W } = end;
    system.give_back(shifted, rhs_W);
    let course = Some(Course::of(course, &state.x, &x, step_s));
    Ok(Step {
        middle: middle_balance,
        error_K,
        moves,
        state: State { time_s: state.time_s + step_s, x, factors, wet, flow_W, balance, course },
    })
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
