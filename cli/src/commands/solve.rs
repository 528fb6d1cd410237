//! `solve`: steady temperatures, written whole and told in words.

use crate::arguments::SolveArguments;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::tables::{LevelRow, csv};
use crate::{maps, text};

use super::solving::{self, Setting};

/// Reads, solves, writes, tells.
pub fn run(arguments: &SolveArguments) -> Result<Exit, Failure> {
    let setting = Setting::of(&arguments.common);
    solving::run(
        &setting,
        |solved, summary, _| {
            if !arguments.convergence {
                return Ok(Vec::new());
            }
            let rows = LevelRow::all(solved.result);
            let table = csv(&LevelRow::HEADER, &rows).map_err(super::not_written)?;
            let module = &solved.case.case.module;
            let picture = maps::of_convergence(module, solved.result, summary.accuracy_asked_K)
                .map_err(super::not_written)?;
            Ok(vec![("convergence.csv".to_owned(), table), (picture.file, picture.png)])
        },
        text::solve,
    )
}
