//! One point of a study: a changed module, solved on the mesh of the nominal one.
//!
//! # What a point tells
//!
//! `solve` ends with a correction for what its last mesh still misses. A point is solved on that
//! last mesh, and only its *change* there is taken:
//!
//! ```text
//! T_point = T_nominal, as solve reports it + (T_point - T_nominal) on the mesh
//! ```
//!
//! so the nominal point is the answer of `solve` to the last bit, and the temperatures of a point
//! on the mesh ([`PointJunction::on_mesh_K`]) are those of a solve of the changed module there. The
//! uncertainty of a point is the nominal one, grown with the rise, and what the correction itself
//! would have changed:
//!
//! ```text
//! u_point = u_nominal max(1, q) + |T_nominal - T_nominal on the mesh| |q - 1| + iteration
//! ```
//!
//! with q the rise above the coolant's inlet, or the source's own power where that changed more,
//! over the nominal one: under a boiling spray the rise hardly follows the power, the temperature
//! differences inside the die do. Margins to burn-out are the nominal ones times the ratio on the
//! mesh.
//!
//! A point whose outlines (die, blocks, heaters, patches, layers) are not those of the nominal
//! module has no place on that mesh. It is solved like a case of its own.
//!
//! Every point starts from the nominal temperatures, or from a guess that the study as a whole
//! makes (`predictor`), and the nominal preconditioner, never from another point: its bytes do not
//! depend on which points were solved before it, or where.

mod outlines;
mod predictor;
mod solved;
#[cfg(test)]
mod tests;

pub use solved::{PointJunction, SolvedPoint};

pub(super) use predictor::Predictor;

use outlines::{Outlines, slicing_of};

use crate::conduction::Network;
use crate::conduction::assembly::assemble;
use crate::linear::{Detached, Preconditioned};
use crate::mesh::{Mesh, Slicing};
use crate::module::{Module, Spray};
use crate::results::{
    FaceDoubt, Junction, SprayResult, SteadyResult, correlated, face_statistics, junctions,
};
use crate::steady::{GridSolution, SteadyError, SteadyOptions, WetLaw, solve, solve_lent};

/// Residual at which a point is solved, relative to the right-hand side.
pub const POINT_TOLERANCE: f64 = 1e-8;

/// A thousandfold allowance over the relative residual covers any temperature, as in `solve`.
const RESIDUAL_ALLOWANCE: f64 = 1e3;

/// A point, or why it has no steady state.
pub type PointOutcome = Result<SolvedPoint, String>;

/// What all points of a study start from.
pub struct Nominal<'a> {
    /// The module.
    pub module: &'a Module,
    /// The answer of `solve`.
    pub result: &'a SteadyResult,
    /// Its solution on the last mesh.
    pub solution: &'a GridSolution,
    slicing: Slicing,
    outlines: Outlines,
    options: SteadyOptions,
    /// The nominal module as a point.
    reference: Vec<Reference>,
    least_reference: Option<f64>,
}

/// A junction of the nominal module on the mesh.
#[derive(Debug, Clone, Copy)]
struct Reference {
    max_K: f64,
    mean_K: f64,
    chf_margin: Option<f64>,
}

/// `nominal` grown as `here` grew over `reference`; exactly `nominal` where nothing changed.
fn scaled(nominal: Option<f64>, here: Option<f64>, reference: Option<f64>) -> Option<f64> {
    match (nominal, here, reference) {
        (Some(nominal), Some(here), Some(reference)) => Some(nominal * (here / reference)),
        _ => here,
    }
}

/// How far `here` lies above `reference`, as a factor of at least 1.
fn grown(here: Option<f64>, reference: Option<f64>) -> f64 {
    here.zip(reference).map_or(1.0, |(here, reference)| (here / reference).max(1.0))
}

