//! The step response of each source: how its junction rises with time for one watt switched on.
//!
//! Around an operating point (conductivities held, the spray by its tangent) the rise is
//!
//! ```text
//! x(t) = A^-1 (1 - exp(-t C^-1 A)) b
//! ```
//!
//! Instead of stepping, the system is projected on a few dozen vectors: `A^-1 b`, and
//! `(A + C/t_k)^-1 b` for times `t_k` spread evenly over the logarithm of time. These are the
//! responses smoothed over t_k, so that every part of the curve is near one of them (a rational
//! Krylov space). With V orthonormal in C, the small matrix `V^T A V = Q L Q^T` gives
//!
//! ```text
//! x(t) = V Q diag((1 - exp(-t L)) / L) Q^T V^T b
//! ```
//!
//! which is exact at infinite time and a sum of exponentials with real, positive rates throughout.
//! The same with every other t_k tells how well it is known. Source of the method: V. Druskin,
//! L. Knizhnerman, M. Zaslavsky, Solution of large scale evolutionary problems using rational Krylov
//! subspaces with optimized shifts, SIAM J. Sci. Comput. 31 (2009) 3760-3780 (from memory).

use rayon::prelude::*;

use super::conditions::System;
use super::stage::shift;
use super::{TransientError, TransientOptions};
use crate::conduction::assembly::assemble;
use crate::conduction::faces::{WetSide, source_rises, wet_side};
use crate::conduction::{Network, PrescribedLaw};
use crate::linear::{CgParams, Preconditioned};
use crate::mesh::Mesh;
use crate::module::{Cycle, Module};
use crate::results::{peak_weights, statistics_of_face};
use crate::steady::GridSolution;

/// Shortest time of the curve, s: below it heat has not left the first sheet.
const FIRST_S: f64 = 1e-5;
/// Ratio of neighbouring times that vectors are made for.
const POLE_RATIO: f64 = 2.5;
/// Points of the curve a decade.
const POINTS_PER_DECADE: usize = 10;
/// Vectors are made for times up to so many of the mean time constant.
const LAST_CONSTANTS: f64 = 8.0;
/// The curve ends where the mean is within this share of its end.
const ENDED: f64 = 5e-4;
/// The curve begins where the mean is so many times the drop across the half sheets at the face,
/// which a sheet takes on at once and a body only as heat enters it.
const RESOLVED: f64 = 2.0;
/// Most points of a curve.
const MOST_POINTS: usize = 160;
/// Responses made before the next ones are begun.
const AT_ONCE: usize = 8;
/// Relative accuracy of the linear solves.
const TOLERANCE: f64 = 1e-9;

/// The response of one source to one watt of its own.
#[derive(Debug, Clone)]
pub struct StepResponse {
    /// Die in case order, then heaters.
    pub source: usize,
    /// Times, s, evenly spread on a logarithmic axis, from where the sheets resolve the rise.
    pub time_s: Vec<f64>,
    /// Rise of the point that is hottest in the end, K/W.
    pub max_K_W: Vec<f64>,
    /// Rise of the mean, K/W.
    pub mean_K_W: Vec<f64>,
    /// Rise of the mean at infinite time, K/W.
    pub final_mean_K_W: f64,
    /// Rise of the hottest point at infinite time, K/W.
    pub final_max_K_W: f64,
    /// Largest numerical doubt of the mean curve, K/W: that of the projection.
    pub doubt_K_W: f64,
}

