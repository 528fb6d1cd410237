//! `[correction]` as written.

use super::super::context::Located;
use super::super::fields::{Fields, Need::*};
use super::super::ranges;

/// `[correction]`.
pub(in super::super) struct FileCorrection {
    pub spray_coefficient: Option<Located<f64>>,
    pub attach_conductivity: Option<Located<f64>>,
    pub board_coefficient: Option<Located<f64>>,
    pub inlet_offset_K: Option<Located<f64>>,
}

impl FileCorrection {
    pub fn read(mut fields: Fields<'_, '_, '_>) -> FileCorrection {
        let factor = &ranges::CORRECTION;
        let correction = FileCorrection {
            spray_coefficient: fields.number("spray_coefficient", Optional, factor),
            attach_conductivity: fields.number("attach_conductivity", Optional, factor),
            board_coefficient: fields.number("board_coefficient", Optional, factor),
            inlet_offset_K: fields.number("inlet_offset_K", Optional, &ranges::INLET_OFFSET),
        };
        fields.finish();
        correction
    }
}
