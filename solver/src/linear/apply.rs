//! The operator applied, by rows of the plane: in double precision for true residuals, in single
//! precision inside the conjugate gradients.
//!
//! Every conductance acts on a difference, `G (x_c - x_n)`: for a smooth x this loses less to
//! rounding than a stored diagonal would. And as all conductances are positive, rounding each of
//! them changes the energy `xᵀ A x` of any x by no more than a share of their rounding.

use rayon::prelude::*;

use super::kernels::{Real, RowLinks, add_link, stencil};
use super::layout::Layout;
use super::widest::widest;
use crate::conduction::{Block, Operator};
use crate::pages::zeros;

/// The conductances of one block, W/K, as [`Block`] holds them.
#[derive(Debug, Clone, Copy)]
pub(super) struct Links<'a, R> {
    sink: &'a [R],
    east: &'a [R],
    north: &'a [R],
    /// Empty where the block has one sheet.
    up: &'a [R],
    seat: &'a [R],
}

/// Those of all blocks.
pub(super) fn links_of(operator: &Operator) -> Vec<Links<'_, f64>> {
    let blocks = operator.blocks.iter();
    blocks
        .map(|Block { sink, east, north, up, seat, .. }| Links { sink, east, north, up, seat })
        .collect()
}

/// The conductances of an operator in single precision.
#[derive(Debug, Default)]
pub(super) struct SingleLinks {
    /// Of each block: sinks, east, north, up, seats.
    blocks: Vec<[Vec<f32>; 5]>,
}

/// Entries that are rounded by one thread at a time.
const CHUNK: usize = 1 << 14;

impl SingleLinks {
    pub fn new(operator: &Operator) -> Self {
        let lengths = |b: &Block| {
            let n = b.len();
            let up = if b.nl > 1 { n } else { 0 };
            [n, n, n, up, b.seat.len()].map(zeros)
        };
        let mut links = SingleLinks { blocks: operator.blocks.iter().map(lengths).collect() };
        links.take(operator);
        links
    }

    /// Rounds the conductances of an operator of the same blocks.
    pub fn take(&mut self, operator: &Operator) {
        let arrays =
            self.blocks.iter_mut().zip(&operator.blocks).flat_map(|(own, b)| {
                own.iter_mut().zip([&b.sink, &b.east, &b.north, &b.up, &b.seat])
            });
        let mut pieces = Vec::new();
        for (own, wide) in arrays {
            pieces.extend(own.chunks_mut(CHUNK).zip(wide.chunks(CHUNK)));
        }
        pieces.into_par_iter().for_each(|(own, wide)| round_into(own, wide));
    }

    pub fn views(&self) -> Vec<Links<'_, f32>> {
        let blocks = self.blocks.iter();
        blocks.map(|[sink, east, north, up, seat]| Links { sink, east, north, up, seat }).collect()
    }
}

widest! {
/// Single from double precision.
fn round_into(own: &mut [f32], wide: &[f64]) {
    for (own, wide) in own.iter_mut().zip(wide) {
        *own = *wide as f32;
    }
}

/// `out = A x` in row `j`; `out` starts with the row's first entry.
fn apply_row<R: Real>(blocks: &[Links<R>], layout: &Layout, j: usize, x: &[R], out: &mut [R]) {
    let base = layout.row_start[j];
    let pieces = layout.pieces(j);
    let substrate = &layout.shapes[0];
    let top = pieces[0].natural + (substrate.nl - 1) * substrate.nx;
    for piece in pieces {
        let s = &layout.shapes[piece.block];
        let block = &blocks[piece.block];
        let (nx, plane) = (s.nx, s.nx * s.ny);
        let next = (piece.row + 1 < s.ny).then(|| layout.piece(j + 1, piece.block).natural);
        let before = (piece.row > 0).then(|| layout.piece(j - 1, piece.block).natural);
        for l in 0..s.nl {
            let row = l * plane + piece.row * nx;
            let at = piece.natural + l * nx;
            let here = &x[at..at + nx];
            {
                let out = &mut out[at - base..at - base + nx];
                // A missing neighbour: any value will do beside a conductance of zero, and a
                // link to itself beside any.
                let north = &block.north[row..row + nx];
                let above = next.map_or(here, |next| &x[next + l * nx..next + l * nx + nx]);
                let (south, below) = match before {
                    Some(b) => (&block.north[row - nx..row], &x[b + l * nx..b + l * nx + nx]),
                    None => (north, here),
                };
                let links = RowLinks {
                    sink: &block.sink[row..row + nx],
                    east: &block.east[row..row + nx],
                    north,
                    south,
                };
                stencil(out, here, links, above, below);
                if l + 1 < s.nl {
                    add_link(out, &block.up[row..row + nx], here, &x[at + nx..at + 2 * nx]);
                }
                if l > 0 {
                    let up = &block.up[row - plane..row - plane + nx];
                    add_link(out, up, here, &x[at - nx..at]);
                }
            }
            if l == 0 && !block.seat.is_empty() {
                let seat = &block.seat[row..row + nx];
                let under = top + s.i0;
                let below = &x[under..under + nx];
                add_link(&mut out[at - base..at - base + nx], seat, here, below);
                add_link(&mut out[under - base..under - base + nx], seat, below, here);
            }
        }
    }
}
}
