//! Regression on analytic slabs: stacks whose answer is known in closed form, on every kind of
//! grid, and the properties that every solution must have.
//!
//! - [`stack`]: modules built in code;
//! - [`closed_form`]: the slab's closed form, shared with the validation program and free of the
//!   solver's code;
//! - [`exact`]: stack × source interface × Biot number × resolution, to 1e-8;
//! - [`edges`]: stacks with cooled side faces;
//! - [`symmetry`]: turned, mirrored and renamed modules; superposition; heat balance;
//! - [`matrix`]: the assembled matrix is symmetric positive definite and solves to the same answer.

mod edges;
mod exact;
mod matrix;
mod stack;
mod symmetry;

#[path = "../../validation/src/closed_form/multilayer_slab.rs"]
mod closed_form;
