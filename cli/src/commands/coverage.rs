//! `coverage`: what the nozzles lay down, and what that means.

use std::time::Instant;

use sprayside_solver::seating::seating;

use crate::arguments::CoverageArguments;
use crate::case_file::CaseFile;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::results_folder::ResultsFolder;
use crate::summary::{ContactField, CoverageSummary, coverage_rows};
use crate::survey::Survey;
use crate::tables::{CoverageRow, DryPatchRow, csv};
use crate::{maps, report, text};

use super::solving::{self, ResultFile, Setting};

/// Surveys the spray, with the temperatures or without.
pub fn run(arguments: &CoverageArguments) -> Result<Exit, Failure> {
    let setting = Setting::of(&arguments.common).with_pictures(&arguments.pictures);
    if arguments.no_solve {
        arguments.pictures.refuse_temperatures()?;
        return without_solve(&setting);
    }
    solving::run(
        &setting,
        |solved, summary, _| {
            let survey = solved.survey.ok_or_else(no_nozzles)?;
            summary.command = "coverage";
            summary.coverage = Some(coverage_rows(solved.case, survey));
            summary.dry_patches = Some(survey.dry_patches.iter().map(DryPatchRow::of).collect());
            tables(solved.case, survey)
        },
        text::coverage,
    )
}

/// The geometric part alone.
fn without_solve(setting: &Setting) -> Result<Exit, Failure> {
    let started = Instant::now();
    let case = setting.read_case()?;
    let module = &case.case.module;
    let survey = Survey::without_solve(module)
        .map_err(|error| solving::why_not_solved(&error.into()))?
        .ok_or_else(no_nozzles)?;
    let target = setting.target();
    let folder = ResultsFolder::prepare(&target)?;
    let mut files = tables(&case, &survey)?;
    files.extend(maps::of_survey(module, &survey, &setting.pictures).map_err(super::not_written)?);
    let seating = seating(&module.board, module.size_m);
    let mut warnings: Vec<String> = case.case.warnings.iter().map(text::warning_line).collect();
    warnings.extend(survey.warnings.iter().cloned());
    warnings.extend(survey.budget_warnings());
    warnings.extend(seating.iter().flat_map(|seating| seating.warnings.iter().cloned()));
    let contact_field = seating.as_ref().map(ContactField::of);
    let report = report::of_survey(&case, &survey, seating.as_ref(), &warnings)
        .map_err(super::not_written)?;
    files.push((report::FILE.to_owned(), report));
    let mut summary = CoverageSummary::of(&case, &survey, contact_field, warnings, Vec::new(), 0.0);
    solving::publish_summary(folder, files, &mut summary, started)?;
    setting.tell(&case, &summary, |summary| {
        text::coverage_without_solve(&case, &survey, seating.as_ref(), summary, &target)
    })?;
    Ok(Exit::Kept)
}

fn tables(case: &CaseFile, survey: &Survey) -> Result<Vec<ResultFile>, Failure> {
    let coverage = coverage_rows(case, survey);
    let dry: Vec<DryPatchRow> = survey.dry_patches.iter().map(DryPatchRow::of).collect();
    Ok(vec![
        (
            "coverage.csv".to_owned(),
            csv(&CoverageRow::HEADER, &coverage).map_err(super::not_written)?,
        ),
        (
            "dry_patches.csv".to_owned(),
            csv(&DryPatchRow::HEADER, &dry).map_err(super::not_written)?,
        ),
    ])
}

fn no_nozzles() -> Failure {
    Failure::Request {
        headline: "this case states its spray coefficients, so there is no coverage to survey"
            .to_owned(),
        help: "describe nozzles: [spray] model = \"correlated\", [nozzle_type.*], [[nozzle]] or \
               [[nozzle_group]]; `sprayside new -` shows how"
            .to_owned(),
    }
}
