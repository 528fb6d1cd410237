//! Linear algebra on the conduction operator: conjugate gradients, preconditioner, assembled
//! matrix. Nothing in here knows what a die or a nozzle is.

pub mod csr;
pub mod jacobi;
pub mod solve;

pub use csr::assemble;
pub use solve::{CgError, CgInfo, CgParams, Preconditioned};
