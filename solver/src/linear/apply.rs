//! The operator applied in double precision, by rows of the plane.
//!
//! Every conductance acts on a difference, `G (x_c - x_n)`: for a smooth x this loses less to
//! rounding than a stored diagonal would.

use super::layout::Layout;
use crate::conduction::Operator;

/// Numbers that a vector may be made of.
pub(super) trait Value: Copy + Sync {
    fn wide(self) -> f64;
}

impl Value for f64 {
    fn wide(self) -> f64 {
        self
    }
}

impl Value for f32 {
    fn wide(self) -> f64 {
        f64::from(self)
    }
}

/// `out = A x` in row `j`; `out` starts with the row's first entry.
pub(super) fn apply_row<V: Value>(
    operator: &Operator,
    layout: &Layout,
    j: usize,
    x: &[V],
    out: &mut [f64],
) {
    let base = layout.row_start[j];
    let pieces = layout.pieces(j);
    let substrate = &layout.shapes[0];
    let top = pieces[0].natural + (substrate.nl - 1) * substrate.nx;
    for piece in pieces {
        let s = &layout.shapes[piece.block];
        let block = &operator.blocks[piece.block];
        let (nx, plane) = (s.nx, s.nx * s.ny);
        for l in 0..s.nl {
            let row = l * plane + piece.row * nx;
            let at = piece.natural + l * nx;
            let here = &x[at..at + nx];
            let out_at = at - base;
            {
                let out = &mut out[out_at..out_at + nx];
                let sink = &block.sink[row..row + nx];
                let east = &block.east[row..row + nx];
                for i in 0..nx {
                    out[i] = sink[i] * here[i].wide();
                }
                for i in 0..nx - 1 {
                    out[i] += east[i] * (here[i].wide() - here[i + 1].wide());
                }
                for i in 1..nx {
                    out[i] += east[i - 1] * (here[i].wide() - here[i - 1].wide());
                }
                let mut link = |g: &[f64], other: &[V]| {
                    for i in 0..nx {
                        out[i] += g[i] * (here[i].wide() - other[i].wide());
                    }
                };
                if piece.row + 1 < s.ny {
                    let next = layout.piece(j + 1, piece.block).natural + l * nx;
                    link(&block.north[row..row + nx], &x[next..next + nx]);
                }
                if piece.row > 0 {
                    let before = layout.piece(j - 1, piece.block).natural + l * nx;
                    link(&block.north[row - nx..row], &x[before..before + nx]);
                }
                if l + 1 < s.nl {
                    link(&block.up[row..row + nx], &x[at + nx..at + 2 * nx]);
                }
                if l > 0 {
                    link(&block.up[row - plane..row - plane + nx], &x[at - nx..at]);
                }
                if l == 0 && !block.seat.is_empty() {
                    link(&block.seat[row..row + nx], &x[top + s.i0..top + s.i0 + nx]);
                }
            }
            if l == 0 && !block.seat.is_empty() {
                let below = &x[top + s.i0..top + s.i0 + nx];
                let out = &mut out[top - base + s.i0..top - base + s.i0 + nx];
                for i in 0..nx {
                    out[i] += block.seat[row + i] * (below[i].wide() - here[i].wide());
                }
            }
        }
    }
}
