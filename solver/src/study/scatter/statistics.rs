//! What samples tell, and how well.
//!
//! All bounds are at 95 % confidence for independent samples. Low-discrepancy samples spread more
//! evenly than independent ones, so that the bounds hold with room to spare.

use statrs::distribution::{Beta, Binomial, ContinuousCDF, DiscreteCDF};

/// Two-sided standard normal quantile for 95 %.
const Z: f64 = 1.959_963_984_540_054;

/// A value with its bounds; a bound is `None` where there are too few samples for it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounded {
    /// The estimate.
    pub value: f64,
    /// Lower bound.
    pub low: Option<f64>,
    /// Upper bound.
    pub high: Option<f64>,
}

/// Mean and variance with bounds: z times the standard error, that of the variance from the
/// fourth moment,
///
/// ```text
/// var(s²) = (m4 - s⁴ (n - 3) / (n - 1)) / n
/// ```
///
/// `None` for fewer than four samples.
pub fn moments(values: &[f64]) -> Option<[Bounded; 2]> {
    let n = values.len() as f64;
    if values.len() < 4 {
        return None;
    }
    let mean = values.iter().sum::<f64>() / n;
    let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0);
    let m4 = values.iter().map(|v| (v - mean).powi(4)).sum::<f64>() / n;
    let around = |value: f64, half: f64| Bounded {
        value,
        low: Some(value - half),
        high: Some(value + half),
    };
    let of_variance = ((m4 - variance * variance * (n - 3.0) / (n - 1.0)) / n).max(0.0).sqrt();
    Some([around(mean, Z * (variance / n).sqrt()), around(variance, Z * of_variance)])
}

/// The value below which the share `p` of all lies, between order statistics whose ranks bound it
/// whatever the distribution (binomial). `sorted` ascends; infinite values are allowed.
pub fn percentile(sorted: &[f64], p: f64) -> Option<Bounded> {
    let n = sorted.len();
    let binomial = Binomial::new(p, n as u64).ok().filter(|_| n > 0)?;
    // The k-th value lies below the percentile when at least k samples do.
    let low = (1..=n).rev().find(|&k| binomial.cdf(k as u64 - 1) <= 0.025);
    let high = (1..=n).find(|&k| binomial.cdf(k as u64 - 1) >= 0.975);
    let place = p * (n as f64 - 1.0);
    let (below, share) = (place.floor() as usize, place.fract());
    let value = match sorted.get(below + 1) {
        Some(above) if share > 0.0 && sorted[below].is_finite() => {
            sorted[below] + share * (above - sorted[below])
        }
        _ => sorted[below],
    };
    Some(Bounded { value, low: low.map(|k| sorted[k - 1]), high: high.map(|k| sorted[k - 1]) })
}

/// The share `hits / n` with its exact binomial interval (C. J. Clopper, E. S. Pearson,
/// Biometrika 26 (1934) 404-413).
pub fn probability(hits: usize, n: usize) -> Option<Bounded> {
    if n == 0 {
        return None;
    }
    let (k, m) = (hits as f64, (n - hits) as f64);
    let quantile = |a: f64, b: f64, u: f64| Beta::new(a, b).ok().map(|beta| beta.inverse_cdf(u));
    let low = if hits == 0 { Some(0.0) } else { quantile(k, m + 1.0, 0.025) };
    let high = if hits == n { Some(1.0) } else { quantile(k + 1.0, m, 0.975) };
    Some(Bounded { value: k / n as f64, low, high })
}

/// Share of the variance of `values` that each input explains linearly, and what straight lines do
/// not explain (curvature and interaction). From the least squares fit
///
/// ```text
/// y = b0 + sum of b_d z_d,        w_d = b_d² var(z_d)
/// left = (residual sum / (n - d - 1)) / (total sum / (n - 1)),   at most 1
/// share_d = (1 - left) w_d / sum of w
/// ```
///
/// for d inputs that are independent by design. All shares and what is left add up to one: what
/// the samples happen to have in common is counted once, and a fit with many inputs is not taken
/// for better than it is (left is one minus the adjusted coefficient of determination). `inputs`
/// has a row a sample. `None` with fewer than two samples an input, or where nothing varies.
pub fn variance_shares(inputs: &[Vec<f64>], values: &[f64]) -> Option<(Vec<f64>, f64)> {
    let n = values.len();
    let dims = inputs.first()?.len();
    if n < 2 * dims + 2 {
        return None;
    }
    let mean = |of: &dyn Fn(usize) -> f64| (0..n).map(of).sum::<f64>() / n as f64;
    let means: Vec<f64> = (0..dims).map(|d| mean(&|k| inputs[k][d])).collect();
    let y_mean = mean(&|k| values[k]);
    let total: f64 = values.iter().map(|y| (y - y_mean).powi(2)).sum();
    if total.is_nan() || total <= 0.0 {
        return None;
    }
    let mut matrix = vec![0.0; dims * dims];
    let mut right = vec![0.0; dims];
    for (row, y) in inputs.iter().zip(values) {
        for a in 0..dims {
            let za = row[a] - means[a];
            right[a] += za * (y - y_mean);
            for b in 0..=a {
                matrix[a * dims + b] += za * (row[b] - means[b]);
            }
        }
    }
    let diagonal: Vec<f64> = (0..dims).map(|d| matrix[d * dims + d]).collect();
    let slopes = solve_symmetric(matrix, right, dims)?;
    let weights: Vec<f64> = slopes.iter().zip(&diagonal).map(|(b, s)| b * b * s).collect();
    let residual: f64 = inputs
        .iter()
        .zip(values)
        .map(|(row, y)| {
            let fit: f64 = (0..dims).map(|d| slopes[d] * (row[d] - means[d])).sum();
            (y - y_mean - fit).powi(2)
        })
        .sum();
    let free = (n - dims - 1) as f64;
    let left = ((residual / free) / (total / (n - 1) as f64)).min(1.0);
    let sum: f64 = weights.iter().sum();
    let scale = if sum > 0.0 { (1.0 - left) / sum } else { 0.0 };
    Some((weights.iter().map(|w| w * scale).collect(), left))
}

