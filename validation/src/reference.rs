//! The committed answers of general-purpose libraries: their JSON and the modules it describes.

use serde::Deserialize;
use sprayside_solver::module::{
    ActiveFace, Attach, Die, HtcPatch, Module, PowerBlock, Rect, Spray, Turn,
};

use crate::closed_form::RectSource;
use crate::vehicle::{add_heater, constant, vehicle};

/// A stratum.
#[derive(Debug, Clone, Deserialize)]
pub struct Stratum {
    /// Thickness, m.
    pub thickness_m: f64,
    /// Conductivity along x, y, z, W/(m·K).
    pub conductivity_W_mK: [f64; 3],
}

/// Power on a rectangle.
#[derive(Debug, Clone, Deserialize)]
pub struct Block {
    /// x0, y0, x1, y1, m.
    pub rect_m: [f64; 4],
    /// Power, W.
    pub power_W: f64,
}

/// A die.
#[derive(Debug, Clone, Deserialize)]
pub struct ReferenceDie {
    /// Footprint x0, y0, x1, y1, m.
    pub rect_m: [f64; 4],
    /// Silicon.
    pub body: Stratum,
    /// Attach.
    pub attach: Stratum,
    /// `up` or `down`.
    pub active_face: String,
    /// Power, W.
    pub power_W: f64,
    /// Blocks.
    pub blocks: Vec<Block>,
}

/// A heater on an interface of the substrate.
#[derive(Debug, Clone, Deserialize)]
pub struct ReferenceHeater {
    /// 0 the lower face.
    pub interface: usize,
    /// Rectangle, m.
    pub rect_m: [f64; 4],
    /// Power, W.
    pub power_W: f64,
}

/// A coefficient on a rectangle.
#[derive(Debug, Clone, Deserialize)]
pub struct Patch {
    /// Rectangle, m.
    pub rect_m: [f64; 4],
    /// Coefficient, W/(m²·K).
    pub htc_W_m2K: f64,
}

/// The library's answer for one source.
#[derive(Debug, Clone, Deserialize)]
pub struct Answer {
    /// Name.
    pub name: String,
    /// Mean rise of the active face, K.
    pub mean_rise_K: f64,
    /// Highest rise, K.
    pub max_rise_K: f64,
    /// How far the mean may be off: from two resolutions of the library, K.
    pub mean_accuracy_K: f64,
    /// How far the highest may be off, K.
    pub max_accuracy_K: f64,
}

/// A module with its answers.
#[derive(Debug, Clone, Deserialize)]
pub struct ReferenceCase {
    /// Name.
    pub name: String,
    /// Size, m.
    pub size_m: [f64; 2],
    /// Layers from the board side up.
    pub layers: Vec<Stratum>,
    /// Die.
    pub die: Vec<ReferenceDie>,
    /// Heaters.
    pub heaters: Vec<ReferenceHeater>,
    /// Coefficient below, W/(m²·K).
    pub htc_below_W_m2K: f64,
    /// Coefficient above, W/(m²·K).
    pub htc_above_W_m2K: f64,
    /// Patches.
    pub patches: Vec<Patch>,
    /// Answers, die first.
    pub junctions: Vec<Answer>,
}

/// One file.
#[derive(Debug, Clone, Deserialize)]
pub struct Reference {
    /// Library and version.
    pub library: String,
    /// Script that made it.
    pub script: String,
    /// Cases.
    pub cases: Vec<ReferenceCase>,
}

fn rect([x0_m, y0_m, x1_m, y1_m]: [f64; 4]) -> Rect {
    Rect { x0_m, y0_m, x1_m, y1_m }
}

impl ReferenceCase {
    /// The module that the case describes.
    pub fn module(&self) -> Module {
        let layers: Vec<(f64, [f64; 3])> =
            self.layers.iter().map(|l| (l.thickness_m, l.conductivity_W_mK)).collect();
        let mut module = vehicle(self.size_m, &layers, self.htc_below_W_m2K, self.htc_above_W_m2K);
        for (n, die) in self.die.iter().enumerate() {
            module.die.push(Die {
                name: format!("D{}", n + 1),
                type_name: "die".to_owned(),
                rect: rect(die.rect_m),
                turn: Turn::None,
                thickness_m: die.body.thickness_m,
                material: constant(die.body.conductivity_W_mK),
                active_face: if die.active_face == "up" {
                    ActiveFace::Up
                } else {
                    ActiveFace::Down
                },
                attach: Some(Attach {
                    material: constant(die.attach.conductivity_W_mK),
                    thickness_m: die.attach.thickness_m,
                }),
                limit_K: None,
                power_W: die.power_W,
                blocks: die
                    .blocks
                    .iter()
                    .map(|b| PowerBlock {
                        name: "block".to_owned(),
                        rect: rect(b.rect_m),
                        power_W: b.power_W,
                    })
                    .collect(),
                power_map: None,
            });
        }
        for heater in &self.heaters {
            let [x0, y0, x1, y1] = heater.rect_m;
            let source = RectSource {
                x: 0.5 * (x0 + x1),
                y: 0.5 * (y0 + y1),
                width: x1 - x0,
                height: y1 - y0,
            };
            add_heater(&mut module, heater.interface, &source, heater.power_W);
        }
        if let Spray::Prescribed(spray) = &mut module.spray {
            spray.patches = self
                .patches
                .iter()
                .map(|p| HtcPatch { rect: rect(p.rect_m), htc_W_m2K: p.htc_W_m2K })
                .collect();
        }
        module
    }
}
