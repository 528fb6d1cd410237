//! Coarsening of one axis of the grid: which points stay, and how the others are interpolated.
//!
//! A grid snapped to outlines and graded between them has strips of narrow cells in both
//! directions. Conduction across a narrow strip is strong, and pointwise relaxation smooths
//! the error only along strong couplings. So each axis is coarsened by a target distance, not
//! by a count: the narrow spacings of either axis are merged first, and a strip that is still
//! narrow is never coarsened along its length.

/// Most intervals that one coarse interval may replace.
const MOST_MERGED: usize = 4;

/// An interval so many times shorter than the next is merged with it as soon as it is narrow.
const JUMP: f64 = 4.0;

/// Intervals so many times wider than the narrowest are not merged together with them.
const APART: f64 = 10.0;

/// Indices of the points that stay when neighbours closer than `target` are merged; ascending,
/// the first is always 0. `positions` ascend. Of two points that stand close together among wide
/// intervals one goes as soon as their distance is to be merged: relaxation leaves such a pair alone.
pub(super) fn coarse_points(positions: &[f64], target: f64) -> Vec<usize> {
    let last = positions.len() - 1;
    let reach = target * (1.0 + 1e-9);
    let goes = |here: usize, next: usize| {
        let near = positions[next] - positions[here];
        let far = positions[next + 1] - positions[next];
        near + far <= reach || (2.0 * near <= reach && far >= JUMP * near)
    };
    let mut points = vec![0];
    let mut here = 0;
    while here < last {
        let mut next = here + 1;
        while next < last && next - here < MOST_MERGED && goes(here, next) {
            next += 1;
        }
        // Points beyond the last coarse one take its value, as if mirrored at the border.
        if next == last
            && next - here <= MOST_MERGED / 2
            && 2.0 * (positions[next] - positions[here]) <= reach
        {
            break;
        }
        points.push(next);
        here = next;
    }
    points
}

/// How far the next coarser plane merges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Reach {
    /// Neighbours closer than this are merged.
    pub target: f64,
    /// Only a few lines go that stand far closer together than all others. Conduction between such a
    /// pair is so strong that relaxation leaves the pair as it is, in every row and every sheet by
    /// itself: no rows and no sheets may be merged at the same time.
    pub only_slivers: bool,
}

/// The reach that merges the narrowest spacings of the two axes, and at least a tenth of the cells of
/// the plane: twice the least spacing where that halves the cells, up to six times where the grid is
/// graded and twice would merge little. Only where next to nothing else is near the narrowest
/// spacings, these alone are merged, however few.
pub(super) fn choose_reach(x: &[f64], y: &[f64]) -> Reach {
    let least = [x, y]
        .iter()
        .flat_map(|axis| axis.windows(2).map(|pair| pair[1] - pair[0]))
        .fold(f64::INFINITY, f64::min);
    let cells = (x.len() * y.len()) as f64;
    let left = |target: f64| {
        (coarse_points(x, target).len() * coarse_points(y, target).len()) as f64 / cells
    };
    let mut near = 2.1 * least;
    while left(near) > 0.5 && near < 6.0 * least {
        near *= 1.1;
    }
    let mut target = near;
    while left(target) > 0.9 && target < 1e300 {
        target *= 1.1;
    }
    let only_slivers = target > APART * near && left(near) < 1.0;
    Reach { target: if only_slivers { near } else { target }, only_slivers }
}

/// Interpolation along one axis from the coarse points to the fine ones of one block.
#[derive(Debug, Clone)]
pub(super) struct AxisMap {
    /// Coarse points of the block: the first of them on the coarse plane.
    pub first: usize,
    /// Coarse points of the block.
    pub count: usize,
    /// For each fine point of the block, the coarse point (of the block) at or before it.
    pub lower: Vec<u32>,
    /// For each fine point, the share of the coarse point after `lower`; the rest is `lower`'s.
    pub share: Vec<f64>,
    /// Positions in the block of the fine points that stay; empty when none of them does and
    /// the block is carried by the coarse point before it.
    pub kept: Vec<usize>,
}

