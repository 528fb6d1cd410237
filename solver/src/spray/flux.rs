//! The volumetric flux that the nozzles lay down, integrated over the cells of a grid.

use std::sync::Arc;

use rayon::prelude::*;

use super::SprayError;
use super::band::{Source, fill_band};
use super::clipping::{Clipper, Part};
use super::footprint::Footprint;
use crate::module::{Nozzle, Rect};

/// Rows of cells that one task works on.
const BAND_ROWS: usize = 16;

/// Where the flow of one nozzle goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Landing {
    /// Flow of the nozzle (clean flow times its flow factor), m³/s.
    pub flow_m3_s: f64,
    /// The part of it that lands inside the grid, m³/s.
    pub landed_m3_s: f64,
    /// Drop size given for the nozzle, m.
    pub drop_size_m: f64,
}

impl Landing {
    /// The part that misses, m³/s.
    pub fn missed_m3_s(&self) -> f64 {
        self.flow_m3_s - self.landed_m3_s
    }
}

/// Volumetric flux on a rectilinear grid; cell `(i, j)` is entry `j * nx + i`, y up.
#[derive(Debug, Clone)]
pub struct FluxField {
    /// Grid lines along x, m, ascending, `nx + 1` entries.
    pub x_lines_m: Arc<[f64]>,
    /// Grid lines along y, m, ascending, `ny + 1` entries.
    pub y_lines_m: Arc<[f64]>,
    /// Liquid that lands on the cell per area of the whole cell, m³/(m²·s).
    pub flux_m_s: Vec<f64>,
    /// Share of the cell's area inside at least one cone, 0 to 1.
    pub wetted_share: Vec<f64>,
    /// Flux over drop size summed over the nozzles, 1/s; `None` where all drops are alike.
    flux_over_drop_1_s: Option<Vec<f64>>,
    /// One entry a nozzle.
    pub landings: Vec<Landing>,
}

impl FluxField {
    /// Cells along x.
    pub fn nx(&self) -> usize {
        self.x_lines_m.len() - 1
    }

    /// Cells along y.
    pub fn ny(&self) -> usize {
        self.y_lines_m.len() - 1
    }

    /// Flow of all nozzles, m³/s.
    pub fn flow_m3_s(&self) -> f64 {
        self.landings.iter().fold(0.0, |sum, l| sum + l.flow_m3_s)
    }

    /// Flow that lands inside the grid, m³/s.
    pub fn landed_m3_s(&self) -> f64 {
        self.landings.iter().fold(0.0, |sum, l| sum + l.landed_m3_s)
    }

    /// Share of the flow that misses the grid, 0 to 1; 0 without flow.
    pub fn missed_share(&self) -> f64 {
        let flow = self.flow_m3_s();
        if flow > 0.0 { (1.0 - self.landed_m3_s() / flow).max(0.0) } else { 0.0 }
    }

    /// Flux on the wetted part of a cell, m/s; 0 where nothing lands.
    pub fn wetted_flux_m_s(&self, cell: usize) -> f64 {
        if self.wetted_share[cell] > 0.0 {
            self.flux_m_s[cell] / self.wetted_share[cell]
        } else {
            0.0
        }
    }

    /// Sauter mean diameter of the drops that land on a cell, m: total volume over total
    /// volume divided by diameter, which is how the mean of a mixture follows from its
    /// definition. `None` where nothing lands.
    pub fn drop_size_m(&self, cell: usize) -> Option<f64> {
        if self.flux_m_s[cell] <= 0.0 {
            return None;
        }
        match &self.flux_over_drop_1_s {
            Some(sum) => Some(self.flux_m_s[cell] / sum[cell]),
            None => self.landings.first().map(|l| l.drop_size_m),
        }
    }

    /// The field with every nozzle's flow multiplied. Where liquid lands does not depend on how
    /// much there is, nor do the drops at a held pressure drop.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> FluxField {
        let mut field = self.clone();
        let over_drop = field.flux_over_drop_1_s.iter_mut().flatten();
        field.flux_m_s.iter_mut().chain(over_drop).for_each(|flux| *flux *= factor);
        for landing in &mut field.landings {
            landing.flow_m3_s *= factor;
            landing.landed_m3_s *= factor;
        }
        field
    }

    /// Area of a cell, m².
    pub fn cell_area_m2(&self, cell: usize) -> f64 {
        let (i, j) = (cell % self.nx(), cell / self.nx());
        (self.x_lines_m[i + 1] - self.x_lines_m[i]) * (self.y_lines_m[j + 1] - self.y_lines_m[j])
    }
}

