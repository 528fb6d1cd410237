//! Studies of many points: what is computed, where it is kept meanwhile, what is told.
//!
//! - [`Spec`]: what a study is, as it stands in its journal
//! - [`journal`]: finished points on disk, in [`lines`]; [`arranging`]: the same of `arrange`; [`running`]: nominal, points, results
//! - [`table`]: a row a point, the same for every study
//! - [`clog`], [`sweep`], [`scatter`], [`offset`]: what each makes of its points

pub mod arranging;
pub mod clog;
pub mod journal;
pub mod lines;
pub mod offset;
pub mod running;
pub mod scatter;
pub mod sweep;
pub mod table;

use serde::{Deserialize, Serialize};
use sprayside_solver::study::clog::Manifold;
use sprayside_solver::study::offset::Place;
use sprayside_solver::study::point::PointOutcome;
use sprayside_solver::study::points::Points;

use crate::commands::solving::ResultFile;
use crate::failure::Failure;
use crate::summary::Solved;

/// What a study is: all that its points follow from, beside the case.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "study", rename_all = "kebab-case")]
pub enum Spec {
    /// Nozzles blocked in turn.
    Clog {
        /// What the others do.
        manifold: Manifold,
        /// Whether every pair is blocked too.
        pairs: bool,
    },
    /// Numbers of the case over values.
    Sweep {
        /// Name and values of each input.
        inputs: Vec<(String, Vec<f64>)>,
        /// Side by side instead of every combination.
        zip: bool,
        /// Die or heater that the picture shows.
        show: Option<String>,
    },
    /// Random tolerances.
    Scatter {
        /// How many samples.
        samples: usize,
        /// Of the sequence.
        seed: u32,
    },
    /// The cap off its place.
    Offset {
        /// Every place.
        places: Vec<Place>,
    },
}

impl Spec {
    /// The command's name.
    pub fn word(&self) -> &'static str {
        match self {
            Spec::Clog { .. } => "clog",
            Spec::Sweep { .. } => "sweep",
            Spec::Scatter { .. } => "scatter",
            Spec::Offset { .. } => "offset",
        }
    }
}

/// What a study tells beside the nominal solve.
#[derive(Debug)]
pub struct Told {
    /// Its files.
    pub files: Vec<ResultFile>,
    /// Its part of the summary.
    pub section: serde_json::Value,
    /// Its part of the text.
    pub text: String,
    /// Whether it breaks a limit that the exit code tells of.
    pub broken: bool,
}

/// A study of a case.
pub trait Study {
    /// Its points.
    fn points(&self) -> &dyn Points;

    /// Columns that tell the points apart.
    fn columns(&self) -> Vec<String>;

    /// Their cells in the row of point `k`.
    fn cells(&self, k: usize) -> Vec<String>;

    /// What the outcomes, one a point, tell.
    fn tell(&self, solved: &Solved, outcomes: &[PointOutcome]) -> Result<Told, Failure>;
}

/// A number of JSON or null.
pub(crate) fn json_figure(value: Option<f64>) -> serde_json::Value {
    value.and_then(crate::figures::figure).map_or(serde_json::Value::Null, Into::into)
}

/// What nozzles are needed for.
fn no_nozzles() -> Failure {
    Failure::Request {
        headline: "the case has no nozzles: its spray is described by coefficients".to_owned(),
        help: "describe the spray with model = \"correlated\" and nozzles".to_owned(),
    }
}
