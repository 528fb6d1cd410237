//! From a network to the operator and the right-hand side.
//!
//! Conductance between neighbours in a sheet (W/K), d the cell widths along the line that joins
//! them, w the width across, t the sheet's thickness:
//!
//! ```text
//! G = t w / (d1 / (2 k1) + d2 / (2 k2))
//! ```
//!
//! Between sheets a (below) and b (above), g = 2 k_z A / t the half conductances:
//!
//! ```text
//! G = g_a g_b / (g_a + g_b)
//! ```
//!
//! Heat Q released on the face between them enters both in proportion to their half
//! conductances, which is what eliminating the face temperature gives:
//!
//! ```text
//! Q_a = Q g_a / (g_a + g_b)        Q_b = Q g_b / (g_a + g_b)
//! ```
//!
//! On the wet face the flux q = c + s r (r the surface's rise) is eliminated the same way:
//!
//! ```text
//! sink = g (A s) / (g + A s)        source = g (Q - A c) / (g + A s)
//! ```

use std::ops::Range;

use rayon::prelude::*;

use super::network::BlockPart;
use super::{AffineFlux, Block, Network, Operator};

/// Builds the operator (W/K) and the right-hand side (W, for rises above the coolant inlet).
///
/// `factors`: conductivity factor of every unknown, `None` when nothing varies. `wet`: the flux
/// into the spray in every cell of the plane, `j * nx + i`.
pub fn assemble(
    network: &Network,
    factors: Option<&[f64]>,
    wet: &[AffineFlux],
) -> (Operator, Vec<f64>) {
    let blocks = network
        .blocks
        .iter()
        .enumerate()
        .map(|(b, part)| {
            let (nx, ny) = (part.cells.nx(), part.cells.ny());
            Block::zeros(part.cells.i0, part.cells.j0, nx, ny, part.sheets.len(), b > 0)
        })
        .collect();
    let mut operator = Operator { dx_m: network.dx_m.clone(), dy_m: network.dy_m.clone(), blocks };
    let mut rhs = vec![0.0; network.unknowns()];
    assemble_into(network, factors, wet, &mut operator, &mut rhs);
    (operator, rhs)
}

/// [`assemble`] over the memory of a former operator and right-hand side of the same network.
///
/// Every strip of rows of every sheet writes its own conductances and its own rows, so that all
/// threads can work without waiting for each other and the result does not depend on how many
/// there are.
pub fn assemble_into(
    network: &Network,
    factors: Option<&[f64]>,
    wet: &[AffineFlux],
    operator: &mut Operator,
    rhs: &mut [f64],
) {
    let mut strips = Vec::new();
    let mut rest = &mut rhs[..];
    for (b, block) in operator.blocks.iter_mut().enumerate() {
        let (nx, ny, plane, unknowns) = (block.nx, block.ny, block.nx * block.ny, block.len());
        let (own, after) = rest.split_at_mut(unknowns);
        rest = after;
        let rows = block.rows_of_strip();
        let mut seats = block.seat.chunks_mut(rows * nx);
        let sheets = block
            .east
            .chunks_mut(plane)
            .zip(block.north.chunks_mut(plane))
            .zip(block.up.chunks_mut(plane))
            .zip(block.sink.chunks_mut(plane))
            .zip(own.chunks_mut(plane));
        for (l, ((((east, north), up), sink), rhs)) in sheets.enumerate() {
            let size = rows * nx;
            let arrays = east
                .chunks_mut(size)
                .zip(north.chunks_mut(size))
                .zip(up.chunks_mut(size))
                .zip(sink.chunks_mut(size))
                .zip(rhs.chunks_mut(size));
            for (k, ((((east, north), up), sink), rhs)) in arrays.enumerate() {
                let seat = if l == 0 { seats.next() } else { None };
                let rows = k * rows..((k + 1) * rows).min(ny);
                strips.push(Strip { b, l, rows, east, north, up, sink, seat, rhs });
            }
        }
    }
    strips.into_par_iter().for_each(|mut strip| {
        strip.in_plane(network, factors);
        strip.below(network, factors);
        strip.above(network, factors, wet);
    });
    edges(network, factors, &mut operator.blocks[0], rhs);
}

/// What a strip of rows of one sheet of one block writes: conductances (W/K) and right-hand side
/// (W), a row of cells after the other.
struct Strip<'a> {
    b: usize,
    l: usize,
    rows: Range<usize>,
    east: &'a mut [f64],
    north: &'a mut [f64],
    up: &'a mut [f64],
    sink: &'a mut [f64],
    /// Lowest sheet of an island only.
    seat: Option<&'a mut [f64]>,
    rhs: &'a mut [f64],
}

