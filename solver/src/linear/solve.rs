//! Parameters, outcome and failure of a linear solve; and the prepared solver that a caller
//! keeps between right-hand sides.

use std::fmt;
use std::sync::Mutex;

use rayon::prelude::*;

use super::apply::apply_row;
use super::cycle::{CycleWork, precondition};
use super::hierarchy::{Hierarchy, Level};
use super::kernels::{self, dot};
use super::layout::Layout;
use super::pages::zeros;
use super::sheet_modes::SheetModes;
use super::strips::{Each, Pieces, for_each_strip};
use crate::conduction::Operator;

/// When to stop.
#[derive(Debug, Clone, Copy)]
pub struct CgParams {
    /// Stop when `|b - A x| <= relative_tolerance |b|` (Euclidean norms, true residual).
    pub relative_tolerance: f64,
    /// Most iterations.
    pub max_iterations: usize,
}

impl Default for CgParams {
    fn default() -> Self {
        CgParams { relative_tolerance: 1e-10, max_iterations: 200 }
    }
}

/// How a solve ended.
#[derive(Debug, Clone, Copy)]
pub struct CgInfo {
    /// Iterations done.
    pub iterations: usize,
    /// True residual, recomputed at the end, relative to the right-hand side. Where rounding x to
    /// double precision alone would leave more than the tolerance, that of x before it was
    /// rounded: see [`Preconditioned::solve_split`].
    pub residual_relative: f64,
    /// The tolerance lies below what rounding x to double precision leaves: as rounded, x has a
    /// residual of a small multiple of `epsilon | |A| |x| |`.
    pub limited_by_rounding: bool,
}

/// Why there is no solution.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum CgError {
    /// The residual did not fall far enough.
    NotConverged {
        /// Iterations done.
        iterations: usize,
        /// Relative residual reached.
        residual_relative: f64,
    },
    /// A search direction with no positive curvature: the matrix is singular or indefinite,
    /// or a number in it is not finite.
    NotPositiveDefinite {
        /// Iteration at which it was seen.
        iteration: usize,
    },
}

impl fmt::Display for CgError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            CgError::NotConverged { iterations, residual_relative } => write!(
                f,
                "no convergence in {iterations} iterations (relative residual {residual_relative:.2e})"
            ),
            CgError::NotPositiveDefinite { iteration } => write!(
                f,
                "the system is singular or not positive definite (seen at iteration {iteration})"
            ),
        }
    }
}

impl std::error::Error for CgError {}

/// An operator with its preconditioner, ready for any number of right-hand sides.
pub struct Preconditioned<'a> {
    operator: &'a Operator,
    hierarchy: Hierarchy,
    /// Vectors of the last solve, for the next one.
    kept: Mutex<Option<Kept>>,
}

/// A preconditioner without its operator: see [`Preconditioned::detach`].
pub struct Detached {
    hierarchy: Hierarchy,
    kept: Mutex<Option<Kept>>,
    shape: Vec<[usize; 5]>,
}

impl Detached {
    /// Serves an operator of the same blocks; see [`Preconditioned::carry_to`].
    ///
    /// # Panics
    /// If the blocks of `operator` have other places or sizes.
    pub fn attach(self, operator: &Operator) -> Preconditioned<'_> {
        assert!(
            self.shape == shape_of(operator),
            "the blocks of the operator must stay where they are"
        );
        Preconditioned { operator, hierarchy: self.hierarchy, kept: self.kept }
    }
}

/// Place and size of every block.
fn shape_of(operator: &Operator) -> Vec<[usize; 5]> {
    operator.blocks.iter().map(|b| [b.i0, b.j0, b.nx, b.ny, b.nl]).collect()
}

impl<'a> Preconditioned<'a> {
    /// Prepares `operator`: builds its preconditioner.
    pub fn new(operator: &'a Operator) -> Self {
        Preconditioned { operator, hierarchy: Hierarchy::new(operator), kept: Mutex::new(None) }
    }

