//! What the studies around one solution add to `summary.json`.

use serde::Serialize;
use sprayside_solver::results::{Junction, SteadyResult};
use sprayside_solver::study::sensitivity::Row;
use sprayside_solver::study::{Cost, ResistanceMatrix, Sensitivity, SuperpositionCheck};

use crate::figures::{celsius, figure};

/// What a study cost beside the solve.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it")]
pub struct StudyCost {
    pub linear_systems: usize,
    pub corrections: usize,
    pub iterations: usize,
}

impl StudyCost {
    fn of(cost: Cost) -> StudyCost {
        StudyCost {
            linear_systems: cost.systems,
            corrections: cost.corrections,
            iterations: cost.iterations,
        }
    }
}

/// The thermal resistance matrix: rows are junctions, columns where the watt goes.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct Resistances {
    pub names: Vec<String>,
    pub power_W: Vec<Option<f64>>,
    pub reference_max_C: Vec<Option<f64>>,
    pub reference_mean_C: Vec<Option<f64>>,
    pub max_K_W: Vec<Vec<Option<f64>>>,
    pub mean_K_W: Vec<Vec<Option<f64>>>,
    pub asymmetry_relative: Option<f64>,
    pub linear: bool,
    pub check_raised_by: Option<f64>,
    pub check_change_K: Option<f64>,
    pub check_error_K: Option<f64>,
    pub cost: StudyCost,
}

impl Resistances {
    /// The matrix as figures. The references are taken from the temperatures that `result`
    /// reports, so that reference and resistances add up to them.
    pub fn of(matrix: &ResistanceMatrix, result: &SteadyResult) -> Resistances {
        let references = |values: &ndarray::Array2<f64>, reported: fn(&Junction) -> f64| {
            let rows = values.rows();
            let heated = rows
                .into_iter()
                .map(|row| row.iter().zip(&matrix.power_W).map(|(r, p)| r * p).sum::<f64>());
            let junctions = result.junctions.iter();
            junctions.zip(heated).map(|(j, heat)| figure(celsius(reported(j) - heat))).collect()
        };
        let rows = |values: &ndarray::Array2<f64>| {
            values.rows().into_iter().map(|row| row.iter().map(|v| figure(*v)).collect()).collect()
        };
        let (linear, raised_by, change_K, error_K) = match matrix.check {
            SuperpositionCheck::Linear { error_K } => (true, None, None, error_K),
            SuperpositionCheck::Tangent { raised_by, change_K, error_K } => {
                (false, figure(raised_by), figure(change_K), error_K)
            }
        };
        Resistances {
            names: matrix.names.clone(),
            power_W: matrix.power_W.iter().map(|p| figure(*p)).collect(),
            reference_max_C: references(&matrix.max_K_W, |junction| junction.max_K),
            reference_mean_C: references(&matrix.mean_K_W, |junction| junction.mean_K),
            max_K_W: rows(&matrix.max_K_W),
            mean_K_W: rows(&matrix.mean_K_W),
            asymmetry_relative: matrix.asymmetry_relative.and_then(figure),
            linear,
            check_raised_by: raised_by,
            check_change_K: change_K,
            check_error_K: figure(error_K),
            cost: StudyCost::of(matrix.cost),
        }
    }
}

/// What one input does to every junction, K for a step of it.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct Gain {
    pub input: &'static str,
    pub of: String,
    pub value: Option<f64>,
    pub unit: &'static str,
    pub step: &'static str,
    pub max_K: Vec<Option<f64>>,
    pub mean_K: Vec<Option<f64>>,
}

/// What every input does to every junction.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct Gains {
    pub junctions: Vec<String>,
    pub map_of: String,
    pub inputs: Vec<Gain>,
    pub cost: StudyCost,
}

impl Gains {
    /// Sensitivities as figures.
    pub fn of(result: &Sensitivity) -> Gains {
        let n = result.junctions.len();
        let gain = |row: &Row| {
            let quantity = row.entry.parameter.quantity();
            Gain {
                input: quantity.word,
                of: row.entry.of.clone(),
                value: row.entry.value_in_unit().and_then(figure),
                unit: quantity.unit,
                step: quantity.step.words,
                max_K: (0..n).map(|k| figure(row.per_step(k).max)).collect(),
                mean_K: (0..n).map(|k| figure(row.per_step(k).mean)).collect(),
            }
        };
        Gains {
            junctions: result.junctions.clone(),
            map_of: result.junctions.get(result.chief).cloned().unwrap_or_default(),
            inputs: result.rows.iter().map(gain).collect(),
            cost: StudyCost::of(result.cost),
        }
    }
}
