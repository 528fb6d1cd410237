//! A whole run: the mesh, the steps, the temperatures, and how well they are known.
//!
//! Steps are chosen on a mesh with every other line and half the sheets, where they cost an eighth.
//! There the run is done once more with every step cut in two; the scheme is of second order, so
//! that the error in time is four thirds of the difference. The tolerance of the steps is tightened
//! until that is below what was asked for. The same steps run on the mesh itself, and the
//! difference between the two meshes tells the error in space: of first order the finer mesh is off
//! by the whole of it, of second by a third. Which, the steady state of the case shows, for there
//! refinement has found what is right.
//!
//! The run on the mesh begins while the error in time is still being measured, for one run alone
//! does not keep several cores busy; it is called off where the steps turn out too long.

use std::sync::atomic::{AtomicBool, Ordering};

use ndarray::Array2;

use super::conditions::System;
use super::ladder::Ladder;
use super::march::{Route, Run, Steps, march};
use super::periodic::{Search, Settled, settle};
use super::plan::{Plan, one_period, repeated};
use super::record::{Record, Snapshot};
use super::saved::SavedState;
use super::{TransientError, TransientOptions};
use crate::conduction::Network;
use crate::mesh::{IslandPart, Mesh, PlaneGrid, Slicing, edges_along, snapped_edges};
use crate::module::{Cycle, CycleStart, Module, Sensor};
use crate::results::{PlaneField, face_statistics};
use crate::steady::{SteadyOptions, interpolate, rectangles, solve_on_mesh};

/// Tolerance of a step over the accuracy asked for, to begin with.
const FIRST_TOLERANCE: f64 = 0.4;
/// Rounds of tightening.
const MOST_ROUNDS: usize = 5;
/// Least and largest share of the difference between the two meshes that is taken for the error of
/// the finer one, and how much more than the steady error says is allowed for.
const LEAST_SHARE: f64 = 0.35;
const MOST_SHARE: f64 = 1.0;
const SHARE_SAFETY: f64 = 1.5;
/// A state comes back when nothing changes by more than this share of the accuracy.
const SETTLED_SHARE: f64 = 0.01;

/// Temperatures over time.
#[derive(Debug, Clone)]
pub struct TransientResult {
    /// The run on the mesh.
    pub run: Run,
    /// The mesh.
    pub mesh: Mesh,
    /// The coarser mesh on which steps were chosen.
    pub coarse_mesh: Mesh,
    /// Error in time of each source's temperatures, K, at its largest.
    pub time_error_K: Vec<f64>,
    /// Error in space likewise, K.
    pub space_error_K: Vec<f64>,
    /// How the state that comes back was found, if it was asked for.
    pub settled: Option<Settled>,
    /// Largest estimated error of one step, K.
    pub step_tolerance_K: f64,
    /// Largest change over the last whole period of the run, K.
    pub last_period_change_K: f64,
    /// Linear iterations, all meshes together.
    pub iterations: usize,
}

impl TransientResult {
    /// A picture as a field on the grid.
    pub fn surface_K(&self, snapshot: &Snapshot) -> PlaneField {
        let plane = &self.mesh.plane;
        let mut values = Array2::from_elem((plane.ny(), plane.nx()), f64::NAN);
        for (cell, value) in values.iter_mut().zip(&snapshot.surface_K) {
            *cell = *value;
        }
        PlaneField {
            x_lines_m: plane.x_lines_m.clone(),
            y_lines_m: plane.y_lines_m.clone(),
            values,
        }
    }

    /// The state with the rises `rise_K` above the inlet of `module`, for another run to start from.
    pub fn saved(&self, module: &Module, rise_K: &[f64]) -> SavedState {
        SavedState::of(&self.mesh, module.coolant.inlet_K, rise_K)
    }

    /// Uncertainty of a source's temperatures, K.
    pub fn uncertainty_K(&self, source: usize) -> f64 {
        self.time_error_K[source] + self.space_error_K[source]
    }
}

