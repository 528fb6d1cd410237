//! The plan of a test, for people.

use std::path::Path;

use super::table::{Side, Table};
use super::{BAD, GOOD, HEADING, WIDTH, closing, counted, headed, solve, styled, wrapped};
use crate::figures::{grouped, significant};
use crate::summary::{QualificationSummary, Solved, Summary};

/// Most warnings printed; all are in the summary.
const MOST_WARNINGS: usize = 12;

/// The plan, each die, the models, what is not covered, files, cautions.
pub fn qualify(solved: &Solved, summary: &Summary, folder: &Path) -> String {
    let Some(plan) = &summary.qualification else { return String::new() };
    let mut text = format!("{}\n\n", verdict(plan));
    text += &parts(plan);
    text += &die(plan);
    text += &models(plan);
    text += &not_covered(plan);
    text += &format!("{}\n", solve::accuracy(solved, summary));
    let warnings = &summary.warnings[solved.case.case.warnings.len()..];
    text += &closing::warnings(&warnings[..warnings.len().min(MOST_WARNINGS)]);
    if warnings.len() > MOST_WARNINGS {
        let more = counted(warnings.len() - MOST_WARNINGS, "warning", "warnings");
        text += &format!("{more} more in summary.json.\n");
    }
    text += &closing::files(&summary.files, folder);
    text += &closing::cautions(&solved.case.case.record);
    text
}

fn number(value: Option<f64>, digits: usize) -> String {
    value.map_or("-".to_owned(), |value| significant(value, digits))
}

/// A whole count, or words where there is none.
fn count(value: Option<f64>) -> String {
    match value {
        Some(value) if value < 1e15 => grouped(value.round() as usize),
        Some(value) => significant(value, 3),
        None => "no number".to_owned(),
    }
}

/// How many cycles of the test stand for the life.
pub fn verdict(plan: &QualificationSummary) -> String {
    let word = if plan.sufficient { styled(GOOD, "PLAN") } else { styled(BAD, "NOT ENOUGH") };
    let sentence = match plan.test_cycles {
        Some(_) => format!(
            "{} test cycles of {} min stand for {} cycles in the field over {} years with a margin \
             of {}: {} days without a break. {}",
            count(plan.test_cycles),
            number(plan.cycle_min, 4),
            count(plan.field_cycles),
            number(plan.field_life_years, 4),
            number(plan.margin, 4),
            number(plan.duration_days, 4),
            what_sets_the_length(plan),
        ),
        None => format!(
            "No number of these test cycles stands for the life in the field: the test does not swing \
             {}.",
            plan.governing_die
        ),
    };
    headed(&word, &sentence)
}

/// The die that ask for so many cycles, which are several where their swings are equal.
fn what_sets_the_length(plan: &QualificationSummary) -> String {
    let longest: Vec<&str> = plan
        .die
        .iter()
        .filter(|row| row.test_cycles.map(|cycles| (cycles - 1e-6).ceil()) == plan.test_cycles)
        .map(|row| row.die.as_str())
        .collect();
    match longest.as_slice() {
        [_, _, ..] if longest.len() == plan.die.len() => "All die ask for as many.".to_owned(),
        [first, second] => format!("{first} and {second} set the length."),
        [first, second, rest @ ..] if !rest.is_empty() => {
            format!("{first}, {second} and {} more set the length.", rest.len())
        }
        _ => format!("{} sets the length.", plan.governing_die),
    }
}

fn parts(plan: &QualificationSummary) -> String {
    let (reliability, confidence) = (number(plan.reliability, 4), number(plan.confidence, 4));
    let mut text = match plan.parts {
        Some(parts) => format!(
            "{} {} through the whole test, {}, show a reliability of {reliability} at a confidence of \
             {confidence} (binomial law).",
            styled(HEADING, "Samples:"),
            counted(parts as usize, "part", "parts"),
            match plan.failures_allowed {
                0 => "none of them failed".to_owned(),
                n => format!("at most {n} of them failed"),
            },
        ),
        None => {
            format!("{} more than ten million parts would be needed.", styled(HEADING, "Samples:"))
        }
    };
    if let Some(parts) = plan.parts_counting_the_margin {
        text += &format!(
            " Where wear-out follows the Weibull slope stated, the margin counts as a longer life and \
             {} without a failure {}.",
            counted(parts as usize, "part", "parts"),
            if parts == 1 { "does" } else { "do" },
        );
    }
    if let (Some(samples), Some(shown)) = (plan.samples, plan.reliability_shown_by_samples) {
        text += &format!(
            " The {samples} at hand show {} at that confidence{}.",
            significant(shown, 4),
            match plan.test_cycles_for_samples {
                Some(cycles) => format!(
                    ", or what is asked after {} cycles each without a failure, by the Weibull slope \
                     stated",
                    count(Some(cycles))
                ),
                None => String::new(),
            }
        );
    }
    format!("{}\n\n", wrapped(&text, WIDTH, "  "))
}

fn die(plan: &QualificationSummary) -> String {
    let mut table = Table::new(vec![
        ("die", "", Side::Left),
        ("field swing", "K", Side::Right),
        ("test swing", "K", Side::Right),
        ("field cycles", "", Side::Right),
        ("acceleration", "", Side::Right),
        ("all models", "", Side::Right),
        ("test cycles", "", Side::Right),
        ("life a year", "%", Side::Right),
        ("life in test", "%", Side::Right),
    ]);
    for row in &plan.die {
        let percent =
            |share: Option<f64>| share.map_or(String::new(), |share| significant(share * 100.0, 3));
        table.row(
            vec![
                row.die.clone(),
                number(row.field_swing_K, 3),
                number(row.test_swing_K, 3),
                count(row.field_cycles),
                number(row.acceleration, 3),
                format!(
                    "{} to {}",
                    number(row.acceleration_lowest_model, 3),
                    number(row.acceleration_highest_model, 3)
                ),
                count(row.test_cycles.map(f64::ceil)),
                percent(row.life_used_per_year),
                percent(row.life_used_by_test),
            ],
            None,
        );
    }
    let note = "Acceleration: field cycles that one test cycle stands for, by the model of the plan; \
                beside it what the published models make of it, which is how well it is known.";
    format!("{}  {}\n", table.text(), wrapped(note, WIDTH - 2, "  "))
}

fn models(plan: &QualificationSummary) -> String {
    plan.models
        .iter()
        .map(|model| {
            let marked = if model.name == plan.model { " (the plan's)" } else { "" };
            let text = format!(
                "{} {}{marked}, {}: {}. {}.",
                styled(HEADING, "Model:"),
                model.name,
                model.solder,
                number(model.governing_die_acceleration, 3),
                model.source,
            );
            format!("{}\n", wrapped(&text, WIDTH, "  "))
        })
        .collect()
}

fn not_covered(plan: &QualificationSummary) -> String {
    let mut text = format!("{}\n", styled(HEADING, "What this test does not cover:"));
    for what in &plan.not_covered {
        text += &format!("  - {}\n", wrapped(what, WIDTH - 4, "    "));
    }
    text
}
