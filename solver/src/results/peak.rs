//! The top of a curve through values at unequal points.
//!
//! Between two neighbouring points the curve is the parabola through them and the next point on
//! the left, blended linearly into the one with the next point on the right. With t from 0 to 1
//! between points i and i + 1, h apart, and c_k the second divided difference around point k:
//!
//! ```text
//! T(t) = T_i + (T_{i+1} - T_i) t - h² t (1 - t) ((1 - t) c_i + t c_{i+1})
//! ```
//!
//! It is continuous, so that a top which moves from one cell to the next on another grid does not
//! jump, and it is linear in the values: see [`weights_at`].

/// Second divided difference of `values` around point `k`, carried on from its neighbour at
/// either end; 0 through fewer than three points.
fn second_difference(values: &[f64], points: &[f64], k: usize) -> f64 {
    let n = points.len();
    if n < 3 {
        return 0.0;
    }
    let k = k.clamp(1, n - 2);
    let (a, b) = (points[k] - points[k - 1], points[k + 1] - points[k]);
    ((values[k + 1] - values[k]) / b - (values[k] - values[k - 1]) / a) / (a + b)
}

/// The curve at t between points `i` and `i + 1`.
fn blended(values: &[f64], points: &[f64], i: usize, t: f64) -> f64 {
    let h = points[i + 1] - points[i];
    let [left, right] = [i, i + 1].map(|k| second_difference(values, points, k));
    let bend = (1.0 - t) * left + t * right;
    values[i] + (values[i + 1] - values[i]) * t - h * h * t * (1.0 - t) * bend
}

/// Where the curve between points `i` and `i + 1` is level: at most two t in 0..1.
fn level_at(values: &[f64], points: &[f64], i: usize) -> impl Iterator<Item = f64> {
    let h = points[i + 1] - points[i];
    let [left, right] = [i, i + 1].map(|k| second_difference(values, points, k));
    let turn = right - left;
    // a t² - 2 b t + c = 0, the derivative of the curve.
    let a = 3.0 * h * h * turn;
    let b = h * h * (turn - left);
    let c = values[i + 1] - values[i] - h * h * left;
    let root = (b * b - a * c).sqrt();
    let q = if b < 0.0 { b - root } else { b + root };
    [q / a, c / q].into_iter().filter(|t| (0.0..=1.0).contains(t))
}

/// How far the curve rises above the value at point `k`, the highest of `values`, on either side
/// of it, and where its top lies.
pub(super) fn peak(values: &[f64], points: &[f64], k: usize) -> (f64, f64) {
    let mut top = (0.0, points[k]);
    for i in k.saturating_sub(1)..=k.min(points.len() - 2) {
        for t in level_at(values, points, i) {
            let rise = blended(values, points, i, t) - values[k];
            if rise > top.0 {
                top = (rise, points[i] + t * (points[i + 1] - points[i]));
            }
        }
    }
    top
}

/// Weights of the values at `points` in the curve's value at `at`.
pub(super) fn weights_at(points: &[f64], at: f64) -> Vec<f64> {
    let last = points.len() - 1;
    let i = points.partition_point(|&p| p <= at).clamp(1, last) - 1;
    let t = (at - points[i]) / (points[i + 1] - points[i]);
    let mut unit = vec![0.0; points.len()];
    (0..points.len())
        .map(|k| {
            unit[k] = 1.0;
            let weight = blended(&unit, points, i, t);
            unit[k] = 0.0;
            weight
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const POINTS: [f64; 6] = [0.0, 0.4, 1.0, 1.7, 2.1, 3.0];

    #[test]
    fn the_top_of_a_parabola_is_exact() {
        for top in [0.5, 0.99, 1.0, 1.31, 1.34, 1.36, 2.0] {
            let values = POINTS.map(|x| 7.0 - 2.0 * (x - top) * (x - top));
            let k = (0..6).max_by(|&a, &b| values[a].total_cmp(&values[b])).unwrap();
            let (rise, at) = peak(&values, &POINTS, k);
            assert!((values[k] + rise - 7.0).abs() < 1e-12, "{top}");
            assert!((at - top).abs() < 1e-9, "{at} {top}");
        }
    }

    /// A lopsided hump moved past the middle between two points, where the higher of the two
    /// changes: the top found changes by no more than it moves.
    #[test]
    fn the_top_does_not_jump_where_the_nearest_point_changes() {
        let hump = |x: f64| (-x * x).exp() * (1.0 + 0.8 * x);
        let found = |shift: f64| {
            let values = POINTS.map(|x| hump(x - shift));
            let k = (0..6).max_by(|&a, &b| values[a].total_cmp(&values[b])).unwrap();
            (k, values[k] + peak(&values, &POINTS, k).0)
        };
        let border = (0..10_000)
            .map(|n| 0.6 + 1e-4 * f64::from(n))
            .find(|&s| found(s).0 != found(s + 1e-4).0)
            .unwrap();
        let (before, after) = (found(border), found(border + 1e-4));
        assert_ne!(before.0, after.0);
        assert!((before.1 - after.1).abs() < 1e-4, "{before:?} {after:?}");
    }

    #[test]
    fn equal_neighbours_have_their_top_in_the_middle_seen_from_either() {
        let points = [0.0, 1.0, 2.0, 3.0];
        let values = [0.0, 5.0, 5.0, 0.0];
        let from_left = peak(&values, &points, 1);
        assert_eq!(from_left, peak(&values, &points, 2));
        assert_eq!(from_left.1, 1.5);
    }

    #[test]
    fn weights_give_the_curve_back() {
        let values = [1.0, 4.0, 5.0, 4.5, 2.0, 0.0];
        let (rise, at) = peak(&values, &POINTS, 2);
        let weights = weights_at(&POINTS, at);
        let sum: f64 = weights.iter().zip(&values).map(|(w, v)| w * v).sum();
        assert!((sum - 5.0 - rise).abs() < 1e-12);
        for (k, &point) in POINTS.iter().enumerate() {
            let weights = weights_at(&POINTS, point);
            assert!(
                weights
                    .iter()
                    .enumerate()
                    .all(|(n, w)| (w - f64::from(u8::from(n == k))).abs() < 1e-12)
            );
        }
        assert_eq!(peak(&[1.0, 0.5], &[0.0, 1.0], 0), (0.0, 0.0));
    }
}
