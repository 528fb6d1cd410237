//! What `fit` adds to `summary.json`.

use serde::Serialize;
use sprayside_solver::study::fit::Fit;

use crate::figures::figure;
use crate::tables::{FitRow, FitSensorRow};

/// Two parameters that the readings hardly tell apart.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it")]
pub struct Alike {
    pub first: &'static str,
    pub second: &'static str,
    pub correlation: Option<f64>,
}

/// The fit as figures.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct FitSummary {
    pub parameters: Vec<FitRow>,
    pub correlation: Vec<Vec<Option<f64>>>,
    pub alike: Vec<Alike>,
    pub condition: Option<f64>,
    pub chi_square: Option<f64>,
    pub degrees_of_freedom: usize,
    pub probability: Option<f64>,
    pub explains: bool,
    pub widened: Option<f64>,
    pub outlier_beyond: Option<f64>,
    pub disagree: Vec<String>,
    pub sensors: Vec<FitSensorRow>,
    pub steps: usize,
    pub converged: bool,
    pub corrected_case: String,
}

impl FitSummary {
    /// A fit as figures.
    pub fn of(
        fit: &Fit,
        parameters: Vec<FitRow>,
        sensors: Vec<FitSensorRow>,
        corrected_case: String,
    ) -> FitSummary {
        let judgement = &fit.judgement;
        FitSummary {
            parameters,
            correlation: judgement
                .correlation
                .iter()
                .map(|row| row.iter().map(|value| figure(*value)).collect())
                .collect(),
            alike: judgement
                .alike
                .iter()
                .map(|&(a, b, correlation)| Alike {
                    first: fit.parameters[a].word(),
                    second: fit.parameters[b].word(),
                    correlation: figure(correlation),
                })
                .collect(),
            condition: figure(judgement.condition),
            chi_square: figure(judgement.chi_square),
            degrees_of_freedom: judgement.degrees,
            probability: judgement.probability.and_then(figure),
            explains: judgement.explains(),
            widened: figure(judgement.widened),
            outlier_beyond: figure(judgement.critical),
            disagree: sensors
                .iter()
                .filter(|row| row.agrees == "no")
                .map(|row| row.sensor.clone())
                .collect(),
            sensors,
            steps: fit.steps,
            converged: fit.converged,
            corrected_case,
        }
    }
}
