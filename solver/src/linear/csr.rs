//! The operator as an assembled sparse matrix, for tests, export and direct solvers.

use sprs::{CsMat, TriMat};

use crate::conduction::Operator;

/// Assembles the symmetric matrix of `operator`, both triangles stored, W/K.
pub fn assemble(operator: &Operator) -> CsMat<f64> {
    let n = operator.len();
    let mut triplets = TriMat::with_capacity((n, n), 7 * n);
    for (row, value) in operator.diagonal().into_iter().enumerate() {
        triplets.add_triplet(row, row, value);
    }
    operator.for_each_link(|a, b, g| {
        triplets.add_triplet(a, b, -g);
        triplets.add_triplet(b, a, -g);
    });
    triplets.to_csr()
}
