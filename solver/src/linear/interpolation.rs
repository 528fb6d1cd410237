//! Interpolation along one axis in the shape that the cycle uses: single precision, and apart
//! for the even and the odd points, with a fast way where one coarse point follows the other
//! for every second fine one.

use super::axis::AxisMap;
use super::kernels;

/// One axis of the map of one block to the next coarser plane.
#[derive(Debug, Clone)]
pub(super) struct Interpolation {
    /// First coarse point of the block on the coarse plane, and how many it has.
    pub first: usize,
    pub count: usize,
    lower: Vec<u32>,
    share: Vec<f32>,
}

impl Interpolation {
    /// Coarse point (of the block) at or before the fine point, and the share of the next.
    pub fn at(&self, fine: usize) -> (usize, f32) {
        (self.lower[fine] as usize, self.share[fine])
    }

    /// Both coarse points that feed a fine one, and their shares.
    pub fn shares(&self, fine: usize) -> [(usize, f32); 2] {
        let (lower, share) = self.at(fine);
        [(lower, 1.0 - share), (lower + 1, share)]
    }
}

/// The columns of one block on the next coarser plane.
#[derive(Debug, Clone)]
pub(super) struct Columns {
    pub count: usize,
    /// For the columns 0, 2, 4.. of the block, and for 1, 3, 5..
    pub halves: [Half; 2],
}

/// The map of one block to the next coarser plane.
#[derive(Debug, Clone)]
pub(super) struct Maps {
    pub x: Columns,
    pub y: Interpolation,
    /// Of the sheets.
    pub z: Interpolation,
}

impl From<&AxisMap> for Interpolation {
    fn from(map: &AxisMap) -> Self {
        Interpolation {
            first: map.first,
            count: map.count,
            lower: map.lower.clone(),
            share: map.share.iter().map(|&s| s as f32).collect(),
        }
    }
}

impl From<&AxisMap> for Columns {
    fn from(map: &AxisMap) -> Self {
        let half = |parity: usize| {
            let lower = map.lower.iter().skip(parity).step_by(2);
            let share = map.share.iter().skip(parity).step_by(2);
            Half::new(
                lower.map(|&k| k as usize).collect(),
                share.map(|&s| s as f32).collect(),
                map.count,
            )
        };
        Columns { count: map.count, halves: [half(0), half(1)] }
    }
}

/// Every second fine point.
#[derive(Debug, Clone)]
pub(super) enum Half {
    /// Point k lies between the coarse points `k + first - 1` and `k + first`; `share` belongs
    /// to the latter. Where one of them does not exist its share is zero.
    Regular { first: usize, share: Vec<f32> },
    /// Point k is the coarse point `k + first`.
    Kept { first: usize },
    /// Anything else: for each point the coarse one before it, and the share of the next.
    Any { lower: Vec<u32>, share: Vec<f32> },
}

impl Half {
    fn new(lower: Vec<usize>, share: Vec<f32>, count: usize) -> Self {
        let n = lower.len();
        for first in 0..2 {
            if n > 0
                && (0..n).all(|k| k + first < count && lower[k] == k + first && share[k] == 0.0)
            {
                return Half::Kept { first };
            }
            // Share of coarse point k + first, if the point lies as the regular case says.
            let upper = |k: usize| {
                let at = k + first;
                if lower[k] + 1 == at && at < count {
                    Some(share[k])
                } else if lower[k] + 1 == at && share[k] == 0.0 {
                    Some(0.0)
                } else if lower[k] == at && share[k] == 0.0 {
                    Some(1.0)
                } else {
                    None
                }
            };
            let regular: Option<Vec<f32>> = (0..n).map(upper).collect();
            if let Some(share) = regular {
                return Half::Regular { first, share };
            }
        }
        Half::Any { lower: lower.iter().map(|&l| l as u32).collect(), share }
    }

    /// Whether the coarse points follow each other as the fine ones do.
    #[inline(always)]
    pub fn is_even(&self) -> bool {
        !matches!(self, Half::Any { .. })
    }

