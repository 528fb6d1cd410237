//! `summary.json`: everything a script may ask.

mod arrange;
mod command_summary;
mod contact_field;
mod coverage;
mod cycle;
mod fit;
mod qualification;
mod reservations;
mod spray;
mod study;

pub use arrange::{ArrangeSummary, Compared, PatternSummary};
pub use command_summary::CommandSummary;
pub use contact_field::{ContactField, PLATE_NOTE};
pub use coverage::{CoverageSummary, coverage_rows};
pub use cycle::CycleSummary;
pub use fit::FitSummary;
pub use qualification::QualificationSummary;
pub use reservations::{LOW_CHF_MARGIN, Reservation, margin_in_words, reservations};
pub use spray::{Budget, BurntOutPlace, Correlation};
pub use study::{Gains, Resistances};

use serde::Serialize;
use sprayside_solver::case::MaterialRecord;
use sprayside_solver::module::Spray;
use sprayside_solver::results::{SensorReading, SteadyResult, Verdict};
use sprayside_solver::seating::Seating;
use sprayside_solver::steady::GridSolution;

use crate::case_file::{CaseFile, NamedFile};
use crate::figures::{celsius, figure};
use crate::survey::Survey;
use crate::tables::{CoverageRow, DryPatchRow, JunctionRow, SensorRow};

/// Said with every result.
pub const CAUTION: &str = "An engineering estimate from the inputs stated. It replaces neither \
tests on hardware nor the judgement of a licensed engineer; before power, pressure or coolant is \
applied, follow the fluid's safety data sheet and the rules for pressurised and hot equipment.";

/// The hottest source.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct Hottest {
    pub die: String,
    pub junction_max_C: Option<f64>,
    pub uncertainty_K: Option<f64>,
}

/// One grid of the refinement.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct Level {
    pub unknowns: usize,
    pub cells: [usize; 2],
    pub sheets: usize,
    pub iterations: usize,
    pub hottest_C: Option<f64>,
    pub uncertainty_K: Option<f64>,
}

/// Where a material's values come from.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct MaterialUsed {
    pub name: String,
    pub conductivity_W_mK: [f64; 3],
    pub source: String,
}

/// Everything that is known of a solved case.
#[derive(Debug)]
pub struct Solved<'a> {
    /// The case.
    pub case: &'a CaseFile,
    /// The solution.
    pub result: &'a SteadyResult,
    /// The solution on the last grid.
    pub solution: &'a GridSolution,
    /// Its spray, where there are nozzles.
    pub survey: Option<&'a Survey>,
    /// Its contact field, where there is one.
    pub seating: Option<&'a Seating>,
    /// What its sensors should read.
    pub readings: &'a [SensorReading],
    /// The same as rows.
    pub sensors: &'a [SensorRow],
}

impl Solved<'_> {
    /// The verdict on the whole module: burn-out fails it wherever it is.
    pub fn verdict(&self) -> Verdict {
        match &self.result.spray {
            Some(spray) if !spray.burnt_out.is_empty() => Verdict::Fail,
            _ => self.result.verdict(),
        }
    }
}

/// The summary of one solve; the fields are the JSON names. `coverage` and `dry_patches` are
/// there after `coverage`, `resistance` and `sensitivity` after those, `study` after a study
/// of many points.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct Summary {
    pub tool_version: &'static str,
    pub command: &'static str,
    pub title: String,
    pub case_sha256: String,
    pub case_files: Vec<NamedFile>,
    pub unknowns: usize,
    pub iterations: usize,
    pub outer_iterations: usize,
    pub residual_relative: Option<f64>,
    pub heat_in_W: Option<f64>,
    pub heat_to_spray_W: Option<f64>,
    pub heat_to_board_W: Option<f64>,
    pub heat_to_edges_W: Option<f64>,
    pub imbalance_relative: Option<f64>,
    pub hottest: Option<Hottest>,
    pub verdict: &'static str,
    pub reservations: Vec<Reservation>,
    pub wall_seconds: f64,
    /// Until the solution was there; the rest is tables, pictures, the report and writing them.
    pub solve_seconds: f64,
    pub junctions: Vec<JunctionRow>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub sensors: Vec<SensorRow>,
    pub accuracy_asked_K: Option<f64>,
    pub accuracy_reached_K: Option<f64>,
    pub refinement: Vec<Level>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub liquid_budget: Option<Budget>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub correlations: Option<Vec<Correlation>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub burnt_out: Option<Vec<BurntOutPlace>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub coverage: Option<Vec<CoverageRow>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dry_patches: Option<Vec<DryPatchRow>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub contact_field: Option<ContactField>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub resistance: Option<Resistances>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sensitivity: Option<Gains>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fit: Option<FitSummary>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub qualification: Option<QualificationSummary>,
    pub study: Option<serde_json::Value>,
    pub warnings: Vec<String>,
    pub materials: Vec<MaterialUsed>,
    pub caution: &'static str,
    pub files: Vec<String>,
}

