//! The operator applied in double precision, by rows of the plane.
//!
//! Every conductance acts on a difference, `G (x_c - x_n)`: for a smooth x this loses less to
//! rounding than a stored diagonal would.

use super::kernels::{RowLinks, Value, add_link, stencil};
use super::layout::Layout;
use super::widest::widest;
use crate::conduction::Operator;

widest! {
/// `out = A x` in row `j`; `out` starts with the row's first entry.
fn apply_row<V: Value>(
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
