//! The conduction operator as stencil arrays: one box of cells for the substrate, one for each
//! die island seated on it.
//!
//! Unknowns are numbered block after block; inside a block sheet after sheet (from the board
//! side up), row after row (y up), x fastest: `offset + (l * ny + j) * nx + i`. What is not
//! there has no unknown.
//!
//! A row of the symmetric matrix A reads, with G every conductance (W/K) that touches the cell:
//!
//! ```text
//! (A x)_c = sum over neighbours n of G_cn (x_c - x_n) + sink_c x_c
//! ```

use rayon::prelude::*;

use crate::pages::zeros;

/// Cells of a sheet that one thread takes at a time; in unit tests few, so that their sheets are cut.
pub(super) const STRIP_CELLS: usize = if cfg!(test) { 64 } else { 1 << 13 };

/// One box of cells with the conductances between them. All arrays have `nl * ny * nx`
/// entries, index `(l * ny + j) * nx + i`, except `seat`.
#[derive(Debug, Clone, Default)]
pub struct Block {
    /// First column of the plane's grid that this block covers, along x.
    pub i0: usize,
    /// First row of the plane's grid that this block covers, along y.
    pub j0: usize,
    /// Cells along x.
    pub nx: usize,
    /// Cells along y.
    pub ny: usize,
    /// Sheets.
    pub nl: usize,
    /// Conductance to the neighbour at i + 1, W/K; 0 in the last column.
    pub east: Vec<f64>,
    /// Conductance to the neighbour at j + 1, W/K; 0 in the last row.
    pub north: Vec<f64>,
    /// Conductance to the sheet above within the block, W/K; 0 in the last sheet.
    pub up: Vec<f64>,
    /// Conductance to temperatures held from outside (spray, board, edges), W/K.
    pub sink: Vec<f64>,
    /// Islands only: conductance between the lowest sheet and the substrate's top sheet, W/K,
    /// `ny * nx` entries. Empty for the substrate.
    pub seat: Vec<f64>,
}

impl Block {
    /// Number of unknowns.
    pub fn len(&self) -> usize {
        self.nx * self.ny * self.nl
    }

    /// Whether the block has no cells.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Rows of a sheet that one thread takes at a time.
    pub(super) fn rows_of_strip(&self) -> usize {
        STRIP_CELLS.div_ceil(self.nx.max(1))
    }

    /// A block of zero conductances.
    pub fn zeros(i0: usize, j0: usize, nx: usize, ny: usize, nl: usize, island: bool) -> Self {
        let n = nx * ny * nl;
        Block {
            i0,
            j0,
            nx,
            ny,
            nl,
            east: zeros(n),
            north: zeros(n),
            up: zeros(n),
            sink: zeros(n),
            seat: if island { vec![0.0; nx * ny] } else { Vec::new() },
        }
    }
}

/// The whole system matrix.
///
/// `blocks[0]` is the substrate and covers the plane (`i0 = j0 = 0`); the others are islands on
/// its top sheet, on disjoint rectangles of the plane's grid.
#[derive(Debug, Clone, Default)]
pub struct Operator {
    /// Cell widths along x, m, `nx` entries.
    pub dx_m: Vec<f64>,
    /// Cell widths along y, m, `ny` entries.
    pub dy_m: Vec<f64>,
    /// Substrate first, then islands.
    pub blocks: Vec<Block>,
}

impl Operator {
    /// Cells of the plane along x.
    pub fn nx(&self) -> usize {
        self.dx_m.len()
    }

    /// Cells of the plane along y.
    pub fn ny(&self) -> usize {
        self.dy_m.len()
    }

    /// Number of unknowns.
    pub fn len(&self) -> usize {
        self.blocks.iter().map(Block::len).sum()
    }

    /// Whether there is nothing to solve.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// First unknown of each block, and one past the last.
    pub fn offsets(&self) -> Vec<usize> {
        let mut offsets = vec![0];
        for block in &self.blocks {
            offsets.push(offsets[offsets.len() - 1] + block.len());
        }
        offsets
    }

