//! Coarsening of a block through its thickness: which sheets stay, and how the others are
//! interpolated.
//!
//! Relaxation solves whole columns, so that an error which varies through the thickness dies where
//! conduction along a column is strong beside conduction in the plane: where cells are wide beside
//! the sheets' thickness. There the next plane does with fewer sheets. Between two sheets that stay
//! the others are interpolated by the resistance of the way to either, as along the axes of the
//! plane; the lowest sheet stays, which carries a seat in an island, and the top one, which carries
//! the islands in the substrate.

use super::axis::AxisMap;
use crate::conduction::Block;

/// Sheets a to b are spanned by one interval where in three of four columns
/// `1 / sum(1/up) >= STRONG (links in the plane of the sheets between, and half of a's and b's)`.
/// In a layer of one material, t thick from a to b, with cells of side h, the left is `(h / 2t)²` of
/// those links: `t <= 1.6 h`.
const STRONG: f64 = 0.1;

/// Columns looked at along either axis: a sample tells enough.
const SAMPLE: usize = 12;

/// The map of the sheets of a block.
pub(super) fn stack_map(block: &Block) -> AxisMap {
    let (nl, plane) = (block.nl, block.nx * block.ny);
    let every = |n: usize| (0..n).step_by(n.div_ceil(SAMPLE).max(1));
    let columns: Vec<usize> =
        every(block.ny).flat_map(|j| every(block.nx).map(move |i| j * block.nx + i)).collect();
    // Of each sheet and column: links in the plane, and conductance to the sheet above.
    let links: Vec<Vec<f64>> =
        (0..nl).map(|l| columns.iter().map(|&c| links_in_plane(block, l, c)).collect()).collect();
    let up: Vec<Vec<f64>> =
        (0..nl).map(|l| columns.iter().map(|&c| block.up[l * plane + c]).collect()).collect();
    let strong = |from: usize, to: usize, column: usize| {
        let resistance: f64 = (from..to).map(|l| 1.0 / up[l][column]).sum();
        let between: f64 = (from + 1..to).map(|l| links[l][column]).sum();
        let ends = links[from][column] + links[to][column];
        resistance * STRONG * (between + 0.5 * ends) <= 1.0
    };
    let spanned = |from: usize, to: usize| {
        4 * (0..columns.len()).filter(|&k| strong(from, to, k)).count() >= 3 * columns.len()
    };
    let mut points = vec![0];
    let mut here = 0;
    while here + 1 < nl {
        let mut next = here + 1;
        while next + 1 < nl && spanned(here, next + 1) {
            next += 1;
        }
        points.push(next);
        here = next;
    }
    let mut positions = vec![0.0; nl];
    for l in 1..nl {
        let conductance: f64 = up[l - 1].iter().sum();
        // Without any way through there is nothing to interpolate.
        let step = if conductance > 0.0 { 1.0 / conductance } else { 0.0 };
        positions[l] = positions[l - 1] + step;
    }
    AxisMap::new(&positions, &points, 0, nl)
}

/// The map of the sheets of a block where all of them stay.
pub(super) fn whole_stack(block: &Block) -> AxisMap {
    let points: Vec<usize> = (0..block.nl).collect();
    let positions: Vec<f64> = (0..block.nl).map(|l| l as f64).collect();
    AxisMap::new(&positions, &points, 0, block.nl)
}

