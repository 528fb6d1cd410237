//! Conjugate gradients: one solve on its vectors.
//!
//! The iterate is summed up in double precision; everything that is streamed to move it stands in
//! single precision, in the halves of the finest level. Single precision can account for a residual
//! that falls by some four digits; then what was gained is added to the solution, and the true
//! residual, in double precision, starts the next descent (iterative refinement: Higham 2002,
//! "Accuracy and stability of numerical algorithms", chapter 12).

use rayon::prelude::*;

use super::apply::{apply_halves, apply_row};
use super::cycle::{CycleWork, precondition};
use super::exchange::{add_halves, for_sheet_rows, into_halves};
use super::hierarchy::Hierarchy;
use super::kernels::{self, dot};
use super::level::Level;
use super::solve::{CgError, CgInfo, CgParams};
use super::strips::{Each, Pieces, for_each_strip};
use crate::conduction::Operator;
use crate::pages::{Lined, lined};

/// Vectors of a solve, in halves.
pub(super) struct Kept {
    /// What this descent adds to the solution.
    pub gain: Lined<f64>,
    /// The residual times `unit`, and `A p`.
    pub r: Lined<f32>,
    pub q: Lined<f32>,
    /// Brings the residual near one, away from the limits of single precision.
    pub unit: f64,
    /// The direction; the preconditioned residual, then the direction before.
    pub p: Lined<f32>,
    pub z: Lined<f32>,
    pub sums: Vec<f64>,
    pub cycle: CycleWork,
}

impl Kept {
    pub fn new(hierarchy: &Hierarchy) -> Self {
        let level = &hierarchy.levels[0];
        let n = level.layout.split_len();
        Kept {
            gain: lined(n),
            r: lined(n),
            q: lined(n),
            unit: 1.0,
            p: lined(n),
            z: lined(n),
            sums: vec![0.0; level.strips.len() - 1],
            cycle: CycleWork::new(hierarchy),
        }
    }
}

/// A residual above this share of the right-hand side is not put down to rounding of its terms.
const MOST_ROUNDING: f64 = 1e-8;

/// So far an account of the residual in single precision is followed before the true one takes its
/// place.
const TRUSTED: f64 = 1e-4;

/// Where the true residual has fallen by less while the account of it came to the end, rounding in
/// double precision may be the reason.
const MUST_FALL: f64 = 1e-3;

/// What is solved, in the operator's order: right-hand side, its norm, the solution so far; `low` is
/// what rounding to double precision takes from it, or empty.
pub(super) struct Sought<'a> {
    pub b: &'a [f64],
    pub b_norm: f64,
    pub x: &'a mut [f64],
    pub low: &'a mut Vec<f64>,
}

/// Where a true residual differs by less from the account of it, the next descent goes on in the
/// direction of the one before.
const SAME: f64 = 3e-3;

/// A descent under way.
#[derive(Debug, Default)]
struct Descent {
    /// Where the account of the residual's norm stood at the end of the descent before.
    account: f64,
    /// Product of residual and preconditioned residual of the iteration before, if this one goes on
    /// in its direction, and the unit of that direction.
    rz: Option<f64>,
    unit: f64,
    /// Share of the direction p that has not been added to the gain yet.
    waiting: Option<f64>,
    /// Whether the gain holds anything of this descent.
    has_gained: bool,
}

impl Descent {
    /// Begins at a true residual of this norm, which stands in this unit.
    fn begin(&mut self, norm: f64, unit: f64) {
        let is_same = (norm - self.account).abs() <= SAME * norm;
        self.rz = self.rz.filter(|_| is_same).map(|rz| rz * unit / self.unit);
        self.unit = unit;
        self.has_gained = false;
    }
}

/// One solve.
pub(super) struct Vectors<'a> {
    pub operator: &'a Operator,
    pub hierarchy: &'a Hierarchy,
    pub level: &'a Level,
    /// First unknown of each block.
    pub offsets: Vec<usize>,
    pub kept: Kept,
}

