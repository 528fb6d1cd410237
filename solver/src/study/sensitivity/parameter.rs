//! The inputs that a sensitivity is taken to, and the steps in which engineers think of them.

use crate::module::{Module, PrescribedHtc, Spray};

/// Directions of a conductivity that change together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Along {
    /// All three.
    All,
    /// x and y.
    Plane,
    /// z.
    Through,
}

/// An input of a module.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Parameter {
    /// Power of a die, its blocks and map in proportion, or of a heater; die first.
    Power {
        /// Number of the source.
        source: usize,
    },
    /// Power of one block of a die, the rest of the die unchanged.
    BlockPower {
        /// Number of the die.
        die: usize,
        /// Number of the block.
        block: usize,
    },
    /// Power of what no block covers, the blocks unchanged.
    RestPower {
        /// Number of the die.
        die: usize,
    },
    /// Thickness of a layer.
    LayerThickness {
        /// Number of the layer.
        layer: usize,
    },
    /// Thickness of the attach of these die together.
    AttachThickness {
        /// Numbers of the die.
        die: Vec<usize>,
    },
    /// Thickness of these die together.
    DieThickness {
        /// Numbers of the die.
        die: Vec<usize>,
    },
    /// Conductivity of a layer.
    LayerConductivity {
        /// Number of the layer.
        layer: usize,
        /// Which directions.
        along: Along,
    },
    /// Conductivity of an attach material, in every attach that is made of it.
    AttachConductivity {
        /// Name of the material.
        material: String,
    },
    /// Conductivity of a die material, in every die that is made of it.
    DieConductivity {
        /// Name of the material.
        material: String,
    },
    /// Spray coefficient (with nozzles: heat flux at a given surface temperature) everywhere.
    SprayCoefficient,
    /// Spray coefficient where no patch lies.
    SprayBase,
    /// Spray coefficient of one patch, where no later one lies over it.
    SprayPatch {
        /// Number of the patch.
        patch: usize,
    },
    /// Spray coefficient over these die.
    SprayOver {
        /// Numbers of the die.
        die: Vec<usize>,
    },
    /// Temperature of the coolant at the nozzles.
    InletTemperature,
    /// Flow of these nozzles together, their drops unchanged.
    NozzleFlow {
        /// Numbers of the nozzles.
        nozzles: Vec<usize>,
    },
    /// Position of these nozzles together.
    NozzlePosition {
        /// Numbers of the nozzles.
        nozzles: Vec<usize>,
        /// 0: along x, 1: along y, 2: stand-off.
        axis: usize,
    },
    /// Coefficient between lowest sheet and board.
    BoardCoefficient,
    /// Temperature of the board.
    BoardTemperature,
    /// Coefficient of the side faces.
    EdgeCoefficient,
    /// Temperature around the side faces.
    EdgeTemperature,
}

/// The step that a derivative is reported for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Size: in SI units, or as a share where the derivative is per relative change.
    pub size: f64,
    /// In words: `K per W`, `K per 10 %`.
    pub words: &'static str,
}

/// What kind of input it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantity {
    /// In words, without spaces: a column of a table.
    pub word: &'static str,
    /// Unit of [`Entry::value`] in tables.
    pub unit: &'static str,
    /// Factor from SI to that unit.
    pub from_si: f64,
    /// Subtracted, in that unit, after the factor.
    pub zero: f64,
    /// Whether the derivative is per relative change of the input (d/d ln p).
    pub relative: bool,
    /// Step for tables.
    pub step: Step,
}

/// An input with its name and its value.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// The input.
    pub parameter: Parameter,
    /// What it belongs to: a die, a layer, a nozzle.
    pub of: String,
    /// Its value, SI; `None` where no single one exists.
    pub value: Option<f64>,
}

const WATT: Step = Step { size: 1.0, words: "K per W" };
const KELVIN: Step = Step { size: 1.0, words: "K per K" };
const TENTH: Step = Step { size: 0.1, words: "K per 10 %" };
const TENTH_MM: Step = Step { size: 1e-4, words: "K per 0.1 mm" };
const HUNDREDTH_MM: Step = Step { size: 1e-5, words: "K per 0.01 mm" };
const TEN_W_M2K: Step = Step { size: 10.0, words: "K per 10 W/m2K" };

