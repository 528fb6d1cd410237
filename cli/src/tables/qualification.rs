//! `qualification.csv`: a row a die.

use serde::Serialize;
use sprayside_solver::life::Plan;

use crate::figures::figure;

/// One row; the fields are the columns, in their order.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct QualificationRow {
    pub die: String,
    pub field_swing_K: Option<f64>,
    pub test_swing_K: Option<f64>,
    pub field_cycles: Option<f64>,
    pub acceleration: Option<f64>,
    pub acceleration_lowest_model: Option<f64>,
    pub acceleration_highest_model: Option<f64>,
    pub test_cycles: Option<f64>,
    pub life_used_per_year: Option<f64>,
    pub life_used_by_test: Option<f64>,
}

impl QualificationRow {
    /// The columns.
    pub const HEADER: [&'static str; 10] = [
        "die",
        "field_swing_K",
        "test_swing_K",
        "field_cycles",
        "acceleration",
        "acceleration_lowest_model",
        "acceleration_highest_model",
        "test_cycles",
        "life_used_per_year",
        "life_used_by_test",
    ];

    /// The rows of a plan.
    pub fn all(plan: &Plan) -> Vec<QualificationRow> {
        plan.die
            .iter()
            .map(|die| {
                let factors = || die.by_model.iter().map(|(_, factor)| *factor);
                QualificationRow {
                    die: die.name.clone(),
                    field_swing_K: figure(die.field_swing_K),
                    test_swing_K: figure(die.test_swing_K),
                    field_cycles: figure(die.field_cycles),
                    acceleration: figure(die.acceleration),
                    acceleration_lowest_model: figure(factors().fold(f64::INFINITY, f64::min)),
                    acceleration_highest_model: figure(factors().fold(0.0, f64::max)),
                    test_cycles: figure(die.test_periods),
                    life_used_per_year: die.life_per_year.and_then(figure),
                    life_used_by_test: die.life_of_test.and_then(figure),
                }
            })
            .collect()
    }
}
