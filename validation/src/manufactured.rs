//! Manufactured solutions: a temperature field is chosen, the heat that it needs is derived, and
//! the solver's operator must give the field back with an error that falls at second order.
//!
//! With T = X(x) Y(y) Z(z) and conductivity (k_x, k_y, k_z) F(x) G(y) H(z), the heat per volume is
//!
//! ```text
//! s = -k_x (F X')' G Y H Z - k_y F X (G Y')' H Z - k_z F X G Y (H Z')'
//! ```
//!
//! and a face with coefficient h to a medium at rise T_a needs the extra flux out of it
//!
//! ```text
//! g = -k dT/dn - h (T - T_a)
//! ```
//!
//! The grids are graded by a smooth map, nx and ny differ, no profile is one that the scheme
//! solves exactly, and nothing is symmetric.
//!
//! # Source
//! P. J. Roache, Code verification by the method of manufactured solutions, J. Fluids Eng. 124
//! (2002) 4-10 (the method; from memory).

use std::f64::consts::PI;

use sprayside_solver::conduction::assembly::assemble;
use sprayside_solver::conduction::{AffineFlux, Network};
use sprayside_solver::linear::{CgError, CgParams, Preconditioned};
use sprayside_solver::mesh::{Mesh, PlaneGrid, Sheet};

use crate::vehicle::{AMBIENT_K, vehicle};

/// Value and first two derivatives of a profile along one axis.
type Profile = fn(f64) -> [f64; 3];

/// One layer: thickness m, conductivity, the profile of the temperature and of the conductivity
/// through it; z counts from the layer's lower face.
struct ManufacturedLayer {
    thickness: f64,
    conductivity: [f64; 3],
    temperature: Profile,
    factor: Profile,
}

/// A problem with a known answer.
pub struct Manufactured {
    /// Name for the table.
    pub name: &'static str,
    size: [f64; 2],
    layers: Vec<ManufacturedLayer>,
    temperature: [Profile; 2],
    factor: [Profile; 2],
    below: f64,
    above: f64,
    edge: f64,
    /// Cells along x and y and sheets a layer on the coarsest grid, and whether they are doubled.
    base: [usize; 3],
    refine: [bool; 3],
}

/// One grid of a study.
#[derive(Debug, Clone, Copy)]
pub struct Level {
    /// Cells along x and y, sheets in all.
    pub cells: [usize; 3],
    /// Volume-weighted root mean square error over the same of the field.
    pub error: f64,
    /// Observed order against the grid before.
    pub order: Option<f64>,
}

const A: f64 = 20e-3;
const B: f64 = 14e-3;

fn one(_: f64) -> [f64; 3] {
    [1.0, 0.0, 0.0]
}

fn cosine(amplitude: f64, wave: f64, phase: f64, x: f64) -> [f64; 3] {
    let (s, c) = (wave * x + phase).sin_cos();
    [1.0 + amplitude * c, -amplitude * wave * s, -amplitude * wave * wave * c]
}

fn temperature_x(x: f64) -> [f64; 3] {
    cosine(0.5, 1.3 * PI / A, 0.3, x)
}

fn temperature_y(y: f64) -> [f64; 3] {
    cosine(0.7, 0.9 * PI / B, 1.1, y)
}

fn factor_x(x: f64) -> [f64; 3] {
    cosine(0.3, 1.1 * PI / A, 0.9, x)
}

fn factor_y(y: f64) -> [f64; 3] {
    cosine(0.25, 1.7 * PI / B, 0.2, y)
}

const T1: f64 = 1.2e-3;
const T2: f64 = 0.8e-3;
const K1: [f64; 3] = [30.0, 22.0, 6.0];
const K2: [f64; 3] = [140.0, 160.0, 120.0];

fn temperature_z(z: f64) -> [f64; 3] {
    cosine(0.6, 1.2 * PI / T1, 0.7, z)
}

fn factor_z(z: f64) -> [f64; 3] {
    cosine(0.35, 0.8 * PI / T1, 0.4, z)
}

/// Above an interface on `temperature_z`, with the same temperature and flux there.
fn temperature_z_above(z: f64) -> [f64; 3] {
    let [value, slope, _] = temperature_z(T1);
    let slope = slope * K1[2] / K2[2];
    let (bend, wave) = (0.4, 1.5 * PI / T2);
    let (s, c) = (wave * z).sin_cos();
    [value + slope * z + bend * (1.0 - c), slope + bend * wave * s, bend * wave * wave * c]
}

