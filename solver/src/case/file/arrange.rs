//! `[arrange]` as written.

use std::ops::Range;

use super::super::context::Located;
use super::super::fields::{Fields, Need::*};
use super::super::ranges;
use super::parts::rect;

/// `[arrange]`.
pub(in super::super) struct FileArrange {
    pub span: Range<usize>,
    pub region_mm: Option<Located<[f64; 4]>>,
    pub keep_out: Vec<FileKeepOut>,
    pub least_spacing_mm: Option<Located<f64>>,
    pub standoff_mm: Option<Located<[f64; 2]>>,
    pub flow_factor: Option<Located<[f64; 2]>>,
    pub total_flow_mL_s: Option<Located<f64>>,
    pub least_chf_margin: Option<Located<f64>>,
    pub least_limit_margin_K: Option<Located<f64>>,
}

impl FileArrange {
    pub fn read(mut fields: Fields<'_, '_, '_>) -> FileArrange {
        let (position, extent) = (&ranges::POSITION, &ranges::EXTENT);
        let arrange = FileArrange {
            span: fields.span(),
            region_mm: fields.numbers(
                "region_mm",
                Optional,
                [position, position, extent, extent],
                "[x, y, width, height] in mm",
            ),
            keep_out: fields.tables("keep_out").into_iter().map(FileKeepOut::read).collect(),
            least_spacing_mm: fields.number("least_spacing_mm", Optional, &ranges::SPACING),
            standoff_mm: fields.numbers(
                "standoff_mm",
                Optional,
                [&ranges::STANDOFF; 2],
                "[lowest, highest] in mm",
            ),
            flow_factor: fields.numbers(
                "flow_factor",
                Optional,
                [&ranges::ARRANGED_FLOW_FACTOR; 2],
                "[lowest, highest]",
            ),
            total_flow_mL_s: fields.number("total_flow_mL_s", Optional, &ranges::TOTAL_FLOW),
            least_chf_margin: fields.number("least_chf_margin", Optional, &ranges::CHF_MARGIN),
            least_limit_margin_K: fields.number(
                "least_limit_margin_K",
                Optional,
                &ranges::LIMIT_MARGIN,
            ),
        };
        fields.finish();
        arrange
    }
}

/// `[[arrange.keep_out]]`.
pub(in super::super) struct FileKeepOut {
    pub rect_mm: Option<Located<[f64; 4]>>,
}

impl FileKeepOut {
    fn read(mut fields: Fields<'_, '_, '_>) -> FileKeepOut {
        let keep_out = FileKeepOut { rect_mm: rect(&mut fields, Required) };
        fields.finish();
        keep_out
    }
}
