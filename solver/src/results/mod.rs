//! What a solve tells: junctions, hot spots, heat balance, fields on the grid.

mod active_faces;
mod junctions;
mod peak;
mod sensors;
mod spray;
mod trust;

pub use active_faces::active_faces;
pub use junctions::{
    FaceDoubt, FaceStatistics, face_statistics, hot_spots, junctions, peak_weights, plane_field,
    sheet_fields, statistics_of_face,
};

pub use sensors::{SensorPoint, SensorReading, sensor_points, sensor_readings, sensor_rises};
pub(crate) use spray::correlated;
pub use spray::{BurntOut, ChfMargin, SprayResult, spray_result};
pub use trust::doubts;

use std::sync::Arc;

use ndarray::Array2;

/// Whether a junction keeps its limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// `junction_max + uncertainty <= limit`.
    Pass,
    /// The limit is broken, or kept only inside the uncertainty.
    Fail,
    /// No limit was stated.
    None,
}

impl Verdict {
    /// The word used in files: `pass`, `fail` or `none`.
    pub fn word(self) -> &'static str {
        match self {
            Verdict::Pass => "pass",
            Verdict::Fail => "fail",
            Verdict::None => "none",
        }
    }
}

/// One heat source: a die, or a heater.
#[derive(Debug, Clone)]
pub struct Junction {
    /// Name of the die or heater.
    pub name: String,
    /// Type of the die; `heater` for a heater.
    pub type_name: String,
    /// Power, W.
    pub power_W: f64,
    /// Power over footprint area, W/m².
    pub mean_flux_W_m2: f64,
    /// Highest, mean and lowest temperature of the active face, K.
    pub max_K: f64,
    /// Area mean, K.
    pub mean_K: f64,
    /// Lowest, K.
    pub min_K: f64,
    /// Estimated numerical error of `max_K`, K; the mean's is no larger.
    pub uncertainty_K: f64,
    /// Estimated numerical error of `mean_K`, K.
    pub mean_uncertainty_K: f64,
    /// Estimated numerical error of `min_K`, K: the minimum lies at a corner of the die, where
    /// grids converge slowest.
    pub min_uncertainty_K: f64,
    /// Limit, K.
    pub limit_K: Option<f64>,
    /// Where the highest temperature lies, m.
    pub hot_spot_m: [f64; 2],
    /// Heat that leaves through the die's own wet face (for a heater: through the spray-side
    /// surface above it), W.
    pub heat_to_spray_W: f64,
    /// Share of the wet face on which drops land, 0 to 1; `None` without nozzles.
    pub wetted_share: Option<f64>,
    /// Smallest local CHF over local heat flux; `None` without nozzles.
    pub chf_margin: Option<f64>,
    /// Where it is smallest, m.
    pub chf_at_m: Option<[f64; 2]>,
    /// Estimated numerical error of `chf_margin`.
    pub chf_margin_uncertainty: Option<f64>,
    /// Highest junction temperature with the spray at the favourable and unfavourable end of
    /// its band, K; `None` without correlations. The upper end is infinite where the source is
    /// burnt out there (or already as solved): what comes after burn-out is not modelled, only
    /// that it is hotter still.
    pub model_range_K: Option<[f64; 2]>,
}

impl Junction {
    /// `limit - max - uncertainty`, K.
    pub fn margin_K(&self) -> Option<f64> {
        self.limit_K.map(|limit| limit - self.max_K - self.uncertainty_K)
    }

    /// CHF margin minus its numerical uncertainty: what may be relied on.
    pub fn chf_margin_at_least(&self) -> Option<f64> {
        Some(self.chf_margin? - self.chf_margin_uncertainty.unwrap_or(0.0))
    }

    /// Pass, fail or none. A die beyond critical heat flux, or below it only within the
    /// uncertainty, fails, limit or not.
    pub fn verdict(&self) -> Verdict {
        if self.chf_margin_at_least().is_some_and(|margin| margin < 1.0) {
            return Verdict::Fail;
        }
        match self.margin_K() {
            None => Verdict::None,
            Some(margin) if margin >= 0.0 => Verdict::Pass,
            Some(_) => Verdict::Fail,
        }
    }
}

/// A local maximum of junction temperature on an active face.
#[derive(Debug, Clone)]
pub struct HotSpot {
    /// Die or heater.
    pub name: String,
    /// Temperature, K.
    pub temperature_K: f64,
    /// Position, m.
    pub at_m: [f64; 2],
    /// Heat released there per area, W/m².
    pub flux_W_m2: f64,
}

