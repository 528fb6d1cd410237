//! Cycle counting, acceleration factors, sample sizes and the comparison with readings against the
//! standard, the published examples and a general-purpose library.

use serde::Deserialize;
use sprayside_solver::life::{FatigueModel, Swing, rainflow, samples};
use sprayside_solver::study::fit::Verdict20;

use crate::check::{Check, Kind, Outcome};
use crate::sources::{
    DEMONSTRATION_TABLE, E1049, NORRIS_LANDZBERG, RAINFLOW, SUCCESS_RUN, Source, V_V_20, YANG,
};

#[derive(Debug, Deserialize)]
struct Reference {
    library: String,
    histories: Vec<Counted>,
}

#[derive(Debug, Deserialize)]
struct Counted {
    history: Vec<f64>,
    counts: Vec<[f64; 2]>,
}

fn outcome(
    case: &str,
    what: String,
    [expect, within]: [f64; 2],
    unit: &'static str,
    (kind, source, place): (Kind, &'static Source, &str),
    computed: f64,
) -> Outcome {
    Outcome {
        check: Check {
            case: case.to_owned(),
            what,
            expect,
            within,
            unit,
            kind,
            source,
            place: place.to_owned(),
        },
        computed,
        uncertainty: 0.0,
    }
}

/// Counts by range, ranges rounded to a millionth.
fn counts(history: &[f64]) -> Vec<[f64; 2]> {
    let mut counts: Vec<[f64; 2]> = Vec::new();
    for cycle in rainflow(history) {
        let range = (cycle.range() * 1e6).round() / 1e6;
        match counts.iter_mut().find(|entry| entry[0] == range) {
            Some(entry) => entry[1] += cycle.count,
            None => counts.push([range, cycle.count]),
        }
    }
    counts.sort_by(|a, b| a[0].total_cmp(&b[0]));
    counts
}

/// How many of two lists of counts differ.
fn differing(ours: &[[f64; 2]], theirs: &[[f64; 2]]) -> usize {
    let same = |a: &[f64; 2], b: &[f64; 2]| (a[0] - b[0]).abs() < 2e-6 && a[1] == b[1];
    let missing = |from: &[[f64; 2]], to: &[[f64; 2]]| {
        from.iter().filter(|a| !to.iter().any(|b| same(a, b))).count()
    };
    missing(ours, theirs) + missing(theirs, ours)
}

/// The checks.
///
/// # Panics
/// If the committed reference file is not what its script writes, or a model is gone.
pub fn checks() -> Vec<Outcome> {
    let mut outcomes = Vec::new();
    let example = counts(&[-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0]);
    let count_of =
        |range: f64| example.iter().find(|entry| entry[0] == range).map_or(0.0, |entry| entry[1]);
    let figure = (Kind::Published, &E1049, "5.4.4, example of figure 6");
    for (range, count) in
        [(3.0, 0.5), (4.0, 1.5), (5.0, 0.0), (6.0, 0.5), (7.0, 0.0), (8.0, 1.0), (9.0, 0.5)]
    {
        let what = format!("cycles of range {range}");
        outcomes.push(outcome("rainflow", what, [count, 0.0], "", figure, count_of(range)));
    }
    let reference: Reference =
        serde_json::from_str(include_str!("../reference/rainflow_counts.json"))
            .expect("committed JSON");
    let differ: usize = reference
        .histories
        .iter()
        .map(|counted| differing(&counts(&counted.history), &counted.counts))
        .sum();
    let ranges: usize = reference.histories.iter().map(|counted| counted.counts.len()).sum();
    outcomes.push(outcome(
        "rainflow",
        format!(
            "counts that differ among {ranges} ranges of {} random histories",
            reference.histories.len()
        ),
        [0.0, 0.0],
        "",
        (Kind::OtherCode, &RAINFLOW, &reference.library),
        differ as f64,
    ));
    outcomes.extend(acceleration());
    for (reliability, confidence, failures, parts, (source, place)) in [
        (0.90, 0.95, 0, 29, (&DEMONSTRATION_TABLE, "row 1")),
        (0.95, 0.95, 0, 59, (&DEMONSTRATION_TABLE, "row 2")),
        (0.90, 0.95, 1, 46, (&DEMONSTRATION_TABLE, "row 3")),
        (0.99, 0.90, 0, 230, (&DEMONSTRATION_TABLE, "row 4")),
        (0.90, 0.90, 0, 22, (&SUCCESS_RUN, "ln(1 - C) / ln R = 21.85")),
        (0.95, 0.90, 0, 45, (&SUCCESS_RUN, "ln(1 - C) / ln R = 44.89")),
    ] {
        outcomes.push(outcome(
            "sample size",
            format!("R {reliability}, C {confidence}, at most {failures} failed"),
            [f64::from(parts), 0.0],
            "parts",
            (Kind::Published, source, place),
            samples::parts(reliability, confidence, failures).map_or(f64::NAN, |n| n as f64),
        ));
    }
    let verdict = Verdict20 { error_K: 3.3, numerical_K: 0.6, input_K: 1.8, measured_K: 1.1 };
    outcomes.push(outcome(
        "validation comparison",
        "u_val of 0.6, 1.8 and 1.1 K".to_owned(),
        [4.81f64.sqrt(), 1e-12],
        "K",
        (Kind::Analytic, &V_V_20, "root of the sum of squares"),
        verdict.validation_K(),
    ));
    outcomes
}

/// Cycles from -55 to 125 °C against cycles of 50 K to the same temperature; and the exponents
/// beside those that a text book finds in twelve tests of chip-scale packages.
fn acceleration() -> Vec<Outcome> {
    let model = FatigueModel::named("norris-landzberg").expect("a model");
    let swing = |low_C: f64, high_C: f64, cycles_per_day: f64| Swing {
        low_K: low_C + 273.15,
        high_K: high_C + 273.15,
        cycles_per_day,
        dwell_min: 10.0,
    };
    let by_swing = model.acceleration(&swing(-55.0, 125.0, 1.0), &swing(75.0, 125.0, 1.0));
    // Slower cycles do more harm each: so many fast ones one slow one stands for.
    let by_frequency = model.acceleration(&swing(25.0, 75.0, 1.0), &swing(25.0, 75.0, 48.0));
    let forum =
        "worked answer of a semiconductor maker's public support forum on eutectic tin-lead";
    let book = "example 7.2, regression of twelve tests; their scatter is the allowance";
    let case = "acceleration factor";
    vec![
        outcome(
            case,
            "swing, 180 K against 50 K".to_owned(),
            [11.4, 0.05],
            "",
            (Kind::Published, &NORRIS_LANDZBERG, forum),
            by_swing,
        ),
        outcome(
            case,
            "exponent of the swing".to_owned(),
            [2.0635, 0.2],
            "",
            (Kind::Published, &YANG, book),
            by_swing.ln() / 3.6f64.ln(),
        ),
        outcome(
            case,
            "exponent of the frequency".to_owned(),
            [0.3452, 0.03],
            "",
            (Kind::Published, &YANG, book),
            by_frequency.ln() / 48f64.ln(),
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_check_holds() {
        for outcome in checks() {
            assert!(
                outcome.holds(),
                "{} {}: {} is not {}",
                outcome.check.case,
                outcome.check.what,
                outcome.computed,
                outcome.check.expect
            );
        }
    }

    /// A test that cannot fail proves nothing.
    #[test]
    fn a_wrong_count_would_be_seen() {
        let right = counts(&[0.0, 5.0, 1.0, 6.0]);
        let mut wrong = right.clone();
        wrong[0][1] += 0.5;
        assert_eq!(differing(&right, &right), 0);
        assert!(differing(&right, &wrong) > 0);
    }
}
