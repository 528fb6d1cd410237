//! `[cycle]` as written: what changes over time.

use std::ops::Range;

use super::super::context::Located;
use super::super::fields::{Fields, Need::*};
use super::super::ranges;
use crate::module::Shape;

const SHAPES: &[(&str, Shape)] = &[("steps", Shape::Steps), ("ramps", Shape::Ramps)];

/// How a run starts, as a word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in super::super) enum StartWord {
    Steady,
    Uniform,
    Periodic,
}

/// `[cycle]`.
pub(in super::super) struct FileCycle {
    pub span: Range<usize>,
    pub period_s: Option<Located<f64>>,
    pub repeats: Option<Located<usize>>,
    pub start: Option<Located<StartWord>>,
    pub start_C: Option<Located<f64>>,
    /// Whether `start_C` is written at all, even wrongly.
    pub has_start_C: bool,
    pub time_accuracy_K: Option<Located<f64>>,
    pub snapshots_s: Option<Located<Vec<Located<f64>>>>,
    pub dwell_above_C: Option<Located<f64>>,
    pub ramp_window_s: Option<Located<f64>>,
    pub coarsening: Option<Located<usize>>,
    pub step_response: Option<Located<Vec<Located<String>>>>,
    pub trace: Option<Located<String>>,
    pub trace_shape: Option<Located<Shape>>,
    pub powers: Vec<FileCyclePower>,
    pub coolant: Vec<FileCycleCoolant>,
}

impl FileCycle {
    pub fn read(mut fields: Fields<'_, '_, '_>) -> FileCycle {
        let cycle = FileCycle {
            span: fields.span(),
            period_s: fields.number("period_s", Required, &ranges::PERIOD),
            repeats: fields.count("repeats", Optional, 1..=10_000),
            start: fields.word(
                "start",
                Optional,
                &[
                    ("steady", StartWord::Steady),
                    ("uniform", StartWord::Uniform),
                    ("periodic", StartWord::Periodic),
                ],
            ),
            has_start_C: fields.has("start_C"),
            start_C: fields.number("start_C", Optional, &ranges::SURROUNDINGS_TEMPERATURE),
            time_accuracy_K: fields.number("time_accuracy_K", Optional, &ranges::ACCURACY),
            snapshots_s: fields.number_list("snapshots_s", Optional, &ranges::TIME),
            dwell_above_C: fields.number("dwell_above_C", Optional, &ranges::LIMIT),
            ramp_window_s: fields.number("ramp_window_s", Optional, &ranges::PERIOD),
            coarsening: fields.count("coarsening", Optional, 1..=8),
            step_response: fields.text_list("step_response", Optional),
            trace: fields.text("trace", Optional),
            trace_shape: fields.word("trace_shape", Optional, SHAPES),
            powers: fields.tables("power").into_iter().map(FileCyclePower::read).collect(),
            coolant: fields.tables("coolant").into_iter().map(FileCycleCoolant::read).collect(),
        };
        fields.finish();
        cycle
    }
}

/// `[[cycle.power]]`.
pub(in super::super) struct FileCyclePower {
    pub span: Range<usize>,
    pub of: Option<Located<String>>,
    pub shape: Option<Located<Shape>>,
    pub time_s: Option<Located<Vec<Located<f64>>>>,
    pub factor: Option<Located<Vec<Located<f64>>>>,
    pub power_W: Option<Located<Vec<Located<f64>>>>,
    /// Whether values are written at all, even wrongly.
    pub has_values: bool,
}

impl FileCyclePower {
    fn read(mut fields: Fields<'_, '_, '_>) -> FileCyclePower {
        let of = fields.text("of", Required);
        fields.named(of.as_ref());
        let power = FileCyclePower {
            span: fields.span(),
            of,
            shape: fields.word("shape", Optional, SHAPES),
            time_s: fields.number_list("time_s", Required, &ranges::TIME),
            factor: fields.number_list("factor", Optional, &ranges::POWER_FACTOR),
            power_W: fields.number_list("power_W", Optional, &ranges::POWER),
            has_values: fields.has("factor") || fields.has("power_W"),
        };
        fields.finish();
        power
    }
}

/// `[[cycle.coolant]]`.
pub(in super::super) struct FileCycleCoolant {
    pub span: Range<usize>,
    pub shape: Option<Located<Shape>>,
    pub time_s: Option<Located<Vec<Located<f64>>>>,
    pub flow_factor: Option<Located<Vec<Located<f64>>>>,
    pub htc_factor: Option<Located<Vec<Located<f64>>>>,
    pub inlet_C: Option<Located<Vec<Located<f64>>>>,
    /// Whether values are written at all, even wrongly.
    pub has_values: bool,
}

impl FileCycleCoolant {
    fn read(mut fields: Fields<'_, '_, '_>) -> FileCycleCoolant {
        let has_values = ["flow_factor", "htc_factor", "inlet_C"].iter().any(|k| fields.has(k));
        let coolant = FileCycleCoolant {
            span: fields.span(),
            shape: fields.word("shape", Optional, SHAPES),
            time_s: fields.number_list("time_s", Required, &ranges::TIME),
            flow_factor: fields.number_list("flow_factor", Optional, &ranges::FLOW_FACTOR),
            htc_factor: fields.number_list("htc_factor", Optional, &ranges::HTC_FACTOR),
            inlet_C: fields.number_list("inlet_C", Optional, &ranges::INLET),
            has_values,
        };
        fields.finish();
        coolant
    }
}
