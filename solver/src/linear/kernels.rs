//! The inner loops over contiguous entries, each compiled for the plain instruction set and
//! for the wide ones that the processor may have. No loop reorders a sum, so all versions give
//! the same bits.
//!
//! This is the one place with `unsafe`: calling a function compiled for instructions that the
//! processor was asked for a line above.

/// Defines a function that runs the widest of its compiled versions.
macro_rules! widest {
    ($($(#[$meta:meta])* fn $name:ident $(<$g:ident: $bound:path>)? ($($arg:ident: $type:ty),* $(,)?) $(-> $result:ty)? $body:block)*) => {$(
        $(#[$meta])*
        #[allow(clippy::too_many_arguments)]
        pub(super) fn $name $(<$g: $bound>)? ($($arg: $type),*) $(-> $result)? {
            #[inline(always)]
            #[allow(clippy::too_many_arguments)]
            fn plain $(<$g: $bound>)? ($($arg: $type),*) $(-> $result)? $body
            #[cfg(target_arch = "x86_64")]
            {
                #[target_feature(enable = "avx512f,avx512vl,avx512bw,avx512dq")]
                #[allow(clippy::too_many_arguments)]
                fn avx512 $(<$g: $bound>)? ($($arg: $type),*) $(-> $result)? { plain($($arg),*) }
                #[target_feature(enable = "avx2")]
                #[allow(clippy::too_many_arguments)]
                fn avx2 $(<$g: $bound>)? ($($arg: $type),*) $(-> $result)? { plain($($arg),*) }
                if is_x86_feature_detected!("avx512f")
                    && is_x86_feature_detected!("avx512vl")
                    && is_x86_feature_detected!("avx512bw")
                    && is_x86_feature_detected!("avx512dq")
                {
                    // SAFETY: the processor has just been asked for these features.
                    #[allow(unsafe_code)]
                    return unsafe { avx512($($arg),*) };
                }
                if is_x86_feature_detected!("avx2") {
                    // SAFETY: the processor has just been asked for this feature.
                    #[allow(unsafe_code)]
                    return unsafe { avx2($($arg),*) };
                }
            }
            plain($($arg),*)
        }
    )*};
}

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

impl<'a> Around<'a> {
    #[inline(always)]
    fn cut(self, n: usize) -> Self {
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

    /// Sum of the links, but for what [`Around::spare`] says of the first.
    #[inline(always)]
    fn links(&self, k: usize) -> f32 {
        self.north[k] + self.south[k] + self.link_a[k] + self.link_b[k]
    }

    /// What `links(0)` counts too much.
    #[inline(always)]
    fn spare(&self) -> f32 {
        if self.open_b { self.link_b[0] } else { 0.0 }
    }
}

widest! {
    /// `out = f + sum of neighbours`.
    fn gather(out: &mut [f32], f: &[f32], around: Around) {
        let n = out.len();
        let (f, a) = (&f[..n], around.cut(n));
        for k in 0..n {
            out[k] = f[k] + a.sum(k);
        }
    }

    /// `out = m (f + sum of neighbours)`.
    fn gather_pivot(out: &mut [f32], f: &[f32], around: Around, pivot: &[f32]) {
        let n = out.len();
        let (f, a, m) = (&f[..n], around.cut(n), &pivot[..n]);
        for k in 0..n {
            out[k] = m[k] * (f[k] + a.sum(k));
        }
    }

    /// `out = f + sum of neighbours`; f becomes minus that sum.
    fn gather_apart(out: &mut [f32], f: &mut [f32], around: Around) {
        let n = out.len();
        let (f, a) = (&mut f[..n], around.cut(n));
        for k in 0..n {
            let sum = a.sum(k);
            out[k] = f[k] + sum;
            f[k] = -sum;
        }
    }

    /// `f -= d (sum of links) x`.
    fn take_links(f: &mut [f32], x: &[f32], around: Around, d: f32) {
        let n = f.len();
        let (x, a) = (&x[..n], around.cut(n));
        let first = f[0] - d * (a.links(0) - a.spare()) * x[0];
        for k in 0..n {
            f[k] -= d * a.links(k) * x[k];
        }
        f[0] = first;
    }

    /// `out = m (f + sum of neighbours)`; f becomes minus that sum and `d (sum of links) out`.
    fn gather_apart_pivot(out: &mut [f32], f: &mut [f32], around: Around, d: f32, pivot: &[f32]) {
        let n = out.len();
        let (f, a, m) = (&mut f[..n], around.cut(n), &pivot[..n]);
        for k in 0..n {
            let sum = a.sum(k);
            out[k] = m[k] * (f[k] + sum);
            f[k] = -sum - d * a.links(k) * out[k];
        }
        f[0] = -a.sum(0) - d * (a.links(0) - a.spare()) * out[0];
    }

    /// `out = f + sum of neighbours - d (sum of links) old`, old what `out` held.
    fn gather_over_old(out: &mut [f32], f: &[f32], around: Around, d: f32) {
        let n = out.len();
        let (f, a) = (&f[..n], around.cut(n));
        let first = f[0] + a.sum(0) - d * (a.links(0) - a.spare()) * out[0];
        for k in 0..n {
            out[k] = f[k] + a.sum(k) - d * a.links(k) * out[k];
        }
        out[0] = first;
    }

    /// `out = m (f + sum of neighbours - d (sum of links) old)`, old what `out` held.
    fn gather_over_old_pivot(out: &mut [f32], f: &[f32], around: Around, d: f32, pivot: &[f32]) {
        let n = out.len();
        let (f, a, m) = (&f[..n], around.cut(n), &pivot[..n]);
        let first = m[0] * (f[0] + a.sum(0) - d * (a.links(0) - a.spare()) * out[0]);
        for k in 0..n {
            out[k] = m[k] * (f[k] + a.sum(k) - d * a.links(k) * out[k]);
        }
        out[0] = first;
    }

    /// `x += y`.
    fn add(x: &mut [f32], y: &[f32]) {
        for (x, y) in x.iter_mut().zip(y) {
            *x += y;
        }
    }

    /// `out = m f`.
    fn product(out: &mut [f32], f: &[f32], pivot: &[f32]) {
        for ((o, f), m) in out.iter_mut().zip(f).zip(pivot) {
            *o = m * f;
        }
    }

    /// `x = m x`.
    fn scale_by(x: &mut [f32], pivot: &[f32]) {
        for (x, m) in x.iter_mut().zip(pivot) {
            *x *= m;
        }
    }

    /// `x = m (x + g y)`: one step toward the root of the columns.
    fn eliminate(x: &mut [f32], link: &[f32], y: &[f32], pivot: &[f32]) {
        for (((x, g), y), m) in x.iter_mut().zip(link).zip(y).zip(pivot) {
            *x = m * (*x + g * y);
        }
    }

    /// `x += g y`.
    fn add_through(x: &mut [f32], link: &[f32], y: &[f32]) {
        for ((x, g), y) in x.iter_mut().zip(link).zip(y) {
            *x += g * y;
        }
    }

    /// `x += m g y`: one step back from the root.
    fn substitute(x: &mut [f32], pivot: &[f32], link: &[f32], y: &[f32]) {
        for (((x, m), g), y) in x.iter_mut().zip(pivot).zip(link).zip(y) {
            *x += m * g * y;
        }
    }

    /// Even entries of `from` into one half, odd ones into the other, times `scale`.
    fn split<V: Value>(from: &[V], scale: f64, even: &mut [f32], odd: &mut [f32]) {
        let pairs = from.len() / 2;
        let (e, o) = (&mut even[..pairs], &mut odd[..pairs]);
        for k in 0..pairs {
            e[k] = from[2 * k].scaled(scale);
            o[k] = from[2 * k + 1].scaled(scale);
        }
        if from.len() % 2 == 1 {
            even[pairs] = from[2 * pairs].scaled(scale);
            odd[pairs] = 0.0;
        }
    }

    /// The reverse of [`split`].
    fn merge(even: &[f32], odd: &[f32], scale: f32, to: &mut [f32]) {
        let pairs = to.len() / 2;
        let (e, o) = (&even[..pairs], &odd[..pairs]);
        for k in 0..pairs {
            to[2 * k] = e[k] * scale;
            to[2 * k + 1] = o[k] * scale;
        }
        if to.len() % 2 == 1 {
            to[2 * pairs] = even[pairs] * scale;
        }
    }

    /// Adds the products of `a` and `b` to eight partial sums.
    fn dot_into<A: Pair>(lanes: &mut [f64; 8], pair: A) {
        pair.add_to(lanes);
    }

    /// `line = lower + share (upper - lower)`.
    fn between(line: &mut [f32], lower: &[f32], upper: &[f32], share: f32) {
        for ((v, a), b) in line.iter_mut().zip(lower).zip(upper) {
            *v = a + share * (b - a);
        }
    }

    /// `out += weight r`.
    fn add_times(out: &mut [f32], weight: f32, r: &[f32]) {
        for (o, r) in out.iter_mut().zip(r) {
            *o += weight * r;
        }
    }

    /// `out += weight share r`.
    fn add_shares(out: &mut [f32], weight: f32, share: &[f32], r: &[f32]) {
        for ((o, s), r) in out.iter_mut().zip(share).zip(r) {
            *o += weight * s * r;
        }
    }

    /// `out += weight (1 - share) r`.
    fn add_rests(out: &mut [f32], weight: f32, share: &[f32], r: &[f32]) {
        for ((o, s), r) in out.iter_mut().zip(share).zip(r) {
            *o += weight * (1.0 - s) * r;
        }
    }

    /// `x += lower + share (upper - lower)`.
    fn add_between(x: &mut [f32], lower: &[f32], upper: &[f32], share: &[f32]) {
        for (((x, a), b), s) in x.iter_mut().zip(lower).zip(upper).zip(share) {
            *x += a + s * (b - a);
        }
    }

    /// One row of a sheet: sinks, links to both sides and to the rows before and after.
    fn stencil<V: Value>(out: &mut [f64], x: &[V], g: RowLinks, above: &[V], below: &[V]) {
        let n = out.len();
        let (x, sink, east) = (&x[..n], &g.sink[..n], &g.east[..n]);
        let (north, south) = (&g.north[..n], &g.south[..n]);
        let (above, below) = (&above[..n], &below[..n]);
        macro_rules! cell {
            ($k:expr) => {{
                let here = x[$k].wide();
                sink[$k] * here
                    + north[$k] * (here - above[$k].wide())
                    + south[$k] * (here - below[$k].wide())
            }};
        }
        out[0] = cell!(0);
        if n > 1 {
            out[0] += east[0] * (x[0].wide() - x[1].wide());
            let last = n - 1;
            out[last] = cell!(last) + east[last - 1] * (x[last].wide() - x[last - 1].wide());
        }
        // Closures would not be compiled for the wide instructions: hence the macro.
        for k in 1..n.saturating_sub(1) {
            let here = x[k].wide();
            out[k] = cell!(k)
                + east[k] * (here - x[k + 1].wide())
                + east[k - 1] * (here - x[k - 1].wide());
        }
    }

    /// `out += g (x - other)`.
    fn add_link<V: Value>(out: &mut [f64], g: &[f64], x: &[V], other: &[V]) {
        for (((o, g), x), other) in out.iter_mut().zip(g).zip(x).zip(other) {
            *o += g * (x.wide() - other.wide());
        }
    }

    /// `x += alpha p`, `r -= alpha q`; adds the squares of r to eight partial sums.
    fn step(x: &mut [f64], r: &mut [f64], p: &[f32], q: &[f64], alpha: f64, lanes: &mut [f64; 8]) {
        for (x, p) in x.iter_mut().zip(p) {
            *x += alpha * f64::from(*p);
        }
        let n = r.len();
        let q = &q[..n];
        let whole = n / 8 * 8;
        for (r, q) in r[..whole].chunks_exact_mut(8).zip(q[..whole].chunks_exact(8)) {
            for k in 0..8 {
                let value = r[k] - alpha * q[k];
                r[k] = value;
                lanes[k] += value * value;
            }
        }
        for k in whole..n {
            r[k] -= alpha * q[k];
            lanes[k - whole] += r[k] * r[k];
        }
    }

    /// `p = z + beta p`.
    fn turn(p: &mut [f32], z: &[f32], beta: f32) {
        if beta == 0.0 {
            // What p held may not even be finite.
            return p.copy_from_slice(z);
        }
        for (p, z) in p.iter_mut().zip(z) {
            *p = z + beta * *p;
        }
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
mod tests;
