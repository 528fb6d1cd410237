//! `completions`: a script that lets a shell complete commands and options.

use clap::CommandFactory;

use crate::arguments::{Arguments, CompletionsArguments};
use crate::console;
use crate::exit::Exit;
use crate::failure::Failure;

/// Prints the script.
pub fn run(arguments: &CompletionsArguments) -> Result<Exit, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(arguments.shell, &mut Arguments::command(), "sprayside", &mut script);
    console::print(&String::from_utf8_lossy(&script))?;
    Ok(Exit::Kept)
}
