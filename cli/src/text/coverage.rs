//! The survey of a spray for people.

use std::path::Path;

use sprayside_solver::seating::Seating;

use super::table::{Side, Table};
use super::verdict::verdict;
use super::{BAD, NOTE, closing, counted, solve, spray_side, styled};
use crate::case_file::CaseFile;
use crate::figures::significant;
use crate::summary::{CoverageSummary, Solved, Summary};
use crate::survey::Survey;

/// Rows of the coverage table; a larger module shows those that are wetted least.
const MOST_ROWS: usize = 60;
/// Dry patches that are listed; the rest is in the file.
const MOST_PATCHES: usize = 12;
/// A die this much wetted has no flaw worth a line of its own.
const WELL_WETTED: f64 = 0.995;

/// Verdict, coverage, dry patches, liquid, correlations, files, cautions.
pub fn coverage(solved: &Solved, summary: &Summary, folder: &Path) -> String {
    let Some(survey) = solved.survey else { return String::new() };
    let mut text = format!("{}\n\n", verdict(solved));
    text += &tables(solved.case, survey);
    text += &format!("\n{}\n", solve::heat(solved.result));
    text += &sentences(survey, solved.seating);
    text += &format!("{}\n", solve::accuracy(solved, summary));
    text += &closing::warnings(&summary.warnings[solved.case.case.warnings.len()..]);
    text += &closing::files(&summary.files, folder);
    text += &closing::cautions(&solved.case.case.record);
    text
}

/// The geometric part alone.
pub fn coverage_without_solve(
    case: &CaseFile,
    survey: &Survey,
    seating: Option<&Seating>,
    summary: &CoverageSummary,
    folder: &Path,
) -> String {
    let flawed = survey.die.iter().filter(|die| die.wetted_share < WELL_WETTED).count();
    let least = survey.die.iter().min_by(|a, b| a.wetted_share.total_cmp(&b.wetted_share));
    let mut text = match least {
        Some(least) if flawed > 0 => format!(
            "{}  {} of {} die not wholly wetted; least {}, {} %.\n\n",
            styled(NOTE, "DRY"),
            flawed,
            survey.die.len(),
            least.name,
            significant(least.wetted_share * 100.0, 3),
        ),
        Some(_) => format!(
            "{}  Every die is wetted to {} % or more.\n\n",
            styled(super::GOOD, "WET"),
            WELL_WETTED * 100.0
        ),
        None => format!("{}  There are no die to wet.\n\n", styled(NOTE, "NO DIE")),
    };
    text += &tables(case, survey);
    text.push('\n');
    text += &sentences(survey, seating);
    text += &closing::warnings(&summary.warnings[case.case.warnings.len()..]);
    text += &closing::files(&summary.files, folder);
    text += &closing::cautions(&case.case.record);
    text
}

fn tables(case: &CaseFile, survey: &Survey) -> String {
    let mut table = Table::new(vec![
        ("die", "", Side::Left),
        ("type", "", Side::Left),
        ("area", "mm²", Side::Right),
        ("wetted", "%", Side::Right),
        ("liquid", "mL/s", Side::Right),
        ("mean flux", "m³/(m²s)", Side::Right),
        ("least flux", "m³/(m²s)", Side::Right),
        ("most flux", "m³/(m²s)", Side::Right),
        ("uniformity", "", Side::Right),
        ("htc", "W/(m²K)", Side::Right),
        ("heat flux", "W/cm²", Side::Right),
        ("peak", "W/cm²", Side::Right),
        ("CHF margin", "", Side::Right),
        ("at", "mm", Side::Left),
    ]);
    let mut shown: Vec<usize> = (0..survey.die.len()).collect();
    if shown.len() > MOST_ROWS {
        shown.sort_by(|&a, &b| survey.die[a].wetted_share.total_cmp(&survey.die[b].wetted_share));
        shown.truncate(MOST_ROWS);
    }
    let die = &case.case.module.die;
    for &index in &shown {
        let coverage = &survey.die[index];
        let heat = survey.heat.as_ref().and_then(|heat| heat.get(index));
        let margin = heat.and_then(|heat| heat.critical_margin);
        let optional =
            |value: Option<f64>| value.map_or(String::new(), |value| significant(value, 3));
        table.row(
            vec![
                coverage.name.clone(),
                die.get(index).map_or(String::new(), |die| die.type_name.clone()),
                significant(coverage.area_m2 * 1e6, 4),
                significant(coverage.wetted_share * 100.0, 3),
                significant(coverage.flow_m3_s * 1e6, 3),
                significant(coverage.mean_flux_m_s, 3),
                significant(coverage.min_flux_m_s, 3),
                significant(coverage.max_flux_m_s, 3),
                format!("{:.2}", coverage.uniformity),
                optional(heat.map(|heat| heat.mean_htc_W_m2K)),
                optional(heat.map(|heat| heat.mean_flux_W_m2 * 1e-4)),
                optional(heat.map(|heat| heat.peak_flux_W_m2 * 1e-4)),
                optional(margin.map(|(margin, _)| margin)),
                margin.map_or(String::new(), |(_, [x, y])| {
                    format!("{}, {}", significant(x * 1e3, 4), significant(y * 1e3, 4))
                }),
            ],
            margin.filter(|(margin, _)| *margin < 1.0).map(|_| BAD),
        );
    }
    let mut text = table.text();
    let hidden = survey.die.len() - shown.len();
    if hidden > 0 {
        text += &format!(
            "  The {MOST_ROWS} that are wetted least; {hidden} more are in coverage.csv.\n"
        );
    }
    text + &dry_patches(survey)
}

fn dry_patches(survey: &Survey) -> String {
    if survey.dry_patches.is_empty() {
        return String::new();
    }
    let mut table = Table::new(vec![
        ("dry patch on", "", Side::Left),
        ("area", "mm²", Side::Right),
        ("middle", "mm", Side::Left),
    ]);
    for patch in survey.dry_patches.iter().take(MOST_PATCHES) {
        let [x, y] = patch.centroid_m.map(|metres| significant(metres * 1e3, 4));
        let area = significant(patch.area_m2 * 1e6, 2);
        table.row(vec![patch.die.clone(), area, format!("{x}, {y}")], None);
    }
    let mut text = format!("\n{}", table.text());
    if survey.dry_patches.len() > MOST_PATCHES {
        text += &format!(
            "  {} smaller in dry_patches.csv.\n",
            counted(survey.dry_patches.len() - MOST_PATCHES, "patch", "patches")
        );
    }
    text
}

fn sentences(survey: &Survey, seating: Option<&Seating>) -> String {
    let mut text = spray_side::liquid(survey);
    if let Some(seating) = seating {
        text += &spray_side::contacts(seating);
    }
    text + "\n" + &spray_side::correlations(&survey.notes) + "\n"
}
