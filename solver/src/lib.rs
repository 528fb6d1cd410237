//! Steady temperatures of a spray-cooled multi-chip module.
//!
//! Data flows one way, and the rooms below are listed in that order:
//!
//! - [`case`]: the TOML text of a case, its checks and its diagnostics;
//! - [`library`]: solids and coolants that a case may name;
//! - [`module`]: the checked part, in SI units;
//! - [`mesh`]: grid lines snapped to every outline, slices through the thickness;
//! - [`spray`]: nozzles, volumetric flux, heat transfer and burn-out correlations;
//! - [`conduction`]: sheets and islands become conductances, sinks and sources;
//! - [`linear`]: conjugate gradients, multigrid and the assembled matrix;
//! - [`steady`]: one solve, refined until the accuracy asked for is reached;
//! - [`transient`]: temperatures over time on the mesh of a steady solve;
//! - [`seating`]: force of the contact field, deflection of the backing plate;
//! - [`results`]: junctions, hot spots, heat balance, uncertainty;
//! - [`study`]: what composes solves: thermal resistances, sensitivities, fits to readings;
//! - [`life`]: cycles counted in a history, solder fatigue, plans of tests.
//!
//! The crate prints nothing and writes no files. Temperatures are kelvin, lengths metres and
//! powers watts everywhere below [`case`].

pub mod case;
pub mod conduction;
pub mod library;
pub mod life;
pub mod linear;
pub mod mesh;
pub mod module;
pub mod results;
pub mod seating;
pub mod spray;
pub mod steady;
pub mod study;
pub mod transient;