    /// Takes the preconditioner over to an operator of the same blocks with slightly changed
    /// values (a new coefficient, conductivities at a new temperature). The answer is that of
    /// the new operator; only the number of iterations suffers if the change is large, and
    /// [`Preconditioned::new`] is then the better choice.
    ///
    /// # Panics
    /// If the blocks of `operator` have other places or sizes.
    pub fn carry_to<'b>(self, operator: &'b Operator) -> Preconditioned<'b> {
        self.detach().attach(operator)
    }

    /// Lets go of the operator, so that it may be dropped before the next one takes its place.
    pub fn detach(self) -> Detached {
        let shape = shape_of(self.operator);
        Detached { hierarchy: self.hierarchy, kept: self.kept, shape }
    }

    /// Unknowns of all levels together, over those of the finest.
    pub fn complexity(&self) -> f64 {
        let all: usize = self.hierarchy.levels.iter().map(|l| l.layout.len()).sum();
        all as f64 / self.operator.len().max(1) as f64
    }

    /// Applies the preconditioner alone: an approximate solution of `A z = r`, linear in r up to
    /// single-precision rounding, symmetric and positive definite.
    ///
    /// # Panics
    /// If `r` has not one entry for each unknown.
    pub fn approximate(&self, r: &[f64]) -> Vec<f64> {
        let n = self.operator.len();
        assert_eq!(r.len(), n, "one right-hand side entry for each unknown");
        let Some(level) = self.hierarchy.levels.first() else { return Vec::new() };
        let offsets = self.operator.offsets();
        let mut by_rows = vec![0.0; n];
        for j in 0..level.layout.ny {
            for_sheet_rows(&level.layout, &offsets, j, |natural, block| {
                by_rows[natural].copy_from_slice(&r[block]);
            });
        }
        let mut z = vec![0.0; n];
        let norm = dot(r, r).sqrt();
        if norm > 0.0 {
            let scale = (n as f64).sqrt() / norm;
            precondition(
                &self.hierarchy,
                &mut CycleWork::new(&self.hierarchy),
                scale,
                &by_rows,
                &mut z,
            );
        }
        let mut out = vec![0.0; n];
        for j in 0..level.layout.ny {
            for_sheet_rows(&level.layout, &offsets, j, |natural, block| {
                for (o, z) in out[block].iter_mut().zip(&z[natural]) {
                    *o = f64::from(*z);
                }
            });
        }
        out
    }

    /// Solves `A x = b`, starting from the given `x`.
    ///
    /// # Errors
    /// See [`CgError`]; `x` then holds the last iterate.
    ///
    /// # Panics
    /// If `b` or `x` has not one entry for each unknown.
    pub fn solve(&self, b: &[f64], x: &mut [f64], params: &CgParams) -> Result<CgInfo, CgError> {
        self.solve_split(b, x, &mut Vec::new(), params)
    }

    /// [`Preconditioned::solve`] for `A (x + low) = b`, starting from the given sum: `low` is what
    /// rounding to double precision takes away from x; it may be empty, and comes back so where it
    /// does not matter. It does where
    /// conductances are so large, or x so far from zero, that `epsilon | |A| |x| |` is above the
    /// tolerance: a micrometre of copper, a module that next to nothing cools. The residual is that
    /// of the sum.
    ///
    /// # Errors
    /// See [`CgError`]; `x` then holds the last iterate.
    ///
    /// # Panics
    /// If `b` or `x` has not one entry for each unknown, or `low` neither as many nor none.
    pub fn solve_split(
        &self,
        b: &[f64],
        x: &mut [f64],
        low: &mut Vec<f64>,
        params: &CgParams,
    ) -> Result<CgInfo, CgError> {
        let n = self.operator.len();
        assert_eq!(b.len(), n, "one right-hand side entry for each unknown");
        assert_eq!(x.len(), n, "one solution entry for each unknown");
        assert!(low.is_empty() || low.len() == n, "an entry for each unknown or none");
        let b_norm = dot(b, b).sqrt();
        if !b_norm.is_finite() {
            return Err(CgError::NotPositiveDefinite { iteration: 0 });
        }
        if b_norm == 0.0 {
            x.fill(0.0);
            low.clear();
            return Ok(CgInfo {
                iterations: 0,
                residual_relative: 0.0,
                limited_by_rounding: false,
            });
        }
        let take = || self.kept.lock().ok()?.take();
        let kept = take().unwrap_or_else(|| Kept::new(&self.hierarchy));
        let mut vectors = Vectors {
            operator: self.operator,
            hierarchy: &self.hierarchy,
            level: &self.hierarchy.levels[0],
            offsets: self.operator.offsets(),
            kept,
        };
        vectors.load(x);
        if !low.is_empty() {
            vectors.kept.base.resize(n, 0.0);
            std::mem::swap(&mut vectors.kept.base, &mut vectors.kept.x);
            vectors.load(low);
            vectors.restate(b);
            low.clear();
        }
        let outcome = vectors.conjugate_gradients(b, b_norm, params);
        if !vectors.kept.base.is_empty() {
            vectors.round();
            low.resize(n, 0.0);
            vectors.store(&vectors.kept.x, low);
            std::mem::swap(&mut vectors.kept.base, &mut vectors.kept.x);
            vectors.kept.base.clear();
            vectors.kept.rest.clear();
        }
        vectors.store(&vectors.kept.x, x);
        // After a failure the vectors may hold numbers that are not finite.
        if let (Ok(_), Ok(mut kept)) = (&outcome, self.kept.lock()) {
            *kept = Some(vectors.kept);
        }
        outcome
    }
}

