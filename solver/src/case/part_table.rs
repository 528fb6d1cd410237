//! Parts from a CSV file, a row a part: die and nozzles. A row becomes the table that would stand
//! inline, so that every check of inline parts is made of it and points into the file.

use std::ops::Range;
use std::sync::Arc;

use toml::Spanned;
use toml::de::{DeArray, DeTable, DeValue};

use super::codes::{self, Code};
use super::context::{Context, Located, nearest, number_text, quoted_list};
use super::csv_file::{self, Mistakes, cells};
use super::diagnostic::SourceText;
use super::fields::{Fields, Need};
use super::other_units;
use super::ranges::MOST_PARTS;

/// What the cells of a column become.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Cell {
    Text,
    Number,
    /// One of two numbers of a list, such as `at_mm`.
    Half(usize),
}

/// A column that a table may have.
#[derive(Debug)]
pub(super) struct Column {
    /// Heading without its unit.
    heading: &'static str,
    /// Unit; empty where there is none.
    unit: &'static str,
    /// Key of the inline part.
    key: &'static str,
    cell: Cell,
    need: Need,
}

impl Column {
    const fn text(heading: &'static str, need: Need) -> Column {
        Column { heading, unit: "", key: heading, cell: Cell::Text, need }
    }

    const fn number(
        heading: &'static str,
        unit: &'static str,
        key: &'static str,
        need: Need,
    ) -> Column {
        Column { heading, unit, key, cell: Cell::Number, need }
    }

    const fn half(
        heading: &'static str,
        unit: &'static str,
        key: &'static str,
        half: usize,
        need: Need,
    ) -> Column {
        Column { heading, unit, key, cell: Cell::Half(half), need }
    }

    /// Heading with its unit.
    fn full(&self) -> String {
        if self.unit.is_empty() {
            self.heading.to_owned()
        } else {
            format!("{}_{}", self.heading, self.unit)
        }
    }
}

/// Columns of a table of die.
pub(super) const DIE: &[Column] = &[
    Column::text("name", Need::Required),
    Column::text("type", Need::Required),
    Column::half("x", "mm", "at_mm", 0, Need::Required),
    Column::half("y", "mm", "at_mm", 1, Need::Required),
    Column::number("turn", "deg", "turn_deg", Need::Optional),
    Column::number("power", "W", "power_W", Need::Required),
    Column::text("power_map", Need::Optional),
];

/// Columns of a table of nozzles.
pub(super) const NOZZLE: &[Column] = &[
    Column::text("name", Need::Required),
    Column::text("type", Need::Required),
    Column::half("x", "mm", "at_mm", 0, Need::Required),
    Column::half("y", "mm", "at_mm", 1, Need::Required),
    Column::number("standoff", "mm", "standoff_mm", Need::Required),
    Column::half("tilt_x", "deg", "tilt_deg", 0, Need::Optional),
    Column::half("tilt_y", "deg", "tilt_deg", 1, Need::Optional),
    Column::number("flow_factor", "", "flow_factor", Need::Optional),
];

/// Whether `written` is another spelling of `unit`.
fn is_unit(written: &str, unit: &str) -> bool {
    match unit {
        "" => matches!(written, "-" | "1"),
        "deg" => matches!(written, "deg" | "°"),
        unit => written == unit,
    }
}

