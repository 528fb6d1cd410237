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
//! A regression suite reads its cases as text and asks of the answer what must hold:
//!
//! ```
//! use sprayside_solver::{case, steady};
//!
//! // A fixed mesh is quick and coarse; without cell_mm it is refined to accuracy_K.
//! let text = case::starter().replace("accuracy_K = 0.1", "cell_mm = 2.0");
//! let files = |name: &str| Err(format!("{name}: this case names no files"));
//! let case = case::read(&text, "starter.toml", &files).expect("a case without mistakes");
//! let options = steady::SteadyOptions::default();
//! let result = steady::solve(&case.module, &options, &mut |_level| {}).expect("a solution");
//! for junction in &result.junctions {
//!     assert!(junction.limit_K.is_some_and(|limit_K| junction.max_K < limit_K), "{}", junction.name);
//! }
//! assert!(result.balance.imbalance_relative() < 1e-9);
//! ```
//!
//! `examples/build_in_code.rs` builds the module in code instead. The crate prints nothing and writes no files. Temperatures are kelvin, lengths metres and
//! powers watts everywhere below [`case`].

pub mod case;
pub mod conduction;
pub mod library;
pub mod life;
pub mod linear;
pub mod mesh;
pub mod module;
mod pages;
pub mod results;
pub mod seating;
pub mod spray;
pub mod steady;
pub mod study;
pub mod transient;
