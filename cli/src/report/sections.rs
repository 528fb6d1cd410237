//! Parts that pages share.

use sprayside_solver::case::Record;
use sprayside_solver::module::Spray;
use sprayside_solver::seating::Seating;

use super::packing::base64;
use super::table::{Column, Row, heading};
use super::{Block, Cell, ReportError, Section, Still, Table};
use crate::case_file::CaseFile;
use crate::figures::significant;
use crate::summary::{Budget, CAUTION, Correlation};
use crate::survey::Survey;
use crate::tables::{CoverageRow, DryPatchRow, csv};
use crate::{summary, text};

/// Captions of files by name; others get their name.
const CAPTIONS: [(&str, &str); 17] = [
    ("cycle_summary.csv", "Every junction over the whole run"),
    ("nozzles.csv", "Nozzles before and after"),
    ("before_after.csv", "Junctions before and after"),
    ("trade_off.csv", "What other amounts of liquid would give"),
    ("sensors.csv", "Sensors: the reading that the model predicts"),
    ("convergence.csv", "Every grid and what it says of every junction"),
    (
        "resistance_max.csv",
        "Thermal resistance to the hottest point of each junction, K/W: row, \
     junction read; column, where the watt goes",
    ),
    ("resistance_mean.csv", "Thermal resistance to the mean of each junction, K/W"),
    (
        "sensitivity_max.csv",
        "What the hottest point of each junction gains for a step of each \
     input, K",
    ),
    ("sensitivity_mean.csv", "What the mean of each junction gains for a step of each input, K"),
    ("hot_spots.csv", "Local maxima of the active faces, hottest first"),
    ("points.csv", "Every point of the study"),
    ("clog.csv", "What each blocked nozzle costs, worst first"),
    ("scatter.csv", "Spread of each junction over the samples"),
    ("samples.csv", "Every sample"),
    ("coverage.csv", "Coverage, a row a die"),
    ("dry_patches.csv", "Parts of die on which nothing lands, largest first"),
];

/// Characters of a file of the case that the page holds: enough for tables of parts, while maps
/// may be long.
const MOST_OF_A_FILE: usize = 60_000;

/// A section from the files of a command: its tables as tables, its pictures as pictures.
pub fn of_files(
    id: &str,
    title: &str,
    files: &[(String, Vec<u8>)],
) -> Result<Section, ReportError> {
    let mut section = Section::new(id, title);
    for (name, bytes) in files {
        let caption =
            CAPTIONS.iter().find(|(file, _)| file == name).map_or(name.as_str(), |(_, text)| text);
        if let Some(stem) = name.strip_suffix(".csv") {
            // Matrices have names of junctions for columns, and no units in them.
            let units = !stem.starts_with("resistance") && !stem.starts_with("sensitivity");
            section = section.table(Table::from_csv(stem, caption, bytes, units)?);
        } else if name.ends_with(".png") {
            section = section.with(Block {
                picture: Some(Still {
                    address: format!("data:image/png;base64,{}", base64(bytes)),
                    described: described(bytes).unwrap_or_else(|| name.clone()),
                    caption: name.clone(),
                }),
                ..Block::default()
            });
        }
    }
    Ok(section)
}

/// The description that our pictures carry inside (PNG, `iTXt`, keyword `Description`).
fn described(png: &[u8]) -> Option<String> {
    let mut at = 8;
    loop {
        let length = u32::from_be_bytes(png.get(at..at + 4)?.try_into().ok()?) as usize;
        let kind = png.get(at + 4..at + 8)?;
        let data = png.get(at + 8..at + 8 + length)?;
        if kind == b"iTXt"
            && let Some(text) = data.strip_prefix(b"Description\0\0\0\0\0")
        {
            return String::from_utf8(text.to_vec()).ok();
        }
        at += 12 + length;
    }
}

/// Coverage, dry patches, liquid, loop, contacts, correlations.
pub fn spray(case: &CaseFile, survey: &Survey) -> Result<Section, ReportError> {
    let coverage = csv(&CoverageRow::HEADER, &summary::coverage_rows(case, survey))?;
    let dry: Vec<DryPatchRow> = survey.dry_patches.iter().map(DryPatchRow::of).collect();
    let dry = csv(&DryPatchRow::HEADER, &dry)?;
    let mut section = Section::new("spray", "Spray: coverage and liquid budget")
        .paragraph(
            "Uniformity is Christiansen’s: one minus the mean deviation of the volumetric flux \
             over its mean. A CHF margin is critical over local heat flux; below 1 the place burns \
             out. Critical heat flux is a cliff: keep a margin of about two, and prove it on \
             hardware.",
        )
        .table(Table::from_csv("coverage", "Coverage, a row a die", &coverage, true)?);
    section = match survey.dry_patches.len() {
        0 => section.paragraph("No die has a dry patch."),
        _ => section.table(Table::from_csv(
            "dry_patches",
            "Parts of die on which nothing lands, largest first",
            &dry,
            true,
        )?),
    };
    for paragraph in text::spray_side::liquid(survey).lines_joined() {
        section = section.paragraph(paragraph);
    }
    if let Spray::Correlated(spray) = &case.case.module.spray {
        section = section.table(budget(&Budget::of(&survey.budget, spray))?);
    }
    Ok(section.table(correlations(survey)))
}