/// Where the heat goes.
#[derive(Debug, Clone, Copy, Default)]
pub struct HeatBalance {
    /// Released by all sources, W.
    pub in_W: f64,
    /// To the spray, W.
    pub to_spray_W: f64,
    /// To the board, W.
    pub to_board_W: f64,
    /// Through the side faces, W.
    pub to_edges_W: f64,
    /// What board and edges would take from a module as cold as the coolant, W: the scale of what
    /// rounding alone lets flow.
    pub exchange_W: f64,
}

impl HeatBalance {
    /// `|in - out|` relative to the larger of the heat in and the heat exchanged, or to a microwatt
    /// and a billionth of `exchange_W` where there is less: without power and with one temperature
    /// all around, rounding is all that flows.
    pub fn imbalance_relative(&self) -> f64 {
        let out = self.to_spray_W + self.to_board_W + self.to_edges_W;
        let scale = self
            .in_W
            .abs()
            .max(self.to_spray_W.abs())
            .max(self.to_board_W.abs())
            .max(self.to_edges_W.abs())
            .max(1e-9 * self.exchange_W)
            .max(1e-6);
        (self.in_W - out).abs() / scale
    }
}

/// A value a cell on the grid of the plane; NaN where there is none.
#[derive(Debug, Clone)]
pub struct PlaneField {
    /// Grid lines along x, m, ascending, `nx + 1` entries.
    pub x_lines_m: Arc<[f64]>,
    /// Grid lines along y, m, ascending, `ny + 1` entries.
    pub y_lines_m: Arc<[f64]>,
    /// Values, `[[j, i]]`, j = 0 the lowest row.
    pub values: Array2<f64>,
}

/// One sheet of the solution, for its map.
#[derive(Debug, Clone)]
pub struct SheetField {
    /// Layer name (`core`, `core-2` where a layer has several sheets; `attach`, `die` for the
    /// islands).
    pub name: String,
    /// Temperature, K.
    pub temperature_K: PlaneField,
}

/// Everything that one steady solve tells.
#[derive(Debug, Clone)]
pub struct SteadyResult {
    /// Die in case order, then heaters.
    pub junctions: Vec<Junction>,
    /// Hottest first.
    pub hot_spots: Vec<HotSpot>,
    /// Heat balance.
    pub balance: HeatBalance,
    /// Exposed spray-side surface, K.
    pub surface_K: PlaneField,
    /// Heat flux into the spray, W/m².
    pub spray_flux_W_m2: PlaneField,
    /// Spray coefficient, W/(m²·K).
    pub htc_W_m2K: PlaneField,
    /// Sheets from the board side up, then attach and die.
    pub sheets: Vec<SheetField>,
    /// The spray side when it is computed from nozzles.
    pub spray: Option<SprayResult>,
    /// Unknowns of the last grid.
    pub unknowns: usize,
    /// Linear iterations of the last solve.
    pub iterations: usize,
    /// Outer (nonlinear) iterations of the last solve; 1 when linear.
    pub outer_iterations: usize,
    /// True relative residual of the last solve.
    pub residual_relative: f64,
    /// What the user should know: assumptions that are strained.
    pub warnings: Vec<String>,
    /// One entry a refinement level, coarsest first.
    pub levels: Vec<RefinementLevel>,
}

/// One grid of the refinement, for the convergence record.
#[derive(Debug, Clone)]
pub struct RefinementLevel {
    /// Unknowns.
    pub unknowns: usize,
    /// Cells along x and y.
    pub cells: [usize; 2],
    /// Sheets in the substrate.
    pub sheets: usize,
    /// Linear iterations.
    pub iterations: usize,
    /// Highest junction temperature of each source, K.
    pub junction_max_K: Vec<f64>,
    /// Uncertainty of each, K; `None` before there is enough to compare.
    pub uncertainty_K: Option<Vec<f64>>,
    /// Largest share of plane, thickness and iteration in it, K.
    pub parts_K: Option<[f64; 3]>,
}

impl SteadyResult {
    /// Index of the hottest source.
    pub fn hottest(&self) -> Option<usize> {
        (0..self.junctions.len())
            .max_by(|&a, &b| self.junctions[a].max_K.total_cmp(&self.junctions[b].max_K))
    }

    /// `fail` if any source fails, `pass` if any passes and none fails, `none` otherwise.
    pub fn verdict(&self) -> Verdict {
        let verdicts: Vec<Verdict> = self.junctions.iter().map(Junction::verdict).collect();
        if verdicts.contains(&Verdict::Fail) {
            Verdict::Fail
        } else if verdicts.contains(&Verdict::Pass) {
            Verdict::Pass
        } else {
            Verdict::None
        }
    }
}
