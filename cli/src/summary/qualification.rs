//! What `qualify` adds to `summary.json`.

use serde::Serialize;
use sprayside_solver::life::{MODELS, Plan};
use sprayside_solver::module::Qualification;

use crate::figures::figure;
use crate::tables::QualificationRow;

/// What a plan of thermal cycles never proves; told with every one.
pub const NOT_COVERED: [&str; 6] = [
    "anything but fatigue of solder joints by changing temperature: no vibration, drop, humidity, \
     corrosion, electromigration or wear of spring contacts",
    "the coolant and its loop: ageing, fouling, clogged nozzles, loss of flow, burn-out",
    "joints other than those under the die: their swing is not that of the junction",
    "underfilled, very small or very large joints beyond the tests behind the models",
    "assembly faults that the samples do not have",
    "dwell, frequency and temperature level where the model does not have them",
];

/// A model and where its constants come from.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it")]
pub struct ModelUsed {
    pub name: &'static str,
    pub solder: &'static str,
    pub source: &'static str,
    pub governing_die_acceleration: Option<f64>,
}

/// The plan as figures.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct QualificationSummary {
    pub model: &'static str,
    pub field_life_years: Option<f64>,
    pub margin: Option<f64>,
    pub reliability: Option<f64>,
    pub confidence: Option<f64>,
    pub failures_allowed: u64,
    pub governing_die: String,
    pub field_cycles: Option<f64>,
    pub test_cycles: Option<f64>,
    pub cycle_min: Option<f64>,
    pub duration_days: Option<f64>,
    pub parts: Option<u64>,
    pub parts_counting_the_margin: Option<u64>,
    pub samples: Option<u64>,
    pub reliability_shown_by_samples: Option<f64>,
    pub test_cycles_for_samples: Option<f64>,
    pub sufficient: bool,
    pub die: Vec<QualificationRow>,
    pub models: Vec<ModelUsed>,
    pub not_covered: Vec<&'static str>,
}

impl QualificationSummary {
    /// A plan as figures.
    pub fn of(
        qualification: &Qualification,
        plan: &Plan,
        die: Vec<QualificationRow>,
    ) -> QualificationSummary {
        let governing = &plan.die[plan.governing];
        QualificationSummary {
            model: qualification.model.name,
            field_life_years: figure(qualification.life_years),
            margin: figure(qualification.margin),
            reliability: figure(qualification.reliability),
            confidence: figure(qualification.confidence),
            failures_allowed: qualification.failures,
            governing_die: governing.name.clone(),
            field_cycles: figure(governing.field_cycles),
            test_cycles: figure(plan.test_periods),
            cycle_min: figure(qualification.test.cycle_min),
            duration_days: figure(plan.duration_days),
            parts: plan.parts,
            parts_counting_the_margin: plan.parts_with_margin,
            samples: qualification.samples,
            reliability_shown_by_samples: plan.shown.and_then(figure),
            test_cycles_for_samples: plan.periods_for_samples.and_then(figure),
            sufficient: is_sufficient(qualification, plan),
            die,
            models: MODELS
                .iter()
                .map(|model| ModelUsed {
                    name: model.name,
                    solder: model.solder,
                    source: model.source,
                    governing_die_acceleration: governing
                        .by_model
                        .iter()
                        .find(|(name, _)| *name == model.name)
                        .and_then(|(_, factor)| figure(*factor)),
                })
                .collect(),
            not_covered: NOT_COVERED.to_vec(),
        }
    }
}

/// Whether the test can prove the life, the parts at hand are enough, and no known life is
/// shorter.
fn is_sufficient(qualification: &Qualification, plan: &Plan) -> bool {
    let enough_parts = match (qualification.samples, plan.parts) {
        (Some(samples), Some(parts)) => {
            samples >= parts.min(plan.parts_with_margin.unwrap_or(parts))
        }
        (Some(_), None) => false,
        (None, _) => true,
    };
    let lives = plan
        .die
        .iter()
        .all(|die| die.life_per_year.is_none_or(|share| share * qualification.life_years <= 1.0));
    plan.test_periods.is_finite() && enough_parts && lives
}