/// A mesh with about every `factor`-th line and sheet of another; edges stay.
pub fn coarsened(module: &Module, mesh: &Mesh, factor: usize) -> Mesh {
    if factor <= 1 {
        return mesh.clone();
    }
    let rects = rectangles(module);
    let thinned = |axis: usize, lines: &[f64]| -> std::sync::Arc<[f64]> {
        let edges = snapped_edges(module.size_m[axis], edges_along(axis, &rects));
        let places: Vec<usize> = edges
            .iter()
            .map(|edge| {
                (0..lines.len())
                    .min_by(|&a, &b| (lines[a] - edge).abs().total_cmp(&(lines[b] - edge).abs()))
                    .unwrap_or(0)
            })
            .collect();
        let mut kept = vec![lines[0]];
        for pair in places.windows(2) {
            let (from, count) = (pair[0], pair[1] - pair[0]);
            let pieces = count.div_ceil(factor);
            kept.extend((1..=pieces).map(|k| lines[from + k * count / pieces]));
        }
        kept.into()
    };
    let plane = PlaneGrid {
        x_lines_m: thinned(0, &mesh.plane.x_lines_m),
        y_lines_m: thinned(1, &mesh.plane.y_lines_m),
    };
    let fewer = |count: usize| count.div_ceil(factor).max(1);
    let slicing = Slicing {
        layers: (0..module.layers.len())
            .map(|layer| fewer(mesh.sheets.iter().filter(|s| s.layer == layer).count()))
            .collect(),
        die: mesh
            .islands
            .iter()
            .map(|island| {
                [IslandPart::Attach, IslandPart::Die]
                    .map(|part| fewer(island.sheets.iter().filter(|sheet| sheet.0 == part).count()))
            })
            .collect(),
    };
    Mesh::new(module, plane, &slicing)
}

/// Largest difference of each source's temperatures between two runs of the same times, K.
fn apart(a: &[Record], b: &[Record], sources: usize) -> Vec<f64> {
    let mut apart = vec![0.0f64; sources];
    for (a, b) in a.iter().zip(b) {
        for (s, apart) in apart.iter_mut().enumerate() {
            *apart =
                apart.max((a.max_K[s] - b.max_K[s]).abs()).max((a.mean_K[s] - b.mean_K[s]).abs());
        }
    }
    apart
}

struct Runner<'s, 'm, 'p> {
    system: System<'m>,
    ladder: Ladder,
    heard: &'s mut (dyn FnMut(&str, f64) + 'p),
    name: &'static str,
    /// Where the search for the state that comes back starts, K.
    guess: Option<Vec<f64>>,
    /// Rises to start from instead of what the cycle says, K.
    given: Option<Vec<f64>>,
}

impl Runner<'_, '_, '_> {
    /// Finds the start, then runs.
    fn run(&mut self, steps: Steps) -> Result<(Run, Option<Settled>), TransientError> {
        let cycle = self.system.cycle;
        let (name, duration_s) = (self.name, cycle.duration_s());
        let (start, settled) = match cycle.start {
            _ if self.given.is_some() => (self.given.clone().unwrap_or_default(), None),
            CycleStart::Steady => {
                let steady = self.system.steady(&|signal| signal.value(0.0, 0.0));
                (steady.map_err(TransientError::Start)?.rise_K, None)
            }
            CycleStart::Uniform(temperature_K) => {
                let rise = temperature_K - self.system.module.coolant.inlet_K;
                (vec![rise; self.system.capacity_J_K.len()], None)
            }
            CycleStart::Periodic => {
                let heard = &mut *self.heard;
                // Of one period, the last one of the search is the run, pictures and all. For
                // several, the search goes without pictures: they cut stretches.
                let once = cycle.repeats == 1;
                let first: Option<Plan> = match steps {
                    Steps::Replayed(plan, _) if !once => Some(one_period(cycle, plan)),
                    _ => None,
                };
                let search = Search {
                    guess: self.guess.take(),
                    steps: first.as_ref().map_or(steps, |plan| Steps::Replayed(plan, 1)),
                    snapshots_s: if once { &cycle.snapshots_s } else { &[] },
                    tolerance_K: SETTLED_SHARE * cycle.time_accuracy_K,
                };
                let (settled, run) =
                    settle(&mut self.system, &mut self.ladder, search, &mut |k, _| {
                        heard(name, -(k as f64));
                    })?;
                self.guess = Some(settled.start.clone());
                if once {
                    return Ok((run, Some(settled)));
                }
                (settled.start.clone(), Some(settled))
            }
        };
        let heard = &mut *self.heard;
        // In the state that comes back all periods have the steps of the first.
        let repeated: Option<Plan> = match (&settled, steps) {
            (Some(settled), Steps::Chosen(_)) => Some(repeated(cycle, &settled.plan)),
            _ => None,
        };
        let steps = repeated.as_ref().map_or(steps, |plan| Steps::Replayed(plan, 1));
        let run = march(
            &mut self.system,
            &mut self.ladder,
            start,
            Route { repeats: cycle.repeats, snapshots_s: &cycle.snapshots_s, steps },
            None,
            &mut |at_s| heard(name, at_s / duration_s),
        )?;
        Ok((run, settled))
    }
}

