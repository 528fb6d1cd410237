//! `schema`: the JSON Schema of the case file.

use crate::exit::Exit;
use crate::failure::Failure;
use crate::{case_schema, console};

/// Prints it.
pub fn run() -> Result<Exit, Failure> {
    let text = serde_json::to_string_pretty(&case_schema::schema()).map_err(super::not_written)?;
    console::print(&format!("{text}\n"))?;
    Ok(Exit::Kept)
}
