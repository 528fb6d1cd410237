//! The operator applied by rows of the plane: in double precision for true residuals, to vectors in
//! the operator's own order; in single precision inside the conjugate gradients, to halves.
//!
//! Every conductance acts on a difference, `G (x_c - x_n)`: for a smooth x this loses less to
//! rounding than a stored diagonal would. And as all conductances are positive, rounding each of
//! them changes the energy `xᵀ A x` of any x by no more than a share of their rounding.

use super::layout::{Layout, Piece};
use super::level::{Level, Links};
use super::relaxation::Around;
use super::stencil::{RowLinks, add_link, conduct, stencil};
use super::widest::widest;
use crate::conduction::Operator;

widest! {
/// `out = A x` in row `j`, natural order; x in the operator's order, its blocks at `offsets`.
fn apply_row(
    operator: &Operator,
    layout: &Layout,
    offsets: &[usize],
    j: usize,
    x: &[f64],
    out: &mut [f64],
) {
    let base = layout.row_start[j];
    let substrate = &layout.shapes[0];
    let top = (substrate.nl - 1) * substrate.nx;
    for (piece, b, s) in layout.blocks_in(j) {
        let block = &operator.blocks[b];
        let (nx, plane) = (s.nx, s.nx * s.ny);
        let x_block = &x[offsets[b]..][..block.len()];
        for l in 0..s.nl {
            let row = l * plane + piece.row * nx;
            let at = piece.natural_of(s) - base + l * nx;
            let here = &x_block[row..row + nx];
            let line = &mut out[at..at + nx];
            // A missing neighbour: any value will do beside a conductance of zero, and a
            // link to itself beside any.
            let north = &block.north[row..row + nx];
            let above = if piece.row + 1 < s.ny { &x_block[row + nx..row + 2 * nx] } else { here };
            let (south, below) = if piece.row > 0 {
                (&block.north[row - nx..row], &x_block[row - nx..row])
            } else {
                (north, here)
            };
            let (sink, east) = (&block.sink[row..row + nx], &block.east[row..row + nx]);
            stencil(line, here, RowLinks { sink, east, north, south }, above, below);
            if l + 1 < s.nl {
                let next = row + plane;
                add_link(line, &block.up[row..row + nx], here, &x_block[next..next + nx]);
            }
            if l > 0 {
                let last = row - plane;
                add_link(line, &block.up[last..last + nx], here, &x_block[last..last + nx]);
            }
            if l == 0 && !block.seat.is_empty() {
                let seat = &block.seat[row..row + nx];
                let below = &x[top * substrate.ny + j * substrate.nx + s.i0..][..nx];
                add_link(line, seat, here, below);
                let under = top + s.i0;
                add_link(&mut out[under..under + nx], seat, below, here);
            }
        }
    }
}

/// `q = A p` in row `j`, both in halves; `q` starts with the row's first entry.
fn apply_halves(level: &Level, j: usize, p: &[f32], q: &mut [f32]) {
    let layout = &level.layout;
    let base = layout.split_start[j];
    let pieces = layout.pieces(j);
    let substrate = &layout.groups[0];
    for piece in pieces {
        let g = &layout.groups[piece.group];
        let n = g.half;
        let islands = piece.group > 0;
        for l in 0..g.nl {
            for h in 0..2 {
                let at = piece.split + (2 * l + h) * n;
                let here = &p[at..at + n];
                let out = &mut q[at - base..][..n];
                let around = around_half(level, j, piece, (l, h), p);
                conduct(out, here, &level.sink[at..at + n], around);
                if level.single_sheet() {
                    continue;
                }
                // The link of a sheet leads upwards in the substrate, downwards in an island.
                let (below, above) = (at.wrapping_sub(2 * n), at + 2 * n);
                let (link_below, link_above) = if islands { (at, above) } else { (below, at) };
                if l > 0 {
                    add_link(out, &level.link[link_below..][..n], here, &p[below..][..n]);
                }
                if l + 1 < g.nl {
                    add_link(out, &level.link[link_above..][..n], here, &p[above..][..n]);
                }
                if l > 0 || !islands {
                    continue;
                }
                for (_, s) in layout.blocks_of(piece.group) {
                    let (half, first) = g.seat(s, h);
                    let seat =
                        pieces[0].split + (2 * (substrate.nl - 1) + half) * substrate.half + first;
                    let (at, n) = (at + s.first, s.half);
                    let (link, here, below) =
                        (&level.link[at..at + n], &p[at..at + n], &p[seat..seat + n]);
                    add_link(&mut q[at - base..][..n], link, here, below);
                    add_link(&mut q[seat - base..][..n], link, below, here);
                }
            }
        }
    }
}
}

