//! One file a command: read, compute, write, tell.

mod arrange;
mod check;
mod compare;
mod completions;
mod coverage;
mod cycle;
mod explain;
mod fit;
mod man;
mod new;
mod points;
mod qualify;
mod resistance;
mod schema;
mod sensitivity;
mod solve;
pub mod solving;

pub use cycle::Cycled;

use crate::arguments::Command;
use crate::exit::Exit;
use crate::failure::Failure;

/// Runs a command.
pub fn run(command: &Command) -> Result<Exit, Failure> {
    match command {
        Command::New(arguments) => new::run(arguments),
        Command::Check(arguments) => check::run(arguments),
        Command::Solve(arguments) => solve::run(arguments),
        Command::Coverage(arguments) => coverage::run(arguments),
        Command::Cycle(arguments) => cycle::run(arguments),
        Command::Explain(arguments) => explain::run(arguments),
        Command::Completions(arguments) => completions::run(arguments),
        Command::Man(arguments) => man::run(arguments),
        Command::Schema(_) => schema::run(),
        Command::Resistance(arguments) => resistance::run(arguments),
        Command::Sensitivity(arguments) => sensitivity::run(arguments),
        Command::Arrange(arguments) => arrange::run(arguments),
        Command::Fit(arguments) => fit::run(arguments),
        Command::Qualify(arguments) => qualify::run(arguments),
        Command::Compare(arguments) => compare::run(arguments),
        Command::Clog(arguments) => points::clog(arguments),
        Command::Offset(arguments) => points::offset(arguments),
        Command::Scatter(arguments) => points::scatter(arguments),
        Command::Sweep(arguments) => points::sweep(arguments),
        Command::Gather(arguments) => points::gather(arguments),
    }
}

/// A result that could not be turned into text; only a fault of ours could cause it.
pub fn not_written(error: impl std::fmt::Display) -> Failure {
    Failure::File { headline: format!("cannot write the results as text: {error}"), help: None }
}

/// Sets the number of threads; all cores unless told otherwise.
fn set_threads(threads: Option<u16>) -> Result<(), Failure> {
    let Some(threads) = threads else { return Ok(()) };
    rayon::ThreadPoolBuilder::new().num_threads(usize::from(threads)).build_global().map_err(
        |error| Failure::Request {
            headline: format!("cannot start {threads} threads: {error}"),
            help: "ask for fewer with --threads".to_owned(),
        },
    )
}
