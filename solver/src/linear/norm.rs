//! The norm that residuals are judged by outside the solver's own kernels.

/// Euclidean norm, added up in plain order.
pub fn norm(v: &[f64]) -> f64 {
    v.iter().map(|v| v * v).sum::<f64>().sqrt()
}