/// Volumetric flux of full-cone point-source sprays on the cells between grid lines.
///
/// Inside a cone of half angle g whose orifice stands H above the plane, at the distance r from
/// its foot, tilted or not,
///
/// ```text
/// Q'' = Q H / [2 pi (1 - cos g) (H² + r²)^(3/2)]
/// ```
///
/// which is Q times the solid angle of a surface element over that of the cone. The integral
/// over a cell wholly inside the cone is the solid angle of a rectangle,
///
/// ```text
/// F(u1, v1) - F(u0, v1) - F(u1, v0) + F(u0, v0),   F = atan(u v / (H sqrt(H² + u² + v²)))
/// ```
///
/// and that over a cell cut by the outline is exact too (closed forms on the sphere around the orifice): nothing is
/// sampled, whatever the grid. Fluxes of several nozzles add. The wetted share of a cell cut by
/// several outlines is found from 64 strips with exact ends (within about 0.1 % of the cell).
///
/// `drop_sizes_m` has one entry a nozzle and serves [`FluxField::drop_size_m`] only.
///
/// The result does not depend on the number of threads.
///
/// Not modelled: drops of neighbouring cones that collide, the film between sprays, and
/// patterns that are hollow or peaked (20 % or more in practice).
///
/// # Errors
/// Where a nozzle's cone, stand-off or flow makes no sense; see [`SprayError`].
///
/// # Panics
/// If there are not as many drop sizes as nozzles, or fewer than two lines either way.
///
/// # Source
/// Idea: Mudawar and Estes, J. Heat Transfer 118 (1996) 672-679, from memory; equations derived.
pub fn flux_on_grid(
    nozzles: &[Nozzle],
    drop_sizes_m: &[f64],
    x_lines_m: &[f64],
    y_lines_m: &[f64],
) -> Result<FluxField, SprayError> {
    assert_eq!(nozzles.len(), drop_sizes_m.len(), "one drop size a nozzle");
    assert!(x_lines_m.len() >= 2 && y_lines_m.len() >= 2, "a grid has at least one cell");
    let footprints: Vec<Footprint> = nozzles.iter().map(Footprint::of).collect::<Result<_, _>>()?;
    for nozzle in nozzles {
        let flow = nozzle.flow_m3_s * nozzle.flow_factor;
        if !(flow.is_finite() && flow >= 0.0) {
            return Err(SprayError::NozzleQuantity {
                nozzle: nozzle.name.clone(),
                quantity: "flow (m3/s)",
                value: flow,
            });
        }
    }
    let alike = drop_sizes_m.windows(2).all(|w| w[0] == w[1]);
    let (nx, ny) = (x_lines_m.len() - 1, y_lines_m.len() - 1);
    let sources: Vec<Source> = nozzles
        .iter()
        .zip(&footprints)
        .zip(drop_sizes_m)
        .filter(|((nozzle, _), _)| nozzle.flow_m3_s * nozzle.flow_factor > 0.0)
        .map(|((nozzle, footprint), drop)| Source::new(nozzle, footprint, 1.0 / drop, x_lines_m))
        .collect();

    let mut flux = vec![0.0; nx * ny];
    let mut wetted = vec![0.0; nx * ny];
    let mut over_drop = vec![0.0; if alike { 0 } else { nx * ny }];
    let band = BAND_ROWS * nx;
    let bands = flux.par_chunks_mut(band).zip(wetted.par_chunks_mut(band));
    if alike {
        bands.enumerate().for_each(|(b, (flux, wetted))| {
            fill_band(&sources, x_lines_m, y_lines_m, b * BAND_ROWS, flux, wetted, &mut []);
        });
    } else {
        bands.zip(over_drop.par_chunks_mut(band)).enumerate().for_each(
            |(b, ((flux, wetted), over_drop))| {
                fill_band(&sources, x_lines_m, y_lines_m, b * BAND_ROWS, flux, wetted, over_drop);
            },
        );
    }

    let outline =
        Rect { x0_m: x_lines_m[0], y0_m: y_lines_m[0], x1_m: x_lines_m[nx], y1_m: y_lines_m[ny] };
    let landings = nozzles
        .iter()
        .zip(&footprints)
        .zip(drop_sizes_m)
        .map(|((nozzle, footprint), &drop_size_m)| {
            let flow_m3_s = nozzle.flow_m3_s * nozzle.flow_factor;
            let share = landing_on(footprint, &outline).solid_angle_sr / footprint.solid_angle_sr();
            Landing { flow_m3_s, landed_m3_s: flow_m3_s * share.min(1.0), drop_size_m }
        })
        .collect();
    Ok(FluxField {
        x_lines_m: x_lines_m.into(),
        y_lines_m: y_lines_m.into(),
        flux_m_s: flux,
        wetted_share: wetted,
        flux_over_drop_1_s: (!alike).then_some(over_drop),
        landings,
    })
}

