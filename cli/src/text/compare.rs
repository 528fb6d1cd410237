//! Two results side by side, for people.

use std::path::Path;

use super::table::{Side, Table};
use super::{BAD, GOOD, NOTE, WIDTH, counted, headed, styled, wrapped};
use crate::comparison::{Comparison, ComparisonRow};
use crate::figures::significant;
use crate::summary::CAUTION;

/// Rows of the table; of more, those that differ most.
const MOST_ROWS: usize = 60;

/// Verdict, table, what is in one only.
pub fn compare(comparison: &Comparison, folder: Option<&Path>) -> String {
    let mut text = format!("{}\n\n", verdict(comparison));
    text += &table(comparison);
    for (names, side) in
        [(&comparison.only_in_a, &comparison.a), (&comparison.only_in_b, &comparison.b)]
    {
        if !names.is_empty() {
            let line = format!("{} {side}: {}.", styled(NOTE, "Only in"), names.join(", "));
            text += &format!("{}\n", wrapped(&line, WIDTH, "  "));
        }
    }
    if !comparison.same_version {
        text += "The two were made by different versions of this program.\n";
    }
    text += &format!("{}\n", wrapped(&fields(comparison), WIDTH, ""));
    if let Some(folder) = folder {
        text += &format!("Written: {} in {}/\n", comparison.files.join(", "), folder.display());
    }
    text += &format!("{}\n", wrapped(CAUTION, WIDTH, ""));
    text
}

/// The largest difference of each field, or why there is none.
fn fields(comparison: &Comparison) -> String {
    if let Some(why) = &comparison.no_fields_because {
        return format!("No map of differences: {why}.");
    }
    let each: Vec<String> = comparison
        .largest_in_fields
        .iter()
        .map(|largest| {
            format!(
                "{} K in {} at {}, {} mm",
                signed(largest.difference_K, 3),
                largest.field.trim_end_matches("_K"),
                significant(largest.at_mm[0], 4),
                significant(largest.at_mm[1], 4)
            )
        })
        .collect();
    let maps = if comparison.files.is_empty() { " (-o DIR maps them)" } else { "" };
    format!("Largest differences of the fields{maps}: {}.", each.join("; "))
}

fn size(row: &ComparisonRow) -> f64 {
    row.difference_K.map_or(f64::NEG_INFINITY, f64::abs)
}

fn verdict(comparison: &Comparison) -> String {
    let differing = comparison.differing();
    let all = comparison.rows.len();
    let word = if comparison.is_same() { styled(GOOD, "SAME") } else { styled(BAD, "DIFFERENT") };
    let readings = comparison.rows.iter().any(|row| row.kind == "reading");
    let what = if readings { "the limits of error and uncertainties" } else { "the uncertainties" };
    let mut sentence = if all == 0 {
        "The two have nothing in common to compare.".to_owned()
    } else if differing == 0 && comparison.is_same() {
        format!("All {} agree within {what}.", counted(all, "temperature", "temperatures"))
    } else if differing == 0 {
        let alone = comparison.only_in_a.len() + comparison.only_in_b.len();
        format!(
            "All {} that both have agree within {what}, but {} on one side only.",
            counted(all, "temperature", "temperatures"),
            counted(alone, "stands", "stand")
        )
    } else {
        format!(
            "{differing} of {} differ beyond {what}.",
            counted(all, "temperature", "temperatures")
        )
    };
    let largest = comparison.rows.iter().max_by(|a, b| size(a).total_cmp(&size(b)));
    if let Some((row, difference)) = largest.and_then(|row| Some((row, row.difference_K?))) {
        sentence +=
            &format!(" The largest difference is {} K, on {}.", signed(difference, 3), row.name);
    }
    if comparison.same_case {
        sentence += " Both are of the same case.";
    }
    headed(&word, &sentence)
}

fn signed(value: f64, digits: usize) -> String {
    let text = significant(value, digits);
    if value > 0.0 { format!("+{text}") } else { text }
}

fn table(comparison: &Comparison) -> String {
    let mut table = Table::new(vec![
        ("name", "", Side::Left),
        ("kind", "", Side::Left),
        ("A", "°C", Side::Right),
        ("B", "°C", Side::Right),
        ("B - A", "K", Side::Right),
        ("known to", "K", Side::Right),
        ("means", "K", Side::Right),
        ("power", "W", Side::Right),
        ("CHF margin A", "", Side::Right),
        ("B", "", Side::Right),
        ("differs", "", Side::Left),
    ]);
    let mut rows: Vec<&ComparisonRow> = comparison.rows.iter().collect();
    let hidden = rows.len().saturating_sub(MOST_ROWS);
    if hidden > 0 {
        rows.sort_by(|a, b| size(b).total_cmp(&size(a)));
        rows.truncate(MOST_ROWS);
    }
    for row in rows {
        let two = |value: Option<f64>| value.map_or(String::new(), |v| format!("{v:.2}"));
        let change = |value: Option<f64>| {
            value.filter(|v| *v != 0.0).map_or(String::new(), |v| signed(v, 3))
        };
        let margin = |value: Option<f64>| value.map_or(String::new(), |v| significant(v, 3));
        let known = row.uncertainty_a_K.zip(row.uncertainty_b_K).map(|(a, b)| a + b);
        let style = match row.differs {
            "yes" => Some(BAD),
            "no" => Some(GOOD),
            _ => Some(NOTE),
        };
        table.row(
            vec![
                row.name.clone(),
                row.kind.to_owned(),
                two(row.a_C),
                two(row.b_C),
                row.difference_K.map_or(String::new(), with_sign),
                known.map_or(String::new(), |k| format!("± {}", significant(k, 2))),
                change(row.difference_of_means_K),
                change(row.difference_of_power_W),
                margin(row.chf_margin_a),
                margin(row.chf_margin_b),
                row.differs.to_owned(),
            ],
            style,
        );
    }
    let mut text = table.text();
    if hidden > 0 {
        text += &format!(
            "  The {MOST_ROWS} largest differences; {hidden} smaller ones are in the JSON and, with -o \
             DIR, in compare.csv.\n"
        );
    }
    text
}

/// Two decimals and a sign, which nothing has that the decimals do not show.
fn with_sign(difference_K: f64) -> String {
    let text = format!("{difference_K:+.2}");
    if text.ends_with("0.00") && text.len() == 5 { "0.00".to_owned() } else { text }
}

#[cfg(test)]
mod tests {
    use super::with_sign;

    #[test]
    fn a_difference_that_rounds_to_nothing_has_no_sign() {
        let shown = [-0.004, 0.004, -0.006, 20.0, -10.0].map(with_sign);
        assert_eq!(shown, ["0.00", "0.00", "-0.01", "+20.00", "-10.00"]);
    }
}
