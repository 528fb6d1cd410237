//! How a part is used in the field and tested in the laboratory.

use crate::life::{FatigueModel, Reference};

/// Temperatures of every source over one period.
#[derive(Debug, Clone, PartialEq)]
pub struct History {
    /// Name of the source and its temperatures in order of time, K.
    pub sources: Vec<(String, Vec<f64>)>,
}

/// Temperatures of one repetition.
#[derive(Debug, Clone, PartialEq)]
pub enum Profile {
    /// From low to high and back.
    Swing {
        /// Lowest temperature of every source, K.
        low_K: f64,
        /// Highest, K; that of each junction at the powers of the case unless stated.
        high_K: Option<f64>,
    },
    /// As recorded or computed.
    History(History),
}

/// One kind of use in the field.
#[derive(Debug, Clone, PartialEq)]
pub struct FieldUse {
    /// Name, for people.
    pub name: String,
    /// Repetitions a year.
    pub per_year: f64,
    /// Temperatures.
    pub profile: Profile,
    /// Dwell at the hot end, min.
    pub dwell_min: f64,
}

/// The test.
#[derive(Debug, Clone, PartialEq)]
pub struct TestUse {
    /// Temperatures.
    pub profile: Profile,
    /// Length of one period, min.
    pub cycle_min: f64,
    /// Dwell at the hot end, min.
    pub dwell_min: f64,
}

/// What is to be proved by which test.
#[derive(Debug, Clone, PartialEq)]
pub struct Qualification {
    /// Model of fatigue.
    pub model: &'static FatigueModel,
    /// Life in the field, years.
    pub life_years: f64,
    /// Damage of the test over damage of the field.
    pub margin: f64,
    /// Reliability to show.
    pub reliability: f64,
    /// At this confidence.
    pub confidence: f64,
    /// Failures that the test may have.
    pub failures: u64,
    /// Slope of a Weibull law of wear-out, where it is known.
    pub weibull_slope: Option<f64>,
    /// Parts at hand.
    pub samples: Option<u64>,
    /// Uses in the field.
    pub field: Vec<FieldUse>,
    /// The test.
    pub test: TestUse,
    /// What the joints are known to endure.
    pub known_life: Option<Reference>,
}
