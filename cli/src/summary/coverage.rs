//! `summary.json` of a survey without a solve.

use serde::Serialize;

use super::{Budget, CAUTION, ContactField, Correlation};
use crate::case_file::{CaseFile, NamedFile};
use crate::survey::Survey;
use crate::tables::{CoverageRow, DryPatchRow};

/// What the nozzles alone tell; the fields are the JSON names. The liquid budget counts all the
/// module's power as heat into the spray.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct CoverageSummary {
    pub tool_version: &'static str,
    pub command: &'static str,
    pub title: String,
    pub case_sha256: String,
    pub case_files: Vec<NamedFile>,
    pub solved: bool,
    pub verdict: &'static str,
    pub wall_seconds: f64,
    pub coverage: Vec<CoverageRow>,
    pub dry_patches: Vec<DryPatchRow>,
    pub liquid_budget: Option<Budget>,
    pub correlations: Vec<Correlation>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub contact_field: Option<ContactField>,
    pub warnings: Vec<String>,
    pub caution: &'static str,
    pub files: Vec<String>,
}

impl CoverageSummary {
    /// The summary of a survey.
    pub fn of(
        case: &CaseFile,
        survey: &Survey,
        contact_field: Option<ContactField>,
        warnings: Vec<String>,
        files: Vec<String>,
        wall_seconds: f64,
    ) -> CoverageSummary {
        CoverageSummary {
            tool_version: env!("CARGO_PKG_VERSION"),
            command: "coverage",
            title: case.case.record.title.clone(),
            case_sha256: case.sha256.clone(),
            case_files: case.files.clone(),
            solved: false,
            verdict: "none",
            wall_seconds,
            coverage: coverage_rows(case, survey),
            dry_patches: survey.dry_patches.iter().map(DryPatchRow::of).collect(),
            liquid_budget: super::budget(case, Some(survey)),
            correlations: survey.notes.iter().map(Correlation::of).collect(),
            contact_field,
            warnings,
            caution: CAUTION,
            files,
        }
    }
}

/// The rows of `coverage.csv`.
pub fn coverage_rows(case: &CaseFile, survey: &Survey) -> Vec<CoverageRow> {
    case.case
        .module
        .die
        .iter()
        .zip(&survey.die)
        .enumerate()
        .map(|(index, (die, coverage))| {
            let heat = survey.heat.as_ref().and_then(|heat| heat.get(index));
            CoverageRow::of(die, coverage, heat)
        })
        .collect()
}
