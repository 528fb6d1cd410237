//! The inner loops over contiguous entries. Those without a call of their own are inlined into the
//! row that they are part of.

use super::widest::widest;

/// Numbers that a vector may be made of.
pub(super) trait Value: Copy + Sync {
    fn wide(self) -> f64;
    /// The value times a power-of-ten-ish scale, in single precision; single-precision
    /// vectors are scaled already.
    fn scaled(self, scale: f64) -> f32;
}

impl Value for f64 {
    #[inline(always)]
    fn wide(self) -> f64 {
        self
    }
    #[inline(always)]
    fn scaled(self, scale: f64) -> f32 {
        (self * scale) as f32
    }
}

impl Value for f32 {
    #[inline(always)]
    fn wide(self) -> f64 {
        f64::from(self)
    }
    #[inline(always)]
    fn scaled(self, _: f64) -> f32 {
        self
    }
}

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

/// Every half row is a multiple of so many entries long, the last ones filled up with cells without
/// conductance: the widest instructions leave no remainder.
pub(super) const LANES: usize = 8;

/// The length of a half row, in a form that tells the compiler that it is a multiple of [`LANES`].
#[inline(always)]
pub(super) fn whole(n: usize) -> usize {
    debug_assert!(n.is_multiple_of(LANES));
    n / LANES * LANES
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

    #[inline(always)]
    fn sum(&self, k: usize) -> f32 {
        self.north[k] * self.above[k]
            + self.south[k] * self.below[k]
            + self.link_a[k] * self.side_a[k]
            + self.link_b[k] * self.side_b[k]
    }

    /// Sum of the links, but for the first column: see [`Around::first_links`].
    #[inline(always)]
    fn links(&self, k: usize) -> f32 {
        self.north[k] + self.south[k] + self.link_a[k] + self.link_b[k]
    }

    /// Sum of the links of the first column.
    #[inline(always)]
    fn first_links(&self) -> f32 {
        let beside = if self.open_b { 0.0 } else { self.link_b[0] };
        self.north[0] + self.south[0] + self.link_a[0] + beside
    }
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
pub(super) trait Lead: Copy {
    /// The first `n` entries.
    fn cut(self, n: usize) -> Self;
    /// Entry `k` after the elimination.
    fn take(&self, k: usize, value: f32) -> f32;
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

impl Lead for Whole {
    #[inline(always)]
    fn cut(self, _: usize) -> Self {
        self
    }
    #[inline(always)]
    fn take(&self, _: usize, value: f32) -> f32 {
        value
    }
}

impl Lead for Pivot<'_> {
    #[inline(always)]
    fn cut(self, n: usize) -> Self {
        Pivot(&self.0[..n])
    }
    #[inline(always)]
    fn take(&self, k: usize, value: f32) -> f32 {
        self.0[k] * value
    }
}

impl Lead for After<'_> {
    #[inline(always)]
    fn cut(self, n: usize) -> Self {
        After { pivot: &self.pivot[..n], link: &self.link[..n], y: &self.y[..n] }
    }
    #[inline(always)]
    fn take(&self, k: usize, value: f32) -> f32 {
        self.pivot[k] * (value + self.link[k] * self.y[k])
    }
}

/// One half row: `out` becomes what `lead` makes of `S`.
#[inline(always)]
pub(super) fn sweep<S: Sweep, L: Lead>(out: &mut [f32], f: &mut [f32], around: Around, lead: L) {
    let n = whole(out.len());
    let (out, f, a, lead) = (&mut out[..n], &mut f[..n], around.cut(n), lead.cut(n));
    let (mut first, mut first_rest) = (0.0, 0.0);
    if S::OVER_OLD && n > 0 {
        let (sum, held) = (a.sum(0), EASE_F32 * a.first_links() * out[0]);
        (first, first_rest) = (lead.take(0, f[0] + sum - held), held - sum);
    }
    for k in 0..n {
        let sum = a.sum(k);
        let held = if S::OVER_OLD { EASE_F32 * a.links(k) * out[k] } else { 0.0 };
        out[k] = lead.take(k, f[k] + sum - held);
        if S::LEAVES_REST {
            f[k] = held - sum;
        }
    }
    if S::OVER_OLD && n > 0 {
        out[0] = first;
        if S::LEAVES_REST {
            f[0] = first_rest;
        }
    }
}

