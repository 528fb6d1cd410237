//! Parameters, outcome and failure of a linear solve; and the prepared solver that a caller
//! keeps between right-hand sides.

use std::fmt;
use std::sync::Mutex;

use super::awake::with_workers_awake;
use super::cycle::{CycleWork, precondition};
use super::exchange::{add_halves, into_halves};
use super::hierarchy::Hierarchy;
use super::iteration::{Kept, Sought, Vectors};
use super::kernels::dot;
use super::level::STRIP_UNKNOWNS;
use super::norm::norm;
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
    pub fn attach(mut self, operator: &Operator) -> Preconditioned<'_> {
        assert!(
            self.shape == shape_of(operator),
            "the blocks of the operator must stay where they are"
        );
        self.hierarchy.refresh(operator);
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
        let strips = operator.len() / STRIP_UNKNOWNS;
        let hierarchy = with_workers_awake(strips, || Hierarchy::new(operator));
        Preconditioned { operator, hierarchy, kept: Mutex::new(None) }
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
        let norm = dot(r, r).sqrt();
        let mut out = vec![0.0; n];
        if norm > 0.0 {
            let scale = (n as f64).sqrt() / norm;
            let mut halves = vec![0.0; level.layout.split_len()];
            into_halves(level, &self.operator.offsets(), r, scale, &mut halves);
            let mut z = vec![0.0; halves.len()];
            precondition(&self.hierarchy, &mut CycleWork::new(&self.hierarchy), &halves, &mut z);
            let wide: Vec<f64> = z.iter().map(|&z| f64::from(z) / scale).collect();
            add_halves(level, &wide, &mut out);
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
        let mut sought = Sought { b, b_norm, x, low };
        self.on_vectors(|vectors| vectors.conjugate_gradients(&mut sought, params))
    }

    /// Solves `A step = residual` roughly, from zero: until the conjugate gradients' own account of
    /// the residual has fallen to the tolerance. For outer iterations, which look at the true one
    /// themselves.
    ///
    /// # Errors
    /// See [`CgError`].
    ///
    /// # Panics
    /// If `residual` or `step` has not one entry for each unknown.
    pub fn step(
        &self,
        residual: &[f64],
        step: &mut [f64],
        params: &CgParams,
    ) -> Result<CgInfo, CgError> {
        let n = self.operator.len();
        assert_eq!(residual.len(), n, "one right-hand side entry for each unknown");
        assert_eq!(step.len(), n, "one solution entry for each unknown");
        let norm = norm(residual);
        if !(norm.is_finite() && norm > 0.0) {
            step.fill(0.0);
            let info = CgInfo { iterations: 0, residual_relative: 0.0, limited_by_rounding: false };
            let broken = CgError::NotPositiveDefinite { iteration: 0 };
            return if norm == 0.0 { Ok(info) } else { Err(broken) };
        }
        step.fill(0.0);
        let mut sought = Sought { b: residual, b_norm: norm, x: step, low: &mut Vec::new() };
        self.on_vectors(|vectors| vectors.step_down(&mut sought, params))
    }

    /// A solve on the vectors of the last one, if there was one. They are kept for the next; after a
    /// failure they may hold numbers that are not finite.
    fn on_vectors(
        &self,
        solve: impl FnOnce(&mut Vectors) -> Result<CgInfo, CgError> + Send,
    ) -> Result<CgInfo, CgError> {
        let take = || self.kept.lock().ok()?.take();
        let level = &self.hierarchy.levels[0];
        let mut vectors = Vectors {
            operator: self.operator,
            hierarchy: &self.hierarchy,
            level,
            offsets: self.operator.offsets(),
            kept: take().unwrap_or_else(|| Kept::new(&self.hierarchy)),
        };
        // One strip is the solve's own.
        let others = level.strips.len() - 2;
        let outcome = with_workers_awake(others, || solve(&mut vectors));
        if let (true, Ok(mut kept)) = (outcome.is_ok(), self.kept.lock()) {
            *kept = Some(vectors.kept);
        }
        outcome
    }
}
