//! One nozzle pattern on the mesh of the study: what it does, and how that changes with each
//! nozzle.
//!
//! The highest temperature of a source jumps from one hot spot to another, and the least CHF
//! margin from cell to cell; a search needs functions with gradients. So the temperatures of an
//! active face are taken together as
//!
//! ```text
//! hot = T_max + ln( sum of a_c exp(b (T_c - T_max)) / sum of a_c ) / b
//! ```
//!
//! with the areas a_c and a sharpness b, quarter by quarter (a nozzle moved aside cools one side of
//! a die and warms the other: one function for both would have a kink), and the loads u = 1/margin = flux over critical flux of
//! the wet cells over it likewise. What that, the mesh and the extrapolation leave out is added
//! as it was at a pattern that has been solved in full ([`Offsets`]).
//!
//! Gradients come from one influence a function: with l the rise of the function for a watt on
//! each cell of the wet surface, a change dq of the flux into the spray there changes it by
//! `-sum of A l dq`, and a load changes besides as its own critical flux does.

use rayon::prelude::*;

use super::rules::{Rules, Spot, nozzles_of, with_spots};
use crate::conduction::faces::source_rises;
use crate::conduction::{Network, SurfaceLaw};
use crate::mesh::Mesh;
use crate::module::{Module, Nozzle, Spray};
use crate::results::{SteadyResult, correlated};
use crate::spray::CellCurves;
use crate::steady::{GridSolution, SteadyError, SteadyOptions, WetLaw, solve_on_mesh};
use crate::study::Linearised;
use crate::study::sensitivity::spray_terms::{FLOW_STEP, POSITION_STEP, laws_around};

/// Variables of one nozzle: x, y, stand-off, flow factor.
pub(super) const PER_NOZZLE: usize = 4;
/// Relative residual of the solves: far below what a trial can gain.
const SOLVE_TOLERANCE: f64 = 1e-8;
/// Relative residual of the influences.
const INFLUENCE_TOLERANCE: f64 = 1e-6;
/// Step of a surface temperature for the change of a load, K.
const RISE_STEP_K: f64 = 1e-3;

/// How sharply maxima are taken, 1/K and 1/(unit of load).
#[derive(Debug, Clone, Copy)]
pub(super) struct Sharpness {
    pub hot_1_K: f64,
    pub load: f64,
}

/// What the reported values of each source differ by from the study's.
#[derive(Debug, Clone)]
pub(super) struct Offsets {
    /// Added to the hottest temperature, K.
    pub hot_K: Vec<f64>,
    /// Times the largest load.
    pub load: Vec<f64>,
}

/// Quarters of a source: lower left, lower right, upper left, upper right.
pub(super) const QUARTERS: usize = 4;

/// A pattern and what it does, one entry a source in lists; those of quarters have
/// [`QUARTERS`] a source.
#[derive(Debug, Clone)]
pub(super) struct State {
    pub spots: Vec<Spot>,
    pub solution: GridSolution,
    /// Hottest rise above the inlet of each quarter, K; minus infinity where it has no cell.
    pub hot_parts_K: Vec<f64>,
    /// The hottest of a source's quarters, K.
    pub hot_K: Vec<f64>,
    /// Largest flux over critical flux of each quarter; 0 where nothing lands.
    pub load_parts: Vec<f64>,
    /// The largest of a source's quarters.
    pub load: Vec<f64>,
    /// Share of the wet face on which drops land.
    pub wetted: Vec<f64>,
    /// Flow of all nozzles, m³/s.
    pub flow_m3_s: f64,
}

/// A function of the pattern that has a gradient: of a quarter, of a quarter, of a source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Function {
    Hot(usize),
    Load(usize),
    Wetted(usize),
}

/// Evaluates patterns of one module.
pub(super) struct Evaluator<'a> {
    pub module: &'a Module,
    pub mesh: Mesh,
    pub sharpness: Sharpness,
    pub offsets: Offsets,
}

/// A maximum taken softly, and the weight of each value in it.
fn soft_max(values: &[f64], areas: &[f64], sharpness: f64) -> (f64, Vec<f64>) {
    let top = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let parts: Vec<f64> =
        values.iter().zip(areas).map(|(v, a)| a * (sharpness * (v - top)).exp()).collect();
    let sum: f64 = parts.iter().sum();
    let area: f64 = areas.iter().sum();
    (top + (sum / area).ln() / sharpness, parts.iter().map(|p| p / sum).collect())
}