impl Strip<'_> {
    /// Conductances between neighbours in the sheet.
    fn in_plane(&mut self, network: &Network, factors: Option<&[f64]>) {
        let part = &network.blocks[self.b];
        let (nx, ny) = (part.cells.nx(), part.cells.ny());
        let sheet = &part.sheets[self.l];
        let [kx, ky, _] = sheet.material.conductivity_W_mK;
        let dx = &network.dx_m[part.cells.i0..part.cells.i1];
        let dy = &network.dy_m[part.cells.j0..part.cells.j1];
        let first = part.unknown(self.l, 0);
        let t = sheet.thickness_m;
        let part_dx: Vec<f64> = dx.iter().map(|dx| 2.0 * kx * t / dx).collect();
        // Conductance of half a cell along each axis, W/K, but for the width across along x.
        let (mut along_x, mut along_y) = (vec![0.0; nx], vec![0.0; nx]);
        let mut lower = vec![0.0; nx];
        let Range { start, end } = self.rows;
        // The row behind the last one, for the links to it.
        for j in start..(end + 1).min(ny) {
            let part_dy = 2.0 * ky * t / dy[j];
            for (along, dx) in along_y.iter_mut().zip(dx) {
                *along = part_dy * dx;
            }
            let factors = factors.map(|factors| &factors[first + j * nx..first + (j + 1) * nx]);
            if let Some(factors) = factors {
                times(&mut along_y, factors);
            }
            if j > start {
                let north = &mut self.north[(j - 1 - start) * nx..(j - start) * nx];
                for ((north, a), b) in north.iter_mut().zip(&lower).zip(&along_y) {
                    *north = in_series(*a, *b);
                }
            }
            std::mem::swap(&mut lower, &mut along_y);
            if j == end {
                break;
            }
            along_x.copy_from_slice(&part_dx);
            if let Some(factors) = factors {
                times(&mut along_x, factors);
            }
            let east = &mut self.east[(j - start) * nx..(j + 1 - start) * nx];
            for ((east, a), b) in east.iter_mut().zip(&along_x).zip(&along_x[1..]) {
                *east = dy[j] * in_series(*a, *b);
            }
            east[nx - 1] = 0.0;
        }
        if end == ny {
            self.north[(ny - 1 - start) * nx..].fill(0.0);
        }
    }

    /// The face under the sheet: the board, the seat of an island, or the sheet below. Starts
    /// the sink and the right-hand side.
    fn below(&mut self, network: &Network, factors: Option<&[f64]>) {
        let part = &network.blocks[self.b];
        let base = &network.blocks[0];
        let base_top = base.sheets.len() - 1;
        let board = &network.module.board;
        let board_rise = board.temperature_K - network.module.coolant.inlet_K;
        let on_seat = self.b > 0 && self.l == 0;
        let heat = if on_seat {
            network.heat_on(0, base_top + 1)
        } else {
            network.heat_on(self.b, self.l)
        };
        if self.l > 0 && heat.is_none() {
            self.sink.fill(0.0);
            self.rhs.fill(0.0);
            return;
        }
        for_cells(network, part, &self.rows, |k, c, p, area| {
            let half = network.half_W_K(part, self.l, c, area, factors);
            let (mut sink, mut source) = (0.0, 0.0);
            let below = if on_seat {
                let below = network.half_W_K(base, base_top, p, area, factors);
                if let Some(seat) = self.seat.as_deref_mut() {
                    seat[k] = in_series(below, half);
                }
                below
            } else if self.l > 0 {
                network.half_W_K(part, self.l - 1, c, area, factors)
            } else {
                let outside = board.htc_W_m2K * area;
                sink = in_series(outside, half);
                source = sink * board_rise;
                outside
            };
            if let Some(heat) = heat {
                source += heat[if on_seat { p } else { c }] * half / (below + half);
            }
            self.sink[k] = sink;
            self.rhs[k] = source;
        });
    }

    /// The face over the sheet: the sheet above, an island, or the spray.
    fn above(&mut self, network: &Network, factors: Option<&[f64]>, wet: &[AffineFlux]) {
        let part = &network.blocks[self.b];
        let heat = network.heat_on(self.b, self.l + 1);
        if self.l + 1 < part.sheets.len() {
            return self.sheet_above(network, factors, heat);
        }
        self.up.fill(0.0);
        for_cells(network, part, &self.rows, |k, c, p, area| {
            let half = network.half_W_K(part, self.l, c, area, factors);
            let heat = heat.map_or(0.0, |heat| heat[c]);
            let over = network.top_block[p] as usize;
            let above = if over == self.b {
                let flux = wet[p];
                let outside = flux.slope_W_m2K * area;
                self.sink[k] += in_series(half, outside);
                self.rhs[k] -= half * (area * flux.constant_W_m2) / (half + outside);
                outside
            } else {
                let island = &network.blocks[over];
                network.half_W_K(island, 0, network.column_of(island, p), area, factors)
            };
            self.rhs[k] += heat * half / (half + above);
        });
    }

    /// The face to the next sheet of the block.
    fn sheet_above(&mut self, network: &Network, factors: Option<&[f64]>, heat: Option<&[f64]>) {
        let part = &network.blocks[self.b];
        let nx = part.cells.nx();
        let (mut here, mut over) = (vec![0.0; nx], vec![0.0; nx]);
        for (k, j) in self.rows.clone().enumerate() {
            let own = k * nx..(k + 1) * nx;
            network.half_row_W_K(part, self.l, j, factors, &mut here);
            network.half_row_W_K(part, self.l + 1, j, factors, &mut over);
            for ((up, here), over) in self.up[own.clone()].iter_mut().zip(&here).zip(&over) {
                *up = in_series(*here, *over);
            }
            if let Some(heat) = heat {
                let cells = self.rhs[own].iter_mut().zip(&heat[j * nx..]);
                for ((rhs, heat), (here, over)) in cells.zip(here.iter().zip(&over)) {
                    *rhs += heat * here / (here + over);
                }
            }
        }
    }
}

