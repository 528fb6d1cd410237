//! From a solution back to face temperatures and to the heat balance.

use rayon::prelude::*;

use super::assembly::edge_sinks;
use super::surface::surface_balance;
use super::{AffineFlux, Network, SourceFace, SurfaceLaw};
use crate::pages::zeros;
use crate::results::HeatBalance;

/// The wet side of a solution, one entry a cell of the plane, `j * nx + i`.
#[derive(Debug, Clone)]
pub struct WetSide {
    /// Rise of the surface above the coolant inlet, K.
    pub rise_K: Vec<f64>,
    /// Heat flux into the spray, W/m².
    pub flux_W_m2: Vec<f64>,
    /// Tangent of the flux law at that rise.
    pub tangent: Vec<AffineFlux>,
}

/// Solves the balance of every wet face for the cell rises `x`. `start` is a former wet side of
/// the same mesh, for the first guess.
pub fn wet_side(
    network: &Network,
    factors: Option<&[f64]>,
    law: &dyn SurfaceLaw,
    x: &[f64],
    start: Option<&WetSide>,
) -> WetSide {
    let nx = network.dx_m.len();
    let heats: Vec<Option<&[f64]>> = network
        .blocks
        .iter()
        .enumerate()
        .map(|(b, part)| network.heat_on(b, part.sheets.len()))
        .collect();
    let n = network.top_block.len();
    let mut wet = WetSide { rise_K: zeros(n), flux_W_m2: zeros(n), tangent: zeros(n) };
    let WetSide { rise_K, flux_W_m2, tangent } = &mut wet;
    let cells = (rise_K, flux_W_m2, tangent).into_par_iter().enumerate().with_min_len(1024);
    cells.for_each(|(p, (rise, flux, tangent))| {
        let (i, j) = (p % nx, p / nx);
        let (b, c, unknown) = network.wet_top(i, j);
        let part = &network.blocks[b];
        let area = network.cell_area_m2(i, j);
        let half = network.half_W_K(part, part.sheets.len() - 1, c, area, factors);
        let heat = heats[b].map_or(0.0, |h| h[c]);
        if law.is_linear() {
            let (_, slope) = law.flux(p, 0.0);
            *rise = (half * x[unknown] + heat) / (half + area * slope);
            *flux = slope * *rise;
            tangent.slope_W_m2K = slope;
            return;
        }
        // Where the former tangent would balance: near convergence that is the answer to
        // second order.
        let guess = start.map_or(x[unknown], |s| {
            let former = s.tangent[p];
            (half * x[unknown] + heat - area * former.constant_W_m2)
                / (half + area * former.slope_W_m2K)
        });
        (*rise, *tangent) = surface_balance(law, p, x[unknown], half, heat, area, guess);
        *flux = tangent.constant_W_m2 + tangent.slope_W_m2K * *rise;
    });
    wet
}

/// Rise of a source's active face in each of its cells, K, row by row.
pub fn source_rises(
    network: &Network,
    factors: Option<&[f64]>,
    source: &SourceFace,
    x: &[f64],
    wet: &WetSide,
) -> Vec<f64> {
    let mut rises = Vec::with_capacity(source.cells.len());
    let nx = network.dx_m.len();
    let part = &network.blocks[source.block];
    let heat = network.heat_on(source.block, source.face);
    let n = part.sheets.len();
    for j in source.cells.j0..source.cells.j1 {
        for i in source.cells.i0..source.cells.i1 {
            let c = (j - part.cells.j0) * part.cells.nx() + i - part.cells.i0;
            let area = network.cell_area_m2(i, j);
            let heat = heat.map_or(0.0, |h| h[c]);
            let (above, above_rise) = if source.face < n {
                let unknown = part.unknown(source.face, c);
                (network.half_W_K(part, source.face, c, area, factors), x[unknown])
            } else {
                let (b, wet_c, _) = network.wet_top(i, j);
                if b == source.block {
                    rises.push(wet.rise_K[j * nx + i]);
                    continue;
                }
                let island = &network.blocks[b];
                let unknown = island.unknown(0, wet_c);
                (network.half_W_K(island, 0, wet_c, area, factors), x[unknown])
            };
            let (below, below_rise) = if source.face == 0 {
                let board = &network.module.board;
                (board.htc_W_m2K * area, board.temperature_K - network.module.coolant.inlet_K)
            } else {
                let unknown = part.unknown(source.face - 1, c);
                (network.half_W_K(part, source.face - 1, c, area, factors), x[unknown])
            };
            rises.push((below * below_rise + above * above_rise + heat) / (below + above));
        }
    }
    rises
}

/// Where the heat of a solution goes.
pub fn heat_balance(
    network: &Network,
    factors: Option<&[f64]>,
    x: &[f64],
    wet: &WetSide,
) -> HeatBalance {
    let nx = network.dx_m.len();
    let mut balance = HeatBalance {
        in_W: network.face_heat.iter().flat_map(|f| &f.heat_W).sum(),
        ..HeatBalance::default()
    };
    for (p, flux) in wet.flux_W_m2.iter().enumerate() {
        balance.to_spray_W += flux * network.cell_area_m2(p % nx, p / nx);
    }
    let part = &network.blocks[0];
    let board = &network.module.board;
    let board_rise = board.temperature_K - network.module.coolant.inlet_K;
    let heat = network.heat_on(0, 0);
    for c in 0..part.cells.len() {
        let area = network.cell_area_m2(c % nx, c / nx);
        let outside = board.htc_W_m2K * area;
        let half = network.half_W_K(part, 0, c, area, factors);
        let heat = heat.map_or(0.0, |h| h[c]);
        balance.exchange_W += outside * half / (outside + half) * board_rise.abs();
        balance.to_board_W += outside * (half * (x[c] - board_rise) + heat) / (outside + half);
    }
    let edge = network.module.edge;
    if edge.htc_W_m2K > 0.0 {
        let rise = edge.temperature_K - network.module.coolant.inlet_K;
        for (unknown, sink) in edge_sinks(network, factors) {
            balance.exchange_W += sink * rise.abs();
            balance.to_edges_W += sink * (x[unknown] - rise);
        }
    }
    balance
}
