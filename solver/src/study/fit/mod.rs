//! The model against thermometers: which corrections make it read what they read, how well the
//! readings know them, and which thermometer does not agree with the others.
//!
//! - `least_squares`: weighted least squares with bounds, knowing nothing of modules;
//! - `judgement`: intervals, correlations, chi-square, the test for outliers;
//! - `model`: a module's sensors as functions of its corrections, with their derivatives.

mod judgement;
mod least_squares;
mod model;
mod symmetric;
#[cfg(test)]
mod tests;

pub use judgement::{Estimate, Judgement, Verdict20, judge};
pub use least_squares::{Forward, Minimum, Problem, minimise};
pub use model::{Fit, FitError, FitOptions, FitParameter, Measured, SensorFit, fit};