/// The parts of the table that `path` names; every row goes through `read` as `place` would.
pub(super) fn parts<T>(
    context: &Context<'_>,
    path: &Located<String>,
    place: &str,
    columns: &'static [Column],
    read: impl Fn(Fields<'_, '_, '_>) -> T,
) -> Vec<T> {
    let Some(text) = context.text_of(path) else { return Vec::new() };
    let source = SourceText::new(path.value.clone(), &text);
    let base = context.adopt(&source, &path.span);
    let mut reader = Reader { context, mistakes: Mistakes::default(), columns };
    reader.parts(&source, base, place, &read)
}

struct Reader<'r, 'c> {
    context: &'r Context<'c>,
    mistakes: Mistakes,
    columns: &'static [Column],
}

/// The columns of one file, in its order; `None` for one that is left alone.
type Layout = Vec<Option<&'static Column>>;

impl Reader<'_, '_> {
    fn note(
        &mut self,
        code: Code,
        headline: impl Into<String>,
        span: &Range<usize>,
        label: impl Into<String>,
        help: impl Into<String>,
    ) {
        let finding = self.context.error(code, headline, span, label);
        let help = help.into();
        let finding = if help.is_empty() { finding } else { finding.help(help) };
        self.mistakes.note(self.context, finding);
    }

    fn parts<T>(
        &mut self,
        source: &Arc<SourceText>,
        base: usize,
        place: &str,
        read: &impl Fn(Fields<'_, '_, '_>) -> T,
    ) -> Vec<T> {
        let mut lines = csv_file::lines(&source.text)
            .map(|(at, line)| {
                let start = base + at;
                (start..start + line.len(), cells(line, start))
            })
            // Spreadsheets pad with rows of commas.
            .filter(|(_, cells)| cells.iter().any(|(text, _)| !text.is_empty()))
            .peekable();
        let wanted = self.columns.iter().map(Column::full).collect::<Vec<_>>().join(",");
        let Some((head_span, mut head)) = lines.next() else {
            let help = format!("its first line is {wanted}");
            self.note(codes::TABLE_EMPTY, "the table is empty", &(base..base), "", help);
            return Vec::new();
        };
        // Spreadsheets also pad lines with commas.
        while head.last().is_some_and(|(text, _)| text.is_empty()) {
            head.pop();
        }
        let Some((layout, united)) = self.headings(&head_span, &head) else { return Vec::new() };
        let next = lines.peek();
        if !united.iter().zip(&layout).all(|(has, column)| *has || column.is_none())
            || next.is_some_and(|(_, cells)| is_units_row(&layout, cells))
        {
            let units = next.map(|(_, cells)| cells.clone()).unwrap_or_default();
            if is_units_row(&layout, &units) || units.is_empty() {
                lines.next();
                let first = lines.peek().map(|(_, cells)| cells.clone()).unwrap_or_default();
                self.units(&layout, &united, &head, &units, &first);
            } else {
                self.units(&layout, &united, &head, &[], &[]);
            }
        }
        // Of a table whose headings or units are wrong only names count, so that what refers to
        // its parts is not told to be unknown.
        let names_alone = self.mistakes.count() > 0;
        if lines.peek().is_none() {
            self.note(codes::TABLE_EMPTY, "the table has no rows", &head_span, "", "");
            return Vec::new();
        }
        let mut parts = Vec::new();
        for (span, row) in lines {
            if parts.len() == MOST_PARTS {
                let headline = format!("a table has at most {MOST_PARTS} rows");
                self.note(codes::TABLE_CELL, headline, &span, "this row is one too many", "");
                break;
            }
            parts.extend(self.part(&layout, &span, &row, place, names_alone, read));
        }
        parts
    }

    /// The columns, and whether each needs no unit below its heading.
    fn headings(
        &mut self,
        line: &Range<usize>,
        head: &[(String, Range<usize>)],
    ) -> Option<(Layout, Vec<bool>)> {
        let separator = [(';', "semicolons"), ('\t', "tabs")]
            .into_iter()
            .find(|(c, _)| head.len() == 1 && head[0].0.contains(*c));
        if let Some((_, words)) = separator {
            let headline = format!("the cells of the table are separated by {words}");
            let help = "separate them with commas and write decimals with a point: C0,18.5,92.0";
            self.note(codes::TABLE_HEADING, headline, line, "", help);
            return None;
        }
        let mut layout: Layout = Vec::new();
        let mut united = Vec::new();
        for (text, span) in head {
            if text.starts_with('#') {
                layout.push(None);
                united.push(true);
                continue;
            }
            if text.is_empty() {
                let headline = "a column of the table has no heading";
                self.note(codes::TABLE_HEADING, headline, span, "", "name it, or start it with #");
            }
            let (column, unit) = self.heading(text);
            match column {
                Some(column) if layout.iter().flatten().any(|c| c.heading == column.heading) => {
                    let headline = format!("two columns of the table are {}", column.heading);
                    self.note(codes::TABLE_HEADING, headline, span, "", "keep one of them");
                }
                Some(column) => {
                    if let Some(unit) = &unit
                        && !is_unit(unit, column.unit)
                    {
                        self.wrong_unit(column, unit, span, None);
                    }
                    layout.push(Some(column));
                    united.push(unit.is_some() || column.unit.is_empty());
                    continue;
                }
                None if text.is_empty() => {}
                None => {
                    let known: Vec<String> = self.columns.iter().map(Column::full).collect();
                    let near = nearest(text, known.iter().map(String::as_str));
                    let help = match near {
                        Some(near) => format!("did you mean {near}?"),
                        None => format!(
                            "the headings known here: {}; one that starts with # is left alone",
                            known.join(", ")
                        ),
                    };
                    let headline = format!("unknown heading {text} in the table");
                    self.note(codes::TABLE_HEADING, headline, span, "", help);
                }
            }
            layout.push(None);
            united.push(true);
        }
        let has = |heading: &str| layout.iter().flatten().any(|c| c.heading == heading);
        let lacking: Vec<String> = self
            .columns
            .iter()
            .filter(|column| {
                let of_pair = layout.iter().flatten().any(|c| c.key == column.key);
                !has(column.heading) && (column.need == Need::Required || of_pair)
            })
            .map(Column::full)
            .collect();
        if !lacking.is_empty() && self.mistakes.count() == 0 {
            let headline = format!("the table lacks the column {}", lacking.join(", "));
            let help = "every part needs it; a heading is missing in this line";
            self.note(codes::TABLE_HEADING, headline, line, "", help);
        }
        Some((layout, united))
    }

    /// The column that a heading means, and the unit that it states: `x`, `x_mm`, `x [mm]`.
    fn heading(&self, text: &str) -> (Option<&'static Column>, Option<String>) {
        // A spreadsheet begins words with capitals; the letters of units mean something.
        let called =
            |name: &str| self.columns.iter().find(|c| c.heading.eq_ignore_ascii_case(name));
        if let Some(column) = called(text) {
            return (Some(column), None);
        }
        if let Some((name, unit)) = text.rsplit_once('_')
            && let Some(column) = called(name)
            && is_unit(unit, column.unit)
        {
            return (Some(column), Some(unit.to_owned()));
        }
        let bracketed = text
            .strip_suffix([']', ')'])
            .and_then(|rest| rest.split_once(['[', '(']))
            .map(|(name, unit)| (name.trim(), unit.trim()));
        let tailed = text.rsplit_once('_').filter(|(_, unit)| other_units::is_known(unit));
        match bracketed.or(tailed) {
            Some((name, unit)) => (called(name), Some(unit.to_owned())),
            None => (None, None),
        }
    }

    /// Checks the row of units; an empty one says that there is none.
    fn units(
        &mut self,
        layout: &Layout,
        united: &[bool],
        head: &[(String, Range<usize>)],
        units: &[(String, Range<usize>)],
        first: &[(String, Range<usize>)],
    ) {
        let mut without: Vec<usize> = Vec::new();
        for (k, column) in layout.iter().enumerate() {
            let Some(column) = column else { continue };
            let (written, span) = units.get(k).cloned().unwrap_or((String::new(), 0..0));
            let bare = written.trim_matches(['[', ']', '(', ')', ' ']);
            if bare.is_empty() || bare == "-" && !column.unit.is_empty() {
                if !united[k] {
                    without.push(k);
                }
            } else if !is_unit(bare, column.unit) {
                let value = first.get(k).and_then(|(text, _)| text.parse::<f64>().ok());
                self.wrong_unit(column, bare, &span, value);
            }
        }
        let named = |name: &dyn Fn(&Column) -> String| {
            let columns = without.iter().filter_map(|k| layout[*k]);
            columns.map(name).collect::<Vec<_>>().join(", ")
        };
        if let Some(first) = without.first() {
            let headline =
                format!("no unit is stated of {}", named(&|column| column.heading.to_owned()));
            let help = format!(
                "write {} as headings, or a row below them with {}",
                named(&Column::full),
                named(&|column| column.unit.to_owned())
            );
            self.note(codes::TABLE_UNIT, headline, &head[*first].1, "", help);
        }
    }

    fn wrong_unit(
        &mut self,
        column: &Column,
        written: &str,
        span: &Range<usize>,
        value: Option<f64>,
    ) {
        let Column { heading, unit, .. } = column;
        let (headline, label) = if unit.is_empty() {
            (format!("the column {heading} has no unit"), format!("\"{written}\" is stated"))
        } else {
            let label = format!("\"{written}\" is stated");
            (format!("the column {heading} must be in {unit}"), label)
        };
        let known = other_units::between(written, unit).map(|known| known.factor);
        let help = match (known, value) {
            (Some(factor), Some(value)) => format!(
                "{} {written} is {}: multiply the column by {}; units are checked, never converted",
                number_text(value),
                format!("{} {unit}", number_text(value * factor)).trim_end(),
                number_text(factor)
            ),
            (Some(factor), None) if unit.is_empty() => {
                format!("multiply the column by {}", number_text(factor))
            }
            (Some(factor), None) => format!(
                "multiply the column by {} and write {unit}; units are checked, never converted",
                number_text(factor)
            ),
            (None, _) if unit.is_empty() => "leave the cell blank, or write -".to_owned(),
            (None, _) => format!("write {unit} if the values are in it"),
        };
        self.note(codes::TABLE_UNIT, headline, span, label, help);
    }

    /// One row; `None` where its cells do not fit the headings.
    fn part<T>(
        &mut self,
        layout: &Layout,
        span: &Range<usize>,
        row: &[(String, Range<usize>)],
        place: &str,
        names_alone: bool,
        read: &impl Fn(Fields<'_, '_, '_>) -> T,
    ) -> Option<T> {
        let beyond = row.iter().skip(layout.len()).any(|(text, _)| !text.is_empty());
        if row.len() < layout.len() || beyond {
            let label = format!("{} cells; {} headings", row.len(), layout.len());
            let help = "separate the cells with commas; a cell that holds one stands in quotes";
            let headline = "a row of the table does not fit its headings";
            self.note(codes::TABLE_CELL, headline, span, label, help);
            return None;
        }
        let mut excused: Vec<&'static str> = Vec::new();
        if names_alone {
            let named = |c: &&Column| matches!(c.key, "name" | "type");
            excused.extend(self.columns.iter().filter(|c| !named(c)).map(|c| c.key));
            for heading in ["name", "type"] {
                if !layout.iter().flatten().any(|c| c.heading == heading) {
                    excused.push(heading);
                }
            }
        }
        // Numbers as TOML writes them; they outlive the table made of them.
        let mut written: Vec<Option<String>> = Vec::new();
        for (column, (text, place)) in layout.iter().zip(row) {
            written.push(match column {
                Some(column) if excused.contains(&column.key) => None,
                Some(column) if text.is_empty() => {
                    let other = |c: &&Column| c.key == column.key && c.heading != column.heading;
                    let half = layout
                        .iter()
                        .zip(row)
                        .any(|(c, (text, _))| c.as_ref().is_some_and(other) && !text.is_empty());
                    if column.need == Need::Required || half {
                        let headline = format!("{} is blank in the table", column.full());
                        let help = "write it; nothing that changes the answer has a default";
                        self.note(codes::TABLE_CELL, headline, place, "a blank cell", help);
                        excused.push(column.key);
                    }
                    None
                }
                Some(column) if column.cell == Cell::Text => Some(text.clone()),
                Some(column) => match text.parse::<f64>().ok().filter(|value| value.is_finite()) {
                    Some(value) => Some(format!("{value:?}")),
                    None => {
                        self.not_a_number(column, text, place);
                        excused.push(column.key);
                        None
                    }
                },
                None => None,
            });
        }
        let mut table = DeTable::new();
        for (k, (column, (_, place))) in layout.iter().zip(row).enumerate() {
            let Some(column) = column.filter(|column| !excused.contains(&column.key)) else {
                continue;
            };
            let Some(text) = &written[k] else { continue };
            let value = match column.cell {
                Cell::Text => DeValue::String(text.as_str().into()),
                Cell::Number => number(text)?,
                Cell::Half(0) => {
                    let second = layout.iter().position(|c| {
                        c.is_some_and(|c| c.key == column.key && c.cell == Cell::Half(1))
                    });
                    let Some(k) = second else { continue };
                    let Some(other) = &written[k] else { continue };
                    let mut pair = DeArray::new();
                    pair.push(Spanned::new(place.clone(), number(text)?));
                    pair.push(Spanned::new(row[k].1.clone(), number(other)?));
                    DeValue::Array(pair)
                }
                Cell::Half(_) => continue,
            };
            let key = Spanned::new(place.clone(), column.key.into());
            table.insert(key, Spanned::new(place.clone(), value));
        }
        let fields = Fields::new(self.context, place, span.clone(), &table);
        Some(read(fields.excuse(excused)))
    }

    fn not_a_number(&mut self, column: &Column, text: &str, span: &Range<usize>) {
        let bare: String = text.chars().take_while(|c| "0123456789.+-eE".contains(*c)).collect();
        let help = if text.contains(',') {
            "write decimals with a point".to_owned()
        } else if let Ok(value) = bare.parse::<f64>() {
            format!("write {}; the unit stands above the column", number_text(value))
        } else {
            "write a finite number with a decimal point".to_owned()
        };
        let headline = format!("{} is not a number in the table", column.full());
        self.note(codes::TABLE_CELL, headline, span, format!("got {}", quoted_list([text])), help);
    }
}

/// A number of a table; always one, as it was printed from one.
fn number(text: &str) -> Option<DeValue<'_>> {
    DeValue::parse(text).ok().map(Spanned::into_inner)
}

/// Whether a row states units: there are words and no number in the columns of numbers.
fn is_units_row(layout: &Layout, row: &[(String, Range<usize>)]) -> bool {
    let cells = layout
        .iter()
        .zip(row)
        .filter(|(column, _)| column.is_some_and(|column| column.cell != Cell::Text));
    let words: Vec<&str> =
        cells.map(|(_, (text, _))| text.as_str()).filter(|text| !text.is_empty()).collect();
    !words.is_empty()
        && words
            .iter()
            .all(|word| !word.starts_with(|c: char| c.is_ascii_digit() || "+.".contains(c)))
        && words.iter().all(|word| word.parse::<f64>().is_err())
}
