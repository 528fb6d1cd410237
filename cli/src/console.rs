//! Standard output and standard error.

use std::io::{self, Write};
use std::path::Path;

use crate::failure::Failure;

/// Prints a result to standard output.
///
/// A pipe that the reader has closed is no error: `sprayside solve case.toml | head` is fine.
pub fn print(text: &str) -> Result<(), Failure> {
    let mut out = anstream::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            Err(Failure::file("write to", Path::new("standard output"), &error))
        }
        _ => Ok(()),
    }
}

/// Prints to standard error; what cannot be told there cannot be told anywhere.
pub fn complain(text: &str) {
    let mut err = anstream::stderr().lock();
    let _ = err.write_all(text.as_bytes());
    let _ = err.flush();
}
