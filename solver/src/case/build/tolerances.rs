//! Tolerances: what each is on, and how wide.

use super::super::codes;
use super::super::context::{Context, Located};
use super::super::file::{CaseFile, FileTolerance};
use super::names;
use crate::module::{Module, Spray};
use crate::study::scatter::{Distribution, Kind, Quantity, Spread, Tolerance};

/// Widest normal distribution of something that cannot be negative, %: four deviations.
const WIDEST_NORMAL_PCT: f64 = 25.0;

/// The tolerances of a module; mistakes go to `context`.
pub(in super::super) fn build(
    context: &Context<'_>,
    file: &CaseFile,
    module: &Module,
) -> Vec<Tolerance> {
    file.tolerances.iter().filter_map(|tolerance| one(context, tolerance, module)).collect()
}

fn one(context: &Context<'_>, written: &FileTolerance, module: &Module) -> Option<Tolerance> {
    let spread = spread(context, written);
    let quantity = written.quantity.as_ref()?;
    let items = items(context, written, quantity, module)?;
    let of = written.of.as_ref().map_or(String::new(), |of| format!(" of {}", of.value));
    Some(Tolerance {
        label: format!("{}{of}", quantity.value.word()),
        quantity: quantity.value,
        items,
        common: written.together.as_ref().is_some_and(|together| together.value),
        distribution: written.distribution.as_ref()?.value,
        spread: spread?,
    })
}

fn spread(context: &Context<'_>, written: &FileTolerance) -> Option<Spread> {
    if !written.has_spread {
        context.push(
            context
                .error(
                    codes::INCOMPLETE,
                    "the tolerance does not say how wide it is",
                    &written.span,
                    "spread or spread_pct belongs here",
                )
                .help(
                    "spread_pct = 5.0 is in % of the value, spread = 0.01 in the quantity's unit",
                ),
        );
        return None;
    }
    let quantity = written.quantity.as_ref()?.value;
    let refuse = |number: &Located<f64>, headline: String, help: &str| {
        let finding = context.error(codes::OUT_OF_RANGE, headline, &number.span, "");
        context.push(finding.help(help));
        None
    };
    match (&written.spread, &written.spread_pct) {
        (Some(spread), Some(share)) => {
            context.push(
                context
                    .error(
                        codes::EXCLUSIVE_KEYS,
                        "spread and spread_pct exclude each other",
                        &share.span,
                        "the width again",
                    )
                    .also(context.label(&spread.span, "the width is stated here"))
                    .help("keep one: spread is in the quantity's unit, spread_pct in %"),
            );
            None
        }
        (Some(spread), None) => {
            if written.distribution.as_ref()?.value == Distribution::Lognormal {
                return refuse(
                    spread,
                    "a lognormal tolerance is as wide as spread_pct says".to_owned(),
                    "write spread_pct: the standard deviation of the natural logarithm, in %",
                );
            }
            match quantity.si_per_unit() {
                Some(si) => Some(Spread::Absolute(spread.value * si)),
                None => refuse(
                    spread,
                    format!("{} has many values and only scales", quantity.word()),
                    "write spread_pct",
                ),
            }
        }
        (None, Some(share)) if !quantity.takes_share() => refuse(
            share,
            format!("a share of {} has no meaning", quantity.word()),
            "write spread, in the quantity's unit",
        ),
        (None, Some(share)) => {
            let normal = written.distribution.as_ref()?.value == Distribution::Normal;
            if normal && share.value > WIDEST_NORMAL_PCT {
                return refuse(
                    share,
                    format!("a normal distribution of {} % reaches below zero", share.value),
                    "write distribution = \"lognormal\", or at most 25 %",
                );
            }
            Some(Spread::Share(share.value / 100.0))
        }
        (None, None) => None,
    }
}

/// Indices of the items that a tolerance is on.
fn items(
    context: &Context<'_>,
    written: &FileTolerance,
    quantity: &Located<Quantity>,
    module: &Module,
) -> Option<Vec<usize>> {
    let kind = quantity.value.kind();
    let nozzles = match &module.spray {
        Spray::Correlated(spray) => &spray.nozzles[..],
        Spray::Prescribed(_) => &[],
    };
    let wrong_model = match quantity.value {
        Quantity::Htc => matches!(module.spray, Spray::Correlated(_)),
        _ => kind == Kind::Nozzle && nozzles.is_empty(),
    };
    if wrong_model {
        context.push(context.error(
            codes::OTHER_MODEL,
            format!("{} belongs to the other spray model", quantity.value.word()),
            &quantity.span,
            "this spray has none",
        ));
        return None;
    }
    // Name and type of every item.
    let die = || module.die.iter().map(|d| (d.name.as_str(), Some(d.type_name.as_str())));
    let candidates: Vec<(&str, Option<&str>)> = match kind {
        Kind::Die => die().collect(),
        Kind::Source => {
            die().chain(module.heaters.iter().map(|h| (h.name.as_str(), None))).collect()
        }
        Kind::Layer => module.layers.iter().map(|l| (l.name.as_str(), None)).collect(),
        Kind::Nozzle => {
            nozzles.iter().map(|n| (n.name.as_str(), Some(n.type_name.as_str()))).collect()
        }
        Kind::Whole => Vec::new(),
    };
    let (mut items, place): (Vec<usize>, _) = match &written.of {
        None if kind == Kind::Whole => return Some(vec![0]),
        None => ((0..candidates.len()).collect(), &written.span),
        Some(of) if kind == Kind::Whole => {
            context.push(
                context
                    .error(
                        codes::UNKNOWN_NAME,
                        format!("{} belongs to the whole module", quantity.value.word()),
                        &of.span,
                        "",
                    )
                    .help("leave out of"),
            );
            return None;
        }
        Some(of) => {
            let is = |c: &(&str, Option<&str>)| c.0 == of.value || c.1 == Some(of.value.as_str());
            let found: Vec<usize> = (0..candidates.len()).filter(|&k| is(&candidates[k])).collect();
            if found.is_empty() {
                let mut known: Vec<&str> =
                    candidates.iter().flat_map(|c| [Some(c.0), c.1]).flatten().collect();
                known.sort_unstable();
                known.dedup();
                names::unknown(context, "item", of, known);
                return None;
            }
            (found, &of.span)
        }
    };
    match quantity.value {
        Quantity::AttachThickness | Quantity::AttachConductivity => {
            items.retain(|&d| module.die[d].attach.is_some());
        }
        Quantity::Limit => items.retain(|&d| module.die[d].limit_K.is_some()),
        _ => {}
    }
    if items.is_empty() {
        context.push(context.error(
            codes::INCOMPLETE,
            format!("nothing here has {}", quantity.value.word()),
            place,
            "the tolerance would do nothing",
        ));
        return None;
    }
    Some(items)
}
