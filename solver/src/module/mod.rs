//! The part as the solver sees it: checked, in SI units, every rectangle in module coordinates.
//!
//! The origin is the lower left corner of the substrate seen from the spray side; x runs right,
//! y up, z from the board side to the spray side. Nothing here knows of files or of cells.

mod arrange_bounds;
mod correction;
mod cycle;
mod geometry;
mod parts;
mod qualification;
mod sensor;
mod surroundings;

pub use arrange_bounds::ArrangeBounds;
pub use correction::Correction;
pub use cycle::{Cycle, CycleStart, Shape, Signal};
pub use geometry::{GridMap, Rect, Turn};
pub use parts::{ActiveFace, Attach, Die, Face, Heater, Layer, PowerBlock};
pub use qualification::{FieldUse, History, Profile, Qualification, TestUse};
pub use sensor::{Sensor, SensorError, SensorPlace, on_die};
pub use surroundings::{
    BackingPlate, BoardSide, ContactField, Coolant, CorrelatedSpray, Edge, HtcPatch, MeshControl,
    Nozzle, PlateSupport, PrescribedHtc, PrescribedSpray, Spray,
};

/// A multi-chip module with its surroundings.
#[derive(Debug, Clone)]
pub struct Module {
    /// Title, for people.
    pub title: String,
    /// Size along x and y, m.
    pub size_m: [f64; 2],
    /// Full-area layers from the board side up; at least one.
    pub layers: Vec<Layer>,
    /// Die, in the order of the case file.
    pub die: Vec<Die>,
    /// Heat sources on faces of layers.
    pub heaters: Vec<Heater>,
    /// The liquid.
    pub coolant: Coolant,
    /// What the spray does to the wet side.
    pub spray: Spray,
    /// What the board does to the other side.
    pub board: BoardSide,
    /// The four side faces of the substrate.
    pub edge: Edge,
    /// Accuracy or cell size asked for.
    pub mesh: MeshControl,
}

impl Module {
    /// The whole substrate as a rectangle.
    pub fn outline(&self) -> Rect {
        Rect { x0_m: 0.0, y0_m: 0.0, x1_m: self.size_m[0], y1_m: self.size_m[1] }
    }

    /// Power of all die and heaters, W.
    pub fn total_power_W(&self) -> f64 {
        self.die.iter().map(|d| d.power_W).sum::<f64>()
            + self.heaters.iter().map(|h| h.power_W).sum::<f64>()
    }

    /// Whether anything takes the heat away: without a spray, board or edge coefficient above
    /// zero there is no steady state.
    pub fn has_heat_sink(&self) -> bool {
        let spray_takes_heat = match &self.spray {
            Spray::Prescribed(spray) => {
                let base = match &spray.base {
                    PrescribedHtc::Uniform(htc) => *htc > 0.0,
                    PrescribedHtc::Map(map) => map.values.iter().any(|htc| *htc > 0.0),
                };
                base || spray.patches.iter().any(|patch| patch.htc_W_m2K > 0.0)
            }
            Spray::Correlated(spray) => {
                spray.unwetted_htc_W_m2K > 0.0
                    || spray.nozzles.iter().any(|nozzle| nozzle.flow_factor > 0.0)
            }
        };
        spray_takes_heat || self.board.htc_W_m2K > 0.0 || self.edge.htc_W_m2K > 0.0
    }
}
