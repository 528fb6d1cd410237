//! The operator on a coarser plane, again a network of conductances of the same kind.
//!
//! The points of the coarse plane are points of the fine one, its sheets sheets of the fine one.
//! Along the axis of a link the fine links between two coarse points act in series; across it, and
//! for sinks, the fine values are shared out as the interpolation shares values, so that constants
//! lose what they lost on the fine plane:
//!
//! ```text
//! 1/G_row = sum of 1/g along the row        G = sum over rows and sheets of share_y share_z G_row
//! sink    = sum over cells of share_x share_y share_z sink
//! ```
//!
//! In one dimension, or where conductances vary along one axis only, the links are those of
//! the exact Galerkin product up to the sinks, which are lumped.

use rayon::prelude::*;

use super::axis::{AxisMap, Fed};
use super::widest::widest;
use crate::conduction::{Block, Operator};

/// Maps of one block from a coarse plane to a fine one.
#[derive(Debug, Clone)]
pub(super) struct BlockMap {
    pub x: AxisMap,
    pub y: AxisMap,
    /// Of the sheets.
    pub z: AxisMap,
}

/// The coarse block of `fine`.
pub(super) fn coarse_block(fine: &Block, map: &BlockMap) -> Block {
    let (ncx, ncy, ncl) = (map.x.count, map.y.count, map.z.count);
    let mut coarse = Block::zeros(map.x.first, map.y.first, ncx, ncy, ncl, !fine.seat.is_empty());
    let (fed_x, fed_y, fed_z) = (map.x.transpose(), map.y.transpose(), map.z.transpose());
    let (nx, plane) = (fine.nx, fine.nx * fine.ny);
    let row_of = |l: usize, j: usize| l * plane + j * nx..l * plane + (j + 1) * nx;

    // Links along x: series along each fine row, then shared out over the coarse rows.
    if map.x.kept.len() > 1 {
        let halved = map.x.kept.windows(2).all(|ends| ends[1] == ends[0] + 2);
        let every_second = halved.then(|| map.x.kept[0]);
        for_each_row(&mut coarse.east, ncx, ncy, |sheet, row, out, _| {
            for ((l, share_z), (j, share_y)) in each_of(&fed_z, sheet, &fed_y, row) {
                let (share, links) = (share_z * share_y, &fine.east[row_of(l, j)]);
                if let Some(first) = every_second {
                    neighbours_in_series(&mut out[..ncx - 1], share, &links[first..]);
                    continue;
                }
                for (o, ends) in out.iter_mut().zip(map.x.kept.windows(2)) {
                    *o += share
                        * match links[ends[0]..ends[1]] {
                            [a] => a,
                            [a, b] => two_in_series(a, b),
                            ref more => in_series(more.iter().copied()),
                        };
                }
            }
        });
    }
    if map.y.kept.len() > 1 {
        for_each_row(&mut coarse.north, ncx, ncy, |sheet, row, out, line| {
            if row + 1 == ncy {
                return;
            }
            let (from, to) = (map.y.kept[row], map.y.kept[row + 1]);
            clear(line, nx);
            for (l, share) in fed_z.of(sheet) {
                add_in_series(line, share, from..to, |j| &fine.north[row_of(l, j)]);
            }
            gather(line, &fed_x, out);
        });
    }
    // Links through the thickness, in series between two sheets that stay.
    if ncl > 1 {
        for_each_row(&mut coarse.up, ncx, ncy, |sheet, row, out, line| {
            if sheet + 1 == ncl {
                return;
            }
            let (from, to) = (map.z.kept[sheet], map.z.kept[sheet + 1]);
            clear(line, nx);
            for (j, share) in fed_y.of(row) {
                add_in_series(line, share, from..to, |l| &fine.up[row_of(l, j)]);
            }
            gather(line, &fed_x, out);
        });
    }
    // What a cell owns.
    let shared = |values: &[f64], sheets: &Fed, into: &mut [f64]| {
        if values.par_iter().with_min_len(1 << 16).all(|&v| v == 0.0) {
            return;
        }
        for_each_row(into, ncx, ncy, |sheet, row, out, line| {
            clear(line, nx);
            for ((l, share_z), (j, share_y)) in each_of(sheets, sheet, &fed_y, row) {
                add_share(line, share_z * share_y, &values[row_of(l, j)]);
            }
            gather(line, &fed_x, out);
        });
    };
    shared(&fine.sink, &fed_z, &mut coarse.sink);
    // A seat has one sheet of links, which stays.
    shared(&fine.seat, &AxisMap::new(&[0.0], &[0], 0, 1).transpose(), &mut coarse.seat);
    coarse
}

