//! Temperatures over time, on the mesh of a steady solve.
//!
//! With C the heat capacities (J/K) and f what flows into each cell (W), from [`crate::conduction`]:
//!
//! ```text
//! C dx/dt = f(t, x) = b(t) - A(x) x
//! ```
//!
//! - [`conditions`]: powers and coolant at one time, laid on a mesh
//! - [`scheme`]: one step in time; `stage`: the equations of its stages; `ladder`: preconditioners
//! - [`plan`]: where a run steps; [`march`]: steps from break to break, chosen by their error or
//!   replayed; [`record`]: what is kept
//! - [`periodic`]: the state that comes back after every period; `trail`: what a period lends the next
//! - [`run()`]: mesh, steps, uncertainty; `saved`: a state for another run to start from; [`outcome`]: swings, dwell, ramps
//! - [`step_response`]: each source's thermal impedance against time
//!
//! Nothing in here refines a mesh or reads a case.

pub mod conditions;
mod ladder;
pub mod march;
pub mod outcome;
pub mod periodic;
pub mod plan;
pub mod record;
mod run;
mod saved;
pub mod scheme;
mod stage;
pub mod step_response;
mod trail;

pub use conditions::module_of;
pub use outcome::{SourceOutcome, source_outcomes};
pub use run::{Request, TransientResult, coarsened, equal_steps, run};
pub use saved::{SavedBlock, SavedState};
pub use step_response::{StepResponse, step_responses};

use std::fmt;

use crate::spray::SprayError;
use crate::steady::SteadyError;

/// Why there are no temperatures over time.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub enum TransientError {
    /// A material has no density or specific heat.
    NoCapacity {
        /// Its name.
        material: String,
    },
    /// There is no steady state to start from.
    Start(SteadyError),
    /// The state to start from is not one of this module on this mesh: why.
    OtherState(String),
    /// Nozzles and liquid make no sense together at some time.
    Spray {
        /// When, s.
        time_s: f64,
        /// Why.
        error: SprayError,
    },
    /// Steps became too small: the equations of a step could not be solved.
    Stuck {
        /// When, s.
        time_s: f64,
        /// Length of the last step tried, s.
        step_s: f64,
    },
    /// More steps than make sense.
    TooManySteps {
        /// When they ran out, s.
        time_s: f64,
    },
    /// No state comes back: the surface runs away within the period.
    RunAway {
        /// When, s.
        time_s: f64,
    },
    /// The state after a period is still not that before it.
    NotPeriodic {
        /// Periods run.
        passes: usize,
        /// Largest difference that remains, K.
        change_K: f64,
    },
}

impl fmt::Display for TransientError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            TransientError::NoCapacity { material } => {
                write!(f, "material \"{material}\" has no density or no specific heat")
            }
            TransientError::Start(error) => write!(f, "no state to start from: {error}"),
            TransientError::OtherState(why) => {
                write!(f, "the run cannot start from this state: {why}")
            }
            TransientError::Spray { time_s, error } => write!(f, "spray at {time_s} s: {error}"),
            TransientError::Stuck { time_s, step_s } => write!(
                f,
                "the equations at {time_s:.6e} s could not be solved even with a step of {step_s:.1e} s"
            ),
            TransientError::TooManySteps { time_s } => {
                write!(f, "the steps ran out at {time_s:.6e} s")
            }
            TransientError::RunAway { time_s } => write!(
                f,
                "no state comes back: the surface runs away {time_s:.6e} s into the period"
            ),
            TransientError::NotPeriodic { passes, change_K } => write!(
                f,
                "after {passes} periods the state still changes by {change_K:.2e} K a period"
            ),
        }
    }
}

impl std::error::Error for TransientError {}

/// Options that do not belong to the case.
#[derive(Debug, Clone, Copy, Default)]
pub struct TransientOptions {
    /// Residual at which the equations of a step count as solved, relative to the heat flows; none
    /// to tie it to the error that the cycle allows in time.
    pub relative_residual: Option<f64>,
}

#[cfg(test)]
mod tests;