    /// Calls `link(a, b, G)` for every pair of neighbours with a conductance G (W/K) that is not
    /// zero: block after block, its own links first, then its seat.
    pub fn for_each_link(&self, mut link: impl FnMut(usize, usize, f64)) {
        let mut tell = |a: usize, b: usize, g: f64| {
            if g != 0.0 {
                link(a, b, g);
            }
        };
        for (block, offset) in self.blocks.iter().zip(self.offsets()) {
            let plane = block.nx * block.ny;
            for c in 0..block.len() {
                tell(offset + c, offset + c + 1, block.east[c]);
                tell(offset + c, offset + c + block.nx, block.north[c]);
                tell(offset + c, offset + c + plane, block.up[c]);
            }
            for c in 0..block.seat.len() {
                tell(offset + c, self.seat_index(block, c), block.seat[c]);
            }
        }
    }

    /// The diagonal of the matrix, W/K.
    pub fn diagonal(&self) -> Vec<f64> {
        let mut diagonal = vec![0.0; self.len()];
        self.for_each_link(|a, b, g| {
            diagonal[a] += g;
            diagonal[b] += g;
        });
        for (block, offset) in self.blocks.iter().zip(self.offsets()) {
            for c in 0..block.len() {
                diagonal[offset + c] += block.sink[c];
            }
        }
        diagonal
    }

    /// Unknown of the substrate's top sheet below column `c = j * nx + i` of an island.
    pub fn seat_index(&self, island: &Block, c: usize) -> usize {
        let (j, i) = (c / island.nx, c % island.nx);
        let base = &self.blocks[0];
        ((base.nl - 1) * base.ny + island.j0 + j) * base.nx + island.i0 + i
    }

    /// The residual `b - A x`, W: plain loops, kept apart from the solver's own kernels so that
    /// they can check them. Every cell gathers its own flows, a row at a time.
    ///
    /// # Panics
    /// If `b` or `x` has not one entry for each unknown.
    pub fn residual(&self, b: &[f64], x: &[f64]) -> Vec<f64> {
        let mut r = vec![0.0; self.len()];
        self.residual_into(b, x, &mut r);
        r
    }

    /// [`Operator::residual`] over the memory of a former one.
    ///
    /// # Panics
    /// If `b`, `x` or `r` has not one entry for each unknown.
    pub fn residual_into(&self, b: &[f64], x: &[f64], r: &mut [f64]) {
        assert!([b.len(), x.len(), r.len()] == [self.len(); 3], "an entry for each unknown");
        let offsets = self.offsets();
        let mut strips = Vec::new();
        let mut rest = r;
        for (n, block) in self.blocks.iter().enumerate().filter(|(_, block)| !block.is_empty()) {
            let rows = block.rows_of_strip();
            for l in 0..block.nl {
                let (sheet, after) = rest.split_at_mut(block.nx * block.ny);
                rest = after;
                let of_sheet = sheet.chunks_mut(rows * block.nx).enumerate();
                strips.extend(of_sheet.map(|(k, strip)| (n, l, k * rows, strip)));
            }
        }
        strips.into_par_iter().for_each(|(n, l, first, strip)| {
            for (k, r) in strip.chunks_mut(self.blocks[n].nx).enumerate() {
                self.row_residual(&offsets, (n, l, first + k), b, x, r);
            }
        });
    }

