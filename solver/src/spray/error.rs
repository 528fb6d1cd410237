//! Why a spray cannot be computed.

use std::fmt;

/// Why a spray cannot be computed from its nozzles and its liquid.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum SprayError {
    /// The cone of a nozzle does not close on the module: tilt plus half the cone angle reach
    /// a right angle.
    ConeMissesPlane {
        /// The nozzle.
        nozzle: String,
        /// Angle between axis and surface normal, rad.
        tilt_rad: f64,
        /// Half the cone angle, rad.
        half_cone_rad: f64,
    },
    /// A quantity of a nozzle is not a finite number greater than zero.
    NozzleQuantity {
        /// The nozzle.
        nozzle: String,
        /// Which quantity, with its unit.
        quantity: &'static str,
        /// Its value.
        value: f64,
    },
    /// The liquid is not named, or the coolant has no table.
    NoFluid,
    /// The liquid would boil before it leaves the nozzles.
    InletAboveSaturation {
        /// Temperature at the nozzles, K.
        inlet_K: f64,
        /// Saturation temperature at the chamber pressure, K.
        saturation_K: f64,
    },
}

impl fmt::Display for SprayError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            SprayError::ConeMissesPlane { nozzle, tilt_rad, half_cone_rad } => write!(
                f,
                "nozzle \"{nozzle}\": tilted {:.1} degrees with half a cone of {:.1} degrees, part of the spray never meets the module; their sum must stay below 90",
                tilt_rad.to_degrees(),
                half_cone_rad.to_degrees()
            ),
            SprayError::NozzleQuantity { nozzle, quantity, value } => {
                write!(
                    f,
                    "nozzle \"{nozzle}\": {quantity} must be greater than zero; it is {value}"
                )
            }
            SprayError::NoFluid => write!(
                f,
                "a spray computed from its nozzles needs a fluid; name one of the library or describe one"
            ),
            SprayError::InletAboveSaturation { inlet_K, saturation_K } => write!(
                f,
                "the liquid enters at {:.2} C but boils at {:.2} C at the chamber pressure; lower the inlet or raise the pressure",
                inlet_K - 273.15,
                saturation_K - 273.15
            ),
        }
    }
}

impl std::error::Error for SprayError {}
