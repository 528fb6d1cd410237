//! The page of a survey of nozzles without temperatures.

use sprayside_solver::seating::Seating;

use super::layers::MapData;
use super::plan::plan;
use super::{Fact, Map, Page, ReportError, SCRIPT, STYLE, sections};
use crate::case_file::CaseFile;
use crate::figures::significant;
use crate::survey::Survey;
use crate::text::counted;

/// The page.
pub fn of_survey(
    case: &CaseFile,
    survey: &Survey,
    seating: Option<&Seating>,
    warnings: &[String],
) -> Result<Vec<u8>, ReportError> {
    let module = &case.case.module;
    let least = survey.die.iter().min_by(|a, b| a.wetted_share.total_cmp(&b.wetted_share));
    let least = match least {
        Some(die) => format!(
            "The least wetted die is {}: {} % of it.",
            die.name,
            significant(die.wetted_share * 100.0, 3)
        ),
        None => "There are no die.".to_owned(),
    };
    let data = MapData::of_survey(module, survey)?;
    let described = format!(
        "Map of the module from the spray side: where the liquid of {} lands. {least} The tables \
         below hold the numbers.",
        counted(survey.footprints.len(), "nozzle", "nozzles")
    );
    let map = Map::of(&data, described, module.size_m)?;
    let budget = &survey.budget;
    let mut spray = sections::spray(case, survey)?;
    for paragraph in sections::contacts(seating) {
        spray = spray.paragraph(paragraph);
    }
    Page {
        title: case.case.record.title.clone(),
        command: "coverage",
        verdict: "none",
        word: "NOT SOLVED".to_owned(),
        sentences: format!(
            "Where the liquid lands, without temperatures, margins or a verdict. {least} {} on \
             die {} dry.",
            counted(survey.dry_patches.len(), "patch", "patches"),
            if survey.dry_patches.len() == 1 { "is" } else { "are" },
        ),
        facts: vec![
            Fact::new(
                "Liquid",
                format!("{} mL/s", significant(budget.flow_m3_s * 1e6, 3)),
                counted(survey.footprints.len(), "nozzle", "nozzles"),
            ),
            Fact::new(
                "Lands on the module",
                format!("{} %", significant(budget.landed_share * 100.0, 3)),
                format!("{} % on die", significant(budget.on_die_share * 100.0, 3)),
            ),
            Fact::new(
                "Heat if all goes into the spray",
                format!("{} W", significant(budget.heat_W, 4)),
                format!("exit quality {}", significant(budget.exit_quality, 2)),
            ),
        ],
        warnings: warnings.to_vec(),
        plan: plan(module, &survey.footprints),
        map: Some(map),
        sections: vec![
            spray,
            sections::stack(case),
            sections::case(case),
            sections::cautions(&case.case.record),
        ],
        sha256: case.sha256.clone(),
        version: env!("CARGO_PKG_VERSION"),
        style: STYLE,
        script: SCRIPT,
    }
    .bytes()
}
