//! The families solved by faer's sparse Cholesky factorisation, as lines of peers' results:
//! `cargo bench -p sprayside_solver --bench faer_cholesky -- A512 B256`.
#![allow(missing_docs, non_snake_case, dead_code, clippy::print_stdout)]

#[path = "../families.rs"]
mod families;

use std::time::Instant;

use faer::linalg::solvers::Solve;
use faer::sparse::{SparseColMat, Triplet};
use sprayside_solver::linear::assemble;

fn main() {
    for name in std::env::args().skip(1).filter(|a| !a.starts_with("--")) {
        let Some(n) = name.get(1..).and_then(|n| n.parse().ok()) else { continue };
        let problem =
            if name.starts_with('A') { families::family_a(n) } else { families::family_b(n) };
        let matrix = assemble(&problem.operator);
        let triplets: Vec<_> =
            matrix.iter().map(|(&value, (row, column))| Triplet::new(row, column, value)).collect();
        let size = problem.b.len();
        let sparse = SparseColMat::<usize, f64>::try_new_from_triplets(size, size, &triplets)
            .expect("a valid matrix");
        let start = Instant::now();
        let factor = sparse.sp_cholesky(faer::Side::Lower).expect("positive definite");
        let setup = start.elapsed().as_secs_f64();
        let b = faer::Mat::<f64>::from_fn(size, 1, |i, _| problem.b[i]);
        let start = Instant::now();
        let x = factor.solve(&b);
        let solve = start.elapsed().as_secs_f64();
        let (mut r2, mut b2) = (0.0, 0.0);
        for (row, b) in matrix.outer_iterator().zip(&problem.b) {
            let r = b - row.iter().map(|(c, a)| a * x[(c, 0)]).sum::<f64>();
            r2 += r * r;
            b2 += b * b;
        }
        println!("{name},faer sparse Cholesky,{setup:.5},{solve:.5},0,{:.2e},", (r2 / b2).sqrt());
    }
}
