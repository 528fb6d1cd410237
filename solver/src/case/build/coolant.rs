//! The liquid: its fluid, inlet and pressure.

use std::sync::Arc;

use super::super::codes;
use super::super::context::{Context, Located, number_text};
use super::super::file::{CaseFile, FileFluid, SprayModel};
use super::{kelvin, names};
use crate::library::{Fluid, FluidState, fluids};
use crate::module::Coolant;

/// Pressure of a prescribed spray's chamber when the case does not say: one atmosphere. Nothing
/// in such a case depends on it.
const ATMOSPHERE_PA: f64 = 101_325.0;
/// A chamber pressure below this is a deep vacuum, or stated in bar, kPa.
pub(super) const LOW_CHAMBER_KPA: f64 = 5.0;

/// The case's own fluids; `None` where the description has a mistake (already noted).
pub(super) struct Fluids {
    own: Vec<(String, Option<Arc<Fluid>>)>,
}

impl Fluids {
    pub fn gather(context: &Context<'_>, described: &[FileFluid]) -> Fluids {
        let own = described
            .iter()
            .map(|file| {
                let taken = fluids::by_name(&file.name.value).is_some();
                names::not_of_library(context, &file.name, taken);
                (file.name.value.clone(), own_fluid(context, file).map(Arc::new))
            })
            .collect();
        Fluids { own }
    }

    fn find(&self, context: &Context<'_>, name: &Located<String>) -> Option<Arc<Fluid>> {
        if let Some((_, fluid)) = self.own.iter().find(|(own, _)| *own == name.value) {
            return fluid.clone();
        }
        if let Some(fluid) = fluids::by_name(&name.value) {
            return Some(Arc::new(fluid));
        }
        if let Some(here) = fluids::name_here(&name.value) {
            let headline = format!("there is no fluid \"{}\"", name.value);
            let finding = context.error(codes::UNKNOWN_NAME, headline, &name.span, "");
            context.push(finding.help(format!("here it is called \"{here}\"")));
            return None;
        }
        let known = self.own.iter().map(|(own, _)| own.as_str()).chain(fluids::names());
        names::unknown(context, "fluid", name, known);
        None
    }
}

fn own_fluid(context: &Context<'_>, file: &FileFluid) -> Option<Fluid> {
    let lists = [
        ("temperature_C", &file.temperature_C),
        ("pressure_kPa", &file.pressure_kPa),
        ("density_liquid_kg_m3", &file.density_liquid_kg_m3),
        ("density_vapour_kg_m3", &file.density_vapour_kg_m3),
        ("latent_heat_kJ_kg", &file.latent_heat_kJ_kg),
        ("specific_heat_J_kgK", &file.specific_heat_J_kgK),
        ("conductivity_W_mK", &file.conductivity_W_mK),
        ("viscosity_uPa_s", &file.viscosity_uPa_s),
        ("surface_tension_mN_m", &file.surface_tension_mN_m),
    ];
    let temperature = file.temperature_C.as_ref()?;
    let count = temperature.value.len();
    let mut good = true;
    if count < 2 {
        good = false;
        context.push(
            context
                .error(
                    codes::FLUID_TABLE,
                    format!("the table of fluid \"{}\" is too short", file.name.value),
                    &temperature.span,
                    format!("{count} given; at least two states are needed"),
                )
                .help("give saturated states at two temperatures or more, lowest first"),
        );
    }
    for (key, list) in &lists[1..] {
        if let Some(list) = list
            && list.value.len() != count
        {
            good = false;
            context.push(
                context
                    .error(
                        codes::FLUID_TABLE,
                        format!("the lists of fluid \"{}\" differ in length", file.name.value),
                        &list.span,
                        format!("{key} has {}", list.value.len()),
                    )
                    .also(context.label(&temperature.span, format!("temperature_C has {count}")))
                    .help("every list needs one number a state"),
            );
        }
    }
    for (key, list) in &lists[..2] {
        for pair in list.iter().flat_map(|list| list.value.windows(2)) {
            if pair[1].value <= pair[0].value {
                good = false;
                context.push(
                    context
                        .error(
                            codes::FLUID_TABLE,
                            format!("{key} of fluid \"{}\" must rise", file.name.value),
                            &pair[1].span,
                            format!("not above {}", number_text(pair[0].value)),
                        )
                        .help("list the states from the lowest temperature up; saturation pressure rises with it"),
                );
            }
        }
    }
    let columns: Option<Vec<Vec<f64>>> = lists
        .iter()
        .map(|(_, list)| {
            list.as_ref().map(|list| list.value.iter().map(|number| number.value).collect())
        })
        .collect();
    let columns = columns.filter(|_| good)?;
    let table: Vec<FluidState> = (0..count)
        .map(|row| FluidState {
            temperature_K: kelvin(columns[0][row]),
            pressure_Pa: columns[1][row] * 1e3,
            density_liquid_kg_m3: columns[2][row],
            density_vapour_kg_m3: columns[3][row],
            latent_heat_J_kg: columns[4][row] * 1e3,
            specific_heat_J_kgK: columns[5][row],
            conductivity_W_mK: columns[6][row],
            viscosity_Pa_s: columns[7][row] * 1e-6,
            surface_tension_N_m: columns[8][row] * 1e-3,
        })
        .collect();
    let source = file
        .source
        .as_ref()
        .map_or_else(|| "stated in the case".to_owned(), |source| source.value.clone());
    match Fluid::from_table(file.name.value.clone(), table, source) {
        Ok(fluid) => Some(fluid),
        // The checks above say the same with a mark under the number; this is the last guard.
        Err(error) => {
            context.push(context.error(
                codes::FLUID_TABLE,
                format!("the table of fluid \"{}\" cannot be used", file.name.value),
                &file.name.span,
                error.to_string(),
            ));
            None
        }
    }
}