impl AxisMap {
    /// The map of the fine points `begin..end`, given all the points that stay on the plane.
    pub fn new(positions: &[f64], points: &[usize], begin: usize, end: usize) -> Self {
        let first = points.partition_point(|&p| p < begin);
        let past = points.partition_point(|&p| p < end);
        let n = end - begin;
        if first == past {
            return AxisMap {
                first: first - 1,
                count: 1,
                lower: vec![0; n],
                share: vec![0.0; n],
                kept: Vec::new(),
            };
        }
        let mut lower = vec![0; n];
        let mut share = vec![0.0; n];
        for c in first..past {
            let local = (c - first) as u32;
            if c == first {
                for fine in begin..points[c] {
                    lower[fine - begin] = local;
                }
            }
            lower[points[c] - begin] = local;
            let next = if c + 1 < past { points[c + 1] } else { end };
            for fine in points[c] + 1..next {
                lower[fine - begin] = local;
                if c + 1 < past {
                    let (a, b) = (positions[points[c]], positions[next]);
                    share[fine - begin] = (positions[fine] - a) / (b - a);
                }
            }
        }
        AxisMap {
            first,
            count: past - first,
            lower,
            share,
            kept: points[first..past].iter().map(|p| p - begin).collect(),
        }
    }

    /// For each coarse point, the fine points that it feeds and its share in each.
    pub fn transpose(&self) -> Fed {
        let mut starts = vec![0; self.count + 1];
        let entries = || {
            self.lower.iter().zip(&self.share).zip(0..).flat_map(|((&lower, &share), fine)| {
                [(lower, fine, 1.0 - share), (lower + 1, fine, share)]
            })
        };
        for (coarse, _, share) in entries() {
            if share > 0.0 {
                starts[coarse as usize + 1] += 1;
            }
        }
        for c in 0..self.count {
            starts[c + 1] += starts[c];
        }
        let mut next = starts.clone();
        let mut shares = vec![(0, 0.0); starts[self.count] as usize];
        for (coarse, fine, share) in entries() {
            if share > 0.0 {
                let place = &mut next[coarse as usize];
                shares[*place as usize] = (fine, share);
                *place += 1;
            }
        }
        Fed { starts, shares }
    }
}

/// What coarse points feed: entries of point c from `starts[c]` to `starts[c + 1]`.
#[derive(Debug)]
pub(super) struct Fed {
    starts: Vec<u32>,
    /// Fine point and share.
    shares: Vec<(u32, f64)>,
}

