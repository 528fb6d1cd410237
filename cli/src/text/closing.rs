//! What every result ends with: warnings, files, cautions.

use std::path::Path;

use sprayside_solver::case::Record;

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
        let all = record.fluid_cautions.join("; ");
        let caution = format!("{} {fluid}: {all}.", styled(HEADING, "Caution:"));
        text += &format!("{}\n", wrapped(&caution, WIDTH, "  "));
    }
    text += &format!("{}\n", wrapped(CAUTION, WIDTH, ""));
    text
}
