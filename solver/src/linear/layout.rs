//! Where the cells of one level stand in memory: row after row of the plane, each row with all
//! sheets of the substrate and of the islands that it crosses, so that a pass over the rows
//! streams through memory and a strip of rows is one contiguous piece.
//!
//! Conductances, the vectors of the finest level and the rows that a cycle works on are split in
//! two halves, the columns 0, 2, 4.. of the block and the columns 1, 3, 5..: one colour of the
//! checkerboard is then contiguous. The vectors of coarser levels, which interpolation reads and
//! restriction writes, stand in natural order within a sheet's row.

use super::kernels::LANES;

/// Zeros kept before and behind each half row of the work rows.
pub(super) const PAD: usize = 8;

/// Entries of a half row of `nx` columns.
pub(super) fn half(nx: usize) -> usize {
    nx.div_ceil(2).next_multiple_of(LANES)
}

/// Position and size of one block.
#[derive(Debug, Clone, Copy)]
pub(super) struct Shape {
    pub i0: usize,
    pub j0: usize,
    pub nx: usize,
    pub ny: usize,
    pub nl: usize,
    /// Entries of a half row: nx / 2, rounded up to whole vectors.
    pub half: usize,
    /// First entry of this block in a work row.
    pub work: usize,
}

impl Shape {
    /// Start of the half `h` of sheet `l` in a work row.
    pub fn work_half(&self, l: usize, h: usize) -> usize {
        self.work + (2 * l + h) * self.work_stride() + PAD
    }

    /// Distance between two half rows in a work row.
    pub fn work_stride(&self) -> usize {
        self.half + 2 * PAD
    }

    /// Half (0 or 1) that holds the columns of `colour` in row `j` of the plane.
    pub fn half_of(&self, colour: usize, j: usize) -> usize {
        (self.i0 + j + colour) & 1
    }

    /// Columns in the half `h`.
    pub fn columns(&self, h: usize) -> usize {
        (self.nx + 1 - h) / 2
    }
}

/// The part of one block that stands in one row of the plane.
#[derive(Debug, Clone, Copy)]
pub(super) struct Piece {
    pub block: usize,
    /// Row of the plane, counted from the block's first.
    pub row: usize,
    /// First entry in a vector of natural order.
    pub natural: usize,
    /// First entry in an array of split order.
    pub split: usize,
    /// The same for the row below, if the block has one.
    pub split_south: Option<usize>,
}

/// The rows of one level.
#[derive(Debug, Clone, Default)]
pub(super) struct Layout {
    pub nx: usize,
    pub ny: usize,
    pub shapes: Vec<Shape>,
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
        let mut shapes: Vec<Shape> = blocks
            .map(|[i0, j0, nx, ny, nl]| Shape { i0, j0, nx, ny, nl, half: half(nx), work: 0 })
            .collect();
        let work_len = place_in_work_rows(&mut shapes);
        let mut starting: Vec<Vec<usize>> = vec![Vec::new(); ny];
        for (b, shape) in shapes.iter().enumerate() {
            starting[shape.j0].push(b);
        }
        let mut layout = Layout {
            nx,
            ny,
            shapes,
            pieces: Vec::new(),
            piece_start: vec![0],
            row_start: vec![0],
            split_start: vec![0],
            work_len,
        };
        let mut active: Vec<usize> = Vec::new();
        let mut before: Vec<Option<usize>> = vec![None; layout.shapes.len()];
        let (mut natural, mut split) = (0, 0);
        for j in 0..ny {
            active.retain(|&b| j < layout.shapes[b].j0 + layout.shapes[b].ny);
            active.extend(&starting[j]);
            active.sort_unstable();
            for &b in &active {
                let shape = layout.shapes[b];
                layout.pieces.push(Piece {
                    block: b,
                    row: j - shape.j0,
                    natural,
                    split,
                    split_south: before[b],
                });
                before[b] = Some(split);
                natural += shape.nl * shape.nx;
                split += shape.nl * 2 * shape.half;
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

    /// What stands in row `j`: the substrate, then the islands in their order.
    pub fn pieces(&self, j: usize) -> &[Piece] {
        &self.pieces[self.piece_start[j]..self.piece_start[j + 1]]
    }

    /// The part of `block` in row `j`; the block must have one.
    pub fn piece(&self, j: usize, block: usize) -> &Piece {
        let row = self.pieces(j);
        if block == 0 {
            return &row[0];
        }
        &row[row.partition_point(|piece| piece.block < block)]
    }
}

/// Gives every block its place in a work row, so that blocks that share a row of the plane or
/// stand in neighbouring rows do not share a place. Returns the length of a work row.
fn place_in_work_rows(shapes: &mut [Shape]) -> usize {
    let mut order: Vec<usize> = (0..shapes.len()).collect();
    order.sort_by_key(|&b| shapes[b].j0);
    // (first entry, end, first row of the plane where the place is free again)
    let mut taken: Vec<(usize, usize, usize)> = Vec::new();
    let mut length = 0;
    for b in order {
        // Work rows are kept for a few rows of the plane: leave a distance.
        let free_again = shapes[b].j0 + shapes[b].ny + 16;
        taken.retain(|&(_, _, until)| until > shapes[b].j0);
        taken.sort_unstable();
        let need = shapes[b].nl * 2 * shapes[b].work_stride();
        let mut at = 0;
        for &(begin, end, _) in &taken {
            if begin >= at + need {
                break;
            }
            at = at.max(end);
        }
        shapes[b].work = at;
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
        assert_eq!(layout.piece(2, 1).natural, 12 + 15 + 12);
        assert_eq!(layout.piece(1, 1).split_south, None);
        assert_eq!(layout.piece(2, 1).split_south, Some(layout.piece(1, 1).split));
    }

    #[test]
    fn blocks_that_share_rows_do_not_share_work_space() {
        let blocks = [[0, 0, 9, 90, 1], [0, 0, 3, 8, 2], [4, 4, 3, 5, 2], [4, 60, 4, 3, 2]];
        let layout = Layout::new(9, 90, blocks.into_iter());
        let span = |b: usize| {
            let s = layout.shapes[b];
            (s.work, s.work + s.nl * 2 * s.work_stride())
        };
        for (a, b) in [(0, 1), (0, 2), (1, 2), (0, 3)] {
            let ((a0, a1), (b0, b1)) = (span(a), span(b));
            assert!(a1 <= b0 || b1 <= a0, "{a} {b}");
        }
    }
}