/// What surrounds half `h` of sheet `l` of a piece in row `j` of a vector in halves.
#[inline(always)]
fn around_half<'a>(
    level: &'a Level,
    j: usize,
    piece: &Piece,
    (l, h): (usize, usize),
    p: &'a [f32],
) -> Around<'a> {
    let g = &level.layout.groups[piece.group];
    let n = g.half;
    let sheet = piece.split + 2 * l * n;
    let at = sheet + h * n;
    let Links { north, south, link_a, link_b } = level.links(piece, (l, h));
    // A missing neighbour: a link of zero, or one to the cells themselves.
    let above = if piece.row + 1 < g.ny {
        level.layout.piece(j + 1, piece.group).split + (2 * l + h) * n
    } else {
        at
    };
    let below = piece.split_south.map_or(at, |split| split + (2 * l + h) * n);
    let (other, beside) = if h == 0 { (sheet + n, sheet + n - 1) } else { (sheet, sheet + 1) };
    Around {
        above: &p[above..above + n],
        north,
        below: &p[below..below + n],
        south: south.unwrap_or(north),
        side_a: &p[other..other + n],
        link_a,
        side_b: &p[beside..beside + n],
        link_b,
        open_b: h == 0,
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::conduction::Block;
    use crate::linear::assemble;
    use crate::linear::exchange::{add_halves, into_halves};
    use crate::linear::hierarchy::Hierarchy;
    use crate::linear::kernels::{self, tests::wide};

    fn numbers(n: usize, seed: usize) -> Vec<f64> {
        wide(&kernels::tests::numbers(n, seed))
    }

    /// A block with every link that it may have.
    fn block(at: [usize; 2], size: [usize; 3], island: bool) -> Block {
        let [nx, ny, nl] = size;
        let n = nx * ny * nl;
        let mut block = Block::zeros(at[0], at[1], nx, ny, nl, island);
        let links = |seed: usize, stands: &dyn Fn(usize) -> bool| -> Vec<f64> {
            let values = numbers(n, seed).into_iter().enumerate();
            values.map(|(c, g)| if stands(c) { g } else { 0.0 }).collect()
        };
        block.sink = numbers(n, 1);
        block.east = links(2, &|c| c % nx + 1 < nx);
        block.north = links(3, &|c| c / nx % ny + 1 < ny);
        block.up = links(4, &|c| c / (nx * ny) + 1 < nl);
        block.seat = if island { numbers(nx * ny, 5) } else { Vec::new() };
        block
    }

    /// Odd and even places, one sheet and several, a single column, a border, islands side by side.
    pub(in crate::linear) fn operators() -> Vec<Operator> {
        let on = |size: [usize; 3], islands: &[Block]| Operator {
            dx_m: vec![1e-3; size[0]],
            dy_m: vec![1e-3; size[1]],
            blocks: [&[block([0, 0], size, false)], islands].concat(),
        };
        vec![
            on([13, 9, 1], &[]),
            on([1, 40, 1], &[]),
            on([40, 1, 3], &[]),
            on([23, 17, 1], &[block([3, 2], [5, 6, 1], true)]),
            on(
                [36, 21, 3],
                &[
                    block([0, 0], [7, 4, 2], true),
                    block([9, 3], [1, 5, 3], true),
                    block([19, 2], [17, 19, 1], true),
                ],
            ),
            // Side by side, on columns of either parity, wide and narrow.
            on(
                [71, 16, 2],
                &[
                    block([1, 3], [7, 9, 2], true),
                    block([10, 3], [20, 9, 2], true),
                    block([31, 3], [16, 9, 2], true),
                    block([48, 3], [1, 9, 2], true),
                    block([50, 3], [15, 9, 2], true),
                    block([65, 4], [6, 9, 2], true),
                ],
            ),
        ]
    }

    #[test]
    fn rows_and_halves_add_up_to_the_assembled_matrix() {
        for operator in operators() {
            let n = operator.len();
            let x = numbers(n, 7);
            let matrix = assemble(&operator);
            let expected: Vec<f64> = matrix
                .outer_iterator()
                .map(|row| row.iter().map(|(c, a)| a * x[c]).sum())
                .collect();
            let offsets = operator.offsets();
            let hierarchy = Hierarchy::new(&operator);
            let level = &hierarchy.levels[0];
            let layout = &level.layout;
            let mut p = vec![0.0; layout.split_len()];
            into_halves(level, &offsets, &x, 1.0, &mut p);
            let mut q = vec![f32::NAN; layout.split_len()];
            for j in 0..layout.ny {
                let row = &mut q[layout.split_start[j]..layout.split_start[j + 1]];
                apply_halves(level, j, &p, row);
                let mut line = vec![f64::NAN; layout.row_start[j + 1] - layout.row_start[j]];
                apply_row(&operator, layout, &offsets, j, &x, &mut line);
                for (piece, block, s) in layout.blocks_in(j) {
                    for (l, i) in (0..s.nl).flat_map(|l| (0..s.nx).map(move |i| (l, i))) {
                        let unknown = offsets[block] + (l * s.ny + piece.row) * s.nx + i;
                        let at = piece.natural_of(s) - layout.row_start[j];
                        let got = line[at + l * s.nx + i];
                        assert!((got - expected[unknown]).abs() < 1e-13, "{j} {l} {i}");
                    }
                }
            }
            // What fills up the halves stays at zero, and is nobody's.
            let filling: f32 = q.iter().zip(&p).filter(|(_, p)| **p == 0.0).map(|(q, _)| q).sum();
            assert_eq!(filling, 0.0);
            let wide: Vec<f64> = q.iter().map(|&q| q.into()).collect();
            let mut sum = expected.iter().map(|v| -v).collect::<Vec<f64>>();
            add_halves(level, &wide, &mut sum);
            assert!(sum.iter().all(|difference| difference.abs() < 4e-6), "{sum:?}");
        }
    }
}
