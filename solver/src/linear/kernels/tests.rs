//! Every kernel against its formula, at lengths that leave every remainder.

use super::*;
use crate::linear::stencil::conduct;

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

/// Lengths of half rows.
const WHOLE_LENGTHS: [usize; 5] = [8, 16, 24, 32, 72];

#[test]
fn half_sweeps_relax_eliminate_and_keep_what_they_say() {
    for (n, open_b) in WHOLE_LENGTHS.iter().flat_map(|&n| [(n, true), (n, false)]) {
        let data: Vec<Vec<f32>> = (0..12).map(|seed| numbers(n, seed)).collect();
        let [above, north, below, south] = [0, 1, 2, 3].map(|k| &data[k][..]);
        let [side_a, link_a, side_b, link_b] = [4, 5, 6, 7].map(|k| &data[k][..]);
        let around = Around { above, north, below, south, side_a, link_a, side_b, link_b, open_b };
        let (f, pivot, link, y) = (&data[8], &data[9][..], &data[10][..], &data[11][..]);
        let old = numbers(n, 20);
        let sum = |k: usize| {
            f[k] + (north[k] * above[k]
                + south[k] * below[k]
                + link_a[k] * side_a[k]
                + link_b[k] * side_b[k])
        };
        let check = |what: &str, got: &[f32], expected: &dyn Fn(usize) -> f32| {
            for (k, got) in got.iter().enumerate() {
                let expected = expected(k);
                assert!((got - expected).abs() < 2e-6 * expected.abs().max(1.0), "{what} {n} {k}");
            }
        };
        let (mut out, mut rest) = (old.clone(), f.clone());
        let after = After { pivot, link, y };
        start(&mut out, f, Pivot(pivot));
        check("started", &out, &|k| pivot[k] * f[k]);
        start(&mut out, f, after);
        check("started after", &out, &|k| pivot[k] * (f[k] + link[k] * y[k]));
        sweep::<Plain, _>(&mut out, &mut rest, around, Whole);
        check("plain, whole", &out, &sum);
        sweep::<Plain, _>(&mut out, &mut rest, around, Pivot(pivot));
        check("plain", &out, &|k| pivot[k] * sum(k));
        sweep::<Plain, _>(&mut out, &mut rest, around, after);
        check("plain, after", &out, &|k| pivot[k] * (sum(k) + link[k] * y[k]));
        assert_eq!(&rest, f);
        let near = |k: usize| sum(k) - f[k];
        let beside = |k: usize| if open_b && k == 0 { 0.0 } else { link_b[k] };
        let eased = |k: usize| EASE_F32 * (north[k] + south[k] + link_a[k] + beside(k));
        sweep::<FromZero, _>(&mut out, &mut rest, around, after);
        check("from zero", &out, &|k| pivot[k] * (sum(k) + link[k] * y[k]));
        check("its rest", &rest, &|k| -near(k));
        out.clone_from(&old);
        residual(&mut out, f, around);
        check("residual", &out, &|k| sum(k) - eased(k) * old[k]);
        conduct(&mut out, &old, pivot, around);
        let gone = |k: usize| {
            let links = north[k] + south[k] + link_a[k] + beside(k);
            let from_b = if open_b && k == 0 { 0.0 } else { link_b[k] * side_b[k] };
            pivot[k] * old[k] + links * old[k] - (near(k) - link_b[k] * side_b[k] + from_b)
        };
        check("conducted", &out, &gone);
        (out, rest) = (old.clone(), f.clone());
        sweep::<OverOld, _>(&mut out, &mut rest, around, after);
        let over_old = |k: usize| sum(k) - eased(k) * old[k];
        check("over old", &out, &|k| pivot[k] * (over_old(k) + link[k] * y[k]));
        (out, rest) = (old.clone(), f.clone());
        sweep::<OverOld, _>(&mut out, &mut rest, around, Pivot(pivot));
        check("over old at once", &out, &|k| pivot[k] * over_old(k));
        assert_eq!(&rest, f);
        out.clone_from(&old);
        sweep::<OverOldLast, _>(&mut out, &mut rest, around, after);
        check("over old, the last time", &out, &|k| pivot[k] * (over_old(k) + link[k] * y[k]));
        check("its rest", &rest, &|k| eased(k) * old[k] - near(k));
        let run = |work: &dyn Fn(&mut [f32]), expected: &dyn Fn(usize) -> f32| {
            let mut out = old.clone();
            work(&mut out);
            check("along the column", &out, expected);
        };
        run(&|o| scale_by(o, pivot), &|k| pivot[k] * old[k]);
        run(&|o| eliminate(o, link, y, pivot), &|k| pivot[k] * (old[k] + link[k] * y[k]));
        run(&|o| add_through(o, link, y), &|k| old[k] + link[k] * y[k]);
        run(&|o| substitute(o, pivot, link, y), &|k| old[k] + pivot[k] * link[k] * y[k]);
    }
}

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
