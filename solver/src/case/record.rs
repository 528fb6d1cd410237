//! What was understood of a case, for `check`: plain data, printed by the program.

use serde::Serialize;

use crate::library::{Material, TemperatureLaw};
use crate::module::{ActiveFace, Face, Module, PrescribedHtc, Spray, Turn};

/// A material that the module uses.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MaterialRecord {
    /// Name.
    pub name: String,
    /// Conductivity along x, y, z, W/(m·K), in the material's own axes.
    pub conductivity_W_mK: [f64; 3],
    /// Exponent n of `k = k0 (T/T0)^(-n)`; `None` when constant.
    pub exponent: Option<f64>,
    /// Temperature at which the conductivity is stated, °C; `None` when constant.
    pub reference_C: Option<f64>,
    /// Where the values come from.
    pub source: String,
    /// Layers, die types and attaches that use it.
    pub used_by: Vec<String>,
}

/// A layer, from the board side up.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LayerRecord {
    /// Name.
    pub name: String,
    /// Material.
    pub material: String,
    /// Thickness, mm.
    pub thickness_mm: f64,
    /// Fixed number of sheets, if stated.
    pub slices: Option<usize>,
    /// Resistance through the layer per area, mm²·K/W.
    pub resistance_mm2K_W: f64,
}

/// A die as understood.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DieRecord {
    /// Name.
    pub name: String,
    /// Type.
    pub type_name: String,
    /// Lower left corner and size in module coordinates, mm: x, y, width, height.
    pub rect_mm: [f64; 4],
    /// Thickness, mm.
    pub thickness_mm: f64,
    /// Footprint area, cm².
    pub area_cm2: f64,
    /// `down` or `up`.
    pub active_face: &'static str,
    /// Attach material and thickness, mm.
    pub attach: Option<(String, f64)>,
    /// Power, W.
    pub power_W: f64,
    /// Power over footprint area, W/cm².
    pub mean_flux_W_cm2: f64,
    /// Highest flux released anywhere on its active face, W/cm².
    pub peak_flux_W_cm2: f64,
    /// How the power is spread: `even`, `3 blocks`, `map 12 x 10`.
    pub power_spread: String,
    /// Limit, °C.
    pub limit_C: Option<f64>,
}

/// A heater as understood.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HeaterRecord {
    /// Name.
    pub name: String,
    /// Layer.
    pub on: String,
    /// `top` or `bottom`.
    pub face: &'static str,
    /// x, y, width, height, mm.
    pub rect_mm: [f64; 4],
    /// Power, W.
    pub power_W: f64,
    /// Power over area, W/cm².
    pub mean_flux_W_cm2: f64,
}

/// The spray as understood.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "model", rename_all = "lowercase")]
pub enum SprayRecord {
    /// Stated coefficients.
    Prescribed {
        /// Lowest and highest coefficient under the patches, W/(m²·K).
        base_htc_W_m2K: [f64; 2],
        /// Patches.
        patches: usize,
        /// Area mean over the module, patches included, W/(m²·K).
        mean_htc_W_m2K: f64,
    },
    /// Nozzles.
    Correlated {
        /// Nozzles, groups expanded.
        nozzles: usize,
        /// Each type with its count and total flow, mL/s.
        types: Vec<(String, usize, f64)>,
        /// Total flow, mL/s.
        total_flow_mL_s: f64,
        /// Coefficient where nothing wets, W/(m²·K).
        unwetted_htc_W_m2K: f64,
    },
}

/// What was understood of a case.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Record {
    /// Title.
    pub title: String,
    /// Module size, mm.
    pub size_mm: [f64; 2],
    /// Module area, cm².
    pub area_cm2: f64,
    /// Area of all die, cm².
    pub die_area_cm2: f64,
    /// Power of all die and heaters, W.
    pub power_W: f64,
    /// Layers from the board side up.
    pub layers: Vec<LayerRecord>,
    /// Die in case order.
    pub die: Vec<DieRecord>,
    /// Heaters in case order.
    pub heaters: Vec<HeaterRecord>,
    /// Materials used, each once, in order of first use.
    pub materials: Vec<MaterialRecord>,
    /// Fluid, if named.
    pub fluid: Option<String>,
    /// Where the fluid's values come from.
    pub fluid_source: Option<String>,
    /// What a person must know before using the fluid.
    pub fluid_cautions: Vec<String>,
    /// Saturation temperature at the chamber pressure, °C, if a fluid is named.
    pub saturation_C: Option<f64>,
    /// Liquid inlet, °C.
    pub inlet_C: f64,
    /// Chamber pressure, kPa.
    pub pressure_kPa: f64,
    /// Spray.
    pub spray: SprayRecord,
    /// Board temperature, °C.
    pub board_C: f64,
    /// Board coefficient, W/(m²·K).
    pub board_htc_W_m2K: f64,
    /// Contacts, if described: count, conductance of all, W/K.
    pub contacts: Option<(usize, f64)>,
    /// Edge coefficient, W/(m²·K).
    pub edge_htc_W_m2K: f64,
    /// Edge temperature, °C.
    pub edge_C: f64,
    /// Accuracy asked for, K; `None` when the cell size is fixed.
    pub accuracy_K: Option<f64>,
    /// Fixed cell size, mm.
    pub cell_mm: Option<f64>,
    /// Most unknowns allowed.
    pub max_cells: usize,
}

