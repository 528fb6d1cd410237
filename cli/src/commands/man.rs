//! `man`: manual pages from the same text as the help.

use clap::CommandFactory;

use crate::arguments::{Arguments, ManArguments};
use crate::console;
use crate::exit::Exit;
use crate::failure::Failure;

/// Writes `sprayside.1` and a page a command.
pub fn run(arguments: &ManArguments) -> Result<Exit, Failure> {
    let folder = &arguments.folder;
    std::fs::create_dir_all(folder)
        .map_err(|error| Failure::file("create the folder", folder, &error))?;
    clap_mangen::generate_to(Arguments::command(), folder)
        .map_err(|error| Failure::file("write the manual pages into", folder, &error))?;
    console::print(&format!(
        "Wrote the manual pages into {}; `man {}` shows the first\n",
        folder.display(),
        folder.join("sprayside.1").display()
    ))?;
    Ok(Exit::Kept)
}
