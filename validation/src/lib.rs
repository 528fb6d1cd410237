//! Outside checks of `sprayside`: published solutions, handbook values and general-purpose
//! libraries, each with its source, and the table they make.
//!
//! - [`sources`]: the references, one constant each;
//! - [`check`]: an expected value with its source, and what came of it;
//! - [`closed_form`]: answers that share no code with the solver;
//! - [`coolants`]: the built-in coolants against general-purpose property libraries;
//! - [`spray_points`]: published critical heat fluxes of sprays, hit or missed.

pub mod check;
pub mod closed_form;
pub mod coolants;
pub mod sources;
pub mod spray_points;