impl Summary {
    /// The summary of a solved case; `warnings` are the plain lines of all that warned. The list of
    /// files and the time are filled in when they are known.
    pub fn of(solved: &Solved, warnings: Vec<String>) -> Summary {
        let Solved { case, result, survey, seating, .. } = solved;
        let junctions: Vec<JunctionRow> = result.junctions.iter().map(JunctionRow::of).collect();
        let record = &case.case.record;
        Summary {
            tool_version: env!("CARGO_PKG_VERSION"),
            command: "solve",
            title: record.title.clone(),
            case_sha256: case.sha256.clone(),
            case_files: case.files.clone(),
            unknowns: result.unknowns,
            iterations: result.iterations,
            outer_iterations: result.outer_iterations,
            residual_relative: figure(result.residual_relative),
            heat_in_W: figure(result.balance.in_W),
            heat_to_spray_W: figure(result.balance.to_spray_W),
            heat_to_board_W: figure(result.balance.to_board_W),
            heat_to_edges_W: figure(result.balance.to_edges_W),
            imbalance_relative: figure(result.balance.imbalance_relative()),
            hottest: result.hottest().map(|index| Hottest {
                die: junctions[index].die.clone(),
                junction_max_C: junctions[index].junction_max_C,
                uncertainty_K: junctions[index].uncertainty_K,
            }),
            verdict: solved.verdict().word(),
            reservations: reservations(result, *survey),
            wall_seconds: 0.0,
            solve_seconds: 0.0,
            accuracy_asked_K: record.accuracy_K.and_then(figure),
            accuracy_reached_K: accuracy_reached_K(result).and_then(figure),
            refinement: result
                .levels
                .iter()
                .map(|level| Level {
                    unknowns: level.unknowns,
                    cells: level.cells,
                    sheets: level.sheets,
                    iterations: level.iterations,
                    hottest_C: highest(&level.junction_max_K).and_then(|t| figure(celsius(t))),
                    uncertainty_K: level
                        .uncertainty_K
                        .as_deref()
                        .and_then(highest)
                        .and_then(figure),
                })
                .collect(),
            liquid_budget: budget(case, *survey),
            correlations: survey.map(|s| s.notes.iter().map(Correlation::of).collect()),
            burnt_out: result
                .spray
                .as_ref()
                .map(|spray| spray.burnt_out.iter().map(BurntOutPlace::of).collect()),
            coverage: None,
            dry_patches: None,
            contact_field: seating.map(ContactField::of),
            resistance: None,
            sensitivity: None,
            fit: None,
            qualification: None,
            study: None,
            warnings,
            materials: record.materials.iter().map(material).collect(),
            caution: CAUTION,
            junctions,
            sensors: solved.sensors.to_vec(),
            files: Vec::new(),
        }
    }
}

/// The liquid budget of a surveyed case.
fn budget(case: &CaseFile, survey: Option<&Survey>) -> Option<Budget> {
    match (&case.case.module.spray, survey) {
        (Spray::Correlated(spray), Some(survey)) => Some(Budget::of(&survey.budget, spray)),
        _ => None,
    }
}

/// The largest uncertainty of any junction, K.
pub fn accuracy_reached_K(result: &SteadyResult) -> Option<f64> {
    let uncertainties: Vec<f64> = result.junctions.iter().map(|j| j.uncertainty_K).collect();
    highest(&uncertainties)
}

fn highest(values: &[f64]) -> Option<f64> {
    values.iter().copied().max_by(f64::total_cmp)
}

fn material(material: &MaterialRecord) -> MaterialUsed {
    MaterialUsed {
        name: material.name.clone(),
        conductivity_W_mK: material.conductivity_W_mK,
        source: material.source.clone(),
    }
}
