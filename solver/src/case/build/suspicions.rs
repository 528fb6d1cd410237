//! What is solvable but suspicious: slips that no range catches.

use super::super::codes;
use super::super::context::{Context, number_text};
use super::super::file::CaseFile;
use super::super::record::peak_flux_W_m2;
use super::{SAME_LENGTH_M, ZERO_C_IN_K, spray_suspicions};
use crate::library::solids;
use crate::module::{Die, Module, PrescribedHtc, Spray};

/// Above this few sprays of dielectric liquid can carry the heat, W/m².
const HIGH_FLUX_W_M2: f64 = 200e4;
/// Above this no block of a die works for long, W/m²; spreading inside the die evens out less.
const HIGH_PEAK_W_M2: f64 = 1000e4;
/// Below this no liquid is at work, W/(m²·K).
const WEAK_SPRAY_W_M2K: f64 = 200.0;
/// Longest side over shortest side of a part.
const SLENDER: f64 = 20.0;
/// Narrower than placement allows, m.
const NARROW_GAP_M: f64 = 0.05e-3;
/// Mean temperature that no module survives, K.
const TOO_HOT_K: f64 = 400.0 + ZERO_C_IN_K;

/// Notes warnings about a module that has no mistakes; its parts stand in the order of the file.
pub(in super::super) fn find(context: &Context<'_>, file: &CaseFile, module: &Module) {
    unused(context, file);
    shapes(context, file, module);
    fluxes(context, file, module);
    gaps(context, file, module);
    heater_overlaps(context, file, module);
    conductivities(context, file);
    spray(context, file, module);
    limits(context, file, module);
    fluid_range(context, file, module);
}

fn unused(context: &Context<'_>, file: &CaseFile) {
    let warn = |what: &str, name: &super::super::context::Located<String>, used: bool| {
        if !used {
            context.push(context.warning(
                codes::UNUSED,
                format!("{what} \"{}\" is never used", name.value),
                &name.span,
                "",
            ));
        }
    };
    let is = |name: &Option<super::super::context::Located<String>>, wanted: &str| {
        name.as_ref().is_some_and(|name| name.value == wanted)
    };
    for material in &file.materials {
        let name = &material.name.value;
        let in_layers = file.module.iter().flat_map(|m| &m.layers).any(|l| is(&l.material, name));
        let in_die = file.die_types.iter().any(|t| {
            is(&t.material, name) || t.attach.as_ref().is_some_and(|a| is(&a.material, name))
        });
        warn("material", &material.name, in_layers || in_die);
    }
    for die_type in &file.die_types {
        let used = file.die.iter().any(|die| is(&die.type_name, &die_type.name.value));
        warn("die type", &die_type.name, used);
    }
    for fluid in &file.fluids {
        let used = file.coolant.as_ref().is_some_and(|c| is(&c.fluid, &fluid.name.value));
        warn("fluid", &fluid.name, used);
    }
    for nozzle_type in &file.nozzle_types {
        let name = &nozzle_type.name.value;
        let used = file.nozzles.iter().any(|n| is(&n.type_name, name))
            || file.nozzle_groups.iter().any(|g| is(&g.type_name, name));
        warn("nozzle type", &nozzle_type.name, used);
    }
}

fn shapes(context: &Context<'_>, file: &CaseFile, module: &Module) {
    let slender = |size: [f64; 2]| size[0].max(size[1]) / size[0].min(size[1]) > SLENDER;
    let Some(written) = &file.module else { return };
    if let Some(size) = &written.size_mm
        && slender(size.value)
    {
        context.push(context.warning(
            codes::SLENDER,
            "the module is very slender",
            &size.span,
            "one side is more than 20 times the other",
        ));
    }
    let shortest = module.size_m[0].min(module.size_m[1]);
    for (layer, file_layer) in module.layers.iter().zip(&written.layers) {
        if let Some(thickness) = &file_layer.thickness_mm
            && layer.thickness_m > shortest
        {
            context.push(context.warning(
                codes::SLENDER,
                format!("layer \"{}\" is thicker than the module is wide", layer.name),
                &thickness.span,
                "",
            ));
        }
    }
    for die_type in &file.die_types {
        let (Some(size), Some(thickness)) = (&die_type.size_mm, &die_type.thickness_mm) else {
            continue;
        };
        if slender(size.value) {
            context.push(context.warning(
                codes::SLENDER,
                format!("die type \"{}\" is very slender", die_type.name.value),
                &size.span,
                "one side is more than 20 times the other",
            ));
        }
        if thickness.value > size.value[0].min(size.value[1]) {
            context.push(
                context
                    .warning(
                        codes::THICK_DIE,
                        format!("die type \"{}\" is thicker than wide", die_type.name.value),
                        &thickness.span,
                        "",
                    )
                    .also(context.label(&size.span, "its size")),
            );
        }
    }
}