/// Vectors of a solve, in the rows' order.
struct Kept {
    /// The iterate, or what is to be added to `base`.
    x: Vec<f64>,
    /// Where rounding matters: the iterate so far, and `b - A base`. Else empty.
    base: Vec<f64>,
    rest: Vec<f64>,
    r: Vec<f64>,
    q: Vec<f64>,
    p: Vec<f32>,
    z: Vec<f32>,
    sums: Vec<f64>,
    cycle: CycleWork,
}

impl Kept {
    fn new(hierarchy: &Hierarchy) -> Self {
        let level = &hierarchy.levels[0];
        let n = level.layout.len();
        Kept {
            x: zeros(n),
            base: Vec::new(),
            rest: Vec::new(),
            r: zeros(n),
            q: zeros(n),
            p: zeros(n),
            z: zeros(n),
            sums: vec![0.0; level.strips.len() - 1],
            cycle: CycleWork::new(hierarchy),
        }
    }
}

/// A residual above this share of the right-hand side is not put down to rounding of its terms.
const MOST_ROUNDING: f64 = 1e-8;

/// One solve.
struct Vectors<'a> {
    operator: &'a Operator,
    hierarchy: &'a Hierarchy,
    level: &'a Level,
    /// First unknown of each block.
    offsets: Vec<usize>,
    kept: Kept,
}

