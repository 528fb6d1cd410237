//! Profiles from a recorded trace.

use super::super::super::codes;
use super::super::super::context::{Context, Located, number_text};
use super::super::super::file::FileCycle;
use super::super::super::trace_csv::{self, Column};
use super::coolant::CoolantSignals;
use super::powers::Powers;
use crate::module::{Shape, Signal};

/// Takes every column of the trace, if one is named.
pub(super) fn trace(
    context: &Context<'_>,
    written: &FileCycle,
    period_s: f64,
    powers: &mut Powers,
    coolant: &mut CoolantSignals,
) {
    let Some(path) = &written.trace else {
        if let Some(shape) = &written.trace_shape {
            context.push(
                context
                    .error(codes::INCOMPLETE, "trace_shape works only with trace", &shape.span, "")
                    .help("name the file: trace = \"profile.csv\", or leave this key out"),
            );
        }
        return;
    };
    let Some(trace) = trace_csv::load(context, path) else { return };
    let shape = written.trace_shape.as_ref().map_or(Shape::Ramps, |shape| shape.value);
    if let Some(last) = trace.time_s.last()
        && *last > period_s
    {
        context.push(
            context
                .error(
                    codes::CYCLE_TIMES,
                    "the trace goes on after the end of the period",
                    &path.span,
                    format!("its last time is {} s", number_text(*last)),
                )
                .help(format!("set period_s = {}", number_text(*last))),
        );
        return;
    }
    for (column, values) in trace.columns {
        let signal = Signal::through(&trace.time_s, &values, shape, period_s);
        match &column {
            Column::Power(name) | Column::Factor(name) => {
                let of = Located { value: name.clone(), span: path.span.clone() };
                powers.set(context, &of, &signal, matches!(column, Column::Power(_)));
            }
            column => coolant.set(context, column, &path.span, signal),
        }
    }
}