/// The wet cells over a source with their areas, row by row.
fn cells_over(network: &Network, source: usize) -> (Vec<usize>, Vec<f64>) {
    let range = network.sources[source].cells;
    let nx = network.mesh.plane.nx();
    let cells = (range.j0..range.j1).flat_map(|j| (range.i0..range.i1).map(move |i| (i, j)));
    cells.map(|(i, j)| (j * nx + i, network.cell_area_m2(i, j))).unzip()
}

/// The quarter that the `c`-th cell of a source lies in.
fn quarter_of(network: &Network, source: usize, c: usize) -> usize {
    let range = network.sources[source].cells;
    let (i, j) = (c % range.nx(), c / range.nx());
    usize::from(2 * i >= range.nx()) + 2 * usize::from(2 * j >= range.ny())
}

fn largest_of_quarters(parts: &[f64]) -> Vec<f64> {
    let largest = |of: &[f64]| of.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    parts.chunks_exact(QUARTERS).map(largest).collect()
}

fn load_of(curves: &CellCurves, cell: usize, rise_K: f64) -> Option<f64> {
    curves.critical_margin(cell, rise_K).map(|margin| 1.0 / margin)
}

/// Load of the cells over a quarter that have one: the softly taken maximum, and the cells with
/// their weights in it.
fn loads(
    network: &Network,
    solution: &GridSolution,
    part: usize,
    sharpness: f64,
) -> Option<(f64, Vec<(usize, f64)>)> {
    let source = part / QUARTERS;
    let (_, curves) = correlated(solution)?;
    let (cells, areas) = cells_over(network, source);
    let mut wet = Vec::new();
    let (mut values, mut wet_areas) = (Vec::new(), Vec::new());
    for (c, (&cell, &area)) in cells.iter().zip(&areas).enumerate() {
        if quarter_of(network, source, c) != part % QUARTERS {
            continue;
        }
        if let Some(load) = load_of(curves, cell, solution.wet.rise_K[cell]) {
            wet.push(cell);
            values.push(load);
            wet_areas.push(area);
        }
    }
    if wet.is_empty() {
        return None;
    }
    let (value, weights) = soft_max(&values, &wet_areas, sharpness);
    Some((value, wet.into_iter().zip(weights).collect()))
}

/// Change of one cell with one variable, a unit of the variable.
#[derive(Debug, Clone, Copy)]
struct CellChange {
    cell: usize,
    /// Heat flux, W/m².
    flux: f64,
    /// Load at the same surface temperature.
    load: f64,
    wetted: f64,
}

