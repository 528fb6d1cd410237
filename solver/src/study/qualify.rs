//! The plan of a test from the temperatures of a solve.

use crate::life::{FieldPart, Plan, PlanInput, Swing, TestProfile, plan, rainflow_of_period};
use crate::module::{Profile, Qualification};
use crate::results::Junction;

/// Minutes of a day and days of a year.
const DAY_MIN: f64 = 1440.0;
const YEAR_DAYS: f64 = 365.25;

/// Plans the test that `qualification` asks for; the hot end of a swing without one of its own is
/// each junction's highest temperature.
///
/// # Panics
/// Without a junction.
pub fn qualify(qualification: &Qualification, junctions: &[Junction]) -> Plan {
    let die = junctions
        .iter()
        .map(|junction| {
            let field = qualification
                .field
                .iter()
                .map(|part| FieldPart {
                    name: part.name.clone(),
                    per_year: part.per_year,
                    cycles: cycles(
                        &part.profile,
                        junction,
                        part.per_year / YEAR_DAYS,
                        part.dwell_min,
                    ),
                })
                .collect();
            let test = &qualification.test;
            let per_day = DAY_MIN / test.cycle_min;
            let test =
                TestProfile { cycles: cycles(&test.profile, junction, per_day, test.dwell_min) };
            (junction.name.clone(), field, test)
        })
        .collect();
    plan(&PlanInput {
        die,
        model: qualification.model,
        life_years: qualification.life_years,
        margin: qualification.margin,
        period_min: qualification.test.cycle_min,
        reliability: qualification.reliability,
        confidence: qualification.confidence,
        failures: qualification.failures,
        weibull_slope: qualification.weibull_slope,
        samples: qualification.samples,
        reference: qualification.known_life,
    })
}

/// Cycles of one repetition as one junction sees it, with their counts. A history repeats, so that
/// every cycle in it closes; each takes the frequency of the repetition.
fn cycles(
    profile: &Profile,
    junction: &Junction,
    cycles_per_day: f64,
    dwell_min: f64,
) -> Vec<(Swing, f64)> {
    let swing = |low_K: f64, high_K: f64| Swing { low_K, high_K, cycles_per_day, dwell_min };
    match profile {
        Profile::Swing { low_K, high_K } => {
            vec![(swing(*low_K, high_K.unwrap_or(junction.max_K)), 1.0)]
        }
        Profile::History(history) => history
            .sources
            .iter()
            .find(|(name, _)| *name == junction.name)
            .map(|(_, temperatures_K)| {
                rainflow_of_period(temperatures_K)
                    .into_iter()
                    .map(|cycle| (swing(cycle.low, cycle.high), cycle.count))
                    .collect()
            })
            .unwrap_or_default(),
    }
}
