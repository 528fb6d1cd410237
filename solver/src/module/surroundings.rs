//! What surrounds the module: liquid, spray, board, edges; and the mesh that was asked for.

use std::sync::Arc;

use super::{GridMap, Rect};
use crate::library::Fluid;

/// The liquid as it arrives.
#[derive(Debug, Clone)]
pub struct Coolant {
    /// Fluid; a prescribed spray can do without.
    pub fluid: Option<Arc<Fluid>>,
    /// Temperature at the nozzles, K.
    pub inlet_K: f64,
    /// Pressure in the spray chamber, Pa: sets the saturation temperature.
    pub pressure_Pa: f64,
}

/// How the spray side is described.
#[derive(Debug, Clone)]
pub enum Spray {
    /// A stated coefficient.
    Prescribed(PrescribedSpray),
    /// Computed from the nozzles.
    Correlated(CorrelatedSpray),
}

/// The coefficient where no patch lies.
#[derive(Debug, Clone)]
pub enum PrescribedHtc {
    /// The same everywhere, W/(m²·K).
    Uniform(f64),
    /// A grid of coefficients over the module, W/(m²·K).
    Map(GridMap),
}

/// A stated coefficient on a rectangle.
#[derive(Debug, Clone)]
pub struct HtcPatch {
    /// Where.
    pub rect: Rect,
    /// Coefficient, W/(m²·K).
    pub htc_W_m2K: f64,
}

/// Stated coefficients; later patches win where they overlap.
#[derive(Debug, Clone)]
pub struct PrescribedSpray {
    /// Under the patches.
    pub base: PrescribedHtc,
    /// In the order of the case file.
    pub patches: Vec<HtcPatch>,
}

/// One nozzle of the cap.
#[derive(Debug, Clone, PartialEq)]
pub struct Nozzle {
    /// Name, unique.
    pub name: String,
    /// Name of its type.
    pub type_name: String,
    /// Orifice position seen from above the module, m.
    pub at_m: [f64; 2],
    /// Orifice to sprayed surface along the surface normal, m.
    pub standoff_m: f64,
    /// Tilt of the axis about x and about y, rad.
    pub tilt_rad: [f64; 2],
    /// Full cone angle, rad.
    pub cone_rad: f64,
    /// Orifice diameter, m.
    pub orifice_m: f64,
    /// Flow, m³/s, when clean.
    pub flow_m3_s: f64,
    /// Pressure drop over the orifice, Pa.
    pub pressure_drop_Pa: f64,
    /// 1 when clean, 0 when blocked.
    pub flow_factor: f64,
}

/// A spray whose coefficient follows from its nozzles.
#[derive(Debug, Clone)]
pub struct CorrelatedSpray {
    /// All nozzles, groups expanded.
    pub nozzles: Vec<Nozzle>,
    /// Coefficient where no drop lands, W/(m²·K).
    pub unwetted_htc_W_m2K: f64,
    /// Highest exit quality allowed, 0 to 1.
    pub exit_quality_max: f64,
    /// Modules like this one fed by the loop.
    pub modules_in_system: usize,
    /// Temperature rise of the facility water that takes the heat, K.
    pub facility_water_rise_K: f64,
    /// Temperature rise of the room air that takes the heat, K.
    pub room_air_rise_K: f64,
}

/// The field of spring contacts between module and board.
#[derive(Debug, Clone)]
pub struct ContactField {
    /// Number of contacts.
    pub contacts: usize,
    /// Conductance of one contact, W/K.
    pub conductance_per_contact_W_K: f64,
    /// Force of one contact, N.
    pub force_per_contact_N: Option<f64>,
    /// Flatness that the contacts allow over the module, m.
    pub flatness_m: Option<f64>,
}

/// How the edges of a backing plate are held.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlateSupport {
    /// Free to turn.
    SimplySupported,
    /// Held against turning.
    Clamped,
}

/// A plate that carries the seating force.
#[derive(Debug, Clone)]
pub struct BackingPlate {
    /// Free span along x and y, m.
    pub span_m: [f64; 2],
    /// Thickness, m.
    pub thickness_m: f64,
    /// Elastic modulus, Pa.
    pub elastic_modulus_Pa: f64,
    /// Poisson's ratio.
    pub poisson: f64,
    /// Yield strength, Pa, if stated.
    pub yield_Pa: Option<f64>,
    /// Name of its material, for the record.
    pub material: String,
    /// Edge condition.
    pub support: PlateSupport,
}

/// The dry side.
#[derive(Debug, Clone)]
pub struct BoardSide {
    /// Temperature of the board, K.
    pub temperature_K: f64,
    /// Coefficient to the board, W/(m²·K); from the contacts where they are described.
    pub htc_W_m2K: f64,
    /// The contact field, if described.
    pub contacts: Option<ContactField>,
    /// The plate behind it, if described.
    pub backing_plate: Option<BackingPlate>,
}

/// The four side faces of the substrate.
#[derive(Debug, Clone, Copy)]
pub struct Edge {
    /// Coefficient, W/(m²·K); 0 is adiabatic.
    pub htc_W_m2K: f64,
    /// Temperature beyond the edges, K.
    pub temperature_K: f64,
}

/// What was asked of the mesh.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeshControl {
    /// Refine until every junction's uncertainty is below this, K; ignored with `cell_m`.
    pub accuracy_K: f64,
    /// A fixed largest cell size, m, with no refinement.
    pub cell_m: Option<f64>,
    /// Most unknowns allowed.
    pub max_cells: usize,
}
