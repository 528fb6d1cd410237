//! From one pattern to a better one, step by step within a trust region.

use super::evaluate::{Evaluator, Function, PER_NOZZLE, State};
use super::goal::{Aim, Term};
use super::rules::{Rules, Spot, nozzles_of};
use super::step::{Model, Room, Row, step};
use crate::steady::SteadyError;

/// Weight of broken conditions against the goal.
pub(super) const PENALTY: f64 = 8.0;
/// Functions that may count: those within this share of the largest, this many at most.
const WINDOW: f64 = 0.2;
const MOST_GOALS: usize = 24;
const MOST_CONDITIONS: usize = 20;
/// First, largest and least trust, in scaled variables.
const FIRST_TRUST: f64 = 0.5;
const MOST_TRUST: f64 = 1.5;
const LEAST_TRUST: f64 = 0.004;
/// A gain below this share of the merit is none.
const LEAST_GAIN: f64 = 1e-4;
/// Rounds without a gain worth the name before a search ends.
const PATIENCE: usize = 3;
/// Trials from one gradient.
const MOST_TRIALS: usize = 6;
/// Unit of a flow factor in scaled variables.
const FLOW_UNIT: f64 = 0.25;

/// What a search has cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Effort {
    /// Patterns solved.
    pub solves: usize,
    /// Gradients taken.
    pub gradients: usize,
}

impl Effort {
    pub(super) fn add(&mut self, other: Effort) {
        self.solves += other.solves;
        self.gradients += other.gradients;
    }
}

/// Size of one unit of every variable: half the radius of the nozzle's own footprint, a quarter
/// of its clean flow.
fn units(evaluator: &Evaluator) -> Vec<f64> {
    let mut units = Vec::new();
    for nozzle in nozzles_of(evaluator.module) {
        let radius = nozzle.standoff_m * (0.5 * nozzle.cone_rad).tan().min(4.0);
        units.extend([0.5 * radius, 0.5 * radius, 0.5 * radius, FLOW_UNIT]);
    }
    units
}

pub(super) fn values_of(spots: &[Spot]) -> Vec<f64> {
    spots.iter().flat_map(|s| [s.at_m[0], s.at_m[1], s.standoff_m, s.flow_factor]).collect()
}

pub(super) fn spots_from(values: &[f64]) -> Vec<Spot> {
    values
        .chunks_exact(PER_NOZZLE)
        .map(|v| Spot { at_m: [v[0], v[1]], standoff_m: v[2], flow_factor: v[3] })
        .collect()
}

/// The `most` largest terms within `window` below the largest (or below zero for conditions).
fn near_top(mut terms: Vec<Term>, from: f64, window: f64, most: usize) -> Vec<Term> {
    terms.retain(|t| t.value >= from - window);
    terms.sort_by(|a, b| b.value.total_cmp(&a.value));
    terms.truncate(most);
    terms
}

/// Goal and conditions near `state` in scaled variables.
fn model(
    evaluator: &Evaluator,
    rules: &Rules,
    aim: &Aim,
    state: &State,
    units: &[f64],
) -> Result<Model, SteadyError> {
    let goals = aim.goals(state);
    let top = goals.iter().map(|t| t.value).fold(f64::NEG_INFINITY, f64::max);
    let goals = near_top(goals, top, WINDOW * top.abs(), MOST_GOALS);
    let conditions = aim.conditions(state);
    let worst = conditions.iter().map(|t| t.value).fold(0.0, f64::max);
    let conditions = near_top(conditions, worst, WINDOW + worst, MOST_CONDITIONS);
    let mut functions: Vec<Function> = Vec::new();
    for function in goals.iter().chain(&conditions).filter_map(|t| t.function) {
        if !functions.contains(&function) {
            functions.push(function);
        }
    }
    let gradients = evaluator.gradients(rules, state, &functions)?;
    let of_flow: Vec<f64> = rules
        .clean_m3_s
        .iter()
        .zip(&rules.fixed)
        .flat_map(|(q, fixed)| [0.0, 0.0, 0.0, if *fixed { 0.0 } else { *q }])
        .collect();
    let row = |term: &Term| {
        let gradient = term
            .function
            .and_then(|f| functions.iter().position(|other| *other == f))
            .map_or(&of_flow, |k| &gradients[k]);
        Row {
            value: term.value,
            gradient: gradient.iter().zip(units).map(|(g, u)| term.slope * g * u).collect(),
        }
    };
    let mut model = Model {
        goals: goals.iter().map(row).collect(),
        conditions: conditions.iter().map(row).collect(),
        penalty: PENALTY,
    };
    model.conditions.extend(spacing_rows(rules, &state.spots, units));
    Ok(model)
}

