//! Every kernel against its formula, at lengths that leave every remainder.

use super::*;

#[test]
fn merging_undoes_splitting() {
    for n in [1usize, 2, 7, 8, 16, 31, 33, 50] {
        let from: Vec<f64> = (0..n).map(|k| 0.5 + k as f64).collect();
        let half = n.div_ceil(2);
        let (mut even, mut odd) = (vec![0.0; half], vec![9.0; half]);
        split_wide(&from, 2.0, &mut even, &mut odd);
        let mut to = vec![0.0; n];
        merge(&even, &odd, &mut to);
        assert!(from.iter().zip(&to).all(|(a, b)| 2.0 * a == f64::from(*b)), "{n}");
        let mut sum = from.clone();
        merge_onto(&mut sum, &wide(&even), &wide(&odd));
        assert!(from.iter().zip(&sum).all(|(a, b)| 3.0 * a == *b), "{n}");
        take_from(&mut sum, &from);
        assert!(from.iter().zip(&sum).all(|(a, b)| -2.0 * a == *b), "{n}");
    }
}

#[test]
fn scalar_products_equal_a_plain_sum() {
    for n in [0, 1, 8, 19] {
        let a: Vec<f64> = (0..n).map(|k| k as f64).collect();
        let b: Vec<f32> = (0..n).map(|k| 1.0 + k as f32).collect();
        let plain: f64 = (0..n).map(|k| k as f64 * (1.0 + k as f64)).sum();
        assert_eq!(dot(&a, &b), plain);
    }
}

/// Numbers between 0.5 and 1.5, not all alike.
pub(in crate::linear) fn numbers(n: usize, seed: usize) -> Vec<f32> {
    (0..n).map(|k| 0.5 + ((k * 37 + seed * 101 + 13) % 97) as f32 / 97.0).collect()
}

/// The lengths of every remainder of the widest instructions.
pub(in crate::linear) const LENGTHS: [usize; 9] = [1, 2, 3, 7, 8, 9, 15, 16, 33];

#[test]
fn elementwise_loops_do_what_their_formulas_say() {
    for n in LENGTHS {
        let [x, y, g, m] = [1, 2, 3, 4].map(|seed| numbers(n, seed));
        let run = |work: &dyn Fn(&mut [f32]), expected: &dyn Fn(usize) -> f32| {
            let mut out = x.clone();
            work(&mut out);
            for (k, got) in out.iter().enumerate() {
                let expected = expected(k);
                assert!((got - expected).abs() < 1e-6 * expected.abs().max(1.0), "{n} {k}");
            }
        };
        run(&|o| add(o, &y), &|k| x[k] + y[k]);
        run(&|o| between(o, &y, &g, 0.3), &|k| y[k] + 0.3 * (g[k] - y[k]));
        run(&|o| add_times(o, 0.7, &y), &|k| x[k] + 0.7 * y[k]);
        run(&|o| add_shares(o, 0.7, &g, &y), &|k| x[k] + 0.7 * g[k] * y[k]);
        run(&|o| add_rests(o, 0.7, &g, &y), &|k| x[k] + 0.7 * (1.0 - g[k]) * y[k]);
        run(&|o| add_between(o, &y, &g, &m), &|k| x[k] + y[k] + m[k] * (g[k] - y[k]));
        run(&|o| turn(o, &y, 0.4), &|k| x[k] + 0.4 * y[k]);
    }
}

#[test]
fn a_step_moves_the_residual_and_sums_its_squares_and_a_gain_takes_two_directions() {
    for n in LENGTHS {
        let (p, q, x, r) = (numbers(n, 1), numbers(n, 2), wide(&numbers(n, 3)), numbers(n, 4));
        let (mut left, mut lanes) = (r.clone(), [0.0; 8]);
        step(&mut left, &q, 0.3, &mut lanes);
        let (mut moved, mut set) = (x.clone(), vec![f64::NAN; n]);
        gain(&mut moved, true, 0.7, &p, 0.2, &q);
        gain(&mut set, false, 0.7, &p, 0.2, &q);
        let mut square = 0.0;
        for k in 0..n {
            assert_eq!(left[k], r[k] - 0.3 * q[k]);
            square += f64::from(left[k]) * f64::from(left[k]);
            assert_eq!(set[k], 0.7 * f64::from(p[k]) + 0.2 * f64::from(q[k]));
            assert_eq!(moved[k], x[k] + set[k]);
        }
        assert!((lanes.iter().sum::<f64>() - square).abs() < 1e-14 * square.max(1.0));
    }
}

pub(in crate::linear) fn wide(values: &[f32]) -> Vec<f64> {
    values.iter().copied().map(f64::from).collect()
}
