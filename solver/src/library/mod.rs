//! What a case may name without describing it: solids, coolants, sensors, each value with its source.

pub mod effective;
pub mod fluid;
pub mod fluids;
pub mod material;
pub mod monotone_cubic;
pub mod plates;
pub mod sensor_limits;
pub mod solids;

pub use fluid::{Fluid, FluidState, FluidTableError, VapourPressureFit};
pub use material::{Material, TemperatureLaw};
pub use sensor_limits::{SENSOR_LIMITS, SensorLimits};
