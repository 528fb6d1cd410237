//! The board side of a summary: contacts, seating force, backing plate.

use serde::Serialize;
use sprayside_solver::seating::Seating;

use crate::figures::figure;

/// Said wherever the plate is.
pub const PLATE_NOTE: &str = "classical plate formula, not a structural analysis";

/// The field of spring contacts.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct ContactField {
    pub contacts: usize,
    pub htc_W_m2K: Option<f64>,
    pub force_N: Option<f64>,
    pub mean_pressure_kPa: Option<f64>,
    pub backing_plate: Option<Plate>,
}

/// The plate that carries the seating force.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct Plate {
    pub deflection_um: Option<f64>,
    pub stress_MPa: Option<f64>,
    pub yield_margin: Option<f64>,
    pub flatness_margin: Option<f64>,
    pub note: &'static str,
}

impl ContactField {
    /// The contact field in the units of the file.
    pub fn of(seating: &Seating) -> ContactField {
        ContactField {
            contacts: seating.contacts,
            htc_W_m2K: figure(seating.htc_W_m2K),
            force_N: seating.force_N.and_then(figure),
            mean_pressure_kPa: seating.mean_pressure_Pa.and_then(|pa| figure(pa * 1e-3)),
            backing_plate: seating.plate.map(|plate| Plate {
                deflection_um: figure(plate.deflection_m * 1e6),
                stress_MPa: figure(plate.stress_Pa * 1e-6),
                yield_margin: plate.yield_margin.and_then(figure),
                flatness_margin: plate.flatness_margin.and_then(figure),
                note: PLATE_NOTE,
            }),
        }
    }
}
