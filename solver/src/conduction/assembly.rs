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

use rayon::prelude::*;

use super::network::BlockPart;
use super::{AffineFlux, Block, Network, Operator};

/// Fills the conductances in the plane of one sheet.
fn in_plane(
    network: &Network,
    part: &BlockPart,
    l: usize,
    factors: Option<&[f64]>,
    out: &mut Block,
) {
    let (nx, ny) = (part.cells.nx(), part.cells.ny());
    let sheet = &part.sheets[l];
    let [kx, ky, _] = sheet.material.conductivity_W_mK;
    let dx = &network.dx_m[part.cells.i0..part.cells.i1];
    let dy = &network.dy_m[part.cells.j0..part.cells.j1];
    let base = l * nx * ny;
    let factor = |c: usize| factors.map_or(1.0, |f| f[part.offset + base + c]);
    let t = sheet.thickness_m;
    for j in 0..ny {
        for i in 0..nx.saturating_sub(1) {
            let c = j * nx + i;
            let resistance =
                dx[i] / (2.0 * kx * factor(c)) + dx[i + 1] / (2.0 * kx * factor(c + 1));
            out.east[base + c] = t * dy[j] / resistance;
        }
    }
    for j in 0..ny.saturating_sub(1) {
        for i in 0..nx {
            let c = j * nx + i;
            let resistance =
                dy[j] / (2.0 * ky * factor(c)) + dy[j + 1] / (2.0 * ky * factor(c + nx));
            out.north[base + c] = t * dx[i] / resistance;
        }
    }
}

/// Builds the operator (W/K) and the right-hand side (W, for rises above the coolant inlet).
///
/// `factors`: conductivity factor of every unknown, `None` when nothing varies. `wet`: the flux
/// into the spray in every cell of the plane, `j * nx + i`.
pub fn assemble(
    network: &Network,
    factors: Option<&[f64]>,
    wet: &[AffineFlux],
) -> (Operator, Vec<f64>) {
    let mut rhs = vec![0.0; network.unknowns()];
    let mut blocks: Vec<Block> = network
        .blocks
        .par_iter()
        .enumerate()
        .map(|(b, part)| {
            let (nx, ny) = (part.cells.nx(), part.cells.ny());
            let mut out =
                Block::zeros(part.cells.i0, part.cells.j0, nx, ny, part.sheets.len(), b > 0);
            for l in 0..part.sheets.len() {
                in_plane(network, part, l, factors, &mut out);
            }
            out
        })
        .collect();
    for (b, block) in blocks.iter_mut().enumerate() {
        through_block(network, b, factors, block, &mut rhs);
    }
    seats(network, factors, &mut blocks, &mut rhs);
    board(network, factors, &mut blocks[0], &mut rhs);
    wet_side(network, factors, wet, &mut blocks, &mut rhs);
    edges(network, factors, &mut blocks[0], &mut rhs);
    let operator = Operator { dx_m: network.dx_m.clone(), dy_m: network.dy_m.clone(), blocks };
    (operator, rhs)
}

/// Coupling between the sheets of one block, and the heat on the faces between them.
fn through_block(
    network: &Network,
    b: usize,
    factors: Option<&[f64]>,
    out: &mut Block,
    rhs: &mut [f64],
) {
    let part = &network.blocks[b];
    let plane = part.cells.len();
    for l in 1..part.sheets.len() {
        let heat = network.heat_on(b, l);
        for c in 0..plane {
            let (i, j) = (part.cells.i0 + c % out.nx, part.cells.j0 + c / out.nx);
            let area = network.cell_area_m2(i, j);
            let below = network.half_W_K(part, l - 1, c, area, factors);
            let above = network.half_W_K(part, l, c, area, factors);
            out.up[(l - 1) * plane + c] = below * above / (below + above);
            if let Some(heat) = heat {
                rhs[part.unknown(l - 1, c)] += heat[c] * below / (below + above);
                rhs[part.unknown(l, c)] += heat[c] * above / (below + above);
            }
        }
    }
}

/// Coupling of every island to the substrate's top sheet, and the heat on that face.
fn seats(network: &Network, factors: Option<&[f64]>, blocks: &mut [Block], rhs: &mut [f64]) {
    let base = &network.blocks[0];
    let top = base.sheets.len() - 1;
    let heat = network.heat_on(0, top + 1);
    for b in 1..network.blocks.len() {
        let part = &network.blocks[b];
        for c in 0..part.cells.len() {
            let (i, j) = (part.cells.i0 + c % part.cells.nx(), part.cells.j0 + c / part.cells.nx());
            let area = network.cell_area_m2(i, j);
            let base_c = j * base.cells.nx() + i;
            let below = network.half_W_K(base, top, base_c, area, factors);
            let above = network.half_W_K(part, 0, c, area, factors);
            blocks[b].seat[c] = below * above / (below + above);
            if let Some(heat) = heat {
                rhs[base.unknown(top, base_c)] += heat[base_c] * below / (below + above);
                rhs[part.unknown(0, c)] += heat[base_c] * above / (below + above);
            }
        }
    }
}

/// The board under the lowest sheet.
fn board(network: &Network, factors: Option<&[f64]>, out: &mut Block, rhs: &mut [f64]) {
    let part = &network.blocks[0];
    let board = &network.module.board;
    let rise = board.temperature_K - network.module.coolant.inlet_K;
    let heat = network.heat_on(0, 0);
    for c in 0..part.cells.len() {
        let area = network.cell_area_m2(c % out.nx, c / out.nx);
        let outside = board.htc_W_m2K * area;
        let half = network.half_W_K(part, 0, c, area, factors);
        let sink = outside * half / (outside + half);
        out.sink[c] += sink;
        rhs[c] += sink * rise;
        if let Some(heat) = heat {
            rhs[c] += heat[c] * half / (outside + half);
        }
    }
}

/// The wet faces: exposed substrate and die backs.
fn wet_side(
    network: &Network,
    factors: Option<&[f64]>,
    wet: &[AffineFlux],
    blocks: &mut [Block],
    rhs: &mut [f64],
) {
    let (nx, ny) = (network.dx_m.len(), network.dy_m.len());
    let heats: Vec<Option<&[f64]>> = network
        .blocks
        .iter()
        .enumerate()
        .map(|(b, part)| network.heat_on(b, part.sheets.len()))
        .collect();
    for j in 0..ny {
        for i in 0..nx {
            let (b, c, unknown) = network.wet_top(i, j);
            let part = &network.blocks[b];
            let area = network.cell_area_m2(i, j);
            let half = network.half_W_K(part, part.sheets.len() - 1, c, area, factors);
            let flux = wet[j * nx + i];
            let outside = flux.slope_W_m2K * area;
            let heat = heats[b].map_or(0.0, |h| h[c]);
            blocks[b].sink[unknown - part.offset] += half * outside / (half + outside);
            rhs[unknown] += half * (heat - area * flux.constant_W_m2) / (half + outside);
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
