//! From the changes between grids to a correction and an uncertainty.
//!
//! Three grids, each twice as fine as the one before, give two changes of a temperature, D1
//! (quarter to half) and D2 (half to fine). With the observed order p the fine grid is off by
//! c(p) D2:
//!
//! ```text
//! p = log2 |D1 / D2|      c(p) = 1 / (2^p - 1)
//! ```
//!
//! Richardson extrapolation and its safety: P. J. Roache, J. Fluids Eng. 116 (1994) 405-413;
//! I. B. Celik et al., J. Fluids Eng. 130 (2008) 078001. The grid convergence index of those
//! papers multiplies c |D2| by 1.25 and leaves the value alone. Here the value is corrected, and
//! the uncertainty is what the correction may be off by when the order is off by
//! some tenths ([`Trust`]). Where the changes do not look like an order (they swing or grow), the last
//! change itself is doubted, and a share of the one before.
//!
//! Where only the sheets are doubled there is one change D. Doubling lessens the error by a
//! factor r of 2 (the edge of a die, observed 2.2 to 3) to 4 (smooth, second order) and more
//! before the asymptotic range; the undoubled sheets are off by D r / (r - 1), at most 2 D.

/// Lowest and highest order that is believed: below is no convergence worth the name, above is
/// chance, for the scheme is of second order.
const ORDERS: [f64; 2] = [1.0, 2.0];
/// Slowest order that is allowed for beyond the correction; changes that fall more slowly are
/// rather two errors of opposite sign.
const SLOWEST: f64 = 0.6;
/// How far the order and the last change of one kind of temperature are trusted. Set with the
/// random modules of `validation/uncertainty.md`.
#[derive(Debug, Clone, Copy)]
struct Trust {
    /// By how much an observed order may be off.
    order_doubt: f64,
    /// Least share of the last change that is always doubted.
    least_share: f64,
}

/// Changes of a maximum carry a little noise from where the cells fall.
const OF_MAX: Trust = Trust { order_doubt: 0.3, least_share: 0.35 };
/// A mean has none of it.
const OF_MEAN: Trust = Trust { order_doubt: 0.25, least_share: 0.15 };
/// A minimum lies in a corner of the die, where the order settles last.
const OF_MIN: Trust = Trust { order_doubt: 0.25, least_share: 0.45 };

/// How much more a maximum on the rim of its source is doubted: it is read off from cells on one
/// side, where the slope is steepest.
const RIM_DOUBT: f64 = 1.9;
/// How much more maximum, mean and minimum are doubted under nozzles: the edges of cones cut cells,
/// and what lies in a cut cell changes from grid to grid.
pub(super) const NOZZLE_DOUBT: [f64; 3] = [2.4, 2.0, 2.0];
/// Least share of the change before that is always doubted: a last change may be small by chance.
const LEAST_SHARE_BEFORE: f64 = 0.06;
/// Share of the change before that is doubted where the changes show no order: what order 1.5
/// would leave of it on the fine grid, 1 / ((2^p - 1) 2^p).
const DISORDERLY_SHARE: f64 = 0.2;

/// What to add to a value, and how far it may still be off, K.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Estimate {
    pub correction_K: f64,
    pub uncertainty_K: f64,
}

/// 1 / (2^p - 1).
fn share(order: f64) -> f64 {
    1.0 / (order.exp2() - 1.0)
}

impl Estimate {
    /// The uncertainty of the value left as it is, K.
    pub(super) fn without_correction(self) -> f64 {
        self.uncertainty_K + self.correction_K.abs()
    }
}

/// The estimates of maximum, mean and minimum; `before` are the changes from quarter to half,
/// `last` from half to fine, K. `on_rim`: the maximum lies on the rim of its source; `sprayed`: there
/// are nozzles.
pub(super) fn joint(
    before: [f64; 3],
    last: [f64; 3],
    on_rim: bool,
    sprayed: bool,
) -> [Estimate; 3] {
    let trust = [OF_MAX, OF_MEAN, OF_MIN];
    let mut more = if sprayed { NOZZLE_DOUBT } else { [1.0; 3] };
    if on_rim {
        more[0] = more[0].max(RIM_DOUBT);
    }
    [0, 1, 2].map(|m| {
        let estimate = from_changes(before[m], last[m], trust[m]);
        Estimate { uncertainty_K: more[m] * estimate.uncertainty_K, ..estimate }
    })
}

/// The estimate of any other value, doubted like a maximum.
pub(super) fn of_value(before: f64, last: f64) -> Estimate {
    from_changes(before, last, OF_MAX)
}

fn from_changes(before: f64, last: f64, trust: Trust) -> Estimate {
    let ratio = before / last;
    let orderly = ratio > 1.0 && ratio.is_finite();
    if orderly {
        let order = ratio.log2().clamp(ORDERS[0], ORDERS[1]);
        let correction_K = share(order) * last;
        let spread = share(order - trust.order_doubt) - share(order);
        // Slower than the believed range: what that order would leave beyond the correction is
        // doubted too.
        let unbelieved = share(ratio.log2().clamp(SLOWEST, ORDERS[0])) - share(ORDERS[0]);
        let uncertainty_K = ((spread.max(trust.least_share) + unbelieved) * last.abs())
            .max(LEAST_SHARE_BEFORE * before.abs());
        Estimate { correction_K, uncertainty_K }
    } else {
        let uncertainty_K = last.abs().max(DISORDERLY_SHARE * before.abs());
        Estimate { correction_K: 0.5 * last, uncertainty_K }
    }
}

