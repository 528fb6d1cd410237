//! Weighted least squares with bounds: Levenberg's damped Gauss-Newton steps, projected.
//!
//! ```text
//! minimise  chi²(p) = sum over i of ((y_i - f_i(p)) / s_i)²,   low <= p <= high
//! step:     (A + m diag A) d = g,   A = J' W J,  g = J' W (y - f),  W = diag 1/s²
//! ```
//!
//! taken over the parameters that no bound holds; one at a bound whose step would lead outward is
//! held. A step that lowers chi² is kept and the damping m falls, else m grows.
//!
//! # Source
//! Levenberg 1944, Quart. Appl. Math. 2, 164-168; Marquardt 1963, J. Soc. Indust. Appl. Math. 11,
//! 431-441 (from memory).

/// Most steps tried.
const MOST_STEPS: usize = 60;
/// A step below this, in each parameter's own scale, ends the search.
const SMALL_STEP: f64 = 1e-7;

/// What predicts readings from parameters.
pub trait Forward {
    /// Why it could not.
    type Error;

    /// The readings at `parameters`.
    ///
    /// # Errors
    /// Whatever keeps the model from an answer.
    fn readings(&mut self, parameters: &[f64]) -> Result<Vec<f64>, Self::Error>;

    /// Derivative of every reading (outer) to every parameter (inner) at `parameters`.
    ///
    /// # Errors
    /// As for [`Forward::readings`].
    fn derivatives(&mut self, parameters: &[f64]) -> Result<Vec<Vec<f64>>, Self::Error>;
}

/// What is fitted.
#[derive(Debug, Clone)]
pub struct Problem {
    /// Measured values.
    pub measured: Vec<f64>,
    /// Standard uncertainty of each.
    pub sigma: Vec<f64>,
    /// Whether each counts.
    pub counts: Vec<bool>,
    /// Where to start.
    pub start: Vec<f64>,
    /// Lowest values allowed.
    pub low: Vec<f64>,
    /// Highest values allowed.
    pub high: Vec<f64>,
}

/// The minimum.
#[derive(Debug, Clone, PartialEq)]
pub struct Minimum {
    /// Parameters.
    pub parameters: Vec<f64>,
    /// Readings there.
    pub readings: Vec<f64>,
    /// Derivatives there.
    pub derivatives: Vec<Vec<f64>>,
    /// Sum of squares of what counts.
    pub chi_square: f64,
    /// Whether a bound holds each parameter.
    pub held: Vec<bool>,
    /// Steps tried.
    pub steps: usize,
    /// Whether the search ended by itself.
    pub converged: bool,
}

fn chi_square(problem: &Problem, readings: &[f64]) -> f64 {
    (0..readings.len())
        .filter(|&i| problem.counts[i])
        .map(|i| ((problem.measured[i] - readings[i]) / problem.sigma[i]).powi(2))
        .sum()
}

/// `J' W J` and `J' W (y - f)` of what counts.
pub(super) fn normal(
    problem: &Problem,
    readings: &[f64],
    derivatives: &[Vec<f64>],
) -> (Vec<Vec<f64>>, Vec<f64>) {
    let n = problem.start.len();
    let mut matrix = vec![vec![0.0; n]; n];
    let mut right = vec![0.0; n];
    for i in (0..readings.len()).filter(|&i| problem.counts[i]) {
        let weight = problem.sigma[i].powi(-2);
        for a in 0..n {
            right[a] += weight * derivatives[i][a] * (problem.measured[i] - readings[i]);
            for b in 0..n {
                matrix[a][b] += weight * derivatives[i][a] * derivatives[i][b];
            }
        }
    }
    (matrix, right)
}

/// The damped step of the parameters that `free` names; the others stay.
fn damped_step(matrix: &[Vec<f64>], right: &[f64], free: &[bool], damping: f64) -> Vec<f64> {
    let index: Vec<usize> = (0..right.len()).filter(|&k| free[k]).collect();
    let n = index.len();
    let largest = index.iter().map(|&k| matrix[k][k]).fold(0.0, f64::max);
    // A parameter that no reading depends on must not make the system singular.
    let least = 1e-12 * largest + f64::MIN_POSITIVE;
    let mut a: Vec<Vec<f64>> =
        index.iter().map(|&r| index.iter().map(|&c| matrix[r][c]).collect()).collect();
    let mut b: Vec<f64> = index.iter().map(|&k| right[k]).collect();
    for k in 0..n {
        a[k][k] += damping * a[k][k].max(least) + least;
    }
    // Positive definite: elimination needs no pivoting.
    for k in 0..n {
        for r in k + 1..n {
            let factor = a[r][k] / a[k][k];
            for c in k..n {
                a[r][c] -= factor * a[k][c];
            }
            b[r] -= factor * b[k];
        }
    }
    for k in (0..n).rev() {
        let sum: f64 = (k + 1..n).map(|c| a[k][c] * b[c]).sum();
        b[k] = (b[k] - sum) / a[k][k];
    }
    let mut step = vec![0.0; right.len()];
    for (k, value) in index.into_iter().zip(b) {
        step[k] = value;
    }
    step
}

