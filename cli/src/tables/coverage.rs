//! `coverage.csv`: a row a die; `dry_patches.csv`: a row a dry patch, largest first.

use serde::Serialize;
use sprayside_solver::module::Die;
use sprayside_solver::spray::{DieCoverage, DieHeat, DryPatch};

use crate::figures::figure;

/// One die under the spray; the fields are the columns, in their order. `uniformity` is
/// Christiansen's: one minus the mean deviation of the volumetric flux over its mean.
/// `heater_mean_chf_W_cm2` is the die's critical heat flux as a whole, in the form in which
/// measurements are published. What follows `uniformity` is empty when nothing was solved.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct CoverageRow {
    pub die: String,
    #[serde(rename = "type")]
    pub type_name: String,
    pub power_W: Option<f64>,
    pub footprint_mm2: Option<f64>,
    pub wetted_pct: Option<f64>,
    pub flow_mL_s: Option<f64>,
    pub volumetric_flux_mean_m3_m2s: Option<f64>,
    pub volumetric_flux_min_m3_m2s: Option<f64>,
    pub volumetric_flux_max_m3_m2s: Option<f64>,
    pub uniformity: Option<f64>,
    pub mean_htc_W_m2K: Option<f64>,
    pub heat_flux_mean_W_cm2: Option<f64>,
    pub heat_flux_peak_W_cm2: Option<f64>,
    pub chf_margin: Option<f64>,
    pub chf_margin_x_mm: Option<f64>,
    pub chf_margin_y_mm: Option<f64>,
    pub burnt_out_mm2: Option<f64>,
    pub heater_mean_chf_W_cm2: Option<f64>,
}

impl CoverageRow {
    /// The columns.
    pub const HEADER: [&'static str; 18] = [
        "die",
        "type",
        "power_W",
        "footprint_mm2",
        "wetted_pct",
        "flow_mL_s",
        "volumetric_flux_mean_m3_m2s",
        "volumetric_flux_min_m3_m2s",
        "volumetric_flux_max_m3_m2s",
        "uniformity",
        "mean_htc_W_m2K",
        "heat_flux_mean_W_cm2",
        "heat_flux_peak_W_cm2",
        "chf_margin",
        "chf_margin_x_mm",
        "chf_margin_y_mm",
        "burnt_out_mm2",
        "heater_mean_chf_W_cm2",
    ];

    /// The row of one die.
    pub fn of(die: &Die, coverage: &DieCoverage, heat: Option<&DieHeat>) -> CoverageRow {
        let margin = heat.and_then(|heat| heat.critical_margin);
        CoverageRow {
            die: die.name.clone(),
            type_name: die.type_name.clone(),
            power_W: figure(die.power_W),
            footprint_mm2: figure(coverage.area_m2 * 1e6),
            wetted_pct: figure(coverage.wetted_share * 100.0),
            flow_mL_s: figure(coverage.flow_m3_s * 1e6),
            volumetric_flux_mean_m3_m2s: figure(coverage.mean_flux_m_s),
            volumetric_flux_min_m3_m2s: figure(coverage.min_flux_m_s),
            volumetric_flux_max_m3_m2s: figure(coverage.max_flux_m_s),
            uniformity: figure(coverage.uniformity),
            mean_htc_W_m2K: heat.and_then(|heat| figure(heat.mean_htc_W_m2K)),
            heat_flux_mean_W_cm2: heat.and_then(|heat| figure(heat.mean_flux_W_m2 * 1e-4)),
            heat_flux_peak_W_cm2: heat.and_then(|heat| figure(heat.peak_flux_W_m2 * 1e-4)),
            chf_margin: margin.and_then(|(value, _)| figure(value)),
            chf_margin_x_mm: margin.and_then(|(_, at)| figure(at[0] * 1e3)),
            chf_margin_y_mm: margin.and_then(|(_, at)| figure(at[1] * 1e3)),
            burnt_out_mm2: heat.and_then(|heat| figure(heat.burnt_out_m2 * 1e6)),
            heater_mean_chf_W_cm2: heat
                .and_then(|heat| figure(heat.heater_mean_critical_W_m2 * 1e-4)),
        }
    }
}

/// One part of a die on which nothing lands: its area, its centroid, and a rectangle around it.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct DryPatchRow {
    pub die: String,
    pub area_mm2: Option<f64>,
    pub x_mm: Option<f64>,
    pub y_mm: Option<f64>,
    pub left_mm: Option<f64>,
    pub lower_mm: Option<f64>,
    pub right_mm: Option<f64>,
    pub upper_mm: Option<f64>,
}

impl DryPatchRow {
    /// The columns.
    pub const HEADER: [&'static str; 8] =
        ["die", "area_mm2", "x_mm", "y_mm", "left_mm", "lower_mm", "right_mm", "upper_mm"];

    /// The row of one patch.
    pub fn of(patch: &DryPatch) -> DryPatchRow {
        let mm = |metres: f64| figure(metres * 1e3);
        DryPatchRow {
            die: patch.die.clone(),
            area_mm2: figure(patch.area_m2 * 1e6),
            x_mm: mm(patch.centroid_m[0]),
            y_mm: mm(patch.centroid_m[1]),
            left_mm: mm(patch.bounds.x0_m),
            lower_mm: mm(patch.bounds.y0_m),
            right_mm: mm(patch.bounds.x1_m),
            upper_mm: mm(patch.bounds.y1_m),
        }
    }
}
