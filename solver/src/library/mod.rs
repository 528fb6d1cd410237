//! What a case may name without describing it: solids and coolants, each value with its source.

pub mod effective;
pub mod fluid;
pub mod fluids;
pub mod material;
pub mod monotone_cubic;
pub mod plates;
pub mod solids;

pub use fluid::{Fluid, FluidState, FluidTableError, VapourPressureFit};
pub use material::{Material, TemperatureLaw};
