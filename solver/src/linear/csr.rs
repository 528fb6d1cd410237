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
    let mut link = |a: usize, b: usize, g: f64| {
        if g != 0.0 {
            triplets.add_triplet(a, b, -g);
            triplets.add_triplet(b, a, -g);
        }
    };
    for (block, offset) in operator.blocks.iter().zip(operator.offsets()) {
        let plane = block.nx * block.ny;
        for c in 0..block.len() {
            link(offset + c, offset + c + 1, block.east[c]);
            link(offset + c, offset + c + block.nx, block.north[c]);
            link(offset + c, offset + c + plane, block.up[c]);
        }
        for c in 0..block.seat.len() {
            link(offset + c, operator.seat_index(block, c), block.seat[c]);
        }
    }
    triplets.to_csr()
}
