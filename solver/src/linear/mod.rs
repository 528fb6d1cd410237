//! Linear algebra on the conduction operator: conjugate gradients, preconditioned by multigrid
//! on whole columns of the sheets; the assembled matrix. Nothing in here knows what a die or a
//! nozzle is.
//!
//! - `axis`, `stack`, `coarsen`: the coarser planes, their sheets and the conductances on them
//! - `layout`, `strips`, `awake`: rows in memory, work shared out by strips of rows, and the workers
//!   that take it
//! - `hierarchy`, `level`, `interpolation`, `coarsest`, `cycle`, `rows`: the preconditioner, and
//!   what a cycle does to one row
//! - `relaxation`, `kernels`, `widest`: the inner loops of all of it, compiled for the instructions
//!   that there are
//! - `apply`, `stencil`: the operator, in double precision for true residuals and in single for
//!   the iterations
//! - `iteration`, `exchange`, `solve`: the conjugate gradients, vectors in and out of their order,
//!   and what a caller sees of both
//! - `norm`: sums over long vectors for callers, on all threads
//! - `csr`, `matrix_market`, `jacobi`: the assembled matrix, its text, and a slow, plain reference
//!   solver

mod apply;
mod awake;
mod axis;
mod coarsen;
mod coarsest;
pub mod csr;
mod cycle;
mod exchange;
mod hierarchy;
mod interpolation;
mod iteration;
pub mod jacobi;
mod kernels;
mod layout;
mod level;
pub mod matrix_market;
mod norm;
mod relaxation;
mod rows;
pub mod solve;
mod stack;
mod stencil;
mod strips;
mod transfer;
mod widest;

pub use csr::assemble;
pub use matrix_market::{matrix_market, vector_market};
pub use norm::norm;
pub(crate) use norm::{add_to, dot, largest_magnitude};
pub use solve::{CgError, CgInfo, CgParams, Detached, Preconditioned};
