//! A run over time for people.

use std::path::Path;

use sprayside_solver::results::Verdict;

use super::table::{Side, Table};
use super::{BAD, GOOD, HEADING, NOTE, WIDTH, closing, counted, headed, styled, wrapped};
use crate::case_file::CaseFile;
use crate::commands::Cycled;
use crate::figures::{decimals_for, grouped, rounded_up, significant};
use crate::summary::CycleSummary;
use crate::tables::CycleRow;

/// Rows of the table; a larger module shows the hottest.
const MOST_ROWS: usize = 40;

/// Verdict, a row a junction, how well it is known, energy, files, cautions.
pub fn cycle(case: &CaseFile, cycled: &Cycled, summary: &CycleSummary, folder: &Path) -> String {
    let mut text = format!("{}\n\n", verdict(cycled));
    text += &junctions(cycled);
    for paragraph in [repeats(cycled, summary), accuracy(cycled, summary), responses(summary)] {
        if !paragraph.is_empty() {
            text += &format!("{}\n", wrapped(&paragraph, WIDTH, "  "));
        }
    }
    text += &closing::warnings(&summary.warnings[case.case.warnings.len()..]);
    text += &closing::files(&summary.files, folder);
    text += &closing::cautions(&case.case.record);
    text
}

fn with_uncertainty(row: &CycleRow) -> String {
    let uncertainty = row.uncertainty_K.unwrap_or(f64::NAN);
    let decimals = decimals_for(uncertainty);
    format!(
        "{:.decimals$} ± {}",
        row.highest_C.unwrap_or(f64::NAN),
        rounded_up(uncertainty, decimals)
    )
}

/// Verdict, two blanks, and what it rests on.
pub fn verdict(cycled: &Cycled) -> String {
    let word = match cycled.verdict() {
        Verdict::Pass => styled(GOOD, "PASS"),
        Verdict::Fail => styled(BAD, "FAIL"),
        Verdict::None => styled(NOTE, "NO VERDICT"),
    };
    let mut sentence = match cycled.result.run.ran_away_s {
        Some(at_s) => format!("The surface runs away at {} s. ", significant(at_s, 4)),
        None => String::new(),
    };
    let tightest = cycled
        .rows
        .iter()
        .filter(|row| row.margin_K.is_some())
        .min_by(|a, b| a.margin_K.unwrap_or(0.0).total_cmp(&b.margin_K.unwrap_or(0.0)));
    let at = |row: &CycleRow| significant(row.highest_at_s.unwrap_or(f64::NAN), 4);
    sentence += &match tightest {
        Some(row) => {
            let margin = row.margin_K.unwrap_or(f64::NAN);
            let limit = significant(row.limit_C.unwrap_or(f64::NAN), 5);
            if margin >= 0.0 {
                format!(
                    "Every limit is kept at all times. The least margin is {} K, on {} at {} s: {} °C, limit {limit} °C.",
                    significant(margin, 3),
                    row.die,
                    at(row),
                    with_uncertainty(row)
                )
            } else {
                format!(
                    "{} is over its limit of {limit} °C by {} K at {} s: {} °C.",
                    row.die,
                    significant(-margin, 3),
                    at(row),
                    with_uncertainty(row)
                )
            }
        }
        None => "No limit is stated (limit_C).".to_owned(),
    };
    headed(&word, &sentence)
}

