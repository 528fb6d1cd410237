//! Grids of numbers in CSV files: power maps and coefficient maps.

use std::ops::Range;

use super::codes;
use super::context::{Context, Located, number_text};
use super::csv_file::{CsvFile, cells, lines};

/// Most boxes along either side of a grid.
const MOST_BOXES: usize = 4096;

/// A grid as the solver keeps it: the lowest row first.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Grid {
    pub nx: usize,
    pub ny: usize,
    /// `values[j * nx + i]`, j = 0 the lowest row.
    pub values: Vec<f64>,
}

/// What the numbers of a grid are.
pub(super) struct GridMeaning {
    /// In messages: "relative power", "coefficient".
    pub what: &'static str,
    /// Highest value allowed.
    pub high: f64,
}

/// Loads and reads the grid that `path` names in the case.
///
/// Rows are lines, the first line is the top row, numbers are separated by commas. Lines that
/// start with `#` and blank lines are skipped.
pub(super) fn load(
    context: &Context<'_>,
    path: &Located<String>,
    meaning: &GridMeaning,
) -> Option<Grid> {
    let mut reader = Reader { file: CsvFile::open(context, path)? };
    let grid = reader.rows(meaning)?;
    if grid.values.iter().all(|value| *value == 0.0) && meaning.what == RELATIVE_POWER.what {
        let finding = reader
            .file
            .error(codes::GRID_ALL_ZERO, "every value of the power map is zero", 0..0, "")
            .help("the map spreads power_W in proportion to its values: at least one must be above zero");
        reader.file.note(finding);
        return None;
    }
    Some(grid)
}

/// Relative powers over a die.
pub(super) const RELATIVE_POWER: GridMeaning = GridMeaning { what: "relative power", high: 1e12 };

/// Spray coefficients over the module, W/(m²·K).
pub(super) const COEFFICIENT: GridMeaning =
    GridMeaning { what: "coefficient", high: super::ranges::HTC.high };

struct Reader<'r, 'c> {
    file: CsvFile<'r, 'c>,
}

impl Reader<'_, '_> {
    fn rows(&mut self, meaning: &GridMeaning) -> Option<Grid> {
        let source = self.file.source();
        let mut rows: Vec<Vec<f64>> = Vec::new();
        let mut first_row: Option<Range<usize>> = None;
        for (start, line) in lines(&source.text) {
            let width = line.split(',').count();
            if width > MOST_BOXES || rows.len() == MOST_BOXES {
                let first_cell = line.split(',').next().unwrap_or_default();
                let finding = self.file.error(
                    codes::GRID_TOO_LARGE,
                    format!("a grid has at most {MOST_BOXES} values a side"),
                    start..start + first_cell.len(),
                    if width > MOST_BOXES {
                        format!("this row has {width} values")
                    } else {
                        "this row is one too many".to_owned()
                    },
                );
                self.file
                    .note(finding.help("average neighbouring values: the mesh is coarser anyway"));
                return None;
            }
            let row = self.row(line, start, meaning)?;
            let span = start..start + line.len();
            match (&first_row, rows.first()) {
                (Some(first), Some(first_values)) if first_values.len() != row.len() => {
                    let finding = self
                        .file
                        .error(
                            codes::GRID_RAGGED,
                            "the rows of a grid must have the same length",
                            span,
                            format!("this row has {} values", row.len()),
                        )
                        .also(self.file.label(
                            first.clone(),
                            format!("the first row has {}", first_values.len()),
                        ));
                    if !self.file.note(finding) {
                        return None;
                    }
                    continue;
                }
                _ => {}
            }
            first_row.get_or_insert(span);
            rows.push(row);
        }
        if self.file.mistakes() > 0 {
            return None;
        }
        let (nx, ny) = (rows.first().map_or(0, Vec::len), rows.len());
        if nx == 0 {
            let finding = self
                .file
                .error(codes::GRID_EMPTY, "the file holds no numbers", 0..0, "")
                .help("one line a row, the first line the top row, numbers separated by commas");
            self.file.note(finding);
            return None;
        }
        // The file is read from the top; the solver counts rows from the bottom.
        Some(Grid { nx, ny, values: rows.into_iter().rev().flatten().collect() })
    }

    /// One row; `None` when there were too many mistakes to go on.
    fn row(&mut self, line: &str, start: usize, meaning: &GridMeaning) -> Option<Vec<f64>> {
        let mut values = Vec::new();
        for (word, span) in cells(line, start) {
            let finding = match word.parse::<f64>() {
                Ok(value) if value.is_finite() && value >= 0.0 && value <= meaning.high => {
                    values.push(value);
                    continue;
                }
                Ok(value) => self
                    .file
                    .error(
                        codes::GRID_VALUE,
                        format!("a {} out of range in the grid", meaning.what),
                        span,
                        format!("allowed 0 to {}", number_text(meaning.high)),
                    )
                    .help(if value < 0.0 {
                        "heat sources and coefficients are not negative; write 0 where there is nothing"
                    } else if value.is_finite() {
                        "check the unit of the grid"
                    } else {
                        "write a finite number"
                    }),
                Err(_) if word.is_empty() => self
                    .file
                    .error(codes::GRID_VALUE, "an empty cell in the grid", span, "a number is missing here")
                    .help("write 0 where there is nothing; a row does not end with a comma"),
                Err(_) => self
                    .file
                    .error(codes::GRID_VALUE, "a cell of the grid is not a number", span, "")
                    .help(if line.contains(';') && line.contains(',') {
                        "write decimals with a point and separate the numbers with commas: 0.5, 0.7"
                    } else if word.contains([';', '\t', ' ']) {
                        "separate the numbers with commas"
                    } else {
                        "the file holds numbers only, no heading; a line that starts with # is a comment"
                    }),
            };
            // Keep the row's length, so that one bad cell does not make the row ragged too.
            values.push(0.0);
            if !self.file.note(finding) {
                return None;
            }
        }
        Some(values)
    }
}