pub(super) fn build(context: &Context<'_>, file: &CaseFile, fluids: &Fluids) -> Option<Coolant> {
    let coolant = file.coolant.as_ref()?;
    let fluid = coolant.fluid.as_ref().map(|name| fluids.find(context, name));
    let correlated = file
        .spray
        .as_ref()
        .and_then(|spray| spray.model.as_ref())
        .is_some_and(|model| model.value == SprayModel::Correlated);
    let mut good = true;
    if correlated {
        for (key, absent, example) in [
            ("fluid", coolant.fluid.is_none(), "\"perfluorohexane\""),
            ("pressure_kPa", coolant.pressure_kPa.is_none(), "101.325"),
        ] {
            if absent {
                good = false;
                context.push(
                    context
                        .error(
                            codes::INCOMPLETE,
                            format!("a correlated spray needs {key}"),
                            &coolant.span,
                            format!("{key} belongs here"),
                        )
                        .help(format!("write {key} = {example}, or what yours is")),
                );
            }
        }
    }
    let coolant = Coolant {
        fluid: match fluid {
            Some(found) => Some(found?),
            None => None,
        },
        inlet_K: kelvin(coolant.inlet_C.as_ref()?.value),
        pressure_Pa: coolant.pressure_kPa.as_ref().map_or(ATMOSPHERE_PA, |p| p.value * 1e3),
    };
    if correlated {
        check_subcooled(context, file, &coolant);
    }
    good.then_some(coolant)
}

fn check_subcooled(context: &Context<'_>, file: &CaseFile, coolant: &Coolant) {
    let (Some(fluid), Some(written)) = (&coolant.fluid, &file.coolant) else { return };
    let (Some(inlet), Some(pressure)) = (&written.inlet_C, &written.pressure_kPa) else { return };
    let saturation_K = fluid.saturation_temperature_K(coolant.pressure_Pa);
    if coolant.inlet_K < saturation_K {
        return;
    }
    context.push(
        context
            .error(
                codes::INLET_SATURATED,
                "the liquid would boil in the nozzle",
                &inlet.span,
                format!(
                    "{} boils at {:.1} °C at this pressure",
                    fluid.name,
                    kelvin_to_C(saturation_K)
                ),
            )
            .also(context.label(&pressure.span, "the chamber pressure"))
            .help(if pressure.value < LOW_CHAMBER_KPA {
                format!(
                    "pressure_kPa is in kPa: {} bar would be {}",
                    number_text(pressure.value),
                    number_text(pressure.value * 100.0)
                )
            } else {
                "lower inlet_C or raise pressure_kPa".to_owned()
            }),
    );
}

fn kelvin_to_C(kelvin: f64) -> f64 {
    kelvin - super::ZERO_C_IN_K
}
