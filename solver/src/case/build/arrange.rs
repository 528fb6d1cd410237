//! Bounds for a better nozzle pattern: ranges that have room, and flows that can be kept.

use super::super::codes;
use super::super::context::{Context, Located, number_text};
use super::super::file::{CaseFile, FileArrange};
use super::{metres, rect_m};
use crate::module::{ArrangeBounds, Module, Spray};

/// The bounds of `[arrange]`; `None` without that table, and after noting what is wrong.
pub(in super::super) fn build(
    context: &Context<'_>,
    file: &CaseFile,
    module: &Module,
) -> Option<ArrangeBounds> {
    let asked = file.arrange.as_ref()?;
    let Spray::Correlated(spray) = &module.spray else {
        context.push(
            context
                .error(
                    codes::OTHER_MODEL,
                    "[arrange] belongs to model = \"correlated\"",
                    &asked.span,
                    "a prescribed spray has no nozzles to arrange",
                )
                .help("remove it, or set model = \"correlated\" and describe the nozzles"),
        );
        return None;
    };
    for (key, range) in [("standoff_mm", &asked.standoff_mm), ("flow_factor", &asked.flow_factor)] {
        if let Some(range) = range {
            check_order(context, key, range);
        }
    }
    if let (Some(total), Some(factors)) = (&asked.total_flow_mL_s, &asked.flow_factor) {
        let least: f64 = spray
            .nozzles
            .iter()
            .filter(|nozzle| nozzle.flow_factor > 0.0)
            .map(|nozzle| nozzle.flow_m3_s * factors.value[0] * 1e6)
            .sum();
        check_total(context, total, least, "the nozzles at their lowest flow_factor");
    } else if let Some(total) = &asked.total_flow_mL_s {
        let now: f64 = spray.nozzles.iter().map(|n| n.flow_m3_s * n.flow_factor * 1e6).sum();
        check_total(context, total, now, "the nozzles as they are (no flow_factor range is given)");
    }
    bounds(asked, module)
}

fn check_order(context: &Context<'_>, key: &str, range: &Located<[f64; 2]>) {
    let [low, high] = range.value;
    if low > high {
        context.push(
            context
                .error(
                    codes::ARRANGE_BOUNDS,
                    format!("{key} leaves no room"),
                    &range.span,
                    format!("from {} to {}", number_text(low), number_text(high)),
                )
                .help(format!(
                    "the lowest comes first: {key} = [{}, {}]",
                    number_text(high),
                    number_text(low)
                )),
        );
    }
}

fn check_total(context: &Context<'_>, total: &Located<f64>, least_mL_s: f64, what: &str) {
    if total.value < least_mL_s * (1.0 - 1e-9) {
        context.push(
            context
                .error(
                    codes::ARRANGE_BOUNDS,
                    "total_flow_mL_s is less than the nozzles take",
                    &total.span,
                    format!("{what} take {} mL/s", number_text(least_mL_s)),
                )
                .help("raise it, or lower the first number of flow_factor"),
        );
    }
}

fn bounds(asked: &FileArrange, module: &Module) -> Option<ArrangeBounds> {
    let keep_out = asked
        .keep_out
        .iter()
        .map(|k| Some(rect_m(k.rect_mm.as_ref()?.value)))
        .collect::<Option<_>>()?;
    let number = |value: &Option<Located<f64>>| value.as_ref().map(|v| v.value);
    Some(ArrangeBounds {
        region: asked.region_mm.as_ref().map_or_else(|| module.outline(), |r| rect_m(r.value)),
        keep_out,
        least_spacing_m: number(&asked.least_spacing_mm).map(metres),
        standoff_m: asked.standoff_mm.as_ref().map(|range| range.value.map(metres)),
        flow_factor: asked.flow_factor.as_ref().map(|range| range.value),
        total_flow_m3_s: number(&asked.total_flow_mL_s).map(|flow| flow * 1e-6),
        least_chf_margin: number(&asked.least_chf_margin),
        least_limit_margin_K: number(&asked.least_limit_margin_K).unwrap_or(0.0),
    })
}