impl<'a> Nominal<'a> {
    /// Makes a solved module ready for points around it.
    ///
    /// # Errors
    /// See [`SteadyError`].
    pub fn new(
        module: &'a Module,
        result: &'a SteadyResult,
        solution: &'a GridSolution,
    ) -> Result<Nominal<'a>, SteadyError> {
        let mut nominal = Nominal {
            module,
            result,
            solution,
            slicing: slicing_of(module, &solution.mesh),
            outlines: Outlines::of(module),
            options: SteadyOptions {
                relative_tolerance: POINT_TOLERANCE,
                ..SteadyOptions::default()
            },
            reference: Vec::new(),
            least_reference: None,
        };
        let mut lent = Lent::default();
        let own = nominal.on_mesh(module, None, &mut lent)?;
        let reference =
            |j: &Junction| Reference { max_K: j.max_K, mean_K: j.mean_K, chf_margin: j.chf_margin };
        nominal.reference = nominal.readings(module, &own).iter().map(reference).collect();
        nominal.least_reference = least_chf_margin(&own);
        Ok(nominal)
    }

    /// Unknowns of the mesh.
    pub fn unknowns(&self) -> usize {
        self.solution.mesh.unknowns()
    }

    /// Whether `module` is solved on the nominal mesh.
    pub fn has_place_for(&self, module: &Module) -> bool {
        Outlines::of(module).same(&self.outlines)
    }

    /// Solves `module`. `start` holds a first guess of the rises on the nominal mesh, K; without
    /// one the nominal rises are taken.
    ///
    /// # Errors
    /// See [`SteadyError`].
    pub fn point(
        &self,
        module: &Module,
        start: Option<Vec<f64>>,
        lent: &mut Lent,
    ) -> Result<SolvedPoint, SteadyError> {
        if !module.has_heat_sink() {
            return Err(SteadyError::NoHeatSink);
        }
        if !self.has_place_for(module) {
            return own_solve(module);
        }
        let solution = self.on_mesh(module, start, lent)?;
        let readings = self.readings(module, &solution);
        let inlet_K = module.coolant.inlet_K;
        let hottest_K = readings.iter().map(|j| (j.max_K - inlet_K).abs()).fold(0.0, f64::max);
        let iteration_K = RESIDUAL_ALLOWANCE * solution.residual_relative * hottest_K;
        let points = readings.iter().zip(&self.result.junctions).zip(&self.reference);
        let junctions = points
            .map(|((here, nominal), reference)| {
                let finite = |q: f64| if q.is_finite() { q.abs() } else { 1.0 };
                let nominal_rise = reference.max_K - self.module.coolant.inlet_K;
                let of_rise = finite((here.max_K - inlet_K) / nominal_rise);
                let of_power = finite(here.power_W / nominal.power_W);
                let changed = (of_rise - 1.0).abs().max((of_power - 1.0).abs());
                let correction = (nominal.max_K - reference.max_K)
                    .abs()
                    .max((nominal.mean_K - reference.mean_K).abs());
                PointJunction {
                    max_K: nominal.max_K + (here.max_K - reference.max_K),
                    mean_K: nominal.mean_K + (here.mean_K - reference.mean_K),
                    on_mesh_K: here.max_K,
                    uncertainty_K: nominal.uncertainty_K * of_rise.max(of_power).max(1.0)
                        + correction * changed
                        + iteration_K,
                    limit_K: here.limit_K,
                    wetted_share: here.wetted_share,
                    chf_margin: scaled(nominal.chf_margin, here.chf_margin, reference.chf_margin),
                    chf_margin_uncertainty: here
                        .chf_margin
                        .and(nominal.chf_margin_uncertainty)
                        .map(|uncertainty| {
                            uncertainty * grown(here.chf_margin, reference.chf_margin)
                        }),
                }
            })
            .collect();
        let least = self.result.spray.as_ref().and_then(least_of_result);
        let least_chf_margin = scaled(least, least_chf_margin(&solution), self.least_reference);
        Ok(SolvedPoint {
            junctions,
            least_chf_margin,
            flow_m3_s: flow_m3_s(module),
            iterations: solution.iterations,
            residual_relative: solution.residual_relative,
        })
    }

    /// Solves `module`, which has a place on the mesh, there.
    ///
    /// # Errors
    /// See [`SteadyError`].
    pub fn on_mesh(
        &self,
        module: &Module,
        start: Option<Vec<f64>>,
        lent: &mut Lent,
    ) -> Result<GridSolution, SteadyError> {
        self.on_mesh_with(module, start, lent, &self.options)
    }

    fn on_mesh_with(
        &self,
        module: &Module,
        start: Option<Vec<f64>>,
        lent: &mut Lent,
        options: &SteadyOptions,
    ) -> Result<GridSolution, SteadyError> {
        let mesh = Mesh::new(module, self.solution.mesh.plane.clone(), &self.slicing);
        let law = self.law(module)?;
        let start = start.unwrap_or_else(|| self.solution.rise_K.clone());
        let prepared = &mut lent.0;
        if prepared.is_none() {
            *prepared = Some(self.preconditioner());
        }
        solve_lent(module, mesh, law, Some(start), prepared, options)
    }

    /// The preconditioner at the nominal solution.
    fn preconditioner(&self) -> Detached {
        let network = Network::new(self.module, &self.solution.mesh);
        let factors = self.solution.factors.as_deref();
        let (operator, _) = assemble(&network, factors, &self.solution.wet.tangent);
        Preconditioned::new(&operator).detach()
    }

    /// The wet side of `module`; where only other inputs changed it is the nominal one.
    fn law(&self, module: &Module) -> Result<WetLaw, SteadyError> {
        let plane = &self.solution.mesh.plane;
        let (Spray::Correlated(now), Spray::Correlated(nominal)) =
            (&module.spray, &self.module.spray)
        else {
            return WetLaw::on(module, plane, self.options.band);
        };
        if now.nozzles != nominal.nozzles {
            return WetLaw::on(module, plane, self.options.band);
        }
        let (coolant, former) = (&module.coolant, &self.module.coolant);
        // Drop sizes and curves follow the liquid's state.
        if (coolant.inlet_K, coolant.pressure_Pa) != (former.inlet_K, former.pressure_Pa) {
            return WetLaw::on(module, plane, self.options.band);
        }
        if now.unwetted_htc_W_m2K != nominal.unwetted_htc_W_m2K {
            return self.solution.law.in_band(module, self.options.band);
        }
        Ok(self.solution.law.clone())
    }

    fn readings(&self, module: &Module, solution: &GridSolution) -> Vec<Junction> {
        let network = Network::new(module, &solution.mesh);
        let statistics = face_statistics(&network, solution);
        let none = vec![FaceDoubt::NONE; statistics.len()];
        junctions(module, &network, solution, &statistics, &none)
    }
}

