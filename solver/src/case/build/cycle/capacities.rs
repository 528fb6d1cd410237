//! Materials that a run over time needs more of.

use super::super::super::codes;
use super::super::super::context::Context;
use super::super::super::file::{CaseFile, FileCycle};
use crate::module::Module;

/// Notes every material of the case's own that cannot store heat.
pub(super) fn capacities(
    context: &Context<'_>,
    file: &CaseFile,
    module: &Module,
    written: &FileCycle,
) {
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