/// The part of a footprint that lies in a rectangle of the module.
pub fn landing_on(footprint: &Footprint, rect: &Rect) -> Part {
    let clipper = Clipper::new(footprint);
    let [x, y] = footprint.foot_m;
    let u = [clipper.line_u(rect.x0_m - x), clipper.line_u(rect.x1_m - x)];
    let v = [clipper.line_v(rect.y0_m - y), clipper.line_v(rect.y1_m - y)];
    clipper.rectangle([&u[0], &u[1]], [&v[0], &v[1]])
}

#[cfg(test)]
mod tests {
    use super::super::testing::nozzle;
    use super::*;

    fn lines(low: f64, high: f64, cells: usize) -> Vec<f64> {
        (0..=cells).map(|k| low + (high - low) * k as f64 / cells as f64).collect()
    }

    /// A grid of unequal cells.
    fn graded(low: f64, high: f64, cells: usize) -> Vec<f64> {
        let warp = |t: f64| t + 0.11 * (3.0 * std::f64::consts::PI * t).sin() / 3.0;
        lines(0.0, 1.0, cells).iter().map(|&t| low + (high - low) * warp(t)).collect()
    }

    fn cells_sum(field: &FluxField) -> f64 {
        (0..field.flux_m_s.len()).map(|c| field.flux_m_s[c] * field.cell_area_m2(c)).sum()
    }

    fn wetted_area(field: &FluxField) -> f64 {
        (0..field.flux_m_s.len()).map(|c| field.wetted_share[c] * field.cell_area_m2(c)).sum()
    }

    fn tilted(at_mm: [f64; 2], tilt_deg: [f64; 2], cone_deg: f64) -> Nozzle {
        let mut nozzle = nozzle(at_mm.map(|v| v * 1e-3), 0.010, cone_deg, 0.85e-6);
        nozzle.tilt_rad = tilt_deg.map(f64::to_radians);
        nozzle
    }

    /// Worked by hand: 6 mL/s, 55°, circle inscribed in a 12.7 mm square.
    #[test]
    fn centre_edge_and_mean_are_those_of_the_worked_spray() {
        let standoff = 0.00635 / 27.5f64.to_radians().tan();
        assert!((standoff - 12.1982e-3).abs() < 5e-8);
        let spray = [nozzle([0.0, 0.0], standoff, 55.0, 6e-6)];
        let mean = 6e-6 / Footprint::of(&spray[0]).unwrap().area_m2();
        assert!((mean - 0.047365).abs() < 5e-7);
        let at = |x: f64| {
            let cell = [x - 1e-7, x + 1e-7];
            flux_on_grid(&spray, &[1e-4], &cell, &[-1e-7, 1e-7]).unwrap().flux_m_s[0]
        };
        assert!((at(0.0) - 0.056799).abs() < 1e-6, "{}", at(0.0));
        assert!((at(0.00635 - 2e-7) - 0.039639).abs() < 2e-6);
        assert_eq!(at(0.00635 + 2e-7), 0.0);
    }

