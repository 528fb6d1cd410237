//! What is suspicious about nozzles: where their liquid lands, and whether their numbers fit
//! together.

use std::f64::consts::PI;
use std::ops::Range;

use super::super::codes;
use super::super::context::{Context, number_text};
use super::super::file::CaseFile;
use super::ZERO_C_IN_K;
use super::coolant::LOW_CHAMBER_KPA;
use crate::module::{CorrelatedSpray, Die, Module, Nozzle};
use crate::spray::{Footprint, landing_on};

/// A nozzle with less of its liquid on the module is told.
const LEAST_LANDED: f64 = 0.5;
/// Discharge coefficients that nozzles have: of pressure-swirl nozzles some 0.2 to 0.5, of plain
/// orifices 0.6 to 0.65, of rounded ones up to 0.98; full-cone nozzles lie between (common
/// practice, no source).
const DISCHARGE: [f64; 2] = [0.3, 1.0];
/// Pressure drops between which nozzles spray, Pa (common practice, no source).
const PRESSURE_DROPS_PA: [f64; 2] = [10e3, 3000e3];
/// Places told by name.
const MOST_NAMES: usize = 6;

/// Notes warnings about a computed spray.
pub(super) fn find(
    context: &Context<'_>,
    file: &CaseFile,
    module: &Module,
    spray: &CorrelatedSpray,
) {
    let footprints: Option<Vec<Footprint>> =
        spray.nozzles.iter().map(|nozzle| Footprint::of(nozzle).ok()).collect();
    if let Some(footprints) = footprints {
        landing(context, file, module, spray, &footprints);
        dry_die(context, file, module, spray, &footprints);
    }
    numbers(context, file, module);
    chamber(context, file, module);
}

/// Where the file places the nozzles: the single ones, then the groups, expanded.
fn places(file: &CaseFile, module: &Module) -> Vec<Range<usize>> {
    let mut places: Vec<Range<usize>> = file
        .nozzles
        .iter()
        .map(|nozzle| nozzle.at_mm.as_ref().map_or(nozzle.span.clone(), |at| at.span.clone()))
        .collect();
    for group in &file.nozzle_groups {
        let (Some(over), Some(offsets)) = (&group.over, &group.offsets_mm) else { continue };
        let die =
            module.die.iter().filter(|d| d.name == over.value || d.type_name == over.value).count();
        places.extend(std::iter::repeat_n(offsets.span.clone(), die * offsets.value.len()));
    }
    places
}

/// Nozzles that one place in the file sets beside the module, each with the share that lands.
struct Missing<'a> {
    place: Range<usize>,
    nozzles: Vec<(&'a str, f64)>,
}

fn landing(
    context: &Context<'_>,
    file: &CaseFile,
    module: &Module,
    spray: &CorrelatedSpray,
    footprints: &[Footprint],
) {
    let places = places(file, module);
    let outline = module.outline();
    // Nozzles of one group share a mark: one warning for all of them.
    let mut told: Vec<Missing> = Vec::new();
    for ((nozzle, footprint), span) in spray.nozzles.iter().zip(footprints).zip(places) {
        let landed = landing_on(footprint, &outline).solid_angle_sr / footprint.solid_angle_sr();
        if landed >= LEAST_LANDED {
            continue;
        }
        match told.iter_mut().find(|missing| missing.place == span) {
            Some(missing) => missing.nozzles.push((&nozzle.name, landed)),
            None => told.push(Missing { place: span, nozzles: vec![(&nozzle.name, landed)] }),
        }
    }
    for Missing { place: span, nozzles } in told {
        let most = nozzles.iter().map(|(_, landed)| *landed).fold(0.0, f64::max);
        let names: Vec<&str> = nozzles.iter().map(|(name, _)| *name).collect();
        let names = quoted(&names);
        let (plural, verb) =
            if nozzles.len() == 1 { ("nozzle", "does") } else { ("nozzles", "do") };
        let finding = if most <= 1e-9 {
            context.warning(
                codes::NOZZLE_MISSES,
                format!("{plural} {names} {verb} not hit the module"),
                &span,
                "the whole cone lands beside the module",
            )
        } else {
            let least = nozzles.iter().map(|(_, landed)| *landed).fold(1.0, f64::min);
            let share = if nozzles.len() == 1 {
                format!("{:.0} % of its liquid lands on it", 100.0 * least)
            } else {
                format!("{:.0} to {:.0} % of their liquid lands on it", 100.0 * least, 100.0 * most)
            };
            context.warning(
                codes::SPRAY_WASTED,
                format!("most of the spray of {plural} {names} misses the module"),
                &span,
                share,
            )
        };
        context.push(finding);
    }
}

/// Names in quotes, the first few of many.
fn quoted(names: &[&str]) -> String {
    let first: Vec<String> =
        names.iter().take(MOST_NAMES).map(|name| format!("\"{name}\"")).collect();
    match names.len().saturating_sub(MOST_NAMES) {
        0 => first.join(", "),
        more => format!("{} and {more} more", first.join(", ")),
    }
}