impl Evaluator<'_> {
    /// Solves a pattern.
    ///
    /// # Errors
    /// See [`SteadyError`].
    pub fn solve(
        &self,
        rules: &Rules,
        spots: &[Spot],
        start: Option<&State>,
    ) -> Result<State, SteadyError> {
        let module = with_spots(self.module, spots);
        let options =
            SteadyOptions { relative_tolerance: SOLVE_TOLERANCE, ..SteadyOptions::default() };
        let guess = start.map(|state| state.solution.rise_K.clone());
        let solution = solve_on_mesh(&module, self.mesh.clone(), guess, &options)?;
        Ok(self.state(rules, spots, solution))
    }

    /// What a solution on the study's mesh tells.
    fn state(&self, rules: &Rules, spots: &[Spot], solution: GridSolution) -> State {
        let network = Network::new(self.module, &solution.mesh);
        let n = network.sources.len();
        let field = correlated(&solution).map(|(field, _)| field);
        let mut state = State {
            spots: spots.to_vec(),
            hot_parts_K: Vec::with_capacity(QUARTERS * n),
            hot_K: Vec::new(),
            load_parts: Vec::with_capacity(QUARTERS * n),
            load: Vec::new(),
            wetted: Vec::with_capacity(n),
            flow_m3_s: rules.flow_m3_s(spots),
            solution: solution.clone(),
        };
        for k in 0..n {
            for part in QUARTERS * k..QUARTERS * (k + 1) {
                let (hot, _) = self.hot(&network, &solution, part);
                state.hot_parts_K.push(hot + self.offsets.hot_K[k]);
                let load = loads(&network, &solution, part, self.sharpness.load);
                state.load_parts.push(load.map_or(0.0, |l| l.0) * self.offsets.load[k]);
            }
            let (cells, areas) = cells_over(&network, k);
            let wet = |field: &crate::spray::FluxField| -> f64 {
                cells.iter().zip(&areas).map(|(c, a)| field.wetted_share[*c] * a).sum()
            };
            let area: f64 = areas.iter().sum();
            state.wetted.push(field.map_or(0.0, wet) / area);
        }
        state.hot_K = largest_of_quarters(&state.hot_parts_K);
        state.load = largest_of_quarters(&state.load_parts);
        state
    }

    /// Takes the offsets that make `state`, solved with the present ones, what `full` reports.
    /// Returns the largest change of a temperature or load by that over the largest of all.
    pub fn learn_offsets(&mut self, state: &State, full: &SteadyResult) -> f64 {
        let inlet_K = self.module.coolant.inlet_K;
        let before = self.offsets.clone();
        for (k, junction) in full.junctions.iter().enumerate() {
            self.offsets.hot_K[k] = junction.max_K - inlet_K - (state.hot_K[k] - before.hot_K[k]);
            let load = state.load[k] / before.load[k];
            // Two grids can disagree on which sliver of a cone's rim counts; not by much more.
            self.offsets.load[k] = match junction.chf_margin {
                Some(margin) if load > 0.0 => (1.0 / (margin * load)).clamp(0.5, 2.0),
                _ => 1.0,
            };
        }
        let largest = |values: &[f64]| values.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
        let (hottest, heaviest) = (largest(&state.hot_K), largest(&state.load));
        (0..full.junctions.len()).fold(0.0, |learnt, k| {
            let hot = (self.offsets.hot_K[k] - before.hot_K[k]).abs() / hottest;
            let load = (self.offsets.load[k] / before.load[k] - 1.0).abs() * state.load[k];
            learnt.max(hot).max(load / heaviest)
        })
    }

    /// The softly taken maximum over a quarter, and the weights of all the source's cells.
    fn hot(&self, network: &Network, solution: &GridSolution, part: usize) -> (f64, Vec<f64>) {
        let (k, quarter) = (part / QUARTERS, part % QUARTERS);
        let source = &network.sources[k];
        let factors = solution.factors.as_deref();
        let rises = source_rises(network, factors, source, &solution.rise_K, &solution.wet);
        let (_, areas) = cells_over(network, k);
        let mine: Vec<usize> =
            (0..rises.len()).filter(|&c| quarter_of(network, k, c) == quarter).collect();
        let mut weights = vec![0.0; rises.len()];
        if mine.is_empty() {
            return (f64::NEG_INFINITY, weights);
        }
        let of = |values: &[f64]| -> Vec<f64> { mine.iter().map(|&c| values[c]).collect() };
        let (value, shares) = soft_max(&of(&rises), &of(&areas), self.sharpness.hot_1_K);
        mine.iter().zip(shares).for_each(|(&c, share)| weights[c] = share);
        (value, weights)
    }

    /// Gradients of `functions` at `state`: [`PER_NOZZLE`] entries a nozzle, per metre and per
    /// unit of flow factor; zero where `rules` leave a variable no room.
    ///
    /// # Errors
    /// See [`SteadyError`].
    pub fn gradients(
        &self,
        rules: &Rules,
        state: &State,
        functions: &[Function],
    ) -> Result<Vec<Vec<f64>>, SteadyError> {
        let module = with_spots(self.module, &state.spots);
        let network = Network::new(&module, &state.solution.mesh);
        let changes = changes(rules, &module, state)?;
        let linearised = Linearised::new(&network, &state.solution);
        let solver = linearised.solver(INFLUENCE_TOLERANCE);
        functions
            .par_iter()
            .map(|function| self.gradient(&network, &solver, state, *function, &changes))
            .collect()
    }

    fn gradient(
        &self,
        network: &Network,
        solver: &crate::study::Solver,
        state: &State,
        function: Function,
        changes: &[Vec<CellChange>],
    ) -> Result<Vec<f64>, SteadyError> {
        let solution = &state.solution;
        let plane = &network.mesh.plane;
        let n_cells = plane.nx() * plane.ny();
        let area = |c: usize| network.cell_area_m2(c % plane.nx(), c / plane.nx());
        match function {
            Function::Wetted(k) => {
                let (cells, areas) = cells_over(network, k);
                let total: f64 = areas.iter().sum();
                let mut share = vec![0.0; n_cells];
                cells.iter().zip(&areas).for_each(|(c, a)| share[*c] = a / total);
                let slope = |change: &CellChange| share[change.cell] * change.wetted;
                Ok(changes.iter().map(|list| list.iter().map(slope).sum()).collect())
            }
            Function::Hot(part) => {
                let (_, weights) = self.hot(network, solution, part);
                let k = part / QUARTERS;
                let (l, _) = solver.wet_influence(&network.on_face(k, &weights), &[])?;
                let slope = |change: &CellChange| -area(change.cell) * l[change.cell] * change.flux;
                Ok(changes.iter().map(|list| list.iter().map(slope).sum()).collect())
            }
            Function::Load(part) => {
                let k = part / QUARTERS;
                let found = loads(network, solution, part, self.sharpness.load);
                let (Some((_, weights)), Some((_, curves))) = (found, correlated(solution)) else {
                    return Ok(vec![0.0; changes.len()]);
                };
                let scale = self.offsets.load[k];
                let mut direct = vec![0.0; n_cells];
                let mut wet = vec![0.0; n_cells];
                for (cell, weight) in weights {
                    let rise = solution.wet.rise_K[cell];
                    let at = |by: f64| load_of(curves, cell, rise + by);
                    direct[cell] = scale * weight;
                    if let (Some(up), Some(down)) = (at(RISE_STEP_K), at(-RISE_STEP_K)) {
                        wet[cell] = scale * weight * (up - down) / (2.0 * RISE_STEP_K);
                    }
                }
                let nowhere = network.on_face(k, &vec![0.0; network.sources[k].cells.len()]);
                let (l, _) = solver.wet_influence(&nowhere, &wet)?;
                let slope = |change: &CellChange| {
                    let c = change.cell;
                    direct[c] * change.load - area(c) * l[c] * change.flux
                };
                Ok(changes.iter().map(|list| list.iter().map(slope).sum()).collect())
            }
        }
    }
}

