//! What a case may name without describing it: solids and coolants, each value with its source.

pub mod fluid;
pub mod fluids;
pub mod material;

pub use fluid::{Fluid, FluidState};
pub use material::{Material, TemperatureLaw};
