//! The loops of the operator: half rows in single precision, whole rows in double.

use std::ops::{AddAssign, Mul, Sub};

use super::kernels::whole;
use super::relaxation::Around;

/// One half row of `A x`: sinks and the links in the plane.
#[inline(always)]
pub(super) fn conduct(out: &mut [f32], x: &[f32], sink: &[f32], around: Around) {
    let n = whole(out.len());
    if n == 0 {
        return;
    }
    let (out, x, sink, a) = (&mut out[..n], &x[..n], &sink[..n], around.cut(n));
    macro_rules! but_side_b {
        ($k:expr) => {{
            sink[$k] * x[$k]
                + a.north[$k] * (x[$k] - a.above[$k])
                + a.south[$k] * (x[$k] - a.below[$k])
                + a.link_a[$k] * (x[$k] - a.side_a[$k])
        }};
    }
    let first = but_side_b!(0);
    for k in 0..n {
        out[k] = but_side_b!(k) + a.link_b[k] * (x[k] - a.side_b[k]);
    }
    if a.open_b {
        out[0] = first;
    }
}

/// One row of a sheet in double precision: sinks, links to both sides and to the rows before and after.
#[inline(always)]
pub(super) fn stencil(out: &mut [f64], x: &[f64], g: RowLinks, above: &[f64], below: &[f64]) {
    let n = out.len();
    let (x, sink, east) = (&x[..n], &g.sink[..n], &g.east[..n]);
    let (north, south) = (&g.north[..n], &g.south[..n]);
    let (above, below) = (&above[..n], &below[..n]);
    macro_rules! cell {
        ($k:expr) => {{
            let here = x[$k];
            sink[$k] * here + north[$k] * (here - above[$k]) + south[$k] * (here - below[$k])
        }};
    }
    out[0] = cell!(0);
    if n > 1 {
        out[0] += east[0] * (x[0] - x[1]);
        let last = n - 1;
        out[last] = cell!(last) + east[last - 1] * (x[last] - x[last - 1]);
    }
    // Closures would not be compiled for the wide instructions: hence the macro.
    for k in 1..n.saturating_sub(1) {
        let here = x[k];
        out[k] = cell!(k) + east[k] * (here - x[k + 1]) + east[k - 1] * (here - x[k - 1]);
    }
}

/// `out += g (x - other)`.
#[inline(always)]
pub(super) fn add_link<R>(out: &mut [R], g: &[R], x: &[R], other: &[R])
where
    R: Copy + Sub<Output = R> + Mul<Output = R> + AddAssign,
{
    for (((o, &g), &x), &other) in out.iter_mut().zip(g).zip(x).zip(other) {
        *o += g * (x - other);
    }
}

/// Conductances of one row of a sheet, W/K.
#[derive(Clone, Copy)]
pub(super) struct RowLinks<'a> {
    pub sink: &'a [f64],
    pub east: &'a [f64],
    pub north: &'a [f64],
    pub south: &'a [f64],
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::linear::kernels::tests::{LENGTHS, numbers, wide};

    #[test]
    fn a_row_of_the_operator_is_its_sinks_and_its_links() {
        for n in LENGTHS {
            let [x, above, below, sink, east, north, south] =
                [1, 2, 3, 4, 5, 6, 7].map(|seed| wide(&numbers(n, seed)));
            let mut out = vec![f64::NAN; n];
            let links = RowLinks { sink: &sink, east: &east, north: &north, south: &south };
            stencil(&mut out, &x, links, &above, &below);
            let mut expected: Vec<f64> = (0..n)
                .map(|k| {
                    sink[k] * x[k] + north[k] * (x[k] - above[k]) + south[k] * (x[k] - below[k])
                })
                .collect();
            for k in 1..n {
                let flow = east[k - 1] * (x[k - 1] - x[k]);
                expected[k - 1] += flow;
                expected[k] -= flow;
            }
            add_link(&mut out, &north, &x, &below);
            for (k, (got, expected)) in out.iter().zip(expected).enumerate() {
                let expected = expected + north[k] * (x[k] - below[k]);
                assert!((got - expected).abs() < 1e-14 * expected.abs().max(1.0), "{n} {k}");
            }
        }
    }
}
