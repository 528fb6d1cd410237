//! `sprayside`: from one text file to junction temperatures, maps and margins of a spray-cooled
//! multi-chip module.
//!
//! - [`arguments`]: the command line; [`exit`], [`failure`] and [`interruption`]: how a run ends;
//! - [`commands`]: one file each;
//! - [`case_schema`]: the case file for editors;
//! - [`case_file`], [`readings_file`], [`diagnostics`]: a case comes in, mistakes go out;
//! - [`comparison`], [`mod@difference`]: two results side by side, and their fields;
//! - [`studies`]: what many points tell, and their journal;
//! - [`survey`]: the numbers of a spray side by side;
//! - [`tables`], [`summary`], [`maps`], [`report`], [`exchange`]: what is written;
//!   [`results_folder`]: whole or not at all, with one run at a time ([`folder_lock`]);
//! - [`console`], [`progress`], [`text`]: what a person reads meanwhile.
//!
//! Everything that computes lives in `sprayside_solver`.

mod arguments;
mod case_file;
mod case_schema;
mod commands;
mod comparison;
mod console;
mod diagnostics;
mod difference;
mod exchange;
mod exit;
mod failure;
mod figures;
mod folder_lock;
mod interruption;
mod maps;
mod progress;
mod readings_file;
mod report;
mod results_folder;
mod studies;
mod summary;
mod survey;
mod tables;
mod text;

use clap::Parser;

fn main() -> std::process::ExitCode {
    failure::explain_panics();
    let arguments = arguments::Arguments::parse();
    arguments.color.write_global();
    interruption::watch();
    let exit = commands::run(&arguments.command).unwrap_or_else(|failure| {
        console::complain(&failure.rendered());
        failure.exit()
    });
    exit.into()
}
