//! What moves a junction, for people.

use std::path::Path;

use super::table::{Side, Table};
use super::verdict::{verdict, with_uncertainty};
use super::{HEADING, WIDTH, closing, counted, solve, styled, wrapped};
use crate::figures::significant;
use crate::summary::{Gains, Solved, Summary};

/// Rows of the table; the rest is in the files.
const MOST_ROWS: usize = 25;

/// Verdict, what moves the junction most, files, cautions.
pub fn sensitivity(solved: &Solved, summary: &Summary, folder: &Path) -> String {
    let mut text = format!("{}\n\n", verdict(solved));
    if let Some(gains) = &summary.sensitivity {
        text += &what_moves(solved, gains);
    }
    text += &format!("\n{}\n", solve::accuracy(solved, summary));
    text += &closing::warnings(&summary.warnings[solved.case.case.warnings.len()..]);
    text += &closing::files(&summary.files, folder);
    text += &closing::cautions(&solved.case.case.record);
    text
}

fn what_moves(solved: &Solved, gains: &Gains) -> String {
    let Some(chief) = gains.junctions.iter().position(|name| *name == gains.map_of) else {
        return "  There is no junction.\n".to_owned();
    };
    let junction = &solved.result.junctions[chief];
    let mut text = format!(
        "{}\n",
        styled(
            HEADING,
            &format!("What moves {}, now at {}:", junction.name, with_uncertainty(junction))
        )
    );
    let mut order: Vec<usize> = (0..gains.inputs.len()).collect();
    let size = |k: usize| gains.inputs[k].max_K[chief].map_or(0.0, f64::abs);
    order.sort_by(|&a, &b| size(b).total_cmp(&size(a)));
    let mut table = Table::new(vec![
        ("input", "", Side::Left),
        ("of", "", Side::Left),
        ("now", "", Side::Right),
        ("", "", Side::Left),
        ("hottest", "K", Side::Right),
        ("mean", "K", Side::Right),
        ("for", "", Side::Left),
    ]);
    for &k in order.iter().take(MOST_ROWS).filter(|&&k| size(k) > 0.0) {
        let gain = &gains.inputs[k];
        let signed = |value: Option<f64>| {
            value.map_or(String::new(), |v| {
                let text = significant(v, 3);
                if v > 0.0 { format!("+{text}") } else { text }
            })
        };
        table.row(
            vec![
                gain.input.replace('_', " "),
                gain.of.clone(),
                gain.value.map_or(String::new(), |v| significant(v, 4)),
                gain.value.map_or(String::new(), |_| unit_in_words(gain.unit)),
                signed(gain.max_K[chief]),
                signed(gain.mean_K[chief]),
                gain.step.trim_start_matches("K per ").replace("W/m2K", "W/(m²K)"),
            ],
            None,
        );
    }
    text += &table.text();
    let more = gains.inputs.len().saturating_sub(MOST_ROWS);
    let also = format!(
        "Slopes at this solution, for the step named; they add up for small changes. {} and every \
         other junction are in sensitivity_max.csv and sensitivity_mean.csv; cooling_gain.png shows \
         where more cooling helps {}. {} solved in {}.",
        match more {
            0 => "All inputs".to_owned(),
            n => format!("{n} more inputs"),
        },
        junction.name,
        counted(gains.cost.linear_systems, "linear system", "linear systems"),
        counted(gains.cost.iterations, "iteration", "iterations"),
    );
    text += &format!("  {}\n", wrapped(&also, WIDTH - 2, "  "));
    text
}

fn unit_in_words(unit: &str) -> String {
    match unit {
        "C" => "°C".to_owned(),
        "W/mK" => "W/(mK)".to_owned(),
        "W/m2K" => "W/(m²K)".to_owned(),
        other => other.to_owned(),
    }
}
