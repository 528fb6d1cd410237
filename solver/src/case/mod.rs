//! The case file: TOML text in, a checked [`Module`] or a list of diagnostics out.
//!
//! Nothing here opens a file: texts of CSV files that a case names come through a callback.

mod build;
pub mod codes;
mod context;
mod csv_file;
mod diagnostic;
mod fields;
mod file;
mod grid_csv;
mod history_csv;
mod inlined;
mod key_texts;
mod other_units;
mod part_table;
mod place;
mod ranges;
mod record;
mod renozzled;
mod starter;
mod syntax;
#[cfg(test)]
mod tests;
mod trace_csv;

pub use diagnostic::{Diagnostic, Label, Severity, SourceText};
pub use record::{
    DieRecord, HeaterRecord, LayerRecord, MaterialRecord, Record, SprayRecord, describe,
    peak_flux_W_m2,
};

pub use fields::{Form, KeyForm, NumberRange, TableForm};
pub use inlined::inlined;
pub use key_texts::key_text;
pub use place::place_of_number;
pub use renozzled::renozzled;
pub use starter::starter;

use std::sync::Arc;

use crate::module::{ArrangeBounds, Correction, Cycle, Module, Qualification, Sensor};
use crate::study::scatter::Tolerance;
use context::Context;

/// A case that can be solved.
#[derive(Debug, Clone)]
pub struct Case {
    /// The checked module, SI units.
    pub module: Module,
    /// What measures temperature on it.
    pub sensors: Vec<Sensor>,
    /// Bounds for a better nozzle pattern, where the case states any.
    pub arrange: Option<ArrangeBounds>,
    /// What is to be proved by which test, if the case says.
    pub qualification: Option<Qualification>,
    /// Factors on what the case states; they are in `module` already.
    pub correction: Correction,
    /// What changes over time, if the case says.
    pub cycle: Option<Cycle>,
    /// How far its inputs may be from what is stated.
    pub tolerances: Vec<Tolerance>,
    /// What was understood, for `check`.
    pub record: Record,
    /// What is suspicious but solvable.
    pub warnings: Vec<Diagnostic>,
}

/// Every key that a case may have, as [`read`] asks for them; [`key_text`] says what each means.
pub fn form() -> TableForm {
    file::CaseFile::form()
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
        return Err(syntax::findings(&source, root.get_ref(), &syntax, context.into_findings()));
    }
    let module = build::module(&context, &file, file_name);
    let sensors = module.as_ref().map(|module| build::sensors::build(&context, &file, module));
    let arrange = module.as_ref().and_then(|module| build::arrange::build(&context, &file, module));
    let qualification = module.as_ref().and_then(|module| {
        let written = file.qualification.as_ref()?;
        build::qualification::build(&context, written, module)
    });
    // Whatever is wrong elsewhere, a profile is checked as soon as there is a module to check it by.
    let cycle = module.as_ref().and_then(|module| build::cycle::build(&context, &file, module));
    let tolerances =
        module.as_ref().map(|module| build::tolerances::build(&context, &file, module));
    let Some(module) = module.filter(|_| !context.has_errors()) else {
        return Err(context.into_findings());
    };
    build::suspicions::find(&context, &file, &module);
    let sensors = sensors.unwrap_or_default();
    let correction = build::correction::build(&file);
    // What is suspicious is said of what is written; everything else sees the corrected module.
    let module = correction.apply(&module);
    Ok(Case {
        record: describe(&module),
        module,
        sensors,
        cycle,
        arrange,
        qualification,
        correction,
        tolerances: tolerances.unwrap_or_default(),
        warnings: context.into_findings(),
    })
}
