//! From nozzles to the spray-side coefficient, burn-out margin and liquid budget.
//!
//! - [`Footprint`], [`flux_on_grid`]: where the liquid of full cones lands, integrated over cells;
//! - [`drop_size`], [`single_phase`], [`boiling`], [`critical_heat_flux`]: the correlations, one
//!   file each, with formula, range, band and status;
//! - [`SurfaceCurve`], [`CellCurves`]: the branches joined to one rising flux for the solver;
//! - [`die_coverage`], [`dry_patches`], [`die_heat`]: what that means for each die;
//! - [`LiquidBudget`]: flows in and out, and what the far side of the loop must take;
//! - [`SprayModel`]: all of it for one spray: lay it on a grid, take the curves, read the notes.
//!
//! Nothing here knows of sheets, of die power or of how the system is solved.

mod band;
pub mod boiling;
mod budget;
mod clipping;
mod coverage;
pub mod critical_heat_flux;
mod curve;
pub mod drop_size;
mod error;
mod flux;
mod footprint;
mod model;
mod note;
mod prescribed;
pub mod single_phase;
#[cfg(test)]
mod testing;

pub use budget::LiquidBudget;
pub use clipping::Part;
pub use coverage::{
    DieCoverage, DieHeat, DryPatch, die_coverage, die_heat, dry_patches, uniformity,
};
pub use curve::{CellCurves, FilmTable, Liquid, SurfaceCurve};
pub use error::SprayError;
pub use flux::{FluxField, Landing, flux_on_grid, landing_on};
pub use footprint::Footprint;
pub use model::SprayModel;
pub use note::{Band, CorrelationNote, Status};
pub use prescribed::prescribed_law;