impl Vectors<'_> {
    /// A scale that brings a vector of this norm near one.
    fn unit_for(&self, norm: f64) -> f64 {
        (self.level.layout.len() as f64).sqrt() / norm
    }

    /// `r = b`, the residual of a solution of zero.
    fn start_from_zero(&mut self, sought: &Sought) -> f64 {
        self.kept.unit = self.unit_for(sought.b_norm);
        into_halves(self.level, &self.offsets, sought.b, self.kept.unit, &mut self.kept.r);
        sought.b_norm
    }

    /// `r = b - A (x + low)`; returns its norm, which `guess` is a guess of, perhaps zero.
    fn true_residual(&mut self, sought: &Sought, guess: f64) -> f64 {
        let unit = self.unit_for(guess.max(f64::EPSILON * sought.b_norm));
        let (operator, level, offsets) = (self.operator, self.level, &self.offsets[..]);
        let bounds = &level.bounds;
        let kept = &mut self.kept;
        kept.unit = unit;
        let outputs = (Pieces { data: &mut kept.r, bounds }, Each(&mut kept.sums));
        for_each_strip(level.strips.len() - 1, outputs, &|strip, (r, sum)| {
            let (layout, base) = (&level.layout, bounds[strip]);
            let (mut line, mut lower) = (Vec::new(), Vec::new());
            let mut total = 0.0;
            for j in level.strips[strip]..level.strips[strip + 1] {
                let n = layout.row_start[j + 1] - layout.row_start[j];
                line.resize(n, 0.0);
                apply_row(operator, layout, offsets, j, sought.x, &mut line);
                if !sought.low.is_empty() {
                    lower.resize(n, 0.0);
                    apply_row(operator, layout, offsets, j, sought.low, &mut lower);
                    line.iter_mut().zip(&lower).for_each(|(line, lower)| *line += lower);
                }
                let mut at = 0;
                for_sheet_rows(layout, offsets, j, |sheet, half, s, block| {
                    let row = &mut line[at..at + block.len()];
                    at += block.len();
                    kernels::take_from(row, &sought.b[block]);
                    let (even, odd) = s.split(&mut r.data[sheet - base..][..2 * half], half);
                    kernels::split_wide(row, unit, even, odd);
                });
                total += dot(&line, &line);
            }
            sum.0[0] = total;
        });
        kept.sums.iter().sum::<f64>().sqrt()
    }

    /// Adds the gain of a descent to the solution; where a lower part is kept, with the exact error
    /// of the sum (Knuth 1969, "The art of computer programming" 2, section 4.2.2).
    fn take_gain(&mut self, sought: &mut Sought) {
        if sought.low.is_empty() {
            return add_halves(self.level, &self.kept.gain, sought.x);
        }
        add_halves(self.level, &self.kept.gain, sought.low);
        for (x, low) in sought.x.iter_mut().zip(sought.low.iter_mut()) {
            let (a, b) = (*x, *low);
            let sum = a + b;
            let part = sum - a;
            *x = sum;
            *low = (a - (sum - part)) + (b - part);
        }
    }

    /// The next direction, `p = z + beta p`; the former one stays in z.
    fn turn(&mut self, beta: f64) {
        let Kept { p, z, .. } = &mut self.kept;
        // Without an iteration before, p is another's.
        if beta > 0.0 {
            let (beta, bounds) = (beta as f32, &self.level.bounds);
            let outputs = Pieces { data: &mut z[..], bounds };
            for_each_strip(self.level.strips.len() - 1, outputs, &|strip, z: Pieces<f32>| {
                kernels::turn(z.data, &p[bounds[strip]..bounds[strip + 1]], beta);
            });
        }
        std::mem::swap(p, z);
    }

    /// `q = A p`; returns p · q.
    fn apply(&mut self) -> f64 {
        let (level, p) = (self.level, &self.kept.p);
        let bounds = &level.bounds;
        let outputs = (Pieces { data: &mut self.kept.q, bounds }, Each(&mut self.kept.sums));
        for_each_strip(level.strips.len() - 1, outputs, &|strip, (q, sum)| {
            let mut lanes = [0.0; 8];
            for j in level.strips[strip]..level.strips[strip + 1] {
                let (start, end) = (level.layout.split_start[j], level.layout.split_start[j + 1]);
                let row = &mut q.data[start - bounds[strip]..end - bounds[strip]];
                apply_halves(level, j, p, row);
                kernels::dot_into(&mut lanes, (&p[start..end], &*row));
            }
            sum.0[0] = lanes.iter().sum();
        });
        self.kept.sums.iter().sum()
    }

    /// `r -= alpha q`; returns the norm of the residual. The gain, which is wide, takes two steps at a
    /// time: this one waits, or goes with the one before.
    fn step(&mut self, alpha: f64, descent: &mut Descent) -> f64 {
        let share = alpha / self.kept.unit;
        let former = descent.waiting.take();
        let bounds = &self.level.bounds;
        let Kept { gain, r, p, q, z, sums, .. } = &mut self.kept;
        let outputs =
            (Pieces { data: gain, bounds }, Pieces { data: r, bounds }, Each(&mut sums[..]));
        for_each_strip(self.level.strips.len() - 1, outputs, &|strip, (gain, r, sum)| {
            let range = bounds[strip]..bounds[strip + 1];
            let mut lanes = [0.0; 8];
            kernels::step(r.data, &q[range.clone()], alpha as f32, &mut lanes);
            if let Some(former) = former {
                let (z, p) = (&z[range.clone()], &p[range]);
                kernels::gain(gain.data, descent.has_gained, former, z, share, p);
            }
            sum.0[0] = lanes.iter().sum();
        });
        match former {
            Some(_) => descent.has_gained = true,
            None => descent.waiting = Some(share),
        }
        self.kept.sums.iter().sum::<f64>().sqrt() / self.kept.unit
    }

    /// Takes the step that waits into the gain.
    fn take_waiting(&mut self, descent: &mut Descent) {
        let Some(share) = descent.waiting.take() else { return };
        let bounds = &self.level.bounds;
        let Kept { gain, p, .. } = &mut self.kept;
        let outputs = Pieces { data: gain, bounds };
        for_each_strip(self.level.strips.len() - 1, outputs, &|strip, gain: Pieces<f64>| {
            let p = &p[bounds[strip]..bounds[strip + 1]];
            kernels::gain(gain.data, descent.has_gained, share, p, 0.0, p);
        });
        descent.has_gained = true;
    }

    /// One iteration; returns the norm of the residual after it.
    fn iterate(&mut self, descent: &mut Descent, iteration: usize) -> Result<f64, CgError> {
        let kept = &mut self.kept;
        let rz = precondition(self.hierarchy, &mut kept.cycle, &kept.r, &mut kept.z);
        self.turn(descent.rz.map_or(0.0, |before| rz / before));
        let curvature = self.apply();
        if !(curvature > 0.0 && rz > 0.0) {
            return Err(CgError::NotPositiveDefinite { iteration });
        }
        descent.rz = Some(rz);
        Ok(self.step(rz / curvature, descent))
    }

    /// Iterations from a residual of this norm until the account of it has fallen to the goal, or as
    /// far as the account is trusted, or no more are left; what they gain is added to the solution.
    /// Returns where the account stands.
    fn descend(
        &mut self,
        sought: &mut Sought,
        descent: &mut Descent,
        mut norm: f64,
        goal: f64,
        (iterations, most): (&mut usize, usize),
    ) -> Result<f64, CgError> {
        let least = goal.max(TRUSTED * norm);
        descent.begin(norm, self.kept.unit);
        let mut outcome = Ok(norm);
        while norm > least && *iterations < most {
            outcome = self.iterate(descent, *iterations);
            match outcome {
                Ok(now) => norm = now,
                // The direction that waits has given its place to one that leads nowhere.
                Err(_) => {
                    descent.waiting = None;
                    break;
                }
            }
            *iterations += 1;
        }
        self.take_waiting(descent);
        descent.account = norm;
        if descent.has_gained {
            self.take_gain(sought);
        }
        outcome
    }

    /// Conjugate gradients from a solution of zero, as far as the account of the residual goes.
    pub fn step_down(&mut self, sought: &mut Sought, params: &CgParams) -> Result<CgInfo, CgError> {
        let goal = params.relative_tolerance * sought.b_norm;
        let mut iterations = 0;
        let mut norm = self.start_from_zero(sought);
        let mut descent = Descent::default();
        loop {
            let budget = (&mut iterations, params.max_iterations);
            norm = self.descend(sought, &mut descent, norm, goal, budget)?;
            let residual_relative = norm / sought.b_norm;
            if norm <= goal {
                return Ok(CgInfo { iterations, residual_relative, limited_by_rounding: false });
            }
            if iterations >= params.max_iterations {
                return Err(CgError::NotConverged { iterations, residual_relative });
            }
            norm = self.true_residual(sought, norm);
        }
    }

    /// Conjugate gradients from any solution, until the true residual has fallen to the goal.
    pub fn conjugate_gradients(
        &mut self,
        sought: &mut Sought,
        params: &CgParams,
    ) -> Result<CgInfo, CgError> {
        let goal = params.relative_tolerance * sought.b_norm;
        let mut iterations = 0;
        let is_zero = |x: &[f64]| x.iter().all(|&x| x == 0.0);
        let from_zero = sought.low.is_empty() && sought.x.par_chunks(1 << 14).all(is_zero);
        let mut norm = if from_zero {
            self.start_from_zero(sought)
        } else {
            self.true_residual(sought, sought.b_norm)
        };
        let mut checked = f64::INFINITY;
        let mut descent = Descent::default();
        loop {
            let residual_relative = norm / sought.b_norm;
            if norm <= goal {
                let limited_by_rounding = !sought.low.is_empty();
                return Ok(CgInfo { iterations, residual_relative, limited_by_rounding });
            }
            if iterations >= params.max_iterations {
                return Err(CgError::NotConverged { iterations, residual_relative });
            }
            let start = norm;
            let budget = (&mut iterations, params.max_iterations);
            let account = self.descend(sought, &mut descent, start, goal, budget)?;
            norm = self.true_residual(sought, account);
            if account <= goal && norm > goal.max(MUST_FALL * start) {
                // What the account did not see is rounding of x, or of the residual's own terms:
                // then no more is to be had.
                if norm > 0.5 * checked && norm <= MOST_ROUNDING * sought.b_norm {
                    let residual_relative = norm / sought.b_norm;
                    return Ok(CgInfo { iterations, residual_relative, limited_by_rounding: true });
                }
                checked = norm;
                sought.low.resize(sought.x.len(), 0.0);
            }
        }
    }
}
