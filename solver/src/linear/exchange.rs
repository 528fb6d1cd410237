//! Vectors between the operator's order (block after block, sheet after sheet) and the halves of the
//! finest level.

use std::ops::Range;

use rayon::prelude::*;

use super::kernels;
use super::layout::{Layout, Shape};
use super::level::Level;
use super::strips::{Pieces, for_each_strip};

/// Rows of a sheet that are handed over at a time.
const ROWS: usize = 64;

/// Calls `work(sheet of the group in halves, entries of a half, block, its range in the operator's
/// order)` for every sheet of every block in row `j`; the blocks stand at `offsets`.
pub(super) fn for_sheet_rows(
    layout: &Layout,
    offsets: &[usize],
    j: usize,
    mut work: impl FnMut(usize, usize, &Shape, Range<usize>),
) {
    for (piece, block, s) in layout.blocks_in(j) {
        let half = layout.groups[piece.group].half;
        for l in 0..s.nl {
            let row = offsets[block] + (l * s.ny + piece.row) * s.nx;
            work(piece.split + 2 * l * half, half, s, row..row + s.nx);
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
            for_sheet_rows(&level.layout, offsets, j, |sheet, half, s, row| {
                let (even, odd) = s.split(&mut to.data[sheet - base..][..2 * half], half);
                kernels::split_wide(&x[row], scale, even, odd);
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
        let half = layout.groups[s.group].half;
        let (even, odd) = s.in_halves(half);
        for (k, row) in rows.chunks_mut(s.nx).enumerate() {
            let sheet = layout.piece(s.j0 + first + k, s.group).split + 2 * l * half;
            kernels::merge_onto(row, &halves[sheet + even..], &halves[sheet + odd..]);
        }
    });
}
