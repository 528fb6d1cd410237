//! One level of the multigrid preconditioner: conductances in single precision, the pivots of the
//! columns, and the way to the next coarser plane.

use super::interpolation::Maps;
use super::kernels;
use super::layout::{LINE, Layout, Piece, Shape};
use super::relaxation::EASE;
use super::rows::two_pieces;
use super::strips::{Pieces, cut_rows, for_each_strip};
use super::widest::widest;
use crate::conduction::{Block, Operator};
use crate::pages::{Lined, lined};

/// Least number of unknowns in a strip: less is not worth a thread's attention.
pub(super) const STRIP_UNKNOWNS: usize = 1 << 12;

/// Least rows in a strip: neighbours recompute a few rows of each other.
const STRIP_ROWS: usize = 32;

/// The way from one level to the next coarser one.
#[derive(Debug, Clone)]
pub(super) struct Transfer {
    /// For each block.
    pub maps: Vec<Maps>,
    /// Rows of the fine plane that stay.
    pub points_y: Vec<usize>,
    /// Strips of coarse rows.
    pub strips: Vec<usize>,
    /// Their bounds in the coarse level's vectors.
    pub bounds: Vec<usize>,
    /// Fine rows of which each strip keeps the second colour, and their bounds where it is kept.
    pub kept_rows: Vec<usize>,
    pub kept_bounds: Vec<usize>,
}

/// One level.
#[derive(Debug, Clone, Default)]
pub(super) struct Level {
    pub layout: Layout,
    /// Conductances in split order, W/K, `east` behind a `LINE` of zeros. `link` leads to the sheet
    /// above in the substrate and to the sheet below in an island; it is empty where there is
    /// one sheet and no island.
    pub east: Lined<f32>,
    pub north: Lined<f32>,
    pub link: Lined<f32>,
    /// Conductances to temperatures held from outside, on the finest level: the conjugate gradients
    /// apply the operator from these arrays.
    pub sink: Lined<f32>,
    /// Reciprocal pivots of the elimination of each column: substrate from below, islands from
    /// above, the substrate's top sheet last. K/W.
    pub inverse_pivot: Lined<f32>,
    /// Strips of rows, and their bounds in the level's vectors.
    pub strips: Vec<usize>,
    pub bounds: Vec<usize>,
    /// Their bounds in the arrays of conductances.
    split_bounds: Vec<usize>,
    /// Times that a cycle relaxes the second colour before, and again after, the coarse correction:
    /// one or two.
    pub sweeps: usize,
    /// Missing on the coarsest level.
    pub transfer: Option<Transfer>,
}

/// Conductances around one half row, W/K: to the rows after and before, and to the other half,
/// between whose columns its own stand; side a is a column's partner of the same entry.
pub(super) struct Links<'a> {
    pub north: &'a [f32],
    pub south: Option<&'a [f32]>,
    pub link_a: &'a [f32],
    pub link_b: &'a [f32],
}

/// Bounds of strips of rows: a function of the level alone, never of the number of threads.
pub(super) fn strips_of(rows: usize, unknowns: usize) -> Vec<usize> {
    let for_work = (STRIP_UNKNOWNS * rows).div_ceil(unknowns.max(1));
    cut_rows(rows, for_work.max(STRIP_ROWS))
}

/// The layout of an operator on a plane of nx by ny cells.
pub(super) fn layout_of(operator: &Operator, nx: usize, ny: usize) -> Layout {
    Layout::new(nx, ny, operator.blocks.iter().map(|b| [b.i0, b.j0, b.nx, b.ny, b.nl]))
}

impl Level {
    /// Whether every column is one cell.
    pub fn single_sheet(&self) -> bool {
        self.link.is_empty()
    }

