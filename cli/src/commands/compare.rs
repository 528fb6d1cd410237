//! `compare`: two results, or a result and readings, side by side.

use crate::arguments::CompareArguments;
use crate::comparison::{Comparison, ComparisonRow};
use crate::exit::Exit;
use crate::failure::Failure;
use crate::results_folder::ResultsFolder;
use crate::tables::csv;
use crate::{console, maps, text};

use super::solving::publish;

/// Reads both, compares, tells.
pub fn run(arguments: &CompareArguments) -> Result<Exit, Failure> {
    let (mut comparison, difference) = Comparison::of(&arguments.a, &arguments.b)?;
    if let Some(target) = &arguments.output {
        let folder = ResultsFolder::prepare(target)?;
        let table = csv(&ComparisonRow::HEADER, &comparison.rows).map_err(super::not_written)?;
        let mut files = vec![("compare.csv".to_owned(), table)];
        if let Some(difference) = &difference {
            let of = |name: &str| {
                let row = comparison.rows.iter().find(|row| row.name == name);
                row.and_then(|row| row.difference_K)
            };
            let details: Vec<Option<f64>> =
                difference.outlines().parts.iter().map(|part| of(part.name)).collect();
            let maps = maps::of_difference(difference, &details).map_err(super::not_written)?;
            files.extend(maps.into_iter().map(|map| (map.file, map.png)));
        }
        publish(folder, files, |names| {
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