/// Fine sheets that feed a coarse one, each with the fine rows that feed a coarse row; with shares.
fn each_of(
    fed_z: &Fed,
    sheet: usize,
    fed_y: &Fed,
    row: usize,
) -> impl Iterator<Item = ((usize, f64), (usize, f64))> {
    fed_z.of(sheet).flat_map(move |z| fed_y.of(row).map(move |y| (z, y)))
}

fn clear(line: &mut Vec<f64>, n: usize) {
    line.clear();
    line.resize(n, 0.0);
}

/// `line += share links`, each entry of the links in series with its likes.
fn add_in_series<'a>(
    line: &mut [f64],
    share: f64,
    range: std::ops::Range<usize>,
    links: impl Fn(usize) -> &'a [f64],
) {
    match range.len() {
        1 => add_share(line, share, links(range.start)),
        2 => pairs_in_series(line, share, links(range.start), links(range.start + 1)),
        _ => {
            for (i, v) in line.iter_mut().enumerate() {
                *v += share * in_series(range.clone().map(|k| links(k)[i]));
            }
        }
    }
}

/// The whole coarse operator. Its cell widths are not meaningful and left empty of them: the
/// plane is `plane` cells, and islands may share a coarse column.
pub(super) fn coarse_operator(
    fine: &Operator,
    maps: &[BlockMap],
    plane: (usize, usize),
) -> Operator {
    Operator {
        dx_m: vec![f64::NAN; plane.0],
        dy_m: vec![f64::NAN; plane.1],
        blocks: fine.blocks.iter().zip(maps).map(|(block, map)| coarse_block(block, map)).collect(),
    }
}

widest! {
    /// Links of the fine row, in series by two, times `share` to the coarse row's.
    fn neighbours_in_series(out: &mut [f64], share: f64, links: &[f64]) {
        for (o, pair) in out.iter_mut().zip(links.as_chunks::<2>().0) {
            *o += share * two_in_series(pair[0], pair[1]);
        }
    }

    /// Each of `a` in series with its like of `b`, times `share`, onto the line.
    fn pairs_in_series(line: &mut [f64], share: f64, a: &[f64], b: &[f64]) {
        for ((v, &a), &b) in line.iter_mut().zip(a).zip(b) {
            *v += share * two_in_series(a, b);
        }
    }

    /// `line += share cells`.
    fn add_share(line: &mut [f64], share: f64, cells: &[f64]) {
        for (v, &c) in line.iter_mut().zip(cells) {
            *v += share * c;
        }
    }
}

/// `1 / (1/a + 1/b)`; a missing link leaves none.
#[inline(always)]
fn two_in_series(a: f64, b: f64) -> f64 {
    let sum = a + b;
    let product = a * b;
    // Divided in any case: a choice of values, not of ways, can be done by the vector.
    let series = product / sum;
    if sum > 0.0 { series } else { 0.0 }
}

fn in_series(links: impl Iterator<Item = f64>) -> f64 {
    let mut resistance = 0.0;
    for g in links {
        resistance += 1.0 / g;
    }
    // A missing link has infinite resistance.
    1.0 / resistance
}

/// Shares of the fine cells out to the coarse ones.
fn gather(line: &[f64], fed: &Fed, out: &mut [f64]) {
    for (coarse, o) in out.iter_mut().enumerate() {
        *o = fed.of(coarse).map(|(fine, share)| share * line[fine]).sum();
    }
}

