//! How far the printed values of one source are doubted, and which source most.

use super::estimate;
use crate::results::ChfMargin;

/// Least doubt of a CHF margin as a share of it: the least margin of a die lies where the edge of a
/// cone cuts cells, and moves with them. Between grids that agree by chance it was seen to jump by
/// up to 1.4 % later.
const LEAST_CHF_SHARE: f64 = 0.02;

/// Uncertainty of one source, K: that of the maximum (at least the mean's), of the mean, which
/// converges with the least noise, and of the minimum, which lies at a corner of the die and
/// converges slowest.
#[derive(Debug, Clone, Copy)]
pub(super) struct Doubt {
    pub hot_K: f64,
    pub mean_K: f64,
    pub cold_K: f64,
    /// That of the CHF margin; `None` without nozzles.
    pub chf: Option<ChfDoubt>,
}

/// Uncertainty of a CHF margin, and by how much it grows for each kelvin more, 1/K.
#[derive(Debug, Clone, Copy)]
pub(super) struct ChfDoubt {
    pub doubt: f64,
    pub per_K: f64,
}

/// The largest uncertainty of any maximum, K.
pub(super) fn most(doubts: &[Doubt]) -> f64 {
    doubts.iter().fold(0.0, |m, d| largest(&[m, d.hot_K]))
}

/// Uncertainty of the maximum of each source, K.
pub(super) fn hot(doubts: &[Doubt]) -> Vec<f64> {
    doubts.iter().map(|d| d.hot_K).collect()
}

/// The source with the largest of `uncertainty_K`.
pub(super) fn most_doubtful(uncertainty_K: &[f64]) -> Option<usize> {
    (0..uncertainty_K.len()).max_by(|&a, &b| uncertainty_K[a].total_cmp(&uncertainty_K[b]))
}

/// Doubt of a source's CHF margin: from the change of the margin between the grids, and from
/// `more_K` that the surface may be hotter than any of them says. Margins are printed as the
/// fine grid has them, never extrapolated.
pub(super) fn chf_doubt(grids: [Option<ChfMargin>; 3], more_K: f64) -> Option<ChfDoubt> {
    let [Some(quarter), Some(half), Some(fine)] = grids else { return None };
    let from_grids = estimate::of_value(half.least - quarter.least, fine.least - half.least);
    let doubt =
        from_grids.without_correction().max(LEAST_CHF_SHARE * fine.least) + fine.per_K * more_K;
    Some(ChfDoubt { doubt, per_K: fine.per_K })
}

/// The largest value; infinite if any is not a number, so that a broken one is never passed by.
pub(super) fn largest(values: &[f64]) -> f64 {
    values.iter().fold(0.0, |m, &v| if v.is_nan() { f64::INFINITY } else { m.max(v) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_chf_margin_is_doubted_by_its_changes_and_by_what_the_surface_may_be_hotter() {
        let at = |least: f64| Some(ChfMargin { least, per_K: 0.2, at_m: [0.0; 2] });
        // First order: 1.4 in the limit, 0.4 below the finest.
        let first_order = chf_doubt([at(3.0), at(2.2), at(1.8)], 0.0).unwrap();
        assert!(first_order.doubt >= 0.4 && first_order.doubt < 0.7, "{}", first_order.doubt);
        // Grids that agree by chance leave the least share; hotter by 0.5 K costs 0.1 more.
        let by_chance = chf_doubt([at(2.0), at(2.0), at(2.0)], 0.5).unwrap();
        assert!((by_chance.doubt - (0.04 + 0.1)).abs() < 1e-12, "{}", by_chance.doubt);
        assert!(chf_doubt([None, at(2.0), at(2.0)], 0.0).is_none());
    }

    #[test]
    fn the_largest_uncertainty_is_found_and_a_broken_one_never_passed_by() {
        let doubts =
            [0.2, 0.7, 0.4].map(|hot_K| Doubt { hot_K, mean_K: 0.1, cold_K: 0.9, chf: None });
        assert_eq!(hot(&doubts), [0.2, 0.7, 0.4]);
        assert_eq!((most(&doubts), most_doubtful(&hot(&doubts))), (0.7, Some(1)));
        assert_eq!(largest(&[0.1, f64::NAN, 0.3]), f64::INFINITY);
        assert_eq!(most_doubtful(&[]), None);
    }
}
