//! Columns that line up.

use clap::builder::styling::Style;

use super::HEADING;

/// Which side a column lines up on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Words.
    Left,
    /// Numbers.
    Right,
}

/// A table with a heading of one or two lines.
#[derive(Debug)]
pub struct Table {
    columns: Vec<(&'static str, &'static str, Side)>,
    rows: Vec<(Vec<String>, Option<Style>)>,
}

impl Table {
    /// A table of columns: heading, unit (empty for none), side.
    pub fn new(columns: Vec<(&'static str, &'static str, Side)>) -> Table {
        Table { columns, rows: Vec::new() }
    }

    /// Adds a row; `style` colours its last cell.
    pub fn row(&mut self, cells: Vec<String>, style: Option<Style>) {
        self.rows.push((cells, style));
    }

    /// The table as text. Columns without any entry are left out.
    pub fn text(&self) -> String {
        let used: Vec<usize> = (0..self.columns.len())
            .filter(|&c| {
                self.rows.iter().any(|(cells, _)| cells.get(c).is_some_and(|t| !t.is_empty()))
            })
            .collect();
        let length = |text: &str| text.chars().count();
        let width = |c: usize| {
            let (heading, unit, _) = self.columns[c];
            let cells = self.rows.iter().filter_map(|(cells, _)| cells.get(c));
            cells.map(|t| length(t)).max().unwrap_or(0).max(length(heading)).max(length(unit))
        };
        let widths: Vec<usize> = used.iter().map(|&c| width(c)).collect();
        let line = |cell: &dyn Fn(usize) -> String, style: Option<Style>| {
            let mut text = String::from("  ");
            for (n, (&c, &width)) in used.iter().zip(&widths).enumerate() {
                let cell = cell(c);
                let pad = " ".repeat(width - length(&cell).min(width));
                let cell = match style {
                    Some(style) if c + 1 == self.columns.len() => super::styled(style, &cell),
                    _ => cell,
                };
                if n > 0 {
                    text.push_str("  ");
                }
                match self.columns[c].2 {
                    Side::Left => text.push_str(&(cell + &pad)),
                    Side::Right => text.push_str(&(pad + &cell)),
                }
            }
            text.trim_end().to_owned()
        };
        let heading = |text: String| super::styled(HEADING, &text) + "\n";
        let mut text = heading(line(&|c| self.columns[c].0.to_owned(), None));
        if used.iter().any(|&c| !self.columns[c].1.is_empty()) {
            text += &heading(line(&|c| self.columns[c].1.to_owned(), None));
        }
        for (cells, style) in &self.rows {
            text += &line(&|c| cells.get(c).cloned().unwrap_or_default(), *style);
            text.push('\n');
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_line_up_and_empty_ones_vanish() {
        let mut table = Table::new(vec![
            ("die", "", Side::Left),
            ("power", "W", Side::Right),
            ("limit", "°C", Side::Right),
        ]);
        table.row(vec!["P0".to_owned(), "60".to_owned(), String::new()], None);
        table.row(vec!["memory".to_owned(), "8.5".to_owned(), String::new()], None);
        let plain = anstream::adapter::strip_str(&table.text()).to_string();
        assert_eq!(plain, "  die     power\n              W\n  P0         60\n  memory    8.5\n");
    }
}
