//! What a better pattern is: goals, and conditions that must hold meanwhile.

use super::evaluate::{Function, QUARTERS, State};
use crate::module::{ArrangeBounds, Module};
use crate::results::SteadyResult;

/// What is sought.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Goal {
    /// The lowest hottest junction.
    Hottest,
    /// The largest least CHF margin.
    Margin,
    /// The least liquid that keeps limits and margins.
    Liquid,
}

/// Wetted share that a die may lose, so that rounding does not count.
const WETTED_SLACK: f64 = 0.005;
/// Share of a CHF margin that may be lost where the case asks for none.
const MARGIN_SLACK: f64 = 0.01;

/// What a CHF margin keeps above the least allowed while a pattern is sought: the least of a die
/// sits in a few cells at the rims of cones, and another grid finds it a little lower.
const MARGIN_RESERVE: f64 = 0.03;

/// A value to make small, and the function it is made of.
#[derive(Debug, Clone, Copy)]
pub(super) struct Term {
    pub value: f64,
    /// `None`: the flow.
    pub function: Option<Function>,
    /// Change of `value` with the function (or the flow).
    pub slope: f64,
}

/// Goal and conditions in numbers near 1.
#[derive(Debug, Clone)]
pub(super) struct Aim {
    pub goal: Goal,
    /// Largest rise at first, K.
    scale_K: f64,
    /// Largest load at first.
    scale_load: f64,
    /// Flow at first, m³/s.
    scale_flow_m3_s: f64,
    /// Least CHF margin asked for.
    pub least_chf_margin: f64,
    /// Highest rise allowed for each source, K.
    allowed_K: Vec<Option<f64>>,
    /// Least wetted share of each source.
    least_wetted: Vec<f64>,
}

impl Aim {
    /// What `goal` means for a module whose present pattern is solved as `before`.
    pub fn new(
        module: &Module,
        bounds: &ArrangeBounds,
        goal: Goal,
        before: &SteadyResult,
        flow_m3_s: f64,
    ) -> Aim {
        let inlet_K = module.coolant.inlet_K;
        let junctions = &before.junctions;
        let hottest = junctions.iter().map(|j| j.max_K - inlet_K).fold(0.0, f64::max);
        let margins = junctions.iter().filter_map(|j| j.chf_margin);
        let least = margins.fold(f64::INFINITY, f64::min);
        let least_chf_margin = bounds.least_chf_margin.unwrap_or_else(|| {
            if least.is_finite() { ((1.0 - MARGIN_SLACK) * least).clamp(1.0, 2.0) } else { 1.0 }
        });
        Aim {
            goal,
            scale_K: hottest.max(1e-3),
            scale_load: if least.is_finite() { 1.0 / least } else { 1.0 },
            scale_flow_m3_s: flow_m3_s.max(f64::MIN_POSITIVE),
            least_chf_margin,
            allowed_K: junctions
                .iter()
                .map(|j| {
                    let limit = j.limit_K? - inlet_K - bounds.least_limit_margin_K;
                    Some(limit - j.uncertainty_K)
                })
                .collect(),
            least_wetted: junctions
                .iter()
                .map(|j| j.wetted_share.unwrap_or(0.0) - WETTED_SLACK)
                .collect(),
        }
    }

    /// The same conditions with another goal.
    pub fn towards(&self, goal: Goal) -> Aim {
        Aim { goal, ..self.clone() }
    }

    /// What is to be made small; the largest counts.
    pub fn goals(&self, state: &State) -> Vec<Term> {
        let of = |values: &[f64], scale: f64, function: fn(usize) -> Function| {
            values
                .iter()
                .enumerate()
                .map(|(k, v)| Term {
                    value: v / scale,
                    function: Some(function(k)),
                    slope: 1.0 / scale,
                })
                .collect()
        };
        match self.goal {
            Goal::Hottest => of(&state.hot_parts_K, self.scale_K, Function::Hot),
            Goal::Margin => of(&state.load_parts, self.scale_load, Function::Load),
            Goal::Liquid => vec![Term {
                value: state.flow_m3_s / self.scale_flow_m3_s,
                function: None,
                slope: 1.0 / self.scale_flow_m3_s,
            }],
        }
    }

    /// What must not be above zero.
    pub fn conditions(&self, state: &State) -> Vec<Term> {
        let mut terms = Vec::new();
        for (part, hot_K) in state.hot_parts_K.iter().enumerate() {
            if let Some(allowed_K) = self.allowed_K[part / QUARTERS] {
                terms.push(Term {
                    value: (hot_K - allowed_K) / self.scale_K,
                    function: Some(Function::Hot(part)),
                    slope: 1.0 / self.scale_K,
                });
            }
        }
        if self.goal != Goal::Margin {
            for (part, load) in state.load_parts.iter().enumerate() {
                let least = (1.0 + MARGIN_RESERVE) * self.least_chf_margin;
                terms.push(Term {
                    value: load * least - 1.0,
                    function: Some(Function::Load(part)),
                    slope: least,
                });
            }
        }
        for (k, wetted) in state.wetted.iter().enumerate() {
            // A dry place has no margin to lose: it must not count as an improvement.
            if self.goal != Goal::Hottest {
                terms.push(Term {
                    value: self.least_wetted[k] - wetted,
                    function: Some(Function::Wetted(k)),
                    slope: -1.0,
                });
            }
        }
        terms
    }

    /// The two in one number: largest goal plus `penalty` times the largest broken condition.
    pub fn merit(&self, state: &State, penalty: f64) -> f64 {
        let goal = self.goals(state).iter().map(|t| t.value).fold(f64::NEG_INFINITY, f64::max);
        let broken = self.conditions(state).iter().map(|t| t.value).fold(0.0, f64::max);
        goal + penalty * broken
    }

    /// Goal of a full solve (smaller is better) and its largest broken condition (0 where all
    /// hold), in the same numbers.
    pub fn judged(&self, module: &Module, result: &SteadyResult, flow_m3_s: f64) -> [f64; 2] {
        let inlet_K = module.coolant.inlet_K;
        let loads = || result.junctions.iter().filter_map(|j| Some(1.0 / j.chf_margin?));
        let goal = match self.goal {
            Goal::Hottest => {
                let rises = result.junctions.iter().map(|j| j.max_K - inlet_K);
                rises.fold(0.0, f64::max) / self.scale_K
            }
            Goal::Margin => loads().fold(0.0, f64::max) / self.scale_load,
            Goal::Liquid => flow_m3_s / self.scale_flow_m3_s,
        };
        let mut broken = 0.0f64;
        for (k, junction) in result.junctions.iter().enumerate() {
            if let Some(allowed_K) = self.allowed_K[k] {
                broken = broken.max((junction.max_K - inlet_K - allowed_K) / self.scale_K);
            }
            if self.goal != Goal::Hottest {
                let share = junction.wetted_share.unwrap_or(0.0);
                broken = broken.max(self.least_wetted[k] - share);
            }
        }
        if self.goal != Goal::Margin {
            broken = broken.max(loads().fold(0.0, f64::max) * self.least_chf_margin - 1.0);
        }
        [goal, broken]
    }
}