impl Parameter {
    /// What kind of input it is.
    pub fn quantity(&self) -> Quantity {
        let of = |word, unit, from_si, relative, step| Quantity {
            word,
            unit,
            from_si,
            zero: 0.0,
            relative,
            step,
        };
        let celsius = |word| Quantity { zero: 273.15, ..of(word, "C", 1.0, false, KELVIN) };
        match self {
            Parameter::Power { .. } => of("power", "W", 1.0, false, WATT),
            Parameter::BlockPower { .. } => of("block_power", "W", 1.0, false, WATT),
            Parameter::RestPower { .. } => of("rest_power", "W", 1.0, false, WATT),
            Parameter::LayerThickness { .. } => of("layer_thickness", "mm", 1e3, false, TENTH_MM),
            Parameter::AttachThickness { .. } => {
                of("attach_thickness", "mm", 1e3, false, HUNDREDTH_MM)
            }
            Parameter::DieThickness { .. } => of("die_thickness", "mm", 1e3, false, TENTH_MM),
            Parameter::LayerConductivity { along, .. } => {
                let word = match along {
                    Along::All => "layer_conductivity",
                    Along::Plane => "layer_conductivity_in_plane",
                    Along::Through => "layer_conductivity_through",
                };
                of(word, "W/mK", 1.0, true, TENTH)
            }
            Parameter::AttachConductivity { .. } => {
                of("attach_conductivity", "W/mK", 1.0, true, TENTH)
            }
            Parameter::DieConductivity { .. } => of("die_conductivity", "W/mK", 1.0, true, TENTH),
            Parameter::SprayCoefficient
            | Parameter::SprayBase
            | Parameter::SprayPatch { .. }
            | Parameter::SprayOver { .. } => of("spray_coefficient", "W/m2K", 1.0, true, TENTH),
            Parameter::InletTemperature => celsius("inlet_temperature"),
            Parameter::NozzleFlow { .. } => of("nozzle_flow", "mL/s", 1e6, true, TENTH),
            Parameter::NozzlePosition { axis, .. } => {
                let word = ["nozzle_x", "nozzle_y", "nozzle_standoff"][*axis];
                of(word, "mm", 1e3, false, TENTH_MM)
            }
            Parameter::BoardCoefficient => of("board_coefficient", "W/m2K", 1.0, true, TENTH),
            Parameter::BoardTemperature => celsius("board_temperature"),
            Parameter::EdgeCoefficient => of("edge_coefficient", "W/m2K", 1.0, false, TEN_W_M2K),
            Parameter::EdgeTemperature => celsius("edge_temperature"),
        }
    }
}

impl Entry {
    fn new(parameter: Parameter, of: impl Into<String>, value: impl Into<Option<f64>>) -> Self {
        Entry { parameter, of: of.into(), value: value.into() }
    }

    /// Its value in the unit of [`Quantity::unit`].
    pub fn value_in_unit(&self) -> Option<f64> {
        let quantity = self.parameter.quantity();
        self.value.map(|v| v * quantity.from_si - quantity.zero)
    }
}

/// The inputs of `module`, in the order of tables.
pub fn entries(module: &Module) -> Vec<Entry> {
    let mut all = Vec::new();
    powers(module, &mut all);
    parts(module, &mut all);
    match &module.spray {
        Spray::Prescribed(spray) => {
            all.push(Entry::new(Parameter::SprayCoefficient, "everywhere", None));
            if !spray.patches.is_empty() {
                let value = match &spray.base {
                    PrescribedHtc::Uniform(htc) => Some(*htc),
                    PrescribedHtc::Map(_) => None,
                };
                all.push(Entry::new(Parameter::SprayBase, "outside the patches", value));
            }
            for (patch, p) in spray.patches.iter().enumerate() {
                let [x, y] = p.rect.centre_m();
                let of = format!("patch {} at {:.2} mm; {:.2} mm", patch + 1, x * 1e3, y * 1e3);
                all.push(Entry::new(Parameter::SprayPatch { patch }, of, p.htc_W_m2K));
            }
        }
        Spray::Correlated(_) => {
            all.push(Entry::new(Parameter::SprayCoefficient, "everywhere", None));
        }
    }
    for (of, die) in one_by_one_and_by_type(module, |_| true) {
        all.push(Entry::new(Parameter::SprayOver { die }, of, None));
    }
    all.push(Entry::new(Parameter::InletTemperature, "coolant", module.coolant.inlet_K));
    nozzles(module, &mut all);
    let (board, edge) = (&module.board, &module.edge);
    all.push(Entry::new(Parameter::BoardCoefficient, "board", board.htc_W_m2K));
    all.push(Entry::new(Parameter::BoardTemperature, "board", board.temperature_K));
    all.push(Entry::new(Parameter::EdgeCoefficient, "edges", edge.htc_W_m2K));
    all.push(Entry::new(Parameter::EdgeTemperature, "edges", edge.temperature_K));
    all
}

fn powers(module: &Module, all: &mut Vec<Entry>) {
    for (d, die) in module.die.iter().enumerate() {
        all.push(Entry::new(Parameter::Power { source: d }, &die.name, die.power_W));
        if die.power_map.is_some() || die.blocks.is_empty() {
            continue;
        }
        for (b, block) in die.blocks.iter().enumerate() {
            let of = format!("{}: {}", die.name, block.name);
            all.push(Entry::new(Parameter::BlockPower { die: d, block: b }, of, block.power_W));
        }
        let covered: f64 = die.blocks.iter().map(|b| b.rect.area_m2()).sum();
        if covered < (1.0 - 1e-9) * die.rect.area_m2() {
            let rest = die.power_W - die.blocks.iter().map(|b| b.power_W).sum::<f64>();
            let of = format!("{}: outside the blocks", die.name);
            all.push(Entry::new(Parameter::RestPower { die: d }, of, rest));
        }
    }
    for (h, heater) in module.heaters.iter().enumerate() {
        let source = module.die.len() + h;
        all.push(Entry::new(Parameter::Power { source }, &heater.name, heater.power_W));
    }
}

