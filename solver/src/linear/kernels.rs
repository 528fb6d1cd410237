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

/// Every half row is a multiple of so many entries long, the last ones filled up with cells without
/// conductance: the widest instructions leave no remainder.
pub(super) const LANES: usize = 8;

/// The length of a half row, in a form that tells the compiler that it is a multiple of [`LANES`].
#[inline(always)]
pub(super) fn whole(n: usize) -> usize {
    debug_assert!(n.is_multiple_of(LANES));
    n / LANES * LANES
}

/// `x += y`, of any length.
#[inline(always)]
pub(super) fn add(x: &mut [f32], y: &[f32]) {
    for (x, y) in x.iter_mut().zip(y) {
        *x += y;
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