fn fluxes(context: &Context<'_>, file: &CaseFile, module: &Module) {
    let text = |flux: f64| format!("{} W/cm²", number_text((flux * 1e-3).round() * 0.1));
    let mean = |die: &Die| die.power_W / die.rect.area_m2();
    let hot = |die: &Die| mean(die) > HIGH_FLUX_W_M2 || peak_flux_W_m2(die) > HIGH_PEAK_W_M2;
    let mut told: Vec<&str> = Vec::new();
    for (die, written) in module.die.iter().zip(&file.die) {
        // One of a type stands for all: a module may have hundreds.
        if !hot(die) || told.contains(&die.type_name.as_str()) {
            continue;
        }
        told.push(&die.type_name);
        let alike = module.die.iter().filter(|d| d.type_name == die.type_name && hot(d)).count();
        let (peak, mean) = (peak_flux_W_m2(die), mean(die));
        if let Some(power) = &written.power_W {
            let headline = match alike {
                1 => format!("die \"{}\" has a very high heat flux", die.name),
                n => format!(
                    "die \"{}\" and {} more of type \"{}\" have a very high heat flux",
                    die.name,
                    n - 1,
                    die.type_name
                ),
            };
            let label = if peak > 1.001 * mean {
                format!("{} on average, {} at its highest", text(mean), text(peak))
            } else {
                text(mean)
            };
            let finding = context.warning(codes::HIGH_FLUX, headline, &power.span, label);
            context.push(finding.help(
                "few sprays of dielectric liquid carry more than 100 W/cm²; check power and area",
            ));
        }
    }
    for (heater, written) in module.heaters.iter().zip(&file.heaters) {
        let flux = heater.power_W / heater.rect.area_m2();
        if let Some(power) = &written.power_W
            && flux > HIGH_FLUX_W_M2
        {
            context.push(context.warning(
                codes::HIGH_FLUX,
                format!("heater \"{}\" has a very high heat flux", heater.name),
                &power.span,
                text(flux),
            ));
        }
    }
    if module.total_power_W() == 0.0
        && let Some(power) = file
            .die
            .iter()
            .map(|die| &die.power_W)
            .chain(file.heaters.iter().map(|heater| &heater.power_W))
            .flatten()
            .next()
    {
        context.push(context.warning(
            codes::NO_POWER,
            "no die or heater has any power",
            &power.span,
            "",
        ));
    }
}

fn gaps(context: &Context<'_>, file: &CaseFile, module: &Module) {
    for (late, die) in module.die.iter().enumerate() {
        for (early, other) in module.die[..late].iter().enumerate() {
            let (a, b) = (&die.rect, &other.rect);
            let gap_x = (a.x0_m - b.x1_m).max(b.x0_m - a.x1_m);
            let gap_y = (a.y0_m - b.y1_m).max(b.y0_m - a.y1_m);
            let gap = gap_x.max(gap_y);
            // Beside each other, not corner to corner.
            if gap > SAME_LENGTH_M && gap < NARROW_GAP_M && gap_x.min(gap_y) < 0.0 {
                let (Some(at), Some(other_at)) = (&file.die[late].at_mm, &file.die[early].at_mm)
                else {
                    continue;
                };
                context.push(
                    context
                        .warning(
                            codes::NARROW_GAP,
                            format!("die \"{}\" and \"{}\" almost touch", die.name, other.name),
                            &at.span,
                            format!("{} mm apart", number_text(gap * 1e3)),
                        )
                        .also(context.label(&other_at.span, "")),
                );
            }
        }
    }
}

fn heater_overlaps(context: &Context<'_>, file: &CaseFile, module: &Module) {
    for (late, heater) in module.heaters.iter().enumerate() {
        for (early, other) in module.heaters[..late].iter().enumerate() {
            let same_face = heater.layer == other.layer && heater.face == other.face;
            let (Some(rect), Some(other_rect)) =
                (&file.heaters[late].rect_mm, &file.heaters[early].rect_mm)
            else {
                continue;
            };
            if same_face && heater.rect.overlaps(&other.rect, SAME_LENGTH_M) {
                context.push(
                    context
                        .warning(
                            codes::HEATER_OVERLAP,
                            format!(
                                "heater \"{}\" overlaps heater \"{}\"",
                                heater.name, other.name
                            ),
                            &rect.span,
                            "their powers add where they overlap",
                        )
                        .also(context.label(&other_rect.span, "")),
                );
            }
        }
    }
}

/// A case's own material with a library name inside its own ("my-copper") and a far value.
fn conductivities(context: &Context<'_>, file: &CaseFile) {
    let library = solids::all();
    for material in &file.materials {
        let Some(stated) = &material.conductivity_W_mK else { continue };
        let lower = material.name.value.to_lowercase();
        let like = library
            .iter()
            .filter(|solid| lower.contains(solid.name.as_str()))
            .max_by_key(|solid| solid.name.len());
        let Some(like) = like else { continue };
        let through = stated.value[2] / like.conductivity_W_mK[2];
        if (1.0 / 3.0..=3.0).contains(&through) {
            continue;
        }
        context.push(context.warning(
            codes::ODD_CONDUCTIVITY,
            format!("\"{}\" conducts unlike \"{}\"", material.name.value, like.name),
            &stated.span,
            format!("the library has {} W/(m·K)", number_text(like.conductivity_W_mK[2])),
        ));
    }
}