/// Each die alone that `keep` holds for, and each type with several of them.
fn one_by_one_and_by_type(
    module: &Module,
    keep: impl Fn(usize) -> bool,
) -> Vec<(String, Vec<usize>)> {
    let kept: Vec<usize> = (0..module.die.len()).filter(|&d| keep(d)).collect();
    let mut groups: Vec<(String, Vec<usize>)> =
        kept.iter().map(|&d| (module.die[d].name.clone(), vec![d])).collect();
    let mut types: Vec<&str> = Vec::new();
    for &d in &kept {
        let name = module.die[d].type_name.as_str();
        if !types.contains(&name) {
            types.push(name);
        }
    }
    for name in types {
        let members: Vec<usize> =
            kept.iter().copied().filter(|&d| module.die[d].type_name == name).collect();
        if members.len() > 1 {
            groups.push((format!("every {name}"), members));
        }
    }
    groups
}

fn parts(module: &Module, all: &mut Vec<Entry>) {
    for (l, layer) in module.layers.iter().enumerate() {
        let parameter = Parameter::LayerThickness { layer: l };
        all.push(Entry::new(parameter, &layer.name, layer.thickness_m));
    }
    let with_attach = |d: usize| module.die[d].attach.is_some();
    for (of, die) in one_by_one_and_by_type(module, with_attach) {
        let value = module.die[die[0]].attach.as_ref().map(|a| a.thickness_m);
        all.push(Entry::new(Parameter::AttachThickness { die }, of, value));
    }
    for (of, die) in one_by_one_and_by_type(module, |_| true) {
        let value = module.die[die[0]].thickness_m;
        all.push(Entry::new(Parameter::DieThickness { die }, of, value));
    }
    for (layer, part) in module.layers.iter().enumerate() {
        let [kx, ky, kz] = part.material.conductivity_W_mK;
        let same = |values: &[f64]| values.iter().all(|v| *v == values[0]).then_some(values[0]);
        for (along, value) in [
            (Along::All, same(&[kx, ky, kz])),
            (Along::Plane, same(&[kx, ky])),
            (Along::Through, Some(kz)),
        ] {
            let parameter = Parameter::LayerConductivity { layer, along };
            all.push(Entry::new(parameter, &part.name, value));
        }
    }
    let mut seen: Vec<&str> = Vec::new();
    for attach in module.die.iter().filter_map(|d| d.attach.as_ref()) {
        let material = &attach.material;
        if !seen.contains(&material.name.as_str()) {
            seen.push(&material.name);
            let parameter = Parameter::AttachConductivity { material: material.name.clone() };
            let value = material.conductivity_W_mK[2];
            all.push(Entry::new(parameter, &material.name, value));
        }
    }
    seen.clear();
    for die in &module.die {
        let material = &die.material;
        if !seen.contains(&material.name.as_str()) {
            seen.push(&material.name);
            let parameter = Parameter::DieConductivity { material: material.name.clone() };
            let value = material.conductivity_W_mK[2];
            all.push(Entry::new(parameter, &material.name, value));
        }
    }
}

fn nozzles(module: &Module, all: &mut Vec<Entry>) {
    let Spray::Correlated(spray) = &module.spray else { return };
    let flow = |n: usize| spray.nozzles[n].flow_m3_s * spray.nozzles[n].flow_factor;
    let everyone: Vec<usize> = (0..spray.nozzles.len()).collect();
    let total: f64 = everyone.iter().map(|&n| flow(n)).sum();
    let parameter = Parameter::NozzleFlow { nozzles: everyone.clone() };
    all.push(Entry::new(parameter, "every nozzle", total));
    for axis in 0..3 {
        let parameter = Parameter::NozzlePosition { nozzles: everyone.clone(), axis };
        all.push(Entry::new(parameter, "every nozzle", None));
    }
    for (n, nozzle) in spray.nozzles.iter().enumerate() {
        let parameter = Parameter::NozzleFlow { nozzles: vec![n] };
        all.push(Entry::new(parameter, &nozzle.name, flow(n)));
        let values = [nozzle.at_m[0], nozzle.at_m[1], nozzle.standoff_m];
        for (axis, value) in values.into_iter().enumerate() {
            let parameter = Parameter::NozzlePosition { nozzles: vec![n], axis };
            all.push(Entry::new(parameter, &nozzle.name, value));
        }
    }
}
