//! What a check is: a value from outside, how far it may be trusted, and where it comes from;
//! and what came of it.

use serde::Serialize;

use crate::sources::Source;

/// What stands behind an expected value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Kind {
    /// A closed form or series, computed in this crate without the solver.
    Analytic,
    /// A number printed in a book, paper or standard.
    Published,
    /// The answer of a general-purpose library.
    OtherCode,
}

impl Kind {
    /// The word in the table.
    pub fn word(self) -> &'static str {
        match self {
            Kind::Analytic => "analytic",
            Kind::Published => "published",
            Kind::OtherCode => "other code",
        }
    }
}

/// An expected value.
#[derive(Debug, Clone)]
pub struct Check {
    /// The case, in a few words.
    pub case: String,
    /// The quantity, in a few words.
    pub what: String,
    /// Expected value.
    pub expect: f64,
    /// How far `expect` itself may be off: rounding in print, truncation of a series, the other
    /// library's own discretisation. Stated before the run.
    pub within: f64,
    /// Unit of all values.
    pub unit: &'static str,
    /// What stands behind it.
    pub kind: Kind,
    /// Where it comes from.
    pub source: &'static Source,
    /// Where in the source (table, equation, example, page), or what the library did.
    pub place: String,
}

/// A check with the solver's answer.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// What was expected.
    pub check: Check,
    /// The solver's value.
    pub computed: f64,
    /// The solver's own estimate of its numerical error.
    pub uncertainty: f64,
}

impl Outcome {
    /// `computed - expect`.
    pub fn difference(&self) -> f64 {
        self.computed - self.check.expect
    }

    /// Whether the difference is explained by the source's accuracy and the solver's uncertainty:
    ///
    /// ```text
    /// |computed - expect| <= within + uncertainty
    /// ```
    ///
    /// False whenever a number is not finite.
    pub fn holds(&self) -> bool {
        self.difference().abs() <= self.check.within + self.uncertainty
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sources;

    fn outcome(expect: f64, within: f64, computed: f64, uncertainty: f64) -> Outcome {
        Outcome {
            check: Check {
                case: String::new(),
                what: String::new(),
                expect,
                within,
                unit: "K",
                kind: Kind::Analytic,
                source: &sources::SERIES_RESISTANCES,
                place: String::new(),
            },
            computed,
            uncertainty,
        }
    }

    #[test]
    fn a_difference_inside_both_allowances_holds() {
        assert!(outcome(10.0, 0.1, 10.25, 0.2).holds());
    }

    #[test]
    fn a_difference_outside_both_allowances_does_not_hold() {
        assert!(!outcome(10.0, 0.1, 10.35, 0.2).holds());
        assert!(!outcome(10.0, 0.1, 9.65, 0.2).holds());
    }

    #[test]
    fn a_value_that_is_not_a_number_does_not_hold() {
        assert!(!outcome(10.0, 0.1, f64::NAN, 0.2).holds());
        assert!(!outcome(10.0, 0.1, 10.0, f64::NAN).holds());
    }
}