/// Calls `work(sheet, row, values of the row, scratch)` for every row of an array of sheets.
fn for_each_row(
    values: &mut [f64],
    nx: usize,
    ny: usize,
    work: impl Fn(usize, usize, &mut [f64], &mut Vec<f64>) + Sync,
) {
    let call = |line: &mut Vec<f64>, (k, out): (usize, &mut [f64])| work(k / ny, k % ny, out, line);
    if values.len() < 4096 {
        let mut line = Vec::new();
        values.chunks_mut(nx).enumerate().for_each(|row| call(&mut line, row));
    } else {
        values.par_chunks_mut(nx).enumerate().with_min_len(8).for_each_init(Vec::new, call);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One sheet that stays.
    fn one_sheet() -> AxisMap {
        AxisMap::new(&[0.0], &[0], 0, 1)
    }

    #[test]
    fn a_chain_of_links_is_a_link_of_the_summed_resistance() {
        let mut fine = Block::zeros(0, 0, 5, 1, 1, false);
        fine.east = vec![1.0, 2.0, 3.0, 6.0, 0.0];
        let x = [0.0, 1.0, 2.0, 3.0, 4.0];
        let map =
            BlockMap { x: AxisMap::new(&x, &[0, 2, 4], 0, 5), y: one_sheet(), z: one_sheet() };
        let coarse = coarse_block(&fine, &map);
        assert!((coarse.east[0] - 1.0 / (1.0 + 0.5)).abs() < 1e-15);
        assert!((coarse.east[1] - 1.0 / (1.0 / 3.0 + 1.0 / 6.0)).abs() < 1e-15);
        assert_eq!(coarse.east[2], 0.0);
    }

    #[test]
    fn beyond_the_last_coarse_point_there_is_no_link() {
        let mut fine = Block::zeros(0, 0, 5, 1, 1, false);
        fine.east = vec![1.0, 2.0, 3.0, 6.0, 0.0];
        let x = [0.0, 1.0, 2.0, 3.0, 4.0];
        let map = BlockMap { x: AxisMap::new(&x, &[0, 2], 0, 5), y: one_sheet(), z: one_sheet() };
        assert_eq!(coarse_block(&fine, &map).east, vec![1.0 / 1.5, 0.0]);
    }

    #[test]
    fn sinks_and_seats_keep_their_sum() {
        let mut fine = Block::zeros(1, 0, 4, 3, 2, true);
        for (k, v) in fine.sink.iter_mut().enumerate() {
            *v = (k + 1) as f64;
        }
        for (k, v) in fine.seat.iter_mut().enumerate() {
            *v = 2.0 + k as f64;
        }
        let x = [0.0, 1.0, 2.0, 2.5, 4.0, 5.0];
        let map = BlockMap {
            x: AxisMap::new(&x, &[0, 2, 4], 1, 5),
            y: AxisMap::new(&x[..3], &[0, 2], 0, 3),
            z: AxisMap::new(&x[..2], &[0, 1], 0, 2),
        };
        let coarse = coarse_block(&fine, &map);
        let sum = |v: &[f64]| v.iter().sum::<f64>();
        assert!((sum(&coarse.sink) - sum(&fine.sink)).abs() < 1e-12);
        assert!((sum(&coarse.seat) - sum(&fine.seat)).abs() < 1e-12);
    }

    #[test]
    fn sheets_between_two_that_stay_act_in_series_and_share_out_what_they_own() {
        let mut fine = Block::zeros(0, 0, 2, 1, 4, false);
        fine.up = vec![1.0, 2.0, 2.0, 4.0, 3.0, 6.0, 0.0, 0.0];
        fine.sink = vec![0.0, 1.0, 2.0, 3.0, 0.0, 0.0, 4.0, 5.0];
        fine.east = vec![1.0, 0.0, 10.0, 0.0, 20.0, 0.0, 5.0, 0.0];
        let z = AxisMap::new(&[0.0, 1.0, 3.0, 4.0], &[0, 3], 0, 4);
        let x = AxisMap::new(&[0.0, 1.0], &[0, 1], 0, 2);
        let coarse = coarse_block(&fine, &BlockMap { x, y: one_sheet(), z });
        assert_eq!(coarse.nl, 2);
        let near = |got: &[f64], expected: [f64; 4]| {
            let apart = got.iter().zip(expected).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
            assert!(apart < 1e-14, "{got:?} {expected:?}");
        };
        let chain = 1.0 / (1.0 + 0.5 + 1.0 / 3.0);
        near(&coarse.up, [chain, 2.0 * chain, 0.0, 0.0]);
        near(&coarse.sink, [1.5, 1.0 + 0.75 * 3.0, 4.5, 5.0 + 0.25 * 3.0]);
        near(&coarse.east, [1.0 + 7.5 + 5.0, 0.0, 5.0 + 2.5 + 15.0, 0.0]);
    }
}