    /// Conductances around half `h` of sheet `l` of a piece.
    #[inline(always)]
    pub fn links(&self, piece: &Piece, (l, h): (usize, usize)) -> Links<'_> {
        let n = self.layout.groups[piece.group].half;
        let sheet = piece.split + 2 * l * n;
        let of_half = |split: usize| &self.north[split + (2 * l + h) * n..][..n];
        let side_b = if h == 0 { sheet + n - 1 } else { sheet + n };
        Links {
            north: of_half(piece.split),
            south: piece.split_south.map(of_half),
            link_a: &self.east[LINE + sheet..][..n],
            link_b: &self.east[LINE + side_b..][..n],
        }
    }

    /// Whether vectors on this level stand in halves (elsewhere in natural order), and sinks are
    /// known.
    pub fn is_finest(&self) -> bool {
        !self.sink.is_empty()
    }

    pub fn new(operator: &Operator, nx: usize, ny: usize, is_finest: bool) -> Self {
        let layout = layout_of(operator, nx, ny);
        let strips = strips_of(ny, layout.len());
        let n = layout.split_len();
        let linked = operator.blocks.len() > 1 || operator.blocks[0].nl > 1;
        let bounds_in = |starts: &[usize]| strips.iter().map(|&j| starts[j]).collect();
        let mut level = Level {
            east: lined(n + LINE),
            north: lined(n),
            link: lined(if linked { n } else { 0 }),
            sink: lined(if is_finest { n } else { 0 }),
            inverse_pivot: lined(n),
            bounds: bounds_in(if is_finest { &layout.split_start } else { &layout.row_start }),
            split_bounds: bounds_in(&layout.split_start),
            sweeps: 1,
            transfer: None,
            strips,
            layout,
        };
        level.fill(operator);
        level
    }

    /// Takes over the conductances of an operator of these blocks.
    pub fn fill(&mut self, operator: &Operator) {
        let Level { layout, east, north, link, sink, inverse_pivot, strips, split_bounds, .. } =
            self;
        let none = vec![0; strips.len()];
        let bounds_of = |array: &[f32]| if array.is_empty() { &none } else { &*split_bounds };
        let (link_bounds, sink_bounds) = (bounds_of(link), bounds_of(sink));
        let outputs = (
            (
                Pieces { data: &mut east[LINE..], bounds: split_bounds },
                Pieces { data: north, bounds: split_bounds },
                Pieces { data: sink, bounds: sink_bounds },
            ),
            (
                Pieces { data: link, bounds: link_bounds },
                Pieces { data: inverse_pivot, bounds: split_bounds },
            ),
        );
        for_each_strip(
            strips.len() - 1,
            outputs,
            &|strip, ((east, north, sink), (link, pivot))| {
                let mut diagonal = Vec::new();
                for j in strips[strip]..strips[strip + 1] {
                    let into = LevelRow {
                        base: split_bounds[strip],
                        east: east.data,
                        north: north.data,
                        link: link.data,
                        sink: sink.data,
                        inverse_pivot: pivot.data,
                    };
                    fill_row(operator, layout, j, &mut diagonal, into);
                }
            },
        );
    }
}

/// A strip's piece of a level's arrays, from entry `base` on.
pub(super) struct LevelRow<'a> {
    base: usize,
    east: &'a mut [f32],
    north: &'a mut [f32],
    link: &'a mut [f32],
    sink: &'a mut [f32],
    inverse_pivot: &'a mut [f32],
}

widest! {
    /// Conductances and reciprocal pivots of row `j`.
    fn fill_row(operator: &Operator, layout: &Layout, j: usize, diagonal: &mut Vec<f64>, into: LevelRow) {
        row_diagonal(operator, layout, j, diagonal);
        ease(operator, layout, j, diagonal);
        eliminate(operator, layout, j, diagonal);
        for (piece, block, s) in layout.blocks_in(j) {
            let half = layout.groups[piece.group].half;
            let block = &operator.blocks[block];
            for l in 0..s.nl {
                let row = (l * s.ny + piece.row) * s.nx..(l * s.ny + piece.row + 1) * s.nx;
                let to = piece.split + l * 2 * half - into.base;
                let to = to..to + 2 * half;
                split_row(&block.east[row.clone()], s, &mut into.east[to.clone()]);
                split_row(&block.north[row.clone()], s, &mut into.north[to.clone()]);
                if !into.link.is_empty() {
                    split_row(links(block, l, row.clone()), s, &mut into.link[to.clone()]);
                }
                if !into.sink.is_empty() {
                    split_row(&block.sink[row], s, &mut into.sink[to.clone()]);
                }
                let from = piece.natural_of(s) - layout.row_start[j] + l * s.nx;
                split_row(&diagonal[from..from + s.nx], s, &mut into.inverse_pivot[to]);
            }
        }
    }
}

/// Links of sheet `l` of a block toward the column's root: see [`Level::link`].
fn links(block: &Block, l: usize, row: std::ops::Range<usize>) -> &[f64] {
    let plane = block.nx * block.ny;
    if block.seat.is_empty() {
        &block.up[row]
    } else if l == 0 {
        &block.seat[row]
    } else {
        &block.up[row.start - plane..row.end - plane]
    }
}

/// A block's row into both halves of its group, in single precision.
#[inline(always)]
fn split_row(row: &[f64], s: &Shape, halves: &mut [f32]) {
    let (even, odd) = s.split(halves, halves.len() / 2);
    kernels::split(row, 1.0, even, odd);
}

