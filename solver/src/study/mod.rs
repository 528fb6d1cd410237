//! Questions that are answered from a solution, or from several.
//!
//! - [`fit`]: the model against thermometers, and the corrections that they ask for
//! - [`Linearised`]: a solution's network linearised there, and solves with it
//! - [`qualify()`]: the plan of a test from the temperatures of a solve
//! - [`readings()`]: what is read off each active face, as weights on its cells
//! - [`resistance()`]: the thermal resistance matrix
//! - [`mod@sensitivity`]: what every input does to every junction
//! - [`mod@arrange`]: a better nozzle pattern within bounds
//! - [`point`], [`points`]: many changed modules around one solution; [`clog`]: blocked nozzles,
//!   [`offset`]: the cap off its place, [`scatter`]: random tolerances
//!
//! Nothing below this room knows that studies exist.

pub mod arrange;
pub mod clog;
pub mod fit;
mod linearised;
pub mod offset;
pub mod point;
pub mod points;
mod qualify;
mod readings;
mod resistance;
pub mod scatter;
pub mod sensitivity;
#[cfg(test)]
pub(crate) mod testing;

pub use arrange::arrange;
pub use linearised::{Cost, Linearised, Response, Solver};
pub use qualify::qualify;
pub use readings::{Readings, readings};
pub use resistance::{ResistanceMatrix, SuperpositionCheck, resistance};
pub use sensitivity::{Sensitivity, sensitivity};
