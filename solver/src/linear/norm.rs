//! Sums over long vectors outside the solver's own rows: on all threads, in an order that does not
//! depend on how many there are.

use std::ops::Range;

use rayon::prelude::*;

use super::kernels;

/// Entries that are added up by one thread at a time.
const CHUNK: usize = 1 << 15;

/// What `part` makes of each chunk of `0..len`, in order.
fn of_chunks<R: Send>(len: usize, part: impl Fn(Range<usize>) -> R + Sync) -> Vec<R> {
    (0..len.div_ceil(CHUNK))
        .into_par_iter()
        .map(|k| part(k * CHUNK..((k + 1) * CHUNK).min(len)))
        .collect()
}

/// Scalar product; `b` must be as long as `a`.
pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    of_chunks(a.len(), |range| kernels::dot(&a[range.clone()], &b[range])).iter().sum()
}

/// Euclidean norm.
pub fn norm(v: &[f64]) -> f64 {
    dot(v, v).sqrt()
}

/// Largest magnitude; passes by what is not a number.
pub(crate) fn largest_magnitude(v: &[f64]) -> f64 {
    let largest = |of: &[f64]| of.iter().fold(0.0, |m: f64, v| m.max(v.abs()));
    let parts = of_chunks(v.len(), |range| {
        // Eight at a time: the order in which a vector is looked through does not matter.
        let (whole, rest) = v[range].as_chunks::<8>();
        let mut lanes = [0.0_f64; 8];
        for part in whole {
            for (m, v) in lanes.iter_mut().zip(part) {
                *m = m.max(v.abs());
            }
        }
        largest(&lanes).max(largest(rest))
    });
    largest(&parts)
}

/// `x += step`; `step` must be as long as `x`.
pub(crate) fn add_to(x: &mut [f64], step: &[f64]) {
    x.par_chunks_mut(CHUNK).zip(step.par_chunks(CHUNK)).for_each(|(x, step)| {
        for (x, step) in x.iter_mut().zip(step) {
            *x += step;
        }
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_vectors_are_added_up_whole() {
        let n = 2 * CHUNK + 5;
        let v: Vec<f64> = (0..n).map(|k| if k % 2 == 0 { 1.0 } else { -2.0 }).collect();
        let (ones, twos) = (n.div_ceil(2) as f64, (n / 2) as f64);
        assert_eq!(dot(&v, &vec![1.0; n]), ones - 2.0 * twos);
        assert_eq!(norm(&v), (ones + 4.0 * twos).sqrt());
        let mut v = v;
        v[n - 1] = -7.0;
        assert_eq!(largest_magnitude(&v), 7.0);
        let step = v.clone();
        add_to(&mut v, &step);
        assert_eq!((v[0], v[n - 1]), (2.0, -14.0));
        assert_eq!((norm(&[]), largest_magnitude(&[])), (0.0, 0.0));
    }
}
