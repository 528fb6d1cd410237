//! `compare`: two results, or a result and readings, side by side.

use crate::arguments::CompareArguments;
use crate::comparison::{Comparison, ComparisonRow};
use crate::exit::Exit;
use crate::failure::Failure;
use crate::results_folder::ResultsFolder;
use crate::tables::csv;
use crate::{console, text};

use super::solving::publish;

/// Reads both, compares, tells.
pub fn run(arguments: &CompareArguments) -> Result<Exit, Failure> {
    let mut comparison = Comparison::of(&arguments.a, &arguments.b)?;
    if let Some(target) = &arguments.output {
        let folder = ResultsFolder::prepare(target)?;
        let table = csv(&ComparisonRow::HEADER, &comparison.rows).map_err(super::not_written)?;
        publish(folder, vec![("compare.csv".to_owned(), table)], |names| {
            comparison.files = names;
            json(&comparison)
        })?;
    }
    if arguments.json {
        console::print(&json(&comparison)?)?;
    } else if !arguments.quiet {
        console::print(&text::compare(&comparison, arguments.output.as_deref()))?;
    }
    Ok(if comparison.is_same() { Exit::Kept } else { Exit::LimitBroken })
}

fn json(comparison: &Comparison) -> Result<String, Failure> {
    serde_json::to_string_pretty(comparison).map(|text| text + "\n").map_err(super::not_written)
}