/// The preconditioner of the nominal solution, made when first needed. Each thread of a study
/// has one.
#[derive(Default)]
pub struct Lent(Option<Detached>);

/// The least margin to burn-out anywhere on the spray side.
fn least_chf_margin(solution: &GridSolution) -> Option<f64> {
    let (_, curves) = correlated(solution)?;
    let rises = solution.wet.rise_K.iter().enumerate();
    rises.filter_map(|(p, &rise)| curves.critical_margin(p, rise)).min_by(f64::total_cmp)
}

/// The same of a finished solve.
fn least_of_result(spray: &SprayResult) -> Option<f64> {
    spray.chf_margin.values.iter().copied().filter(|m| m.is_finite()).min_by(f64::total_cmp)
}

/// A point that needs a mesh of its own.
fn own_solve(module: &Module) -> Result<SolvedPoint, SteadyError> {
    let result = solve(module, &SteadyOptions::default(), &mut |_| ())?;
    let least_chf_margin = result.spray.as_ref().and_then(least_of_result);
    let junctions = result.junctions.iter().map(|j| PointJunction {
        max_K: j.max_K,
        mean_K: j.mean_K,
        on_mesh_K: j.max_K,
        uncertainty_K: j.uncertainty_K,
        limit_K: j.limit_K,
        wetted_share: j.wetted_share,
        chf_margin: j.chf_margin,
        chf_margin_uncertainty: j.chf_margin_uncertainty,
    });
    Ok(SolvedPoint {
        junctions: junctions.collect(),
        least_chf_margin,
        flow_m3_s: flow_m3_s(module),
        iterations: result.iterations,
        residual_relative: result.residual_relative,
    })
}

/// Liquid that the nozzles of `module` spray, m³/s; 0 without nozzles.
pub fn flow_m3_s(module: &Module) -> f64 {
    match &module.spray {
        Spray::Correlated(spray) => {
            spray.nozzles.iter().fold(0.0, |sum, n| sum + n.flow_m3_s * n.flow_factor)
        }
        Spray::Prescribed(_) => 0.0,
    }
}
