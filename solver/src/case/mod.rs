//! The case file: TOML text in, a checked [`Module`] or a list of diagnostics out.
//!
//! Nothing here opens a file: texts of CSV files that a case names come through a callback.

pub mod codes;
mod diagnostic;
mod record;

pub use diagnostic::{Diagnostic, Label, Severity, SourceText};
pub use record::{
    DieRecord, HeaterRecord, LayerRecord, MaterialRecord, Record, SprayRecord, describe,
    peak_flux_W_m2,
};

use crate::module::Module;

/// A case that can be solved.
#[derive(Debug, Clone)]
pub struct Case {
    /// The checked module, SI units.
    pub module: Module,
    /// What was understood, for `check`.
    pub record: Record,
    /// What is suspicious but solvable.
    pub warnings: Vec<Diagnostic>,
}

/// Reads and checks a case.
///
/// `file_name` is printed in diagnostics. `load` returns the text of a file that the case names,
/// relative to the case, or one line that says why it cannot be read.
///
/// # Errors
/// Every mistake in the case, in the order of the text.
pub fn read(
    text: &str,
    file_name: &str,
    load: &dyn Fn(&str) -> Result<String, String>,
) -> Result<Case, Vec<Diagnostic>> {
    let _ = load;
    let source = SourceText::new(file_name, text);
    let (_, errors) = toml::de::DeTable::parse_recoverable(&source.text);
    let mut diagnostics: Vec<Diagnostic> = errors
        .iter()
        .map(|error| {
            let span = error.span().unwrap_or(source.text.len()..source.text.len());
            Diagnostic::error(codes::SYNTAX, error.message(), Label::new(&source, span, ""))
        })
        .collect();
    if diagnostics.is_empty() {
        diagnostics.push(Diagnostic::error(
            codes::SYNTAX,
            "this build reads the syntax of a case only",
            Label::new(&source, 0..0, ""),
        ));
    }
    Err(diagnostics)
}