/// The problems: in the plane with cooled edges, through the thickness, both, and across a jump
/// of conductivity.
pub fn problems() -> Vec<Manufactured> {
    let layer = |temperature: Profile, factor: Profile| ManufacturedLayer {
        thickness: T1,
        conductivity: K1,
        temperature,
        factor,
    };
    vec![
        Manufactured {
            name: "in the plane, variable conductivity, cooled edges",
            size: [A, B],
            layers: vec![layer(one, one)],
            temperature: [temperature_x, temperature_y],
            factor: [factor_x, factor_y],
            below: 0.0,
            above: 0.0,
            edge: 900.0,
            base: [10, 14, 1],
            refine: [true, true, false],
        },
        Manufactured {
            name: "through the thickness, variable conductivity, films on both faces",
            size: [A, B],
            layers: vec![layer(temperature_z, factor_z)],
            temperature: [one, one],
            factor: [one, one],
            below: 700.0,
            above: 9000.0,
            edge: 0.0,
            base: [2, 3, 5],
            refine: [false, false, true],
        },
        Manufactured {
            name: "in all directions, variable conductivity, films on all faces",
            size: [A, B],
            layers: vec![layer(temperature_z, factor_z)],
            temperature: [temperature_x, temperature_y],
            factor: [factor_x, factor_y],
            below: 700.0,
            above: 9000.0,
            edge: 900.0,
            base: [8, 11, 4],
            refine: [true, true, true],
        },
        Manufactured {
            name: "two layers, a jump of conductivity of 20, films on all faces",
            size: [A, B],
            layers: vec![
                layer(temperature_z, one),
                ManufacturedLayer {
                    thickness: T2,
                    conductivity: K2,
                    temperature: temperature_z_above,
                    factor: one,
                },
            ],
            temperature: [temperature_x, temperature_y],
            factor: [one, one],
            below: 700.0,
            above: 9000.0,
            edge: 900.0,
            base: [8, 11, 4],
            refine: [true, true, true],
        },
    ]
}

/// `n` cells of 0..length by a smooth map: sizes vary by a factor of about two, not symmetric.
fn graded(length: f64, n: usize) -> Vec<f64> {
    (0..=n)
        .map(|k| {
            let s = k as f64 / n as f64;
            length * (s + 0.3 * (PI * s).sin().powi(2) * (1.0 - s) / PI)
        })
        .collect()
}

impl Manufactured {
    /// Solves on four grids.
    ///
    /// # Errors
    /// As the linear solver.
    pub fn study(&self, grids: usize) -> Result<Vec<Level>, CgError> {
        let mut levels: Vec<Level> = Vec::new();
        for grid in 0..grids {
            let mut n = self.base;
            for (count, refine) in n.iter_mut().zip(self.refine) {
                if refine {
                    *count <<= grid;
                }
            }
            let error = self.error(n)?;
            let order = levels.last().map(|before| (before.error / error).log2());
            levels.push(Level { cells: [n[0], n[1], n[2] * self.layers.len()], error, order });
        }
        Ok(levels)
    }

