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
//! Every point starts from the nominal temperatures and the nominal preconditioner, never from
//! another point: its bytes do not depend on which points were solved before it, or where.

use crate::conduction::Network;
use crate::conduction::assembly::assemble;
use crate::linear::{Detached, Preconditioned};
use crate::mesh::{IslandPart, Mesh, Slicing};
use crate::module::{Module, Rect, Spray};
use crate::results::{
    FaceDoubt, Junction, SprayResult, SteadyResult, correlated, face_statistics, junctions,
};
use crate::steady::{GridSolution, SteadyError, SteadyOptions, WetLaw, solve, solve_lent};

/// Residual at which a point is solved, relative to the right-hand side.
pub const POINT_TOLERANCE: f64 = 1e-8;

/// A thousandfold allowance over the relative residual covers any temperature, as in `solve`.
const RESIDUAL_ALLOWANCE: f64 = 1e3;

/// One junction at a point of a study.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PointJunction {
    /// Highest temperature, K.
    pub max_K: f64,
    /// Mean temperature, K.
    pub mean_K: f64,
    /// Highest temperature as the mesh of the point has it, K.
    pub on_mesh_K: f64,
    /// Estimated numerical error of `max_K` and `mean_K`, K.
    pub uncertainty_K: f64,
    /// Limit at this point, K.
    pub limit_K: Option<f64>,
    /// Share of the wet face on which drops land, 0 to 1; `None` without nozzles.
    pub wetted_share: Option<f64>,
    /// Smallest local CHF over local heat flux; `None` without nozzles.
    pub chf_margin: Option<f64>,
}

impl PointJunction {
    /// `limit - max - uncertainty`, K.
    pub fn margin_K(&self) -> Option<f64> {
        self.limit_K.map(|limit| limit - self.max_K - self.uncertainty_K)
    }

    /// Whether the limit or the margin to burn-out is broken.
    pub fn is_broken(&self) -> bool {
        self.margin_K().is_some_and(|margin| margin < 0.0)
            || self.chf_margin.is_some_and(|margin| margin < 1.0)
    }
}

/// What a solved point tells.
#[derive(Debug, Clone, PartialEq)]
pub struct SolvedPoint {
    /// Die in case order, then heaters.
    pub junctions: Vec<PointJunction>,
    /// Smallest local CHF over local heat flux anywhere on the spray side; `None` without nozzles.
    pub least_chf_margin: Option<f64>,
    /// Liquid that the nozzles spray, m³/s; 0 without nozzles.
    pub flow_m3_s: f64,
    /// Linear iterations.
    pub iterations: usize,
    /// True relative residual.
    pub residual_relative: f64,
}

impl SolvedPoint {
    /// Index of the hottest source.
    pub fn hottest(&self) -> Option<usize> {
        (0..self.junctions.len())
            .max_by(|&a, &b| self.junctions[a].max_K.total_cmp(&self.junctions[b].max_K))
    }

    /// The smallest margin to any limit, K, and whose it is; `None` without limits.
    pub fn least_margin_K(&self) -> Option<(f64, usize)> {
        let margins = self.junctions.iter().enumerate();
        margins.filter_map(|(k, j)| Some((j.margin_K()?, k))).min_by(|a, b| a.0.total_cmp(&b.0))
    }

    /// Whether any limit or margin to burn-out is broken.
    pub fn is_broken(&self) -> bool {
        self.junctions.iter().any(PointJunction::is_broken)
            || self.least_chf_margin.is_some_and(|margin| margin < 1.0)
    }

    /// Everything as plain numbers, NaN where there is none; see [`SolvedPoint::from_numbers`].
    pub fn to_numbers(&self) -> Vec<f64> {
        let or_nan = |value: Option<f64>| value.unwrap_or(f64::NAN);
        let mut numbers = vec![
            or_nan(self.least_chf_margin),
            self.flow_m3_s,
            self.iterations as f64,
            self.residual_relative,
        ];
        for j in &self.junctions {
            numbers.extend([
                j.max_K,
                j.mean_K,
                j.on_mesh_K,
                j.uncertainty_K,
                or_nan(j.limit_K),
                or_nan(j.wetted_share),
                or_nan(j.chf_margin),
            ]);
        }
        numbers
    }

