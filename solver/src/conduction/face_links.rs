//! The network before its faces are eliminated: every face with the half conductances that meet
//! there.
//!
//! Written this way each parameter enters in one place only. With T the temperatures (cells and
//! faces), a linear reading J of face temperatures, and λ the *influence*: the rise of J (K) for
//! a watt released at a node,
//!
//! ```text
//! dJ/dg = -(T_c - T_f) (λ_c - λ_f)     g the half conductance between cell c and face f
//! dJ/dQ = λ_f                          Q the heat released on face f
//! ```
//!
//! See [`crate::study`] for what is made of it.

use super::network::BlockPart;
use super::{AffineFlux, Network};

/// Where a face lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FacePlace {
    /// Between two cells.
    Between,
    /// On the spray side, over this cell of the plane (`j * nx + i`).
    Wet {
        /// Cell of the plane.
        cell: usize,
    },
    /// On the board side.
    Board {
        /// m².
        area_m2: f64,
    },
    /// On one of the four sides of the substrate.
    Edge {
        /// Sheet of the substrate.
        sheet: usize,
        /// m².
        area_m2: f64,
    },
}

/// One face and what meets there.
#[derive(Debug, Clone, Copy)]
pub struct FaceLink {
    /// Where it lies.
    pub place: FacePlace,
    /// 0, 1, 2: heat crosses it along x, y, z.
    pub axis: usize,
    /// Unknown and half conductance (W/K) of the cells on either side.
    pub sides: [Option<(usize, f64)>; 2],
    /// Conductance from the face to its surroundings, W/K.
    pub outside_W_K: f64,
    /// What the surroundings bring in at zero rise of the face, W.
    pub outside_W: f64,
    /// Heat released on the face: entry of [`Network::face_heats`] and column in it.
    pub released: Option<(usize, usize)>,
}

impl FaceLink {
    /// Everything that meets at the face, W/K.
    pub fn conductance_W_K(&self) -> f64 {
        self.sides.iter().flatten().map(|side| side.1).sum::<f64>() + self.outside_W_K
    }

    /// Value at the face that balances it: `(sum of g v_c + source) / (sum of g + outside)`.
    pub fn balance(&self, cells: &[f64], source: f64) -> f64 {
        let sum: f64 = self.sides.iter().flatten().map(|&(c, g)| g * cells[c]).sum();
        (sum + source) / self.conductance_W_K()
    }

    /// Its entry in values laid out as [`Network::face_heats`]; 0 where nothing is released.
    pub fn released_in(&self, heats: &[Vec<f64>]) -> f64 {
        self.released.map_or(0.0, |(k, c)| heats[k][c])
    }
}

