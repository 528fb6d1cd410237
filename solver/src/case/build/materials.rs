//! Materials: the case's own and the library's.

use std::cell::RefCell;
use std::sync::Arc;

use super::super::codes;
use super::super::context::{Context, Located};
use super::super::file::FileMaterial;
use super::{kelvin, names};
use crate::library::{Material, TemperatureLaw, solids};

/// The temperature at which a conductivity with an exponent is stated unless the case says, K.
const DEFAULT_REFERENCE_K: f64 = 300.0;

/// Where the values of a case's own material come from when the case does not say.
const STATED: &str = "stated in the case";

/// Materials by name.
pub(super) struct Materials {
    /// The case's own; `None` where the description has a mistake (already noted).
    own: Vec<(String, Option<Arc<Material>>)>,
    /// Library materials handed out, so that equal names share one allocation.
    library: RefCell<Vec<Arc<Material>>>,
}

impl Materials {
    pub fn gather(context: &Context<'_>, described: &[FileMaterial]) -> Materials {
        let own = described
            .iter()
            .map(|file| {
                let taken = solids::by_name(&file.name.value).is_some();
                names::not_of_library(context, &file.name, taken);
                if let (Some(reference), None) = (&file.reference_C, &file.exponent) {
                    context.push(
                        context
                            .error(
                                codes::INCOMPLETE,
                                "conductivity_reference_C works only with conductivity_exponent",
                                &reference.span,
                                "",
                            )
                            .help("add conductivity_exponent or leave the reference out"),
                    );
                }
                (file.name.value.clone(), own_material(file).map(Arc::new))
            })
            .collect();
        Materials { own, library: RefCell::new(Vec::new()) }
    }

    /// The material called `name`; `None` after noting why there is none.
    pub fn find(&self, context: &Context<'_>, name: &Located<String>) -> Option<Arc<Material>> {
        if let Some((_, material)) = self.own.iter().find(|(own, _)| *own == name.value) {
            return material.clone();
        }
        let mut library = self.library.borrow_mut();
        if let Some(material) = library.iter().find(|material| material.name == name.value) {
            return Some(Arc::clone(material));
        }
        if let Some(material) = solids::by_name(&name.value) {
            let material = Arc::new(material);
            library.push(Arc::clone(&material));
            return Some(material);
        }
        let library_names = solids::names();
        let known = self.own.iter().map(|(own, _)| own.as_str());
        let known = known.chain(library_names.iter().map(String::as_str));
        names::unknown(context, "material", name, known);
        None
    }
}

fn own_material(file: &FileMaterial) -> Option<Material> {
    let law = match &file.exponent {
        Some(exponent) if exponent.value != 0.0 => TemperatureLaw::Power {
            exponent: exponent.value,
            reference_K: file
                .reference_C
                .as_ref()
                .map_or(DEFAULT_REFERENCE_K, |reference| kelvin(reference.value)),
        },
        _ => TemperatureLaw::Constant,
    };
    Some(Material {
        name: file.name.value.clone(),
        conductivity_W_mK: file.conductivity_W_mK.as_ref()?.value,
        law,
        density_kg_m3: file.density_kg_m3.as_ref().map(|density| density.value),
        specific_heat_J_kgK: file.specific_heat_J_kgK.as_ref().map(|heat| heat.value),
        source: file.source.as_ref().map_or_else(|| STATED.to_owned(), |s| s.value.clone()),
    })
}
