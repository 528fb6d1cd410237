//! Vectors between the operator's order (block after block, sheet after sheet) and the halves of the
//! finest level.

use rayon::prelude::*;

use super::hierarchy::Level;
use super::kernels;
use super::layout::Layout;
use super::strips::{Pieces, for_each_strip};

/// Rows of a sheet that are handed over at a time.
const ROWS: usize = 64;

/// Calls `work(first entry in halves, entries of a half, range in the operator's order)` for every
/// sheet of every block in row `j`; the blocks stand at `offsets`.
pub(super) fn for_sheet_rows(
    layout: &Layout,
    offsets: &[usize],
    j: usize,
    mut work: impl FnMut(usize, usize, std::ops::Range<usize>),
) {
    for piece in layout.pieces(j) {
        let s = &layout.shapes[piece.block];
        for l in 0..s.nl {
            let block = offsets[piece.block] + (l * s.ny + piece.row) * s.nx;
            work(piece.split + 2 * l * s.half, s.half, block..block + s.nx);
        }
    }
}

/// `halves = scale x`.
pub(super) fn into_halves(
    level: &Level,
    offsets: &[usize],
    x: &[f64],
    scale: f64,
    halves: &mut [f32],
) {
    let outputs = Pieces { data: halves, bounds: &level.bounds };
    for_each_strip(level.strips.len() - 1, outputs, &|strip, to: Pieces<f32>| {
        let base = level.bounds[strip];
        for j in level.strips[strip]..level.strips[strip + 1] {
            for_sheet_rows(&level.layout, offsets, j, |split, half, block| {
                let (even, odd) = to.data[split - base..][..2 * half].split_at_mut(half);
                kernels::split_wide(&x[block], scale, even, odd);
            });
        }
    });
}

/// `x += halves`, x in the operator's order.
pub(super) fn add_halves(level: &Level, halves: &[f64], x: &mut [f64]) {
    let layout = &level.layout;
    let mut pieces = Vec::new();
    let mut rest = x;
    for (b, s) in layout.shapes.iter().enumerate() {
        for l in 0..s.nl {
            let (sheet, after) = rest.split_at_mut(s.nx * s.ny);
            rest = after;
            let rows = sheet.chunks_mut(s.nx * ROWS).enumerate();
            pieces.extend(rows.map(|(k, rows)| (b, l, ROWS * k, rows)));
        }
    }
    pieces.into_par_iter().for_each(|(b, l, first, rows)| {
        let s = &layout.shapes[b];
        for (k, row) in rows.chunks_mut(s.nx).enumerate() {
            let from = layout.piece(s.j0 + first + k, b).split + 2 * l * s.half;
            let (even, odd) = halves[from..from + 2 * s.half].split_at(s.half);
            kernels::merge_onto(row, even, odd);
        }
    });
}
