//! How the heat into the spray changes with nozzles and inlet, at the surface temperatures of a
//! solution.
//!
//! The flux of a cell follows from closed forms (solid angles, correlations, curves): they are
//! differentiated by central differences of those forms, cell by cell. That solves nothing, and
//! its error (the square of a step of a thousandth) is far below that of a difference of solves.

use crate::conduction::SurfaceLaw;
use crate::mesh::PlaneGrid;
use crate::module::{CorrelatedSpray, Module, Nozzle, Spray};
use crate::spray::{Band, Footprint, SprayError, SprayModel};
use crate::steady::{GridSolution, SteadyError, WetLaw};

/// Step of a nozzle's flow, as a share.
pub(in crate::study) const FLOW_STEP: f64 = 1e-3;
/// Step of a nozzle's position, as a share of its stand-off.
pub(in crate::study) const POSITION_STEP: f64 = 1e-5;
/// Step of the inlet temperature, K.
const INLET_STEP_K: f64 = 1e-2;

/// Change of the heat flux into the spray, W/m² a unit of the input, in the cells of the plane
/// where there is any.
pub(super) type FluxChange = Vec<(usize, f64)>;

/// The changes for one nozzle: with the relative change of its flow, and with its x, y and
/// stand-off (per metre).
pub(super) struct NozzleChanges {
    pub flow: FluxChange,
    pub position: [FluxChange; 3],
}

/// The changes for every nozzle; none with stated coefficients.
pub(super) fn nozzle_changes(
    module: &Module,
    solution: &GridSolution,
    band: Band,
) -> Result<Vec<NozzleChanges>, SteadyError> {
    let Spray::Correlated(spray) = &module.spray else { return Ok(Vec::new()) };
    (0..spray.nozzles.len())
        .map(|n| {
            let nozzle = &spray.nozzles[n];
            let difference = |step: f64, change: &dyn Fn(&mut Nozzle, f64)| {
                let moved = |by: f64| {
                    let mut other = nozzle.clone();
                    change(&mut other, by);
                    other
                };
                let ends = [moved(step), moved(-step)];
                around(module, spray, n, &ends, solution, band).map(|changes| {
                    changes.into_iter().map(|(c, dq)| (c, dq / (2.0 * step))).collect()
                })
            };
            let step_m = POSITION_STEP * nozzle.standoff_m;
            Ok(NozzleChanges {
                flow: difference(FLOW_STEP, &|nozzle, by| nozzle.flow_m3_s *= 1.0 + by)?,
                position: [
                    difference(step_m, &|nozzle, by| nozzle.at_m[0] += by)?,
                    difference(step_m, &|nozzle, by| nozzle.at_m[1] += by)?,
                    difference(step_m, &|nozzle, by| nozzle.standoff_m += by)?,
                ],
            })
        })
        .collect()
}

/// Flux with nozzle `n` replaced by the first of `ends` less that with the second, in the cells
/// that either touches.
fn around(
    module: &Module,
    spray: &CorrelatedSpray,
    n: usize,
    ends: &[Nozzle; 2],
    solution: &GridSolution,
    band: Band,
) -> Result<FluxChange, SteadyError> {
    let Some(near) = laws_around(module, spray, n, ends, &solution.mesh.plane, band)? else {
        return Ok(Vec::new());
    };
    let mut changes = Vec::new();
    for (within, cell) in near.cells() {
        let rise = solution.wet.rise_K[cell];
        let change = near.laws[0].flux(within, rise).0 - near.laws[1].flux(within, rise).0;
        if change != 0.0 {
            changes.push((cell, change));
        }
    }
    Ok(changes)
}

/// The wet side near a nozzle, with either end of a change of it.
pub(in crate::study) struct Around {
    /// Columns `i0..i1` and rows `j0..j1` of the plane: i0, i1, j0, j1.
    range: [usize; 4],
    /// Columns of the whole plane.
    nx: usize,
    /// The law of the cells of the range, row by row, at each end.
    pub laws: [WetLaw; 2],
}

impl Around {
    /// Each cell of the range: its number in the laws, and in the plane.
    pub fn cells(&self) -> impl Iterator<Item = (usize, usize)> + '_ {
        let [i0, i1, j0, j1] = self.range;
        (j0..j1).flat_map(move |j| (i0..i1).map(move |i| j * self.nx + i)).enumerate()
    }
}

