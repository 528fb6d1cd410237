//! Lists of times and values as signals.

use std::ops::Range;

use super::super::super::codes;
use super::super::super::context::{Context, Located, number_text};
use super::super::super::file::FileCycle;
use crate::module::{Shape, Signal};

/// Times of a list that rise from 0 to at most the period; `None` after noting why not.
pub(super) fn times(
    context: &Context<'_>,
    list: Option<&Located<Vec<Located<f64>>>>,
    shape: Shape,
    written: &FileCycle,
) -> Option<Located<Vec<f64>>> {
    let list = list?;
    let period = written.period_s.as_ref()?;
    let fault = |headline: &str, span: &Range<usize>, label: String, help: &str| {
        context.push(context.error(codes::CYCLE_TIMES, headline, span, label).help(help));
    };
    let Some(first) = list.value.first() else {
        fault("a profile needs at least one time", &list.span, String::new(), "start with 0.0");
        return None;
    };
    if first.value != 0.0 {
        let help = "the first value holds from the start of the period: begin time_s with 0.0";
        fault("a profile starts at time 0", &first.span, String::new(), help);
        return None;
    }
    for pair in list.value.windows(2) {
        let falls = pair[1].value < pair[0].value;
        if falls || (shape == Shape::Steps && pair[1].value == pair[0].value) {
            let label = format!("not after {} s", number_text(pair[0].value));
            let help = "list the times in their order; a ramp may state a time twice, for a jump";
            fault("the times of a profile must rise", &pair[1].span, label, help);
            return None;
        }
    }
    if let Some(late) = list.value.iter().find(|time| time.value > period.value) {
        let label = format!("period_s is {}", number_text(period.value));
        let help = "lengthen period_s, or leave out what comes after it";
        fault("a time after the end of the period", &late.span, label, help);
        return None;
    }
    let times = list.value.iter().map(|time| time.value).collect();
    Some(Located { value: times, span: list.span.clone() })
}

/// The signal through values at times; `None` after noting that they are not as many.
pub(super) fn signal(
    context: &Context<'_>,
    times: &Located<Vec<f64>>,
    values: &Located<Vec<Located<f64>>>,
    shape: Shape,
    period_s: f64,
) -> Option<Signal> {
    if values.value.len() != times.value.len() {
        context.push(
            context
                .error(
                    codes::CYCLE_TIMES,
                    "a profile needs one value a time",
                    &values.span,
                    format!("values: {}", values.value.len()),
                )
                .also(context.label(&times.span, format!("times: {}", times.value.len())))
                .help("the last value holds until the end of the period"),
        );
        return None;
    }
    let values: Vec<f64> = values.value.iter().map(|value| value.value).collect();
    Some(Signal::through(&times.value, &values, shape, period_s))
}