    /// Adds `weight` times the fine values, shared out, to the coarse ones.
    #[inline(always)]
    pub fn restrict(&self, fine: &[f32], weight: f32, coarse: &mut [f32]) {
        let (n, count) = (fine.len(), coarse.len());
        match self {
            Half::Kept { first } => kernels::add_times(&mut coarse[*first..], weight, fine),
            Half::Regular { first, share } => {
                // Fine points with an existing upper, with an existing lower coarse point.
                let upper = n.min(count.saturating_sub(*first));
                kernels::add_shares(&mut coarse[*first..*first + upper], weight, share, fine);
                let skip = 1 - first.min(&1);
                let end = n.min(count + 1 - first);
                if end > skip {
                    let from = skip + first - 1;
                    kernels::add_rests(
                        &mut coarse[from..from + end - skip],
                        weight,
                        &share[skip..end],
                        &fine[skip..end],
                    );
                }
            }
            Half::Any { lower, share } => {
                for ((r, &lower), share) in fine.iter().zip(lower).zip(share) {
                    let (lower, value) = (lower as usize, weight * r);
                    coarse[lower] += (1.0 - share) * value;
                    if *share > 0.0 {
                        coarse[lower + 1] += share * value;
                    }
                }
            }
        }
    }

    /// Adds the interpolated values to the fine ones. `line` holds the coarse values between
    /// two zeros.
    #[inline(always)]
    pub fn interpolate(&self, line: &[f32], fine: &mut [f32]) {
        match self {
            Half::Kept { first } => kernels::add(fine, &line[1 + first..]),
            Half::Regular { first, share } => {
                kernels::add_between(fine, &line[*first..], &line[first + 1..], share);
            }
            Half::Any { lower, share } => {
                for ((v, &lower), share) in fine.iter_mut().zip(lower).zip(share) {
                    let lower = lower as usize + 1;
                    *v += line[lower] + share * (line[lower + 1] - line[lower]);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::linear::axis::coarse_points;

    /// Both directions, by halves, against the map's own numbers.
    fn check(map: &AxisMap) {
        let n = map.lower.len();
        let inner = Columns::from(map);
        let coarse: Vec<f32> = (0..map.count).map(|c| 1.0 + (c * c) as f32).collect();
        let mut line = vec![0.0; map.count + 2];
        line[1..=map.count].copy_from_slice(&coarse);
        let value = |c: usize| coarse.get(c).copied().unwrap_or(0.0);
        let mut summed = vec![0.0; map.count];
        let mut expected_sum = vec![0.0; map.count];
        for h in 0..2 {
            let points: Vec<usize> = (h..n).step_by(2).collect();
            let mut fine = vec![0.0; points.len()];
            inner.halves[h].interpolate(&line, &mut fine);
            for (k, &p) in points.iter().enumerate() {
                let (lower, share) = (map.lower[p] as usize, map.share[p] as f32);
                let expected = (1.0 - share) * value(lower) + share * value(lower + 1);
                assert!((fine[k] - expected).abs() < 1e-4, "point {p} of {n}");
                expected_sum[lower] += (1.0 - share) * (p + 1) as f32 * 0.5;
                if share > 0.0 {
                    expected_sum[lower + 1] += share * (p + 1) as f32 * 0.5;
                }
            }
            let residual: Vec<f32> = points.iter().map(|&p| (p + 1) as f32).collect();
            inner.halves[h].restrict(&residual, 0.5, &mut summed);
        }
        for (a, b) in summed.iter().zip(&expected_sum) {
            assert!((a - b).abs() < 1e-4, "{summed:?} {expected_sum:?}");
        }
    }

    #[test]
    fn both_halves_interpolate_and_restrict_as_the_map_says() {
        let even: Vec<f64> = (0..40).map(f64::from).collect();
        let uneven: Vec<f64> = (0..40).map(|k| (f64::from(k) * 0.37).exp()).collect();
        for x in [even, uneven] {
            for target in [2.0, 3.0, 50.0] {
                let points = coarse_points(&x, target);
                for begin in 0..6 {
                    for end in begin + 1..40 {
                        check(&AxisMap::new(&x, &points, begin, end));
                    }
                }
            }
        }
    }
}