/// Sum of the links of a cell to its neighbours in the sheet, W/K.
fn links_in_plane(block: &Block, sheet: usize, cell: usize) -> f64 {
    let at = sheet * block.nx * block.ny + cell;
    let west = if cell.is_multiple_of(block.nx) { 0.0 } else { block.east[at - 1] };
    let south = if cell < block.nx { 0.0 } else { block.north[at - block.nx] };
    block.east[at] + west + block.north[at] + south
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A layer of one material with cells of side h, in sheets of these thicknesses, times its
    /// conductivity.
    fn layer(side: f64, sheets: &[f64]) -> Block {
        let (nx, ny, nl) = (5, 4, sheets.len());
        let mut block = Block::zeros(0, 0, nx, ny, nl, false);
        for c in 0..block.len() {
            let (l, i, j) = (c / (nx * ny), c % nx, c / nx % ny);
            block.east[c] = if i + 1 < nx { sheets[l] } else { 0.0 };
            block.north[c] = if j + 1 < ny { sheets[l] } else { 0.0 };
            let next = sheets.get(l + 1).map(|next| side * side / (0.5 * (sheets[l] + next)));
            block.up[c] = next.unwrap_or(0.0);
        }
        block
    }

    #[test]
    fn under_wide_cells_only_the_outer_sheets_stay_and_under_narrow_ones_all() {
        let sheets = [1.0, 2.0, 2.0, 3.0];
        let wide = stack_map(&layer(10.0, &sheets));
        assert_eq!((wide.count, wide.kept), (2, vec![0, 3]));
        // By the resistance of the way: 1.5, 3.5 and 6 from the lowest.
        let expected = [0.0, 1.5 / 6.0, 3.5 / 6.0, 0.0];
        for (share, expected) in wide.share.iter().zip(expected) {
            assert!((share - expected).abs() < 1e-15);
        }
        assert_eq!(stack_map(&layer(0.5, &sheets)).kept, vec![0, 1, 2, 3]);
    }

    #[test]
    fn an_interval_is_as_thick_as_the_cells_allow() {
        // Inside the plane four links of t each: intervals of up to 1.6 h.
        let thin = [1.0; 13];
        assert_eq!(stack_map(&layer(2.6, &thin)).kept, vec![0, 4, 8, 12]);
        assert_eq!(stack_map(&layer(2.5, &thin)).kept, vec![0, 3, 6, 9, 12]);
        assert_eq!(stack_map(&layer(1.0, &thin)).kept, (0..13).collect::<Vec<_>>());
    }

    #[test]
    fn sheets_are_merged_where_three_of_four_columns_are_strong() {
        for (weak, kept) in [(5, vec![0, 3]), (6, vec![0, 2, 3])] {
            let mut block = layer(10.0, &[1.0; 4]);
            block.up[2 * 20..2 * 20 + weak].fill(1e-3);
            assert_eq!(stack_map(&block).kept, kept);
        }
    }

    #[test]
    fn a_cell_has_links_to_four_neighbours_or_fewer() {
        let mut block = Block::zeros(0, 0, 3, 2, 2, false);
        block.east = vec![1.0, 2.0, 0.0, 3.0, 4.0, 0.0, 10.0, 20.0, 0.0, 30.0, 40.0, 0.0];
        block.north = vec![5.0, 6.0, 7.0, 0.0, 0.0, 0.0, 50.0, 60.0, 70.0, 0.0, 0.0, 0.0];
        let sums = [6.0, 9.0, 9.0, 8.0, 13.0, 11.0];
        for (cell, sum) in sums.into_iter().enumerate() {
            assert_eq!(links_in_plane(&block, 0, cell), sum);
            assert_eq!(links_in_plane(&block, 1, cell), 10.0 * sum);
        }
    }

    #[test]
    fn a_weak_way_through_keeps_both_its_sheets_apart_and_none_at_all_too() {
        for weak in [1e-3, 0.0] {
            let mut block = layer(10.0, &[1.0; 5]);
            block.up[2 * 20..3 * 20].fill(weak);
            let map = stack_map(&block);
            assert_eq!(map.kept, vec![0, 2, 3, 4]);
            assert!(map.share.iter().all(|s| s.is_finite()));
        }
        assert_eq!(stack_map(&layer(1.0, &[1.0])).kept, vec![0]);
    }

    #[test]
    fn a_whole_stack_keeps_every_sheet_as_it_is() {
        for sheets in [1, 2, 5] {
            let map = whole_stack(&Block::zeros(0, 0, 4, 3, sheets, false));
            assert_eq!((map.first, map.count, &map.kept), (0, sheets, &(0..sheets).collect()));
            assert!(map.share.iter().all(|&share| share == 0.0));
        }
    }
}
