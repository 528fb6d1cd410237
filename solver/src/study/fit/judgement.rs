//! What a minimum is worth: intervals, correlations, chi-square, readings that do not agree.

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};

use super::least_squares::{Minimum, Problem, normal};
use super::symmetric::eigen;

/// Probability of chi-square below which the model does not explain the readings.
const LEAST_PROBABILITY: f64 = 0.05;
/// Eigenvalue of the normal equations (each parameter scaled to one) below which a combination
/// of parameters is not determined at all.
const LEAST_EIGENVALUE: f64 = 1e-9;
/// Correlation above which two parameters are told apart badly.
const HIGH_CORRELATION: f64 = 0.95;
/// Redundancy below which the other readings say nothing about one.
const LEAST_REDUNDANCY: f64 = 1e-3;
/// Chance that any reading at all is called an outlier though none is.
const FALSE_ALARM: f64 = 0.05;

/// One parameter with its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// Best value.
    pub value: f64,
    /// Standard uncertainty; infinite where the readings do not determine it.
    pub standard: f64,
    /// Ends of the interval at the confidence asked for.
    pub interval: [f64; 2],
    /// Whether a bound holds it: then it has no interval.
    pub held: bool,
}

/// The verdict on a fit.
#[derive(Debug, Clone, PartialEq)]
pub struct Judgement {
    /// Each parameter.
    pub estimates: Vec<Estimate>,
    /// Covariance of the parameters; zero where a bound holds one.
    pub covariance: Vec<Vec<f64>>,
    /// Correlation of the parameters.
    pub correlation: Vec<Vec<f64>>,
    /// Pairs that the readings tell apart badly, with their correlation.
    pub alike: Vec<(usize, usize, f64)>,
    /// Parameters that the readings do not determine, alone or together with others.
    pub undetermined: Vec<usize>,
    /// Square root of largest over least eigenvalue, each parameter scaled to one.
    pub condition: f64,
    /// Sum of squares of what counts.
    pub chi_square: f64,
    /// Readings that count less parameters that are free.
    pub degrees: usize,
    /// Chance of a chi-square at least so large with a right model; `None` without a degree.
    pub probability: Option<f64>,
    /// Factor by which intervals were widened because chi-square is too large.
    pub widened: f64,
    /// Each reading's residual (measured less model) over its own standard deviation; `None`
    /// where the other readings say nothing about it.
    pub normalised: Vec<Option<f64>>,
    /// Size of a normalised residual above which a reading is an outlier.
    pub critical: f64,
}

impl Judgement {
    /// Whether the model explains the readings within their stated errors.
    pub fn explains(&self) -> bool {
        self.probability.is_none_or(|p| p >= LEAST_PROBABILITY)
    }

    /// The counted reading that disagrees most, beyond what chance explains.
    pub fn outlier(&self, counts: &[bool]) -> Option<usize> {
        let size = |i: &usize| self.normalised[*i].map_or(0.0, f64::abs);
        (0..counts.len())
            .filter(|&i| counts[i])
            .max_by(|a, b| size(a).total_cmp(&size(b)))
            .filter(|i| size(i) > self.critical)
    }

    /// Standard uncertainty of a reading that follows from the parameters', with its derivatives.
    pub fn propagated(&self, derivatives: &[f64]) -> f64 {
        quadratic(&self.covariance, derivatives).sqrt()
    }
}

fn quadratic(matrix: &[Vec<f64>], v: &[f64]) -> f64 {
    let rows = matrix.iter().zip(v);
    let sum: f64 =
        rows.map(|(row, x)| x * row.iter().zip(v).map(|(a, y)| a * y).sum::<f64>()).sum();
    sum.max(0.0)
}

fn quantile(probability: f64) -> f64 {
    Normal::standard().inverse_cdf(probability)
}