/// Step responses of `sources` around the state `at`. `heard` is told how many are done.
///
/// # Errors
/// See [`TransientError`].
pub fn step_responses(
    module: &Module,
    cycle: &Cycle,
    mesh: &Mesh,
    sources: &[usize],
    heard: &mut dyn FnMut(usize, usize),
) -> Result<Vec<StepResponse>, TransientError> {
    let system = System::new(module, mesh, cycle, TransientOptions::default())?;
    let at = system.steady(&|signal| signal.mean()).map_err(TransientError::Start)?;
    let capacity = &system.capacity_J_K;
    let still = without_sources(module);
    let network = Network::new(&still, mesh);
    let law = PrescribedLaw {
        htc_W_m2K: at.wet.tangent.iter().map(|tangent| tangent.slope_W_m2K).collect(),
    };
    let mut responses = Vec::new();
    // One source a task: alone its solves are too short to share out.
    for some in sources.chunks(AT_ONCE) {
        let found: Result<Vec<StepResponse>, TransientError> = some
            .par_iter()
            .map(|&source| {
                let mut network = network.clone();
                let mut powers = vec![0.0; network.sources.len()];
                powers[source] = 1.0;
                network.set_powers(&system.shapes_W(), &powers);
                One { network: &network, law: &law, at: &at, capacity, source }.response()
            })
            .collect();
        responses.extend(found?);
        heard(responses.len(), sources.len());
    }
    Ok(responses)
}

/// The module with nothing that drives it: surroundings at the inlet, no power.
fn without_sources(module: &Module) -> Module {
    let mut still = module.clone();
    still.board.temperature_K = still.coolant.inlet_K;
    still.edge.temperature_K = still.coolant.inlet_K;
    still
}

struct One<'a> {
    network: &'a Network<'a>,
    law: &'a PrescribedLaw,
    at: &'a GridSolution,
    capacity: &'a [f64],
    source: usize,
}

/// A projection: rates, and for each of them the field on the face that goes with it.
struct Modes {
    rates_1_s: Vec<f64>,
    /// Rise of every cell of the face at infinite time, one list a mode.
    faces: Vec<Vec<f64>>,
}

