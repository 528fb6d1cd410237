//! `solve`: steady temperatures, written whole and told in words.

use crate::arguments::SolveArguments;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::tables::{LevelRow, csv};
use crate::{exchange, maps, text};

use super::solving::{self, Setting};

/// Reads, solves, writes, tells.
pub fn run(arguments: &SolveArguments) -> Result<Exit, Failure> {
    let setting = Setting::of(&arguments.common).with_pictures(&arguments.pictures);
    solving::run(
        &setting,
        |solved, summary, _| {
            let mut files = exchange::files(solved, &arguments.save)?;
            if !arguments.convergence {
                return Ok(files);
            }
            let rows = LevelRow::all(solved.result);
            let table = csv(&LevelRow::HEADER, &rows).map_err(super::not_written)?;
            let module = &solved.case.case.module;
            let picture = maps::of_convergence(module, solved.result, summary.accuracy_asked_K)
                .map_err(super::not_written)?;
            files.push(("convergence.csv".to_owned(), table));
            files.push((picture.file, picture.png));
            Ok(files)
        },
        text::solve,
    )
}