/// What every variable changes, cell by cell, at the surface temperatures of `state`.
fn changes(
    rules: &Rules,
    module: &Module,
    state: &State,
) -> Result<Vec<Vec<CellChange>>, SteadyError> {
    let Spray::Correlated(spray) = &module.spray else { return Ok(Vec::new()) };
    let plane = &state.solution.mesh.plane;
    (0..nozzles_of(module).len() * PER_NOZZLE)
        .into_par_iter()
        .map(|variable| {
            let (n, which) = (variable / PER_NOZZLE, variable % PER_NOZZLE);
            let held = |[low, high]: [f64; 2]| high - low <= 0.0;
            let no_room = match which {
                2 => held(rules.standoff_m[n]),
                3 => held(rules.flow_factor[n]),
                _ => false,
            };
            if rules.fixed[n] || no_room {
                return Ok(Vec::new());
            }
            let nozzle = &spray.nozzles[n];
            let step = match which {
                3 => FLOW_STEP * nozzle.flow_factor,
                _ => POSITION_STEP * nozzle.standoff_m,
            };
            let moved = |by: f64| -> Nozzle {
                let mut other = nozzle.clone();
                match which {
                    2 => other.standoff_m += by,
                    3 => other.flow_factor += by,
                    axis => other.at_m[axis] += by,
                }
                other
            };
            let ends = [moved(step), moved(-step)];
            let band = SteadyOptions::default().band;
            let Some(near) = laws_around(module, spray, n, &ends, plane, band)? else {
                return Ok(Vec::new());
            };
            let [
                WetLaw::Correlated { field: up_field, curves: up },
                WetLaw::Correlated { field: down_field, curves: down },
            ] = &near.laws
            else {
                return Ok(Vec::new());
            };
            let mut list = Vec::new();
            for (within, cell) in near.cells() {
                let rise = state.solution.wet.rise_K[cell];
                let load = match (load_of(up, within, rise), load_of(down, within, rise)) {
                    (Some(up), Some(down)) => up - down,
                    _ => 0.0,
                };
                let change = CellChange {
                    cell,
                    flux: (SurfaceLaw::flux(up, within, rise).0
                        - SurfaceLaw::flux(down, within, rise).0)
                        / (2.0 * step),
                    load: load / (2.0 * step),
                    wetted: (up_field.wetted_share[within] - down_field.wetted_share[within])
                        / (2.0 * step),
                };
                if change.flux != 0.0 || change.load != 0.0 || change.wetted != 0.0 {
                    list.push(change);
                }
            }
            Ok(list)
        })
        .collect()
}
