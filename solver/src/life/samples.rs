//! How many parts a test needs.

use statrs::distribution::{Binomial, ChiSquared, ContinuousCDF, DiscreteCDF};

/// Most parts that are looked for.
const MOST_PARTS: u64 = 10_000_000;

/// Least number of parts of which at most `failures` may fail so that the reliability `R` is shown
/// at the confidence `C`: the least n with
///
/// ```text
/// sum over k = 0..failures of  binomial(n, k) (1 - R)^k R^(n-k)  <=  1 - C
/// ```
///
/// Without a failure this is `n >= ln(1 - C) / ln R`. `None` where R or C is not between 0 and 1,
/// or where more than ten million parts would be needed.
pub fn parts(reliability: f64, confidence: f64, failures: u64) -> Option<u64> {
    let between = |share: f64| share > 0.0 && share < 1.0;
    if !(between(reliability) && between(confidence)) {
        return None;
    }
    // So many failures are accepted with a probability that falls with n.
    let enough = |n: u64| {
        Binomial::new(1.0 - reliability, n)
            .is_ok_and(|count| count.cdf(failures) <= (1.0 - confidence) * (1.0 + 1e-12))
    };
    let (mut low, mut high) = (failures, failures + 1);
    while !enough(high) {
        if high > MOST_PARTS {
            return None;
        }
        low = high;
        high *= 2;
    }
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if enough(middle) { high = middle } else { low = middle }
    }
    Some(high)
}

/// Parts without a failure when each runs `ratio` times the life to be shown and wear-out follows
/// a Weibull law of known slope `beta`:
///
/// ```text
/// n = ln(1 - C) / (ln R  ratio^beta)
/// ```
pub fn parts_for_longer(reliability: f64, confidence: f64, ratio: f64, beta: f64) -> Option<u64> {
    let n = ((1.0 - confidence).ln() / (reliability.ln() * ratio.powf(beta)) - 1e-9).ceil();
    (n.is_finite() && n <= MOST_PARTS as f64).then_some(n.max(1.0) as u64)
}

/// How many times the life to be shown each of `n` parts must run without a failure, with a
/// Weibull law of slope `beta`: the inverse of [`parts_for_longer`].
pub fn longer_for_parts(reliability: f64, confidence: f64, n: u64, beta: f64) -> f64 {
    ((1.0 - confidence).ln() / (n as f64 * reliability.ln())).powf(1.0 / beta)
}

/// Reliability that `n` parts with `failures` of them failed show at a confidence: the R at which
/// so few failures have the probability 1 - C. Without a failure: `(1 - C)^(1/n)`.
pub fn reliability_shown(n: u64, failures: u64, confidence: f64) -> f64 {
    let accepted = |reliability: f64| {
        Binomial::new(1.0 - reliability, n).map_or(f64::NAN, |count| count.cdf(failures))
    };
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if accepted(middle) <= 1.0 - confidence { low = middle } else { high = middle }
    }
    low
}

/// Upper bound, at a confidence, of a constant failure rate after `time` part-hours (or
/// part-cycles) with `failures`:
///
/// ```text
/// rate = chi²(C; 2 failures + 2) / (2 time)
/// ```
///
/// `None` where the confidence is not between 0 and 1.
pub fn rate_bound(time: f64, failures: u64, confidence: f64) -> Option<f64> {
    if !(confidence > 0.0 && confidence < 1.0 && time > 0.0) {
        return None;
    }
    let chi = ChiSquared::new(2.0 * failures as f64 + 2.0).ok()?;
    Some(chi.inverse_cdf(confidence) / (2.0 * time))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The success-run formula: ln 0.1 / ln 0.9 = 21.85, ln 0.05 / ln 0.95 = 58.40, ln 0.1 / ln
    /// 0.95 = 44.89; with one and two failures from the binomial sum.
    #[test]
    fn parts_are_those_of_the_binomial_law() {
        for (reliability, confidence, failures, expected) in [
            (0.90, 0.90, 0, 22),
            (0.95, 0.95, 0, 59),
            (0.95, 0.90, 0, 45),
            (0.90, 0.90, 1, 38),
            (0.90, 0.90, 2, 52),
            // A public table of demonstration tests.
            (0.90, 0.95, 0, 29),
            (0.90, 0.95, 1, 46),
            (0.99, 0.90, 0, 230),
        ] {
            assert_eq!(parts(reliability, confidence, failures), Some(expected));
        }
        assert_eq!(parts(1.0, 0.9, 0), None);
        assert_eq!(parts(0.9, 0.0, 0), None);
    }

    #[test]
    fn a_longer_test_needs_fewer_parts() {
        // ln 0.1 / (ln 0.9 x 4) = 5.46.
        assert_eq!(parts_for_longer(0.9, 0.9, 2.0, 2.0), Some(6));
        assert_eq!(parts_for_longer(0.9, 0.9, 1.0, 2.0), Some(22));
        let ratio = longer_for_parts(0.9, 0.9, 6, 2.0);
        assert!((ratio - (21.854f64 / 6.0).sqrt()).abs() < 1e-3);
    }

    #[test]
    fn what_is_shown_is_what_was_asked_for() {
        for failures in 0..3 {
            let n = parts(0.9, 0.9, failures).expect("a number");
            assert!(reliability_shown(n, failures, 0.9) >= 0.9);
            assert!(reliability_shown(n - 1, failures, 0.9) < 0.9);
        }
        let shown = reliability_shown(22, 0, 0.9);
        assert!((shown - 0.1f64.powf(1.0 / 22.0)).abs() < 1e-12);
    }

    /// Without a failure chi²(C; 2) / 2 = -ln(1 - C).
    #[test]
    fn the_bound_of_a_rate_without_failures_is_the_exponential_one() {
        let bound = rate_bound(1000.0, 0, 0.9).expect("a bound");
        assert!((bound * 1000.0 / -(0.1f64.ln()) - 1.0).abs() < 1e-9);
        assert!(rate_bound(1000.0, 1, 0.9) > rate_bound(1000.0, 0, 0.9));
    }
}
