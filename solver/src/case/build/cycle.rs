//! What changes over time: every source's power, the coolant, the start.

use std::ops::Range;

use super::super::codes;
use super::super::context::{Context, Located, number_text};
use super::super::file::{CaseFile, FileCycle, StartWord};
use super::super::trace_csv::{self, Column};
use super::{kelvin, names};
use crate::module::{Cycle, CycleStart, Module, Shape, Signal, Spray};

/// Accuracy in time when none is asked for, K.
const DEFAULT_ACCURACY_K: f64 = 0.1;
/// Every other line of the steady mesh unless told otherwise.
const DEFAULT_COARSENING: usize = 2;
/// Spans of ramps a period unless told otherwise.
const DEFAULT_WINDOWS: f64 = 100.0;
/// Step responses of all sources are made unless there are more than this.
const MOST_RESPONSES: usize = 24;

/// How closely a name means a source: itself, its type, everything.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Closeness {
    Module,
    Type,
    Itself,
}

/// The run over time; `None` without `[cycle]`, and after noting a mistake.
pub(in super::super) fn build(
    context: &Context<'_>,
    file: &CaseFile,
    module: &Module,
) -> Option<Cycle> {
    let written = file.cycle.as_ref()?;
    capacities(context, file, module, written);
    let start = start(context, written);
    let period_s = written.period_s.as_ref()?.value;
    let mut powers = Powers::of(module, period_s);
    let mut coolant = CoolantSignals {
        flow_factor: None,
        htc_factor: None,
        inlet_K: None,
        correlated: matches!(module.spray, Spray::Correlated(_)),
    };
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

/// Times of a list that rise from 0 to at most the period; `None` after noting why not.
fn times(
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

fn signal(
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

/// Powers of the sources, each with how closely its profile means it.
struct Powers<'m> {
    module: &'m Module,
    nominal_W: Vec<f64>,
    signals: Vec<Signal>,
    closeness: Vec<Option<(Closeness, Range<usize>)>>,
}

impl<'m> Powers<'m> {
    fn of(module: &'m Module, period_s: f64) -> Powers<'m> {
        let die = module.die.iter().map(|d| d.power_W);
        let nominal_W: Vec<f64> = die.chain(module.heaters.iter().map(|h| h.power_W)).collect();
        Powers {
            module,
            signals: nominal_W.iter().map(|p| Signal::constant(*p, period_s)).collect(),
            closeness: vec![None; nominal_W.len()],
            nominal_W,
        }
    }

    /// Sources that a name means; `None` after noting that it means none, or two things.
    fn meant(
        &self,
        context: &Context<'_>,
        of: &Located<String>,
    ) -> Option<(Closeness, Vec<usize>)> {
        let die = &self.module.die;
        let heaters = &self.module.heaters;
        let name = of.value.as_str();
        let itself: Vec<usize> = die
            .iter()
            .map(|d| d.name.as_str())
            .chain(heaters.iter().map(|h| h.name.as_str()))
            .enumerate()
            .filter(|(_, own)| *own == name)
            .map(|(k, _)| k)
            .collect();
        let typed: Vec<usize> =
            (0..die.len()).filter(|&k| die[k].type_name.as_str() == name).collect();
        let everything = name == "module";
        let meanings = [!itself.is_empty(), !typed.is_empty(), everything];
        match meanings.iter().filter(|meant| **meant).count() {
            0 => {
                let mut known: Vec<&str> = die.iter().map(|d| d.type_name.as_str()).collect();
                known.sort_unstable();
                known.dedup();
                known.extend(die.iter().map(|d| d.name.as_str()));
                known.extend(heaters.iter().map(|h| h.name.as_str()));
                known.push("module");
                names::unknown(context, "die, die type or heater", of, known);
                None
            }
            1 if everything => Some((Closeness::Module, (0..self.nominal_W.len()).collect())),
            1 if !typed.is_empty() => Some((Closeness::Type, typed)),
            1 => Some((Closeness::Itself, itself)),
            _ => {
                context.push(
                    context
                        .error(
                            codes::AMBIGUOUS_NAME,
                            format!("\"{name}\" could mean two things"),
                            &of.span,
                            "a die or heater, every die of a type, or the module?",
                        )
                        .help("rename one of them"),
                );
                None
            }
        }
    }

    fn set(&mut self, context: &Context<'_>, of: &Located<String>, signal: &Signal, watts: bool) {
        let Some((closeness, sources)) = self.meant(context, of) else { return };
        let total_W: f64 = sources.iter().map(|&s| self.nominal_W[s]).sum();
        for &s in &sources {
            match &self.closeness[s] {
                Some((other, _)) if *other > closeness => continue,
                Some((other, span)) if *other == closeness => {
                    context.push(
                        context
                            .error(
                                codes::CYCLE_TWICE,
                                format!("two profiles for \"{}\"", of.value),
                                &of.span,
                                "another one",
                            )
                            .also(context.label(span, "the first"))
                            .help("keep one: a die's own profile goes before that of its type, which goes before that of the module"),
                    );
                    return;
                }
                _ => {}
            }
            let nominal_W = self.nominal_W[s];
            let share = match (watts, closeness) {
                (false, _) => nominal_W,
                (true, Closeness::Module) if total_W > 0.0 => nominal_W / total_W,
                (true, Closeness::Module) => 1.0 / sources.len() as f64,
                (true, _) => 1.0,
            };
            self.signals[s] = signal.clone().map(|value| value * share);
            self.closeness[s] = Some((closeness, of.span.clone()));
        }
    }

    fn signals(self) -> Vec<Signal> {
        self.signals
    }
}

struct CoolantSignals {
    flow_factor: Option<Signal>,
    htc_factor: Option<Signal>,
    inlet_K: Option<Signal>,
    correlated: bool,
}

impl CoolantSignals {
    fn set(&mut self, context: &Context<'_>, column: &Column, span: &Range<usize>, signal: Signal) {
        let (key, slot) = match column {
            Column::Flow => ("flow_factor", &mut self.flow_factor),
            Column::Htc => ("htc_factor", &mut self.htc_factor),
            _ => ("inlet_C", &mut self.inlet_K),
        };
        let fits = match column {
            Column::Flow => self.correlated,
            Column::Htc => !self.correlated,
            _ => true,
        };
        if !fits {
            let (model, other) = if self.correlated {
                ("correlated", "multiply the flow instead: flow_factor")
            } else {
                ("prescribed", "multiply the coefficients instead: htc_factor")
            };
            context.push(
                context
                    .error(
                        codes::OTHER_MODEL,
                        format!("{key} does not go with model = \"{model}\""),
                        span,
                        "",
                    )
                    .help(other),
            );
            return;
        }
        if slot.is_some() {
            context.push(
                context
                    .error(codes::CYCLE_TWICE, format!("two profiles for {key}"), span, "")
                    .help("keep one of them"),
            );
            return;
        }
        *slot = Some(if key == "inlet_C" { signal.map(kelvin) } else { signal });
    }
}

fn trace(
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

fn check_subcooled(context: &Context<'_>, module: &Module, inlet_K: &Signal) {
    let (Spray::Correlated(_), Some(fluid)) = (&module.spray, &module.coolant.fluid) else {
        return;
    };
    let saturation_K = fluid.saturation_temperature_K(module.coolant.pressure_Pa);
    let [_, hottest_K] = inlet_K.range();
    if hottest_K < saturation_K {
        return;
    }
    context.push(
        context
            .error(
                codes::INLET_SATURATED,
                "the liquid would boil in the nozzle",
                &(0..0),
                format!(
                    "inlet_C of the cycle reaches {:.1} °C; {} boils at {:.1} °C",
                    hottest_K - super::ZERO_C_IN_K,
                    fluid.name,
                    saturation_K - super::ZERO_C_IN_K
                ),
            )
            .help("lower inlet_C of the cycle or raise pressure_kPa of [coolant]"),
    );
}

/// Sources whose step response is made.
fn step_response(
    context: &Context<'_>,
    written: &FileCycle,
    powers: &Powers,
) -> Option<Vec<usize>> {
    let Some(list) = &written.step_response else {
        let module = powers.module;
        let all = powers.nominal_W.len();
        if all <= MOST_RESPONSES {
            return Some((0..all).collect());
        }
        // Of many die, the one with most power of each type.
        let mut chosen: Vec<usize> = Vec::new();
        for (k, die) in module.die.iter().enumerate() {
            match chosen.iter_mut().find(|c| module.die[**c].type_name == die.type_name) {
                Some(c) if die.power_W > module.die[*c].power_W => *c = k,
                Some(_) => {}
                None => chosen.push(k),
            }
        }
        chosen.sort_unstable();
        return Some(chosen);
    };
    let mut chosen: Vec<usize> = Vec::new();
    for name in &list.value {
        chosen.extend(powers.meant(context, name)?.1);
    }
    chosen.sort_unstable();
    chosen.dedup();
    Some(chosen)
}

/// Notes every material of the case's own that cannot store heat.
fn capacities(context: &Context<'_>, file: &CaseFile, module: &Module, written: &FileCycle) {
    let layers = module.layers.iter().map(|layer| &layer.material);
    let die = module.die.iter().flat_map(|die| {
        std::iter::once(&die.material).chain(die.attach.as_ref().map(|attach| &attach.material))
    });
    let used: Vec<&str> = layers
        .chain(die)
        .filter(|m| m.density_kg_m3.is_none() || m.specific_heat_J_kgK.is_none())
        .map(|m| m.name.as_str())
        .collect();
    for material in &file.materials {
        if !used.contains(&material.name.value.as_str()) {
            continue;
        }
        let missing = match (&material.density_kg_m3, &material.specific_heat_J_kgK) {
            (None, None) => "density_kg_m3 and specific_heat_J_kgK belong here",
            (None, _) => "density_kg_m3 belongs here",
            _ => "specific_heat_J_kgK belongs here",
        };
        context.push(
            context
                .error(
                    codes::NO_CAPACITY,
                    format!("material \"{}\" cannot store heat", material.name.value),
                    &material.name.span,
                    missing,
                )
                .also(context.label(&written.span, "a run over time needs it"))
                .help("data sheets state both; ceramics have some 2000 to 4000 kg/m³ and 700 to 1000 J/(kg·K)"),
        );
    }
}
