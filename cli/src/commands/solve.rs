//! `solve`: steady temperatures, written whole and told in words.

use std::time::Instant;

use sprayside_solver::results::{SteadyResult, Verdict};
use sprayside_solver::steady::{self, SteadyError, SteadyOptions};

use crate::arguments::SolveArguments;
use crate::case_file::{self, CaseFile};
use crate::exit::Exit;
use crate::failure::Failure;
use crate::progress::Progress;
use crate::results_folder::{ResultsFolder, SUMMARY};
use crate::summary::Summary;
use crate::tables::{HotSpotRow, JunctionRow, csv};
use crate::{console, diagnostics, maps, text};

/// Reads, solves, writes, tells.
pub fn run(arguments: &SolveArguments) -> Result<Exit, Failure> {
    let started = Instant::now();
    super::set_threads(arguments.threads)?;
    let case = case_file::read(&arguments.case)?;
    if !arguments.json && !case.case.warnings.is_empty() {
        console::complain(&diagnostics::render(&case.case.warnings));
    }
    let target =
        arguments.output.clone().unwrap_or_else(|| case_file::default_output(&arguments.case));
    // Before the work, so that a folder that cannot be written costs no time.
    let folder = ResultsFolder::prepare(&target)?;
    let mut progress = Progress::start(arguments.quiet);
    let module = &case.case.module;
    let result = steady::solve(module, &SteadyOptions::default(), &mut |level| {
        progress.solved(level);
    })
    .map_err(|error| why_not_solved(&error))?;
    progress.doing("drawing and writing");
    let summary = write(folder, &case, &result, started)?;
    progress.finish();
    if arguments.json {
        console::print(&summary.json().map_err(super::not_written)?)?;
    } else if arguments.quiet {
        for warning in &result.warnings {
            console::complain(&format!("warning: {warning}\n"));
        }
    } else {
        console::print(&text::solve(&case, &result, &summary, &target))?;
    }
    Ok(match result.verdict() {
        Verdict::Fail => Exit::LimitBroken,
        Verdict::Pass | Verdict::None => Exit::Kept,
    })
}

/// Writes every file and puts the folder in place.
fn write(
    folder: ResultsFolder,
    case: &CaseFile,
    result: &SteadyResult,
    started: Instant,
) -> Result<Summary, Failure> {
    let junctions: Vec<JunctionRow> = result.junctions.iter().map(JunctionRow::of).collect();
    let hot_spots: Vec<HotSpotRow> = result.hot_spots.iter().map(HotSpotRow::of).collect();
    let mut files = vec![
        (
            "junctions.csv".to_owned(),
            csv(&JunctionRow::HEADER, &junctions).map_err(super::not_written)?,
        ),
        (
            "hot_spots.csv".to_owned(),
            csv(&HotSpotRow::HEADER, &hot_spots).map_err(super::not_written)?,
        ),
    ];
    let pictures = maps::of_solve(&case.case.module, result).map_err(super::not_written)?;
    files.extend(pictures.into_iter().map(|picture| (picture.file, picture.png)));
    for (name, bytes) in &files {
        folder.write(name, bytes)?;
    }
    let mut names: Vec<String> = files.into_iter().map(|(name, _)| name).collect();
    names.push(SUMMARY.to_owned());
    let warnings: Vec<String> = case
        .case
        .warnings
        .iter()
        .map(text::warning_line)
        .chain(result.warnings.iter().cloned())
        .collect();
    let wall_seconds = (started.elapsed().as_secs_f64() * 1e3).round() / 1e3;
    let summary = Summary::of(case, result, warnings, names, wall_seconds);
    folder.write(SUMMARY, summary.json().map_err(super::not_written)?.as_bytes())?;
    folder.publish()?;
    Ok(summary)
}

/// What to tell when there is no solution.
fn why_not_solved(error: &SteadyError) -> Failure {
    let headline = error.to_string();
    match error {
        SteadyError::TooManyCells { .. } => Failure::Request {
            headline,
            help: "raise cell_mm or accuracy_K in [mesh], or raise max_cells if memory allows"
                .to_owned(),
        },
        SteadyError::NoHeatSink => Failure::NoSolution {
            headline,
            help: "give the spray, the board or the edges a coefficient above zero".to_owned(),
        },
        SteadyError::BurnOut { .. } => Failure::NoSolution {
            headline,
            help: "less power on that die, more flow or nozzles over it, or a colder inlet; \
                   never test this on hardware without an interlock"
                .to_owned(),
        },
        _ => Failure::NoSolution {
            headline,
            help: "look for values that are far apart, such as a very thin layer of a very poor \
                   conductor; `sprayside check` lists what was understood"
                .to_owned(),
        },
    }
}