impl One<'_> {
    fn response(&self) -> Result<StepResponse, TransientError> {
        let factors = self.at.factors.as_deref();
        let zeros = vec![0.0; self.capacity.len()];
        let wet = wet_side(self.network, factors, self.law, &zeros, None);
        let (operator, watt) = assemble(self.network, factors, &wet.tangent);
        let stuck = |step_s: f64| TransientError::Stuck { time_s: 0.0, step_s };
        let params = CgParams { relative_tolerance: TOLERANCE, ..CgParams::default() };
        // No two of these matrices are alike: none has a use for the preconditioner of another.
        let solve = |step_s: f64| -> Result<Vec<f64>, TransientError> {
            let mut shifted = operator.clone();
            shift(&mut shifted, self.capacity, step_s);
            let mut x = vec![0.0; watt.len()];
            let solved = Preconditioned::new(&shifted).solve(&watt, &mut x, &params);
            solved.map(|_| x).map_err(|_| stuck(step_s))
        };
        let steady = solve(f64::INFINITY)?;
        // Heat stored at the end over the watt that flows: a mean of the time constants.
        let stored = |x: &[f64]| x.iter().zip(self.capacity).map(|(x, c)| x * c).sum::<f64>();
        let mean_s = stored(&steady).max(FIRST_S);
        let last_s = LAST_CONSTANTS * mean_s;
        let poles = ((last_s / FIRST_S).ln() / POLE_RATIO.ln()).ceil().max(2.0) as usize;
        let mut vectors = vec![steady];
        for k in 0..=poles {
            vectors.push(solve(FIRST_S * POLE_RATIO.powi(k as i32))?);
        }
        let apply =
            |x: &[f64]| -> Vec<f64> { operator.residual(&zeros, x).iter().map(|r| -r).collect() };
        let at_once = self.face(&zeros, 1.0);
        let coarser: Vec<&Vec<f64>> =
            vectors.iter().take(1).chain(vectors.iter().skip(1).step_by(2)).collect();
        let all: Vec<&Vec<f64>> = vectors.iter().collect();
        let modes = self.modes(&all, &apply, &watt);
        let fewer = self.modes(&coarser, &apply, &watt);

        let mut response = StepResponse {
            source: self.source,
            time_s: Vec::new(),
            max_K_W: Vec::new(),
            mean_K_W: Vec::new(),
            final_mean_K_W: 0.0,
            final_max_K_W: 0.0,
            doubt_K_W: 0.0,
        };
        let source = &self.network.sources[self.source];
        let face_at = |modes: &Modes, time_s: f64| {
            let mut face = at_once.clone();
            for (rate, mode) in modes.rates_1_s.iter().zip(&modes.faces) {
                let share = -(-rate * time_s).exp_m1();
                for (face, mode) in face.iter_mut().zip(mode) {
                    *face += share * mode;
                }
            }
            face
        };
        let last_face = face_at(&modes, f64::INFINITY);
        let last = statistics_of_face(self.network, source, &last_face);
        // One point for all times: where the face is hottest in the end.
        let weights = peak_weights(self.network, source, &last);
        let hottest =
            |face: &[f64]| face.iter().zip(&weights).map(|(rise, w)| rise * w).sum::<f64>();
        let mean_of = |face: &[f64]| statistics_of_face(self.network, source, face).mean_K;
        let first_mean = mean_of(&at_once);
        response.final_mean_K_W = last.mean_K;
        response.final_max_K_W = hottest(&last_face);
        for k in 0..MOST_POINTS {
            let time_s = FIRST_S * 10f64.powf(k as f64 / POINTS_PER_DECADE as f64);
            let face = face_at(&modes, time_s);
            let mean = mean_of(&face);
            // Before, heat has not yet filled the sheets next to the face, and the curve is theirs.
            if mean < RESOLVED * first_mean {
                continue;
            }
            response.time_s.push(time_s);
            response.max_K_W.push(hottest(&face));
            response.mean_K_W.push(mean);
            let other = mean_of(&face_at(&fewer, time_s));
            response.doubt_K_W = response.doubt_K_W.max((other - mean).abs());
            if last.mean_K - mean <= ENDED * last.mean_K {
                break;
            }
        }
        Ok(response)
    }

    /// Rises of the source's face for cell rises `x` with `watts` released on it, linearised.
    fn face(&self, x: &[f64], watts: f64) -> Vec<f64> {
        let factors = self.at.factors.as_deref();
        let rises = |x: &[f64]| -> Vec<f64> {
            let wet: WetSide = wet_side(self.network, factors, self.law, x, None);
            source_rises(self.network, factors, &self.network.sources[self.source], x, &wet)
        };
        // The network releases one watt: with none the watt's own share is taken off.
        let zeros = vec![0.0; x.len()];
        let own = rises(&zeros);
        rises(x).iter().zip(&own).map(|(all, own)| all + (watts - 1.0) * own).collect()
    }

    fn modes(
        &self,
        vectors: &[&Vec<f64>],
        apply: &dyn Fn(&[f64]) -> Vec<f64>,
        watt: &[f64],
    ) -> Modes {
        let weighed = |a: &[f64], b: &[f64]| -> f64 {
            (0..a.len()).map(|k| a[k] * self.capacity[k] * b[k]).sum()
        };
        let mut basis: Vec<Vec<f64>> = Vec::new();
        for vector in vectors {
            let mut v = (*vector).clone();
            let before = weighed(&v, &v).sqrt();
            // Twice, for the vectors are nearly parallel.
            for _ in 0..2 {
                for b in &basis {
                    let share = weighed(b, &v);
                    v.iter_mut().zip(b).for_each(|(v, b)| *v -= share * b);
                }
            }
            let size = weighed(&v, &v).sqrt();
            // What is left below this is rounding of the solves.
            if size > 1e-7 * before {
                v.iter_mut().for_each(|v| *v /= size);
                basis.push(v);
            }
        }
        let m = basis.len();
        let mut small = vec![vec![0.0; m]; m];
        for i in 0..m {
            let image = apply(&basis[i]);
            for j in 0..=i {
                let product: f64 = image.iter().zip(&basis[j]).map(|(a, b)| a * b).sum();
                small[i][j] = product;
                small[j][i] = product;
            }
        }
        let (rates_1_s, turns) = eigen(small);
        let load: Vec<f64> =
            basis.iter().map(|b| b.iter().zip(watt).map(|(b, w)| b * w).sum()).collect();
        let faces: Vec<Vec<f64>> = basis.iter().map(|b| self.face(b, 0.0)).collect();
        let modes = (0..m)
            .map(|k| {
                let amount: f64 = (0..m).map(|i| turns[i][k] * load[i]).sum::<f64>() / rates_1_s[k];
                (0..faces[0].len())
                    .map(|c| amount * (0..m).map(|i| turns[i][k] * faces[i][c]).sum::<f64>())
                    .collect()
            })
            .collect();
        Modes { rates_1_s, faces: modes }
    }
}

