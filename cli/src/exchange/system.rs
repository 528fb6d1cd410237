//! The system of equations as Matrix Market: `A x = b`, W/K, K above the inlet, W.

use sprayside_solver::linear::{assemble, matrix_market, vector_market};
use sprayside_solver::steady::system_at;

use crate::summary::Solved;

/// The matrix, its right-hand side, and the solution.
pub fn files(solved: &Solved) -> Vec<(String, Vec<u8>)> {
    let (operator, rhs) = system_at(&solved.case.case.module, solved.solution);
    let matrix = assemble(&operator);
    [
        ("operator.mtx", matrix_market(&matrix)),
        ("rhs.mtx", vector_market(&rhs)),
        ("rise.mtx", vector_market(&solved.solution.rise_K)),
    ]
    .map(|(name, text)| (name.to_owned(), text.into_bytes()))
    .into()
}
