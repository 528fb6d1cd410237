//! `convergence.csv`: a row a grid and junction.

use serde::Serialize;
use sprayside_solver::results::SteadyResult;

use crate::figures::{celsius, figure};

/// One row; the fields are the columns, in their order.
#[derive(Debug, Clone, Serialize)]
#[allow(
    missing_docs,
    reason = "the names say it, with their units; they are explained in solve --help"
)]
pub struct LevelRow {
    pub grid: usize,
    pub unknowns: usize,
    pub cells_x: usize,
    pub cells_y: usize,
    pub sheets: usize,
    pub iterations: usize,
    pub die: String,
    pub junction_max_C: Option<f64>,
    pub uncertainty_K: Option<f64>,
    pub distance_K: Option<f64>,
}

impl LevelRow {
    /// The columns.
    pub const HEADER: [&'static str; 10] = [
        "grid",
        "unknowns",
        "cells_x",
        "cells_y",
        "sheets",
        "iterations",
        "die",
        "junction_max_C",
        "uncertainty_K",
        "distance_K",
    ];

    /// The rows of a result, grids in the order in which they were solved.
    pub fn all(result: &SteadyResult) -> Vec<LevelRow> {
        let of_level = |(grid, level): (usize, &sprayside_solver::results::RefinementLevel)| {
            let junctions = result.junctions.iter().zip(&level.junction_max_K).enumerate();
            junctions
                .map(|(k, (junction, max_K))| LevelRow {
                    grid: grid + 1,
                    unknowns: level.unknowns,
                    cells_x: level.cells[0],
                    cells_y: level.cells[1],
                    sheets: level.sheets,
                    iterations: level.iterations,
                    die: junction.name.clone(),
                    junction_max_C: figure(celsius(*max_K)),
                    uncertainty_K: level.uncertainty_K.as_ref().and_then(|u| figure(u[k])),
                    distance_K: figure((max_K - junction.max_K).abs()),
                })
                .collect::<Vec<_>>()
        };
        result.levels.iter().enumerate().flat_map(of_level).collect()
    }
}