/// A state found on the coarse mesh, as a guess on the fine one: what it differs by from the steady
/// state of the means is carried over, which knows less of the mesh than the state itself.
fn carried(coarse: &System, fine: &System, guess: &[f64]) -> Result<Vec<f64>, TransientError> {
    let steady =
        |system: &System| system.steady(&|signal| signal.mean()).map_err(TransientError::Start);
    let mut swing = steady(coarse)?;
    for (rise, guess) in swing.rise_K.iter_mut().zip(guess) {
        *rise = guess - *rise;
    }
    let mut start = steady(fine)?.rise_K;
    let carried = interpolate(&swing.mesh, &swing.rise_K, fine.network.mesh);
    start.iter_mut().zip(&carried).for_each(|(x, swing)| *x += swing);
    Ok(start)
}

/// Share of the difference between the two meshes that is the error of the finer one, for each
/// source, by the steady state of the case; the whole where that is not known.
fn shares(
    module: &Module,
    mesh: &Mesh,
    coarse_mesh: &Mesh,
    steady_max_K: Option<&[f64]>,
) -> Vec<f64> {
    let all = vec![MOST_SHARE; module.die.len() + module.heaters.len()];
    let Some(known) = steady_max_K else { return all };
    let on = |mesh: &Mesh| {
        let options = SteadyOptions::default();
        let solution = solve_on_mesh(module, mesh.clone(), None, &options).ok()?;
        Some(face_statistics(&Network::new(module, mesh), &solution))
    };
    let (Some(here), Some(coarse)) = (on(mesh), on(coarse_mesh)) else { return all };
    let base_K = module.coolant.inlet_K;
    (0..all.len())
        .map(|s| {
            let error = (base_K + here[s].max_K - known[s]).abs();
            let apart = (here[s].max_K - coarse[s].max_K).abs();
            let share = SHARE_SAFETY * error / apart;
            if share.is_finite() { share.clamp(LEAST_SHARE, MOST_SHARE) } else { MOST_SHARE }
        })
        .collect()
}

/// The largest of some errors, K.
fn worst(error_K: &[f64]) -> f64 {
    error_K.iter().copied().fold(0.0, f64::max)
}

/// A run on the coarse mesh, to be done once more with every step cut in two.
struct Halves<'a> {
    request: &'a Request<'a>,
    options: TransientOptions,
    coarse_mesh: &'a Mesh,
    guess: Option<Vec<f64>>,
    given: Option<Vec<f64>>,
    run: &'a Run,
}

impl Halves<'_> {
    /// Error in time of each source, K, and the linear iterations that it took to know.
    fn error_K(self) -> Result<(Vec<f64>, usize), TransientError> {
        let Request { module, cycle, sensors, .. } = *self.request;
        let system = System::new(module, self.coarse_mesh, cycle, self.options)?;
        let mut halved = Runner {
            system: system.with_sensors(sensors),
            ladder: Ladder::default(),
            heard: &mut |_, _| (),
            name: "",
            guess: self.guess,
            given: self.given,
        };
        let (again, _) = halved.run(Steps::Replayed(&self.run.plan.halved(), 2))?;
        let apart = apart(&self.run.records, &again.records, cycle.power_W.len());
        Ok((apart.iter().map(|d| 4.0 / 3.0 * d).collect(), halved.ladder.iterations))
    }
}

/// What is to be run.
#[derive(Debug, Clone, Copy)]
pub struct Request<'a> {
    /// The part.
    pub module: &'a Module,
    /// What changes.
    pub cycle: &'a Cycle,
    /// The mesh that a steady solve has chosen; coarsened as the cycle says.
    pub steady_mesh: &'a Mesh,
    /// The hottest point of each source in the steady state of `module` as refinement has found
    /// it, K, if it is known.
    pub steady_max_K: Option<&'a [f64]>,
    /// Sensors to read.
    pub sensors: &'a [Sensor],
    /// A state to start from instead of what the cycle says.
    pub from: Option<&'a SavedState>,
}