const ZERO_C_IN_K: f64 = 273.15;

/// Describes a module as it will be solved.
pub fn describe(module: &Module) -> Record {
    let mut materials: Vec<MaterialRecord> = Vec::new();
    let mut use_material = |material: &Material, by: String| match materials
        .iter_mut()
        .find(|known| known.name == material.name)
    {
        Some(known) if known.used_by.contains(&by) => {}
        Some(known) => known.used_by.push(by),
        None => {
            let (exponent, reference_C) = match material.law {
                TemperatureLaw::Constant => (None, None),
                TemperatureLaw::Power { exponent, reference_K } => {
                    (Some(exponent), Some(reference_K - ZERO_C_IN_K))
                }
            };
            materials.push(MaterialRecord {
                name: material.name.clone(),
                conductivity_W_mK: material.conductivity_W_mK,
                exponent,
                reference_C,
                source: material.source.clone(),
                used_by: vec![by],
            });
        }
    };
    let rect_mm = |rect: &crate::module::Rect| {
        [rect.x0_m * 1e3, rect.y0_m * 1e3, rect.width_m() * 1e3, rect.height_m() * 1e3]
    };
    let layers = module
        .layers
        .iter()
        .map(|layer| {
            use_material(&layer.material, format!("layer \"{}\"", layer.name));
            LayerRecord {
                name: layer.name.clone(),
                material: layer.material.name.clone(),
                thickness_mm: layer.thickness_m * 1e3,
                slices: layer.slices,
                resistance_mm2K_W: layer.thickness_m / layer.material.conductivity_W_mK[2] * 1e6,
            }
        })
        .collect();
    let die: Vec<DieRecord> = module
        .die
        .iter()
        .map(|die| {
            // The record states materials in their own axes, as the case or the library does.
            let own_axes = |material: &Material| {
                let [x, y, z] = material.conductivity_W_mK;
                match die.turn {
                    Turn::Quarter | Turn::ThreeQuarter => {
                        Material { conductivity_W_mK: [y, x, z], ..material.clone() }
                    }
                    Turn::None | Turn::Half => material.clone(),
                }
            };
            let by = format!("die type \"{}\"", die.type_name);
            use_material(&own_axes(&die.material), by);
            if let Some(attach) = &die.attach {
                let by = format!("attach of \"{}\"", die.type_name);
                use_material(&own_axes(&attach.material), by);
            }
            DieRecord {
                name: die.name.clone(),
                type_name: die.type_name.clone(),
                rect_mm: rect_mm(&die.rect),
                thickness_mm: die.thickness_m * 1e3,
                area_cm2: die.rect.area_m2() * 1e4,
                active_face: match die.active_face {
                    ActiveFace::Down => "down",
                    ActiveFace::Up => "up",
                },
                attach: die
                    .attach
                    .as_ref()
                    .map(|attach| (attach.material.name.clone(), attach.thickness_m * 1e3)),
                power_W: die.power_W,
                mean_flux_W_cm2: die.power_W / die.rect.area_m2() * 1e-4,
                peak_flux_W_cm2: peak_flux_W_m2(die) * 1e-4,
                power_spread: match &die.power_map {
                    Some(map) => format!("map {} x {}", map.nx, map.ny),
                    None if die.blocks.is_empty() => "even".to_owned(),
                    None if die.blocks.len() == 1 => "1 block".to_owned(),
                    None => format!("{} blocks", die.blocks.len()),
                },
                limit_C: die.limit_K.map(|limit| limit - ZERO_C_IN_K),
            }
        })
        .collect();
    let heaters = module
        .heaters
        .iter()
        .map(|heater| HeaterRecord {
            name: heater.name.clone(),
            on: module.layers.get(heater.layer).map_or_else(String::new, |l| l.name.clone()),
            face: match heater.face {
                Face::Top => "top",
                Face::Bottom => "bottom",
            },
            rect_mm: rect_mm(&heater.rect),
            power_W: heater.power_W,
            mean_flux_W_cm2: heater.power_W / heater.rect.area_m2() * 1e-4,
        })
        .collect();
    Record {
        title: module.title.clone(),
        size_mm: [module.size_m[0] * 1e3, module.size_m[1] * 1e3],
        area_cm2: module.outline().area_m2() * 1e4,
        die_area_cm2: die.iter().map(|die| die.area_cm2).sum(),
        power_W: module.total_power_W(),
        layers,
        die,
        heaters,
        materials,
        fluid: module.coolant.fluid.as_ref().map(|fluid| fluid.name.clone()),
        fluid_source: module.coolant.fluid.as_ref().map(|fluid| fluid.source.clone()),
        fluid_cautions: module
            .coolant
            .fluid
            .as_ref()
            .map_or_else(Vec::new, |fluid| fluid.cautions.clone()),
        saturation_C: module
            .coolant
            .fluid
            .as_ref()
            .map(|fluid| fluid.saturation_temperature_K(module.coolant.pressure_Pa) - ZERO_C_IN_K),
        inlet_C: module.coolant.inlet_K - ZERO_C_IN_K,
        pressure_kPa: module.coolant.pressure_Pa * 1e-3,
        spray: describe_spray(module),
        board_C: module.board.temperature_K - ZERO_C_IN_K,
        board_htc_W_m2K: module.board.htc_W_m2K,
        contacts: module.board.contacts.as_ref().map(|field| {
            (field.contacts, field.contacts as f64 * field.conductance_per_contact_W_K)
        }),
        edge_htc_W_m2K: module.edge.htc_W_m2K,
        edge_C: module.edge.temperature_K - ZERO_C_IN_K,
        accuracy_K: module.mesh.cell_m.is_none().then_some(module.mesh.accuracy_K),
        cell_mm: module.mesh.cell_m.map(|cell| cell * 1e3),
        max_cells: module.mesh.max_cells,
    }
}

