//! `summary.json` of `cycle`.

use serde::Serialize;
use sprayside_solver::module::CycleStart;

use super::CAUTION;
use crate::case_file::{CaseFile, NamedFile};
use crate::commands::Cycled;
use crate::figures::figure;
use crate::tables::CycleRow;

/// The source that comes closest to the heat of all.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct HottestOfCycle {
    pub die: String,
    pub highest_C: Option<f64>,
    pub highest_at_s: Option<f64>,
    pub uncertainty_K: Option<f64>,
}

/// Where the heat of a run went.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct Energy {
    pub in_J: Option<f64>,
    pub to_spray_J: Option<f64>,
    pub to_board_J: Option<f64>,
    pub to_edges_J: Option<f64>,
    pub stored_J: Option<f64>,
    pub imbalance_relative: Option<f64>,
}

/// How the state that comes back was found.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct Periodic {
    pub method: &'static str,
    pub periods_run: usize,
    pub first_change_K: Option<f64>,
    pub change_K: Option<f64>,
}

/// The end of a step response.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct StepResponseEnd {
    pub die: String,
    pub final_max_K_W: Option<f64>,
    pub final_mean_K_W: Option<f64>,
    pub doubt_K_W: Option<f64>,
    /// When the mean has reached 63.2 % of its end.
    pub time_constant_s: Option<f64>,
}

/// The summary of a run over time; the fields are the JSON names.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct CycleSummary {
    pub tool_version: &'static str,
    pub command: &'static str,
    pub title: String,
    pub case_sha256: String,
    pub case_files: Vec<NamedFile>,
    pub verdict: &'static str,
    pub hottest: Option<HottestOfCycle>,
    pub period_s: f64,
    pub repeats: usize,
    pub start: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub started_from: Option<String>,
    pub unknowns: usize,
    pub coarse_unknowns: usize,
    pub steady_unknowns: usize,
    pub coarsening: usize,
    pub steps: usize,
    pub steps_given_up: usize,
    pub step_tolerance_K: Option<f64>,
    pub iterations: usize,
    pub time_accuracy_asked_K: Option<f64>,
    pub time_accuracy_reached_K: Option<f64>,
    pub space_error_K: Option<f64>,
    pub energy: Energy,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub periodic: Option<Periodic>,
    pub last_period_change_K: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub chf_margin_least: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ran_away_at_s: Option<f64>,
    pub junctions: Vec<CycleRow>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub step_responses: Vec<StepResponseEnd>,
    pub step_response_unknowns: usize,
    pub warnings: Vec<String>,
    pub caution: &'static str,
    pub wall_seconds: f64,
    pub files: Vec<String>,
}

impl CycleSummary {
    /// The summary of a run; the list of files and the time are filled in when they are known.
    pub fn of(case: &CaseFile, cycled: &Cycled, warnings: Vec<String>) -> CycleSummary {
        let Cycled { cycle, result, rows, .. } = cycled;
        let run = &result.run;
        let worst = |values: &[f64]| figure(values.iter().copied().fold(0.0, f64::max));
        let hottest = rows.iter().max_by(|a, b| {
            a.highest_C.unwrap_or(f64::MIN).total_cmp(&b.highest_C.unwrap_or(f64::MIN))
        });
        let responses = cycled.responses.iter().map(|response| {
            let goal = (1.0 - (-1.0f64).exp()) * response.final_mean_K_W;
            let reached = response.mean_K_W.iter().position(|mean| *mean >= goal);
            StepResponseEnd {
                die: cycled.name(response.source).to_owned(),
                final_max_K_W: figure(response.final_max_K_W),
                final_mean_K_W: figure(response.final_mean_K_W),
                doubt_K_W: figure(response.doubt_K_W),
                time_constant_s: reached.and_then(|k| {
                    let (t1, v1) = (response.time_s[k], response.mean_K_W[k]);
                    let (t0, v0) = match k.checked_sub(1) {
                        Some(k) => (response.time_s[k], response.mean_K_W[k]),
                        None => (0.0, 0.0),
                    };
                    figure(t0 + (t1 - t0) * (goal - v0) / (v1 - v0))
                }),
            }
        });
        CycleSummary {
            tool_version: env!("CARGO_PKG_VERSION"),
            command: "cycle",
            title: case.case.record.title.clone(),
            case_sha256: case.sha256.clone(),
            case_files: case.files.clone(),
            verdict: cycled.verdict().word(),
            hottest: hottest.map(|row| HottestOfCycle {
                die: row.die.clone(),
                highest_C: row.highest_C,
                highest_at_s: row.highest_at_s,
                uncertainty_K: row.uncertainty_K,
            }),
            period_s: cycle.period_s,
            repeats: cycle.repeats,
            start: match cycle.start {
                _ if cycled.from.is_some() => "previous",
                CycleStart::Steady => "steady",
                CycleStart::Uniform(_) => "uniform",
                CycleStart::Periodic => "periodic",
            },
            started_from: cycled.from.map(|path| path.display().to_string()),
            unknowns: result.mesh.unknowns(),
            coarse_unknowns: result.coarse_mesh.unknowns(),
            steady_unknowns: cycled.steady_unknowns,
            coarsening: cycle.coarsening,
            steps: run.plan.len(),
            steps_given_up: run.rejected,
            step_tolerance_K: figure(result.step_tolerance_K),
            iterations: result.iterations,
            time_accuracy_asked_K: figure(cycle.time_accuracy_K),
            time_accuracy_reached_K: worst(&result.time_error_K),
            space_error_K: worst(&result.space_error_K),
            energy: Energy {
                in_J: figure(run.audit.in_J),
                to_spray_J: figure(run.audit.to_spray_J),
                to_board_J: figure(run.audit.to_board_J),
                to_edges_J: figure(run.audit.to_edges_J),
                stored_J: figure(run.audit.stored_J),
                imbalance_relative: figure(run.audit.imbalance_relative()),
            },
            periodic: result.settled.as_ref().map(|settled| Periodic {
                method: "periods run one after another, each ended with a correction of what slow modes still lack",
                periods_run: settled.passes,
                first_change_K: figure(settled.first_change_K),
                change_K: figure(settled.change_K),
            }),
            last_period_change_K: figure(result.last_period_change_K),
            chf_margin_least: run
                .records
                .iter()
                .filter_map(|r| r.chf_margin)
                .min_by(f64::total_cmp)
                .and_then(figure),
            ran_away_at_s: run.ran_away_s.and_then(figure),
            junctions: rows.to_vec(),
            step_responses: responses.collect(),
            step_response_unknowns: cycled.response_unknowns,
            warnings,
            caution: CAUTION,
            wall_seconds: 0.0,
            files: Vec::new(),
        }
    }
}
