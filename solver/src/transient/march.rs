//! Steps from break to break of the profile, chosen by their error or replayed.

use super::TransientError;
use super::conditions::System;
use super::ladder::Ladder;
use super::plan::{Plan, SAME_TIME, Stretch, stretches};
use super::record::{Audit, Record, Snapshot};
use super::scheme::{Asked, Course, DIAGONAL, Step, StepFailure, WEIGHT, step};
use super::trail::Trail;
use crate::conduction::faces::WetSide;
use crate::results::HeatBalance;

/// Rise of the surface above the inlet at which nothing is worth following any more, K.
pub const RUNAWAY_RISE_K: f64 = 2000.0;
/// Most steps of a run.
const MOST_STEPS: usize = 200_000;
/// How often a replayed step that cannot be solved is cut in two.
const MOST_CUTS: usize = 10;

/// Temperatures at one time, and what follows from them.
#[derive(Debug, Clone)]
pub struct State {
    /// Time within the period, s.
    pub time_s: f64,
    /// Rises above the inlet of the case, K.
    pub x: Vec<f64>,
    /// Conductivity factors, if any varies.
    pub factors: Option<Vec<f64>>,
    /// The wet side.
    pub wet: WetSide,
    /// What flows into each cell, W.
    pub flow_W: Vec<f64>,
    /// Where the heat goes.
    pub balance: HeatBalance,
    /// How it has got here; nothing after a jump.
    pub(super) course: Option<Course>,
}

/// Where steps come from.
#[derive(Debug, Clone, Copy)]
pub enum Steps<'p> {
    /// Chosen so that the estimated error of each stays below this, K.
    Chosen(f64),
    /// Those of a plan; every so manieth is recorded.
    Replayed(&'p Plan, usize),
}

/// What a run goes through.
#[derive(Debug, Clone, Copy)]
pub(super) struct Route<'p> {
    /// How often the profile runs.
    pub repeats: usize,
    /// When pictures are taken, s.
    pub snapshots_s: &'p [f64],
    /// Where steps come from.
    pub steps: Steps<'p>,
}

/// A run over time.
#[derive(Debug, Clone)]
pub struct Run {
    /// One entry a recorded time.
    pub records: Vec<Record>,
    /// The steps made.
    pub plan: Plan,
    /// Steps tried and given up.
    pub rejected: usize,
    /// Where the heat went.
    pub audit: Audit,
    /// Pictures asked for.
    pub snapshots: Vec<Snapshot>,
    /// Rises at the end, K.
    pub end: Vec<f64>,
    /// Largest change over the last whole period, K.
    pub last_period_change_K: f64,
    /// When the surface ran away, s, if it did: the run ends there.
    pub ran_away_s: Option<f64>,
    /// Linear iterations.
    pub iterations: usize,
}

struct Marcher<'s, 'm> {
    system: &'s mut System<'m>,
    ladder: &'s mut Ladder,
    trail: Option<&'s mut Trail>,
    run: Run,
}

impl Marcher<'_, '_> {
    /// Everything at `x` under the conditions of the moment.
    fn state_at(&mut self, time_s: f64, x: Vec<f64>, start: Option<&WetSide>) -> State {
        let at = self.system.evaluate(&x, start);
        let balance = self.system.balance(at.factors.as_deref(), &x, &at.wet);
        self.system.give_back(at.operator, at.rhs_W);
        State {
            time_s,
            x,
            factors: at.factors,
            wet: at.wet,
            flow_W: at.flow_W,
            balance,
            course: None,
        }
    }

    fn accept(&mut self, before: &State, made: &Step, step_s: f64) {
        let after = &made.state;
        let audit = &mut self.run.audit;
        audit.add(WEIGHT * step_s, &before.balance);
        audit.add(WEIGHT * step_s, &made.middle);
        audit.add(DIAGONAL * step_s, &after.balance);
        audit.stored_J += self
            .system
            .capacity_J_K
            .iter()
            .zip(after.x.iter().zip(&before.x))
            .map(|(c, (a, b))| c * (a - b))
            .sum::<f64>();
    }

