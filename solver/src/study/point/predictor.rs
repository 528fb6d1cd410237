//! A first guess of every point, to first order in what deviates.
//!
//! The module one unit away in each direction is solved once; with t_d the change of the rises that
//! comes of it, a point that deviates by z_d starts from
//!
//! ```text
//! x = x_nominal + sum of z_d t_d
//! ```
//!
//! Where powers and temperatures of a linear module deviate this is its solution by superposition,
//! which the solve only confirms. Elsewhere it is off by what is not linear. The directions follow
//! from the study alone, never from what of it is wanted: the bytes of a point do not depend on
//! where or when it is solved.

use std::sync::Mutex;

use super::{Lent, Nominal};
use crate::steady::SteadyOptions;
use crate::study::points::{Crew, LARGE, Points};

/// Points for each direction from which on its solve is worth while.
const POINTS_A_DIRECTION: usize = 4;
/// Directions kept at most, 4 bytes an unknown each: together less than two solves.
const MOST_DIRECTIONS: usize = 100;
/// Residual of the solves in the directions: many of them add up in one point.
const DIRECTION_TOLERANCE: f64 = 1e-10;

/// What each direction does to the rises.
pub(in super::super) struct Predictor<'a> {
    nominal_K: &'a [f64],
    /// K a unit; empty where there is no steady state.
    tangents: Vec<Vec<f32>>,
}

impl<'a> Predictor<'a> {
    /// `None` where the points have no directions, or too few points for them, or are large.
    pub fn new(nominal: &'a Nominal, points: &dyn Points, crew: &Crew) -> Option<Predictor<'a>> {
        let all = points.directions();
        if all == 0 || points.count() < POINTS_A_DIRECTION * all || nominal.unknowns() >= LARGE {
            return None;
        }
        let directions: Vec<usize> = (0..all.min(MOST_DIRECTIONS)).collect();
        let nominal_K = &nominal.solution.rise_K[..];
        let tangents = Mutex::new(vec![Vec::new(); directions.len()]);
        crew.each(&directions, &|lent, &d| {
            let tangent = tangent(nominal, points, d, lent);
            if let (Some(tangent), Ok(mut tangents)) = (tangent, tangents.lock()) {
                tangents[d] = tangent;
            }
            true
        });
        Some(Predictor { nominal_K, tangents: tangents.into_inner().ok()? })
    }

    /// The guess for a point that deviates so, K.
    pub fn guess(&self, deviation: &[f64]) -> Vec<f64> {
        let mut rises = self.nominal_K.to_vec();
        for (tangent, &z) in self.tangents.iter().zip(deviation) {
            for (rise, t) in rises.iter_mut().zip(tangent) {
                *rise += z * f64::from(*t);
            }
        }
        rises
    }
}

/// What a unit in one direction does.
fn tangent(
    nominal: &Nominal,
    points: &dyn Points,
    direction: usize,
    lent: &mut Lent,
) -> Option<Vec<f32>> {
    let module = points.in_direction(direction)?;
    if !module.has_heat_sink() || !nominal.has_place_for(&module) {
        return None;
    }
    let options =
        SteadyOptions { relative_tolerance: DIRECTION_TOLERANCE, ..nominal.options.clone() };
    let moved = nominal.on_mesh_with(&module, None, lent, &options).ok()?;
    let change = moved.rise_K.iter().zip(&nominal.solution.rise_K);
    Some(change.map(|(moved, home)| (moved - home) as f32).collect())
}
