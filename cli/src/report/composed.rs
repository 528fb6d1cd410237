//! The page of a command that runs or composes solves of its own: no map, but everything that it
//! wrote, as tables and pictures.

use sprayside_solver::module::{Module, Spray};
use sprayside_solver::results::Verdict;
use sprayside_solver::spray::Footprint;

use super::plan::plan;
use super::{Fact, Page, ReportError, SCRIPT, STYLE, sections};
use crate::case_file::CaseFile;
use crate::commands::Cycled;
use crate::figures::{decimals_for, rounded_up, significant};
use crate::summary::{ArrangeSummary, Compared, CycleSummary, PatternSummary};
use crate::text;

/// Longest table of a history on the page: the file holds the rest, and the picture shows it all.
const LONG: [&str; 2] = ["history.csv", "step_response.csv"];

/// What a page says first.
struct Told<'a> {
    command: &'static str,
    /// The module to draw.
    module: &'a Module,
    /// Heading of the tables and pictures.
    heading: &'a str,
    /// Words of the terminal: verdict, two blanks, sentences.
    answer: String,
    verdict: Verdict,
    facts: Vec<Fact>,
    warnings: &'a [String],
}

/// The page of a run over time.
pub fn of_cycle(
    case: &CaseFile,
    cycled: &Cycled,
    summary: &CycleSummary,
    files: &[(String, Vec<u8>)],
) -> Result<Vec<u8>, ReportError> {
    let mut facts = Vec::new();
    if let Some(hottest) = &summary.hottest {
        let uncertainty_K = hottest.uncertainty_K.unwrap_or(f64::NAN);
        let decimals = decimals_for(uncertainty_K);
        facts.push(Fact::new(
            "Hottest junction at any time",
            format!(
                "{:.decimals$} ± {} °C",
                hottest.highest_C.unwrap_or(f64::NAN),
                rounded_up(uncertainty_K, decimals)
            ),
            format!(
                "{}, at {} s",
                hottest.die,
                significant(hottest.highest_at_s.unwrap_or(f64::NAN), 4)
            ),
        ));
    }
    if let Some(margin) = summary.chf_margin_least {
        let note = "at any time; below 1 is burn-out".to_owned();
        facts.push(Fact::new("Least CHF margin", significant(margin, 3), note));
    }
    facts.push(Fact::new(
        "Period",
        format!("{} s", significant(summary.period_s, 4)),
        format!(
            "{}, from the {} state",
            text::counted(summary.repeats, "run", "runs"),
            summary.start
        ),
    ));
    page(
        case,
        &Told {
            command: "cycle",
            module: cycled.module,
            heading: "Over time",
            answer: text::cycle_verdict(cycled),
            verdict: cycled.verdict(),
            facts,
            warnings: &summary.warnings,
        },
        files,
    )
}

/// The page of a better nozzle pattern.
pub fn of_arrange(
    compared: &Compared,
    summary: &ArrangeSummary,
    files: &[(String, Vec<u8>)],
) -> Result<Vec<u8>, ReportError> {
    let number = |value: Option<f64>, digits: usize, unit: &str| {
        value.map_or("none".to_owned(), |value| format!("{}{unit}", significant(value, digits)))
    };
    let fact = |name: &str, of: fn(&PatternSummary) -> Option<f64>, digits: usize, unit: &str| {
        let note = format!("was {}", number(of(&summary.before), digits, unit));
        Fact::new(name, number(of(&summary.after), digits, unit), note)
    };
    let mut facts = vec![fact("Hottest junction", |p| p.hottest_C, 4, " °C")];
    if summary.after.least_margin_K.is_some() {
        facts.push(fact("Least margin to a limit", |p| p.least_margin_K, 3, " K"));
    }
    facts.push(fact("Least CHF margin", |p| p.least_chf_margin, 3, ""));
    facts.push(fact("Liquid", |p| p.flow_mL_s, 4, " mL/s"));
    page(
        compared.case,
        &Told {
            command: "arrange",
            module: &compared.found.module,
            heading: "The pattern before and after",
            answer: text::arrange_headline(compared, summary),
            verdict: compared.verdict_after(),
            facts,
            warnings: &summary.warnings,
        },
        files,
    )
}

fn page(case: &CaseFile, told: &Told, files: &[(String, Vec<u8>)]) -> Result<Vec<u8>, ReportError> {
    let record = &case.case.record;
    let module = told.module;
    let footprints = match &module.spray {
        Spray::Correlated(spray) => {
            spray.nozzles.iter().filter_map(|nozzle| Footprint::of(nozzle).ok()).collect()
        }
        Spray::Prescribed(_) => Vec::new(),
    };
    // Pictures of long tables say more than their rows, which are in the files.
    let shown: Vec<(String, Vec<u8>)> = files
        .iter()
        .filter(|(name, _)| !LONG.contains(&name.as_str()))
        .filter(|(name, _)| !case.files.iter().any(|file| file.name == *name))
        .cloned()
        .collect();
    let answer = anstream::adapter::strip_str(&told.answer).to_string();
    let (word, sentences) = answer.split_once("  ").unwrap_or(("", &answer));
    Page {
        title: record.title.clone(),
        command: told.command,
        verdict: told.verdict.word(),
        word: word.to_owned(),
        sentences: text::plain(sentences),
        facts: told.facts.clone(),
        warnings: told.warnings.to_vec(),
        plan: plan(module, &footprints),
        map: None,
        sections: vec![
            sections::of_files("study", told.heading, &shown)?,
            sections::stack(case),
            sections::assumed(case),
            sections::case(case),
            sections::cautions(record),
        ],
        sha256: case.sha256.clone(),
        version: env!("CARGO_PKG_VERSION"),
        style: STYLE,
        script: SCRIPT,
    }
    .bytes()
}