    /// The point of which [`SolvedPoint::to_numbers`] made `numbers`; `None` if it made none of
    /// this length.
    pub fn from_numbers(numbers: &[f64]) -> Option<SolvedPoint> {
        let (&[least, flow_m3_s, iterations, residual_relative], rest) =
            numbers.split_first_chunk::<4>()?;
        let (rows, []) = rest.as_chunks::<7>() else { return None };
        let some = |value: f64| (!value.is_nan()).then_some(value);
        let junctions = rows
            .iter()
            .map(|&[max_K, mean_K, on_mesh_K, uncertainty_K, limit, wetted, chf]| PointJunction {
                max_K,
                mean_K,
                on_mesh_K,
                uncertainty_K,
                limit_K: some(limit),
                wetted_share: some(wetted),
                chf_margin: some(chf),
            })
            .collect();
        let iterations = iterations as usize;
        let least_chf_margin = some(least);
        Some(SolvedPoint { junctions, least_chf_margin, flow_m3_s, iterations, residual_relative })
    }
}

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
    pub fn on_mesh(
        &self,
        module: &Module,
        start: Option<Vec<f64>>,
        lent: &mut Lent,
    ) -> Result<GridSolution, SteadyError> {
        let mesh = Mesh::new(module, self.solution.mesh.plane.clone(), &self.slicing);
        let law = self.law(module)?;
        let start = start.unwrap_or_else(|| self.solution.rise_K.clone());
        let prepared = &mut lent.0;
        if prepared.is_none() {
            *prepared = Some(self.preconditioner());
        }
        solve_lent(module, mesh, law, Some(start), prepared, &self.options)
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

/// The counts of sheets that a mesh has.
fn slicing_of(module: &Module, mesh: &Mesh) -> Slicing {
    let in_layer = |layer: usize| mesh.sheets.iter().filter(|s| s.layer == layer).count();
    let in_part = |sheets: &[(IslandPart, f64)], part: IslandPart| {
        sheets.iter().filter(|(p, _)| *p == part).count().max(1)
    };
    Slicing {
        layers: (0..module.layers.len()).map(in_layer).collect(),
        die: mesh
            .islands
            .iter()
            .map(|i| [IslandPart::Attach, IslandPart::Die].map(|part| in_part(&i.sheets, part)))
            .collect(),
    }
}

/// What a mesh is laid on.
#[derive(Debug, PartialEq)]
struct Outlines {
    size_m: [f64; 2],
    rects: Vec<Rect>,
    slices: Vec<Option<usize>>,
    /// Whether each die has an attach, and which face releases its heat.
    die: Vec<(bool, crate::module::ActiveFace)>,
    heaters: Vec<(usize, crate::module::Face)>,
    cell_m: Option<f64>,
    accuracy_K: f64,
}

impl Outlines {
    fn of(module: &Module) -> Outlines {
        let mut rects: Vec<Rect> = module.die.iter().map(|d| d.rect).collect();
        rects.extend(module.die.iter().flat_map(|d| d.blocks.iter().map(|b| b.rect)));
        rects.extend(module.heaters.iter().map(|h| h.rect));
        if let Spray::Prescribed(spray) = &module.spray {
            rects.extend(spray.patches.iter().map(|p| p.rect));
        }
        Outlines {
            size_m: module.size_m,
            rects,
            slices: module.layers.iter().map(|l| l.slices).collect(),
            die: module.die.iter().map(|d| (d.attach.is_some(), d.active_face)).collect(),
            heaters: module.heaters.iter().map(|h| (h.layer, h.face)).collect(),
            cell_m: module.mesh.cell_m,
            accuracy_K: module.mesh.accuracy_K,
        }
    }

    fn same(&self, other: &Outlines) -> bool {
        self == other
    }
}

#[cfg(test)]
mod tests {
    use super::super::clog::{Manifold, with_blocked};
    use super::super::testing::{held, prescribed, tight, with_nozzles};
    use super::*;
    use crate::steady::{solve_keeping, solve_on_mesh};

    fn coarse(mut module: Module) -> Module {
        module.mesh.accuracy_K = 1.0;
        module
    }

    fn nominal_of(module: &Module) -> (SteadyResult, GridSolution) {
        solve_keeping(module, &SteadyOptions::default(), &mut |_| ()).expect("a steady state")
    }

    /// Changes of every kind that leaves the outlines alone.
    fn changed(module: &Module) -> Vec<Module> {
        let mut changed = Vec::new();
        let mut change = |f: &dyn Fn(&mut Module)| {
            let mut other = module.clone();
            f(&mut other);
            changed.push(other);
        };
        change(&|m| m.die[0].power_W *= 1.2);
        change(&|m| m.coolant.inlet_K += 6.0);
        change(&|m| m.die[1].thickness_m *= 0.8);
        change(&|m| m.layers[0].thickness_m *= 1.1);
        change(&|m| m.board.htc_W_m2K *= 3.0);
        if matches!(module.spray, Spray::Correlated(_)) {
            changed.push(with_blocked(module, &[2], Manifold::KeepsEach));
            changed.push(with_blocked(module, &[0], Manifold::KeepsTotal));
        }
        changed
    }

    #[test]
    fn the_nominal_point_is_the_answer_of_solve_to_the_last_bit() {
        for module in [coarse(prescribed()), coarse(with_nozzles()), coarse(held(prescribed()))] {
            let (result, solution) = nominal_of(&module);
            let nominal = Nominal::new(&module, &result, &solution).unwrap();
            let point = nominal.point(&module, None, &mut Lent::default()).unwrap();
            for (p, j) in point.junctions.iter().zip(&result.junctions) {
                assert_eq!((p.max_K, p.mean_K), (j.max_K, j.mean_K), "{}", j.name);
                assert_eq!((p.chf_margin, p.wetted_share), (j.chf_margin, j.wetted_share));
                assert!(p.uncertainty_K >= j.uncertainty_K);
                assert!(p.uncertainty_K <= 1.001 * j.uncertainty_K + 2e-3);
            }
            assert_eq!(point.iterations, 0);
        }
    }

    /// On the nominal mesh, against solves of their own from nothing, to a residual ten thousand
    /// times smaller; with stated coefficients also against full refined solves, inside both
    /// uncertainties.
    #[test]
    fn points_are_solves_of_their_own_on_the_same_mesh_and_agree_with_refined_ones() {
        for module in [coarse(prescribed()), coarse(with_nozzles()), coarse(held(prescribed()))] {
            let (result, solution) = nominal_of(&module);
            let nominal = Nominal::new(&module, &result, &solution).unwrap();
            let mut lent = Lent::default();
            for (k, changed) in changed(&module).iter().enumerate() {
                let point = nominal.point(changed, None, &mut lent).unwrap();
                let mesh = Mesh::new(changed, solution.mesh.plane.clone(), &nominal.slicing);
                let own = solve_on_mesh(changed, mesh, None, &tight()).unwrap();
                let readings = nominal.readings(changed, &own);
                for (p, own) in point.junctions.iter().zip(&readings) {
                    let apart = (p.on_mesh_K - own.max_K).abs();
                    assert!(apart < 2e-5, "change {k}, {}: {apart:e} K", own.name);
                }
                if matches!(changed.spray, Spray::Correlated(_)) {
                    continue;
                }
                let full = solve(changed, &SteadyOptions::default(), &mut |_| ()).unwrap();
                for (p, full) in point.junctions.iter().zip(&full.junctions) {
                    let apart = (p.max_K - full.max_K).abs();
                    let allowed = p.uncertainty_K + full.uncertainty_K;
                    assert!(apart <= allowed, "change {k}, {}: {apart} > {allowed} K", full.name);
                }
            }
        }
    }

    #[test]
    fn a_point_does_not_depend_on_the_points_before_it() {
        let module = coarse(with_nozzles());
        let (result, solution) = nominal_of(&module);
        let nominal = Nominal::new(&module, &result, &solution).unwrap();
        let changed = changed(&module);
        let mut lent = Lent::default();
        let in_turn: Vec<SolvedPoint> =
            changed.iter().map(|m| nominal.point(m, None, &mut lent).unwrap()).collect();
        for (m, former) in changed.iter().zip(&in_turn).rev() {
            assert_eq!(&nominal.point(m, None, &mut Lent::default()).unwrap(), former);
            assert_eq!(&nominal.point(m, None, &mut lent).unwrap(), former);
        }
    }

    #[test]
    fn a_die_that_moved_is_solved_on_a_mesh_of_its_own() {
        let module = coarse(prescribed());
        let (result, solution) = nominal_of(&module);
        let nominal = Nominal::new(&module, &result, &solution).unwrap();
        let mut moved = module.clone();
        let rect = &mut moved.die[2].rect;
        (rect.x0_m, rect.x1_m) = (rect.x0_m + 5e-4, rect.x1_m + 5e-4);
        assert!(!nominal.has_place_for(&moved));
        let point = nominal.point(&moved, None, &mut Lent::default()).unwrap();
        let full = solve(&moved, &SteadyOptions::default(), &mut |_| ()).unwrap();
        assert_eq!(point.junctions[2].max_K, full.junctions[2].max_K);
    }

    #[test]
    fn numbers_bring_a_point_back_to_the_bit() {
        let module = coarse(with_nozzles());
        let (result, solution) = nominal_of(&module);
        let nominal = Nominal::new(&module, &result, &solution).unwrap();
        let point = nominal.point(&module, None, &mut Lent::default()).unwrap();
        let numbers = point.to_numbers();
        assert_eq!(SolvedPoint::from_numbers(&numbers), Some(point));
        assert_eq!(SolvedPoint::from_numbers(&numbers[1..]), None);
    }
}
