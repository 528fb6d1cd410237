//! `points.csv`: a row a point, the same columns for every study.

use sprayside_solver::results::Junction;
use sprayside_solver::study::point::{PointJunction, PointOutcome};

use super::Study;
use crate::figures::{celsius, figure};

/// Columns after those that tell the points apart.
const COMMON: [&str; 9] = [
    "verdict",
    "hottest",
    "hottest_C",
    "uncertainty_K",
    "least_margin_K",
    "least_margin_of",
    "least_chf_margin",
    "flow_mL_s",
    "failure",
];

/// The table as CSV.
pub fn points_csv(
    study: &dyn Study,
    junctions: &[Junction],
    outcomes: &[PointOutcome],
) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let mut header = vec!["point".to_owned()];
    header.extend(study.columns());
    header.extend(COMMON.map(str::to_owned));
    for junction in junctions {
        for column in ["max_C", "margin_K", "chf_margin", "wetted_pct"] {
            header.push(format!("{}_{column}", junction.name));
        }
    }
    writer.write_record(&header)?;
    let name = |k: usize| junctions.get(k).map_or(String::new(), |j| j.name.clone());
    for (k, outcome) in outcomes.iter().enumerate() {
        let mut row = vec![(k + 1).to_string()];
        row.extend(study.cells(k));
        match outcome {
            Err(why) => {
                row.push("no solution".to_owned());
                row.extend(std::iter::repeat_n(String::new(), COMMON.len() - 2));
                row.push(why.clone());
                row.extend(std::iter::repeat_n(String::new(), 4 * junctions.len()));
            }
            Ok(solved) => {
                let hottest = solved.hottest();
                let least = solved.least_margin_K();
                let uncertainty =
                    solved.junctions.iter().map(|j| j.uncertainty_K).max_by(f64::total_cmp);
                row.push(verdict(solved.is_broken(), least.is_some()).to_owned());
                row.push(hottest.map_or(String::new(), name));
                row.push(cell(hottest.map(|h| celsius(solved.junctions[h].max_K))));
                row.push(cell(uncertainty));
                row.push(cell(least.map(|l| l.0)));
                row.push(least.map_or(String::new(), |l| name(l.1)));
                row.push(cell(solved.least_chf_margin));
                row.push(cell((solved.flow_m3_s > 0.0).then_some(solved.flow_m3_s * 1e6)));
                row.push(String::new());
                for j in &solved.junctions {
                    row.extend(of_junction(j));
                }
            }
        }
        writer.write_record(&row)?;
    }
    writer.into_inner().map_err(|error| error.into_error().into())
}

fn of_junction(j: &PointJunction) -> [String; 4] {
    [
        cell(Some(celsius(j.max_K))),
        cell(j.margin_K()),
        cell(j.chf_margin),
        cell(j.wetted_share.map(|share| share * 100.0)),
    ]
}

/// The word for a point.
pub fn verdict(broken: bool, has_limits: bool) -> &'static str {
    match (broken, has_limits) {
        (true, _) => "fail",
        (false, true) => "pass",
        (false, false) => "none",
    }
}

/// A number as the other tables have it, whole ones with `.0` too, so that equal numbers are equal
/// bytes; empty where there is none.
pub fn cell(value: Option<f64>) -> String {
    value.and_then(figure).map_or(String::new(), |value| format!("{value:?}"))
}
