//! The case file: TOML text in, a checked [`Module`] or a list of diagnostics out.
//!
//! Nothing here opens a file: texts of CSV files that a case names come through a callback.

mod build;
pub mod codes;
mod context;
mod diagnostic;
mod fields;
mod file;
mod grid_csv;
mod ranges;
mod record;
mod starter;
#[cfg(test)]
mod tests;

pub use diagnostic::{Diagnostic, Label, Severity, SourceText};
pub use record::{
    DieRecord, HeaterRecord, LayerRecord, MaterialRecord, Record, SprayRecord, describe,
    peak_flux_W_m2,
};

pub use starter::starter;

use std::sync::Arc;

use crate::module::Module;
use context::Context;

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
    let source = SourceText::new(file_name, text);
    let context = Context::new(Arc::clone(&source), load);
    let (root, syntax) = toml::de::DeTable::parse_recoverable(&source.text);
    let file = file::CaseFile::read(&context, root.get_ref());
    if !syntax.is_empty() {
        return Err(with_syntax_errors(&source, &syntax, context.into_findings()));
    }
    let module = build::module(&context, &file, file_name);
    let Some(module) = module.filter(|_| !context.has_errors()) else {
        return Err(context.into_findings());
    };
    build::suspicions::find(&context, &file, &module);
    Ok(Case { record: describe(&module), module, warnings: context.into_findings() })
}

/// The syntax errors, and those findings about values that stand on lines free of them.
///
/// What is missing or unknown is not told as long as the syntax is wrong: it may only seem so.
fn with_syntax_errors(
    source: &Arc<SourceText>,
    syntax: &[toml::de::Error],
    findings: Vec<Diagnostic>,
) -> Vec<Diagnostic> {
    let line = |offset: usize| source.line_column(offset).0;
    let mut all: Vec<Diagnostic> = syntax
        .iter()
        .map(|error| {
            let span = error.span().unwrap_or(source.text.len()..source.text.len());
            let duplicate = error.message().starts_with("duplicate key");
            let code = if duplicate { codes::DUPLICATE_KEY } else { codes::SYNTAX };
            let finding =
                Diagnostic::error(code, error.message(), Label::new(source, span.clone(), ""));
            if duplicate {
                finding.help(
                    "a table holds each key once; parts of a list start with [[double]] brackets",
                )
            } else if follows_decimal_comma(&source.text, span.start) {
                finding.help("write decimals with a point, 1.5")
            } else {
                finding
            }
        })
        .collect();
    let broken: Vec<usize> = all.iter().map(|finding| line(finding.primary().span.start)).collect();
    let value_codes =
        [codes::WRONG_TYPE, codes::NOT_FINITE, codes::OUT_OF_RANGE, codes::WRONG_WORD];
    all.extend(findings.into_iter().filter(|finding| {
        let span = &finding.primary().span;
        value_codes.contains(&finding.code)
            && !(line(span.start)..=line(span.end)).any(|line| broken.contains(&line))
    }));
    all.sort_by_key(|finding| finding.primary().span.start);
    all
}

fn follows_decimal_comma(text: &str, offset: usize) -> bool {
    let before = text.get(..offset).unwrap_or_default();
    // The error stands at the comma or right behind it.
    let before = before.strip_suffix(',').unwrap_or(before);
    let after = text.get(before.len()..).unwrap_or_default();
    before.ends_with(|c: char| c.is_ascii_digit())
        && after
            .strip_prefix(',')
            .is_some_and(|rest| rest.starts_with(|c: char| c.is_ascii_digit()))
}