/// Judges a minimum. With C = (J' W J)^-1 over the free parameters, s_i the stated standard
/// uncertainties and h_i = J_i C J_i' / s_i²:
///
/// ```text
/// interval of p_k      p_k ± z sqrt(C_kk),  z the two-sided normal quantile
/// normalised residual  w_i = (y_i - f_i) / (s_i sqrt(1 - h_i))
/// outlier              |w_i| > z at 1 - 0.05 / (2 n), so that a false alarm has a chance of 5 %
/// ```
///
/// A reading that does not count is compared with what the others foretell:
/// `w_i = (y_i - f_i) / sqrt(s_i² + J_i C J_i')`. Where chi-square is improbably large the stated
/// uncertainties are too small for this model: the intervals are widened by
/// `sqrt(chi² / degrees)`.
///
/// # Source
/// The test of normalised residuals: Baarda 1968, A testing procedure for use in geodetic
/// networks (from memory). Widening: Birge 1932, Phys. Rev. 40, 207-227 (from memory).
pub fn judge(problem: &Problem, minimum: &Minimum, confidence: f64) -> Judgement {
    let n = problem.start.len();
    let (matrix, _) = normal(problem, &minimum.readings, &minimum.derivatives);
    let free: Vec<usize> = (0..n).filter(|&k| !minimum.held[k]).collect();
    let (covariance, undetermined, condition) = covariance(&matrix, &free);
    let counted = problem.counts.iter().filter(|counts| **counts).count();
    let degrees = counted.saturating_sub(free.len());
    let probability = ChiSquared::new(degrees as f64)
        .ok()
        .filter(|_| degrees > 0)
        .map(|law| law.sf(minimum.chi_square));
    let widened = match probability {
        Some(p) if p < LEAST_PROBABILITY => (minimum.chi_square / degrees as f64).sqrt(),
        _ => 1.0,
    };
    let z = quantile(0.5 + 0.5 * confidence);
    let estimates = (0..n)
        .map(|k| {
            let (value, held) = (minimum.parameters[k], minimum.held[k]);
            let standard = match (held, undetermined.contains(&k)) {
                (true, _) => 0.0,
                (false, true) => f64::INFINITY,
                (false, false) => covariance[k][k].sqrt() * widened,
            };
            Estimate {
                value,
                standard,
                interval: [value - z * standard, value + z * standard],
                held,
            }
        })
        .collect();
    let correlation: Vec<Vec<f64>> = (0..n)
        .map(|a| {
            (0..n)
                .map(|b| {
                    let scale = (covariance[a][a] * covariance[b][b]).sqrt();
                    if scale > 0.0 { covariance[a][b] / scale } else { f64::from(u8::from(a == b)) }
                })
                .collect()
        })
        .collect();
    let alike = free
        .iter()
        .flat_map(|&a| free.iter().map(move |&b| (a, b)))
        .filter(|&(a, b)| a < b && correlation[a][b].abs() > HIGH_CORRELATION)
        .map(|(a, b)| (a, b, correlation[a][b]))
        .collect();
    let normalised = (0..problem.measured.len())
        .map(|i| {
            let residual = problem.measured[i] - minimum.readings[i];
            let variance = problem.sigma[i].powi(2);
            let foretold = quadratic(&covariance, &minimum.derivatives[i]);
            if !problem.counts[i] {
                return Some(residual / (variance + foretold).sqrt());
            }
            let redundancy = 1.0 - foretold / variance;
            (redundancy > LEAST_REDUNDANCY).then(|| residual / (variance * redundancy).sqrt())
        })
        .collect();
    Judgement {
        estimates,
        covariance,
        correlation,
        alike,
        undetermined,
        condition,
        chi_square: minimum.chi_square,
        degrees,
        probability,
        widened,
        normalised,
        critical: quantile(1.0 - FALSE_ALARM / (2.0 * counted.max(1) as f64)),
    }
}

/// Inverse of the normal equations over the free parameters, what they leave undetermined, and
/// their condition.
fn covariance(matrix: &[Vec<f64>], free: &[usize]) -> (Vec<Vec<f64>>, Vec<usize>, f64) {
    let n = matrix.len();
    let mut covariance = vec![vec![0.0; n]; n];
    let mut undetermined = Vec::new();
    let largest = free.iter().map(|&k| matrix[k][k]).fold(0.0, f64::max);
    let (seen, unseen): (Vec<usize>, Vec<usize>) =
        free.iter().copied().partition(|&k| matrix[k][k] > 1e-14 * largest);
    undetermined.extend(unseen);
    let scaled: Vec<Vec<f64>> = seen
        .iter()
        .map(|&a| {
            seen.iter().map(|&b| matrix[a][b] / (matrix[a][a] * matrix[b][b]).sqrt()).collect()
        })
        .collect();
    let (values, vectors) = eigen(&scaled);
    for (value, vector) in values.iter().zip(&vectors) {
        if *value < LEAST_EIGENVALUE {
            undetermined
                .extend(seen.iter().zip(vector).filter(|(_, v)| v.abs() > 0.1).map(|(&k, _)| k));
            continue;
        }
        for (a, &ka) in seen.iter().enumerate() {
            for (b, &kb) in seen.iter().enumerate() {
                let scale = (matrix[ka][ka] * matrix[kb][kb]).sqrt();
                covariance[ka][kb] += vector[a] * vector[b] / (value * scale);
            }
        }
    }
    undetermined.sort_unstable();
    undetermined.dedup();
    let condition = match (values.first(), values.last()) {
        (Some(&least), Some(&most)) if least > 0.0 => (most / least).sqrt(),
        (Some(_), Some(_)) => f64::INFINITY,
        _ => 1.0,
    };
    (covariance, undetermined, condition)
}

