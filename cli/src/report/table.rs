//! The CSV files as tables of the page: the same numbers, rounded for people, whole on request.

use crate::figures::{decimals_for, rounded_up, significant};

/// Endings of column names, and the units that they mean; longer ones first.
const UNITS: [(&str, &str); 22] = [
    ("_m3_m2s", "m³/(m²s)"),
    ("_W_m2K", "W/(m²K)"),
    ("_W_cm2", "W/cm²"),
    ("_L_min", "L/min"),
    ("_mL_s", "mL/s"),
    ("_m3_s", "m³/s"),
    ("_g_s", "g/s"),
    ("_W_mK", "W/(mK)"),
    ("_W_K", "W/K"),
    ("_K_W", "K/W"),
    ("_K_s", "K/s"),
    ("_mm2", "mm²"),
    ("_kPa", "kPa"),
    ("_pct", "%"),
    ("_mm", "mm"),
    ("_um", "µm"),
    ("_deg", "°"),
    ("_C", "°C"),
    ("_K", "K"),
    ("_W", "W"),
    ("_N", "N"),
    ("_s", "s"),
];
/// Columns that say where in the module a row is.
const PLACES: [[&str; 2]; 3] =
    [["hot_spot_x_mm", "hot_spot_y_mm"], ["chf_margin_x_mm", "chf_margin_y_mm"], ["x_mm", "y_mm"]];
/// A longer table is cut; its file holds the rest.
const MOST_ROWS: usize = 400;

/// A table of the page.
#[derive(Debug, Clone, Default)]
pub struct Table {
    /// What it holds.
    pub caption: String,
    /// A name for links, without blanks.
    pub id: String,
    /// Columns.
    pub columns: Vec<Column>,
    /// Rows.
    pub rows: Vec<Row>,
    /// Rows of the file that are not shown.
    pub hidden: usize,
    /// Whether to offer a filter and sorting.
    pub tools: bool,
}

/// A column.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Heading.
    pub title: String,
    /// Unit, or empty.
    pub unit: String,
    /// Whether numbers stand in it.
    pub numeric: bool,
}

/// Long words of headings, with soft hyphens: printed columns are narrow.
const HYPHENATED: [(&str, &str); 8] = [
    ("uncertainty", "uncer\u{ad}tainty"),
    ("coefficient", "coeffi\u{ad}cient"),
    ("uniformity", "unifor\u{ad}mity"),
    ("volumetric", "volu\u{ad}metric"),
    ("temperature", "tempera\u{ad}ture"),
    ("conductivity", "conduc\u{ad}tivity"),
    ("resistance", "resis\u{ad}tance"),
    ("footprint", "foot\u{ad}print"),
];

impl Column {
    /// The heading with the places where its words may break.
    pub fn breakable_title(&self) -> String {
        HYPHENATED.iter().fold(self.title.clone(), |title, (word, broken)| {
            if title.contains(word) { title.replace(word, broken) } else { title }
        })
    }
}

/// A row.
#[derive(Debug, Clone)]
pub struct Row {
    /// Where in the module, mm, as `x,y`.
    pub place: Option<String>,
    /// What the row is about.
    pub name: String,
    /// Cells.
    pub cells: Vec<Cell>,
}

/// A cell.
#[derive(Debug, Clone, PartialEq)]
pub struct Cell {
    /// What is shown.
    pub shown: String,
    /// The file's figure, where it is a number.
    pub exact: Option<String>,
    /// `pass` or `fail` where it is a verdict.
    pub verdict: Option<&'static str>,
}

impl Cell {
    /// A cell of text.
    pub fn text(text: impl Into<String>) -> Cell {
        Cell { shown: text.into(), exact: None, verdict: None }
    }

    /// A number with so many digits for people.
    pub fn number(value: Option<f64>, digits: usize) -> Cell {
        match value {
            Some(value) => Cell {
                shown: significant(value, digits),
                exact: Some(value.to_string()),
                verdict: None,
            },
            None => Cell::text(""),
        }
    }
}

/// Splits `power_W` into heading and unit.
pub fn heading(column: &str) -> (String, String) {
    for (ending, unit) in UNITS {
        if let Some(word) = column.strip_suffix(ending)
            && !word.is_empty()
        {
            return (words(word), unit.to_owned());
        }
    }
    (words(column), String::new())
}

fn words(name: &str) -> String {
    name.replace('_', " ").replace("chf", "CHF").replace("htc", "coefficient")
}

