//! `cells.csv`: a row a cell of the plane, its middle and size, then every field.

use std::fmt::Write;

use super::fields::Fields;
use crate::figures::figure;

/// The bytes of the file.
pub fn file(fields: &Fields) -> Vec<u8> {
    let mut text = String::from("x_mm,y_mm,width_mm,height_mm");
    for field in &fields.all {
        // Names of layers may hold a comma or a quote.
        match field.column.contains([',', '"']) {
            true => {
                let _ = write!(text, ",\"{}\"", field.column.replace('"', "\"\""));
            }
            false => {
                let _ = write!(text, ",{}", field.column);
            }
        }
    }
    text.push('\n');
    let cells = |lines: &[f64]| -> Vec<[f64; 2]> {
        lines.windows(2).map(|w| [0.5e3 * (w[0] + w[1]), 1e3 * (w[1] - w[0])]).collect()
    };
    let (columns, rows) = (cells(&fields.x_lines_m), cells(&fields.y_lines_m));
    let mut put = |value: f64, last: char| {
        if let Some(value) = figure(value) {
            let _ = write!(text, "{value}");
        }
        text.push(last);
    };
    for (j, [y, height]) in rows.iter().enumerate() {
        for (i, [x, width]) in columns.iter().enumerate() {
            for value in [*x, *y, *width] {
                put(value, ',');
            }
            put(*height, if fields.all.is_empty() { '\n' } else { ',' });
            for (n, field) in fields.all.iter().enumerate() {
                let last = if n + 1 == fields.all.len() { '\n' } else { ',' };
                put((field.convert)(field.values[[j, i]]), last);
            }
        }
    }
    text.into_bytes()
}