    /// One replayed step; where its equations cannot be solved, two of half the length.
    fn replay(
        &mut self,
        state: State,
        near_s: f64,
        step_s: f64,
        cuts: usize,
    ) -> Result<State, TransientError> {
        let trail = self.trail.as_deref().filter(|_| cuts == 0);
        let former = trail.and_then(Trail::former);
        let asked = Asked { error: false, moves: trail.is_some(), former };
        match step(self.system, self.ladder, &state, near_s, step_s, asked) {
            Ok(mut made) => {
                if let Some(trail) = self.trail.as_deref_mut().filter(|_| cuts == 0) {
                    trail.push(made.moves.take());
                }
                self.accept(&state, &made, step_s);
                Ok(made.state)
            }
            Err(StepFailure::Fatal(error)) => Err(error),
            Err(StepFailure::Unsolved) if cuts < MOST_CUTS => {
                self.run.rejected += 1;
                if let Some(trail) = self.trail.as_deref_mut().filter(|_| cuts == 0) {
                    trail.push(None);
                }
                let half = self.replay(state, near_s, 0.5 * step_s, cuts + 1)?;
                self.replay(half, near_s, 0.5 * step_s, cuts + 1)
            }
            Err(StepFailure::Unsolved) => {
                Err(TransientError::Stuck { time_s: state.time_s, step_s })
            }
        }
    }

    /// Steps through one stretch by their error; returns the lengths.
    fn choose(
        &mut self,
        mut state: State,
        stretch: &Stretch,
        offset_s: f64,
        tolerance_K: f64,
        next_s: &mut f64,
    ) -> Result<(State, Vec<f64>), TransientError> {
        let same = SAME_TIME * self.system.cycle.period_s;
        if state.course.is_none() {
            let rates = state.flow_W.iter().zip(&self.system.capacity_J_K);
            let fastest = rates.fold(0.0, |m: f64, (f, c)| m.max((f / c).abs()));
            *next_s = next_s.min(3.0 * tolerance_K / fastest.max(f64::MIN_POSITIVE));
        }
        let mut lengths = Vec::new();
        loop {
            let left = stretch.to_s - state.time_s;
            let step_s = if *next_s >= left * (1.0 - 1e-9) {
                left
            } else if *next_s > 0.5 * left {
                0.5 * left
            } else {
                *next_s
            };
            if step_s <= same {
                return Err(TransientError::Stuck { time_s: offset_s + state.time_s, step_s });
            }
            let asked = Asked { error: true, moves: self.trail.is_some(), former: None };
            match step(self.system, self.ladder, &state, stretch.near_s, step_s, asked) {
                Err(StepFailure::Fatal(error)) => return Err(error),
                Err(StepFailure::Unsolved) => {
                    self.run.rejected += 1;
                    *next_s = 0.25 * step_s;
                }
                Ok(mut made) => {
                    let error_K = made.error_K.unwrap_or(f64::INFINITY);
                    let factor = if error_K > 0.0 {
                        0.85 * (tolerance_K / error_K).cbrt()
                    } else {
                        f64::INFINITY
                    };
                    if error_K.is_nan() || error_K > tolerance_K {
                        self.run.rejected += 1;
                        *next_s = step_s * factor.clamp(0.1, 0.7);
                        continue;
                    }
                    if let Some(trail) = self.trail.as_deref_mut() {
                        trail.push(made.moves.take());
                    }
                    self.accept(&state, &made, step_s);
                    // A step cut short by a break says little about the next.
                    *next_s = (step_s * factor.clamp(0.5, 4.0)).max(if step_s < *next_s {
                        *next_s
                    } else {
                        0.0
                    });
                    state = made.state;
                    lengths.push(step_s);
                    let done = stretch.to_s - state.time_s <= same;
                    if done {
                        state.time_s = stretch.to_s;
                    }
                    self.run.records.push(Record::of(self.system, &state, offset_s));
                    if self.run.plan.len() + lengths.len() > MOST_STEPS {
                        return Err(TransientError::TooManySteps {
                            time_s: offset_s + state.time_s,
                        });
                    }
                    if done || has_run_away(&state) {
                        return Ok((state, lengths));
                    }
                }
            }
        }
    }

    /// Steps through one stretch by a plan.
    fn follow(
        &mut self,
        mut state: State,
        stretch: &Stretch,
        offset_s: f64,
        lengths: &[f64],
        every: usize,
    ) -> Result<State, TransientError> {
        for (k, &step_s) in lengths.iter().enumerate() {
            if self.system.is_called_off() {
                // Whoever has called it off does not look at this.
                return Err(TransientError::Stuck { time_s: state.time_s, step_s });
            }
            state = self.replay(state, stretch.near_s, step_s, 0)?;
            if k + 1 == lengths.len()
                && (stretch.to_s - state.time_s).abs() <= 1e-9 * self.system.cycle.period_s
            {
                state.time_s = stretch.to_s;
            }
            if (k + 1) % every == 0 {
                self.run.records.push(Record::of(self.system, &state, offset_s));
            }
        }
        Ok(state)
    }
}

