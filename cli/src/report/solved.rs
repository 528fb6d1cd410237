//! The page of a solved case.

use super::layers::MapData;
use super::plan::plan;
use super::{Cell, Fact, Map, Page, ReportError, SCRIPT, STYLE, Section, Table, sections};
use crate::figures::{celsius, decimals_for, grouped, rounded_up, significant};
use crate::summary::{Solved, Summary, accuracy_reached_K};
use crate::{exchange, text};

/// The page of a solve and of what a command added to it: `usual` are the files of every solve,
/// `more` those of the command.
pub fn of_solved(
    solved: &Solved,
    summary: &Summary,
    usual: &[(String, Vec<u8>)],
    more: &[(String, Vec<u8>)],
) -> Result<Vec<u8>, ReportError> {
    let module = &solved.case.case.module;
    let record = &solved.case.case.record;
    let footprints = solved.survey.map_or(&[][..], |survey| &survey.footprints);
    let file = |name: &str| usual.iter().find(|(n, _)| n == name).map(|(_, bytes)| &bytes[..]);
    let data = MapData::of_solved(solved)?;
    let map = Map::of(&data, map_in_words(solved), module.size_m)?;
    let mut sections = Vec::new();
    if let Some(bytes) = file("junctions.csv") {
        let mut section = Section::new("junctions", "Junctions")
            .paragraph(
                "Hottest, mean and coldest temperature of every active face. The uncertainty is \
                 the estimated numerical error; the margin is limit minus hottest minus \
                 uncertainty. What is wrong in the inputs is not in it.",
            )
            .table(Table::from_csv("junctions", "Junctions", bytes, true)?);
        if let Some(bytes) = file("hot_spots.csv") {
            let caption = "Local maxima of the active faces, hottest first";
            section = section.table(Table::from_csv("hot_spots", caption, bytes, true)?);
        }
        sections.push(section);
    }
    let sensors: Vec<(String, Vec<u8>)> =
        usual.iter().filter(|(name, _)| name == "sensors.csv").cloned().collect();
    if !sensors.is_empty() {
        sections.push(sections::of_files("sensors", "What the sensors should read", &sensors)?);
    }
    // Coverage is told once, whether or not the command wrote it.
    let told = |name: &str| ["coverage.csv", "dry_patches.csv", exchange::CELLS].contains(&name);
    let shown = |name: &str| name.ends_with(".csv") || name.ends_with(".png");
    let more: Vec<(String, Vec<u8>)> =
        more.iter().filter(|(name, _)| shown(name) && !told(name)).cloned().collect();
    if !more.is_empty() {
        let heading = match summary.command {
            "solve" => "Convergence".to_owned(),
            command => capital(command),
        };
        sections.push(sections::of_files("study", &heading, &more)?);
    }
    if let Some(survey) = solved.survey {
        sections.push(sections::spray(solved.case, survey)?);
    }
    sections.push(heat(solved));
    sections.push(accuracy(solved, summary));
    sections.push(sections::stack(solved.case));
    sections.push(sections::case(solved.case));
    sections.push(sections::cautions(record));
    let answer = Answer::of(solved, summary);
    Page {
        title: record.title.clone(),
        command: summary.command,
        verdict: answer.class,
        word: answer.word,
        sentences: answer.sentences,
        facts: facts(solved),
        warnings: summary.warnings.clone(),
        plan: plan(module, footprints),
        map: Some(map),
        sections,
        sha256: solved.case.sha256.clone(),
        version: env!("CARGO_PKG_VERSION"),
        style: STYLE,
        script: SCRIPT,
    }
    .bytes()
}

/// What the command was asked for: word, how that is coloured, sentences.
struct Answer {
    word: String,
    class: &'static str,
    sentences: String,
}

