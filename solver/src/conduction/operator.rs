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

    /// A block of zero conductances.
    pub fn zeros(i0: usize, j0: usize, nx: usize, ny: usize, nl: usize, island: bool) -> Self {
        let n = nx * ny * nl;
        Block {
            i0,
            j0,
            nx,
            ny,
            nl,
            east: vec![0.0; n],
            north: vec![0.0; n],
            up: vec![0.0; n],
            sink: vec![0.0; n],
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

    /// The residual `b - A x`, W: a plain loop, kept apart from the solver's own kernels so that
    /// it can check them.
    pub fn residual(&self, b: &[f64], x: &[f64]) -> Vec<f64> {
        let mut r = b.to_vec();
        self.for_each_link(|a, c, g| {
            let flow = g * (x[a] - x[c]);
            r[a] -= flow;
            r[c] += flow;
        });
        for (block, offset) in self.blocks.iter().zip(self.offsets()) {
            for c in 0..block.len() {
                r[offset + c] -= block.sink[c] * x[offset + c];
            }
        }
        r
    }
}
