//! Sensors as written.

use std::ops::Range;

use super::super::context::Located;
use super::super::fields::{Fields, Need::*};
use super::super::ranges;
use crate::library::{SENSOR_LIMITS, SensorLimits};

/// The faces that a sensor can sit on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in super::super) enum FileSensorFace {
    Junction,
    Back,
    Top,
    Bottom,
}

/// `[[sensor]]`.
pub(in super::super) struct FileSensor {
    pub span: Range<usize>,
    pub name: Option<Located<String>>,
    pub die: Option<Located<String>>,
    pub offset_mm: Option<Located<[f64; 2]>>,
    pub on: Option<Located<String>>,
    pub at_mm: Option<Located<[f64; 2]>>,
    pub face: Option<Located<FileSensorFace>>,
    pub limits: Option<Located<&'static SensorLimits>>,
    pub limit_of_error_K: Option<Located<f64>>,
    /// Whether a type is written at all, even wrongly.
    pub has_type: bool,
    /// Whether a limit is written at all.
    pub has_limit: bool,
    pub placement_mm: Option<Located<f64>>,
}

impl FileSensor {
    pub fn read(mut fields: Fields<'_, '_, '_>) -> FileSensor {
        let name = fields.name("name", Required);
        fields.named(name.as_ref());
        let words: Vec<(&'static str, &'static SensorLimits)> =
            SENSOR_LIMITS.iter().map(|limits| (limits.name, limits)).collect();
        let position = [&ranges::POSITION; 2];
        let sensor = FileSensor {
            span: fields.span(),
            name,
            die: fields.text("die", Optional),
            offset_mm: fields.numbers("offset_mm", Optional, position, "[x, y] in mm"),
            on: fields.text("on", Optional),
            at_mm: fields.numbers("at_mm", Optional, position, "[x, y] in mm"),
            face: fields.word(
                "face",
                Required,
                &[
                    ("junction", FileSensorFace::Junction),
                    ("back", FileSensorFace::Back),
                    ("top", FileSensorFace::Top),
                    ("bottom", FileSensorFace::Bottom),
                ],
            ),
            has_type: fields.has("type"),
            has_limit: fields.has("limit_of_error_K"),
            limits: fields.word("type", Optional, &words),
            limit_of_error_K: fields.number("limit_of_error_K", Optional, &ranges::LIMIT_OF_ERROR),
            placement_mm: fields.number("placement_mm", Optional, &ranges::PLACEMENT),
        };
        fields.finish();
        sensor
    }
}