/// Highest heat flux released on a die's active face, W/m²: the densest block, the rest around
/// the blocks, or the highest box of the map.
pub fn peak_flux_W_m2(die: &crate::module::Die) -> f64 {
    if let Some(map) = &die.power_map {
        let total = map.total();
        let highest = map.values.iter().copied().fold(0.0, f64::max);
        return if total > 0.0 { die.power_W * highest / total } else { 0.0 };
    }
    let block_area: f64 = die.blocks.iter().map(|block| block.rect.area_m2()).sum();
    let block_power: f64 = die.blocks.iter().map(|block| block.power_W).sum();
    let rest_area = die.rect.area_m2() - block_area;
    let rest = if rest_area > 1e-9 * die.rect.area_m2() {
        (die.power_W - block_power).max(0.0) / rest_area
    } else {
        0.0
    };
    die.blocks.iter().map(|block| block.power_W / block.rect.area_m2()).fold(rest, f64::max)
}

fn describe_spray(module: &Module) -> SprayRecord {
    match &module.spray {
        Spray::Prescribed(spray) => {
            let base_htc_W_m2K = match &spray.base {
                PrescribedHtc::Uniform(htc) => [*htc, *htc],
                PrescribedHtc::Map(map) => [
                    map.values.iter().copied().fold(f64::INFINITY, f64::min),
                    map.values.iter().copied().fold(0.0, f64::max),
                ],
            };
            SprayRecord::Prescribed {
                base_htc_W_m2K,
                patches: spray.patches.len(),
                mean_htc_W_m2K: mean_htc_W_m2K(module, spray),
            }
        }
        Spray::Correlated(spray) => {
            let mut types: Vec<(String, usize, f64)> = Vec::new();
            for nozzle in &spray.nozzles {
                let flow_mL_s = nozzle.flow_m3_s * nozzle.flow_factor * 1e6;
                match types.iter_mut().find(|entry| entry.0 == nozzle.type_name) {
                    Some(entry) => {
                        entry.1 += 1;
                        entry.2 += flow_mL_s;
                    }
                    None => types.push((nozzle.type_name.clone(), 1, flow_mL_s)),
                }
            }
            SprayRecord::Correlated {
                nozzles: spray.nozzles.len(),
                total_flow_mL_s: types.iter().map(|entry| entry.2).sum(),
                types,
                unwetted_htc_W_m2K: spray.unwetted_htc_W_m2K,
            }
        }
    }
}

/// Area mean of the prescribed coefficient with later patches on top, W/(m²·K).
///
/// Exact: the plane is cut along every patch edge, and each piece takes its last patch or the
/// integral of the base.
fn mean_htc_W_m2K(module: &Module, spray: &crate::module::PrescribedSpray) -> f64 {
    use crate::module::Rect;
    let outline = module.outline();
    let lines = |low: f64, high: f64, edges: &dyn Fn(&Rect) -> [f64; 2]| {
        let mut lines: Vec<f64> = vec![low, high];
        for patch in &spray.patches {
            lines.extend(edges(&patch.rect).iter().map(|edge| edge.clamp(low, high)));
        }
        lines.sort_by(f64::total_cmp);
        lines.dedup();
        lines
    };
    let x_lines = lines(outline.x0_m, outline.x1_m, &|rect| [rect.x0_m, rect.x1_m]);
    let y_lines = lines(outline.y0_m, outline.y1_m, &|rect| [rect.y0_m, rect.y1_m]);
    let mut sum = 0.0;
    for y in y_lines.windows(2) {
        for x in x_lines.windows(2) {
            let piece = Rect { x0_m: x[0], y0_m: y[0], x1_m: x[1], y1_m: y[1] };
            sum += match spray.patches.iter().rev().find(|patch| patch.rect.contains(&piece, 0.0)) {
                Some(patch) => patch.htc_W_m2K * piece.area_m2(),
                None => match &spray.base {
                    PrescribedHtc::Uniform(htc) => htc * piece.area_m2(),
                    PrescribedHtc::Map(map) => map.integral_over(&piece),
                },
            };
        }
    }
    sum / outline.area_m2()
}