/// Cholesky on the lower triangle; `None` if the matrix is not positive definite.
fn solve_symmetric(mut a: Vec<f64>, mut x: Vec<f64>, n: usize) -> Option<Vec<f64>> {
    for i in 0..n {
        for j in 0..=i {
            let dot: f64 = (0..j).map(|k| a[i * n + k] * a[j * n + k]).sum();
            let rest = a[i * n + j] - dot;
            if i == j {
                if rest.is_nan() || rest <= 1e-12 * a[i * n + i] {
                    return None;
                }
                a[i * n + i] = rest.sqrt();
            } else {
                a[i * n + j] = rest / a[j * n + j];
            }
        }
    }
    for i in 0..n {
        let dot: f64 = (0..i).map(|k| a[i * n + k] * x[k]).sum();
        x[i] = (x[i] - dot) / a[i * n + i];
    }
    for i in (0..n).rev() {
        let dot: f64 = (i + 1..n).map(|k| a[k * n + i] * x[k]).sum();
        x[i] = (x[i] - dot) / a[i * n + i];
    }
    Some(x)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 95 % interval of 10 successes in 100 trials: 0.0490 to 0.1762 (Clopper-Pearson; from
    /// memory, widely tabulated). No hit in n: upper bound 1 - 0.025^(1/n), in closed form.
    #[test]
    fn intervals_of_shares_are_the_exact_binomial_ones() {
        let ten = probability(10, 100).unwrap();
        assert!((ten.low.unwrap() - 0.0490).abs() < 1e-4, "{ten:?}");
        assert!((ten.high.unwrap() - 0.1762).abs() < 1e-4, "{ten:?}");
        let none = probability(0, 50).unwrap();
        assert_eq!((none.value, none.low), (0.0, Some(0.0)));
        assert!((none.high.unwrap() - (1.0 - 0.025f64.powf(1.0 / 50.0))).abs() < 1e-9);
    }

    /// P(B(n, 1/2) <= k) bounds the median; for n = 10 the ranks are 2 and 9 (sign test tables:
    /// P(B <= 1) = 11/1024, P(B <= 2) = 56/1024).
    #[test]
    fn percentiles_lie_between_order_statistics() {
        let sorted: Vec<f64> = (1..=10).map(f64::from).collect();
        let median = percentile(&sorted, 0.5).unwrap();
        assert_eq!((median.value, median.low, median.high), (5.5, Some(2.0), Some(9.0)));
        let top = percentile(&sorted, 0.99).unwrap();
        assert_eq!(top.high, None, "ten samples say nothing above their largest");
    }

    #[test]
    fn shares_of_a_linear_sum_are_its_squares() {
        let rows: Vec<Vec<f64>> = (0..400)
            .map(|k| {
                let k = f64::from(k);
                vec![(0.618_034 * k).fract() - 0.5, (0.414_214 * k).fract() - 0.5]
            })
            .collect();
        let values: Vec<f64> = rows.iter().map(|r| 7.0 + 3.0 * r[0] - 4.0 * r[1]).collect();
        let (shares, left) = variance_shares(&rows, &values).unwrap();
        assert!((shares[0] - 0.36).abs() < 0.02 && (shares[1] - 0.64).abs() < 0.02, "{shares:?}");
        assert!(left < 1e-20);
        assert!(variance_shares(&rows[..5], &values[..5]).is_none());
    }

    /// Three inputs that hang together by chance and a product: 100 % in all, whatever happens.
    #[test]
    fn shares_and_what_is_left_add_up_to_one() {
        let rows: Vec<Vec<f64>> = (0..12)
            .map(|k| {
                let k = f64::from(k);
                let (a, b) = ((0.618_034 * k).fract() - 0.5, (0.414_214 * k).fract() - 0.5);
                vec![a, b, 0.7 * a - 0.6 * b + 0.05 * (0.732_05 * k).fract()]
            })
            .collect();
        let values: Vec<f64> =
            rows.iter().map(|r| 3.0 * r[0] - 4.0 * r[1] - 5.0 * r[2] + 2.0 * r[0] * r[1]).collect();
        let (shares, left) = variance_shares(&rows, &values).unwrap();
        let sum: f64 = shares.iter().sum();
        assert!((sum + left - 1.0).abs() < 1e-12, "{shares:?}, {left}");
        assert!(shares.iter().all(|s| *s >= 0.0) && left > 0.0, "{shares:?}, {left}");
    }
}
