//! What all samples tell of one junction.

use super::Scatter;
use super::statistics::{Bounded, moments, percentile, probability, variance_shares};
use crate::study::point::PointOutcome;
use crate::study::points::Points;

/// Percentiles that are told.
pub const PERCENTILES: [f64; 5] = [0.01, 0.05, 0.5, 0.95, 0.99];

/// What all samples tell of one junction.
#[derive(Debug, Clone)]
pub struct JunctionScatter {
    /// Mean (K) and variance (K²) of its highest temperature, over the samples that have a steady
    /// state.
    pub moments: Option<[Bounded; 2]>,
    /// At [`PERCENTILES`], K; samples without a steady state are hotter than any other.
    pub percentiles: Vec<Option<Bounded>>,
    /// Probability that its limit or margin to burn-out is broken, or that there is no steady
    /// state; `None` where it has neither limit nor margin.
    pub broken: Option<Bounded>,
    /// Share of the variance of its distance to the limit that each tolerance explains linearly,
    /// and what is left; see [`variance_shares`].
    pub shares: Option<(Vec<f64>, f64)>,
}

impl Scatter<'_> {
    /// What `outcomes`, one a sample in their order, tell of junction `j`.
    pub fn of_junction(&self, j: usize, outcomes: &[PointOutcome]) -> JunctionScatter {
        let solved: Vec<_> = outcomes
            .iter()
            .enumerate()
            .filter_map(|(k, outcome)| Some((k, *outcome.as_ref().ok()?.junctions.get(j)?)))
            .collect();
        let failed = outcomes.len() - solved.len();
        let temperatures: Vec<f64> = solved.iter().map(|(_, junction)| junction.max_K).collect();
        let mut sorted = temperatures.clone();
        sorted.sort_by(f64::total_cmp);
        sorted.extend(std::iter::repeat_n(f64::INFINITY, failed));
        let hits = solved.iter().filter(|(_, junction)| {
            // The statement is on temperature; the numerical error is told beside.
            junction.limit_K.is_some_and(|limit| junction.max_K > limit)
                || junction.chf_margin.is_some_and(|margin| margin < 1.0)
        });
        let hits = hits.count() + failed;
        let can_break = self.module.die.get(j).is_some_and(|die| die.limit_K.is_some())
            || solved.iter().any(|(_, p)| p.limit_K.is_some() || p.chf_margin.is_some());
        let inputs: Vec<Vec<f64>> = solved.iter().map(|(k, _)| self.deviates(*k)).collect();
        // What counts is the distance to the limit, where that scatters too.
        let distances: Vec<f64> =
            solved.iter().map(|(_, p)| p.max_K - p.limit_K.unwrap_or(0.0)).collect();
        let shares = variance_shares(&inputs, &distances).map(|(shares, left)| {
            let mut of_tolerance = vec![0.0; self.tolerances.len()];
            for (share, (tolerance, _)) in shares.iter().zip(self.dimensions()) {
                of_tolerance[tolerance] += share;
            }
            (of_tolerance, left)
        });
        JunctionScatter {
            moments: moments(&temperatures),
            percentiles: PERCENTILES.iter().map(|&p| percentile(&sorted, p)).collect(),
            broken: if can_break { probability(hits, self.count()) } else { None },
            shares,
        }
    }
}
