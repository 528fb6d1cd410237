//! `fit.csv` and `fit_sensors.csv`.

use serde::Serialize;
use sprayside_solver::module::Sensor;
use sprayside_solver::study::fit::Fit;

use crate::figures::{celsius, figure};

/// A row a fitted parameter; the fields are the columns, in their order.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct FitRow {
    pub parameter: &'static str,
    pub value: Option<f64>,
    pub low: Option<f64>,
    pub high: Option<f64>,
    pub confidence: Option<f64>,
    pub bound_low: Option<f64>,
    pub bound_high: Option<f64>,
    pub state: &'static str,
}

impl FitRow {
    /// The columns.
    pub const HEADER: [&'static str; 8] =
        ["parameter", "value", "low", "high", "confidence", "bound_low", "bound_high", "state"];

    /// The rows of a fit.
    pub fn all(fit: &Fit, confidence: f64) -> Vec<FitRow> {
        (0..fit.parameters.len())
            .map(|k| {
                let (value, [low, high]) = fit.value_of(k);
                let held = fit.judgement.estimates[k].held;
                let undetermined = fit.judgement.undetermined.contains(&k);
                let known = !held && !undetermined;
                FitRow {
                    parameter: fit.parameters[k].word(),
                    value: figure(value),
                    low: figure(low).filter(|_| known),
                    high: figure(high).filter(|_| known),
                    confidence: figure(confidence),
                    bound_low: figure(fit.bounds[k][0]),
                    bound_high: figure(fit.bounds[k][1]),
                    state: match (held, undetermined) {
                        (true, _) => "at a bound",
                        (false, true) => "not determined",
                        (false, false) => "determined",
                    },
                }
            })
            .collect()
    }
}

/// A row a reading; the fields are the columns, in their order.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct FitSensorRow {
    pub sensor: String,
    pub reading_C: Option<f64>,
    pub before_C: Option<f64>,
    pub after_C: Option<f64>,
    pub residual_K: Option<f64>,
    pub sigma_K: Option<f64>,
    pub normalised_residual: Option<f64>,
    pub agrees: &'static str,
    /// The comparison of the case as stated: E = S - D and its parts.
    pub comparison_error_K: Option<f64>,
    pub u_num_K: Option<f64>,
    pub u_input_K: Option<f64>,
    pub u_D_K: Option<f64>,
    pub u_val_K: Option<f64>,
    /// The comparison of the corrected case.
    pub after_error_K: Option<f64>,
    pub after_u_val_K: Option<f64>,
}

impl FitSensorRow {
    /// The columns.
    pub const HEADER: [&'static str; 15] = [
        "sensor",
        "reading_C",
        "before_C",
        "after_C",
        "residual_K",
        "sigma_K",
        "normalised_residual",
        "agrees",
        "comparison_error_K",
        "u_num_K",
        "u_input_K",
        "u_D_K",
        "u_val_K",
        "after_error_K",
        "after_u_val_K",
    ];

    /// The rows of a fit.
    pub fn all(fit: &Fit, sensors: &[Sensor]) -> Vec<FitSensorRow> {
        fit.sensors
            .iter()
            .map(|row| FitSensorRow {
                sensor: sensors[row.sensor].name.clone(),
                reading_C: figure(celsius(row.reading_K)),
                before_C: figure(celsius(row.before_K)),
                after_C: figure(celsius(row.after_K)),
                residual_K: figure(row.reading_K - row.after_K),
                sigma_K: figure(row.sigma_K),
                normalised_residual: row.normalised.and_then(figure),
                agrees: match (row.disagrees, row.normalised) {
                    (true, _) => "no",
                    (false, Some(_)) => "yes",
                    (false, None) => "untested",
                },
                comparison_error_K: figure(row.comparison.error_K),
                u_num_K: figure(row.comparison.numerical_K),
                u_input_K: figure(row.comparison.input_K),
                u_D_K: figure(row.comparison.measured_K),
                u_val_K: figure(row.comparison.validation_K()),
                after_error_K: figure(row.comparison_after.error_K),
                after_u_val_K: figure(row.comparison_after.validation_K()),
            })
            .collect()
    }
}