/// Paragraphs of the terminal as plain lines: a line that starts with blanks goes on.
trait LinesJoined {
    fn lines_joined(&self) -> Vec<String>;
}

impl LinesJoined for String {
    fn lines_joined(&self) -> Vec<String> {
        let mut paragraphs: Vec<String> = Vec::new();
        for line in self.lines() {
            match paragraphs.last_mut() {
                Some(last) if line.starts_with(' ') => {
                    last.push(' ');
                    last.push_str(line);
                }
                _ => paragraphs.push(line.to_owned()),
            }
        }
        paragraphs.iter().map(|paragraph| text::plain(paragraph)).collect()
    }
}

/// The fields of the budget, a row each.
fn budget(budget: &Budget) -> Result<Table, ReportError> {
    let fields = serde_json::to_value(budget)?;
    let rows = fields
        .as_object()
        .into_iter()
        .flatten()
        .filter_map(|(name, value)| {
            let (title, unit) = heading(name);
            let value = value.as_f64()?;
            Some(Row {
                place: None,
                name: title.clone(),
                cells: vec![Cell::text(title), Cell::number(Some(value), 4), Cell::text(unit)],
            })
        })
        .collect();
    Ok(Table {
        caption: "Liquid budget".to_owned(),
        id: "budget".to_owned(),
        columns: columns(&[("quantity", false), ("value", true), ("unit", false)]),
        rows,
        ..Table::default()
    })
}

fn columns(titles: &[(&str, bool)]) -> Vec<Column> {
    titles
        .iter()
        .map(|(title, numeric)| Column {
            title: (*title).to_owned(),
            unit: String::new(),
            numeric: *numeric,
        })
        .collect()
}

fn correlations(survey: &Survey) -> Table {
    let rows = survey
        .notes
        .iter()
        .map(Correlation::of)
        .map(|note| {
            let factor = |value: Option<f64>| value.map_or("-".to_owned(), |v| significant(v, 2));
            let band = format!("{} to {}", factor(note.band_low), factor(note.band_high));
            let inside = if note.in_range { "inside" } else { "outside, band widened" };
            Row {
                place: None,
                name: note.name.to_owned(),
                cells: [
                    note.name,
                    &band,
                    note.range,
                    inside,
                    note.status,
                    note.source,
                    &note.remark,
                ]
                .map(Cell::text)
                .to_vec(),
            }
        })
        .collect();
    Table {
        caption: "Correlations as used; the band is the factor within which the true value is \
                  expected"
            .to_owned(),
        id: "correlations".to_owned(),
        columns: columns(&[
            ("correlation", false),
            ("band", false),
            ("range", false),
            ("this case", false),
            ("status", false),
            ("source", false),
            ("remark", false),
        ]),
        rows,
        ..Table::default()
    }
}

/// The contact field in words; empty where there is none.
pub fn contacts(seating: Option<&Seating>) -> Vec<String> {
    seating.map(text::spray_side::contacts).unwrap_or_default().lines_joined()
}

