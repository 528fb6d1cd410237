//! A recorded profile in a CSV file: one column a quantity, its unit in the heading.

use std::ops::Range;

use super::codes;
use super::context::{Context, Located, number_text};
use super::csv_file::{CsvFile, cells, lines};
use super::ranges::{self, Quantity};

/// Most rows of a trace.
const MOST_ROWS: usize = 100_000;
/// More columns than any module has sources.
const MOST_COLUMNS: usize = 1_000;

/// What a column holds.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Column {
    /// Watts of a die, type, heater or of the module.
    Power(String),
    /// Factor on the power of one.
    Factor(String),
    /// Factor on every nozzle's flow.
    Flow,
    /// Factor on stated coefficients.
    Htc,
    /// Coolant inlet, °C.
    Inlet,
}

impl Column {
    fn quantity(&self) -> &'static Quantity {
        match self {
            Column::Power(_) => &ranges::POWER,
            Column::Factor(_) => &ranges::POWER_FACTOR,
            Column::Flow => &ranges::FLOW_FACTOR,
            Column::Htc => &ranges::HTC_FACTOR,
            Column::Inlet => &ranges::INLET,
        }
    }

    fn read(heading: &str) -> Option<Column> {
        let (name, quantity) = heading.trim().rsplit_once(' ')?;
        let name = name.trim().to_owned();
        match (name.as_str(), quantity) {
            ("coolant", "flow_factor") => Some(Column::Flow),
            ("coolant", "htc_factor") => Some(Column::Htc),
            ("coolant", "inlet_C") => Some(Column::Inlet),
            (_, "power_W") => Some(Column::Power(name)),
            (_, "factor") => Some(Column::Factor(name)),
            _ => None,
        }
    }
}

/// A trace as it is written.
pub(super) struct Trace {
    pub time_s: Vec<f64>,
    pub columns: Vec<(Column, Vec<f64>)>,
}

/// Notes a mistake; nothing when there were enough of them.
fn note(
    file: &mut CsvFile,
    headline: impl Into<String>,
    span: Range<usize>,
    label: impl Into<String>,
    help: &str,
) -> Option<()> {
    let finding = file.error(codes::CYCLE_TRACE, headline, span, label).help(help);
    file.note(finding).then_some(())
}

const HEADINGS: &str = "the first column is time_s; the others are \"NAME power_W\" or \"NAME factor\" (NAME a die, \
     a die type, a heater or module), \"coolant flow_factor\", \"coolant htc_factor\", \
     \"coolant inlet_C\"";

/// Loads and reads the trace that `path` names in the case. Lines that start with `#` and blank
/// lines are skipped; the first other line holds the headings.
pub(super) fn load(context: &Context<'_>, path: &Located<String>) -> Option<Trace> {
    let mut file = CsvFile::open(context, path)?;
    let source = file.source();
    let mut columns: Option<Vec<(Column, Vec<f64>)>> = None;
    let mut time_s: Vec<f64> = Vec::new();
    for (start, line) in lines(&source.text) {
        let cells = cells(line, start);
        let Some(columns) = &mut columns else {
            columns = headings(&mut file, &cells);
            columns.as_ref()?;
            continue;
        };
        if time_s.len() == MOST_ROWS {
            let headline = format!("a trace has at most {MOST_ROWS} rows");
            note(&mut file, headline, start..start + line.len(), "", "thin it out");
            return None;
        }
        if cells.len() != columns.len() + 1 {
            note(
                &mut file,
                "the rows of a trace must have a cell for each heading",
                start..start + line.len(),
                format!("{} cells; {} headings", cells.len(), columns.len() + 1),
                "separate the numbers with commas; a row does not end with one",
            )?;
            continue;
        }
        for (k, (word, span)) in cells.iter().enumerate() {
            let quantity = if k == 0 { &ranges::TIME } else { columns[k - 1].0.quantity() };
            let value = word.parse::<f64>().ok().filter(|v| v.is_finite());
            let inside = value.filter(|v| *v >= quantity.low && *v <= quantity.high);
            if inside.is_none() {
                let headline = if value.is_some() {
                    "a value of the trace is out of range"
                } else {
                    "a cell of the trace is not a number"
                };
                let label = format!(
                    "allowed {} to {} {}",
                    number_text(quantity.low),
                    number_text(quantity.high),
                    quantity.unit
                );
                let help = "units are those of the headings";
                note(&mut file, headline, span.clone(), label.trim(), help)?;
            }
            let value = inside.unwrap_or(0.0);
            if k == 0 {
                let fault = match time_s.last() {
                    None if value != 0.0 => Some("a trace starts at time 0"),
                    Some(last) if value < *last => Some("times of a trace must not fall"),
                    _ => None,
                };
                if let (Some(fault), true) = (fault, inside.is_some()) {
                    let help = "time_s counts from the start of the period";
                    note(&mut file, fault, span.clone(), "", help)?;
                }
                time_s.push(value);
            } else {
                columns[k - 1].1.push(value);
            }
        }
    }
    let Some(columns) = columns.filter(|_| !time_s.is_empty()) else {
        note(&mut file, "the trace holds no values", 0..0, "", HEADINGS);
        return None;
    };
    (file.mistakes() == 0).then_some(Trace { time_s, columns })
}

fn headings(
    file: &mut CsvFile,
    cells: &[(String, Range<usize>)],
) -> Option<Vec<(Column, Vec<f64>)>> {
    let before = file.mistakes();
    if cells[0].0 != "time_s" {
        let headline = "the first column of a trace is time_s";
        note(file, headline, cells[0].1.clone(), "", HEADINGS)?;
    }
    if cells.len() > MOST_COLUMNS + 1 {
        let headline = format!("a trace has at most {MOST_COLUMNS} columns beside time_s");
        let label = format!("{} here", cells.len() - 1);
        note(file, headline, cells[MOST_COLUMNS + 1].1.clone(), label, HEADINGS)?;
        return None;
    }
    let mut columns: Vec<(Column, Vec<f64>)> = Vec::new();
    for (heading, span) in &cells[1..] {
        match Column::read(heading) {
            Some(column) if columns.iter().any(|(c, _)| *c == column) => {
                let headline = format!("two columns of the trace are \"{heading}\"");
                note(file, headline, span.clone(), "", "keep one of them")?;
            }
            Some(column) => columns.push((column, Vec::new())),
            None => {
                let headline = format!("a heading of the trace is not understood: \"{heading}\"");
                note(file, headline, span.clone(), "", HEADINGS)?;
            }
        }
    }
    if cells.len() == 1 && file.mistakes() == before {
        let headline = "the trace has no column beside time_s";
        note(file, headline, cells[0].1.clone(), "", HEADINGS)?;
    }
    (file.mistakes() == before).then_some(columns)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_heading_is_a_name_and_a_quantity_with_its_unit() {
        let power = Column::Power("D1, spare".to_owned());
        assert_eq!(Column::read("D1, spare power_W"), Some(power));
        assert_eq!(Column::read("coolant inlet_C"), Some(Column::Inlet));
        assert_eq!(Column::read("C0_W"), None);
    }
}
