//! The result of a solve for people.

use std::path::Path;

use sprayside_solver::results::{Junction, SteadyResult, Verdict};

use super::table::{Side, Table};
use super::{BAD, GOOD, HEADING, NOTE, counted, styled, wrapped};
use crate::case_file::CaseFile;
use crate::figures::{celsius, decimals_for, grouped, rounded_up, significant};
use crate::summary::{CAUTION, Summary, accuracy_reached_K};

/// Rows of the junction table; a larger module shows those with the least margin.
const MOST_ROWS: usize = 40;
/// Width of paragraphs.
const WIDTH: usize = 92;

/// Verdict, junctions, heat balance, accuracy, warnings, files, caution.
pub fn solve(case: &CaseFile, result: &SteadyResult, summary: &Summary, folder: &Path) -> String {
    let mut text = format!("{}\n\n", verdict(result));
    text += &junctions(result);
    text += &format!("\n{}\n", heat(result));
    text += &format!("{}\n", accuracy(result, case.case.module.mesh.cell_m.is_some(), summary));
    for warning in &summary.warnings {
        text += &format!("{} {}\n", styled(NOTE, "Warning:"), wrapped(warning, WIDTH - 9, "  "));
    }
    text += &format!("{}\n", files(summary, folder));
    for caution in &case.case.record.fluid_cautions {
        let fluid = case.case.record.fluid.as_deref().unwrap_or("the coolant");
        text += &format!("{}\n", wrapped(&format!("{fluid}: {caution}"), WIDTH, "  "));
    }
    text += &format!("{}\n", wrapped(CAUTION, WIDTH, ""));
    text
}

/// One line that answers the question.
fn verdict(result: &SteadyResult) -> String {
    let with_uncertainty = |junction: &Junction| {
        let decimals = decimals_for(junction.uncertainty_K);
        format!(
            "{:.decimals$} ± {} °C",
            celsius(junction.max_K),
            rounded_up(junction.uncertainty_K, decimals)
        )
    };
    let tightest = result
        .junctions
        .iter()
        .filter_map(|junction| Some((junction, junction.margin_K()?, junction.limit_K?)))
        .min_by(|a, b| a.1.total_cmp(&b.1));
    let failing = result.junctions.iter().filter(|j| j.verdict() == Verdict::Fail).count();
    match (result.verdict(), tightest) {
        (Verdict::Pass, Some((junction, margin_K, limit_K))) => format!(
            "{}  Every limit is kept. The least margin is {} K, on {}: {}, limit {} °C.",
            styled(GOOD, "PASS"),
            significant(margin_K, 3),
            junction.name,
            with_uncertainty(junction),
            significant(celsius(limit_K), 5),
        ),
        (Verdict::Fail, Some((junction, margin_K, limit_K))) => {
            let others = match failing {
                1 => String::new(),
                n => format!(" {} in all are over.", counted(n, "junction", "junctions")),
            };
            let limit = significant(celsius(limit_K), 5);
            let name = &junction.name;
            let value = with_uncertainty(junction);
            let what = if junction.max_K > limit_K {
                format!(
                    "{name} is {} K over its limit: {value}, limit {limit} °C.",
                    significant(-margin_K, 3)
                )
            } else {
                format!(
                    "{name} keeps its limit of {limit} °C only within the uncertainty: {value}. A \
                     smaller accuracy_K in [mesh] may decide it."
                )
            };
            format!("{}  {what}{others}", styled(BAD, "FAIL"))
        }
        _ => match result.hottest().map(|index| &result.junctions[index]) {
            Some(junction) => format!(
                "{}  No limit is stated (limit_C). The hottest junction is {}: {}.",
                styled(NOTE, "NO VERDICT"),
                junction.name,
                with_uncertainty(junction),
            ),
            None => format!("{}  There is no junction.", styled(NOTE, "NO VERDICT")),
        },
    }
}

fn junctions(result: &SteadyResult) -> String {
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
                    format!("{:.1} to {:.1}", celsius(low), celsius(high))
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
    let hidden = result.junctions.len() - shown.len();
    if hidden > 0 {
        text += &format!(
            "  The {MOST_ROWS} with the least margin; {hidden} more are in junctions.csv.\n"
        );
    }
    text
}

fn heat(result: &SteadyResult) -> String {
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
    wrapped(&text, WIDTH + 8, "  ")
}

fn accuracy(result: &SteadyResult, fixed_cells: bool, summary: &Summary) -> String {
    let reached = match accuracy_reached_K(result) {
        Some(reached) => {
            let decimals = decimals_for(reached);
            format!("every junction is within ± {} K", rounded_up(reached, decimals))
        }
        None => "no junction".to_owned(),
    };
    let asked = match (fixed_cells, summary.accuracy_asked_K) {
        (false, Some(asked)) => format!(" (asked for: {} K)", significant(asked, 3)),
        _ => " on the cell size that the case fixes".to_owned(),
    };
    let text = format!(
        "{} {reached}{asked}. {}, {} unknowns on the last, {} iterations to a residual of {}; {:.2} s.",
        styled(HEADING, "Accuracy:"),
        counted(result.levels.len(), "grid", "grids"),
        grouped(result.unknowns),
        result.iterations,
        significant(result.residual_relative, 1),
        summary.wall_seconds,
    );
    wrapped(&text, WIDTH + 8, "  ")
}

fn files(summary: &Summary, folder: &Path) -> String {
    let pictures = summary.files.iter().filter(|file| file.ends_with(".png")).count();
    let tables: Vec<&str> =
        summary.files.iter().filter(|f| !f.ends_with(".png")).map(String::as_str).collect();
    let text = format!(
        "{} {} and {} in {}/",
        styled(HEADING, "Written:"),
        tables.join(", "),
        counted(pictures, "map", "maps"),
        folder.display()
    );
    text
}
