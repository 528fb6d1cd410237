//! The power of every source against time, and which profile means it.

use std::ops::Range;

use super::super::super::codes;
use super::super::super::context::{Context, Located};
use super::super::super::file::FileCycle;
use super::super::names;
use crate::module::{Module, Signal};

/// Step responses of all sources are made unless there are more than this.
const MOST_RESPONSES: usize = 24;

/// How closely a name means a source: itself, its type, everything.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Closeness {
    Module,
    Type,
    Itself,
}

/// Powers of the sources, each with how closely its profile means it.
pub(super) struct Powers<'m> {
    module: &'m Module,
    nominal_W: Vec<f64>,
    signals: Vec<Signal>,
    closeness: Vec<Option<(Closeness, Range<usize>)>>,
}

impl<'m> Powers<'m> {
    pub fn of(module: &'m Module, period_s: f64) -> Powers<'m> {
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
    pub fn meant(
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

    pub fn set(
        &mut self,
        context: &Context<'_>,
        of: &Located<String>,
        signal: &Signal,
        watts: bool,
    ) {
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

    pub fn signals(self) -> Vec<Signal> {
        self.signals
    }
}

/// Sources whose step response is made.
pub(super) fn step_response(
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
