//! One stage of a step: Newton on the wet side, the conductivities following.
//!
//! With the flow `f(x)` into the cells, what is known of earlier stages and the stage's own step s:
//!
//! ```text
//! r(x) = f(x) + known - C (x - x_0) / s = 0
//! ```
//!
//! Each correction d solves `(C / s + A) d = r` to a part of r only: how large a part follows from
//! how well the last correction did what it promised (S. C. Eisenstat, H. F. Walker, Choosing the
//! forcing terms in an inexact Newton method, SIAM J. Sci. Comput. 17 (1996) 16-32, choice 1; from
//! memory). What a correction leaves must not add up to heat that is lost or gained: conduction
//! only moves heat about, so that the sum over all cells of `(C / s + A) d` is that of
//! `(C / s + sink) d`, and a shift of d by one number makes the sum of what is left vanish.

use rayon::prelude::*;

use super::conditions::System;
use super::ladder::Ladder;
use super::march::State;
use super::scheme::StepFailure;
use crate::conduction::Operator;
use crate::conduction::faces::WetSide;
use crate::linear::norm;
use crate::results::HeatBalance;

/// Most outer iterations of a stage.
const MAX_OUTER: usize = 25;
/// Residual reduction asked of the linear solver in the first outer iteration of a nonlinear stage,
/// and bounds of it in the others.
const FIRST_REDUCTION: f64 = 2e-3;
/// Where no more than this is missing, the first outer iteration is asked for all of it: another one
/// costs an assembly and two products with the matrix, as much as the digits that it saves.
const ONE_GO: f64 = 2e-4;
const LEAST_REDUCTION: f64 = 1e-4;
const MOST_REDUCTION: f64 = 0.1;
/// Cells that are worth a core of their own.
const LEAST_CELLS: usize = 16_384;
/// Shortest fraction of a correction that is tried.
const SHORTEST: f64 = 1.0 / 64.0;

/// The temperatures of a stage and what follows from them.
pub(super) struct Stage {
    pub x: Vec<f64>,
    pub factors: Option<Vec<f64>>,
    pub wet: WetSide,
    pub balance: HeatBalance,
    /// `f`, from the stage's own equation.
    pub flow_W: Vec<f64>,
    /// `C / s + A` at its end.
    pub shifted: Operator,
    /// Memory to be given back with it.
    pub rhs_W: Vec<f64>,
}

impl Stage {
    /// Gives back what the stage has borrowed.
    pub fn give_back(self, system: &mut System) {
        system.give_back(self.shifted, self.rhs_W);
    }
}

/// One value a cell, on all cores.
pub(super) fn by_cell<T: Send>(len: usize, value: impl Fn(usize) -> T + Sync + Send) -> Vec<T> {
    (0..len).into_par_iter().with_min_len(LEAST_CELLS).map(value).collect()
}

/// Adds `C / step` to the sinks.
pub(super) fn shift(operator: &mut Operator, capacity_J_K: &[f64], step_s: f64) {
    let mut rest = capacity_J_K;
    for block in &mut operator.blocks {
        let (own, after) = rest.split_at(block.len());
        rest = after;
        for (sink, capacity) in block.sink.iter_mut().zip(own) {
            *sink += capacity / step_s;
        }
    }
}

/// The shift of all temperatures, K, that makes the sum of a residual vanish.
fn shift_that_conserves(shifted: &Operator, left_W: f64) -> f64 {
    let all: f64 = shifted.blocks.iter().flat_map(|block| &block.sink).sum();
    if all > 0.0 { left_W / all } else { 0.0 }
}

/// Sum over all cells of what a linear correction takes from the residual, W.
fn taken_W(shifted: &Operator, correction: &[f64]) -> f64 {
    let sinks = shifted.blocks.iter().flat_map(|block| &block.sink);
    sinks.zip(correction).map(|(sink, correction)| sink * correction).sum()
}

/// Solves the stage from the first guess `x`.
///
/// # Errors
/// See [`StepFailure`].
pub(super) fn solve(
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
        by_cell(x.len(), |k| flow[k] + known[k] - stored(x, k, &system.capacity_J_K))
    };
    let mut at = system.evaluate(&x, Some(&from.wet));
    let mut residual = residual_of(system, &at.flow_W, &x);
    let mut size = norm(&residual);
    let mut left_W: f64 = residual.iter().sum();
    let mut reduction = FIRST_REDUCTION;
    // The correction of a linear stage is the last word.
    let mut careful = linear;
    let mut is_new = true;
    for outer in 0.. {
        if !size.is_finite() {
            return Err(StepFailure::Unsolved);
        }
        let goal = system.goal_W();
        if std::mem::take(&mut is_new) {
            shift(&mut at.operator, &system.capacity_J_K, step_s);
        }
        if size <= goal {
            break;
        }
        if outer + 1 == MAX_OUTER {
            return Err(StepFailure::Unsolved);
        }
        let enough = 0.5 * goal / size;
        let all = linear || outer == 0 && enough >= ONE_GO;
        let tolerance = if all { enough } else { reduction.max(enough) };
        let Ok((correction, info)) =
            ladder.solve(&at.operator, step_s, &residual, tolerance.min(0.5), careful)
        else {
            return Err(StepFailure::Unsolved);
        };
        if linear {
            left_W -= taken_W(&at.operator, &correction);
            for (x, correction) in x.iter_mut().zip(&correction) {
                *x += correction;
            }
            break;
        }
        let mut share = 1.0;
        loop {
            let trial = by_cell(x.len(), |k| x[k] + share * correction[k]);
            let there = system.evaluate(&trial, Some(&at.wet));
            let left = residual_of(system, &there.flow_W, &trial);
            let left_size = norm(&left);
            if left_size < size || share <= SHORTEST {
                // Rounding limits: nothing more is to be gained, and little is left.
                let stands = left_size > 0.5 * size
                    && (info.limited_by_rounding || left_size <= 100.0 * goal);
                if left_size >= size && !stands {
                    if careful {
                        return Err(StepFailure::Unsolved);
                    }
                    // Rounding perhaps: once more, with an eye on it.
                    careful = true;
                    system.give_back(there.operator, there.rhs_W);
                    break;
                }
                // What the linear model has missed of the residual before.
                let missed = (left_size - info.residual_relative * size).abs() / size;
                reduction = missed.clamp(LEAST_REDUCTION, MOST_REDUCTION);
                let former = std::mem::replace(&mut at, there);
                is_new = true;
                system.give_back(former.operator, former.rhs_W);
                (x, residual) = (trial, left);
                left_W = residual.iter().sum();
                size = if stands { 0.0 } else { left_size };
                break;
            }
            system.give_back(there.operator, there.rhs_W);
            share *= 0.5;
        }
    }
    let shift_K = shift_that_conserves(&at.operator, left_W);
    x.iter_mut().for_each(|x| *x += shift_K);
    at.wet = system.wet(at.factors.as_deref(), &x, &at.wet);
    let flow_W = by_cell(x.len(), |k| stored(&x, k, &system.capacity_J_K) - known[k]);
    let balance = system.balance(at.factors.as_deref(), &x, &at.wet);
    Ok(Stage {
        factors: at.factors,
        wet: at.wet,
        balance,
        flow_W,
        x,
        shifted: at.operator,
        rhs_W: at.rhs_W,
    })
}