impl Fed {
    /// Fine points that a coarse one feeds, and its share in each.
    pub fn of(&self, coarse: usize) -> impl Iterator<Item = (usize, f64)> {
        let range = self.starts[coarse] as usize..self.starts[coarse + 1] as usize;
        self.shares[range].iter().map(|&(fine, share)| (fine as usize, share))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_reach_quarters_an_even_plane_and_merges_enough_of_a_graded_one() {
        let reach = |x: &[f64], y: &[f64]| {
            let Reach { target, only_slivers } = choose_reach(x, y);
            assert!(!only_slivers);
            target
        };
        let even: Vec<f64> = (5..21).map(f64::from).collect();
        assert_eq!(reach(&even, &even), 2.1);
        // Narrow intervals: up to six times as far, where that merges a tenth of the cells.
        let few = [0.0, 1.0, 2.0, 10.0, 20.0, 30.0];
        let target = reach(&few, &[0.0, 10.0, 20.0, 30.0]);
        assert!((6.0..6.7).contains(&target), "{target}");
        // And farther where it does not.
        let mut many: Vec<f64> = (0..20).map(|k| 10.0 * f64::from(k)).collect();
        let wide = many.clone();
        many.insert(1, 1.0);
        let target = reach(&many, &wide);
        assert!((20.0..23.0).contains(&target), "{target}");
    }

    #[test]
    fn slivers_among_wide_intervals_go_alone() {
        let wide: Vec<f64> = (0..20).map(|k| 10.0 * f64::from(k)).collect();
        for (width, alone) in [(1e-6, true), (0.2, true), (0.5, false)] {
            let mut x = wide.clone();
            x.insert(8, 70.0 + width);
            let reach = choose_reach(&x, &wide);
            assert_eq!(reach.only_slivers, alone, "{width} {reach:?}");
            if alone {
                assert_eq!(coarse_points(&x, reach.target).len(), wide.len());
                assert_eq!(coarse_points(&wide, reach.target).len(), wide.len());
            }
        }
    }

    #[test]
    fn an_even_axis_keeps_every_other_point() {
        let x: Vec<f64> = (0..8).map(f64::from).collect();
        assert_eq!(coarse_points(&x, 2.0), vec![0, 2, 4, 6]);
    }

    #[test]
    fn no_more_than_four_intervals_become_one() {
        let x: Vec<f64> = (0..13).map(f64::from).collect();
        assert_eq!(coarse_points(&x, 1e3), vec![0, 4, 8, 12]);
        // Of narrow cells at the end, more than two are not left to the point before them.
        let narrow = [0.0, 1.0, 2.0, 2.1, 2.2, 2.3, 2.4];
        assert_eq!(coarse_points(&narrow, 2.0), vec![0, 2, 6]);
        let narrow = [0.0, 1.0, 2.0, 3.0, 4.0, 4.1, 4.2, 4.3];
        assert_eq!(coarse_points(&narrow, 2.0), vec![0, 2, 4, 7]);
    }

    #[test]
    fn wide_intervals_stay_while_narrow_ones_merge() {
        let x = [0.0, 1.0, 2.0, 3.0, 4.0, 14.0, 24.0, 25.0, 26.0];
        assert_eq!(coarse_points(&x, 2.0), vec![0, 2, 4, 5, 6, 8]);
    }

    #[test]
    fn of_a_close_pair_among_wide_intervals_one_goes_first() {
        assert_eq!(coarse_points(&[0.0, 10.0, 10.1, 20.0, 30.0], 0.21), vec![0, 1, 3, 4]);
        assert_eq!(coarse_points(&[0.0, 10.0, 10.1, 20.0, 30.0], 0.19), vec![0, 1, 2, 3, 4]);
        // Not where intervals only grow.
        assert_eq!(coarse_points(&[0.0, 1.0, 4.9, 9.0], 2.1), vec![0, 1, 2, 3]);
        assert_eq!(coarse_points(&[0.0, 1.0, 5.0, 9.0], 2.1), vec![0, 2, 3]);
    }

    #[test]
    fn interpolation_reproduces_a_straight_line_between_coarse_points() {
        let x = [0.0, 0.3, 1.0, 1.4, 2.2, 2.9];
        let points = [0, 2, 5];
        let map = AxisMap::new(&x, &points, 0, 6);
        for (fine, &at) in x.iter().enumerate() {
            let lower = map.lower[fine] as usize;
            let upper = (lower + 1).min(2);
            let value =
                (1.0 - map.share[fine]) * x[points[lower]] + map.share[fine] * x[points[upper]];
            assert!((value - at).abs() < 1e-15);
        }
    }

    #[test]
    fn an_island_between_two_coarse_points_is_carried_by_the_one_before() {
        let x = [0.0, 1.0, 2.0, 3.0, 4.0];
        let map = AxisMap::new(&x, &[0, 2, 4], 3, 4);
        assert_eq!((map.first, map.count), (1, 1));
        assert!(map.kept.is_empty());
        assert_eq!(map.transpose().of(0).collect::<Vec<_>>(), vec![(0, 1.0)]);
    }

    #[test]
    fn shares_of_each_fine_point_sum_to_one() {
        let x = [0.0, 1.0, 2.0, 3.5, 4.0, 6.0, 6.5];
        let map = AxisMap::new(&x, &[0, 2, 5], 1, 7);
        let mut sum = [0.0; 6];
        let fed = map.transpose();
        for (fine, share) in (0..map.count).flat_map(|coarse| fed.of(coarse)) {
            sum[fine] += share;
        }
        assert!(sum.iter().all(|s| (s - 1.0f64).abs() < 1e-15), "{sum:?}");
    }
}
