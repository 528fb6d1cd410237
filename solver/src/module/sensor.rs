//! What measures temperature on the part.

use super::{Die, Face, Turn};
use crate::library::SensorLimits;

/// Where a sensor sits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SensorPlace {
    /// On the active face of a die: what a diode or a resistor of the circuit reads.
    Junction {
        /// Number of the die.
        die: usize,
    },
    /// On the wet back of a die, under the spray.
    Back {
        /// Number of the die.
        die: usize,
    },
    /// On a face of a substrate layer.
    Layer {
        /// Index of the layer, from the board side.
        layer: usize,
        /// Which face of it.
        face: Face,
    },
}

/// How far a sensor may be off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SensorError {
    /// As published for its type.
    Published(&'static SensorLimits),
    /// As stated in the case, K.
    Stated(f64),
}

/// A thermometer at one point.
#[derive(Debug, Clone, PartialEq)]
pub struct Sensor {
    /// Name, unique among the sensors.
    pub name: String,
    /// Where it sits.
    pub place: SensorPlace,
    /// Position in the plane of the module, m.
    pub at_m: [f64; 2],
    /// How far it may be off.
    pub error: SensorError,
    /// How far it may sit from the position stated, m.
    pub placement_m: f64,
}

impl Sensor {
    /// Type as the case names it; `stated` for a stated limit.
    pub fn type_name(&self) -> &'static str {
        match self.error {
            SensorError::Published(limits) => limits.name,
            SensorError::Stated(_) => "stated",
        }
    }

    /// Limit of error at a temperature, K.
    pub fn limit_of_error_K(&self, temperature_K: f64) -> f64 {
        match self.error {
            SensorError::Published(limits) => limits.at_K(temperature_K - 273.15),
            SensorError::Stated(limit_K) => limit_K,
        }
    }
}

/// Position of a point given from the centre of a die in the die's own axes, m.
pub fn on_die(die: &Die, offset_m: [f64; 2]) -> [f64; 2] {
    let [x, y] = offset_m;
    let [cx, cy] = die.rect.centre_m();
    let [dx, dy] = match die.turn {
        Turn::None => [x, y],
        Turn::Quarter => [-y, x],
        Turn::Half => [-x, -y],
        Turn::ThreeQuarter => [y, -x],
    };
    [cx + dx, cy + dy]
}
