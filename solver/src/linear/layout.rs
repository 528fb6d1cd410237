//! Where the cells of one level stand in memory: row after row of the plane, each row with all
//! sheets of the substrate and of the islands that it crosses, so that a pass over the rows
//! streams through memory and a strip of rows is one contiguous piece.
//!
//! Conductances, the vectors of the finest level and the rows that a cycle works on are split in
//! two halves, the columns 0, 2, 4.. of the block and the columns 1, 3, 5..: one colour of the
//! checkerboard is then contiguous. The vectors of coarser levels, which interpolation reads and
//! restriction writes, stand in natural order within a sheet's row.

use std::collections::HashMap;

use super::kernels::LANES;
use crate::pages;

/// Zeros kept before and behind each half row of the work rows.
pub(super) const PAD: usize = 8;

/// Entries of a line of the processor's memory.
pub(super) const LINE: usize = pages::LINE / size_of::<f32>();

/// Half rows of so many entries are filled up to whole lines; shorter ones would grow too much.
const LONG: usize = 128;

/// Entries of a half row of `nx` columns.
pub(super) fn half(nx: usize) -> usize {
    nx.div_ceil(2).next_multiple_of(LANES)
}

/// Position and size of one block, and its place among those that it stands beside.
#[derive(Debug, Clone, Copy)]
pub(super) struct Shape {
    pub i0: usize,
    pub j0: usize,
    pub nx: usize,
    pub ny: usize,
    pub nl: usize,
    pub group: usize,
    /// First entry of this block in the half rows of its group, and how many it takes there.
    pub first: usize,
    pub half: usize,
    /// 1 where the block's columns 0, 2, 4.. stand in the second half and the others, from an entry
    /// that is left free, in the first.
    pub lead: usize,
    /// First entry in a row of natural order, from the group's.
    natural: usize,
}

impl Shape {
    /// Which of the block's columns have `colour` in row `j` of the plane: those from 0 or from 1.
    pub fn parity_of(&self, colour: usize, j: usize) -> usize {
        (self.i0 + j + colour) & 1
    }

    /// Columns from `parity` on, every second.
    pub fn columns(&self, parity: usize) -> usize {
        (self.nx + 1 - parity) / 2
    }

    /// First entry of the columns of a parity in the half row of the group that holds them.
    pub fn first_of(&self, parity: usize) -> usize {
        self.first + (parity & self.lead)
    }

    /// First entries of the block's even and of its odd columns, from the start of its group's first
    /// half row; the second one stands `stride` behind it.
    pub fn in_halves(&self, stride: usize) -> (usize, usize) {
        let even = self.lead * stride + self.first_of(0);
        let odd = (1 - self.lead) * stride + self.first_of(1);
        (even, odd)
    }

    /// The block's even and its odd columns, from the first one to the end of the half row, where
    /// `halves` are two half rows of its group, `stride` apart.
    pub fn split<'a, T>(&self, halves: &'a mut [T], stride: usize) -> (&'a mut [T], &'a mut [T]) {
        let (head, tail) = halves.split_at_mut(stride);
        let (even, odd) = if self.lead == 0 { (head, tail) } else { (tail, head) };
        (&mut even[self.first_of(0)..], &mut odd[self.first_of(1)..])
    }
}

/// Blocks that stand side by side: the substrate alone, or islands with as many sheets on the same
/// rows of the plane. Their half rows follow each other, so that one loop takes them all: those of a
/// small die alone would hardly fill a vector.
#[derive(Debug, Clone)]
pub(super) struct Group {
    pub j0: usize,
    pub ny: usize,
    pub nl: usize,
    /// Parity of the plane's columns in the first half.
    parity: usize,
    /// Entries of a half row.
    pub half: usize,
    /// First entry in a work row.
    work: usize,
    pub blocks: Vec<usize>,
}

impl Group {
    /// Start of the half `h` of sheet `l` in a work row.
    pub fn work_half(&self, l: usize, h: usize) -> usize {
        self.work + (2 * l + h) * self.work_stride() + PAD
    }

    /// Distance between two half rows in a work row.
    pub fn work_stride(&self) -> usize {
        self.half + 2 * PAD
    }

    /// Entries of a work row that are this group's.
    pub fn work_place(&self) -> std::ops::Range<usize> {
        self.work..self.work + 2 * self.nl * self.work_stride()
    }

