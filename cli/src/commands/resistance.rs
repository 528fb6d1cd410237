//! `resistance`: kelvin at each junction for a watt in each source.

use sprayside_solver::steady::SteadyOptions;
use sprayside_solver::study;

use crate::arguments::ResistanceArguments;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::summary::Resistances;
use crate::{maps, tables, text};

use super::solving::{self, Setting};

/// Solves, then takes one column a source.
pub fn run(arguments: &ResistanceArguments) -> Result<Exit, Failure> {
    let setting = Setting::of(&arguments.common);
    solving::run(
        &setting,
        |solved, summary, progress| {
            let module = &solved.case.case.module;
            let options = SteadyOptions::default();
            let matrix = study::resistance(module, solved.solution, &options, &mut |done, of| {
                progress.part("thermal resistances", done, of);
            })
            .map_err(|error| solving::why_not_solved(&error))?;
            summary.command = "resistance";
            summary.resistance = Some(Resistances::of(&matrix, solved.result));
            let csv = |values| tables::matrix_csv(&matrix.names, values);
            let picture = maps::of_resistance(module, &matrix).map_err(super::not_written)?;
            Ok(vec![
                (
                    "resistance_max.csv".to_owned(),
                    csv(&matrix.max_K_W).map_err(super::not_written)?,
                ),
                (
                    "resistance_mean.csv".to_owned(),
                    csv(&matrix.mean_K_W).map_err(super::not_written)?,
                ),
                (picture.file, picture.png),
            ])
        },
        text::resistance,
    )
}
