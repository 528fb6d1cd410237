//! What changes over time: every source's power, the coolant, the start.

mod capacities;
mod coolant;
mod powers;
mod profile;
mod trace;

use super::super::codes;
use super::super::context::{Context, Located, number_text};
use super::super::file::{CaseFile, FileCycle, StartWord};
use super::super::trace_csv::Column;
use super::kelvin;
use crate::module::{Cycle, CycleStart, Module, Shape, Signal};
use capacities::capacities;
use coolant::{CoolantSignals, check_subcooled};
use powers::{Powers, step_response};
use profile::{signal, times};
use trace::trace;

/// Accuracy in time when none is asked for, K.
const DEFAULT_ACCURACY_K: f64 = 0.1;
/// Every other line of the steady mesh unless told otherwise.
const DEFAULT_COARSENING: usize = 2;
/// Spans of ramps a period unless told otherwise.
const DEFAULT_WINDOWS: f64 = 100.0;

/// The run over time; `None` without `[cycle]`, and after noting a mistake.
pub(in super::super::super) fn build(
    context: &Context<'_>,
    file: &CaseFile,
    module: &Module,
) -> Option<Cycle> {
    let written = file.cycle.as_ref()?;
    capacities(context, file, module, written);
    let start = start(context, written);
    let period_s = written.period_s.as_ref()?.value;
    let mut powers = Powers::of(module, period_s);
    let mut coolant = CoolantSignals::of(module);
    for power in &written.powers {
        if let (Some(factor), Some(watts)) = (&power.factor, &power.power_W) {
            super::exclusive(
                context,
                ("factor", factor),
                ("power_W", watts),
                "factor multiplies the case's power, power_W states the watts",
            );
            continue;
        }
        if !power.has_values {
            context.push(
                context
                    .error(codes::INCOMPLETE, "the profile has no values", &power.span, "")
                    .help("write factor = [...] or power_W = [...], one value a time"),
            );
        }
        let shape = power.shape.as_ref().map_or(Shape::Steps, |shape| shape.value);
        let Some(of) = &power.of else { continue };
        let Some(times) = times(context, power.time_s.as_ref(), shape, written) else { continue };
        for (values, watts) in [(&power.factor, false), (&power.power_W, true)] {
            let Some(values) = values else { continue };
            let Some(signal) = signal(context, &times, values, shape, period_s) else { continue };
            powers.set(context, of, &signal, watts);
        }
    }
    for part in &written.coolant {
        if !part.has_values {
            context.push(
                context
                    .error(codes::INCOMPLETE, "the profile has no values", &part.span, "")
                    .help("write flow_factor, htc_factor or inlet_C, one value a time"),
            );
        }
        let shape = part.shape.as_ref().map_or(Shape::Steps, |shape| shape.value);
        let Some(times) = times(context, part.time_s.as_ref(), shape, written) else { continue };
        let columns = [
            (Column::Flow, &part.flow_factor),
            (Column::Htc, &part.htc_factor),
            (Column::Inlet, &part.inlet_C),
        ];
        for (column, values) in columns {
            let Some(values) = values else { continue };
            let Some(signal) = signal(context, &times, values, shape, period_s) else { continue };
            coolant.set(context, &column, &values.span, signal);
        }
    }
    trace(context, written, period_s, &mut powers, &mut coolant);
    if let Some(inlet) = &coolant.inlet_K {
        check_subcooled(context, module, inlet);
    }
    let duration_s = period_s * written.repeats.as_ref().map_or(1.0, |n| n.value as f64);
    for at in written.snapshots_s.iter().flat_map(|list| &list.value) {
        if at.value > duration_s {
            context.push(
                context
                    .error(
                        codes::CYCLE_TIMES,
                        "a picture is asked for after the end of the run",
                        &at.span,
                        format!("the run ends at {} s", number_text(duration_s)),
                    )
                    .help("snapshots_s count from the start of the run: period_s times repeats"),
            );
        }
    }
    let step_response = step_response(context, written, &powers);
    let value = |number: &Option<Located<f64>>| number.as_ref().map(|number| number.value);
    let still = Signal::constant(1.0, period_s);
    let inlet_K = module.coolant.inlet_K;
    Some(Cycle {
        period_s,
        repeats: written.repeats.as_ref().map_or(1, |n| n.value),
        start: start?,
        time_accuracy_K: value(&written.time_accuracy_K).unwrap_or(DEFAULT_ACCURACY_K),
        power_W: powers.signals(),
        flow_factor: coolant.flow_factor.unwrap_or_else(|| still.clone()),
        htc_factor: coolant.htc_factor.unwrap_or(still),
        inlet_K: coolant.inlet_K.unwrap_or_else(|| Signal::constant(inlet_K, period_s)),
        snapshots_s: written
            .snapshots_s
            .iter()
            .flat_map(|list| list.value.iter().map(|at| at.value))
            .collect(),
        dwell_above_K: value(&written.dwell_above_C).map(kelvin),
        ramp_window_s: value(&written.ramp_window_s).unwrap_or(period_s / DEFAULT_WINDOWS),
        coarsening: written.coarsening.as_ref().map_or(DEFAULT_COARSENING, |n| n.value),
        step_response: step_response?,
    })
}

fn start(context: &Context<'_>, written: &FileCycle) -> Option<CycleStart> {
    let word = written.start.as_ref().map_or(StartWord::Steady, |word| word.value);
    match (word, &written.start_C) {
        (StartWord::Uniform, Some(temperature)) => {
            Some(CycleStart::Uniform(kelvin(temperature.value)))
        }
        (StartWord::Uniform, None) if written.has_start_C => None,
        (StartWord::Uniform, None) => {
            let span = written.start.as_ref().map_or(written.span.clone(), |w| w.span.clone());
            context.push(
                context
                    .error(codes::INCOMPLETE, "a uniform start needs its temperature", &span, "")
                    .help("write start_C = 25.0, or what yours is"),
            );
            None
        }
        (_, Some(temperature)) => {
            context.push(
                context
                    .error(
                        codes::INCOMPLETE,
                        "start_C works only with start = \"uniform\"",
                        &temperature.span,
                        "",
                    )
                    .help("set start = \"uniform\" or leave start_C out"),
            );
            None
        }
        (StartWord::Steady, None) => Some(CycleStart::Steady),
        (StartWord::Periodic, None) => Some(CycleStart::Periodic),
    }
}
