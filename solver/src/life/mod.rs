//! From temperatures over time to fatigue of the joints: cycles counted, damage added, tests
//! planned.
//!
//! - [`mod@rainflow`]: counting of cycles by ASTM E1049-85, 5.4.4;
//! - [`fatigue`]: published acceleration models of solder fatigue;
//! - [`samples`]: parts to test for a reliability at a confidence;
//! - [`qualification`]: the plan of a test that stands for a life in the field.
//!
//! Nothing here knows of meshes or of cases: histories and swings come in as numbers.

pub mod fatigue;
pub mod qualification;
pub mod rainflow;
pub mod samples;

pub use fatigue::{FatigueModel, MODELS, Swing};
pub use qualification::{FieldPart, Plan, PlanInput, Reference, TestProfile, plan};
pub use rainflow::{Cycle, rainflow, rainflow_of_period};
