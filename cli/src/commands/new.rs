//! `new`: a commented case to start from.

use std::fs::File;
use std::io::{self, Write};

use sprayside_solver::case::starter;

use crate::arguments::NewArguments;
use crate::case_file::is_stdin;
use crate::console;
use crate::exit::Exit;
use crate::failure::Failure;

/// Writes the starter case to a file that does not exist yet, or to standard output.
pub fn run(arguments: &NewArguments) -> Result<Exit, Failure> {
    let path = &arguments.case;
    if is_stdin(path) {
        console::print(starter())?;
        return Ok(Exit::Kept);
    }
    File::create_new(path)
        .and_then(|mut file| {
            file.write_all(starter().as_bytes())?;
            file.sync_all()
        })
        .map_err(|error| match error.kind() {
            io::ErrorKind::AlreadyExists => Failure::File {
                headline: format!("{} exists; it is left as it is", path.display()),
                help: Some("name another file".to_owned()),
            },
            _ => Failure::file("write", path, &error),
        })?;
    let name = path.display();
    console::print(&format!(
        "Wrote {name}: change it into your module, then\n  sprayside check {name}\n  sprayside \
         solve {name}\n"
    ))?;
    Ok(Exit::Kept)
}
