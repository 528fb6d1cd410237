//! Writes the systems of the reference modules as Matrix Market files, each with the solver's
//! solution, for `validation/scipy_matrix_market.py`.
//!
//! ```text
//! cargo run --release -p sprayside_validation --bin export_system DIRECTORY
//! ```

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use sprayside_solver::linear::{matrix_market, vector_market};
use sprayside_validation::reference::Reference;
use sprayside_validation::system::system;

fn export(directory: &PathBuf) -> Result<(), String> {
    let reference: Reference =
        serde_json::from_str(include_str!("../../reference/finite_elements.json"))
            .map_err(|error| error.to_string())?;
    std::fs::create_dir_all(directory).map_err(|error| error.to_string())?;
    for (n, case) in reference.cases.iter().enumerate() {
        let system = system(&case.module(), 0.5e-3).map_err(|error| error.to_string())?;
        for (name, text) in [
            ("matrix", matrix_market(&system.matrix)),
            ("rhs", vector_market(&system.rhs)),
            ("solution", vector_market(&system.solution)),
        ] {
            let path = directory.join(format!("{n}-{name}.mtx"));
            std::fs::write(&path, text).map_err(|error| format!("{}: {error}", path.display()))?;
        }
    }
    Ok(())
}

fn main() -> ExitCode {
    let mut stderr = std::io::stderr().lock();
    let Some(directory) = std::env::args_os().nth(1) else {
        let _ = writeln!(stderr, "usage: export_system DIRECTORY");
        return ExitCode::from(2);
    };
    match export(&PathBuf::from(directory)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            let _ = writeln!(stderr, "{error}");
            ExitCode::FAILURE
        }
    }
}
