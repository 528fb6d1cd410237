//! Preconditioners for the matrices `C / (d h) + A` of steps of any length h.
//!
//! One is kept for every power of two of `d h`; a step takes the nearest. The shift of the matrix
//! it was made for is off by a factor of at most √2, and so is the spectrum: that costs an
//! iteration or two, while a step of a length of its own would cost a new hierarchy.

use std::collections::BTreeMap;

use crate::conduction::Operator;
use crate::linear::{CgError, CgInfo, CgParams, Detached, Preconditioned};

/// A preconditioner that has lost this share of its first digits an iteration is made anew.
const WORN: f64 = 0.6;

struct Rung {
    kept: Detached,
    digits_per_iteration: f64,
}

/// Preconditioners by length of step.
#[derive(Default)]
pub(super) struct Ladder {
    rungs: BTreeMap<i32, Rung>,
    /// Iterations of all solves.
    pub iterations: usize,
    /// Hierarchies built.
    pub built: usize,
}

impl Ladder {
    /// Solves `operator x = b` from x = 0, where the operator's sinks hold `C / step`. Whether the
    /// true residual is as small as asked for is looked at, and what rounding leaves of it told, only
    /// where `careful`.
    pub fn solve(
        &mut self,
        operator: &Operator,
        step_s: f64,
        b: &[f64],
        relative_tolerance: f64,
        careful: bool,
    ) -> Result<(Vec<f64>, CgInfo), CgError> {
        let key = step_s.log2().round().clamp(-1e6, 1e6) as i32;
        let former = self.rungs.remove(&key);
        let first_digits = former.as_ref().map(|rung| rung.digits_per_iteration);
        let solver = match former {
            Some(rung) => rung.kept.attach(operator),
            None => {
                self.built += 1;
                Preconditioned::new(operator)
            }
        };
        let params = CgParams { relative_tolerance, ..CgParams::default() };
        let mut x = vec![0.0; b.len()];
        let outcome = match careful {
            true => solver.solve(b, &mut x, &params),
            false => solver.step(b, &mut x, &params),
        };
        let info = match outcome {
            Ok(info) => info,
            // The matrix may have changed out of all recognition: once more with its own.
            Err(_) if first_digits.is_some() => {
                self.built += 1;
                return self.solve_anew(operator, key, b, &params);
            }
            Err(error) => return Err(error),
        };
        self.iterations += info.iterations;
        let digits = digits(relative_tolerance, &info);
        let first = first_digits.unwrap_or(digits);
        if digits >= WORN * first {
            self.rungs.insert(key, Rung { kept: solver.detach(), digits_per_iteration: first });
        }
        Ok((x, info))
    }

    fn solve_anew(
        &mut self,
        operator: &Operator,
        key: i32,
        b: &[f64],
        params: &CgParams,
    ) -> Result<(Vec<f64>, CgInfo), CgError> {
        let solver = Preconditioned::new(operator);
        let mut x = vec![0.0; b.len()];
        let info = solver.solve(b, &mut x, params)?;
        self.iterations += info.iterations;
        let digits_per_iteration = digits(params.relative_tolerance, &info);
        self.rungs.insert(key, Rung { kept: solver.detach(), digits_per_iteration });
        Ok((x, info))
    }
}

/// Decimal digits gained an iteration.
fn digits(relative_tolerance: f64, info: &CgInfo) -> f64 {
    -relative_tolerance.min(0.9).log10() / info.iterations.max(1) as f64
}