/// Diagonal of the matrix in row `j` of the plane, natural order, from the row's first entry.
#[inline(always)]
fn row_diagonal(operator: &Operator, layout: &Layout, j: usize, diagonal: &mut Vec<f64>) {
    diagonal.clear();
    diagonal.resize(layout.row_start[j + 1] - layout.row_start[j], 0.0);
    let base = layout.row_start[j];
    let top = (layout.shapes[0].nl - 1) * layout.nx;
    for (piece, block, s) in layout.blocks_in(j) {
        let block = &operator.blocks[block];
        let plane = s.nx * s.ny;
        let at = piece.natural_of(s) - base;
        for l in 0..s.nl {
            let row = l * plane + piece.row * s.nx;
            let out = &mut diagonal[at + l * s.nx..][..s.nx];
            add(out, &block.sink[row..row + s.nx]);
            add(out, &block.east[row..row + s.nx]);
            add(&mut out[1..], &block.east[row..row + s.nx - 1]);
            add(out, &block.north[row..row + s.nx]);
            if piece.row > 0 {
                add(out, &block.north[row - s.nx..row]);
            }
            add(out, &block.up[row..row + s.nx]);
            if l > 0 {
                add(out, &block.up[row - plane..row - plane + s.nx]);
            }
            if l == 0 && !block.seat.is_empty() {
                let seat = &block.seat[row..row + s.nx];
                add(out, seat);
                add(&mut diagonal[top + s.i0..], seat);
            }
        }
    }
}

/// Takes a share of the links in the plane off the diagonal of the second colour: see `cycle`.
#[inline(always)]
fn ease(operator: &Operator, layout: &Layout, j: usize, diagonal: &mut [f64]) {
    for (piece, block, s) in layout.blocks_in(j) {
        let block = &operator.blocks[block];
        let at = piece.natural_of(s) - layout.row_start[j];
        for l in 0..s.nl {
            let row = (l * s.ny + piece.row) * s.nx;
            let out = &mut diagonal[at + l * s.nx..][..s.nx];
            for i in (s.parity_of(1, j)..s.nx).step_by(2) {
                let at = row + i;
                let mut links = block.east[at] + block.north[at];
                links += if i > 0 { block.east[at - 1] } else { 0.0 };
                links += if piece.row > 0 { block.north[at - s.nx] } else { 0.0 };
                out[i] -= EASE * links;
            }
        }
    }
}

/// Turns the diagonal of row `j` into the reciprocal pivots of its columns.
#[inline(always)]
fn eliminate(operator: &Operator, layout: &Layout, j: usize, diagonal: &mut [f64]) {
    let base = layout.row_start[j];
    let substrate = &layout.shapes[0];
    let top = (substrate.nl - 1) * substrate.nx;
    for (piece, block, s) in layout.blocks_in(j).skip(1) {
        let block = &operator.blocks[block];
        let at = piece.natural_of(s) - base;
        for l in (0..s.nl).rev() {
            let row = (l * s.ny + piece.row) * s.nx;
            let links = links(block, l, row..row + s.nx);
            let here = at + l * s.nx;
            let below = if l > 0 { here - s.nx } else { top + s.i0 };
            eliminate_sheet(diagonal, here, s.nx, Some((links, below)));
        }
    }
    let block = &operator.blocks[0];
    for l in 0..substrate.nl {
        let row = (l * substrate.ny + j) * substrate.nx;
        let here = l * substrate.nx;
        let links = &block.up[row..row + substrate.nx];
        let next = (l + 1 < substrate.nl).then_some((links, here + substrate.nx));
        eliminate_sheet(diagonal, here, substrate.nx, next);
    }
}

/// Pivots of a sheet's `n` cells, the first at `here`, turned into their reciprocals and taken out of
/// the sheet that the links lead to.
#[inline(always)]
fn eliminate_sheet(diagonal: &mut [f64], here: usize, n: usize, next: Option<(&[f64], usize)>) {
    for pivot in &mut diagonal[here..here + n] {
        *pivot = reciprocal(*pivot);
    }
    if let Some((links, at)) = next {
        let (next, here) = two_pieces(diagonal, at, here, n);
        for ((next, here), link) in next.iter_mut().zip(here).zip(links) {
            *next -= link * link * here;
        }
    }
}

/// `out += values`.
#[inline(always)]
fn add(out: &mut [f64], values: &[f64]) {
    for (o, v) in out.iter_mut().zip(values) {
        *o += v;
    }
}

/// 1 / pivot; 0 where rounding or a missing sink leaves none, so that the cell is left alone.
#[inline(always)]
fn reciprocal(pivot: f64) -> f64 {
    let reciprocal = 1.0 / pivot;
    if pivot > 0.0 { reciprocal } else { 0.0 }
}
