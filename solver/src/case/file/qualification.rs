//! `[qualification]` as written.

use std::ops::Range;

use super::super::context::Located;
use super::super::fields::{Fields, Need::*};
use super::super::ranges;
use crate::life::{FatigueModel, MODELS};

/// `[qualification]`.
pub(in super::super) struct FileQualification {
    pub span: Range<usize>,
    pub model: Option<Located<&'static FatigueModel>>,
    pub field_life_years: Option<Located<f64>>,
    pub margin: Option<Located<f64>>,
    pub reliability: Option<Located<f64>>,
    pub confidence: Option<Located<f64>>,
    pub failures_allowed: Option<Located<usize>>,
    pub weibull_slope: Option<Located<f64>>,
    pub samples: Option<Located<usize>>,
    pub field: Vec<FileProfile>,
    pub test: Option<FileProfile>,
    pub known_life: Option<FileKnownLife>,
}

/// `[[qualification.field]]` or `[qualification.test]`.
pub(in super::super) struct FileProfile {
    pub span: Range<usize>,
    pub name: Option<Located<String>>,
    pub per_year: Option<Located<f64>>,
    pub cycle_min: Option<Located<f64>>,
    pub low_C: Option<Located<f64>>,
    pub high_C: Option<Located<f64>>,
    pub dwell_min: Option<Located<f64>>,
    pub history: Option<Located<String>>,
    /// Whether a temperature or a history is written at all, even wrongly.
    pub has_temperatures: bool,
}

/// `[qualification.known_life]`.
pub(in super::super) struct FileKnownLife {
    pub cycles: Option<Located<f64>>,
    pub low_C: Option<Located<f64>>,
    pub high_C: Option<Located<f64>>,
    pub cycles_per_day: Option<Located<f64>>,
    pub dwell_min: Option<Located<f64>>,
}

impl FileQualification {
    pub fn read(mut fields: Fields<'_, '_, '_>) -> FileQualification {
        let words: Vec<(&'static str, &'static FatigueModel)> =
            MODELS.iter().map(|model| (model.name, model)).collect();
        let share = &ranges::SHARE_PROVED;
        let qualification = FileQualification {
            span: fields.span(),
            model: fields.word("model", Required, &words),
            field_life_years: fields.number("field_life_years", Required, &ranges::LIFE),
            margin: fields.number("margin", Required, &ranges::TEST_MARGIN),
            reliability: fields.number("reliability", Required, share),
            confidence: fields.number("confidence", Required, share),
            failures_allowed: fields.count("failures_allowed", Optional, 0..=100),
            weibull_slope: fields.number("weibull_slope", Optional, &ranges::WEIBULL_SLOPE),
            samples: fields.count("samples", Optional, 1..=1_000_000),
            field: fields.tables("field").into_iter().map(|f| profile(f, true)).collect(),
            test: fields.table("test", Required).map(|f| profile(f, false)),
            known_life: fields.table("known_life", Optional).map(|mut fields| {
                let temperature = &ranges::LIMIT;
                let known = FileKnownLife {
                    cycles: fields.number("cycles", Required, &ranges::CYCLES),
                    low_C: fields.number("low_C", Required, temperature),
                    high_C: fields.number("high_C", Required, temperature),
                    cycles_per_day: fields.number("cycles_per_day", Required, &ranges::PER_DAY),
                    dwell_min: fields.number("dwell_min", Required, &ranges::MINUTES),
                };
                fields.finish();
                known
            }),
        };
        fields.finish();
        qualification
    }
}

fn profile(mut fields: Fields<'_, '_, '_>, in_field: bool) -> FileProfile {
    let name = if in_field { fields.name("name", Required) } else { None };
    fields.named(name.as_ref());
    let temperature = &ranges::LIMIT;
    let profile = FileProfile {
        span: fields.span(),
        name,
        per_year: in_field
            .then(|| fields.number("per_year", Required, &ranges::PER_YEAR))
            .flatten(),
        cycle_min: (!in_field)
            .then(|| fields.number("cycle_min", Required, &ranges::MINUTES))
            .flatten(),
        has_temperatures: fields.has("low_C") || fields.has("history"),
        low_C: fields.number("low_C", Optional, temperature),
        high_C: fields.number("high_C", Optional, temperature),
        dwell_min: fields.number("dwell_min", Required, &ranges::MINUTES),
        history: fields.text("history", Optional),
    };
    fields.finish();
    profile
}
