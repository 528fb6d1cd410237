//! `solve`: steady temperatures, written whole and told in words.

use crate::arguments::SolveArguments;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::text;

use super::solving::{self, Told};

/// Reads, solves, writes, tells.
pub fn run(arguments: &SolveArguments) -> Result<Exit, Failure> {
    let told = Told { json: arguments.json, quiet: arguments.quiet };
    let setting = solving::Setting {
        case: &arguments.case,
        output: arguments.output.as_deref(),
        threads: arguments.threads,
        told,
    };
    solving::run(&setting, |_, _| Ok(Vec::new()), text::solve)
}