/// Finds the minimum.
///
/// # Errors
/// What the model answers at the start; a model that fails along the way only shortens the steps.
pub fn minimise<F: Forward>(model: &mut F, problem: &Problem) -> Result<Minimum, F::Error> {
    let n = problem.start.len();
    let clamp = |k: usize, value: f64| value.clamp(problem.low[k], problem.high[k]);
    let mut parameters: Vec<f64> = (0..n).map(|k| clamp(k, problem.start[k])).collect();
    let mut readings = model.readings(&parameters)?;
    let mut derivatives = model.derivatives(&parameters)?;
    let mut best = chi_square(problem, &readings);
    let mut damping = 1e-3;
    let (mut steps, mut converged) = (0, false);
    let mut held = vec![false; n];
    while steps < MOST_STEPS && !converged {
        let (matrix, right) = normal(problem, &readings, &derivatives);
        for k in 0..n {
            held[k] = (parameters[k] <= problem.low[k] && right[k] < 0.0)
                || (parameters[k] >= problem.high[k] && right[k] > 0.0);
        }
        let free: Vec<bool> = held.iter().map(|held| !held).collect();
        loop {
            steps += 1;
            let step = damped_step(&matrix, &right, &free, damping);
            let trial: Vec<f64> = (0..n).map(|k| clamp(k, parameters[k] + step[k])).collect();
            let moved = (0..n).map(|k| (trial[k] - parameters[k]).abs()).fold(0.0, f64::max);
            if moved < SMALL_STEP {
                converged = true;
                break;
            }
            let outcome = model.readings(&trial);
            let now = outcome.as_ref().map_or(f64::INFINITY, |r| chi_square(problem, r));
            if let Ok(found) = outcome
                && now <= best
            {
                let gained = best - now;
                (parameters, readings, best) = (trial, found, now);
                derivatives = model.derivatives(&parameters)?;
                damping = (damping * 0.1).max(1e-12);
                // What is left to gain is far below anything that statistics tell apart.
                converged = gained <= 1e-9 * (1.0 + best) && moved < 1e-4;
                break;
            }
            damping *= 10.0;
            if steps >= MOST_STEPS || damping > 1e12 {
                converged = damping > 1e12;
                break;
            }
        }
    }
    Ok(Minimum { parameters, readings, derivatives, chi_square: best, held, steps, converged })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// y = a exp(-b x).
    struct Decay(Vec<f64>);

    impl Forward for Decay {
        type Error = ();

        fn readings(&mut self, p: &[f64]) -> Result<Vec<f64>, ()> {
            Ok(self.0.iter().map(|x| p[0] * (-p[1] * x).exp()).collect())
        }

        fn derivatives(&mut self, p: &[f64]) -> Result<Vec<Vec<f64>>, ()> {
            let row = |x: &f64| vec![(-p[1] * x).exp(), -p[0] * x * (-p[1] * x).exp()];
            Ok(self.0.iter().map(row).collect())
        }
    }

    fn decay(low: [f64; 2], high: [f64; 2]) -> (Decay, Problem) {
        let x: Vec<f64> = (0..8).map(|k| 0.5 * f64::from(k)).collect();
        let measured = x.iter().map(|x| 3.0 * (-0.7 * x).exp()).collect();
        let problem = Problem {
            measured,
            sigma: vec![0.1; 8],
            counts: vec![true; 8],
            start: vec![1.0, 0.1],
            low: low.to_vec(),
            high: high.to_vec(),
        };
        (Decay(x), problem)
    }

    #[test]
    fn exact_readings_give_the_exact_parameters() {
        let (mut model, problem) = decay([0.0, 0.0], [10.0, 10.0]);
        let found = minimise(&mut model, &problem).expect("a minimum");
        assert!(found.converged && found.chi_square < 1e-12, "{found:?}");
        assert!((found.parameters[0] - 3.0).abs() < 1e-6);
        assert!((found.parameters[1] - 0.7).abs() < 1e-6);
        assert_eq!(found.held, [false, false]);
    }

    #[test]
    fn a_bound_holds_and_the_rest_is_best_there() {
        let (mut model, problem) = decay([0.0, 0.0], [2.0, 10.0]);
        let found = minimise(&mut model, &problem).expect("a minimum");
        assert_eq!((found.parameters[0], found.held[0]), (2.0, true));
        // The slope to the other parameter vanishes.
        let (_, right) = normal(&problem, &found.readings, &found.derivatives);
        assert!(right[1].abs() < 1e-3 * found.chi_square, "{right:?}");
        for b in [found.parameters[1] - 0.01, found.parameters[1] + 0.01] {
            let there = model.readings(&[2.0, b]).expect("readings");
            assert!(chi_square(&problem, &there) > found.chi_square);
        }
    }

    #[test]
    fn what_does_not_count_changes_nothing() {
        let (mut model, mut problem) = decay([0.0, 0.0], [10.0, 10.0]);
        problem.measured[3] = 50.0;
        problem.counts[3] = false;
        let found = minimise(&mut model, &problem).expect("a minimum");
        assert!((found.parameters[0] - 3.0).abs() < 1e-6);
    }
}