/// Pairs of orifices that a step could bring too near each other, in units of the first one.
fn spacing_rows(rules: &Rules, spots: &[Spot], units: &[f64]) -> Vec<Row> {
    let mut rows = Vec::new();
    for (a, first) in spots.iter().enumerate() {
        for (b, second) in spots.iter().enumerate().skip(a + 1) {
            let along = [0, 1].map(|i| second.at_m[i] - first.at_m[i]);
            let apart = along[0].hypot(along[1]);
            let unit = units[a * PER_NOZZLE];
            let reach = 2.0 * (unit + units[b * PER_NOZZLE]);
            if apart <= 0.0 || apart > rules.spacing_m + reach {
                continue;
            }
            let mut gradient = vec![0.0; units.len()];
            for i in 0..2 {
                let way = along[i] / apart / unit;
                if !rules.fixed[a] {
                    gradient[a * PER_NOZZLE + i] = way * units[a * PER_NOZZLE + i];
                }
                if !rules.fixed[b] {
                    gradient[b * PER_NOZZLE + i] = -way * units[b * PER_NOZZLE + i];
                }
            }
            rows.push(Row { value: (rules.spacing_m - apart) / unit, gradient });
        }
    }
    rows
}

/// The room of one step: bounds, trust and budget, in scaled variables.
fn room(rules: &Rules, spots: &[Spot], units: &[f64], trust: f64) -> Room {
    let mut room = Room {
        low: Vec::with_capacity(units.len()),
        high: Vec::with_capacity(units.len()),
        cost: vec![0.0; units.len()],
        left: rules.budget_m3_s - rules.flow_m3_s(spots),
    };
    let r = &rules.region;
    for (n, spot) in spots.iter().enumerate() {
        let ranges = [
            ([r.x0_m, r.x1_m], spot.at_m[0]),
            ([r.y0_m, r.y1_m], spot.at_m[1]),
            (rules.standoff_m[n], spot.standoff_m),
            (rules.flow_factor[n], spot.flow_factor),
        ];
        for (i, ([low, high], now)) in ranges.into_iter().enumerate() {
            let unit = units[n * PER_NOZZLE + i];
            let reach = if rules.fixed[n] { 0.0 } else { trust };
            room.low.push(((low - now) / unit).clamp(-reach, 0.0));
            room.high.push(((high - now) / unit).clamp(0.0, reach));
        }
        room.cost[n * PER_NOZZLE + 3] = rules.clean_m3_s[n] * FLOW_UNIT;
    }
    // Costs near 1 keep the price of the budget near 1 too.
    let scale = room.cost.iter().copied().fold(0.0, f64::max).max(f64::MIN_POSITIVE);
    room.cost.iter_mut().for_each(|c| *c /= scale);
    room.left = (room.left / scale).max(0.0);
    room
}

/// Improves `start`, which keeps the rules, for at most `rounds` gradients.
///
/// # Errors
/// Where a gradient cannot be taken; a trial that has no steady state is only not gone to.
pub(super) fn descend(
    evaluator: &Evaluator,
    rules: &Rules,
    aim: &Aim,
    start: State,
    rounds: usize,
    heard: &(dyn Fn() + Sync),
) -> Result<(State, Effort), SteadyError> {
    let units = units(evaluator);
    let mut state = start;
    let mut effort = Effort::default();
    let mut trust = FIRST_TRUST;
    let mut merit = aim.merit(&state, PENALTY);
    let mut idle = 0;
    for _ in 0..rounds {
        let model = model(evaluator, rules, aim, &state, &units)?;
        effort.gradients += 1;
        heard();
        let now = values_of(&state.spots);
        let nowhere = vec![0.0; now.len()];
        let before = merit;
        for _ in 0..MOST_TRIALS {
            if trust < LEAST_TRUST {
                return Ok((state, effort));
            }
            let steepest = model
                .goals
                .iter()
                .chain(&model.conditions)
                .flat_map(|r| &r.gradient)
                .fold(0.0f64, |m, g| m.max(g.abs()));
            let reach = 4.0 * trust / steepest.max(1e-12);
            let d = step(&model, &room(rules, &state.spots, &units, trust), reach);
            let moved: Vec<f64> =
                now.iter().zip(&d).zip(&units).map(|((v, d), u)| v + d * u).collect();
            let trial = rules.repaired(&spots_from(&moved)).and_then(|spots| {
                effort.solves += 1;
                evaluator.solve(rules, &spots, Some(&state)).ok()
            });
            let Some(trial) = trial else {
                trust *= 0.4;
                continue;
            };
            let really: Vec<f64> = values_of(&trial.spots)
                .iter()
                .zip(&now)
                .zip(&units)
                .map(|((new, old), u)| (new - old) / u)
                .collect();
            let foretold = model.after(&nowhere) - model.after(&really);
            let gained = merit - aim.merit(&trial, PENALTY);
            if gained > 0.0 && gained > 0.05 * foretold {
                if gained > 0.6 * foretold {
                    trust = (1.8 * trust).min(MOST_TRUST);
                } else if gained < 0.25 * foretold {
                    trust *= 0.6;
                }
                merit -= gained;
                state = trial;
                break;
            }
            trust *= 0.4;
        }
        idle = if before - merit > LEAST_GAIN * before.abs() { 0 } else { idle + 1 };
        if idle == PATIENCE {
            break;
        }
    }
    Ok((state, effort))
}
