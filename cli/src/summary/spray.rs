//! The spray side of a summary: liquid budget, correlations, burn-out.

use serde::Serialize;
use sprayside_solver::module::CorrelatedSpray;
use sprayside_solver::results::BurntOut;
use sprayside_solver::spray::{CorrelationNote, LiquidBudget};

use crate::figures::{celsius, figure};

/// What the loop must carry.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct Budget {
    pub heat_W: Option<f64>,
    pub flow_mL_s: Option<f64>,
    pub mass_flow_g_s: Option<f64>,
    pub landed_pct: Option<f64>,
    pub on_die_pct: Option<f64>,
    pub sensible_W: Option<f64>,
    pub latent_W: Option<f64>,
    pub excess_W: Option<f64>,
    pub exit_quality: Option<f64>,
    pub exit_quality_max: Option<f64>,
    pub outlet_C: Option<f64>,
    pub vapour_flow_mL_s: Option<f64>,
    pub liquid_return_mL_s: Option<f64>,
    pub volume_ratio: Option<f64>,
    pub void_fraction: Option<f64>,
    pub least_flow_mL_s: Option<f64>,
    pub oversupply: Option<f64>,
    pub single_phase_flow_mL_s: Option<f64>,
    pub pumping_W: Option<f64>,
    pub modules_in_system: usize,
    pub system_flow_L_min: Option<f64>,
    pub system_heat_W: Option<f64>,
    pub facility_water_rise_K: Option<f64>,
    pub facility_water_L_min: Option<f64>,
    pub room_air_rise_K: Option<f64>,
    pub room_air_m3_s: Option<f64>,
}

impl Budget {
    /// The budget in the units of the file.
    pub fn of(budget: &LiquidBudget, spray: &CorrelatedSpray) -> Budget {
        let millilitres = |m3_s: f64| figure(m3_s * 1e6);
        let litres_a_minute = |m3_s: f64| figure(m3_s * 60e3);
        Budget {
            heat_W: figure(budget.heat_W),
            flow_mL_s: millilitres(budget.flow_m3_s),
            mass_flow_g_s: figure(budget.mass_flow_kg_s * 1e3),
            landed_pct: figure(budget.landed_share * 100.0),
            on_die_pct: figure(budget.on_die_share * 100.0),
            sensible_W: figure(budget.sensible_W),
            latent_W: figure(budget.latent_W),
            excess_W: figure(budget.excess_W),
            exit_quality: figure(budget.exit_quality),
            exit_quality_max: figure(budget.exit_quality_max),
            outlet_C: figure(celsius(budget.outlet_K)),
            vapour_flow_mL_s: millilitres(budget.vapour_flow_m3_s),
            liquid_return_mL_s: millilitres(budget.liquid_return_m3_s),
            volume_ratio: figure(budget.volume_ratio),
            void_fraction: figure(budget.void_fraction),
            least_flow_mL_s: millilitres(budget.least_flow_m3_s),
            oversupply: figure(budget.oversupply),
            single_phase_flow_mL_s: budget.single_phase_flow_m3_s.and_then(millilitres),
            pumping_W: figure(budget.pumping_W),
            modules_in_system: budget.modules_in_system,
            system_flow_L_min: litres_a_minute(budget.system_flow_m3_s),
            system_heat_W: figure(budget.system_heat_W),
            facility_water_rise_K: figure(spray.facility_water_rise_K),
            facility_water_L_min: litres_a_minute(budget.facility_water_m3_s),
            room_air_rise_K: figure(spray.room_air_rise_K),
            room_air_m3_s: figure(budget.room_air_m3_s),
        }
    }
}

/// A correlation as it was used.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct Correlation {
    pub name: &'static str,
    pub source: &'static str,
    pub status: &'static str,
    pub range: &'static str,
    pub in_range: bool,
    pub band_low: Option<f64>,
    pub band_high: Option<f64>,
    pub remark: String,
}

impl Correlation {
    /// The record of one correlation.
    pub fn of(note: &CorrelationNote) -> Correlation {
        Correlation {
            name: note.name,
            source: note.source,
            status: note.status.words(),
            range: note.range,
            in_range: note.in_range,
            band_low: figure(note.band[0]),
            band_high: figure(note.band[1]),
            remark: note.remark.clone(),
        }
    }
}

/// A place beyond critical heat flux.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct BurntOutPlace {
    pub die: String,
    pub area_mm2: Option<f64>,
    pub chf_margin: Option<f64>,
    pub x_mm: Option<f64>,
    pub y_mm: Option<f64>,
}

impl BurntOutPlace {
    /// The record of one place.
    pub fn of(place: &BurntOut) -> BurntOutPlace {
        BurntOutPlace {
            die: place.name.clone(),
            area_mm2: figure(place.area_m2 * 1e6),
            chf_margin: figure(place.margin),
            x_mm: figure(place.at_m[0] * 1e3),
            y_mm: figure(place.at_m[1] * 1e3),
        }
    }
}
