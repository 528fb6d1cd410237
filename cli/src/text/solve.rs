//! The result of a solve for people.

use std::path::Path;

use sprayside_solver::results::{Junction, SteadyResult, Verdict};

use super::sensors::sensors;
use super::table::{Side, Table};
use super::verdict::verdict;
use super::{BAD, GOOD, HEADING, WIDTH, closing, counted, spray_side, styled, wrapped};
use crate::figures::{celsius, decimals_for, grouped, rounded_up, significant};
use crate::summary::{Solved, Summary, accuracy_reached_K};

/// Rows of the junction table; a larger module shows those with the least margin.
const MOST_ROWS: usize = 40;

/// Verdict, junctions, heat balance, spray, accuracy, warnings, files, cautions.
pub fn solve(solved: &Solved, summary: &Summary, folder: &Path) -> String {
    let mut text = format!("{}\n\n", verdict(solved));
    text += &junctions(solved.result);
    text += &sensors(solved.sensors);
    text += &format!("\n{}\n", heat(solved.result));
    if let Some(survey) = solved.survey {
        text += &spray_side::liquid(survey);
        text += &spray_side::strained_correlations(&survey.notes);
    }
    if let Some(seating) = solved.seating {
        text += &spray_side::contacts(seating);
    }
    text += &format!("{}\n", accuracy(solved, summary));
    text += &closing::warnings(&summary.warnings[solved.case.case.warnings.len()..]);
    text += &closing::files(&summary.files, folder);
    text += &closing::cautions(&solved.case.case.record);
    text
}

/// The table of junctions.
pub fn junctions(result: &SteadyResult) -> String {
    let mut table = Table::new(vec![
        ("junction", "", Side::Left),
        ("type", "", Side::Left),
        ("power", "W", Side::Right),
        ("flux", "W/cm²", Side::Right),
        ("hottest", "°C", Side::Right),
        ("mean", "°C", Side::Right),
        ("model band", "°C", Side::Right),
        ("to spray", "W", Side::Right),
        ("wetted", "%", Side::Right),
        ("CHF margin", "", Side::Right),
        ("limit", "°C", Side::Right),
        ("margin", "K", Side::Right),
        ("verdict", "", Side::Left),
    ]);
    let mut shown: Vec<&Junction> = result.junctions.iter().collect();
    if shown.len() > MOST_ROWS {
        let urgency = |j: &Junction| j.margin_K().unwrap_or(f64::MAX - j.max_K);
        shown.sort_by(|a, b| urgency(a).total_cmp(&urgency(b)));
        shown.truncate(MOST_ROWS);
    }
    for junction in &shown {
        let decimals = decimals_for(junction.uncertainty_K);
        let (word, style) = match junction.verdict() {
            Verdict::Pass => ("pass", Some(GOOD)),
            Verdict::Fail => ("fail", Some(BAD)),
            Verdict::None => ("none", None),
        };
        let optional =
            |value: Option<f64>, digits| value.map_or(String::new(), |v| significant(v, digits));
        table.row(
            vec![
                junction.name.clone(),
                junction.type_name.clone(),
                significant(junction.power_W, 4),
                significant(junction.mean_flux_W_m2 * 1e-4, 3),
                format!(
                    "{:.decimals$} ± {}",
                    celsius(junction.max_K),
                    rounded_up(junction.uncertainty_K, decimals)
                ),
                format!("{:.1}", celsius(junction.mean_K)),
                junction.model_range_K.map_or(String::new(), |[low, high]| {
                    if high.is_finite() {
                        format!("{:.1} to {:.1}", celsius(low), celsius(high))
                    } else {
                        format!("{:.1} or more", celsius(low))
                    }
                }),
                significant(junction.heat_to_spray_W, 3),
                optional(junction.wetted_share.map(|share| share * 100.0), 3),
                optional(junction.chf_margin, 3),
                optional(junction.limit_K.map(celsius), 5),
                junction.margin_K().map_or(String::new(), |margin| format!("{margin:.1}")),
                word.to_owned(),
            ],
            style,
        );
    }
    let mut text = table.text();
    if shown.iter().any(|junction| junction.type_name == "heater") {
        text += "  \"to spray\" is what leaves through a die's own wet face; of a heater, through the wet \
                 surface\n  right above it, so that what spreads sideways before is not in it.\n";
    }
    let hidden = result.junctions.len() - shown.len();
    if hidden > 0 {
        text += &format!(
            "  The {MOST_ROWS} with the least margin; {hidden} more are in junctions.csv.\n"
        );
    }
    text
}

/// Where the heat goes.
pub fn heat(result: &SteadyResult) -> String {
    let balance = &result.balance;
    let watts = |watts: f64| format!("{} W", significant(watts, 4));
    let part = |heat_W: f64, place: &str| match heat_W {
        0.0 => format!("none through {place}"),
        heat_W if heat_W < 0.0 => format!("{} in from {place}", watts(-heat_W)),
        heat_W => format!("{} out to {place}", watts(heat_W)),
    };
    let text = format!(
        "{} {} from the junctions; {}, {}, {}. In and out agree to {}.",
        styled(HEADING, "Heat:"),
        watts(balance.in_W),
        part(balance.to_spray_W, "the spray"),
        part(balance.to_board_W, "the board"),
        part(balance.to_edges_W, "the edges"),
        significant(balance.imbalance_relative(), 1),
    );
    wrapped(&text, WIDTH, "  ")
}

/// How well it is known, and what limits that.
pub fn accuracy(solved: &Solved, summary: &Summary) -> String {
    let result = solved.result;
    let reached = match accuracy_reached_K(result) {
        Some(reached) => {
            format!("every junction is within ± {} K", rounded_up(reached, decimals_for(reached)))
        }
        None => "no junction".to_owned(),
    };
    let asked = match summary.accuracy_asked_K {
        Some(asked) => format!(" (asked for: {} K)", significant(asked, 3)),
        None => " on the cell size that the case fixes".to_owned(),
    };
    let found = result.levels.iter().rev().find_map(|level| level.parts_K);
    // On a fixed mesh smaller cells are what people try first, though they may not help.
    let limit = match (summary.accuracy_asked_K, found) {
        (None, Some([plane, thickness, _])) if thickness > 2.0 * plane => {
            " The slices limit it, not the cells: state more slices in [[module.layer]], or \
             accuracy_K instead of cell_mm to have both chosen."
        }
        (None, Some([plane, thickness, _])) if plane > 2.0 * thickness => {
            " The cells limit it, not the slices: a smaller cell_mm lessens it."
        }
        _ => "",
    };
    let parts = match found {
        Some([plane, thickness, iteration]) => format!(
            "; at most {} from the grid in the plane, {} from the slices through the thickness, \
             {} from the iteration",
            significant(plane, 1),
            significant(thickness, 1),
            significant(iteration, 1),
        ),
        None => String::new(),
    };
    let outer = match result.outer_iterations {
        0 | 1 => String::new(),
        n => format!("{n} outer and "),
    };
    let text = format!(
        "{} {reached}{asked}{parts}. {}, {} unknowns on the last, {outer}{} inner iterations to a \
         residual of {}; {:.2} s.{limit}",
        styled(HEADING, "Accuracy:"),
        counted(result.levels.len(), "grid", "grids"),
        grouped(result.unknowns),
        result.iterations,
        significant(result.residual_relative, 1),
        summary.wall_seconds,
    );
    wrapped(&text, WIDTH, "  ")
}
