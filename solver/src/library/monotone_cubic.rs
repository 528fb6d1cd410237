//! Piecewise cubic interpolation that keeps the data's own rises and falls.

/// Derivative-matched piecewise cubic through `(x, y)`; where the data rise the curve rises,
/// where they are level it is level, so it never overshoots.
///
/// The slope at an inner node is the weighted harmonic mean of the two neighbouring secants, or
/// zero where they differ in sign:
///
/// ```text
/// d = (w1 + w2) / (w1/s1 + w2/s2),   w1 = 2 h2 + h1,   w2 = h2 + 2 h1
/// ```
///
/// with h the interval widths and s the secants left (1) and right (2). The end slopes are the
/// three-point one-sided formula, limited to keep monotonicity. Two nodes give a straight line.
///
/// Order 2 or better in the interval width; exact for straight lines.
///
/// # Source
/// Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300-304 (the slope formula, from
/// memory; the tests compare with values of a general-purpose library).
#[derive(Debug, Clone, PartialEq)]
pub struct MonotoneCubic {
    x: Vec<f64>,
    y: Vec<f64>,
    slope: Vec<f64>,
}

impl MonotoneCubic {
    /// The interpolant of `y` over strictly ascending `x`.
    ///
    /// # Panics
    /// If the lengths differ, fewer than two nodes are given or `x` does not ascend: callers
    /// check their data first.
    pub fn new(x: Vec<f64>, y: Vec<f64>) -> Self {
        assert_eq!(x.len(), y.len(), "as many abscissae as values");
        assert!(x.len() >= 2, "at least two nodes");
        assert!(x.windows(2).all(|w| w[0] < w[1]), "abscissae ascend");
        let slope = slopes(&x, &y);
        MonotoneCubic { x, y, slope }
    }

    /// Value and derivative at `x`. Outside the nodes the end value is held (derivative 0).
    pub fn at(&self, x: f64) -> (f64, f64) {
        let last = self.x.len() - 1;
        if x < self.x[0] {
            return (self.y[0], 0.0);
        }
        if x > self.x[last] {
            return (self.y[last], 0.0);
        }
        let i = self.x.partition_point(|&node| node <= x).clamp(1, last) - 1;
        let width = self.x[i + 1] - self.x[i];
        hermite(
            (x - self.x[i]) / width,
            width,
            [self.y[i], self.y[i + 1]],
            [self.slope[i], self.slope[i + 1]],
        )
    }
}

/// Value and derivative of the cubic with end values `y` and end slopes `slope` on an interval
/// of `width`, at the relative position `t` in 0..1.
pub fn hermite(t: f64, width: f64, y: [f64; 2], slope: [f64; 2]) -> (f64, f64) {
    let secant = (y[1] - y[0]) / width;
    // y = y0 + width t (slope0 + t (c + t d)): the power form of the Hermite cubic.
    let c = 3.0 * secant - 2.0 * slope[0] - slope[1];
    let d = slope[0] + slope[1] - 2.0 * secant;
    (y[0] + width * t * (slope[0] + t * (c + t * d)), slope[0] + t * (2.0 * c + t * 3.0 * d))
}

/// Slopes at the nodes; see [`MonotoneCubic`].
pub fn slopes(x: &[f64], y: &[f64]) -> Vec<f64> {
    let n = x.len();
    let width: Vec<f64> = x.windows(2).map(|w| w[1] - w[0]).collect();
    let secant: Vec<f64> = y.windows(2).zip(&width).map(|(w, h)| (w[1] - w[0]) / h).collect();
    if n == 2 {
        return vec![secant[0]; 2];
    }
    let mut slope = vec![0.0; n];
    for i in 1..n - 1 {
        let (s1, s2) = (secant[i - 1], secant[i]);
        if s1 * s2 > 0.0 {
            let w1 = 2.0 * width[i] + width[i - 1];
            let w2 = width[i] + 2.0 * width[i - 1];
            slope[i] = (w1 + w2) / (w1 / s1 + w2 / s2);
        }
    }
    slope[0] = end_slope(width[0], width[1], secant[0], secant[1]);
    slope[n - 1] = end_slope(width[n - 2], width[n - 3], secant[n - 2], secant[n - 3]);
    slope
}

/// One-sided slope from the interval at the end (1) and the next one (2).
fn end_slope(h1: f64, h2: f64, s1: f64, s2: f64) -> f64 {
    let slope = ((2.0 * h1 + h2) * s1 - h1 * s2) / (h1 + h2);
    if slope * s1 <= 0.0 {
        0.0
    } else if s1 * s2 < 0.0 && slope.abs() > 3.0 * s1.abs() {
        3.0 * s1
    } else {
        slope
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn straight_data_give_the_straight_line() {
        let line = MonotoneCubic::new(vec![0.0, 1.0, 3.0, 3.5], vec![2.0, 5.0, 11.0, 12.5]);
        for k in 0..=70 {
            let x = 0.05 * f64::from(k);
            let (y, slope) = line.at(x);
            assert!((y - (2.0 + 3.0 * x)).abs() < 1e-12, "x = {x}");
            assert!((slope - 3.0).abs() < 1e-12);
        }
    }

    #[test]
    fn rising_data_with_a_step_never_overshoot() {
        let step = MonotoneCubic::new(
            vec![0.0, 1.0, 2.0, 2.1, 3.0, 5.0],
            vec![0.0, 0.01, 0.02, 1.0, 1.0, 1.2],
        );
        let mut before = f64::NEG_INFINITY;
        for k in 0..=500 {
            let (y, slope) = step.at(0.01 * f64::from(k));
            assert!(y >= before - 1e-15);
            assert!(slope >= -1e-12);
            assert!(y <= 1.2 + 1e-15);
            before = y;
        }
    }

    #[test]
    fn derivative_is_that_of_the_value() {
        let curve = MonotoneCubic::new(vec![0.0, 0.7, 2.0, 3.0], vec![1.0, 0.2, 0.1, -4.0]);
        for k in 1..60 {
            let x = 0.05 * f64::from(k) - 0.013;
            let step = 1e-6;
            let slope = (curve.at(x + step).0 - curve.at(x - step).0) / (2.0 * step);
            assert!((curve.at(x).1 - slope).abs() < 1e-6, "x = {x}");
        }
    }

    /// Source of the values: SciPy 1.17.1, `scipy.interpolate.PchipInterpolator`.
    #[test]
    fn values_agree_with_a_general_purpose_library() {
        let curve =
            MonotoneCubic::new(vec![0.0, 0.7, 2.0, 3.0, 4.5], vec![1.0, 0.2, 0.1, -4.0, -3.5]);
        for (x, expected) in [
            (0.35, 0.4811761048674918),
            (1.1, 0.16057262219996155),
            (2.6, -2.5719308708006023),
            (4.0, -3.8518518518518516),
        ] {
            let y = curve.at(x).0;
            assert!((y - expected).abs() < 1e-12, "x = {x}: {y} is not {expected}");
        }
    }
}
