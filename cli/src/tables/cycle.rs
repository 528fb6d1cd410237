//! `history.csv`, `cycle_summary.csv` and `step_response.csv`.

use serde::Serialize;
use sprayside_solver::module::{Cycle, Module};
use sprayside_solver::results::Verdict;
use sprayside_solver::transient::{TransientResult, source_outcomes};

use crate::commands::Cycled;
use crate::figures::{celsius, figure};

/// One row of `cycle_summary.csv`; the fields are the columns, in their order.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct CycleRow {
    pub die: String,
    pub r#type: String,
    pub power_max_W: Option<f64>,
    pub power_mean_W: Option<f64>,
    pub highest_C: Option<f64>,
    pub highest_at_s: Option<f64>,
    pub lowest_C: Option<f64>,
    pub swing_K: Option<f64>,
    pub uncertainty_K: Option<f64>,
    pub time_error_K: Option<f64>,
    pub space_error_K: Option<f64>,
    pub dwell_above_C: Option<f64>,
    pub dwell_s: Option<f64>,
    pub fastest_rise_K_s: Option<f64>,
    pub fastest_fall_K_s: Option<f64>,
    pub limit_C: Option<f64>,
    pub margin_K: Option<f64>,
    pub verdict: &'static str,
}

impl CycleRow {
    /// The columns.
    pub const HEADER: [&'static str; 18] = [
        "die",
        "type",
        "power_max_W",
        "power_mean_W",
        "highest_C",
        "highest_at_s",
        "lowest_C",
        "swing_K",
        "uncertainty_K",
        "time_error_K",
        "space_error_K",
        "dwell_above_C",
        "dwell_s",
        "fastest_rise_K_s",
        "fastest_fall_K_s",
        "limit_C",
        "margin_K",
        "verdict",
    ];

    /// A row a source: die in case order, then heaters.
    pub fn all(module: &Module, cycle: &Cycle, result: &TransientResult) -> Vec<CycleRow> {
        let die = module.die.iter().map(|d| (&d.name, d.type_name.as_str(), d.limit_K));
        let heaters = module.heaters.iter().map(|h| (&h.name, "heater", h.limit_K));
        let parts: Vec<_> = die.chain(heaters).collect();
        let thresholds: Vec<Option<f64>> =
            parts.iter().map(|(_, _, limit)| cycle.dwell_above_K.or(*limit)).collect();
        let records = &result.run.records;
        let outcomes = source_outcomes(records, cycle.period_s, &thresholds, cycle.ramp_window_s);
        parts
            .iter()
            .zip(&outcomes)
            .enumerate()
            .map(|(s, ((name, type_name, limit_K), of))| {
                let uncertainty_K = result.uncertainty_K(s);
                let margin_K = limit_K.map(|limit| limit - of.highest_K - uncertainty_K);
                CycleRow {
                    die: (*name).clone(),
                    r#type: (*type_name).to_owned(),
                    power_max_W: figure(cycle.power_W[s].range()[1]),
                    power_mean_W: figure(cycle.power_W[s].mean()),
                    highest_C: figure(celsius(of.highest_K)),
                    highest_at_s: figure(of.highest_at_s),
                    lowest_C: figure(celsius(of.lowest_K)),
                    swing_K: figure(of.swing_K),
                    uncertainty_K: figure(uncertainty_K),
                    time_error_K: figure(result.time_error_K[s]),
                    space_error_K: figure(result.space_error_K[s]),
                    dwell_above_C: thresholds[s].and_then(|t| figure(celsius(t))),
                    dwell_s: of.dwell_s.and_then(figure),
                    fastest_rise_K_s: figure(of.fastest_rise_K_s),
                    fastest_fall_K_s: figure(of.fastest_fall_K_s),
                    limit_C: limit_K.and_then(|limit| figure(celsius(limit))),
                    margin_K: margin_K.and_then(figure),
                    verdict: match margin_K {
                        None => Verdict::None.word(),
                        Some(margin) if margin >= 0.0 => Verdict::Pass.word(),
                        Some(_) => Verdict::Fail.word(),
                    },
                }
            })
            .collect()
    }
}

fn cell(value: f64) -> String {
    figure(value).map_or(String::new(), |value| value.to_string())
}

/// `history.csv`: a row a time, two columns a source, one a sensor. At a jump there are two rows of the same
/// time, of its two sides.
pub fn history_csv(cycled: &Cycled) -> Result<Vec<u8>, csv::Error> {
    let records = &cycled.result.run.records;
    let with_margin = records.iter().any(|r| r.chf_margin.is_some());
    let mut writer = csv::Writer::from_writer(Vec::new());
    let mut head: Vec<String> =
        ["time_s", "power_W", "inlet_C", "coolant_factor"].map(str::to_owned).into();
    if with_margin {
        head.push("chf_margin".to_owned());
    }
    for source in 0..cycled.rows.len() {
        head.push(format!("{} junction_max_C", cycled.name(source)));
        head.push(format!("{} junction_mean_C", cycled.name(source)));
    }
    head.extend(cycled.sensors.iter().map(|sensor| format!("{} sensor_C", sensor.name)));
    writer.write_record(&head)?;
    for record in records {
        let mut row = vec![
            cell(record.time_s),
            cell(record.power_W),
            cell(celsius(record.inlet_K)),
            cell(record.coolant_factor),
        ];
        if with_margin {
            row.push(record.chf_margin.map_or(String::new(), cell));
        }
        for (max_K, mean_K) in record.max_K.iter().zip(&record.mean_K) {
            row.push(cell(celsius(*max_K)));
            row.push(cell(celsius(*mean_K)));
        }
        row.extend(record.sensor_K.iter().map(|sensor_K| cell(celsius(*sensor_K))));
        writer.write_record(&row)?;
    }
    writer.into_inner().map_err(|error| error.into_error().into())
}

/// `step_response.csv`: a row a time, two columns a source; cells before the start
/// and after the end of a curve are empty.
pub fn step_response_csv(cycled: &Cycled) -> Result<Vec<u8>, csv::Error> {
    let responses = cycled.responses;
    let mut writer = csv::Writer::from_writer(Vec::new());
    let mut head = vec!["time_s".to_owned()];
    for response in responses {
        head.push(format!("{} max_K_W", cycled.name(response.source)));
        head.push(format!("{} mean_K_W", cycled.name(response.source)));
    }
    writer.write_record(&head)?;
    // The times are those of one scale; curves begin and end at different ones.
    let mut times: Vec<f64> = responses.iter().flat_map(|r| r.time_s.iter().copied()).collect();
    times.sort_by(f64::total_cmp);
    times.dedup();
    for time_s in times {
        let mut row = vec![cell(time_s)];
        for response in responses {
            let at = response.time_s.iter().position(|t| *t == time_s);
            for curve in [&response.max_K_W, &response.mean_K_W] {
                row.push(at.map_or(String::new(), |k| cell(curve[k])));
            }
        }
        writer.write_record(&row)?;
    }
    writer.into_inner().map_err(|error| error.into_error().into())
}