/// The same from f alone.
#[inline(always)]
pub(super) fn start<L: Lead>(out: &mut [f32], f: &[f32], lead: L) {
    let n = whole(out.len());
    let (out, f, lead) = (&mut out[..n], &f[..n], lead.cut(n));
    for k in 0..n {
        out[k] = lead.take(k, f[k]);
    }
}

/// The residual of the second colour over its x, when the first has been relaxed after it; f is what
/// [`FromZero`] or [`OverOldLast`] left: `x = f + sum - EASE links x`.
#[inline(always)]
pub(super) fn residual(x: &mut [f32], f: &[f32], around: Around) {
    let n = whole(x.len());
    if n == 0 {
        return;
    }
    let (x, f, a) = (&mut x[..n], &f[..n], around.cut(n));
    let first = f[0] + a.sum(0) - EASE_F32 * a.first_links() * x[0];
    for k in 0..n {
        x[k] = f[k] + a.sum(k) - EASE_F32 * a.links(k) * x[k];
    }
    x[0] = first;
}

/// `x += y`, of any length.
#[inline(always)]
pub(super) fn add(x: &mut [f32], y: &[f32]) {
    for (x, y) in x.iter_mut().zip(y) {
        *x += y;
    }
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

/// Even entries of `from` into one half, odd ones into the other, times `scale`.
#[inline(always)]
pub(super) fn split<V: Value>(from: &[V], scale: f64, even: &mut [f32], odd: &mut [f32]) {
    let (pairs, rest) = from.as_chunks::<2>();
    let n = pairs.len();
    let (e, o) = (&mut even[..n], &mut odd[..n]);
    for k in 0..n {
        e[k] = pairs[k][0].scaled(scale);
        o[k] = pairs[k][1].scaled(scale);
    }
    if let [last] = rest {
        even[n] = last.scaled(scale);
    }
}

/// The reverse of [`split`].
#[inline(always)]
pub(super) fn merge(even: &[f32], odd: &[f32], to: &mut [f32]) {
    let (pairs, rest) = to.as_chunks_mut::<2>();
    let n = pairs.len();
    let (e, o) = (&even[..n], &odd[..n]);
    for k in 0..n {
        pairs[k] = [e[k], o[k]];
    }
    if let [last] = rest {
        *last = even[n];
    }
}

/// `line = lower + share (upper - lower)`.
#[inline(always)]
pub(super) fn between(line: &mut [f32], lower: &[f32], upper: &[f32], share: f32) {
    for ((v, a), b) in line.iter_mut().zip(lower).zip(upper) {
        *v = a + share * (b - a);
    }
}

/// `out += weight r`.
#[inline(always)]
pub(super) fn add_times(out: &mut [f32], weight: f32, r: &[f32]) {
    for (o, r) in out.iter_mut().zip(r) {
        *o += weight * r;
    }
}

/// `out += weight share r`.
#[inline(always)]
pub(super) fn add_shares(out: &mut [f32], weight: f32, share: &[f32], r: &[f32]) {
    for ((o, s), r) in out.iter_mut().zip(share).zip(r) {
        *o += weight * s * r;
    }
}

/// `out += weight (1 - share) r`.
#[inline(always)]
pub(super) fn add_rests(out: &mut [f32], weight: f32, share: &[f32], r: &[f32]) {
    for ((o, s), r) in out.iter_mut().zip(share).zip(r) {
        *o += weight * (1.0 - s) * r;
    }
}

/// `x += lower + share (upper - lower)`.
#[inline(always)]
pub(super) fn add_between(x: &mut [f32], lower: &[f32], upper: &[f32], share: &[f32]) {
    for (((x, a), b), s) in x.iter_mut().zip(lower).zip(upper).zip(share) {
        *x += a + s * (b - a);
    }
}

widest! {
    /// Adds the even and the odd entries of a row: the reverse of a split.
    fn merge_onto(to: &mut [f64], even: &[f64], odd: &[f64]) {
        let (pairs, rest) = to.as_chunks_mut::<2>();
        let n = pairs.len();
        let (e, o) = (&even[..n], &odd[..n]);
        for k in 0..n {
            pairs[k][0] += e[k];
            pairs[k][1] += o[k];
        }
        if let [last] = rest {
            *last += even[n];
        }
    }

    /// Even entries of `from` into one half, odd ones into the other, times `scale`.
    fn split_wide(from: &[f64], scale: f64, even: &mut [f32], odd: &mut [f32]) {
        split(from, scale, even, odd);
    }

    /// `out = b - out`.
    fn take_from(out: &mut [f64], b: &[f64]) {
        for (out, b) in out.iter_mut().zip(b) {
            *out = b - *out;
        }
    }

    /// Adds the products of `a` and `b` to eight partial sums.
    fn dot_into<A: Pair>(lanes: &mut [f64; 8], pair: A) {
        pair.add_to(lanes);
    }

    /// `r -= alpha q`; adds the squares of r to eight partial sums.
    fn step(r: &mut [f32], q: &[f32], alpha: f32, lanes: &mut [f64; 8]) {
        let n = r.len();
        let q = &q[..n];
        let whole = n / 8 * 8;
        for (r, q) in r[..whole].chunks_exact_mut(8).zip(q[..whole].chunks_exact(8)) {
            for k in 0..8 {
                let value = r[k] - alpha * q[k];
                r[k] = value;
                lanes[k] += f64::from(value) * f64::from(value);
            }
        }
        for k in whole..n {
            r[k] -= alpha * q[k];
            lanes[k - whole] += f64::from(r[k]) * f64::from(r[k]);
        }
    }

    /// `x = a p + b q`, or that added to x.
    fn gain(x: &mut [f64], adds: bool, a: f64, p: &[f32], b: f64, q: &[f32]) {
        let both = x.iter_mut().zip(p.iter().zip(q));
        if adds {
            for (x, (p, q)) in both {
                *x += a * f64::from(*p) + b * f64::from(*q);
            }
        } else {
            for (x, (p, q)) in both {
                *x = a * f64::from(*p) + b * f64::from(*q);
            }
        }
    }

    /// `z += beta p`.
    fn turn(z: &mut [f32], p: &[f32], beta: f32) {
        for (z, p) in z.iter_mut().zip(p) {
            *z += beta * *p;
        }
    }
}

/// Two vectors to be multiplied.
pub(super) trait Pair {
    fn add_to(self, lanes: &mut [f64; 8]);
}

impl<A: Value, B: Value> Pair for (&[A], &[B]) {
    #[inline(always)]
    fn add_to(self, lanes: &mut [f64; 8]) {
        let n = self.0.len();
        let (a, b) = (self.0, &self.1[..n]);
        let whole = n / 8 * 8;
        for (a, b) in a[..whole].chunks_exact(8).zip(b[..whole].chunks_exact(8)) {
            for k in 0..8 {
                lanes[k] += a[k].wide() * b[k].wide();
            }
        }
        for k in whole..n {
            lanes[k - whole] += a[k].wide() * b[k].wide();
        }
    }
}

/// Scalar product in a fixed order of summation.
pub(super) fn dot<A: Value, B: Value>(a: &[A], b: &[B]) -> f64 {
    let mut lanes = [0.0; 8];
    dot_into(&mut lanes, (a, b));
    lanes.iter().sum()
}

#[cfg(test)]
pub(super) mod tests;