impl Answer {
    /// Of commands with a question of their own its answer, then the limits.
    fn of(solved: &Solved, summary: &Summary) -> Answer {
        let reserved =
            |word: &str| if word.contains(", but") { "none" } else { solved.verdict().word() };
        let (word, limits) = parted(&text::verdict(solved));
        let (own, class) = match (&summary.fit, &summary.qualification) {
            (Some(fit), _) => (
                text::fit_verdict(fit),
                match (fit.explains, fit.disagree.is_empty()) {
                    (true, true) => "pass",
                    (true, false) => "none",
                    (false, _) => "fail",
                },
            ),
            (None, Some(plan)) => {
                (text::qualify_verdict(plan), if plan.sufficient { "pass" } else { "fail" })
            }
            (None, None) => {
                return Answer { class: reserved(&word), word, sentences: limits };
            }
        };
        let (own, sentences) = parted(&own);
        let limits = format!("The case as stated, at its limits: {word}. {limits}");
        Answer { word: own, class, sentences: format!("{sentences} {limits}") }
    }
}

/// A verdict as plain text: its word, and its sentences, which stand two blanks apart from it.
fn parted(verdict: &str) -> (String, String) {
    let verdict = anstream::adapter::strip_str(verdict).to_string();
    let (word, sentences) = verdict.split_once("  ").unwrap_or(("", &verdict));
    (word.to_owned(), text::plain(sentences))
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters
        .next()
        .map_or(String::new(), |first| first.to_uppercase().chain(letters).collect::<String>())
}

fn map_in_words(solved: &Solved) -> String {
    let result = solved.result;
    let range = |values: &ndarray::Array2<f64>| {
        values
            .iter()
            .filter(|v| v.is_finite())
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(*v), high.max(*v)))
    };
    let (low, high) = range(&result.surface_K.values);
    let hottest = match result.hottest().map(|index| &result.junctions[index]) {
        Some(junction) => format!(
            " The hottest junction is {} with {}, at x {} mm, y {} mm.",
            junction.name,
            degrees(junction.max_K, junction.uncertainty_K),
            significant(junction.hot_spot_m[0] * 1e3, 4),
            significant(junction.hot_spot_m[1] * 1e3, 4),
        ),
        None => String::new(),
    };
    format!(
        "Map of the module from the spray side. The exposed surface is between {:.1} and {:.1} °C.\
         {hottest} The tables below hold the numbers.",
        celsius(low),
        celsius(high)
    )
}

fn degrees(kelvin: f64, uncertainty_K: f64) -> String {
    let decimals = decimals_for(uncertainty_K);
    format!("{:.decimals$} ± {} °C", celsius(kelvin), rounded_up(uncertainty_K, decimals))
}

fn facts(solved: &Solved) -> Vec<Fact> {
    let result = solved.result;
    let junctions = &result.junctions;
    let mut facts = Vec::new();
    if let Some(junction) = result.hottest().map(|index| &junctions[index]) {
        facts.push(Fact::new(
            "Hottest junction",
            degrees(junction.max_K, junction.uncertainty_K),
            junction.name.clone(),
        ));
    }
    let tightest = junctions
        .iter()
        .filter_map(|junction| Some((junction, junction.margin_K()?)))
        .min_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((junction, margin)) = tightest {
        let limit = junction.limit_K.map_or(String::new(), |limit| {
            format!("{}, limit {} °C", junction.name, significant(celsius(limit), 5))
        });
        facts.push(Fact::new("Least margin to a limit", format!("{margin:.1} K"), limit));
    }
    let least = junctions
        .iter()
        .filter_map(|junction| Some((junction, junction.chf_margin?)))
        .min_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((junction, margin)) = least {
        facts.push(Fact::new(
            "Least margin to burn-out",
            significant(margin, 3),
            format!("{}, critical over local heat flux", junction.name),
        ));
    }
    let balance = &result.balance;
    facts.push(Fact::new(
        "Heat",
        format!("{} W", significant(balance.in_W, 4)),
        format!(
            "{} W to the spray, {} W {}",
            significant(balance.to_spray_W, 4),
            significant(balance.to_board_W.abs(), 4),
            if balance.to_board_W < 0.0 { "in from the board" } else { "to the board" }
        ),
    ));
    if let Some(survey) = solved.survey {
        let budget = &survey.budget;
        facts.push(Fact::new(
            "Liquid",
            format!("{} mL/s", significant(budget.flow_m3_s * 1e6, 3)),
            format!(
                "{} nozzles; exit quality {}",
                survey.footprints.len(),
                significant(budget.exit_quality, 2)
            ),
        ));
    }
    facts
}

