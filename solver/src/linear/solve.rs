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
    /// True residual, recomputed at the end, relative to the right-hand side.
    pub residual_relative: f64,
    /// The tolerance lies below what rounding x to double precision leaves, and the residual
    /// stands at that limit: `|b - A x|` is a small multiple of `epsilon | |A| |x| |`.
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
        let n = self.operator.len();
        assert_eq!(b.len(), n, "one right-hand side entry for each unknown");
        assert_eq!(x.len(), n, "one solution entry for each unknown");
        let b_norm = dot(b, b).sqrt();
        if !b_norm.is_finite() {
            return Err(CgError::NotPositiveDefinite { iteration: 0 });
        }
        if b_norm == 0.0 {
            x.fill(0.0);
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
        let outcome = vectors.conjugate_gradients(b, b_norm, params);
        vectors.store(x);
        // After a failure the vectors may hold numbers that are not finite.
        if let (Ok(_), Ok(mut kept)) = (&outcome, self.kept.lock()) {
            *kept = Some(vectors.kept);
        }
        outcome
    }
}

/// Vectors of a solve, in the rows' order.
struct Kept {
    x: Vec<f64>,
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
            r: zeros(n),
            q: zeros(n),
            p: zeros(n),
            z: zeros(n),
            sums: vec![0.0; level.strips.len() - 1],
            cycle: CycleWork::new(hierarchy),
        }
    }
}

/// A residual above this share of the right-hand side is no rounding, however large x has grown
/// (it grows without end on a singular system).
const MOST_ROUNDING: f64 = 1e-6;

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

    /// Hands the answer out in the operator's order, sheet by sheet.
    fn store(&self, x: &mut [f64]) {
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
                row.copy_from_slice(&self.kept.x[from..from + s.nx]);
            }
        });
    }

    fn strips(&self) -> usize {
        self.level.strips.len() - 1
    }

    /// Norm of the residual that rounding alone may leave, `epsilon |diag(A) x|` (the links of
    /// a cell sum up to its diagonal, so this is half of what its terms sum up to).
    fn rounding_limit(&self) -> f64 {
        let diagonal = self.operator.diagonal();
        let offsets = &self.offsets;
        let mut square = 0.0;
        for j in 0..self.level.layout.ny {
            for_sheet_rows(&self.level.layout, offsets, j, |natural, block| {
                for (x, d) in self.kept.x[natural].iter().zip(&diagonal[block]) {
                    square += (x * d).powi(2);
                }
            });
        }
        f64::EPSILON * square.sqrt()
    }

    /// `r = b - A x`; returns |r|.
    fn true_residual(&mut self, b: &[f64]) -> f64 {
        let offsets = &self.offsets;
        let count = self.strips();
        let (operator, level, x) = (self.operator, self.level, &self.kept.x);
        let bounds = &level.bounds;
        let outputs = (Pieces { data: &mut self.kept.r, bounds }, Each(&mut self.kept.sums));
        for_each_strip(count, outputs, &|strip, (r, sum)| {
            let mut total = 0.0;
            for j in level.strips[strip]..level.strips[strip + 1] {
                let start = level.layout.row_start[j];
                let row = &mut r.data
                    [start - bounds[strip]..level.layout.row_start[j + 1] - bounds[strip]];
                apply_row(operator, &level.layout, j, x, row);
                for_sheet_rows(&level.layout, offsets, j, |natural, block| {
                    for (r, b) in
                        row[natural.start - start..natural.end - start].iter_mut().zip(&b[block])
                    {
                        *r = b - *r;
                    }
                });
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

    fn conjugate_gradients(
        &mut self,
        b: &[f64],
        b_norm: f64,
        params: &CgParams,
    ) -> Result<CgInfo, CgError> {
        let goal = params.relative_tolerance * b_norm;
        let mut norm = self.true_residual(b);
        let mut iterations = 0;
        let mut rz_before = 0.0;
        let mut checked = f64::INFINITY;
        loop {
            let exhausted = iterations >= params.max_iterations;
            if norm <= goal || exhausted {
                // The recurrence says so; the residual itself decides.
                norm = self.true_residual(b);
                let residual_relative = norm / b_norm;
                if norm <= goal {
                    break Ok(CgInfo { iterations, residual_relative, limited_by_rounding: false });
                }
                let stalled = norm > 0.5 * checked || exhausted;
                if stalled
                    && residual_relative <= MOST_ROUNDING
                    && norm <= 4.0 * self.rounding_limit()
                {
                    break Ok(CgInfo { iterations, residual_relative, limited_by_rounding: true });
                }
                if exhausted {
                    break Err(CgError::NotConverged { iterations, residual_relative });
                }
                checked = norm;
                rz_before = 0.0;
            }
            let scale = (b.len() as f64).sqrt() / norm;
            let kept = &mut self.kept;
            let rz = precondition(self.hierarchy, &mut kept.cycle, scale, &kept.r, &mut kept.z);
            self.turn(if rz_before > 0.0 { rz / rz_before } else { 0.0 });
            let curvature = self.apply();
            if !(curvature > 0.0 && rz > 0.0) {
                break Err(CgError::NotPositiveDefinite { iteration: iterations });
            }
            norm = self.step(rz / curvature);
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
