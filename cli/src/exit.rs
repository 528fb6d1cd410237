//! How a run ends, as a number for scripts.

use std::process::ExitCode;

/// The exit codes of every command.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// Done, and every limit is kept.
    Kept = 0,
    /// Solved, and a limit or a margin is broken.
    LimitBroken = 1,
    /// The case or the command line is wrong.
    BadInput = 2,
    /// There is no solution.
    NoSolution = 3,
    /// A file could not be read or written.
    File = 4,
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> ExitCode {
        ExitCode::from(exit as u8)
    }
}