/// Runs a profile. `heard` is told of progress: a stage, and its share done (or, below zero, minus
/// the number of periods tried on the way to the state that comes back).
///
/// # Errors
/// See [`TransientError`].
pub fn run(
    request: &Request,
    options: TransientOptions,
    heard: &mut dyn FnMut(&str, f64),
) -> Result<TransientResult, TransientError> {
    let Request { module, cycle, steady_mesh, steady_max_K, sensors, from } = *request;
    let mesh = coarsened(module, steady_mesh, cycle.coarsening);
    let coarse_mesh = coarsened(module, &mesh, 2);
    let given = from
        .map(|state| state.rises_on(module, &mesh, steady_mesh))
        .transpose()
        .map_err(TransientError::OtherState)?;
    let sources = cycle.power_W.len();
    let given_coarse = given.as_ref().map(|rises| interpolate(&mesh, rises, &coarse_mesh));
    let mut coarse = Runner {
        system: System::new(module, &coarse_mesh, cycle, options)?.with_sensors(sensors),
        ladder: Ladder::default(),
        heard: &mut *heard,
        name: "choosing steps on the coarse mesh",
        guess: None,
        given: given_coarse.clone(),
    };
    let mut step_tolerance_K = FIRST_TOLERANCE * cycle.time_accuracy_K;
    let mut iterations = 0;
    let mut round = 1;
    let (mut run, settled, coarse_run, time_error_K) = loop {
        let (coarse_run, _) = coarse.run(Steps::Chosen(step_tolerance_K))?;
        let called_off = AtomicBool::new(false);
        let mut fine = Runner {
            system: System::new(module, &mesh, cycle, options)?
                .with_sensors(sensors)
                .unless(&called_off),
            ladder: Ladder::default(),
            heard: &mut *coarse.heard,
            name: "running",
            guess: None,
            given: given.clone(),
        };
        let guess = coarse.guess.clone();
        let halves = Halves {
            request,
            options,
            coarse_mesh: &coarse_mesh,
            guess: guess.clone(),
            given: given_coarse.clone(),
            run: &coarse_run,
        };
        // The scope puts another in its place.
        let mut measured = Err(TransientError::TooManySteps { time_s: 0.0 });
        let ran = rayon::in_place_scope(|scope| {
            scope.spawn(|_| {
                let found = halves.error_K();
                let good = |(error_K, _): &(Vec<f64>, usize)| {
                    round == MOST_ROUNDS || worst(error_K) <= cycle.time_accuracy_K
                };
                called_off.store(!found.as_ref().is_ok_and(good), Ordering::Relaxed);
                measured = found;
            });
            if let Some(guess) = guess {
                fine.guess = Some(carried(&coarse.system, &fine.system, &guess)?);
            }
            fine.run(Steps::Replayed(&coarse_run.plan, 1))
        });
        iterations += fine.ladder.iterations;
        let (error_K, more) = measured?;
        iterations += more;
        let worst_K = worst(&error_K);
        if worst_K <= cycle.time_accuracy_K || round == MOST_ROUNDS {
            let (run, settled) = ran?;
            break (run, settled, coarse_run, error_K);
        }
        // Errors of steps grow with the cube of their length, that of a run with the square.
        let tighten = (0.7 * cycle.time_accuracy_K / worst_K).powf(1.5);
        step_tolerance_K *= tighten.clamp(0.01, 0.7);
        round += 1;
    };
    iterations += coarse.ladder.iterations;
    drop(coarse);
    // Where the coarse mesh ran away there are no more steps; the mesh itself is about as far.
    run.ran_away_s = run.ran_away_s.or(coarse_run.ran_away_s);
    let shares = shares(module, &mesh, &coarse_mesh, steady_max_K);
    let space_error_K = apart(&run.records, &coarse_run.records, sources)
        .iter()
        .zip(&shares)
        .map(|(apart, share)| apart * share)
        .collect();
    Ok(TransientResult {
        time_error_K,
        space_error_K,
        settled,
        step_tolerance_K,
        last_period_change_K: run.last_period_change_K,
        iterations,
        run,
        coarse_mesh,
        mesh,
    })
}

/// Runs a profile on its mesh as it is, in `count` equal steps between every two breaks: for studies
/// of the order in time. Pictures are not taken.
///
/// # Errors
/// See [`TransientError`].
pub fn equal_steps(
    request: &Request,
    count: usize,
    options: TransientOptions,
) -> Result<Run, TransientError> {
    let Request { module, steady_mesh: mesh, sensors, from, .. } = *request;
    let cycle = Cycle { snapshots_s: Vec::new(), ..request.cycle.clone() };
    let breaks = cycle.breaks_s();
    let period: Vec<Vec<f64>> =
        breaks.windows(2).map(|w| vec![(w[1] - w[0]) / count as f64; count]).collect();
    let stretches = std::iter::repeat_n(period, cycle.repeats).flatten().collect();
    let given = from.map(|state| state.rises_on(module, mesh, mesh)).transpose();
    let mut runner = Runner {
        system: System::new(module, mesh, &cycle, options)?.with_sensors(sensors),
        ladder: Ladder::default(),
        heard: &mut |_, _| (),
        name: "",
        guess: None,
        given: given.map_err(TransientError::OtherState)?,
    };
    Ok(runner.run(Steps::Replayed(&Plan { stretches }, 1))?.0)
}