    fn error(&self, [nx, ny, nz]: [usize; 3]) -> Result<f64, CgError> {
        let strata: Vec<(f64, [f64; 3])> =
            self.layers.iter().map(|l| (l.thickness, l.conductivity)).collect();
        let mut module = vehicle(self.size, &strata, self.below, self.above);
        // Media away from the inlet's temperature: their terms are tested too.
        let (board_rise, edge_rise) = (2.0, -1.5);
        module.board.temperature_K = AMBIENT_K + board_rise;
        module.edge.temperature_K = AMBIENT_K + edge_rise;
        module.edge.htc_W_m2K = self.edge;
        let (xs, ys) = (graded(self.size[0], nx), graded(self.size[1], ny));
        // Middle and thickness of every sheet, with its layer and the height within the layer.
        let mut sheets = Vec::new();
        let mut heights = Vec::new();
        for (layer, part) in self.layers.iter().enumerate() {
            let zs = graded(part.thickness, nz);
            for (slice, pair) in zs.windows(2).enumerate() {
                sheets.push(Sheet { layer, slice, thickness_m: pair[1] - pair[0] });
                heights.push(0.5 * (pair[0] + pair[1]));
            }
        }
        let mesh = Mesh {
            plane: PlaneGrid { x_lines_m: xs.clone().into(), y_lines_m: ys.clone().into() },
            sheets: sheets.clone(),
            islands: Vec::new(),
        };
        let network = Network::new(&module, &mesh);
        let wet = vec![AffineFlux { constant_W_m2: 0.0, slope_W_m2K: self.above }; nx * ny];
        let middle = |lines: &[f64], k: usize| 0.5 * (lines[k] + lines[k + 1]);
        let mut factors = Vec::with_capacity(mesh.unknowns());
        let mut exact = Vec::with_capacity(mesh.unknowns());
        let mut added = Vec::with_capacity(mesh.unknowns());
        let mut volumes = Vec::with_capacity(mesh.unknowns());
        let last = sheets.len() - 1;
        for (l, (sheet, &z)) in sheets.iter().zip(&heights).enumerate() {
            let part = &self.layers[sheet.layer];
            let [kx, ky, kz] = part.conductivity;
            let (tz, hz) = ((part.temperature)(z), (part.factor)(z));
            for j in 0..ny {
                let (y, dy) = (middle(&ys, j), ys[j + 1] - ys[j]);
                let (ty, gy) = ((self.temperature[1])(y), (self.factor[1])(y));
                for i in 0..nx {
                    let (x, dx) = (middle(&xs, i), xs[i + 1] - xs[i]);
                    let (tx, fx) = ((self.temperature[0])(x), (self.factor[0])(x));
                    let factor = fx[0] * gy[0] * hz[0];
                    factors.push(factor);
                    exact.push(tx[0] * ty[0] * tz[0]);
                    let volume = dx * dy * sheet.thickness_m;
                    volumes.push(volume);
                    let bent = |f: &[f64; 3], t: &[f64; 3]| f[1] * t[1] + f[0] * t[2];
                    let source = -kx * bent(&fx, &tx) * gy[0] * ty[0] * hz[0] * tz[0]
                        - ky * fx[0] * tx[0] * bent(&gy, &ty) * hz[0] * tz[0]
                        - kz * fx[0] * tx[0] * gy[0] * ty[0] * bent(&hz, &tz);
                    let mut heat = source * volume;
                    // A flux g out of a face is heat -g on it, split as every face heat is.
                    let mut face = |area: f64, depth: f64, k: f64, h: f64, g: f64| {
                        let half = 2.0 * k * factor * area / depth;
                        heat -= area * g * half / (half + area * h);
                    };
                    if l == 0 {
                        let (t, f) = ((part.temperature)(0.0), (part.factor)(0.0));
                        let plane = tx[0] * ty[0];
                        let out = kz * fx[0] * gy[0] * f[0] * plane * t[1];
                        let g = out - self.below * (plane * t[0] - board_rise);
                        face(dx * dy, sheet.thickness_m, kz, self.below, g);
                    }
                    if l == last {
                        let (t, f) =
                            ((part.temperature)(part.thickness), (part.factor)(part.thickness));
                        let plane = tx[0] * ty[0];
                        let out = -kz * fx[0] * gy[0] * f[0] * plane * t[1];
                        face(
                            dx * dy,
                            sheet.thickness_m,
                            kz,
                            self.above,
                            out - self.above * plane * t[0],
                        );
                    }
                    for (at_edge, position, sign) in
                        [(i == 0, 0.0, 1.0), (i == nx - 1, self.size[0], -1.0)]
                    {
                        if at_edge {
                            let (t, f) =
                                ((self.temperature[0])(position), (self.factor[0])(position));
                            let rest = ty[0] * tz[0];
                            let out = sign * kx * f[0] * gy[0] * hz[0] * t[1] * rest;
                            let g = out - self.edge * (t[0] * rest - edge_rise);
                            face(dy * sheet.thickness_m, dx, kx, self.edge, g);
                        }
                    }
                    for (at_edge, position, sign) in
                        [(j == 0, 0.0, 1.0), (j == ny - 1, self.size[1], -1.0)]
                    {
                        if at_edge {
                            let (t, g_y) =
                                ((self.temperature[1])(position), (self.factor[1])(position));
                            let rest = tx[0] * tz[0];
                            let out = sign * ky * fx[0] * g_y[0] * hz[0] * t[1] * rest;
                            let g = out - self.edge * (t[0] * rest - edge_rise);
                            face(dx * sheet.thickness_m, dy, ky, self.edge, g);
                        }
                    }
                    added.push(heat);
                }
            }
        }
        let (operator, mut rhs) = assemble(&network, Some(&factors), &wet);
        for (r, heat) in rhs.iter_mut().zip(&added) {
            *r += heat;
        }
        let mut x = vec![0.0; rhs.len()];
        let params = CgParams { relative_tolerance: 1e-12, ..CgParams::default() };
        Preconditioned::new(&operator).solve(&rhs, &mut x, &params)?;
        let (mut wrong, mut whole) = (0.0, 0.0);
        for ((x, e), v) in x.iter().zip(&exact).zip(&volumes) {
            wrong += v * (x - e) * (x - e);
            whole += v * e * e;
        }
        Ok((wrong / whole).sqrt())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_problem_converges_at_second_order() {
        for problem in problems() {
            let levels = problem.study(4).unwrap();
            let last = levels[levels.len() - 1];
            let order = last.order.unwrap();
            assert!((order - 2.0).abs() < 0.1, "{}: {levels:?}", problem.name);
            assert!(last.error < 8e-3, "{}: {levels:?}", problem.name);
        }
    }
}
