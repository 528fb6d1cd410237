//! `[[tolerance]]` as written.

use std::ops::Range;

use super::super::context::Located;
use super::super::fields::{Fields, Need::*};
use super::super::ranges;
use crate::study::scatter::{Distribution, Quantity};

/// `[[tolerance]]`.
pub(in super::super) struct FileTolerance {
    pub span: Range<usize>,
    pub quantity: Option<Located<Quantity>>,
    pub of: Option<Located<String>>,
    pub distribution: Option<Located<Distribution>>,
    pub spread: Option<Located<f64>>,
    pub spread_pct: Option<Located<f64>>,
    /// Whether either spread is written at all, even wrongly.
    pub has_spread: bool,
    pub together: Option<Located<bool>>,
}

impl FileTolerance {
    pub fn read(mut fields: Fields<'_, '_, '_>) -> FileTolerance {
        let tolerance = FileTolerance {
            span: fields.span(),
            quantity: fields.word("quantity", Required, &Quantity::WORDS),
            of: fields.text("of", Optional),
            distribution: fields.word("distribution", Required, &Distribution::WORDS),
            has_spread: fields.has("spread") || fields.has("spread_pct"),
            spread: fields.number("spread", Optional, &ranges::SPREAD),
            spread_pct: fields.number("spread_pct", Optional, &ranges::SPREAD_PCT),
            together: fields.word("items", Optional, &[("each", false), ("together", true)]),
        };
        fields.finish();
        tolerance
    }
}