/// Eigenvalues and eigenvectors (columns) of a small symmetric matrix by Jacobi's rotations.
///
/// Source: G. H. Golub, C. F. Van Loan, Matrix Computations, 4th ed., section 8.5 (from memory).
fn eigen(mut a: Vec<Vec<f64>>) -> (Vec<f64>, Vec<Vec<f64>>) {
    let n = a.len();
    let mut v: Vec<Vec<f64>> =
        (0..n).map(|i| (0..n).map(|j| if i == j { 1.0 } else { 0.0 }).collect()).collect();
    for _ in 0..60 {
        let mut turned = false;
        for p in 0..n {
            for q in p + 1..n {
                // Relative to its own diagonal: small eigenvalues matter as much as large ones.
                if a[p][q].abs() <= 1e-15 * (a[p][p] * a[q][q]).abs().sqrt() {
                    continue;
                }
                turned = true;
                let theta = (a[q][q] - a[p][p]) / (2.0 * a[p][q]);
                let t = theta.signum() / (theta.abs() + theta.hypot(1.0));
                let c = 1.0 / t.hypot(1.0);
                let s = t * c;
                for row in a.iter_mut() {
                    let (x, y) = (row[p], row[q]);
                    (row[p], row[q]) = (c * x - s * y, s * x + c * y);
                }
                for k in 0..n {
                    let (x, y) = (a[p][k], a[q][k]);
                    (a[p][k], a[q][k]) = (c * x - s * y, s * x + c * y);
                }
                for row in v.iter_mut() {
                    let (x, y) = (row[p], row[q]);
                    (row[p], row[q]) = (c * x - s * y, s * x + c * y);
                }
            }
        }
        if !turned {
            break;
        }
    }
    ((0..n).map(|k| a[k][k]).collect(), v)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn eigenvalues_of_a_chain_are_those_of_the_closed_form() {
        // 2 on the diagonal, -1 beside it: 2 - 2 cos(k pi / (n + 1)).
        let n = 7;
        let a: Vec<Vec<f64>> = (0..n)
            .map(|i| {
                (0..n)
                    .map(|j: usize| match i.abs_diff(j) {
                        0 => 2.0,
                        1 => -1.0,
                        _ => 0.0,
                    })
                    .collect()
            })
            .collect();
        let (mut values, vectors) = eigen(a.clone());
        for k in 0..n {
            for i in 0..n {
                let image: f64 = (0..n).map(|j| a[i][j] * vectors[j][k]).sum();
                assert!((image - values[k] * vectors[i][k]).abs() < 1e-13);
            }
        }
        values.sort_by(f64::total_cmp);
        for (k, value) in values.iter().enumerate() {
            let angle = (k + 1) as f64 * std::f64::consts::PI / (n + 1) as f64;
            assert!((value - (2.0 - 2.0 * angle.cos())).abs() < 1e-13);
        }
    }
}