/// Two conductances in series.
#[inline(always)]
fn in_series(a: f64, b: f64) -> f64 {
    a * b / (a + b)
}

/// `values *= factors`.
#[inline(always)]
fn times(values: &mut [f64], factors: &[f64]) {
    for (value, factor) in values.iter_mut().zip(factors) {
        *value *= factor;
    }
}

/// Calls `work(cell of the strip, column of the block, cell of the plane, its area in m²)` for all
/// cells in `rows` of a block.
fn for_cells(
    network: &Network,
    part: &BlockPart,
    rows: &Range<usize>,
    mut work: impl FnMut(usize, usize, usize, f64),
) {
    let (nx, plane_nx) = (part.cells.nx(), network.dx_m.len());
    for (k, j) in rows.clone().enumerate() {
        let row = (part.cells.j0 + j) * plane_nx + part.cells.i0;
        for i in 0..nx {
            let area = network.cell_area_m2(part.cells.i0 + i, part.cells.j0 + j);
            work(k * nx + i, j * nx + i, row + i, area);
        }
    }
}

/// The four side faces of the substrate.
fn edges(network: &Network, factors: Option<&[f64]>, out: &mut Block, rhs: &mut [f64]) {
    let edge = network.module.edge;
    if edge.htc_W_m2K == 0.0 {
        return;
    }
    let rise = edge.temperature_K - network.module.coolant.inlet_K;
    for (unknown, sink) in edge_sinks(network, factors) {
        out.sink[unknown] += sink;
        rhs[unknown] += sink * rise;
    }
}

/// Conductance from each side cell of the substrate through its side face, W/K. A corner cell
/// appears twice.
pub(super) fn edge_sinks(network: &Network, factors: Option<&[f64]>) -> Vec<(usize, f64)> {
    let part = &network.blocks[0];
    let htc = network.module.edge.htc_W_m2K;
    let (nx, ny) = (part.cells.nx(), part.cells.ny());
    let mut sinks = Vec::new();
    for (l, sheet) in part.sheets.iter().enumerate() {
        let [kx, ky, _] = sheet.material.conductivity_W_mK;
        let mut side = |c: usize, k: f64, depth: f64, across: f64| {
            let unknown = part.unknown(l, c);
            let factor = factors.map_or(1.0, |f| f[unknown]);
            let area = sheet.thickness_m * across;
            sinks.push((unknown, area / (1.0 / htc + depth / (2.0 * k * factor))));
        };
        for j in 0..ny {
            side(j * nx, kx, network.dx_m[0], network.dy_m[j]);
            side(j * nx + nx - 1, kx, network.dx_m[nx - 1], network.dy_m[j]);
        }
        for i in 0..nx {
            side(i, ky, network.dy_m[0], network.dx_m[i]);
            side((ny - 1) * nx + i, ky, network.dy_m[ny - 1], network.dx_m[i]);
        }
    }
    sinks
}