impl Vectors<'_> {
    /// Takes the first guess over from the operator's order.
    fn load(&mut self, x: &[f64]) {
        let (level, offsets) = (self.level, &self.offsets);
        let outputs = Pieces { data: &mut self.kept.x, bounds: &level.bounds };
        for_each_strip(level.strips.len() - 1, outputs, &|strip, to: Pieces<f64>| {
            let base = level.bounds[strip];
            for j in level.strips[strip]..level.strips[strip + 1] {
                for_sheet_rows(&level.layout, offsets, j, |natural, block| {
                    let to = &mut to.data[natural.start - base..natural.end - base];
                    to.copy_from_slice(&x[block]);
                });
            }
        });
    }

    /// Hands a vector out in the operator's order, sheet by sheet.
    fn store(&self, vector: &[f64], x: &mut [f64]) {
        let layout = &self.level.layout;
        let mut sheets = Vec::new();
        let mut rest = x;
        for (b, s) in layout.shapes.iter().enumerate() {
            for l in 0..s.nl {
                let (sheet, after) = rest.split_at_mut(s.nx * s.ny);
                rest = after;
                for (k, rows) in sheet.chunks_mut(s.nx * 64).enumerate() {
                    sheets.push((b, l, 64 * k, rows));
                }
            }
        }
        sheets.into_par_iter().for_each(|(b, l, first, rows)| {
            let s = &layout.shapes[b];
            for (k, row) in rows.chunks_mut(s.nx).enumerate() {
                let from = layout.piece(s.j0 + first + k, b).natural + l * s.nx;
                row.copy_from_slice(&vector[from..from + s.nx]);
            }
        });
    }

    fn strips(&self) -> usize {
        self.level.strips.len() - 1
    }

    /// Adds x to the base; what rounding takes from the sum stays in x (the exact error of a
    /// floating-point sum: Knuth 1969, "The art of computer programming" 2, section 4.2.2).
    fn round(&mut self) {
        for (base, x) in self.kept.base.iter_mut().zip(&mut self.kept.x) {
            let (a, b) = (*base, *x);
            let sum = a + b;
            let part = sum - a;
            *base = sum;
            *x = (a - (sum - part)) + (b - part);
        }
    }

    /// Sets the iterate aside as a base, so that x starts anew from what is left: corrections are
    /// no longer rounded to the last place of the whole.
    fn rebase(&mut self, b: &[f64]) {
        let n = self.kept.x.len();
        self.kept.base.resize(n, 0.0);
        self.round();
        self.restate(b);
    }

    /// `rest = b - A base`.
    fn restate(&mut self, b: &[f64]) {
        self.kept.rest.clear();
        std::mem::swap(&mut self.kept.base, &mut self.kept.x);
        self.true_residual(b);
        std::mem::swap(&mut self.kept.base, &mut self.kept.x);
        self.kept.rest.extend_from_slice(&self.kept.r);
    }

    /// `r = b - A x`, or `rest - A x` beside a base; returns |r|.
    fn true_residual(&mut self, b: &[f64]) -> f64 {
        let offsets = &self.offsets;
        let count = self.strips();
        let (operator, level, x) = (self.operator, self.level, &self.kept.x);
        let rest = &self.kept.rest;
        let bounds = &level.bounds;
        let outputs = (Pieces { data: &mut self.kept.r, bounds }, Each(&mut self.kept.sums));
        for_each_strip(count, outputs, &|strip, (r, sum)| {
            let mut total = 0.0;
            for j in level.strips[strip]..level.strips[strip + 1] {
                let start = level.layout.row_start[j];
                let row = &mut r.data
                    [start - bounds[strip]..level.layout.row_start[j + 1] - bounds[strip]];
                apply_row(operator, &level.layout, j, x, row);
                if rest.is_empty() {
                    for_sheet_rows(&level.layout, offsets, j, |natural, block| {
                        let row = &mut row[natural.start - start..natural.end - start];
                        for (r, b) in row.iter_mut().zip(&b[block]) {
                            *r = b - *r;
                        }
                    });
                } else {
                    for (r, b) in row.iter_mut().zip(&rest[start..]) {
                        *r = b - *r;
                    }
                }
                total += dot(row, row);
            }
            sum.0[0] = total;
        });
        self.kept.sums.iter().sum::<f64>().sqrt()
    }

    /// `p = z + beta p`.
    fn turn(&mut self, beta: f64) {
        let beta = beta as f32;
        let outputs = Pieces { data: &mut self.kept.p, bounds: &self.level.bounds };
        let (z, bounds) = (&self.kept.z, &self.level.bounds);
        for_each_strip(self.level.strips.len() - 1, outputs, &|strip, p: Pieces<f32>| {
            kernels::turn(p.data, &z[bounds[strip]..bounds[strip + 1]], beta);
        });
    }

    /// `q = A p`; returns p · q.
    fn apply(&mut self) -> f64 {
        let (operator, level, p) = (self.operator, self.level, &self.kept.p);
        let bounds = &level.bounds;
        let outputs = (Pieces { data: &mut self.kept.q, bounds }, Each(&mut self.kept.sums));
        for_each_strip(level.strips.len() - 1, outputs, &|strip, (q, sum)| {
            let mut total = 0.0;
            for j in level.strips[strip]..level.strips[strip + 1] {
                let (start, end) = (level.layout.row_start[j], level.layout.row_start[j + 1]);
                let row = &mut q.data[start - bounds[strip]..end - bounds[strip]];
                apply_row(operator, &level.layout, j, p, row);
                total += dot(&p[start..end], row);
            }
            sum.0[0] = total;
        });
        self.kept.sums.iter().sum()
    }

    /// `x += alpha p`, `r -= alpha q`; returns |r|.
    fn step(&mut self, alpha: f64) -> f64 {
        let count = self.strips();
        let bounds = &self.level.bounds;
        let (p, q) = (&self.kept.p, &self.kept.q);
        let outputs = (
            Pieces { data: &mut self.kept.x, bounds },
            Pieces { data: &mut self.kept.r, bounds },
            Each(&mut self.kept.sums),
        );
        for_each_strip(count, outputs, &|strip, (x, r, sum)| {
            let range = bounds[strip]..bounds[strip + 1];
            let mut lanes = [0.0; 8];
            kernels::step(x.data, r.data, &p[range.clone()], &q[range], alpha, &mut lanes);
            sum.0[0] = lanes.iter().sum();
        });
        self.kept.sums.iter().sum::<f64>().sqrt()
    }

    /// Takes what is uniform over whole sheets out of the residual, by a correction of x.
    fn settle(&mut self, b: &[f64], modes: &SheetModes) -> f64 {
        let layout = &self.level.layout;
        let mut sums = vec![0.0; modes.len()];
        modes.for_each_piece(layout, |mode, at| sums[mode] += self.kept.r[at].iter().sum::<f64>());
        modes.solve(&mut sums);
        let x = &mut self.kept.x;
        modes.for_each_piece(layout, |mode, at| x[at].iter_mut().for_each(|x| *x += sums[mode]));
        self.true_residual(b)
    }

    /// Takes the modes out of z, so that `Zᵀ A z = 0`; q is used up.
    fn project(&mut self, modes: &SheetModes) {
        let layout = &self.level.layout;
        std::mem::swap(&mut self.kept.p, &mut self.kept.z);
        self.apply();
        std::mem::swap(&mut self.kept.p, &mut self.kept.z);
        let mut sums = vec![0.0; modes.len()];
        modes.for_each_piece(layout, |mode, at| sums[mode] += self.kept.q[at].iter().sum::<f64>());
        modes.solve(&mut sums);
        let z = &mut self.kept.z;
        modes.for_each_piece(layout, |mode, at| {
            z[at].iter_mut().for_each(|z| *z = (f64::from(*z) - sums[mode]) as f32);
        });
    }

    /// Conjugate gradients; where they fail once more with the modes of whole sheets taken care of
    /// in double precision.
    fn conjugate_gradients(
        &mut self,
        b: &[f64],
        b_norm: f64,
        params: &CgParams,
    ) -> Result<CgInfo, CgError> {
        let first = self.iterate(b, b_norm, params, None);
        let worth_more = match &first {
            Ok(_) => false,
            Err(CgError::NotPositiveDefinite { .. }) => true,
            // With a lower bound the caller has other means.
            Err(CgError::NotConverged { iterations, .. }) => {
                *iterations >= CgParams::default().max_iterations
            }
        };
        let Some(modes) = worth_more.then(|| SheetModes::new(self.operator)).flatten() else {
            return first;
        };
        if !self.kept.x.iter().chain(&self.kept.base).all(|x| x.is_finite()) {
            self.kept.x.fill(0.0);
            self.kept.base.clear();
            self.kept.rest.clear();
        }
        self.iterate(b, b_norm, params, Some(&modes))
    }

    fn iterate(
        &mut self,
        b: &[f64],
        b_norm: f64,
        params: &CgParams,
        modes: Option<&SheetModes>,
    ) -> Result<CgInfo, CgError> {
        let goal = params.relative_tolerance * b_norm;
        let mut norm = self.true_residual(b);
        if let Some(modes) = modes {
            norm = self.settle(b, modes);
        }
        let mut iterations = 0;
        let mut rz_before = 0.0;
        let mut alpha = 0.0;
        let mut checked = f64::INFINITY;
        loop {
            let exhausted = iterations >= params.max_iterations;
            if norm <= goal || exhausted {
                // The recurrence says so; the residual itself decides.
                norm = self.true_residual(b);
                let residual_relative = norm / b_norm;
                let rounded = !self.kept.base.is_empty();
                if norm <= goal {
                    break Ok(CgInfo {
                        iterations,
                        residual_relative,
                        limited_by_rounding: rounded,
                    });
                }
                // The terms of the residual themselves are rounded: no more is to be had.
                if norm > 0.5 * checked && residual_relative <= MOST_ROUNDING {
                    break Ok(CgInfo { iterations, residual_relative, limited_by_rounding: true });
                }
                if exhausted {
                    break Err(CgError::NotConverged { iterations, residual_relative });
                }
                checked = norm;
                // What the recurrence did not see is rounding.
                self.rebase(b);
                norm = self.true_residual(b);
                if let Some(modes) = modes {
                    norm = self.settle(b, modes);
                }
                rz_before = 0.0;
            }
            let scale = (b.len() as f64).sqrt() / norm;
            let kept = &mut self.kept;
            let mut rz = precondition(self.hierarchy, &mut kept.cycle, scale, &kept.r, &mut kept.z);
            let mut beta = if rz_before > 0.0 { rz / rz_before } else { 0.0 };
            if let Some(modes) = modes {
                // A preconditioner that rounding makes unsymmetric: directions are kept conjugate
                // by the product itself (flexible conjugate gradients: Notay, SIAM J. Sci. Comput.
                // 22, 2000).
                let turned = alpha * dot(&self.kept.q, &self.kept.z);
                beta = if rz_before > 0.0 { -turned / rz_before } else { 0.0 };
                self.project(modes);
                rz = dot(&self.kept.r, &self.kept.z);
            }
            self.turn(beta);
            let curvature = self.apply();
            if !(curvature > 0.0 && rz > 0.0) {
                break Err(CgError::NotPositiveDefinite { iteration: iterations });
            }
            alpha = rz / curvature;
            norm = self.step(alpha);
            rz_before = rz;
            iterations += 1;
        }
    }
}

/// Calls `work(range in the rows' order, range in the operator's order)` for every sheet of
/// every block in row `j`.
fn for_sheet_rows(
    layout: &Layout,
    offsets: &[usize],
    j: usize,
    mut work: impl FnMut(std::ops::Range<usize>, std::ops::Range<usize>),
) {
    for piece in layout.pieces(j) {
        let s = &layout.shapes[piece.block];
        for l in 0..s.nl {
            let natural = piece.natural + l * s.nx;
            let block = offsets[piece.block] + (l * s.ny + piece.row) * s.nx;
            work(natural..natural + s.nx, block..block + s.nx);
        }
    }
}
