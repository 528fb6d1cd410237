//! A better nozzle pattern, for people.

use std::path::Path;

use sprayside_solver::results::Verdict;
use sprayside_solver::study::arrange::Goal;

use super::table::{Side, Table};
use super::{BAD, GOOD, HEADING, NOTE, WIDTH, closing, counted, headed, styled, wrapped};
use crate::figures::{grouped, significant};
use crate::summary::{ArrangeSummary, Compared, PatternSummary};

/// Most rows of a table; the rest is in the files.
const MOST_ROWS: usize = 24;

/// What was gained, before and after, nozzles, files, cautions.
pub fn arrange(compared: &Compared, summary: &ArrangeSummary, folder: &Path) -> String {
    let mut text = format!("{}\n\n", headline(compared, summary));
    text += &junctions(summary);
    text.push('\n');
    if summary.improved {
        text += &nozzles(summary);
        text.push('\n');
    }
    text += &trade_off(summary);
    text += &how(summary);
    text += &closing::warnings(&summary.warnings[compared.case.case.warnings.len()..]);
    text += &closing::files(&summary.files, folder);
    text += &closing::cautions(&compared.case.case.record);
    text
}

/// Verdict, two blanks, and what was gained.
pub fn headline(compared: &Compared, summary: &ArrangeSummary) -> String {
    let word = match compared.verdict_after() {
        Verdict::Pass => styled(GOOD, "PASS"),
        Verdict::Fail => styled(BAD, "FAIL"),
        Verdict::None => styled(NOTE, "NO VERDICT"),
    };
    let mut sentences = vec![gained(compared.found.goal, summary)];
    if !summary.bounds_broken_before.is_empty() {
        let n = summary.bounds_broken_before.len();
        sentences.push(format!(
            "The present pattern breaks {}: {}.",
            counted(n, "bound", "bounds"),
            summary.bounds_broken_before[0],
        ));
    }
    if !summary.conditions_hold {
        sentences.push(
            "Not every condition (limits, least CHF margin, wetted shares no smaller) could be \
             kept; the pattern with the least broken one is given."
                .to_owned(),
        );
    }
    if compared.verdict_after() == Verdict::Fail {
        sentences.push("The module still fails: see the table.".to_owned());
    }
    headed(&word, &sentences.join(" "))
}

fn gained(goal: Goal, summary: &ArrangeSummary) -> String {
    let (before, after) = (&summary.before, &summary.after);
    if !summary.improved {
        return "No better pattern was found; the present one stays.".to_owned();
    }
    let number = |value: Option<f64>, digits: usize| {
        value.map_or("-".to_owned(), |v| significant(v, digits))
    };
    let change = |of: fn(&PatternSummary) -> Option<f64>| {
        of(after).zip(of(before)).map_or(0.0, |(after, before)| after - before)
    };
    match goal {
        Goal::Hottest => format!(
            "The hottest junction falls by {} K, from {} °C ({}) to {} °C ({}), with {} mL/s \
             instead of {}.",
            significant(-change(|p| p.hottest_C), 3),
            number(before.hottest_C, 4),
            before.hottest.as_deref().unwrap_or("-"),
            number(after.hottest_C, 4),
            after.hottest.as_deref().unwrap_or("-"),
            number(after.flow_mL_s, 4),
            number(before.flow_mL_s, 4),
        ),
        Goal::Margin => format!(
            "The least margin to critical heat flux goes from {} to {}; the hottest junction from \
             {} to {} °C.",
            number(before.least_chf_margin, 3),
            number(after.least_chf_margin, 3),
            number(before.hottest_C, 4),
            number(after.hottest_C, 4),
        ),
        Goal::Liquid => format!(
            "{} mL/s do what {} mL/s did; the hottest junction goes from {} to {} °C, the least \
             margin to critical heat flux from {} to {}.",
            number(after.flow_mL_s, 4),
            number(before.flow_mL_s, 4),
            number(before.hottest_C, 4),
            number(after.hottest_C, 4),
            number(before.least_chf_margin, 3),
            number(after.least_chf_margin, 3),
        ),
    }
}

fn cell(value: Option<f64>, digits: usize) -> String {
    value.map_or(String::new(), |v| significant(v, digits))
}