/// The comparison of a prediction S with a reading D.
///
/// ```text
/// E = S - D,   u_val = sqrt(u_num² + u_input² + u_D²)
/// ```
///
/// The error of the model lies in E ± 2 u_val. Where |E| is far above u_val it is about E; where
/// |E| is below, it is somewhere within and cannot be told.
///
/// # Source
/// ASME V&V 20-2009, Standard for Verification and Validation in Computational Fluid Dynamics and
/// Heat Transfer (the factor 2 from memory).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Verdict20 {
    /// E, K.
    pub error_K: f64,
    /// u_num, K.
    pub numerical_K: f64,
    /// u_input, K.
    pub input_K: f64,
    /// u_D, K.
    pub measured_K: f64,
}

impl Verdict20 {
    /// u_val, K.
    pub fn validation_K(&self) -> f64 {
        self.numerical_K.hypot(self.input_K).hypot(self.measured_K)
    }

    /// Where the error of the model lies, K.
    pub fn interval_K(&self) -> [f64; 2] {
        let reach = 2.0 * self.validation_K();
        [self.error_K - reach, self.error_K + reach]
    }

    /// Whether the error of the model stands out of the uncertainties.
    pub fn stands_out(&self) -> bool {
        self.error_K.abs() > self.validation_K()
    }
}

#[cfg(test)]
mod tests {
    use super::super::least_squares::{Forward, minimise};
    use super::*;

    /// Straight lines: y = sum of a_k x_k.
    struct Linear(Vec<Vec<f64>>);

    impl Forward for Linear {
        type Error = ();

        fn readings(&mut self, p: &[f64]) -> Result<Vec<f64>, ()> {
            Ok(self.0.iter().map(|row| row.iter().zip(p).map(|(a, x)| a * x).sum()).collect())
        }

        fn derivatives(&mut self, _: &[f64]) -> Result<Vec<Vec<f64>>, ()> {
            Ok(self.0.clone())
        }
    }

    fn problem(measured: &[f64], sigma: f64, parameters: usize) -> Problem {
        Problem {
            measured: measured.to_vec(),
            sigma: vec![sigma; measured.len()],
            counts: vec![true; measured.len()],
            start: vec![0.0; parameters],
            low: vec![-1e6; parameters],
            high: vec![1e6; parameters],
        }
    }

    /// The mean of n equal measurements: its standard uncertainty is sigma / sqrt n, and the
    /// residual of each has the variance sigma² (1 - 1/n).
    #[test]
    fn a_mean_is_known_as_well_as_the_text_books_say() {
        let values = [9.0, 10.0, 11.0, 10.5];
        let problem = problem(&values, 0.8, 1);
        let minimum = minimise(&mut Linear(vec![vec![1.0]; 4]), &problem).expect("a minimum");
        let judgement = judge(&problem, &minimum, 0.95);
        let estimate = judgement.estimates[0];
        assert!((estimate.value - 10.125).abs() < 1e-6);
        assert!((estimate.standard - 0.4).abs() < 1e-12);
        assert!((estimate.interval[1] - estimate.value - 1.959964 * 0.4).abs() < 1e-6);
        assert_eq!(judgement.degrees, 3);
        let w = judgement.normalised[0].expect("a residual");
        assert!((w + 1.125 / (0.8 * 0.75f64.sqrt())).abs() < 1e-5);
    }

    #[test]
    fn parameters_that_only_act_together_are_not_told_apart() {
        let rows: Vec<Vec<f64>> =
            (1..6).map(|k| vec![f64::from(k), 2.0 * f64::from(k), 1.0]).collect();
        let problem = problem(&[1.0, 2.0, 3.0, 4.0, 5.0], 0.1, 3);
        let minimum = minimise(&mut Linear(rows), &problem).expect("a minimum");
        let judgement = judge(&problem, &minimum, 0.95);
        assert_eq!(judgement.undetermined, [0, 1]);
        assert!(judgement.estimates[0].standard.is_infinite());
        assert!(judgement.estimates[2].standard.is_finite());
    }

    #[test]
    fn a_parameter_that_nothing_depends_on_is_not_determined() {
        let rows: Vec<Vec<f64>> = (1..6).map(|k| vec![f64::from(k), 0.0]).collect();
        let problem = problem(&[1.0, 2.0, 3.0, 4.0, 5.0], 0.1, 2);
        let minimum = minimise(&mut Linear(rows), &problem).expect("a minimum");
        assert_eq!(judge(&problem, &minimum, 0.95).undetermined, [1]);
    }

    /// S 78.4, D 75.1, u 0.6, 1.8, 1.1: E 3.3, u_val 2.1932 by hand.
    #[test]
    fn the_comparison_is_the_standard_s() {
        let verdict =
            Verdict20 { error_K: 78.4 - 75.1, numerical_K: 0.6, input_K: 1.8, measured_K: 1.1 };
        assert!((verdict.validation_K() - 2.1932).abs() < 1e-4);
        let [low, high] = verdict.interval_K();
        assert!((low + 1.086).abs() < 1e-3 && (high - 7.686).abs() < 1e-3);
        assert!(verdict.stands_out());
    }
}
