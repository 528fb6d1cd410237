//! The curve of liquid against margin around the pattern found.

use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use super::ArrangeOptions;
use super::evaluate::{Evaluator, State};
use super::goal::{Aim, Goal};
use super::keeper::Keeper;
use super::rules::{Rules, Spot};
use super::search::{Effort, descend};

/// Hears what is being done, how much of it is done, and of how much.
type Progress<'a> = &'a (dyn Fn(&str, usize, usize) + Sync);

/// Budgets of the trade-off curve over the flow of the pattern found.
const BUDGETS: [f64; 9] = [1.0, 0.8, 1.25, 0.65, 1.5, 0.5, 1.8, 0.4, 0.9];
/// Flow factors that a case may state.
const FACTORS: [f64; 2] = [0.05, 2.0];

/// One point of the trade-off between liquid and margin, on the study's mesh.
#[derive(Debug, Clone, PartialEq)]
pub struct TradePoint {
    /// Flow of all nozzles, m³/s.
    pub flow_m3_s: f64,
    /// Hottest junction, K.
    pub hottest_K: f64,
    /// Least distance of a junction from its limit, K.
    pub least_limit_margin_K: Option<f64>,
    /// Least CHF margin of any die.
    pub least_chf_margin: Option<f64>,
}

/// What other amounts of liquid would give: the pattern found with all flows scaled, and
/// improved a little within the bounds. Where the case gives flows no range, all are scaled
/// together.
pub(super) fn trade_off(
    evaluator: &Evaluator,
    rules: &Rules,
    aim: &Aim,
    spots: &[Spot],
    options: &ArrangeOptions,
    (progress, keeper): (Progress, &dyn Keeper),
    effort: &mut Effort,
) -> Vec<TradePoint> {
    let aim = match aim.goal {
        Goal::Liquid => aim.towards(Goal::Hottest),
        goal => aim.towards(goal),
    };
    let flows_move = rules.flow_factor.iter().any(|[low, high]| high > low);
    let rounds = options.rounds.min(6);
    let done = AtomicUsize::new(0);
    let n = (options.trade_off_points + 1).min(BUDGETS.len());
    let at_budget = |budget: f64| -> Option<(TradePoint, Effort)> {
        let mut here = rules.clone();
        let mut scaled = spots.to_vec();
        for (k, spot) in scaled.iter_mut().enumerate().filter(|(k, _)| !rules.fixed[*k]) {
            let [low, high] = if flows_move { rules.flow_factor[k] } else { FACTORS };
            spot.flow_factor = (budget * spot.flow_factor).max(low).min(high);
            if !flows_move {
                here.flow_factor[k] = [spot.flow_factor; 2];
            }
        }
        here.budget_m3_s = rules.flow_m3_s(&scaled);
        let start = evaluator.solve(&here, &here.repaired(&scaled)?, None).ok()?;
        let (end, mut cost) = if budget == 1.0 {
            (start, Effort::default())
        } else {
            descend(evaluator, &here, &aim, start, rounds, &|| {}).ok()?
        };
        cost.solves += 1;
        Some((point_of(evaluator, &end), cost))
    };
    let points: Vec<Option<(TradePoint, Effort)>> = BUDGETS[..n]
        .par_iter()
        .enumerate()
        .map(|(k, &budget)| {
            let piece = format!("trade-off-{k}");
            let numbers = keeper.known(&piece).unwrap_or_else(|| {
                let numbers = at_budget(budget).map_or(Vec::new(), |(p, c)| p.to_numbers(c));
                keeper.keep(&piece, &numbers);
                numbers
            });
            progress("trade-off", done.fetch_add(1, Ordering::Relaxed) + 1, n);
            TradePoint::from_numbers(&numbers)
        })
        .collect();
    let mut curve = Vec::new();
    for (point, cost) in points.into_iter().flatten() {
        effort.add(cost);
        // Budgets beyond the range of the flows all end at it.
        let near = |other: &TradePoint| (other.flow_m3_s / point.flow_m3_s - 1.0).abs() < 0.01;
        if !curve.iter().any(near) {
            curve.push(point);
        }
    }
    curve.sort_by(|a, b| a.flow_m3_s.total_cmp(&b.flow_m3_s));
    curve
}

fn point_of(evaluator: &Evaluator, state: &State) -> TradePoint {
    let inlet_K = evaluator.module.coolant.inlet_K;
    let module = evaluator.module;
    let limits =
        module.die.iter().map(|d| d.limit_K).chain(module.heaters.iter().map(|h| h.limit_K));
    let margins = limits
        .zip(&state.hot_K)
        .filter_map(|(limit, hot)| Some(limit? - inlet_K - hot))
        .min_by(f64::total_cmp);
    let load = state.load.iter().copied().fold(0.0, f64::max);
    TradePoint {
        flow_m3_s: state.flow_m3_s,
        hottest_K: inlet_K + state.hot_K.iter().copied().fold(0.0, f64::max),
        least_limit_margin_K: margins,
        least_chf_margin: (load > 0.0).then(|| 1.0 / load),
    }
}

impl TradePoint {
    fn to_numbers(&self, cost: Effort) -> Vec<f64> {
        vec![
            self.flow_m3_s,
            self.hottest_K,
            self.least_limit_margin_K.unwrap_or(f64::NAN),
            self.least_chf_margin.unwrap_or(f64::NAN),
            cost.solves as f64,
            cost.gradients as f64,
        ]
    }

    fn from_numbers(numbers: &[f64]) -> Option<(TradePoint, Effort)> {
        let &[flow_m3_s, hottest_K, limit, chf, solves, gradients] = numbers else { return None };
        let some = |value: f64| (!value.is_nan()).then_some(value);
        let point = TradePoint {
            flow_m3_s,
            hottest_K,
            least_limit_margin_K: some(limit),
            least_chf_margin: some(chf),
        };
        Some((point, Effort { solves: solves as usize, gradients: gradients as usize }))
    }
}
