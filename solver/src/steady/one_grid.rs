//! One solve on one mesh: linear at once, nonlinear by outer iterations.
//!
//! What makes the system nonlinear is the boiling curve on the wet side and conductivities that
//! depend on temperature. Each outer iteration linearises the wet side exactly (Newton) and takes
//! the conductivities at the last temperatures (successive substitution): the matrix stays
//! symmetric positive definite, and since k changes slowly with T the substitution contracts by a
//! factor of ten or more a step.

use super::{SteadyError, SteadyOptions};
use crate::conduction::assembly::assemble;
use crate::conduction::faces::{WetSide, wet_side};
use crate::conduction::{Network, SurfaceLaw};
use crate::linear::{CgParams, Preconditioned};
use crate::mesh::Mesh;
use crate::module::{Module, Spray};
use crate::spray::prescribed_law;

/// Most outer iterations.
const MAX_OUTER: usize = 60;

/// The temperatures of one mesh.
#[derive(Debug, Clone)]
pub struct GridSolution {
    /// The cells.
    pub mesh: Mesh,
    /// Rise of every unknown above the coolant inlet, K.
    pub rise_K: Vec<f64>,
    /// Conductivity factor of every unknown, if any varies.
    pub factors: Option<Vec<f64>>,
    /// The wet side.
    pub wet: WetSide,
    /// Linear iterations, all outer iterations together.
    pub iterations: usize,
    /// Outer iterations.
    pub outer_iterations: usize,
    /// Final residual of the nonlinear system relative to its right-hand side.
    pub residual_relative: f64,
}

fn norm(v: &[f64]) -> f64 {
    v.iter().map(|v| v * v).sum::<f64>().sqrt()
}

/// The flux law of `module`'s spray on the cells of `mesh`.
pub fn law_on(module: &Module, mesh: &Mesh) -> Result<Box<dyn SurfaceLaw>, SteadyError> {
    match &module.spray {
        Spray::Prescribed(spray) => Ok(Box::new(prescribed_law(spray, &mesh.plane))),
        Spray::Correlated(_) => Err(SteadyError::NoHeatSink),
    }
}

/// Solves `module` on `mesh`. `start` holds first guesses of the rises (K), if there are any.
///
/// # Errors
/// See [`SteadyError`].
pub fn solve_on_mesh(
    module: &Module,
    mesh: Mesh,
    start: Option<Vec<f64>>,
    options: &SteadyOptions,
) -> Result<GridSolution, SteadyError> {
    let law = law_on(module, &mesh)?;
    let network = Network::new(module, &mesh);
    let n = network.unknowns();
    let mut x = start.unwrap_or_else(|| vec![0.0; n]);
    let varies = network.conductivity_varies();
    let linear = law.is_linear() && !varies;
    let mut factors = varies.then(|| network.conductivity_factors(&x));
    let mut wet = wet_side(&network, factors.as_deref(), law.as_ref(), &x, None);
    let mut iterations = 0;
    let mut last_change_K = f64::INFINITY;
    let mut residual_before = f64::INFINITY;
    for outer in 1..=MAX_OUTER {
        let (operator, rhs) = assemble(&network, factors.as_deref(), &wet.tangent);
        let scale = norm(&rhs);
        if scale == 0.0 {
            // No heat and every surrounding at the inlet's temperature: nothing rises.
            x.fill(0.0);
            wet = wet_side(&network, factors.as_deref(), law.as_ref(), &x, None);
            drop(network);
            return Ok(GridSolution {
                mesh,
                rise_K: x,
                factors,
                wet,
                iterations,
                outer_iterations: outer,
                residual_relative: 0.0,
            });
        }
        let residual = norm(&operator.residual(&rhs, &x)) / scale;
        if !linear && residual <= options.relative_tolerance {
            drop(network);
            return Ok(GridSolution {
                mesh,
                rise_K: x,
                factors,
                wet,
                iterations,
                outer_iterations: outer - 1,
                residual_relative: residual,
            });
        }
        if !residual.is_finite() {
            break;
        }
        let relative_tolerance = if linear {
            options.relative_tolerance
        } else {
            // Solve each step a little better than the outer iteration can use.
            (0.02 * residual.min(residual_before)).clamp(0.3 * options.relative_tolerance, 1e-3)
        };
        residual_before = residual;
        let before = x.clone();
        let params = CgParams { relative_tolerance, ..CgParams::default() };
        let info = Preconditioned::new(&operator).solve(&rhs, &mut x, &params)?;
        iterations += info.iterations;
        last_change_K =
            x.iter().zip(&before).map(|(a, b)| (a - b).abs()).fold(0.0, |m: f64, d| m.max(d));
        if varies {
            factors = Some(network.conductivity_factors(&x));
        }
        wet = wet_side(&network, factors.as_deref(), law.as_ref(), &x, Some(&wet));
        if linear {
            drop(network);
            return Ok(GridSolution {
                mesh,
                rise_K: x,
                factors,
                wet,
                iterations,
                outer_iterations: outer,
                residual_relative: info.residual_relative,
            });
        }
    }
    Err(SteadyError::NotConverged {
        outer_iterations: MAX_OUTER,
        last_change_K,
        place: hottest_place(&network, &x),
    })
}

/// Names the hottest column, for messages.
fn hottest_place(network: &Network, x: &[f64]) -> String {
    let mut hottest = (f64::NEG_INFINITY, 0, 0);
    let plane = &network.mesh.plane;
    for j in 0..plane.ny() {
        for i in 0..plane.nx() {
            let rise = x[network.wet_top_unknown(i, j)];
            if rise > hottest.0 || rise.is_nan() {
                hottest = (rise, i, j);
            }
        }
    }
    let (_, i, j) = hottest;
    let [cx, cy] = plane.cell(i, j).centre_m();
    let die =
        network.module.die.iter().find(|d| {
            d.rect.x0_m <= cx && cx <= d.rect.x1_m && d.rect.y0_m <= cy && cy <= d.rect.y1_m
        });
    let place = die.map_or_else(|| "substrate".to_owned(), |d| format!("die {}", d.name));
    format!("hottest at x = {:.3} mm, y = {:.3} mm, {place}", cx * 1e3, cy * 1e3)
}
