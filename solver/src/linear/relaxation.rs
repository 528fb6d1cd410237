//! Relaxation of one half row: what surrounds it, the elimination along the columns, and what is left
//! of the right-hand side.
//!
//! Each loop over a half row is a function of its own, to which every slice goes as an argument of its
//! own. That is how the compiler knows that what it writes is apart from what it reads. From slices
//! within a struct it does not know, and checks every pair before it enters the wide loop: on the short
//! rows of a usual module a quarter of the time. The same holds where such an argument is handed on as
//! an argument again: [`Lead::take`] has its slices in a tuple.

use super::kernels::whole;

/// Values and conductances around one half row: north, south and the two sides.
#[derive(Clone, Copy)]
pub(super) struct Around<'a> {
    pub above: &'a [f32],
    pub north: &'a [f32],
    pub below: &'a [f32],
    pub south: &'a [f32],
    pub side_a: &'a [f32],
    pub link_a: &'a [f32],
    pub side_b: &'a [f32],
    pub link_b: &'a [f32],
    /// Nothing stands beside the first column on side b: its entry in `link_b` is another's.
    pub open_b: bool,
}

impl<'a> Around<'a> {
    #[inline(always)]
    pub fn cut(self, n: usize) -> Self {
        Around {
            above: &self.above[..n],
            north: &self.north[..n],
            below: &self.below[..n],
            south: &self.south[..n],
            side_a: &self.side_a[..n],
            link_a: &self.link_a[..n],
            side_b: &self.side_b[..n],
            link_b: &self.link_b[..n],
            open_b: self.open_b,
        }
    }
}

/// The values around entry `$k` times their conductances.
macro_rules! products {
    ($k:expr, $a:ident $x:ident, $b:ident $y:ident, $c:ident $z:ident, $d:ident $w:ident) => {
        $a[$k] * $x[$k] + $b[$k] * $y[$k] + $c[$k] * $z[$k] + $d[$k] * $w[$k]
    };
}

/// A half sweep over one colour, with `sum` the values around a cell times their conductances.
pub(super) trait Sweep {
    /// Takes the right-hand side alone: the other colour is zero.
    const FROM_F_ALONE: bool = false;
    /// Starts from the old value.
    const OVER_OLD: bool = false;
    /// Leaves the rest of the right-hand side.
    const LEAVES_REST: bool = false;
}

/// Share of the links in the plane that the columns of the second colour are relaxed without.
pub(super) const EASE: f64 = 0.23;
const EASE_F32: f32 = EASE as f32;

/// `f`.
pub(super) struct Start;
/// `f + sum`.
pub(super) struct Plain;
/// `f + sum`, from zero; f becomes `-sum`.
pub(super) struct FromZero;
/// `f + sum - held`, where `held` is `EASE` times links times the old value.
pub(super) struct OverOld;
/// The same; f becomes `held - sum`.
pub(super) struct OverOldLast;

impl Sweep for Start {
    const FROM_F_ALONE: bool = true;
}
impl Sweep for Plain {}
impl Sweep for FromZero {
    const LEAVES_REST: bool = true;
}
impl Sweep for OverOld {
    const OVER_OLD: bool = true;
}
impl Sweep for OverOldLast {
    const OVER_OLD: bool = true;
    const LEAVES_REST: bool = true;
}

/// Where a cell's column has been eliminated from.
pub(super) trait Lead<'a>: Copy {
    /// The first `n` entries of what the elimination takes from: see [`After`].
    fn parts(self, n: usize) -> [&'a [f32]; 3];
    /// Entry `k` after the elimination.
    fn take(k: usize, value: f32, parts: (&[f32], &[f32], &[f32])) -> f32;
}

/// Nothing yet: the right-hand side waits for more.
#[derive(Clone, Copy)]
pub(super) struct Whole;
/// The column starts here: reciprocal pivots.
#[derive(Clone, Copy)]
pub(super) struct Pivot<'a>(pub &'a [f32]);
/// The sheet before holds y: `pivot (value + link y)`.
#[derive(Clone, Copy)]
pub(super) struct After<'a> {
    pub pivot: &'a [f32],
    pub link: &'a [f32],
    pub y: &'a [f32],
}

impl<'a> Lead<'a> for Whole {
    #[inline(always)]
    fn parts(self, _: usize) -> [&'a [f32]; 3] {
        [&[]; 3]
    }
    #[inline(always)]
    fn take(_: usize, value: f32, _: (&[f32], &[f32], &[f32])) -> f32 {
        value
    }
}

impl<'a> Lead<'a> for Pivot<'a> {
    #[inline(always)]
    fn parts(self, n: usize) -> [&'a [f32]; 3] {
        [&self.0[..n], &[], &[]]
    }
    #[inline(always)]
    fn take(k: usize, value: f32, (pivot, _, _): (&[f32], &[f32], &[f32])) -> f32 {
        pivot[k] * value
    }
}

impl<'a> Lead<'a> for After<'a> {
    #[inline(always)]
    fn parts(self, n: usize) -> [&'a [f32]; 3] {
        [&self.pivot[..n], &self.link[..n], &self.y[..n]]
    }
    #[inline(always)]
    fn take(k: usize, value: f32, (pivot, link, y): (&[f32], &[f32], &[f32])) -> f32 {
        pivot[k] * (value + link[k] * y[k])
    }
}