    /// The residual in row `j` of sheet `l` of block `n`; `offsets` as [`Operator::offsets`] has them.
    fn row_residual(
        &self,
        offsets: &[usize],
        (n, l, j): (usize, usize, usize),
        b: &[f64],
        x: &[f64],
        r: &mut [f64],
    ) {
        let block = &self.blocks[n];
        let (nx, plane) = (block.nx, block.nx * block.ny);
        let at = l * plane + j * nx;
        let first = offsets[n] + at;
        let own = &x[first..first + nx];
        let sinks = block.sink[at..].iter().zip(own);
        for ((r, b), (sink, here)) in r.iter_mut().zip(&b[first..]).zip(sinks) {
            *r = b - sink * here;
        }
        // The last cell of a row has no link to the east.
        take(r, &block.east[at..], own, &own[1..]);
        take(&mut r[1..], &block.east[at..], &own[1..], own);
        if j + 1 < block.ny {
            take(r, &block.north[at..], own, &x[first + nx..]);
        }
        if j > 0 {
            take(r, &block.north[at - nx..], own, &x[first - nx..]);
        }
        if l + 1 < block.nl {
            take(r, &block.up[at..], own, &x[first + plane..]);
        }
        if l > 0 {
            take(r, &block.up[at - plane..], own, &x[first - plane..]);
        }
        if n > 0 && l == 0 {
            take(r, &block.seat[at..], own, &x[self.seat_index(block, at)..]);
        }
        if n == 0 && l + 1 == block.nl {
            for (island, offset) in self.blocks.iter().zip(offsets).skip(1) {
                if (island.j0..island.j0 + island.ny).contains(&j) {
                    let (i0, at) = (island.i0, (j - island.j0) * island.nx);
                    let under = i0..i0 + island.nx;
                    let own = &own[under.clone()];
                    take(&mut r[under], &island.seat[at..], own, &x[offset + at..]);
                }
            }
        }
    }
}

/// `r -= g (x - other)`, cell by cell, as far as all of them reach.
fn take(r: &mut [f64], g: &[f64], x: &[f64], other: &[f64]) {
    for ((r, g), (x, other)) in r.iter_mut().zip(g).zip(x.iter().zip(other)) {
        *r -= g * (x - other);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conduction::AffineFlux;
    use crate::conduction::Network;
    use crate::conduction::assembly::{assemble, assemble_into};
    use crate::study::testing;

    fn system(slope_W_m2K: f64) -> (Operator, Vec<f64>) {
        let module = testing::prescribed();
        let mesh = testing::mesh(&module);
        let network = Network::new(&module, &mesh);
        let factors: Vec<f64> =
            (0..network.unknowns()).map(|n| 1.0 + 0.1 * (0.7 * n as f64).sin()).collect();
        let flux = AffineFlux { constant_W_m2: 30.0, slope_W_m2K };
        assemble(&network, Some(&factors), &vec![flux; mesh.plane.nx() * mesh.plane.ny()])
    }

    #[test]
    fn the_residual_gathers_what_a_walk_over_the_links_scatters() {
        let (operator, b) = system(4000.0);
        let x: Vec<f64> = (0..b.len()).map(|n| 20.0 + 5.0 * (0.3 * n as f64).cos()).collect();
        let mut scattered = b.clone();
        operator.for_each_link(|a, c, g| {
            let flow = g * (x[a] - x[c]);
            scattered[a] -= flow;
            scattered[c] += flow;
        });
        let sinks = operator.blocks.iter().flat_map(|block| &block.sink);
        for ((r, sink), x) in scattered.iter_mut().zip(sinks).zip(&x) {
            *r -= sink * x;
        }
        let largest = scattered.iter().fold(0.0f64, |m, r| m.max(r.abs()));
        for (gathered, scattered) in operator.residual(&b, &x).iter().zip(&scattered) {
            assert!((gathered - scattered).abs() < 1e-12 * largest, "{gathered} {scattered}");
        }
    }

    #[test]
    fn assembling_over_a_former_operator_leaves_nothing_of_it() {
        let module = testing::prescribed();
        let mesh = testing::mesh(&module);
        let network = Network::new(&module, &mesh);
        let wet = vec![
            AffineFlux { constant_W_m2: 5.0, slope_W_m2K: 900.0 };
            mesh.plane.nx() * mesh.plane.ny()
        ];
        let (fresh, rhs) = assemble(&network, None, &wet);
        let (mut again, mut again_rhs) = system(4000.0);
        assemble_into(&network, None, &wet, &mut again, &mut again_rhs);
        assert_eq!(again_rhs, rhs);
        assert_eq!(format!("{again:?}"), format!("{fresh:?}"));
    }
}
