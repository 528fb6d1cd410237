//! `sensitivity`: what every input does to every junction.

use sprayside_solver::case::Case;
use sprayside_solver::steady::SteadyOptions;
use sprayside_solver::study;

use crate::arguments::SensitivityArguments;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::summary::Gains;
use crate::{maps, tables, text};

use super::solving::{self, Setting};

/// Solves, then takes the influence of every junction.
pub fn run(arguments: &SensitivityArguments) -> Result<Exit, Failure> {
    let setting = Setting::of(&arguments.common);
    solving::run(
        &setting,
        |solved, summary, progress| {
            let module = &solved.case.case.module;
            let chief = match &arguments.junction {
                Some(name) => Some(number_of(&solved.case.case, name)?),
                None => solved.result.hottest(),
            };
            let options = SteadyOptions::default();
            let gains =
                study::sensitivity(module, solved.solution, &options, chief, &mut |done, of| {
                    progress.part("sensitivities", done, of);
                })
                .map_err(|error| solving::why_not_solved(&error))?;
            summary.command = "sensitivity";
            summary.sensitivity = Some(Gains::of(&gains));
            let max = tables::sensitivity_csv(&gains, |d| d.max).map_err(super::not_written)?;
            let mean = tables::sensitivity_csv(&gains, |d| d.mean).map_err(super::not_written)?;
            let picture = maps::of_sensitivity(module, solved.result, &gains, solved.survey)
                .map_err(super::not_written)?;
            Ok(vec![
                ("sensitivity_max.csv".to_owned(), max),
                ("sensitivity_mean.csv".to_owned(), mean),
                (picture.file, picture.png),
            ])
        },
        text::sensitivity,
    )
}

/// Number of the die or heater of a name.
fn number_of(case: &Case, name: &str) -> Result<usize, Failure> {
    let module = &case.module;
    let names = || {
        let die = module.die.iter().map(|die| die.name.as_str());
        die.chain(module.heaters.iter().map(|heater| heater.name.as_str()))
    };
    names().position(|known| known == name).ok_or_else(|| Failure::Request {
        headline: format!("there is no die or heater {name:?}"),
        help: format!("the names are {}", names().collect::<Vec<_>>().join(", ")),
    })
}