    /// Half (0 or 1) that holds the columns of `colour` in row `j` of the plane.
    pub fn half_of(&self, colour: usize, j: usize) -> usize {
        (self.parity + j + colour) & 1
    }

    /// Half of the substrate that lies under half `h` of an island of this group, and its entry there
    /// under the island's first.
    #[inline(always)]
    pub fn seat(&self, island: &Shape, h: usize) -> (usize, usize) {
        let first = island.i0 - island.lead + h;
        (first & 1, first / 2)
    }
}

/// The part of one group that stands in one row of the plane.
#[derive(Debug, Clone, Copy)]
pub(super) struct Piece {
    pub group: usize,
    /// Row of the plane, counted from the group's first.
    pub row: usize,
    /// First entry in a vector of natural order.
    natural: usize,
    /// First entry in an array of split order.
    pub split: usize,
    /// The same for the row below, if the group has one.
    pub split_south: Option<usize>,
}

impl Piece {
    /// First entry of a block of the group in a vector of natural order.
    #[inline(always)]
    pub fn natural_of(&self, block: &Shape) -> usize {
        self.natural + block.natural
    }
}

/// The rows of one level.
#[derive(Debug, Clone, Default)]
pub(super) struct Layout {
    pub nx: usize,
    pub ny: usize,
    pub shapes: Vec<Shape>,
    pub groups: Vec<Group>,
    pieces: Vec<Piece>,
    piece_start: Vec<usize>,
    /// First entry of each row in natural order, and the end.
    pub row_start: Vec<usize>,
    /// First entry of each row in split order, and the end.
    pub split_start: Vec<usize>,
    /// Entries of a work row.
    pub work_len: usize,
}

impl Layout {
    /// Lays out blocks given as (i0, j0, nx, ny, nl), the substrate first.
    pub fn new(nx: usize, ny: usize, blocks: impl Iterator<Item = [usize; 5]>) -> Self {
        let (shapes, mut groups) = side_by_side(blocks);
        let work_len = place_in_work_rows(&mut groups);
        let mut starting: Vec<Vec<usize>> = vec![Vec::new(); ny];
        for (g, group) in groups.iter().enumerate() {
            starting[group.j0].push(g);
        }
        let mut layout = Layout {
            nx,
            ny,
            shapes,
            groups,
            pieces: Vec::new(),
            piece_start: vec![0],
            row_start: vec![0],
            split_start: vec![0],
            work_len,
        };
        let mut active: Vec<usize> = Vec::new();
        let mut before: Vec<Option<usize>> = vec![None; layout.groups.len()];
        let (mut natural, mut split) = (0, 0);
        for j in 0..ny {
            active.retain(|&g| j < layout.groups[g].j0 + layout.groups[g].ny);
            active.extend(&starting[j]);
            active.sort_unstable();
            for &g in &active {
                let group = &layout.groups[g];
                layout.pieces.push(Piece {
                    group: g,
                    row: j - group.j0,
                    natural,
                    split,
                    split_south: before[g],
                });
                before[g] = Some(split);
                let cells = |b: &usize| layout.shapes[*b].nl * layout.shapes[*b].nx;
                natural += group.blocks.iter().map(cells).sum::<usize>();
                split += group.nl * 2 * group.half;
            }
            layout.piece_start.push(layout.pieces.len());
            layout.row_start.push(natural);
            layout.split_start.push(split);
        }
        layout
    }

    /// Number of unknowns.
    pub fn len(&self) -> usize {
        self.row_start[self.ny]
    }

    /// Entries of an array in split order.
    pub fn split_len(&self) -> usize {
        self.split_start[self.ny]
    }

    /// What stands in row `j`: the substrate, then the groups of islands in their order.
    pub fn pieces(&self, j: usize) -> &[Piece] {
        &self.pieces[self.piece_start[j]..self.piece_start[j + 1]]
    }

    /// The part of `group` in row `j`; the group must have one.
    #[inline]
    pub fn piece(&self, j: usize, group: usize) -> &Piece {
        let row = self.pieces(j);
        if group == 0 {
            return &row[0];
        }
        &row[row.partition_point(|piece| piece.group < group)]
    }

    /// First entry of row `j` of a block in a vector of natural order; the block must have that row.
    #[inline]
    pub fn natural(&self, j: usize, block: usize) -> usize {
        let s = &self.shapes[block];
        self.piece(j, s.group).natural_of(s)
    }