fn heat(solved: &Solved) -> Section {
    let sentence = text::plain(&text::heat(solved.result));
    let mut section = Section::new("heat", "Heat balance")
        .paragraph(sentence.strip_prefix("Heat: ").unwrap_or(&sentence));
    for paragraph in sections::contacts(solved.seating) {
        section = section.paragraph(paragraph);
    }
    section
}

/// How accurate, how checked, what was assumed.
fn accuracy(solved: &Solved, summary: &Summary) -> Section {
    let result = solved.result;
    let reached = match accuracy_reached_K(result) {
        Some(reached) => format!(
            "Every junction’s maximum and mean are within ± {} K of the exact solution of the \
             model, as estimated",
            rounded_up(reached, decimals_for(reached))
        ),
        None => "There is no junction".to_owned(),
    };
    let asked = match summary.accuracy_asked_K {
        Some(asked) => format!(" (asked for: {} K)", significant(asked, 3)),
        None => " on the cell size that the case fixes".to_owned(),
    };
    let rows = result
        .levels
        .iter()
        .enumerate()
        .map(|(n, level)| {
            let highest = |values: &[f64]| values.iter().copied().max_by(f64::total_cmp);
            super::table::Row {
                place: None,
                name: format!("{}", n + 1),
                cells: vec![
                    Cell::text((n + 1).to_string()),
                    Cell::text(grouped(level.unknowns)),
                    Cell::text(format!("{} × {}", level.cells[0], level.cells[1])),
                    Cell::text(level.sheets.to_string()),
                    Cell::text(level.iterations.to_string()),
                    Cell::number(highest(&level.junction_max_K).map(celsius), 6),
                    Cell::number(level.uncertainty_K.as_deref().and_then(highest), 2),
                ],
            }
        })
        .collect();
    let column = |title: &str, unit: &str| super::table::Column {
        title: title.to_owned(),
        unit: unit.to_owned(),
        numeric: true,
    };
    let table = Table {
        caption: "Grids in the order in which they were solved".to_owned(),
        id: "grids".to_owned(),
        columns: vec![
            column("grid", ""),
            column("unknowns", ""),
            column("cells", ""),
            column("sheets", ""),
            column("iterations", ""),
            column("hottest on this grid", "°C"),
            column("largest uncertainty", "K"),
        ],
        rows,
        ..Table::default()
    };
    Section::new("accuracy", "How accurate, how checked, what was assumed")
        .paragraph(format!(
            "{reached}{asked}. The grid was refined in the plane and through the thickness, and \
             the temperatures extrapolated; the map shows the cells of the last grid. Tolerances \
             of powers, coefficients and materials are not in this number: `sprayside \
             sensitivity` tells what they do."
        ))
        .table(table)
        .paragraph(format!(
            "Checked in this run: heat in and heat out agree to {}; the linear equations are \
             solved to a relative residual of {}; no temperature is colder than what cools the \
             module nor hotter than its junctions. Checked outside it: closed forms, handbook \
             examples, published spray measurements and general-purpose libraries, in \
             validation/results.md of the source.",
            significant(result.balance.imbalance_relative(), 1),
            significant(result.residual_relative, 1),
        ))
        .paragraph("Assumed:")
        .with(sections::assumptions(solved.case))
}
