//! `summary.json` of a better nozzle pattern.

use serde::Serialize;
use sprayside_solver::module::{ArrangeBounds, Module, Spray};
use sprayside_solver::results::{SteadyResult, Verdict};
use sprayside_solver::study::arrange::{Arranged, Goal, StartRecord};

use super::CAUTION;
use crate::case_file::{CaseFile, NamedFile};
use crate::figures::{celsius, figure};
use crate::tables::{BeforeAfterRow, NozzleRow, TradeOffRow};
use crate::text;

/// The present pattern and the one found.
#[derive(Debug, Clone, Copy)]
pub struct Compared<'a> {
    /// The case.
    pub case: &'a CaseFile,
    /// The present pattern solved.
    pub before: &'a SteadyResult,
    /// The bounds.
    pub bounds: &'a ArrangeBounds,
    /// What was found.
    pub found: &'a Arranged,
}

impl Compared<'_> {
    /// The verdict on the pattern found: burn-out fails it wherever it is.
    pub fn verdict_after(&self) -> Verdict {
        verdict(&self.found.result)
    }

    /// Flow of the present pattern, m³/s.
    pub fn flow_before_m3_s(&self) -> f64 {
        flow_m3_s(&self.case.case.module)
    }

    /// Flow of the pattern found, m³/s.
    pub fn flow_after_m3_s(&self) -> f64 {
        flow_m3_s(&self.found.module)
    }
}

fn verdict(result: &SteadyResult) -> Verdict {
    match &result.spray {
        Some(spray) if !spray.burnt_out.is_empty() => Verdict::Fail,
        _ => result.verdict(),
    }
}

fn flow_m3_s(module: &Module) -> f64 {
    match &module.spray {
        Spray::Correlated(spray) => spray.nozzles.iter().map(|n| n.flow_m3_s * n.flow_factor).sum(),
        Spray::Prescribed(_) => 0.0,
    }
}

/// One pattern in a few numbers.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct PatternSummary {
    pub flow_mL_s: Option<f64>,
    pub hottest: Option<String>,
    pub hottest_C: Option<f64>,
    pub uncertainty_K: Option<f64>,
    pub least_margin_K: Option<f64>,
    pub least_chf_margin: Option<f64>,
    pub verdict: &'static str,
}

impl PatternSummary {
    fn of(result: &SteadyResult, flow_m3_s: f64) -> PatternSummary {
        let hottest = result.hottest().map(|index| &result.junctions[index]);
        let least = |values: &mut dyn Iterator<Item = f64>| values.min_by(f64::total_cmp);
        PatternSummary {
            flow_mL_s: figure(flow_m3_s * 1e6),
            hottest: hottest.map(|junction| junction.name.clone()),
            hottest_C: hottest.and_then(|junction| figure(celsius(junction.max_K))),
            uncertainty_K: hottest.and_then(|junction| figure(junction.uncertainty_K)),
            least_margin_K: least(&mut result.junctions.iter().filter_map(|j| j.margin_K()))
                .and_then(figure),
            least_chf_margin: least(&mut result.junctions.iter().filter_map(|j| j.chf_margin))
                .and_then(figure),
            verdict: verdict(result).word(),
        }
    }
}

/// Where a search began and ended, on the study's mesh.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct StartSummary {
    pub start: String,
    /// Hottest rise above the inlet (K), least CHF margin, or flow (mL/s).
    pub goal_at_start: Option<f64>,
    pub goal_at_end: Option<f64>,
    pub conditions_kept: bool,
}

impl StartSummary {
    fn of(goal: Goal, record: &StartRecord) -> StartSummary {
        let unit = if goal == Goal::Liquid { 1e6 } else { 1.0 };
        let value = |k: usize| record.goal.and_then(|goal| figure(unit * goal[k]));
        StartSummary {
            start: record.name.clone(),
            goal_at_start: value(0),
            goal_at_end: value(1),
            conditions_kept: record.kept,
        }
    }
}

