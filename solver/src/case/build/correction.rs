//! Factors on what the case states.

use super::super::context::Located;
use super::super::file::CaseFile;
use crate::module::Correction;

/// The correction of the case; none without a table.
pub(in super::super) fn build(file: &CaseFile) -> Correction {
    let Some(written) = &file.correction else { return Correction::default() };
    let value =
        |number: &Option<Located<f64>>, none: f64| number.as_ref().map_or(none, |n| n.value);
    Correction {
        spray_coefficient: value(&written.spray_coefficient, 1.0),
        attach_conductivity: value(&written.attach_conductivity, 1.0),
        board_coefficient: value(&written.board_coefficient, 1.0),
        inlet_offset_K: value(&written.inlet_offset_K, 0.0),
    }
}