fn junctions(summary: &ArrangeSummary) -> String {
    let mut table = Table::new(vec![
        ("junction", "", Side::Left),
        ("before", "°C", Side::Right),
        ("after", "°C", Side::Right),
        ("change", "K", Side::Right),
        ("limit", "°C", Side::Right),
        ("CHF before", "", Side::Right),
        ("CHF after", "", Side::Right),
        ("wet before", "%", Side::Right),
        ("wet after", "%", Side::Right),
        ("verdict", "", Side::Left),
    ]);
    let mut order: Vec<usize> = (0..summary.junctions.len()).collect();
    order.sort_by(|&a, &b| {
        let hot = |k: usize| summary.junctions[k].junction_max_C.unwrap_or(f64::NEG_INFINITY);
        hot(b).total_cmp(&hot(a))
    });
    for &k in order.iter().take(MOST_ROWS) {
        let row = &summary.junctions[k];
        let style = match row.verdict {
            "fail" => Some(BAD),
            "pass" => Some(GOOD),
            _ => None,
        };
        table.row(
            vec![
                row.die.clone(),
                cell(row.junction_max_before_C, 4),
                cell(row.junction_max_C, 4),
                row.change_K.map_or(String::new(), |v| format!("{v:+.2}")),
                cell(row.limit_C, 4),
                cell(row.chf_margin_before, 3),
                cell(row.chf_margin, 3),
                cell(row.wetted_before_pct, 3),
                cell(row.wetted_pct, 3),
                row.verdict.to_owned(),
            ],
            style,
        );
    }
    table.text() + &left_over(summary.junctions.len(), "before_after.csv")
}

fn left_over(rows: usize, file: &str) -> String {
    match rows.saturating_sub(MOST_ROWS) {
        0 => String::new(),
        n => format!("  {n} more in {file}.\n"),
    }
}

fn nozzles(summary: &ArrangeSummary) -> String {
    let mut table = Table::new(vec![
        ("nozzle", "", Side::Left),
        ("x", "mm", Side::Right),
        ("y", "mm", Side::Right),
        ("stand-off", "mm", Side::Right),
        ("flow", "mL/s", Side::Right),
        ("moved", "mm", Side::Right),
    ]);
    let fixed = |value: Option<f64>| value.map_or(String::new(), |v| format!("{v:.3}"));
    for row in summary.nozzles.iter().take(MOST_ROWS) {
        table.row(
            vec![
                row.nozzle.clone(),
                fixed(row.x_mm),
                fixed(row.y_mm),
                fixed(row.standoff_mm),
                fixed(row.flow_mL_s),
                fixed(row.moved_mm),
            ],
            None,
        );
    }
    table.text() + &left_over(summary.nozzles.len(), "nozzles.csv")
}

fn trade_off(summary: &ArrangeSummary) -> String {
    if summary.trade_off.len() < 2 {
        return String::new();
    }
    let mut table = Table::new(vec![
        ("liquid", "mL/s", Side::Right),
        ("hottest", "°C", Side::Right),
        ("least margin", "K", Side::Right),
        ("least CHF margin", "", Side::Right),
    ]);
    for row in &summary.trade_off {
        table.row(
            vec![
                cell(row.flow_mL_s, 4),
                cell(row.hottest_C, 4),
                cell(row.least_margin_K, 3),
                cell(row.least_chf_margin, 3),
            ],
            None,
        );
    }
    let heading = styled(HEADING, "Liquid against margin (on the study's mesh):");
    format!("{heading}\n{}\n", table.text())
}

fn how(summary: &ArrangeSummary) -> String {
    let reached = summary.starts.iter().filter(|s| s.goal_at_end.is_some()).count();
    let text = format!(
        "{} {} on {} unknowns from {}; before and after solved in full. A search finds a minimum \
         near its start, not surely the lowest of all. A flow factor is a flow at the drop size of \
         the nozzle's type: choose the orifice for it, state its own type, and solve again. \
         Measure the pattern of real nozzles.",
        styled(HEADING, "How:"),
        counted(summary.study_solves, "pattern solved", "patterns solved"),
        grouped(summary.study_unknowns),
        counted(reached, "start", "starts"),
    );
    format!("{}\n", wrapped(&text, WIDTH, "  "))
}