/// Layers and materials.
pub fn stack(case: &CaseFile) -> Section {
    let record = &case.case.record;
    let layers = record
        .layers
        .iter()
        .rev()
        .map(|layer| Row {
            place: None,
            name: layer.name.clone(),
            cells: vec![
                Cell::text(&layer.name),
                Cell::text(&layer.material),
                Cell::number(Some(layer.thickness_mm), 5),
                Cell::number(Some(layer.resistance_mm2K_W), 3),
            ],
        })
        .collect();
    let mut layer_columns = columns(&[
        ("layer", false),
        ("material", false),
        ("thickness", true),
        ("resistance through it", true),
    ]);
    layer_columns[2].unit = "mm".to_owned();
    layer_columns[3].unit = "mm²K/W".to_owned();
    let materials = record
        .materials
        .iter()
        .map(|material| {
            let [x, y, z] = material.conductivity_W_mK.map(|k| significant(k, 4));
            let conductivity = if x == y && y == z { x } else { format!("{x}, {y}, {z}") };
            let law = match (material.exponent, material.reference_C) {
                (Some(n), Some(t)) => {
                    format!(
                        "falls with the power {} of T/({} K)",
                        significant(n, 3),
                        significant(t + 273.15, 4)
                    )
                }
                _ => "constant".to_owned(),
            };
            let cells = [
                &material.name,
                &conductivity,
                &law,
                &material.used_by.join(", "),
                &material.source,
            ];
            Row {
                place: None,
                name: material.name.clone(),
                cells: cells.map(|text| Cell::text(text.as_str())).to_vec(),
            }
        })
        .collect();
    let mut material_columns = columns(&[
        ("material", false),
        ("conductivity x, y, z", false),
        ("with temperature", false),
        ("used by", false),
        ("source", false),
    ]);
    material_columns[1].unit = "W/(mK)".to_owned();
    Section::new("stack", "Layers and materials")
        .table(Table {
            caption: "Layers, from the spray side down".to_owned(),
            id: "layers".to_owned(),
            columns: layer_columns,
            rows: layers,
            ..Table::default()
        })
        .table(Table {
            caption: "Materials and where their values come from".to_owned(),
            id: "materials".to_owned(),
            columns: material_columns,
            rows: materials,
            ..Table::default()
        })
}

/// What was taken for granted.
pub fn assumptions(case: &CaseFile) -> Block {
    let record = &case.case.record;
    let mut list = vec![
        "Steady state at the powers stated; radiation and the heat that leaves through cables are \
         left out."
            .to_owned(),
        "Rectangles on layers. Each layer is one or several plates, averaged through their \
         thickness; neighbours touch without a gap unless an attach is stated."
            .to_owned(),
    ];
    list.push(match &case.case.module.spray {
        Spray::Prescribed(_) => {
            "The spray is the coefficient stated in the case; nothing here says that nozzles \
             reach it."
                .to_owned()
        }
        Spray::Correlated(_) => {
            "The spray follows from its nozzles by published correlations: cones that fill \
             evenly, drops that do not collide, no drainage, no film between die, no ageing."
                .to_owned()
        }
    });
    list.push(format!(
        "Liquid enters at {} °C at {} kPa. Board side: {} °C behind {} W/(m²K). Edges: {}.",
        significant(record.inlet_C, 5),
        significant(record.pressure_kPa, 6),
        significant(record.board_C, 5),
        significant(record.board_htc_W_m2K, 4),
        if record.edge_htc_W_m2K > 0.0 {
            format!(
                "{} °C behind {} W/(m²K)",
                significant(record.edge_C, 5),
                significant(record.edge_htc_W_m2K, 4)
            )
        } else {
            "no heat passes".to_owned()
        },
    ));
    Block { list, ..Block::default() }
}

/// The case as it was read, and what identifies it.
pub fn case(case: &CaseFile) -> Section {
    let mut section = Section::new("case", "The case file").paragraph(format!(
        "SHA-256 {} (what sha256sum prints of the file). Everything above follows from this text \
         and from the files that it names.",
        case.sha256
    ));
    let files: Vec<String> =
        case.files.iter().map(|file| format!("{}: SHA-256 {}", file.name, file.sha256)).collect();
    if !files.is_empty() {
        section = section.with(Block { list: files, ..Block::default() });
    }
    section = section.with(Block {
        verbatim: Some((case.case.record.title.clone(), case.text.clone())),
        ..Block::default()
    });
    for file in &case.files {
        let text = match file.text.char_indices().nth(MOST_OF_A_FILE) {
            None => file.text.clone(),
            Some((end, _)) => format!("{}\n... the file goes on", &file.text[..end]),
        };
        section =
            section.with(Block { verbatim: Some((file.name.clone(), text)), ..Block::default() });
    }
    section
}

/// What the numbers rest on.
pub fn assumed(case: &CaseFile) -> Section {
    Section::new("assumed", "What was assumed").with(assumptions(case))
}

/// What a person must know before building on it.
pub fn cautions(record: &Record) -> Section {
    let mut list = Vec::new();
    if !record.fluid_cautions.is_empty() {
        let fluid = record.fluid.as_deref().unwrap_or("the coolant");
        list.extend(record.fluid_cautions.iter().map(|caution| format!("{fluid}: {caution}.")));
    }
    list.push(CAUTION.to_owned());
    Section::new("cautions", "Cautions").with(Block { list, ..Block::default() })
}