fn junctions(cycled: &Cycled) -> String {
    let mut table = Table::new(vec![
        ("junction", "", Side::Left),
        ("highest", "°C", Side::Right),
        ("at", "s", Side::Right),
        ("lowest", "°C", Side::Right),
        ("swing", "K", Side::Right),
        ("dwell", "s", Side::Right),
        ("above", "°C", Side::Right),
        ("rise", "K/s", Side::Right),
        ("fall", "K/s", Side::Right),
        ("margin", "K", Side::Right),
        ("verdict", "", Side::Left),
    ]);
    let mut order: Vec<&CycleRow> = cycled.rows.iter().collect();
    order.sort_by(|a, b| b.highest_C.unwrap_or(0.0).total_cmp(&a.highest_C.unwrap_or(0.0)));
    let optional = |value: Option<f64>, digits| {
        value.map_or(String::new(), |value| significant(value, digits))
    };
    let tenths = |value: Option<f64>| value.map_or(String::new(), |value| format!("{value:.1}"));
    for row in order.iter().take(MOST_ROWS) {
        let style = match row.verdict {
            "pass" => Some(GOOD),
            "fail" => Some(BAD),
            _ => None,
        };
        table.row(
            vec![
                row.die.clone(),
                with_uncertainty(row),
                optional(row.highest_at_s, 4),
                tenths(row.lowest_C),
                tenths(row.swing_K),
                optional(row.dwell_s, 3),
                optional(row.dwell_above_C, 4),
                optional(row.fastest_rise_K_s, 3),
                optional(row.fastest_fall_K_s, 3),
                tenths(row.margin_K),
                row.verdict.to_owned(),
            ],
            style,
        );
    }
    let mut text = table.text();
    if order.len() > MOST_ROWS {
        let hidden = order.len() - MOST_ROWS;
        text += &format!("  The {MOST_ROWS} hottest; {hidden} more are in cycle_summary.csv.\n");
    }
    text += &format!(
        "  Swing and lowest of the last period; rise and fall over any {} s.\n\n",
        significant(cycled.cycle.ramp_window_s, 3)
    );
    text
}

fn repeats(cycled: &Cycled, summary: &CycleSummary) -> String {
    let small = |value: Option<f64>| significant(value.unwrap_or(f64::NAN), 2);
    if let Some(from) = cycled.from {
        return format!(
            "{} from the state in {}; times count from there, and the last period changed the state \
             by {} K.",
            styled(HEADING, "Start:"),
            from.display(),
            small(summary.last_period_change_K)
        );
    }
    if let Some(periodic) = &summary.periodic {
        return format!(
            "{} the state that comes back after every {} s was found by {}, each ended with a \
             correction of what slow modes still lack; it comes back within {} K (the first \
             period changed it by {} K).",
            styled(HEADING, "Periodic:"),
            significant(summary.period_s, 4),
            counted(periodic.periods_run, "period", "periods"),
            small(periodic.change_K),
            small(periodic.first_change_K)
        );
    }
    if cycled.cycle.repeats > 1 {
        return format!(
            "{} after {} the last one still changed the state by {} K; start = \"periodic\" finds \
             the state that comes back.",
            styled(HEADING, "Repeats:"),
            counted(cycled.cycle.repeats, "period", "periods"),
            small(summary.last_period_change_K)
        );
    }
    String::new()
}

fn accuracy(cycled: &Cycled, summary: &CycleSummary) -> String {
    let number = |value: Option<f64>, digits| significant(value.unwrap_or(f64::NAN), digits);
    format!(
        "{} in time within {} K (asked for: {} K), measured with every step halved, {}; in space \
         within {} K, measured against every other line and half the sheets, and the steady state. {} unknowns, of the \
         {} of the steady mesh (coarsening {}). Energy: {} J in, {} J stored; the balance closes \
         within {} of that.",
        styled(HEADING, "Accuracy:"),
        number(summary.time_accuracy_reached_K, 2),
        number(summary.time_accuracy_asked_K, 3),
        counted(summary.steps, "step", "steps"),
        number(summary.space_error_K, 2),
        grouped(summary.unknowns),
        grouped(summary.steady_unknowns),
        cycled.cycle.coarsening,
        number(summary.energy.in_J, 4),
        number(summary.energy.stored_J, 3),
        number(summary.energy.imbalance_relative, 1)
    )
}

fn responses(summary: &CycleSummary) -> String {
    let slowest = summary
        .step_responses
        .iter()
        .max_by(|a, b| a.final_max_K_W.unwrap_or(0.0).total_cmp(&b.final_max_K_W.unwrap_or(0.0)));
    let Some(response) = slowest else { return String::new() };
    let number = |value: Option<f64>| significant(value.unwrap_or(f64::NAN), 3);
    format!(
        "{} the largest is that of {}: {} K/W at its hottest point in the end, {} K/W in the mean, \
         63 % of it after {} s. Conductivities and spray are held at the mean powers of the cycle.",
        styled(HEADING, "Step responses:"),
        response.die,
        number(response.final_max_K_W),
        number(response.final_mean_K_W),
        number(response.time_constant_s)
    )
}