    /// Worked by hand: midway between two such sprays, 12.7 mm apart.
    #[test]
    fn fluxes_of_two_sprays_add_to_the_worked_value() {
        let standoff = 0.00635 / 27.5f64.to_radians().tan();
        // A hair closer, so that the midpoint lies inside both cones.
        let half = 0.00635 - 1e-6;
        let spray = [-half, half].map(|x| nozzle([x, 0.0], standoff, 55.0, 6e-6));
        let cell = [-1e-7, 1e-7];
        let field = flux_on_grid(&spray, &[1e-4; 2], &cell, &cell).unwrap();
        assert!((field.flux_m_s[0] - 0.079279).abs() < 2e-5, "{}", field.flux_m_s[0]);
    }

    #[test]
    fn what_lands_and_what_misses_add_up_to_the_flow_on_any_grid() {
        let nozzles = [
            tilted([3.0, 4.0], [0.0, 0.0], 55.0),
            tilted([20.0, 15.0], [12.0, -25.0], 60.0),
            tilted([-4.0, 11.0], [-30.0, 5.0], 70.0),
            tilted([60.0, 60.0], [0.0, 0.0], 30.0),
            tilted([12.0, 9.0], [1.0, 2.0], 0.5),
        ];
        let drops = [1e-4, 1.2e-4, 0.9e-4, 1e-4, 2e-4];
        let mut landed = Vec::new();
        for (nx, ny) in [(1, 1), (7, 3), (41, 64), (180, 131)] {
            let (x, y) = (graded(0.0, 0.030, nx), graded(0.0, 0.021, ny));
            let field = flux_on_grid(&nozzles, &drops, &x, &y).unwrap();
            let sum = cells_sum(&field);
            assert!((sum / field.landed_m3_s() - 1.0).abs() < 1e-11, "{nx} x {ny}");
            assert!((field.flow_m3_s() - 5.0 * 0.85e-6).abs() < 1e-18);
            assert!(field.missed_share() > 0.25 && field.missed_share() < 0.75);
            assert!(field.landings[3].landed_m3_s == 0.0);
            assert!(field.flux_m_s.iter().all(|&q| q >= 0.0));
            landed.push(field.landings.clone());
        }
        for other in &landed[1..] {
            for (a, b) in landed[0].iter().zip(other) {
                assert!((a.landed_m3_s - b.landed_m3_s).abs() < 1e-18);
            }
        }
    }

    #[test]
    fn cells_of_a_coarse_grid_are_the_sums_of_fine_cells() {
        let nozzles =
            [tilted([9.0, 8.0], [10.0, -15.0], 50.0), tilted([14.0, 8.0], [0.0, 0.0], 55.0)];
        let fine_x = graded(0.0, 0.024, 60);
        let fine_y = graded(0.0, 0.018, 44);
        let coarse_x: Vec<f64> = fine_x.iter().copied().step_by(4).collect();
        let coarse_y: Vec<f64> = fine_y.iter().copied().step_by(4).collect();
        let fine = flux_on_grid(&nozzles, &[1e-4; 2], &fine_x, &fine_y).unwrap();
        let coarse = flux_on_grid(&nozzles, &[1e-4; 2], &coarse_x, &coarse_y).unwrap();
        for j in 0..11 {
            for i in 0..15 {
                let (mut flow, mut wetted) = (0.0, 0.0);
                for b in 0..4 {
                    for a in 0..4 {
                        let cell = (4 * j + b) * 60 + 4 * i + a;
                        flow += fine.flux_m_s[cell] * fine.cell_area_m2(cell);
                        wetted += fine.wetted_share[cell] * fine.cell_area_m2(cell);
                    }
                }
                let cell = j * 15 + i;
                let area = coarse.cell_area_m2(cell);
                assert!((flow - coarse.flux_m_s[cell] * area).abs() < 1e-16);
                assert!((wetted / area - coarse.wetted_share[cell]).abs() < 2e-3);
            }
        }
    }