impl Table {
    /// A table from CSV bytes of ours; columns without any value are left out, and the verdict comes
    /// right after die and type. `units` tells
    /// whether the names of the columns end in units.
    pub fn from_csv(
        id: &str,
        caption: &str,
        bytes: &[u8],
        units: bool,
    ) -> Result<Table, csv::Error> {
        let mut reader = csv::Reader::from_reader(bytes);
        let header: Vec<String> = reader.headers()?.iter().map(str::to_owned).collect();
        let records: Vec<csv::StringRecord> = reader.records().collect::<Result<_, _>>()?;
        let column = |name: &str| header.iter().position(|h| h == name);
        let place = PLACES.iter().find_map(|[x, y]| Some([column(x)?, column(y)?]));
        let uncertainty = column("uncertainty_K");
        let mut used: Vec<usize> = (0..header.len())
            .filter(|&c| records.iter().any(|record| record.get(c).is_some_and(|v| !v.is_empty())))
            .collect();
        // A wide table runs off the page on the right, and the verdict is not what may be lost.
        let is = |c: usize, names: &[&str]| names.contains(&header[c].as_str());
        if let Some(last) = used.iter().position(|&c| is(c, &["verdict"])) {
            let named = used.iter().take_while(|&&c| is(c, &["die", "type"])).count();
            if (1..last).contains(&named) {
                used[named..=last].rotate_right(1);
            }
        }
        let columns = used
            .iter()
            .map(|&c| {
                let (title, unit) = match units {
                    true => heading(&header[c]),
                    false => (header[c].clone(), String::new()),
                };
                let numeric = records
                    .iter()
                    .filter_map(|record| record.get(c))
                    .all(|v| v.is_empty() || v.parse::<f64>().is_ok());
                Column { title, unit, numeric }
            })
            .collect::<Vec<_>>();
        let rows = records
            .iter()
            .take(MOST_ROWS)
            .map(|record| {
                let value = |c: usize| record.get(c).unwrap_or_default();
                let decimals =
                    uncertainty.and_then(|c| value(c).parse::<f64>().ok()).map(decimals_for);
                Row {
                    place: place.and_then(|[x, y]| {
                        let [x, y] = [value(x), value(y)];
                        (!x.is_empty() && !y.is_empty()).then(|| format!("{x},{y}"))
                    }),
                    name: value(0).to_owned(),
                    cells: used
                        .iter()
                        .zip(&columns)
                        .map(|(&c, column)| cell(&header[c], value(c), column.numeric, decimals))
                        .collect(),
                }
            })
            .collect();
        Ok(Table {
            caption: caption.to_owned(),
            id: id.to_owned(),
            columns,
            rows,
            hidden: records.len().saturating_sub(MOST_ROWS),
            tools: records.len() > 3,
        })
    }
}

/// One cell; temperatures have the decimals that the row's uncertainty deserves.
fn cell(column: &str, text: &str, numeric: bool, decimals: Option<usize>) -> Cell {
    if column == "verdict" {
        let verdict = match text {
            "pass" => Some("pass"),
            "fail" => Some("fail"),
            _ => None,
        };
        return Cell { shown: text.to_owned(), exact: None, verdict };
    }
    let value = text.parse::<f64>().ok().filter(|_| numeric);
    let Some(value) = value else { return Cell::text(text) };
    let shown = match (column, decimals) {
        ("uncertainty_K" | "mean_uncertainty_K" | "min_uncertainty_K", Some(decimals)) => {
            rounded_up(value, decimals)
        }
        (name, Some(decimals)) if name.ends_with("_C") && name != "limit_C" => {
            format!("{value:.decimals$}")
        }
        ("margin_K", Some(decimals)) => format!("{value:.decimals$}"),
        _ => significant(value, 4),
    };
    Cell { shown, exact: Some(text.to_owned()), verdict: None }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headings_lose_their_units_to_the_unit_line() {
        assert_eq!(heading("junction_max_C"), ("junction max".to_owned(), "°C".to_owned()));
        assert_eq!(
            heading("volumetric_flux_mean_m3_m2s"),
            ("volumetric flux mean".to_owned(), "m³/(m²s)".to_owned())
        );
        assert_eq!(heading("mean_htc_W_m2K").1, "W/(m²K)");
        assert_eq!(heading("chf_margin"), ("CHF margin".to_owned(), String::new()));
        assert_eq!(heading("power_W").1, "W");
        assert_eq!(heading("fastest_rise_K_s"), ("fastest rise".to_owned(), "K/s".to_owned()));
    }

    #[test]
    fn the_verdict_stands_by_the_name_of_the_die_and_else_where_the_file_has_it() {
        let titles = |csv: &[u8]| -> Vec<String> {
            let table = Table::from_csv("t", "T", csv, true).expect("a table");
            table.columns.into_iter().map(|column| column.title).collect()
        };
        let of_die = titles(b"die,type,limit_C,margin_K,verdict,flow\nP0,big,85,3,pass,1\n");
        assert_eq!(of_die, ["die", "type", "verdict", "limit", "margin", "flow"]);
        assert_eq!(titles(b"point,verdict,limit_C\n1,pass,85\n"), ["point", "verdict", "limit"]);
    }

    #[test]
    fn long_words_of_headings_may_break_and_are_else_the_same() {
        let title = "mean coefficient uncertainty";
        let column = Column { title: title.to_owned(), unit: String::new(), numeric: true };
        assert_eq!(column.breakable_title(), "mean coeffi\u{ad}cient uncer\u{ad}tainty");
        assert_eq!(column.breakable_title().replace('\u{ad}', ""), title);
    }

    #[test]
    fn a_table_keeps_the_figures_of_the_file_and_drops_empty_columns() {
        let csv =
            b"die,junction_max_C,uncertainty_K,chf_margin,hot_spot_x_mm,hot_spot_y_mm,verdict\n\
                    P0,80.123456789,0.0312,,14,20.5,pass\n";
        let table = Table::from_csv("junctions", "Junctions", csv, true).expect("a table");
        assert_eq!(table.columns.len(), 6);
        let row = &table.rows[0];
        assert_eq!(row.place.as_deref(), Some("14,20.5"));
        assert_eq!(row.cells[1].verdict, Some("pass"));
        assert_eq!(row.cells[2].shown, "80.12");
        assert_eq!(row.cells[2].exact.as_deref(), Some("80.123456789"));
        assert_eq!(row.cells[3].shown, "0.04");
    }
}