/// The error that a change from half to fine leaves where no order was observed: none below
/// [`SLOWEST`] is allowed for.
pub(super) fn unseen(last: f64) -> f64 {
    share(SLOWEST) * last.abs()
}

/// The error left by sheets whose doubling changes a value by `change`, K.
pub(super) fn thickness(change: f64) -> f64 {
    2.0 * change.abs()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A series of values `limit + error * h^p` on h = 4, 2, 1.
    fn changes(error: f64, order: f64) -> (f64, f64, f64) {
        let value = |h: f64| error * h.powf(order);
        (value(2.0) - value(4.0), value(1.0) - value(2.0), value(1.0))
    }

    #[test]
    fn a_clean_order_is_corrected_exactly_and_the_interval_holds() {
        for order in [1.0, 1.3, 1.7, 2.0] {
            for error in [0.2, -3.0] {
                let (before, last, left) = changes(error, order);
                let estimate = from_changes(before, last, OF_MAX);
                assert!((left + estimate.correction_K).abs() < 1e-12);
                assert!(estimate.uncertainty_K > 0.0);
                assert!(estimate.without_correction() > left.abs());
            }
        }
    }

    #[test]
    fn slow_convergence_is_inside_the_interval() {
        for order in [0.6, 0.8] {
            let (before, last, left) = changes(1.0, order);
            let estimate = from_changes(before, last, OF_MAX);
            assert!((left + estimate.correction_K).abs() <= estimate.uncertainty_K);
        }
    }

    #[test]
    fn swinging_changes_are_not_taken_for_an_order() {
        let estimate = from_changes(0.4, -0.05, OF_MAX);
        assert!(estimate.uncertainty_K >= 0.08);
        let by_chance = from_changes(0.4, 1e-6, OF_MAX);
        assert!(by_chance.uncertainty_K >= 0.015);
        let growing = from_changes(0.01, 0.1, OF_MAX);
        assert!(growing.uncertainty_K >= 0.05);
    }

    #[test]
    fn exact_grids_leave_nothing() {
        let estimate = from_changes(0.0, 0.0, OF_MAX);
        assert_eq!((estimate.correction_K, estimate.uncertainty_K), (0.0, 0.0));
    }

    /// Worked by hand from the formulas of this file; share(0.6) = 1.93904, share(0.8) = 1.34934,
    /// share(1) = 1, share(1.8) = 0.40287, share(2) = 1/3.
    #[test]
    fn the_estimate_is_what_its_formulas_say() {
        let check = |before: f64, last: f64, least: f64, correction: f64, uncertainty: f64| {
            let trust = Trust { order_doubt: 0.2, least_share: least };
            let estimate = from_changes(before, last, trust);
            assert!((estimate.correction_K - correction).abs() < 1e-4, "{before}: {estimate:?}");
            assert!((estimate.uncertainty_K - uncertainty).abs() < 1e-4, "{before}: {estimate:?}");
        };
        // Order 1: the doubt in the order counts, then the least share.
        check(2.0, 1.0, 0.28, 1.0, 0.34934);
        check(2.0, 1.0, 0.45, 1.0, 0.45);
        check(-4.0, -2.0, 0.28, -2.0, 0.69868);
        // Order 2: the change before is the larger doubt.
        check(4.0, 1.0, 0.1, 1.0 / 3.0, 0.24);
        check(4.0, 1.0, 0.3, 1.0 / 3.0, 0.3);
        // Order 3 is believed to be 2.
        check(8.0, 1.0, 0.5, 1.0 / 3.0, 0.5);
        // Slower than believed: order 0.8, then 0.3, doubted like 0.6.
        check(0.8f64.exp2(), 1.0, 0.28, 1.0, 0.34934 + 0.34934);
        check(0.3f64.exp2(), 1.0, 0.28, 1.0, 0.34934 + 0.93904);
        // No order: equal, growing and swinging changes.
        check(1.0, 1.0, 0.28, 0.5, 1.0);
        check(0.1, 1.0, 0.28, 0.5, 1.0);
        check(1.0, -0.05, 0.28, -0.025, 0.2);
        assert!((unseen(-2.0) - 3.87808).abs() < 1e-4);
        assert_eq!(thickness(-3.0), 6.0);
    }

    #[test]
    fn a_rim_and_nozzles_are_doubted_more() {
        let of = |on_rim, sprayed| joint([2.0; 3], [1.0; 3], on_rim, sprayed);
        let calm = of(false, false);
        let times = |estimates: [Estimate; 3]| {
            for (estimate, calm) in estimates.iter().zip(&calm) {
                assert_eq!(estimate.correction_K, calm.correction_K);
            }
            [0, 1, 2].map(|m| (100.0 * estimates[m].uncertainty_K / calm[m].uncertainty_K).round())
        };
        assert_eq!(times(of(true, false)), [190.0, 100.0, 100.0]);
        assert_eq!(times(of(false, true)), [240.0, 200.0, 200.0]);
        assert_eq!(times(of(true, true)), [240.0, 200.0, 200.0]);
        assert_eq!(calm[0], of_value(2.0, 1.0));
        // The least shares of maximum and minimum; of the mean, that of the change before.
        let fast = joint([3.0; 3], [1.0; 3], false, false).map(|e| e.uncertainty_K);
        assert!(
            fast.iter().zip([0.35, 0.18, 0.45]).all(|(a, b)| (a - b).abs() < 1e-12),
            "{fast:?}"
        );
    }
}