    /// The blocks of a group.
    #[inline]
    pub fn blocks_of(&self, group: usize) -> impl Iterator<Item = (usize, &Shape)> {
        self.groups[group].blocks.iter().map(|&b| (b, &self.shapes[b]))
    }

    /// Every block in row `j`, with the piece of its group.
    pub fn blocks_in(&self, j: usize) -> impl Iterator<Item = (&Piece, usize, &Shape)> {
        let of = |piece: &Piece| self.groups[piece.group].blocks.iter();
        let pieces = self.pieces(j).iter();
        pieces.flat_map(move |piece| of(piece).map(move |&b| (piece, b, &self.shapes[b])))
    }
}

/// Blocks and groups, not yet placed in work rows.
fn side_by_side(blocks: impl Iterator<Item = [usize; 5]>) -> (Vec<Shape>, Vec<Group>) {
    let (mut shapes, mut groups) = (Vec::new(), Vec::<Group>::new());
    let mut known = HashMap::new();
    for (b, [i0, j0, nx, ny, nl]) in blocks.enumerate() {
        // In the plane's own parity all islands fit together; not where that would cost a vector.
        let parity = if half(nx + i0 % 2) > half(nx) { i0 % 2 } else { 0 };
        let lead = (i0 + parity) & 1;
        let group = *known.entry((b == 0, j0, ny, nl, parity)).or_insert(groups.len());
        if group == groups.len() {
            groups.push(Group { j0, ny, nl, parity, half: 0, work: 0, blocks: Vec::new() });
        }
        let group_of = &mut groups[group];
        let before = group_of.blocks.last().map(|&b: &usize| &shapes[b]);
        let natural = before.map_or(0, |s: &Shape| s.natural + s.nl * s.nx);
        let (first, half) = (group_of.half, half(nx + lead));
        shapes.push(Shape { i0, j0, nx, ny, nl, group, first, half, lead, natural });
        group_of.half += half;
        group_of.blocks.push(b);
    }
    for group in groups.iter_mut().filter(|group| group.half >= LONG) {
        group.half = group.half.next_multiple_of(LINE);
    }
    (shapes, groups)
}