fn dry_die(
    context: &Context<'_>,
    file: &CaseFile,
    module: &Module,
    spray: &CorrelatedSpray,
    footprints: &[Footprint],
) {
    let sprays = |nozzle: &Nozzle| nozzle.flow_m3_s * nozzle.flow_factor > 0.0;
    let is_wet = |die: &Die| {
        spray.nozzles.iter().zip(footprints).any(|(nozzle, footprint)| {
            sprays(nozzle) && landing_on(footprint, &die.rect).area_m2 > 1e-9 * die.rect.area_m2()
        })
    };
    let dry: Vec<_> = module.die.iter().zip(&file.die).filter(|(die, _)| !is_wet(die)).collect();
    let Some((_, first)) = dry.first() else { return };
    let names: Vec<&str> = dry.iter().map(|(die, _)| die.name.as_str()).collect();
    let span = first.at_mm.as_ref().map_or(0..0, |at| at.span.clone());
    context.push(
        context
            .warning(
                codes::DRY_DIE,
                format!("no drop lands on die {}", quoted(&names)),
                &span,
                if names.len() > 1 {
                    "no cone reaches the first of them"
                } else {
                    "no cone reaches it"
                },
            )
            .help("set nozzles over it, or expect only what the substrate carries away"),
    );
}

/// Flow, orifice and pressure drop of a nozzle imply its discharge coefficient,
///
/// ```text
/// Cd = Q / (pi/4 d² sqrt(2 dP / rho))
/// ```
///
/// with the liquid's density at the inlet: Bernoulli's equation for an orifice, textbook. Above 1
/// the drops would carry more energy than the pressure gives.
fn numbers(context: &Context<'_>, file: &CaseFile, module: &Module) {
    let Some(fluid) = &module.coolant.fluid else { return };
    let density = fluid.at(module.coolant.inlet_K).0.density_liquid_kg_m3;
    for written in &file.nozzle_types {
        let (Some(orifice), Some(flow), Some(drop)) =
            (&written.orifice_mm, &written.flow_mL_s, &written.pressure_drop_kPa)
        else {
            continue;
        };
        let drop_Pa = drop.value * 1e3;
        if !(PRESSURE_DROPS_PA[0]..=PRESSURE_DROPS_PA[1]).contains(&drop_Pa) {
            let (bar, pascal) = (drop.value * 100.0, drop.value * 1e-3);
            let (what, meant) = if drop_Pa < PRESSURE_DROPS_PA[0] {
                ("very low", format!("if it is in bar, write {}", number_text(bar)))
            } else {
                ("very high", format!("if it is in Pa, write {}", number_text(pascal)))
            };
            context.push(
                context
                    .warning(
                        codes::ODD_PRESSURE,
                        format!("the pressure drop of \"{}\" is {what}", written.name.value),
                        &drop.span,
                        "nozzles take some 10 to 3000 kPa",
                    )
                    .help(meant),
            );
            // What the three imply together is no second finding.
            continue;
        }
        let orifice_m = orifice.value * 1e-3;
        let speed_m_s = (2.0 * drop_Pa / density).sqrt();
        let discharge = flow.value * 1e-6 / (0.25 * PI * orifice_m * orifice_m * speed_m_s);
        if (DISCHARGE[0]..=DISCHARGE[1]).contains(&discharge) {
            continue;
        }
        let fits =
            |coefficient: f64| number_text(significant(flow.value * coefficient / discharge));
        context.push(
            context
                .warning(
                    codes::DISCHARGE,
                    format!(
                        "flow, orifice and pressure drop of \"{}\" do not fit together",
                        written.name.value
                    ),
                    &flow.span,
                    format!(
                        "they imply a discharge coefficient of {}; nozzles have 0.3 to 1",
                        number_text(significant(discharge))
                    ),
                )
                .also(context.label(&orifice.span, "the orifice"))
                .also(context.label(&drop.span, "the pressure drop"))
                .help(format!(
                    "with this orifice and pressure drop a nozzle passes {} to {} mL/s",
                    fits(DISCHARGE[0]),
                    fits(DISCHARGE[1])
                )),
        );
    }
}

/// Three significant digits.
fn significant(value: f64) -> f64 {
    format!("{value:.2e}").parse().unwrap_or(value)
}

fn chamber(context: &Context<'_>, file: &CaseFile, module: &Module) {
    let Some(pressure) = file.coolant.as_ref().and_then(|c| c.pressure_kPa.as_ref()) else {
        return;
    };
    if pressure.value >= LOW_CHAMBER_KPA {
        return;
    }
    let boils = module.coolant.fluid.as_ref().map_or(String::new(), |fluid| {
        let saturation_K = fluid.saturation_temperature_K(module.coolant.pressure_Pa);
        format!("{} boils at {:.0} °C there", fluid.name, saturation_K - ZERO_C_IN_K)
    });
    context.push(
        context
            .warning(codes::ODD_PRESSURE, "the chamber is close to a vacuum", &pressure.span, boils)
            .help(format!(
                "if the pressure is in bar, write {}",
                number_text(pressure.value * 100.0)
            )),
    );
}
