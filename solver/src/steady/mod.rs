//! One steady solve, refined until the accuracy asked for is reached.

mod doubt;
mod estimate;
mod grids;
mod hottest_place;
mod interpolate;
mod one_grid;
mod outcome;
mod parts;
mod refine;
mod rounds;
mod system;
mod wet_law;

use std::fmt;

use crate::linear::CgError;
use crate::spray::{Band, SprayError};

/// Why there is no steady solution.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub enum SteadyError {
    /// Nothing takes the heat away: spray, board and edge coefficients are all zero.
    NoHeatSink,
    /// Nozzles or liquid make no sense together.
    Spray(SprayError),
    /// The linear solver gave up.
    Linear(CgError),
    /// The spray cannot take the heat: beyond critical heat flux the surface runs away.
    BurnOut {
        /// How hot the surface had become, K above the coolant inlet.
        rise_K: f64,
        /// Where, and which die.
        place: String,
    },
    /// The outer iteration gave up.
    NotConverged {
        /// Outer iterations done.
        outer_iterations: usize,
        /// Last change of temperature, K.
        last_change_K: f64,
        /// What a person should look at.
        place: String,
    },
    /// The mesh asked for is larger than `max_cells`.
    TooManyCells {
        /// Unknowns that it would take.
        needed: usize,
        /// Unknowns allowed.
        allowed: usize,
    },
}

impl fmt::Display for SteadyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            SteadyError::NoHeatSink => write!(
                f,
                "no steady state: spray, board and edge coefficients are all zero, so nothing takes the heat away"
            ),
            SteadyError::Spray(error) => write!(f, "spray: {error}"),
            SteadyError::Linear(error) => write!(f, "linear solver: {error}"),
            SteadyError::BurnOut { rise_K, place } => write!(
                f,
                "no steady state: the spray cannot take this heat; beyond critical heat flux the surface passes {rise_K:.0} K above the inlet and runs away ({place})"
            ),
            SteadyError::NotConverged { outer_iterations, last_change_K, place } => write!(
                f,
                "no steady state found in {outer_iterations} outer iterations (last change {last_change_K:.3e} K, {place})"
            ),
            SteadyError::TooManyCells { needed, allowed } => {
                write!(f, "the mesh needs {needed} unknowns; max_cells allows {allowed}")
            }
        }
    }
}

impl std::error::Error for SteadyError {}

impl From<SprayError> for SteadyError {
    fn from(error: SprayError) -> Self {
        SteadyError::Spray(error)
    }
}

impl From<CgError> for SteadyError {
    fn from(error: CgError) -> Self {
        SteadyError::Linear(error)
    }
}

/// Options that do not belong to the case.
#[derive(Debug, Clone)]
pub struct SteadyOptions {
    /// Relative residual at which the linear solver stops.
    pub relative_tolerance: f64,
    /// End of the spray correlations' bands.
    pub band: Band,
}

impl Default for SteadyOptions {
    fn default() -> Self {
        SteadyOptions { relative_tolerance: 1e-10, band: Band::Nominal }
    }
}

pub(crate) use grids::rectangles;
pub(crate) use interpolate::interpolate;
pub use one_grid::{GridSolution, solve_lent, solve_on_mesh, solve_with_law};
pub use refine::{solve, solve_keeping, solve_keeping_half};
pub use system::system_at;
pub use wet_law::WetLaw;