/// The bounds that were kept to.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct BoundsSummary {
    pub region_mm: [Option<f64>; 4],
    pub keep_outs: usize,
    pub least_spacing_mm: Option<f64>,
    pub standoff_mm: Option<[f64; 2]>,
    pub flow_factor: Option<[f64; 2]>,
    pub total_flow_mL_s: Option<f64>,
    pub least_chf_margin: Option<f64>,
    pub least_limit_margin_K: Option<f64>,
}

/// The whole summary; the fields are the JSON names.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct ArrangeSummary {
    pub tool_version: &'static str,
    pub command: &'static str,
    pub title: String,
    pub case_sha256: String,
    pub case_files: Vec<NamedFile>,
    pub verdict: &'static str,
    pub wall_seconds: f64,
    pub goal: &'static str,
    pub improved: bool,
    pub conditions_hold: bool,
    pub before: PatternSummary,
    pub after: PatternSummary,
    pub bounds: BoundsSummary,
    pub bounds_broken_before: Vec<String>,
    pub nozzles: Vec<NozzleRow>,
    pub junctions: Vec<BeforeAfterRow>,
    pub trade_off: Vec<TradeOffRow>,
    pub starts: Vec<StartSummary>,
    pub study_unknowns: usize,
    pub study_solves: usize,
    pub study_gradients: usize,
    pub full_solves: usize,
    pub warnings: Vec<String>,
    pub caution: &'static str,
    pub files: Vec<String>,
}

impl ArrangeSummary {
    /// The summary of a study; files and time are filled in when they are known.
    pub fn of(compared: &Compared) -> ArrangeSummary {
        let Compared { case, before, bounds, found } = compared;
        let r = &bounds.region;
        let mut warnings: Vec<String> = case.case.warnings.iter().map(text::warning_line).collect();
        warnings.extend(found.result.warnings.iter().cloned());
        ArrangeSummary {
            tool_version: env!("CARGO_PKG_VERSION"),
            command: "arrange",
            title: case.case.record.title.clone(),
            case_sha256: case.sha256.clone(),
            case_files: case.files.clone(),
            verdict: compared.verdict_after().word(),
            wall_seconds: 0.0,
            goal: match found.goal {
                Goal::Hottest => "hottest",
                Goal::Margin => "margin",
                Goal::Liquid => "liquid",
            },
            improved: found.improved,
            conditions_hold: found.conditions_hold,
            before: PatternSummary::of(before, compared.flow_before_m3_s()),
            after: PatternSummary::of(&found.result, compared.flow_after_m3_s()),
            bounds: BoundsSummary {
                region_mm: [r.x0_m, r.y0_m, r.width_m(), r.height_m()].map(|m| figure(m * 1e3)),
                keep_outs: bounds.keep_out.len(),
                least_spacing_mm: figure(found.spacing_m * 1e3),
                standoff_mm: bounds
                    .standoff_m
                    .map(|range| range.map(|m| figure(m * 1e3).unwrap_or(0.0))),
                flow_factor: bounds.flow_factor,
                total_flow_mL_s: figure(found.budget_m3_s * 1e6),
                least_chf_margin: figure(found.least_chf_margin),
                least_limit_margin_K: figure(bounds.least_limit_margin_K),
            },
            bounds_broken_before: found.broken_before.clone(),
            nozzles: NozzleRow::all(&case.case.module, &found.module),
            junctions: BeforeAfterRow::all(before, &found.result),
            trade_off: found.trade_off.iter().map(TradeOffRow::of).collect(),
            starts: found.starts.iter().map(|s| StartSummary::of(found.goal, s)).collect(),
            study_unknowns: found.unknowns,
            study_solves: found.effort.solves,
            study_gradients: found.effort.gradients,
            full_solves: found.full_solves,
            warnings,
            caution: CAUTION,
            files: Vec::new(),
        }
    }
}
