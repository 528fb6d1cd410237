//! The tables of `arrange`: nozzles and junctions before and after, liquid against margin.

use serde::Serialize;
use sprayside_solver::module::{Module, Nozzle, Spray};
use sprayside_solver::results::{Junction, SteadyResult};
use sprayside_solver::study::arrange::TradePoint;

use crate::figures::{celsius, figure};

/// One nozzle before and after.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct NozzleRow {
    pub nozzle: String,
    #[serde(rename = "type")]
    pub type_name: String,
    pub x_before_mm: Option<f64>,
    pub y_before_mm: Option<f64>,
    pub standoff_before_mm: Option<f64>,
    pub flow_before_mL_s: Option<f64>,
    pub x_mm: Option<f64>,
    pub y_mm: Option<f64>,
    pub standoff_mm: Option<f64>,
    pub flow_mL_s: Option<f64>,
    pub moved_mm: Option<f64>,
}

impl NozzleRow {
    /// The columns.
    pub const HEADER: [&'static str; 11] = [
        "nozzle",
        "type",
        "x_before_mm",
        "y_before_mm",
        "standoff_before_mm",
        "flow_before_mL_s",
        "x_mm",
        "y_mm",
        "standoff_mm",
        "flow_mL_s",
        "moved_mm",
    ];

    /// A row a nozzle.
    pub fn all(before: &Module, after: &Module) -> Vec<NozzleRow> {
        let pairs = nozzles_of(before).iter().zip(nozzles_of(after));
        pairs.map(|(before, after)| NozzleRow::of(before, after)).collect()
    }

    fn of(before: &Nozzle, after: &Nozzle) -> NozzleRow {
        let mm = |m: f64| figure(m * 1e3);
        let flow = |n: &Nozzle| figure(n.flow_m3_s * n.flow_factor * 1e6);
        let by = [0, 1].map(|k| after.at_m[k] - before.at_m[k]);
        NozzleRow {
            nozzle: after.name.clone(),
            type_name: after.type_name.clone(),
            x_before_mm: mm(before.at_m[0]),
            y_before_mm: mm(before.at_m[1]),
            standoff_before_mm: mm(before.standoff_m),
            flow_before_mL_s: flow(before),
            x_mm: mm(after.at_m[0]),
            y_mm: mm(after.at_m[1]),
            standoff_mm: mm(after.standoff_m),
            flow_mL_s: flow(after),
            moved_mm: mm(by[0].hypot(by[1])),
        }
    }
}

fn nozzles_of(module: &Module) -> &[Nozzle] {
    match &module.spray {
        Spray::Correlated(spray) => &spray.nozzles,
        Spray::Prescribed(_) => &[],
    }
}

/// One junction before and after.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct BeforeAfterRow {
    pub die: String,
    pub junction_max_before_C: Option<f64>,
    pub junction_max_C: Option<f64>,
    pub change_K: Option<f64>,
    pub uncertainty_K: Option<f64>,
    pub limit_C: Option<f64>,
    pub margin_before_K: Option<f64>,
    pub margin_K: Option<f64>,
    pub chf_margin_before: Option<f64>,
    pub chf_margin: Option<f64>,
    pub wetted_before_pct: Option<f64>,
    pub wetted_pct: Option<f64>,
    pub verdict_before: &'static str,
    pub verdict: &'static str,
}

impl BeforeAfterRow {
    /// The columns.
    pub const HEADER: [&'static str; 14] = [
        "die",
        "junction_max_before_C",
        "junction_max_C",
        "change_K",
        "uncertainty_K",
        "limit_C",
        "margin_before_K",
        "margin_K",
        "chf_margin_before",
        "chf_margin",
        "wetted_before_pct",
        "wetted_pct",
        "verdict_before",
        "verdict",
    ];

    /// A row a junction.
    pub fn all(before: &SteadyResult, after: &SteadyResult) -> Vec<BeforeAfterRow> {
        let pairs = before.junctions.iter().zip(&after.junctions);
        pairs.map(|(before, after)| BeforeAfterRow::of(before, after)).collect()
    }

    fn of(before: &Junction, after: &Junction) -> BeforeAfterRow {
        let percent = |share: Option<f64>| share.and_then(|s| figure(1e2 * s));
        BeforeAfterRow {
            die: after.name.clone(),
            junction_max_before_C: figure(celsius(before.max_K)),
            junction_max_C: figure(celsius(after.max_K)),
            change_K: figure(after.max_K - before.max_K),
            uncertainty_K: figure(after.uncertainty_K),
            limit_C: after.limit_K.and_then(|limit| figure(celsius(limit))),
            margin_before_K: before.margin_K().and_then(figure),
            margin_K: after.margin_K().and_then(figure),
            chf_margin_before: before.chf_margin.and_then(figure),
            chf_margin: after.chf_margin.and_then(figure),
            wetted_before_pct: percent(before.wetted_share),
            wetted_pct: percent(after.wetted_share),
            verdict_before: before.verdict().word(),
            verdict: after.verdict().word(),
        }
    }
}

/// One amount of liquid and what it gives.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct TradeOffRow {
    pub flow_mL_s: Option<f64>,
    pub hottest_C: Option<f64>,
    pub least_margin_K: Option<f64>,
    pub least_chf_margin: Option<f64>,
}

impl TradeOffRow {
    /// The columns.
    pub const HEADER: [&'static str; 4] =
        ["flow_mL_s", "hottest_C", "least_margin_K", "least_chf_margin"];

    /// The row of one point.
    pub fn of(point: &TradePoint) -> TradeOffRow {
        TradeOffRow {
            flow_mL_s: figure(point.flow_m3_s * 1e6),
            hottest_C: figure(celsius(point.hottest_K)),
            least_margin_K: point.least_limit_margin_K.and_then(figure),
            least_chf_margin: point.least_chf_margin.and_then(figure),
        }
    }
}