    #[test]
    fn wetted_area_is_that_of_the_ellipse_and_of_the_union_of_two() {
        let one = [tilted([12.0, 9.0], [10.0, -15.0], 50.0)];
        let area = Footprint::of(&one[0]).unwrap().area_m2();
        for n in [1, 5, 37] {
            let (x, y) = (graded(0.0, 0.030, n), graded(0.0, 0.030, n + 1));
            let field = flux_on_grid(&one, &[1e-4], &x, &y).unwrap();
            assert!((wetted_area(&field) / area - 1.0).abs() < 1e-11);
        }
        // Two equal circles of radius R whose centres are R apart: the union is 2 pi R² minus
        // the lens, R² (2 pi / 3 - sqrt(3) / 2).
        let radius = 0.010 * 27.5f64.to_radians().tan();
        let two = [tilted([12.0, 12.0], [0.0; 2], 55.0), {
            let mut other = tilted([12.0, 12.0], [0.0; 2], 55.0);
            other.at_m[0] += radius;
            other
        }];
        let pi = std::f64::consts::PI;
        let union = radius * radius * (2.0 * pi - (2.0 * pi / 3.0 - 0.75f64.sqrt()));
        for n in [2, 30] {
            let grid = lines(0.0, 0.030, n);
            let field = flux_on_grid(&two, &[1e-4; 2], &grid, &grid).unwrap();
            let got = wetted_area(&field);
            assert!((got / union - 1.0).abs() < 2e-3, "{n}: {got} {union}");
        }
    }

    #[test]
    fn mirrored_pattern_gives_the_mirrored_flux() {
        let left = [tilted([7.0, 8.0], [5.0, 15.0], 50.0)];
        let right = [tilted([17.0, 8.0], [5.0, -15.0], 50.0)];
        let (x, y) = (lines(0.0, 0.024, 48), lines(0.0, 0.018, 31));
        let a = flux_on_grid(&left, &[1e-4], &x, &y).unwrap();
        let b = flux_on_grid(&right, &[1e-4], &x, &y).unwrap();
        let peak = a.flux_m_s.iter().copied().fold(0.0, f64::max);
        for j in 0..31 {
            for i in 0..48 {
                let (p, q) = (j * 48 + i, j * 48 + 47 - i);
                assert!((a.flux_m_s[p] - b.flux_m_s[q]).abs() < 1e-10 * peak);
                assert!((a.wetted_share[p] - b.wetted_share[q]).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn drops_of_two_nozzles_mix_by_volume_over_diameter() {
        let nozzles = [tilted([10.0, 10.0], [0.0; 2], 60.0), {
            let mut other = tilted([10.0, 10.0], [0.0; 2], 60.0);
            other.flow_factor = 0.5;
            other
        }];
        let grid = [0.009, 0.011];
        let field = flux_on_grid(&nozzles, &[100e-6, 200e-6], &grid, &grid).unwrap();
        // 1.5 V over (1 / 100 + 0.5 / 200) V per µm.
        assert!((field.drop_size_m(0).unwrap() - 120e-6).abs() < 1e-15);
        let far = flux_on_grid(&nozzles, &[100e-6, 200e-6], &[0.5, 0.6], &grid).unwrap();
        assert!(far.drop_size_m(0).is_none());
    }

    #[test]
    fn number_of_threads_does_not_change_a_bit() {
        let nozzles: Vec<Nozzle> = (0..12)
            .map(|k| tilted([f64::from(k) * 2.1, f64::from(k % 5) * 4.3], [3.0, -7.0], 58.0))
            .collect();
        let drops: Vec<f64> = (0..12).map(|k| 1e-4 + 1e-6 * f64::from(k)).collect();
        let (x, y) = (graded(0.0, 0.026, 150), graded(0.0, 0.019, 117));
        let run = |threads: usize| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            pool.install(|| flux_on_grid(&nozzles, &drops, &x, &y).unwrap())
        };
        let (one, three) = (run(1), run(3));
        assert_eq!(one.flux_m_s, three.flux_m_s);
        assert_eq!(one.wetted_share, three.wetted_share);
        assert_eq!(one.flux_over_drop_1_s, three.flux_over_drop_1_s);
    }

    #[test]
    fn blocked_nozzle_lays_nothing_down() {
        let mut blocked = tilted([10.0, 10.0], [0.0; 2], 55.0);
        blocked.flow_factor = 0.0;
        let grid = lines(0.0, 0.02, 10);
        let field = flux_on_grid(&[blocked], &[1e-4], &grid, &grid).unwrap();
        assert!(field.flux_m_s.iter().chain(&field.wetted_share).all(|&v| v == 0.0));
        assert_eq!(field.missed_share(), 0.0);
    }
}
