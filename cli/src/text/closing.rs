//! What every result ends with: warnings, files, cautions.

use std::path::Path;

use sprayside_solver::case::Record;
use sprayside_solver::library::fluids;

use super::{HEADING, NOTE, WIDTH, counted, styled, wrapped};
use crate::summary::CAUTION;

/// One paragraph a warning.
pub fn warnings(warnings: &[String]) -> String {
    warnings
        .iter()
        .map(|warning| {
            let text = format!("{} {warning}", styled(NOTE, "Warning:"));
            format!("{}\n", wrapped(&text, WIDTH, "  "))
        })
        .collect()
}

/// What was written, and where.
pub fn files(files: &[String], folder: &Path) -> String {
    let pictures = files.iter().filter(|file| file.ends_with(".png")).count();
    let tables: Vec<&str> =
        files.iter().filter(|file| !file.ends_with(".png")).map(String::as_str).collect();
    let text = format!(
        "{} {} and {} in {}/",
        styled(HEADING, "Written:"),
        tables.join(", "),
        counted(pictures, "map", "maps"),
        folder.display()
    );
    format!("{}\n", wrapped(&text, WIDTH, "  "))
}

/// What a person must know before building on it.
pub fn cautions(record: &Record) -> String {
    let mut text = String::new();
    if !record.fluid_cautions.is_empty() {
        let fluid = record.fluid.as_deref().unwrap_or("the coolant");
        let caution = match fluids::by_name(fluid) {
            // The whole text stands in `explain`, in `check` and in summary.json.
            Some(_) => format!(
                "{} {}; all of it: `sprayside explain {fluid}`.",
                styled(HEADING, "Caution:"),
                short(fluid, &record.fluid_cautions[0])
            ),
            None => format!(
                "{} {fluid}: {}.",
                styled(HEADING, "Caution:"),
                record.fluid_cautions.join("; ")
            ),
        };
        text += &format!("{}\n", wrapped(&caution, WIDTH, "  "));
    }
    text += &format!("{}\n", wrapped(CAUTION, WIDTH, ""));
    text
}

/// The first caution of a fluid, to its first semicolon, without what stands in brackets.
fn short(fluid: &str, caution: &str) -> String {
    let mut text = caution.split(';').next().unwrap_or(caution).trim().to_owned();
    if let (Some(open), Some(close)) = (text.find(" ("), text.find(')'))
        && open < close
    {
        text.replace_range(open..=close, "");
    }
    format!("{fluid}: {text}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_coolant_has_its_gravest_caution_on_little_more_than_a_line() {
        for name in fluids::names() {
            let fluid = fluids::by_name(name).expect("a coolant of the library");
            let text = short(name, &fluid.cautions[0]);
            assert!(text.len() > name.len() + 10 && text.len() < 160, "{text}");
        }
        let fluid = fluids::by_name("perfluorohexane").expect("in the library");
        assert_eq!(
            short("perfluorohexane", &fluid.cautions[0]),
            "perfluorohexane: fluorinated liquid: above about 200 C on a hot surface it decomposes \
             into hydrogen fluoride and other highly toxic gases"
        );
    }
}