impl Network<'_> {
    /// Heat of all sources, W: one entry a face on which heat is released, one value a cell of
    /// the block that the face belongs to.
    pub fn face_heats(&self) -> Vec<Vec<f64>> {
        self.face_heat.iter().map(|f| f.heat_W.clone()).collect()
    }

    /// Values of a source's own cells laid out as [`Network::face_heats`], zero elsewhere.
    ///
    /// # Panics
    /// If there are not as many values as the source has cells.
    pub fn on_face(&self, source: usize, values: &[f64]) -> Vec<Vec<f64>> {
        let mut all: Vec<Vec<f64>> =
            self.face_heat.iter().map(|f| vec![0.0; f.heat_W.len()]).collect();
        let cells = self.source_columns(source);
        assert_eq!(values.len(), cells.1.len(), "one value a cell of the source");
        for (&c, &value) in cells.1.iter().zip(values) {
            all[cells.0][c] = value;
        }
        all
    }

    /// Entry of [`Network::face_heats`] that holds a source, and its column for each of the
    /// source's cells, row by row.
    pub fn source_columns(&self, source: usize) -> (usize, Vec<usize>) {
        let face = &self.sources[source];
        let entry = self.released(face.block, face.face).unwrap_or(0);
        let block = self.blocks[face.block].cells;
        let mut columns = Vec::with_capacity(face.cells.len());
        for j in face.cells.j0..face.cells.j1 {
            for i in face.cells.i0..face.cells.i1 {
                columns.push((j - block.j0) * block.nx() + i - block.i0);
            }
        }
        (entry, columns)
    }

    fn released(&self, block: usize, face: usize) -> Option<usize> {
        self.face_heat.iter().position(|f| f.block == block && f.face == face)
    }

    /// Relative change of every unknown's conductivity with temperature, 1/K, at the
    /// temperatures `rise_K` above the inlet; `None` when no conductivity varies.
    pub fn conductivity_slopes_1_K(&self, rise_K: &[f64]) -> Option<Vec<f64>> {
        if !self.conductivity_varies() {
            return None;
        }
        let inlet_K = self.module.coolant.inlet_K;
        let mut slopes = vec![0.0; rise_K.len()];
        for block in &self.blocks {
            for (l, sheet) in block.sheets.iter().enumerate() {
                let range = block.unknown(l, 0)..block.unknown(l + 1, 0);
                for (slope, rise) in slopes[range.clone()].iter_mut().zip(&rise_K[range]) {
                    *slope = sheet.material.conductivity_slope_1_K((inlet_K + rise).max(1.0));
                }
            }
        }
        Some(slopes)
    }

    /// Calls `visit` for every face, in a fixed order. `wet` holds the flux into the spray in
    /// every cell of the plane.
    pub fn for_each_face(
        &self,
        factors: Option<&[f64]>,
        wet: &[AffineFlux],
        visit: &mut dyn FnMut(&FaceLink),
    ) {
        for (b, part) in self.blocks.iter().enumerate() {
            self.faces_in_plane(part, factors, visit);
            self.faces_between_sheets(b, factors, visit);
        }
        self.faces_of_seats(factors, visit);
        self.faces_outside(factors, wet, visit);
        self.faces_of_edges(factors, visit);
    }

    fn faces_in_plane(
        &self,
        part: &BlockPart,
        factors: Option<&[f64]>,
        visit: &mut dyn FnMut(&FaceLink),
    ) {
        let (nx, ny) = (part.cells.nx(), part.cells.ny());
        let dx = &self.dx_m[part.cells.i0..part.cells.i1];
        let dy = &self.dy_m[part.cells.j0..part.cells.j1];
        for (l, sheet) in part.sheets.iter().enumerate() {
            let [kx, ky, _] = sheet.material.conductivity_W_mK;
            let t = sheet.thickness_m;
            let side = |c: usize, k: f64, depth: f64, across: f64| {
                let unknown = part.unknown(l, c);
                let factor = factors.map_or(1.0, |f| f[unknown]);
                Some((unknown, 2.0 * k * factor * t * across / depth))
            };
            let mut between = |axis: usize, sides: [Option<(usize, f64)>; 2]| {
                visit(&FaceLink {
                    place: FacePlace::Between,
                    axis,
                    sides,
                    outside_W_K: 0.0,
                    outside_W: 0.0,
                    released: None,
                });
            };
            for j in 0..ny {
                for i in 0..nx {
                    let c = j * nx + i;
                    if i + 1 < nx {
                        between(0, [side(c, kx, dx[i], dy[j]), side(c + 1, kx, dx[i + 1], dy[j])]);
                    }
                    if j + 1 < ny {
                        between(1, [side(c, ky, dy[j], dx[i]), side(c + nx, ky, dy[j + 1], dx[i])]);
                    }
                }
            }
        }
    }

    fn faces_between_sheets(
        &self,
        b: usize,
        factors: Option<&[f64]>,
        visit: &mut dyn FnMut(&FaceLink),
    ) {
        let part = &self.blocks[b];
        let nx = part.cells.nx();
        for l in 1..part.sheets.len() {
            let released = self.released(b, l);
            for c in 0..part.cells.len() {
                let area = self.cell_area_m2(part.cells.i0 + c % nx, part.cells.j0 + c / nx);
                let half =
                    |l: usize| (part.unknown(l, c), self.half_W_K(part, l, c, area, factors));
                visit(&FaceLink {
                    place: FacePlace::Between,
                    axis: 2,
                    sides: [Some(half(l - 1)), Some(half(l))],
                    outside_W_K: 0.0,
                    outside_W: 0.0,
                    released: released.map(|k| (k, c)),
                });
            }
        }
    }

    fn faces_of_seats(&self, factors: Option<&[f64]>, visit: &mut dyn FnMut(&FaceLink)) {
        let base = &self.blocks[0];
        let top = base.sheets.len() - 1;
        let released = self.released(0, top + 1);
        for part in &self.blocks[1..] {
            let nx = part.cells.nx();
            for c in 0..part.cells.len() {
                let (i, j) = (part.cells.i0 + c % nx, part.cells.j0 + c / nx);
                let area = self.cell_area_m2(i, j);
                let base_c = j * base.cells.nx() + i;
                let below = self.half_W_K(base, top, base_c, area, factors);
                let above = self.half_W_K(part, 0, c, area, factors);
                visit(&FaceLink {
                    place: FacePlace::Between,
                    axis: 2,
                    sides: [
                        Some((base.unknown(top, base_c), below)),
                        Some((part.unknown(0, c), above)),
                    ],
                    outside_W_K: 0.0,
                    outside_W: 0.0,
                    released: released.map(|k| (k, base_c)),
                });
            }
        }
    }

    /// Board side and spray side.
    fn faces_outside(
        &self,
        factors: Option<&[f64]>,
        wet: &[AffineFlux],
        visit: &mut dyn FnMut(&FaceLink),
    ) {
        let base = &self.blocks[0];
        let (nx, ny) = (base.cells.nx(), base.cells.ny());
        let board = &self.module.board;
        let board_rise = board.temperature_K - self.module.coolant.inlet_K;
        let under = self.released(0, 0);
        let tops: Vec<Option<usize>> = self
            .blocks
            .iter()
            .enumerate()
            .map(|(b, part)| self.released(b, part.sheets.len()))
            .collect();
        for j in 0..ny {
            for i in 0..nx {
                let cell = j * nx + i;
                let area = self.cell_area_m2(i, j);
                let half = self.half_W_K(base, 0, cell, area, factors);
                let outside_W_K = board.htc_W_m2K * area;
                visit(&FaceLink {
                    place: FacePlace::Board { area_m2: area },
                    axis: 2,
                    sides: [None, Some((cell, half))],
                    outside_W_K,
                    outside_W: outside_W_K * board_rise,
                    released: under.map(|k| (k, cell)),
                });
                let (b, c, unknown) = self.wet_top(i, j);
                let part = &self.blocks[b];
                let half = self.half_W_K(part, part.sheets.len() - 1, c, area, factors);
                visit(&FaceLink {
                    place: FacePlace::Wet { cell },
                    axis: 2,
                    sides: [Some((unknown, half)), None],
                    outside_W_K: wet[cell].slope_W_m2K * area,
                    outside_W: -wet[cell].constant_W_m2 * area,
                    released: tops[b].map(|k| (k, c)),
                });
            }
        }
    }

    /// The four sides of the substrate, also where they are adiabatic.
    fn faces_of_edges(&self, factors: Option<&[f64]>, visit: &mut dyn FnMut(&FaceLink)) {
        let part = &self.blocks[0];
        let (nx, ny) = (part.cells.nx(), part.cells.ny());
        let edge = self.module.edge;
        let rise = edge.temperature_K - self.module.coolant.inlet_K;
        for (l, sheet) in part.sheets.iter().enumerate() {
            let [kx, ky, _] = sheet.material.conductivity_W_mK;
            let mut side = |axis: usize, c: usize, k: f64, depth: f64, across: f64| {
                let unknown = part.unknown(l, c);
                let factor = factors.map_or(1.0, |f| f[unknown]);
                let area_m2 = sheet.thickness_m * across;
                let outside_W_K = edge.htc_W_m2K * area_m2;
                visit(&FaceLink {
                    place: FacePlace::Edge { sheet: l, area_m2 },
                    axis,
                    sides: [Some((unknown, 2.0 * k * factor * area_m2 / depth)), None],
                    outside_W_K,
                    outside_W: outside_W_K * rise,
                    released: None,
                });
            };
            for j in 0..ny {
                side(0, j * nx, kx, self.dx_m[0], self.dy_m[j]);
                side(0, j * nx + nx - 1, kx, self.dx_m[nx - 1], self.dy_m[j]);
            }
            for i in 0..nx {
                side(1, i, ky, self.dy_m[0], self.dx_m[i]);
                side(1, (ny - 1) * nx + i, ky, self.dy_m[ny - 1], self.dx_m[i]);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::conduction::assembly::assemble;
    use crate::conduction::faces::heat_balance;
    use crate::study::testing;

    fn with_edges() -> crate::module::Module {
        let mut module = testing::prescribed();
        module.edge.htc_W_m2K = 90.0;
        module.edge.temperature_K = 330.0;
        let layer = Arc::make_mut(&mut module.layers[0].material);
        layer.conductivity_W_mK = [20.0, 35.0, 3.0];
        module
    }

    /// What leaves through the faces is what the balance says, side by side.
    #[test]
    fn the_faces_let_out_what_the_balance_says() {
        let module = with_edges();
        let solution = testing::solved(&module);
        let network = Network::new(&module, &solution.mesh);
        let factors = solution.factors.as_deref();
        let balance = heat_balance(&network, factors, &solution.rise_K, &solution.wet);
        let heats = network.face_heats();
        let (mut spray_W, mut board_W, mut edges_W, mut exchange_W) = (0.0, 0.0, 0.0, 0.0);
        network.for_each_face(factors, &solution.wet.tangent, &mut |link| {
            let source = link.outside_W + link.released_in(&heats);
            let face = link.balance(&solution.rise_K, source);
            let out_W = link.outside_W_K * face - link.outside_W;
            let inside: f64 = link.sides.iter().flatten().map(|side| side.1).sum();
            // From a cell at the coolant's temperature, through half of it and the film.
            let exchanged_W = inside * link.outside_W.abs() / (inside + link.outside_W_K);
            match link.place {
                FacePlace::Wet { .. } => spray_W += out_W,
                FacePlace::Board { .. } => {
                    (board_W, exchange_W) = (board_W + out_W, exchange_W + exchanged_W)
                }
                FacePlace::Edge { .. } => {
                    (edges_W, exchange_W) = (edges_W + out_W, exchange_W + exchanged_W)
                }
                FacePlace::Between => {}
            }
        });
        let power_W: f64 = module.die.iter().map(|d| d.power_W).sum::<f64>()
            + module.heaters.iter().map(|h| h.power_W).sum::<f64>();
        for (one, other) in [
            (balance.in_W, power_W),
            (balance.to_spray_W, spray_W),
            (balance.to_board_W, board_W),
            (balance.to_edges_W, edges_W),
            (balance.exchange_W, exchange_W),
            (power_W, spray_W + board_W + edges_W),
        ] {
            assert!((one - other).abs() < 1e-7 * power_W, "{one} {other}");
        }
        assert!(edges_W.abs() > 0.01 && board_W.abs() > 0.01, "{edges_W} {board_W}");
    }

    /// Two ways to the same equations: the operator, made row by row with its faces eliminated, and
    /// the sum over all faces of what flows into the cells beside each, its temperature the one that
    /// balances it.
    #[test]
    fn the_faces_leave_the_residual_of_the_operator() {
        let module = with_edges();
        let mesh = testing::mesh(&module);
        let network = Network::new(&module, &mesh);
        let wave = |n: usize, step: f64| (step * n as f64).sin();
        let n = network.unknowns();
        let factors: Vec<f64> = (0..n).map(|n| 1.0 + 0.3 * wave(n, 0.7)).collect();
        let x: Vec<f64> = (0..n).map(|n| 40.0 + 9.0 * wave(n, 0.31)).collect();
        let wet: Vec<AffineFlux> = (0..mesh.plane.nx() * mesh.plane.ny())
            .map(|n| AffineFlux {
                constant_W_m2: 500.0 * wave(n, 0.9),
                slope_W_m2K: 4000.0 + 3000.0 * wave(n, 0.4),
            })
            .collect();
        for factors in [None, Some(&factors[..])] {
            let (operator, rhs) = assemble(&network, factors, &wet);
            let residual = operator.residual(&rhs, &x);
            let heats = network.face_heats();
            let mut gathered = vec![0.0; n];
            network.for_each_face(factors, &wet, &mut |link| {
                let source = link.outside_W + link.released_in(&heats);
                let face = link.balance(&x, source);
                for &(cell, g) in link.sides.iter().flatten() {
                    gathered[cell] += g * (face - x[cell]);
                }
            });
            let largest = residual.iter().fold(0.0f64, |m, r| m.max(r.abs()));
            for (k, (one, other)) in residual.iter().zip(&gathered).enumerate() {
                assert!((one - other).abs() < 1e-9 * largest, "{k}: {one} {other}");
            }
        }
    }
}
