//! `hot_spots.csv`: local maxima on the active faces, hottest first.

use serde::Serialize;
use sprayside_solver::results::HotSpot;

use crate::figures::{celsius, figure};

/// One row; the fields are the columns, in their order.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct HotSpotRow {
    pub die: String,
    pub junction_C: Option<f64>,
    pub x_mm: Option<f64>,
    pub y_mm: Option<f64>,
    pub flux_W_cm2: Option<f64>,
}

impl HotSpotRow {
    /// The columns.
    pub const HEADER: [&'static str; 5] = ["die", "junction_C", "x_mm", "y_mm", "flux_W_cm2"];

    /// The row of one hot spot.
    pub fn of(spot: &HotSpot) -> HotSpotRow {
        HotSpotRow {
            die: spot.name.clone(),
            junction_C: figure(celsius(spot.temperature_K)),
            x_mm: figure(spot.at_m[0] * 1e3),
            y_mm: figure(spot.at_m[1] * 1e3),
            flux_W_cm2: figure(spot.flux_W_m2 * 1e-4),
        }
    }
}