/// One half row: `out` becomes what `lead` makes of `S`.
#[inline(always)]
pub(super) fn sweep<'a, S: Sweep, L: Lead<'a>>(
    out: &mut [f32],
    f: &mut [f32],
    around: Around,
    lead: L,
) {
    #[inline(always)]
    #[allow(clippy::too_many_arguments)]
    fn entries<'a, S: Sweep, L: Lead<'a>>(
        out: &mut [f32],
        f: &mut [f32],
        above: &[f32],
        north: &[f32],
        below: &[f32],
        south: &[f32],
        side_a: &[f32],
        link_a: &[f32],
        side_b: &[f32],
        link_b: &[f32],
        open_b: bool,
        pivot: &[f32],
        link: &[f32],
        y: &[f32],
    ) {
        let n = out.len();
        if n == 0 {
            return;
        }
        let (mut first, mut first_rest) = (0.0, 0.0);
        if S::OVER_OLD {
            let beside = if open_b { 0.0 } else { link_b[0] };
            let sum = products!(0, north above, south below, link_a side_a, link_b side_b);
            let held = EASE_F32 * (north[0] + south[0] + link_a[0] + beside) * out[0];
            first = L::take(0, f[0] + sum - held, (pivot, link, y));
            first_rest = held - sum;
        }
        for k in 0..n {
            let sum = products!(k, north above, south below, link_a side_a, link_b side_b);
            let links = north[k] + south[k] + link_a[k] + link_b[k];
            let held = if S::OVER_OLD { EASE_F32 * links * out[k] } else { 0.0 };
            out[k] = L::take(k, f[k] + sum - held, (pivot, link, y));
            if S::LEAVES_REST {
                f[k] = held - sum;
            }
        }
        if S::OVER_OLD {
            out[0] = first;
            if S::LEAVES_REST {
                f[0] = first_rest;
            }
        }
    }
    let n = whole(out.len());
    let a = around.cut(n);
    let [pivot, link, y] = lead.parts(n);
    entries::<S, L>(
        &mut out[..n],
        &mut f[..n],
        a.above,
        a.north,
        a.below,
        a.south,
        a.side_a,
        a.link_a,
        a.side_b,
        a.link_b,
        a.open_b,
        pivot,
        link,
        y,
    );
}

/// The same from f alone.
#[inline(always)]
pub(super) fn start<'a, L: Lead<'a>>(out: &mut [f32], f: &[f32], lead: L) {
    #[inline(always)]
    fn entries<'a, L: Lead<'a>>(
        out: &mut [f32],
        f: &[f32],
        pivot: &[f32],
        link: &[f32],
        y: &[f32],
    ) {
        for k in 0..out.len() {
            out[k] = L::take(k, f[k], (pivot, link, y));
        }
    }
    let n = whole(out.len());
    let [pivot, link, y] = lead.parts(n);
    entries::<L>(&mut out[..n], &f[..n], pivot, link, y);
}

/// The residual of the second colour over its x, when the first has been relaxed after it; f is what
/// [`FromZero`] or [`OverOldLast`] left: `x = f + sum - EASE links x`, a sweep over the old value
/// without the column.
#[inline(always)]
pub(super) fn residual(x: &mut [f32], f: &mut [f32], around: Around) {
    sweep::<OverOld, _>(x, f, around, Whole);
}

/// `x = m x`.
#[inline(always)]
pub(super) fn scale_by(x: &mut [f32], pivot: &[f32]) {
    let n = whole(x.len());
    for (x, m) in x[..n].iter_mut().zip(&pivot[..n]) {
        *x *= m;
    }
}

/// `x = m (x + g y)`: one step toward the root of the columns.
#[inline(always)]
pub(super) fn eliminate(x: &mut [f32], link: &[f32], y: &[f32], pivot: &[f32]) {
    let n = whole(x.len());
    let (x, link, y, pivot) = (&mut x[..n], &link[..n], &y[..n], &pivot[..n]);
    for k in 0..n {
        x[k] = pivot[k] * (x[k] + link[k] * y[k]);
    }
}

/// `x += g y`.
#[inline(always)]
pub(super) fn add_through(x: &mut [f32], link: &[f32], y: &[f32]) {
    let n = whole(x.len());
    let (x, link, y) = (&mut x[..n], &link[..n], &y[..n]);
    for k in 0..n {
        x[k] += link[k] * y[k];
    }
}

/// `x += m g y`: one step back from the root.
#[inline(always)]
pub(super) fn substitute(x: &mut [f32], pivot: &[f32], link: &[f32], y: &[f32]) {
    let n = whole(x.len());
    let (x, pivot, link, y) = (&mut x[..n], &pivot[..n], &link[..n], &y[..n]);
    for k in 0..n {
        x[k] += pivot[k] * link[k] * y[k];
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::linear::kernels::tests::numbers;
    use crate::linear::stencil::conduct;

    /// Lengths of half rows.
    const WHOLE_LENGTHS: [usize; 5] = [8, 16, 24, 32, 72];

    #[test]
    fn half_sweeps_relax_eliminate_and_keep_what_they_say() {
        for (n, open_b) in WHOLE_LENGTHS.iter().flat_map(|&n| [(n, true), (n, false)]) {
            let data: Vec<Vec<f32>> = (0..12).map(|seed| numbers(n, seed)).collect();
            let [above, north, below, south] = [0, 1, 2, 3].map(|k| &data[k][..]);
            let [side_a, link_a, side_b, link_b] = [4, 5, 6, 7].map(|k| &data[k][..]);
            let around =
                Around { above, north, below, south, side_a, link_a, side_b, link_b, open_b };
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
                    assert!(
                        (got - expected).abs() < 2e-6 * expected.abs().max(1.0),
                        "{what} {n} {k}"
                    );
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
            (out, rest) = (old.clone(), f.clone());
            residual(&mut out, &mut rest, around);
            check("residual", &out, &|k| sum(k) - eased(k) * old[k]);
            assert_eq!(&rest, f);
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
}
