//! The substrate: its layers, and the heaters on them.

use super::super::codes;
use super::super::context::{Context, Located};
use super::super::file::{CaseFile, FileModule};
use super::materials::Materials;
use super::{kelvin, metres, names, overhang, rect_m};
use crate::module::{Heater, Layer, Rect};

/// What could be understood of `[module]`.
pub(super) struct Substrate {
    pub size_m: Option<[f64; 2]>,
    pub layers: Option<Vec<Layer>>,
}

/// Names of sheets that the results use for the islands.
const ISLAND_SHEETS: [&str; 2] = ["die", "attach"];

pub(super) fn build(
    context: &Context<'_>,
    module: Option<&FileModule>,
    materials: &Materials,
) -> Substrate {
    let Some(module) = module else { return Substrate { size_m: None, layers: None } };
    if module.layers.is_empty() {
        context.push(
            context.error(codes::NO_LAYER, "the module has no layer", &module.span, "").help(
                "add [[module.layer]] with name, material and thickness_mm, from the board side up",
            ),
        );
    }
    let layer_names: Vec<&Located<String>> =
        module.layers.iter().filter_map(|layer| layer.name.as_ref()).collect();
    // Pictures are named after layers, and some file systems do not tell case apart.
    names::check_unique(context, "layer", layer_names.iter().copied(), |a, b| {
        a.eq_ignore_ascii_case(b)
    });
    for name in &layer_names {
        check_reserved(context, name, &layer_names);
    }
    let layers: Vec<Option<Layer>> = module
        .layers
        .iter()
        .map(|layer| {
            let material = layer.material.as_ref().and_then(|name| materials.find(context, name));
            Some(Layer {
                name: layer.name.as_ref()?.value.clone(),
                material: material?,
                thickness_m: metres(layer.thickness_mm.as_ref()?.value),
                slices: layer.slices.as_ref().map(|slices| slices.value),
            })
        })
        .collect();
    Substrate {
        size_m: module.size_mm.as_ref().map(|size| size.value.map(metres)),
        layers: layers.into_iter().collect::<Option<Vec<_>>>().filter(|layers| !layers.is_empty()),
    }
}

/// Pictures are called `sheet-NAME.png`; a layer in several sheets adds `-2`, `-3` to its name.
fn check_reserved(context: &Context<'_>, name: &Located<String>, all: &[&Located<String>]) {
    if ISLAND_SHEETS.iter().any(|island| name.value.eq_ignore_ascii_case(island)) {
        context.push(
            context
                .error(
                    codes::RESERVED_NAME,
                    format!("a layer cannot be called \"{}\"", name.value),
                    &name.span,
                    "the results use this name for a sheet of their own",
                )
                .help("give the layer another name"),
        );
    }
    let Some((stem, digits)) = name.value.rsplit_once('-') else { return };
    if digits.is_empty() || !digits.bytes().all(|byte| byte.is_ascii_digit()) {
        return;
    }
    let other = all.iter().find(|other| other.value.eq_ignore_ascii_case(stem));
    let island = ISLAND_SHEETS.iter().any(|island| stem.eq_ignore_ascii_case(island));
    if other.is_none() && !island {
        return;
    }
    let finding = context.error(
        codes::RESERVED_NAME,
        format!("layer \"{}\" could be taken for a slice of \"{stem}\"", name.value),
        &name.span,
        if island { "the results use this name for a sheet of their own" } else { "" },
    );
    context.push(match other {
        Some(other) => {
            finding
                .also(context.label(
                    &other.span,
                    format!("its sheets are called {stem}, {stem}-2, {stem}-3"),
                ))
                .help("rename one of the two layers")
        }
        None => finding.help("give the layer another name"),
    });
}

/// Heaters on faces of layers.
pub(super) fn heaters(
    context: &Context<'_>,
    file: &CaseFile,
    outline: Option<&Rect>,
) -> Option<Vec<Heater>> {
    let layer_names: Vec<&Located<String>> = file
        .module
        .iter()
        .flat_map(|module| &module.layers)
        .filter_map(|layer| layer.name.as_ref())
        .collect();
    let heaters: Vec<Option<Heater>> = file
        .heaters
        .iter()
        .map(|heater| {
            let layer = heater.on.as_ref().and_then(|on| {
                let layers = file.module.iter().flat_map(|module| &module.layers);
                let index = layers
                    .map(|layer| layer.name.as_ref().map(|name| name.value.as_str()))
                    .position(|name| name == Some(on.value.as_str()));
                // A layer whose name could not be read may be the one that is meant.
                let all_named = file
                    .module
                    .as_ref()
                    .is_some_and(|module| module.layers.iter().all(|layer| layer.name.is_some()));
                if index.is_none() && all_named {
                    let known = layer_names.iter().map(|name| name.value.as_str());
                    names::unknown(context, "layer", on, known);
                }
                index
            });
            let rect = heater.rect_mm.as_ref().map(|rect| rect_m(rect.value));
            if let (Some(rect), Some(outline), Some(located)) = (&rect, outline, &heater.rect_mm)
                && let Some(fault) = overhang(rect, outline, "the module")
            {
                let name = heater.name.as_ref().map_or("", |name| name.value.as_str());
                context.push(
                    context
                        .error(
                            codes::HEATER_OFF_MODULE,
                            format!("heater \"{name}\" reaches over the edge of the module"),
                            &located.span,
                            fault,
                        )
                        .help(
                            "rect_mm is [x, y, width, height] from the module's lower left corner",
                        ),
                );
            }
            Some(Heater {
                name: heater.name.as_ref()?.value.clone(),
                layer: layer?,
                face: heater.face.as_ref()?.value,
                rect: rect?,
                power_W: heater.power_W.as_ref()?.value,
                limit_K: heater.limit_C.as_ref().map(|limit| kelvin(limit.value)),
            })
        })
        .collect();
    heaters.into_iter().collect()
}
