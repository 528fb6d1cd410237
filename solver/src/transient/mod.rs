//! Temperatures over time, on the mesh of a steady solve.
//!
//! With C the heat capacities (J/K) and f what flows into each cell (W), from [`crate::conduction`]:
//!
//! ```text
//! C dx/dt = f(t, x) = b(t) - A(x) x
//! ```
//!
//! - [`conditions`]: powers and coolant at one time, laid on a mesh
//! - [`scheme`]: one step in time; `ladder`: its preconditioners
//! - [`march`]: steps from break to break, chosen by their error or replayed; what is recorded
//! - [`periodic`]: the state that comes back after every period
//! - [`run()`]: mesh, steps, uncertainty; [`outcome`]: swings, dwell, ramps
//! - [`step_response`]: each source's thermal impedance against time
//!
//! Nothing in here refines a mesh or reads a case.

pub mod conditions;
mod ladder;
pub mod march;
pub mod outcome;
pub mod periodic;
mod run;
pub mod scheme;
pub mod step_response;

pub use conditions::module_of;
pub use outcome::{SourceOutcome, source_outcomes};
pub use run::{Request, TransientResult, coarsened, run};
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
#[derive(Debug, Clone, Copy)]
pub struct TransientOptions {
    /// Residual at which the equations of a step count as solved, relative to the heat flows.
    pub relative_residual: f64,
}

impl Default for TransientOptions {
    fn default() -> Self {
        TransientOptions { relative_residual: 1e-8 }
    }
}

#[cfg(test)]
mod tests;