/// The wet side with nozzle `n` replaced by each of `ends`, in the cells that either touches;
/// `None` where there are none.
pub(in crate::study) fn laws_around(
    module: &Module,
    spray: &CorrelatedSpray,
    n: usize,
    ends: &[Nozzle; 2],
    plane: &PlaneGrid,
    band: Band,
) -> Result<Option<Around>, SteadyError> {
    let mut bounds = Bounds::of(&ends[0])?;
    bounds.join(Bounds::of(&ends[1])?);
    let Some([i0, i1, j0, j1]) = bounds.cells(plane) else { return Ok(None) };
    let sub = PlaneGrid {
        x_lines_m: plane.x_lines_m[i0..=i1].into(),
        y_lines_m: plane.y_lines_m[j0..=j1].into(),
    };
    let seen = Bounds {
        low: [sub.x_lines_m[0], sub.y_lines_m[0]],
        high: [sub.x_lines_m[i1 - i0], sub.y_lines_m[j1 - j0]],
    };
    // Other nozzles matter only where their drops fall on the same cells.
    let mut others = Vec::new();
    for (k, nozzle) in spray.nozzles.iter().enumerate() {
        if k != n && Bounds::of(nozzle)?.meets(&seen) {
            others.push(nozzle.clone());
        }
    }
    let law = |end: &Nozzle| -> Result<WetLaw, SteadyError> {
        let nozzles = others.iter().chain([end]).cloned().collect();
        let model =
            SprayModel::new(&CorrelatedSpray { nozzles, ..spray.clone() }, &module.coolant)?;
        let field = model.flux(&sub.x_lines_m, &sub.y_lines_m)?;
        let curves = model.curves(&field, band);
        Ok(WetLaw::Correlated { field: Box::new(field), curves })
    };
    let laws = [law(&ends[0])?, law(&ends[1])?];
    Ok(Some(Around { range: [i0, i1, j0, j1], nx: plane.nx(), laws }))
}

/// Change of the flux with the inlet temperature, W/(m²·K), at the same rises above it: the
/// liquid's properties, drop sizes and subcooling. Nothing with stated coefficients.
pub(super) fn inlet_change(
    module: &Module,
    solution: &GridSolution,
    band: Band,
) -> Result<FluxChange, SteadyError> {
    if matches!(module.spray, Spray::Prescribed(_)) {
        return Ok(Vec::new());
    }
    let at = |by: f64| {
        let mut other = module.clone();
        other.coolant.inlet_K += by;
        WetLaw::on(&other, &solution.mesh.plane, band)
    };
    let down = at(-INLET_STEP_K)?;
    let (up, span) = match at(INLET_STEP_K) {
        Ok(up) => (up, 2.0 * INLET_STEP_K),
        // A feed at saturation can only be made colder.
        Err(SteadyError::Spray(SprayError::InletAboveSaturation { .. })) => {
            (at(0.0)?, INLET_STEP_K)
        }
        Err(error) => return Err(error),
    };
    Ok(solution
        .wet
        .rise_K
        .iter()
        .enumerate()
        .map(|(c, &rise)| (c, (up.flux(c, rise).0 - down.flux(c, rise).0) / span))
        .collect())
}

/// A rectangle that holds what a nozzle wets, m.
struct Bounds {
    low: [f64; 2],
    high: [f64; 2],
}

impl Bounds {
    fn of(nozzle: &Nozzle) -> Result<Bounds, SprayError> {
        let footprint = Footprint::of(nozzle)?;
        let ([long, _], _) = footprint.semi_axes_m();
        let centre = footprint.centre_m();
        Ok(Bounds { low: centre.map(|v| v - long), high: centre.map(|v| v + long) })
    }

    fn join(&mut self, other: Bounds) {
        for axis in 0..2 {
            self.low[axis] = self.low[axis].min(other.low[axis]);
            self.high[axis] = self.high[axis].max(other.high[axis]);
        }
    }

    fn meets(&self, other: &Bounds) -> bool {
        (0..2).all(|axis| self.low[axis] < other.high[axis] && other.low[axis] < self.high[axis])
    }

    /// Cells that it touches: i0, i1, j0, j1.
    fn cells(&self, plane: &PlaneGrid) -> Option<[usize; 4]> {
        let along = |lines: &[f64], low: f64, high: f64| {
            let first = lines[1..].partition_point(|&line| line <= low);
            let end = lines[..lines.len() - 1].partition_point(|&line| line < high);
            (first < end).then_some([first, end])
        };
        let [i0, i1] = along(&plane.x_lines_m, self.low[0], self.high[0])?;
        let [j0, j1] = along(&plane.y_lines_m, self.low[1], self.high[1])?;
        Some([i0, i1, j0, j1])
    }
}