/// Gives every group its place in a work row, so that groups that share a row of the plane or
/// stand in neighbouring rows do not share a place. Returns the length of a work row.
fn place_in_work_rows(groups: &mut [Group]) -> usize {
    let mut order: Vec<usize> = (0..groups.len()).collect();
    order.sort_by_key(|&g| groups[g].j0);
    // (first entry, end, first row of the plane where the place is free again)
    let mut taken: Vec<(usize, usize, usize)> = Vec::new();
    let mut length = 0;
    for g in order {
        // Work rows are kept for a few rows of the plane: leave a distance.
        let free_again = groups[g].j0 + groups[g].ny + 16;
        taken.retain(|&(_, _, until)| until > groups[g].j0);
        taken.sort_unstable();
        let need = groups[g].work_place().len().next_multiple_of(LINE);
        // Long half rows, which stand behind the first padding, begin with a line.
        let mut at = LINE - PAD;
        for &(begin, end, _) in &taken {
            if begin >= at + need {
                break;
            }
            at = at.max(end);
        }
        groups[g].work = at;
        taken.push((at, at + need, free_again));
        length = length.max(at + need);
    }
    length
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_hold_the_islands_that_they_cross_and_nothing_else() {
        let layout = Layout::new(6, 4, [[0, 0, 6, 4, 2], [1, 1, 3, 2, 1]].into_iter());
        assert_eq!(layout.len(), 2 * 24 + 6);
        assert_eq!(layout.pieces(0).len(), 1);
        assert_eq!(layout.pieces(1).len(), 2);
        assert_eq!(layout.natural(2, 1), 12 + 15 + 12);
        assert_eq!(layout.piece(1, 1).split_south, None);
        assert_eq!(layout.piece(2, 1).split_south, Some(layout.piece(1, 1).split));
    }

    #[test]
    fn islands_on_the_same_rows_stand_side_by_side() {
        let blocks = [
            [0, 0, 90, 9, 2],
            [1, 2, 5, 3, 2],
            // The same place, size along y and stack, in turn: one group.
            [10, 2, 20, 3, 2],
            [40, 2, 3, 4, 2],
            [50, 2, 3, 3, 1],
            [33, 2, 4, 3, 2],
        ];
        let layout = Layout::new(90, 9, blocks.into_iter());
        let of = |g: usize| layout.groups[g].blocks.clone();
        assert_eq!([of(0), of(1), of(2), of(3)], [vec![0], vec![1, 2, 5], vec![3], vec![4]]);
        let group = &layout.groups[1];
        assert_eq!((group.half, layout.groups.len()), (8 + 16 + 8, 4));
        let firsts = [1, 2, 5].map(|b| (layout.shapes[b].first, layout.shapes[b].natural));
        assert_eq!(firsts, [(0, 0), (8, 10), (24, 50)]);
        assert_eq!(layout.natural(3, 5), layout.piece(3, 1).natural + 50);
    }

    /// Colours are the plane's, and each island stands on the substrate's columns under it.
    #[test]
    fn every_column_is_found_in_its_half_and_over_its_seat() {
        for i0 in 0..4 {
            for nx in [1, 2, 7, 15, 16, 17] {
                let blocks = [[0, 0, 60, 2, 1], [20, 0, 9, 2, 3], [i0, 0, nx, 2, 3]];
                let layout = Layout::new(60, 2, blocks.into_iter());
                let s = layout.shapes[2];
                let group = &layout.groups[s.group];
                // A column of the other parity than the group's costs no vector.
                assert_eq!(s.half, half(nx));
                let (even, odd) = s.in_halves(group.half);
                let mut halves = vec![usize::MAX; 2 * group.half];
                let (to_even, to_odd) = s.split(&mut halves, group.half);
                for i in 0..nx {
                    let to = if i % 2 == 0 { &mut to_even[i / 2] } else { &mut to_odd[i / 2] };
                    *to = i;
                }
                for i in 0..nx {
                    let at = if i % 2 == 0 { even } else { odd } + i / 2;
                    assert_eq!(halves[at], i);
                    let (h, k) = (at / group.half, at % group.half);
                    assert!((s.first..s.first + s.half).contains(&k));
                    assert_eq!(k, s.first_of(i % 2) + i / 2);
                    for (colour, j) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
                        let is_of_colour = (i0 + i + j) % 2 == colour;
                        assert_eq!(group.half_of(colour, j) == h, is_of_colour);
                        assert_eq!(s.parity_of(colour, j) == i % 2, is_of_colour);
                    }
                    let (half, first) = group.seat(&s, h);
                    assert_eq!(2 * (first + k - s.first) + half, i0 + i);
                }
                let count = |parity: usize| (0..nx).filter(|i| i % 2 == parity).count();
                assert_eq!([s.columns(0), s.columns(1)], [count(0), count(1)]);
            }
        }
    }

    #[test]
    fn long_half_rows_begin_with_a_line_and_short_ones_stay_short() {
        // Half rows of 264 and 136 entries, and of 16 and 8.
        let blocks = [
            [0, 0, 527, 9, 3],
            [2, 0, 30, 4, 2],
            [40, 0, 265, 5, 2],
            [310, 0, 12, 9, 1],
            [330, 2, 150, 6, 1],
            [490, 1, 5, 3, 2],
        ];
        let layout = Layout::new(527, 9, blocks.into_iter());
        assert_eq!(
            layout.groups.iter().map(|g| g.half).collect::<Vec<_>>(),
            [272, 16, 144, 8, 80, 8]
        );
        for group in layout.groups.iter().filter(|group| group.half >= LONG) {
            for (l, h) in (0..group.nl).flat_map(|l| [(l, 0), (l, 1)]) {
                assert!(group.work_half(l, h).is_multiple_of(LINE));
            }
        }
        for piece in (0..9).flat_map(|j| layout.pieces(j)) {
            assert!(piece.split.is_multiple_of(LINE));
        }
    }

    #[test]
    fn groups_that_share_rows_do_not_share_work_space() {
        let blocks = [[0, 0, 9, 90, 1], [0, 0, 3, 8, 2], [4, 4, 3, 5, 2], [4, 60, 4, 3, 2]];
        let layout = Layout::new(9, 90, blocks.into_iter());
        for (a, b) in [(0, 1), (0, 2), (1, 2), (0, 3)] {
            let (a, b) = (layout.groups[a].work_place(), layout.groups[b].work_place());
            assert!(a.end <= b.start || b.end <= a.start, "{a:?} {b:?}");
        }
    }
}
