//! Conjugate gradients with the diagonal as preconditioner: slow, plain, and for that reason
//! the reference that faster preconditioners are tested against.

use super::{CgError, CgInfo, CgParams, assemble};
use crate::conduction::Operator;

/// Solves `A x = b` from the given `x` with diagonally preconditioned conjugate gradients.
pub fn solve(
    operator: &Operator,
    b: &[f64],
    x: &mut [f64],
    params: &CgParams,
) -> Result<CgInfo, CgError> {
    let matrix = assemble(operator);
    let diagonal = operator.diagonal();
    let apply = |v: &[f64], out: &mut [f64]| {
        for (row, o) in matrix.outer_iterator().zip(out) {
            *o = row.iter().map(|(c, a)| a * v[c]).sum();
        }
    };
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let n = b.len();
    let b_norm = dot(b, b).sqrt();
    if b_norm == 0.0 {
        x.fill(0.0);
        return Ok(CgInfo { iterations: 0, residual_relative: 0.0, limited_by_rounding: false });
    }
    let mut work = vec![0.0; n];
    apply(x, &mut work);
    let mut r: Vec<f64> = b.iter().zip(&work).map(|(b, w)| b - w).collect();
    let mut z: Vec<f64> = r.iter().zip(&diagonal).map(|(r, d)| r / d).collect();
    let mut p = z.clone();
    let mut rz = dot(&r, &z);
    for iteration in 0..params.max_iterations.max(20 * n) {
        if dot(&r, &r).sqrt() <= params.relative_tolerance * b_norm {
            return Ok(CgInfo {
                iterations: iteration,
                residual_relative: dot(&r, &r).sqrt() / b_norm,
                limited_by_rounding: false,
            });
        }
        apply(&p, &mut work);
        let curvature = dot(&p, &work);
        if curvature.is_nan() || curvature <= 0.0 {
            return Err(CgError::NotPositiveDefinite { iteration });
        }
        let alpha = rz / curvature;
        for k in 0..n {
            x[k] += alpha * p[k];
            r[k] -= alpha * work[k];
            z[k] = r[k] / diagonal[k];
        }
        let next = dot(&r, &z);
        let beta = next / rz;
        rz = next;
        for k in 0..n {
            p[k] = z[k] + beta * p[k];
        }
    }
    Err(CgError::NotConverged {
        iterations: 20 * n,
        residual_relative: dot(&r, &r).sqrt() / b_norm,
    })
}
