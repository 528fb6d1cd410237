//! Linear algebra on the conduction operator: conjugate gradients, preconditioned by multigrid
//! on whole columns of the sheets; the assembled matrix. Nothing in here knows what a die or a
//! nozzle is.
//!
//! - `axis`, `coarsen`: the coarser planes and the conductances on them
//! - `layout`, `strips`: rows in memory, and work shared out by strips of rows
//! - `hierarchy`, `coarsest`, `cycle`: the preconditioner
//! - `apply`, `solve`: the operator in double precision and the conjugate gradients
//! - `csr`, `jacobi`: the assembled matrix and a slow, plain reference solver

mod apply;
mod axis;
mod coarsen;
mod coarsest;
pub mod csr;
mod cycle;
mod hierarchy;
pub mod jacobi;
mod layout;
pub mod solve;
mod strips;

pub use csr::assemble;
pub use solve::{CgError, CgInfo, CgParams, Preconditioned};
