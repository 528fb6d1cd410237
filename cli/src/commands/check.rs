//! `check`: what was understood, and what is suspicious.

use std::path::Path;

use serde::Serialize;
use sprayside_solver::case::Record;
use sprayside_solver::module::Module;

use crate::arguments::CheckArguments;
use crate::case_file::{self, CaseFile, NamedFile};
use crate::exit::Exit;
use crate::failure::Failure;
use crate::{console, diagnostics, maps, text};

/// Draws the module into a file, in the form that its name ends in.
fn draw(path: &Path, module: &Module) -> Result<(), Failure> {
    let ending = path.extension().map(|ending| ending.to_ascii_lowercase());
    let svg = match ending.as_deref().and_then(|ending| ending.to_str()) {
        Some("png") => false,
        Some("svg") => true,
        _ => {
            return Err(Failure::Request {
                headline: format!("cannot tell what to draw into {}", path.display()),
                help: "let the name end in .png or .svg".to_owned(),
            });
        }
    };
    let (picture, vectors) = maps::of_module(module).map_err(super::not_written)?;
    let bytes = if svg { &vectors } else { &picture.png };
    std::fs::write(path, bytes).map_err(|error| Failure::file("write", path, &error))
}

/// What `--json` prints.
#[derive(Debug, Serialize)]
struct CheckedCase<'a> {
    tool_version: &'static str,
    command: &'static str,
    case_sha256: &'a str,
    case_files: &'a [NamedFile],
    #[serde(flatten)]
    record: &'a Record,
    warnings: Vec<String>,
}

/// Reads the case; mistakes end the run, suspicions go to standard error.
pub fn run(arguments: &CheckArguments) -> Result<Exit, Failure> {
    let CaseFile { case, sha256, files, .. } = case_file::read(&arguments.case)?;
    if let Some(path) = &arguments.drawing {
        draw(path, &case.module)?;
    }
    if arguments.json {
        let checked = CheckedCase {
            tool_version: env!("CARGO_PKG_VERSION"),
            command: "check",
            case_sha256: &sha256,
            case_files: &files,
            record: &case.record,
            warnings: case.warnings.iter().map(text::warning_line).collect(),
        };
        let json = serde_json::to_string_pretty(&checked).map_err(super::not_written)?;
        console::print(&(json + "\n"))?;
    } else if !arguments.quiet {
        console::print(&text::check(&case.record, case.warnings.len()))?;
    }
    if !arguments.json && !case.warnings.is_empty() {
        console::complain(&diagnostics::render(&case.warnings));
    }
    Ok(Exit::Kept)
}
