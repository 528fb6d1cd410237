//! The qualification: uses, test, and the histories that they name.

use super::super::codes;
use super::super::context::{Context, Located, number_text};
use super::super::file::{FileProfile, FileQualification};
use super::super::history_csv;
use super::{exclusive, kelvin};
use crate::life::{Reference, Swing};
use crate::module::{FieldUse, Module, Profile, Qualification, TestUse};

/// The qualification of the case; `None` where anything is wrong (and noted).
pub(in super::super) fn build(
    context: &Context<'_>,
    file: &FileQualification,
    module: &Module,
) -> Option<Qualification> {
    if file.field.is_empty() {
        context.push(
            context
                .error(
                    codes::INCOMPLETE,
                    "the qualification has no use in the field",
                    &file.span,
                    "",
                )
                .help("add [[qualification.field]] with name, per_year, dwell_min and low_C or history"),
        );
    }
    let field: Vec<Option<FieldUse>> = file
        .field
        .iter()
        .map(|part| {
            let profile = profile(context, part, module);
            Some(FieldUse {
                name: part.name.as_ref()?.value.clone(),
                per_year: part.per_year.as_ref()?.value,
                profile: profile?,
                dwell_min: part.dwell_min.as_ref()?.value,
            })
        })
        .collect();
    let test = file.test.as_ref().and_then(|part| {
        let profile = profile(context, part, module);
        dwell_within(context, part);
        Some(TestUse {
            profile: profile?,
            cycle_min: part.cycle_min.as_ref()?.value,
            dwell_min: part.dwell_min.as_ref()?.value,
        })
    });
    let known_life = match &file.known_life {
        None => Some(None),
        Some(known) => {
            order(context, known.low_C.as_ref(), known.high_C.as_ref());
            (|| {
                Some(Some(Reference {
                    cycles: known.cycles.as_ref()?.value,
                    swing: Swing {
                        low_K: kelvin(known.low_C.as_ref()?.value),
                        high_K: kelvin(known.high_C.as_ref()?.value),
                        cycles_per_day: known.cycles_per_day.as_ref()?.value,
                        dwell_min: known.dwell_min.as_ref()?.value,
                    },
                }))
            })()
        }
    };
    Some(Qualification {
        model: file.model.as_ref()?.value,
        life_years: file.field_life_years.as_ref()?.value,
        margin: file.margin.as_ref()?.value,
        reliability: file.reliability.as_ref()?.value,
        confidence: file.confidence.as_ref()?.value,
        failures: file.failures_allowed.as_ref().map_or(0, |n| n.value as u64),
        weibull_slope: file.weibull_slope.as_ref().map(|slope| slope.value),
        samples: file.samples.as_ref().map(|n| n.value as u64),
        field: field.into_iter().collect::<Option<Vec<_>>>()?,
        test: test?,
        known_life: known_life?,
    })
}

fn profile(context: &Context<'_>, file: &FileProfile, module: &Module) -> Option<Profile> {
    match (&file.low_C, &file.history) {
        (Some(low), Some(history)) => {
            let help = "a history holds the temperatures of a whole period; low_C and high_C make a \
                        plain swing";
            exclusive(context, ("low_C", low), ("history", history), help);
            None
        }
        (None, None) => {
            if !file.has_temperatures {
                context.push(
                    context
                        .error(codes::INCOMPLETE, "a profile without temperatures", &file.span, "")
                        .help(
                            "give low_C (and high_C, unless it is each junction's temperature at \
                             the powers of the case), or history = \"history.csv\"",
                        ),
                );
            }
            None
        }
        (Some(low), None) => {
            order(context, Some(low), file.high_C.as_ref());
            let high_K = file.high_C.as_ref().map(|high| kelvin(high.value));
            Some(Profile::Swing { low_K: kelvin(low.value), high_K })
        }
        (None, Some(history)) => {
            if let Some(high) = &file.high_C {
                let help = "the history has its own highest temperature";
                exclusive(context, ("history", history), ("high_C", high), help);
                return None;
            }
            let die = module.die.iter().map(|die| die.name.as_str());
            let heaters = module.heaters.iter().map(|heater| heater.name.as_str());
            let names: Vec<&str> = die.chain(heaters).collect();
            history_csv::load(context, history, &names).map(Profile::History)
        }
    }
}

/// Notes a hot end that is not above the cold one.
fn order(context: &Context<'_>, low: Option<&Located<f64>>, high: Option<&Located<f64>>) {
    let (Some(low), Some(high)) = (low, high) else { return };
    if high.value <= low.value {
        context.push(
            context
                .error(
                    codes::PROFILE,
                    "high_C is not above low_C",
                    &high.span,
                    format!("got {}; low_C is {}", number_text(high.value), number_text(low.value)),
                )
                .help("swap them if they were mistaken for one another"),
        );
    }
}

/// Notes a dwell that is longer than the cycle that holds it.
fn dwell_within(context: &Context<'_>, file: &FileProfile) {
    let (Some(dwell), Some(cycle)) = (&file.dwell_min, &file.cycle_min) else { return };
    if dwell.value > cycle.value {
        context.push(context.error(
            codes::PROFILE,
            "the dwell is longer than the cycle",
            &dwell.span,
            format!("got {}; cycle_min is {}", number_text(dwell.value), number_text(cycle.value)),
        ));
    }
}