fn has_run_away(state: &State) -> bool {
    state.wet.rise_K.iter().any(|rise| *rise > RUNAWAY_RISE_K)
}

/// Runs the profile along `route` from the rises `start`.
/// A trail of one period lends and keeps moves. `heard` is told how far it is, in seconds of the run.
///
/// # Errors
/// See [`TransientError`].
pub(super) fn march(
    system: &mut System,
    ladder: &mut Ladder,
    start: Vec<f64>,
    route: Route,
    trail: Option<&mut Trail>,
    heard: &mut dyn FnMut(f64),
) -> Result<Run, TransientError> {
    let Route { repeats, snapshots_s, steps } = route;
    let cycle = system.cycle;
    let iterations_before = ladder.iterations;
    let run = Run {
        records: Vec::new(),
        plan: Plan::default(),
        rejected: 0,
        audit: Audit::default(),
        snapshots: Vec::new(),
        end: Vec::new(),
        last_period_change_K: f64::NAN,
        ran_away_s: None,
        iterations: 0,
    };
    let mut marcher = Marcher { system, ladder, trail, run };
    let mut next_s = cycle.period_s;
    let mut period_start = start.clone();
    let mut state: Option<State> = None;
    let mut start = Some(start);
    let mut former: Option<Stretch> = None;
    'run: for repeat in 0..repeats {
        let offset_s = repeat as f64 * cycle.period_s;
        for stretch in stretches(cycle, offset_s, snapshots_s) {
            if stretch.at_break {
                marcher.system.set_time(stretch.near_s, stretch.from_s)?;
                let before = state.take();
                let smooth = former.is_some_and(|former| {
                    !cycle.jumps([former.near_s, former.to_s], [stretch.near_s, stretch.from_s])
                });
                let x = match &before {
                    Some(before) => before.x.clone(),
                    None => start.take().unwrap_or_default(),
                };
                let mut now = match before {
                    Some(mut before) if smooth => {
                        before.time_s = stretch.from_s;
                        before
                    }
                    before => {
                        let wet = before.as_ref().map(|b| &b.wet);
                        marcher.state_at(stretch.from_s, x, wet)
                    }
                };
                now.time_s = stretch.from_s;
                if !smooth {
                    marcher.run.records.push(Record::of(marcher.system, &now, offset_s));
                    let wanted = repeat == 0
                        && stretch.from_s == 0.0
                        && snapshots_s.iter().any(|at| *at <= SAME_TIME * cycle.period_s);
                    if wanted {
                        marcher.run.snapshots.push(Snapshot::of(marcher.system, &now, offset_s));
                    }
                }
                state = Some(now);
            }
            former = Some(stretch);
            let Some(from) = state.take() else { break 'run };
            let at = marcher.run.plan.stretches.len();
            let (now, lengths) = match steps {
                Steps::Chosen(tolerance_K) => {
                    marcher.choose(from, &stretch, offset_s, tolerance_K, &mut next_s)?
                }
                Steps::Replayed(plan, every) => {
                    let Some(lengths) = plan.stretches.get(at) else {
                        state = Some(from);
                        break 'run;
                    };
                    let now = marcher.follow(from, &stretch, offset_s, lengths, every)?;
                    (now, lengths.clone())
                }
            };
            marcher.run.plan.stretches.push(lengths);
            if stretch.picture {
                marcher.run.snapshots.push(Snapshot::of(marcher.system, &now, offset_s));
            }
            heard(offset_s + now.time_s);
            if has_run_away(&now) {
                marcher.run.ran_away_s = Some(offset_s + now.time_s);
                state = Some(now);
                break 'run;
            }
            state = Some(now);
        }
        if let Some(state) = &state {
            marcher.run.last_period_change_K = change(&state.x, &period_start);
            period_start.clone_from(&state.x);
        }
    }
    marcher.run.end = state.map_or(period_start, |state| state.x);
    let mut run = marcher.run;
    run.iterations = ladder.iterations - iterations_before;
    Ok(run)
}

/// Largest difference, K.
pub(super) fn change(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).fold(0.0, |m: f64, (a, b)| m.max((a - b).abs()))
}