fn spray(context: &Context<'_>, file: &CaseFile, module: &Module) {
    let Some(written) = &file.spray else { return };
    match &module.spray {
        Spray::Prescribed(spray) => {
            let base = match &spray.base {
                PrescribedHtc::Uniform(htc) => *htc,
                PrescribedHtc::Map(map) => map.values.iter().copied().fold(0.0, f64::max),
            };
            let highest = spray.patches.iter().map(|patch| patch.htc_W_m2K).fold(base, f64::max);
            if highest > 0.0 && highest < WEAK_SPRAY_W_M2K {
                let span = written
                    .htc_W_m2K
                    .as_ref()
                    .map(|htc| &htc.span)
                    .or(written.map.as_ref().map(|map| &map.span))
                    .unwrap_or(&written.span);
                context.push(
                    context
                        .warning(
                            codes::WEAK_SPRAY,
                            "the spray side is cooled like by moving air",
                            span,
                            format!("at most {} W/(m²·K) anywhere", number_text(highest)),
                        )
                        .help("sprays of dielectric liquid give some 5000 to 20000 W/(m²·K)"),
                );
            }
            too_hot(context, file, module);
        }
        Spray::Correlated(spray) => spray_suspicions::find(context, file, module, spray),
    }
}

/// With perfect spreading the whole module would have one temperature,
/// `T = (P + Σ h A T_ambient) / Σ h A`; the true mean of the cooled faces is no lower.
fn too_hot(context: &Context<'_>, file: &CaseFile, module: &Module) {
    let super::super::record::SprayRecord::Prescribed { mean_htc_W_m2K, .. } =
        super::super::record::describe(module).spray
    else {
        return;
    };
    let area = module.outline().area_m2();
    let thickness: f64 = module.layers.iter().map(|layer| layer.thickness_m).sum();
    let edge_area = 2.0 * (module.size_m[0] + module.size_m[1]) * thickness;
    let sinks = [
        (mean_htc_W_m2K * area, module.coolant.inlet_K),
        (module.board.htc_W_m2K * area, module.board.temperature_K),
        (module.edge.htc_W_m2K * edge_area, module.edge.temperature_K),
    ];
    let conductance: f64 = sinks.iter().map(|(conductance, _)| conductance).sum();
    let inflow: f64 = sinks.iter().map(|(conductance, ambient)| conductance * ambient).sum();
    let mean_K = (module.total_power_W() + inflow) / conductance;
    let Some(written) = &file.spray else { return };
    if mean_K.is_finite() && mean_K > TOO_HOT_K {
        context.push(
            context
                .warning(
                    codes::TOO_HOT,
                    "the coolant cannot carry this heat",
                    &written.span,
                    format!(
                        "{} W against {} W/K in all: a mean of {:.0} °C even with perfect spreading",
                        number_text(module.total_power_W()),
                        number_text(conductance),
                        mean_K - ZERO_C_IN_K
                    ),
                )
                .help("check the powers and the coefficients"),
        );
    }
}

fn limits(context: &Context<'_>, file: &CaseFile, module: &Module) {
    let coolest_K = module.coolant.inlet_K.min(module.board.temperature_K);
    let written = file.die_types.iter().map(|die_type| (&die_type.name, &die_type.limit_C));
    for (name, limit) in written {
        let used = module.die.iter().any(|die| die.type_name == name.value);
        if let Some(limit) = limit
            && used
            && limit.value + ZERO_C_IN_K <= coolest_K
        {
            context.push(context.warning(
                codes::LIMIT_BELOW_COOLANT,
                format!("die type \"{}\" cannot keep its limit", name.value),
                &limit.span,
                format!(
                    "coolant and board are at {} °C and warmer",
                    number_text(coolest_K - ZERO_C_IN_K)
                ),
            ));
        }
    }
}

fn fluid_range(context: &Context<'_>, file: &CaseFile, module: &Module) {
    let (Some(fluid), Spray::Correlated(_)) = (&module.coolant.fluid, &module.spray) else {
        return;
    };
    let [first_K, last_K] = fluid.range_K();
    let range = format!(
        "the table of {} runs from {:.0} to {:.0} °C",
        fluid.name,
        first_K - ZERO_C_IN_K,
        last_K - ZERO_C_IN_K
    );
    let outside = |kelvin: f64| kelvin < first_K - 0.01 || kelvin > last_K + 0.01;
    let Some(written) = &file.coolant else { return };
    if let Some(inlet) = &written.inlet_C
        && outside(module.coolant.inlet_K)
    {
        context.push(context.warning(
            codes::FLUID_RANGE,
            "the inlet lies outside the fluid's table",
            &inlet.span,
            range.clone(),
        ));
    }
    if let Some(pressure) = &written.pressure_kPa
        && outside(fluid.saturation_temperature_K(module.coolant.pressure_Pa))
    {
        let saturation_K = fluid.saturation_temperature_K(module.coolant.pressure_Pa);
        context.push(context.warning(
            codes::FLUID_RANGE,
            "the chamber pressure lies outside the fluid's table",
            &pressure.span,
            format!("{range}; it would boil at {:.0} °C", saturation_K - ZERO_C_IN_K),
        ));
    }
}
