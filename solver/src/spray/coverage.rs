//! Whether the spray covers the die, and how far each is from burn-out.

use super::{CellCurves, FluxField};
use crate::module::{Die, Rect};

/// What the nozzles lay on one die: geometry alone.
#[derive(Debug, Clone, PartialEq)]
pub struct DieCoverage {
    /// Name of the die.
    pub name: String,
    /// Footprint area, m².
    pub area_m2: f64,
    /// Share of it inside at least one cone, 0 to 1.
    pub wetted_share: f64,
    /// Liquid that lands on it, m³/s.
    pub flow_m3_s: f64,
    /// Area mean of the volumetric flux, dry parts counted as zero, m/s.
    pub mean_flux_m_s: f64,
    /// Smallest and largest flux of a cell, m/s.
    pub min_flux_m_s: f64,
    /// Largest, m/s.
    pub max_flux_m_s: f64,
    /// Evenness of the flux, 1 for an even one; see [`uniformity`]. 0 where nothing lands.
    pub uniformity: f64,
}

/// A connected part of a die on which nothing lands.
#[derive(Debug, Clone, PartialEq)]
pub struct DryPatch {
    /// Name of the die.
    pub die: String,
    /// Centroid of its dry area, m.
    pub centroid_m: [f64; 2],
    /// Dry area, m².
    pub area_m2: f64,
    /// Smallest rectangle of cells around it.
    pub bounds: Rect,
}

/// Heat into the spray on one die, from a solved surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DieHeat {
    /// Heat over mean rise of the surface above the nozzle temperature and area, W/(m²·K).
    pub mean_htc_W_m2K: f64,
    /// Area mean of the heat flux, W/m².
    pub mean_flux_W_m2: f64,
    /// Largest heat flux of a cell, W/m².
    pub peak_flux_W_m2: f64,
    /// Smallest local margin to burn-out, and where; `None` where nothing lands.
    pub critical_margin: Option<(f64, [f64; 2])>,
    /// Area on which the margin is below one, m².
    pub burnt_out_m2: f64,
    /// Critical heat flux of the die as a whole, in the form in which results are published: the
    /// wetted share times the lowest critical heat flux of a wetted cell (for one circle
    /// inscribed in a square, pi/4 times the value at its edge), W/m². A different question from
    /// the smallest local margin; 0 where nothing lands.
    pub heater_mean_critical_W_m2: f64,
}

/// Christiansen's uniformity of values over areas.
///
/// ```text
/// CU = 1 - sum |q - q_mean| A / (q_mean sum A)
/// ```
///
/// 1 where every value is the mean; it may fall below 0 where most of the liquid lands on little
/// of the area. `None` where the mean is zero.
///
/// Source: Christiansen 1942, as used for sprinklers and sprays.
pub fn uniformity(values_and_areas: impl Iterator<Item = (f64, f64)> + Clone) -> Option<f64> {
    let (sum, area) =
        values_and_areas.clone().fold((0.0, 0.0), |(sum, area), (q, a)| (sum + q * a, area + a));
    let mean = sum / area;
    if mean.is_nan() || mean <= 0.0 {
        return None;
    }
    let deviation: f64 = values_and_areas.map(|(q, a)| (q - mean).abs() * a).sum();
    Some(1.0 - deviation / sum)
}

/// Cells of a grid that belong to a rectangle whose edges are grid lines: by their centres.
#[derive(Debug, Clone, Copy)]
struct Cells {
    i0: usize,
    i1: usize,
    j0: usize,
    j1: usize,
}

impl Cells {
    fn of(field: &FluxField, rect: &Rect) -> Self {
        let range = |lines: &[f64], low: f64, high: f64| {
            let n = lines.len() - 1;
            let middles = |k: usize| 0.5 * (lines[k] + lines[k + 1]);
            let first = (0..n).find(|&k| middles(k) > low).unwrap_or(n);
            let end = (first..n).find(|&k| middles(k) > high).unwrap_or(n);
            (first, end)
        };
        let (i0, i1) = range(&field.x_lines_m, rect.x0_m, rect.x1_m);
        let (j0, j1) = range(&field.y_lines_m, rect.y0_m, rect.y1_m);
        Cells { i0, i1, j0, j1 }
    }

    fn iter(self, nx: usize) -> impl Iterator<Item = usize> + Clone {
        (self.j0..self.j1).flat_map(move |j| (self.i0..self.i1).map(move |i| j * nx + i))
    }
}

/// Coverage of one die. Its edges must be grid lines, as those of every mesh are.
pub fn die_coverage(field: &FluxField, die: &Die) -> DieCoverage {
    let cells = Cells::of(field, &die.rect);
    let (mut flow, mut wetted, mut area) = (0.0, 0.0, 0.0);
    let (mut low, mut high) = (f64::INFINITY, 0.0_f64);
    for cell in cells.iter(field.nx()) {
        let a = field.cell_area_m2(cell);
        let q = field.flux_m_s[cell];
        area += a;
        flow += q * a;
        wetted += field.wetted_share[cell] * a;
        low = low.min(q);
        high = high.max(q);
    }
    let pairs = cells.iter(field.nx()).map(|c| (field.flux_m_s[c], field.cell_area_m2(c)));
    DieCoverage {
        name: die.name.clone(),
        area_m2: area,
        wetted_share: (wetted / area).min(1.0),
        flow_m3_s: flow,
        mean_flux_m_s: flow / area,
        min_flux_m_s: if low.is_finite() { low } else { 0.0 },
        max_flux_m_s: high,
        uniformity: uniformity(pairs).unwrap_or(0.0),
    }
}

/// The dry patches of one die, largest first.
///
/// Cells at least half dry that share a side make a patch; a cell less than half dry goes with
/// the first patch beside it. Slivers that touch no such cell are counted in
/// [`DieCoverage::wetted_share`] but not listed.
pub fn dry_patches(field: &FluxField, die: &Die) -> Vec<DryPatch> {
    let cells = Cells::of(field, &die.rect);
    let (nx, ny) = (cells.i1 - cells.i0, cells.j1 - cells.j0);
    let plane = field.nx();
    let dry = |local: usize| {
        1.0 - field.wetted_share[(cells.j0 + local / nx) * plane + cells.i0 + local % nx]
    };
    let neighbours = |local: usize| {
        let (i, j) = (local % nx, local / nx);
        [
            (i > 0).then(|| local - 1),
            (i + 1 < nx).then(|| local + 1),
            (j > 0).then(|| local - nx),
            (j + 1 < ny).then(|| local + nx),
        ]
        .into_iter()
        .flatten()
    };
    let mut patch_of: Vec<Option<usize>> = vec![None; nx * ny];
    let mut patches = 0;
    let mut stack = Vec::new();
    for seed in 0..nx * ny {
        if patch_of[seed].is_some() || dry(seed) < 0.5 {
            continue;
        }
        patch_of[seed] = Some(patches);
        stack.push(seed);
        while let Some(local) = stack.pop() {
            for next in neighbours(local) {
                if patch_of[next].is_none() && dry(next) >= 0.5 {
                    patch_of[next] = Some(patches);
                    stack.push(next);
                }
            }
        }
        patches += 1;
    }
    // Partly wetted rims, from the patches as they stand: no rim cell joins two patches.
    let rims: Vec<(usize, usize)> = (0..nx * ny)
        .filter(|&local| patch_of[local].is_none() && dry(local) > 0.0)
        .filter_map(|local| Some((local, neighbours(local).find_map(|next| patch_of[next])?)))
        .collect();
    for (local, patch) in rims {
        patch_of[local] = Some(patch);
    }

    let mut sums = vec![[0.0; 3]; patches];
    let mut bounds = vec![[usize::MAX, 0, usize::MAX, 0]; patches];
    for local in 0..nx * ny {
        let Some(patch) = patch_of[local] else { continue };
        let (i, j) = (cells.i0 + local % nx, cells.j0 + local / nx);
        let area = dry(local) * field.cell_area_m2(j * plane + i);
        let middle = |lines: &[f64], k: usize| 0.5 * (lines[k] + lines[k + 1]);
        sums[patch][0] += area;
        sums[patch][1] += area * middle(&field.x_lines_m, i);
        sums[patch][2] += area * middle(&field.y_lines_m, j);
        let b = &mut bounds[patch];
        *b = [b[0].min(i), b[1].max(i + 1), b[2].min(j), b[3].max(j + 1)];
    }
    let mut list: Vec<DryPatch> = sums
        .iter()
        .zip(&bounds)
        .map(|(&[area, x, y], b)| DryPatch {
            die: die.name.clone(),
            centroid_m: [x / area, y / area],
            area_m2: area,
            bounds: Rect {
                x0_m: field.x_lines_m[b[0]],
                x1_m: field.x_lines_m[b[1]],
                y0_m: field.y_lines_m[b[2]],
                y1_m: field.y_lines_m[b[3]],
            },
        })
        .collect();
    list.sort_by(|a, b| b.area_m2.total_cmp(&a.area_m2));
    list
}

/// Heat and margin of one die from the solved surface: `rise_K` and `flux_W_m2` are the rise of
/// the surface above the nozzle temperature and the heat flux into the spray of every cell.
pub fn die_heat(
    field: &FluxField,
    curves: &CellCurves,
    die: &Die,
    rise_K: &[f64],
    flux_W_m2: &[f64],
) -> DieHeat {
    let cells = Cells::of(field, &die.rect);
    let nx = field.nx();
    let (mut heat, mut rise, mut area, mut wetted) = (0.0, 0.0, 0.0, 0.0);
    let (mut peak, mut burnt) = (f64::NEG_INFINITY, 0.0);
    let mut margin: Option<(f64, [f64; 2])> = None;
    let mut lowest_critical = f64::INFINITY;
    for cell in cells.iter(nx) {
        let a = field.cell_area_m2(cell);
        area += a;
        heat += flux_W_m2[cell] * a;
        rise += rise_K[cell] * a;
        wetted += field.wetted_share[cell] * a;
        peak = peak.max(flux_W_m2[cell]);
        if field.wetted_share[cell] > 0.0 {
            lowest_critical = lowest_critical.min(curves.curves[cell].critical_W_m2);
        }
        let Some(here) = curves.critical_margin(cell, rise_K[cell]) else { continue };
        if here < 1.0 {
            burnt += a * field.wetted_share[cell];
        }
        if margin.is_none_or(|(least, _)| here < least) {
            let (i, j) = (cell % nx, cell / nx);
            let (x, y) = (&field.x_lines_m, &field.y_lines_m);
            margin = Some((here, [0.5 * (x[i] + x[i + 1]), 0.5 * (y[j] + y[j + 1])]));
        }
    }
    DieHeat {
        mean_htc_W_m2K: heat / rise,
        mean_flux_W_m2: heat / area,
        peak_flux_W_m2: peak,
        critical_margin: margin,
        burnt_out_m2: burnt,
        heater_mean_critical_W_m2: if lowest_critical.is_finite() {
            wetted / area * lowest_critical
        } else {
            0.0
        },
    }
}

#[cfg(test)]
mod tests {
    use std::f64::consts::{FRAC_PI_4, PI};
    use std::sync::Arc;

    use super::super::testing::{coolant, die, nozzle, spray};
    use super::super::{Band, SprayModel, flux_on_grid};
    use super::*;
    use crate::library::fluids;

    fn lines(low: f64, high: f64, cells: usize) -> Vec<f64> {
        (0..=cells).map(|k| low + (high - low) * k as f64 / cells as f64).collect()
    }

    /// Geometry: the unit square's quarter outside the unit circle has the area 1 - pi/4
    /// (four of them are 21.46 % of the square) and its centroid at (1/2 - 1/3) / (1 - pi/4)
    /// from the centre along either side.
    #[test]
    fn circle_in_a_square_leaves_four_dry_corners_of_known_size_and_place() {
        let half = 0.00635;
        let square = die("D", [0.0, 0.0], [2.0 * half, 2.0 * half], 50.0);
        let standoff = half / 27.5f64.to_radians().tan();
        let nozzles = [nozzle([0.0, 0.0], standoff, 55.0, 6e-6)];
        for n in [40, 101] {
            let grid = lines(-half, half, n);
            let field = flux_on_grid(&nozzles, &[1e-4], &grid, &grid).unwrap();
            let coverage = die_coverage(&field, &square);
            assert!((coverage.wetted_share - FRAC_PI_4).abs() < 1e-9);
            assert!((coverage.flow_m3_s - 6e-6).abs() < 1e-15);
            assert!((coverage.mean_flux_m_s - FRAC_PI_4 * 0.047365).abs() < 1e-6);
            assert_eq!(coverage.min_flux_m_s, 0.0);
            let patches = dry_patches(&field, &square);
            assert_eq!(patches.len(), 4, "{n} cells");
            let corner = (1.0 - FRAC_PI_4) * half * half;
            let centroid = (0.5 - 1.0 / 3.0) / (1.0 - FRAC_PI_4) * half;
            for patch in &patches {
                assert!((patch.area_m2 / corner - 1.0).abs() < 0.03, "{}", patch.area_m2 / corner);
                for c in patch.centroid_m {
                    assert!((c.abs() / centroid - 1.0).abs() < 0.02, "{c} {centroid}");
                }
            }
        }
    }

    #[test]
    fn uniformity_is_christiansens() {
        // Values 3, 5 and 4 on equal areas: mean 4, mean deviation 2/3.
        let values = [(3.0, 1.0), (5.0, 1.0), (4.0, 1.0)];
        assert!((uniformity(values.into_iter()).unwrap() - (1.0 - 2.0 / 12.0)).abs() < 1e-15);
        assert!(uniformity([(0.0, 1.0)].into_iter()).is_none());
    }

    #[test]
    fn heat_of_a_die_is_summed_and_its_weakest_cell_is_found() {
        let square = die("D", [0.010, 0.010], [0.014, 0.014], 50.0);
        let nozzles = vec![nozzle([0.010, 0.010], 0.012, 75.0, 2e-6)];
        let model = SprayModel::new(&spray(nozzles), &coolant("perfluorohexane", 25.0)).unwrap();
        let grid: Vec<f64> = lines(0.0, 0.003, 6)
            .into_iter()
            .chain(lines(0.003, 0.017, 28).into_iter().skip(1))
            .collect();
        let field = model.flux(&grid, &grid).unwrap();
        let curves = model.curves(&field, Band::Nominal);
        let rise = vec![30.0; field.flux_m_s.len()];
        let flux: Vec<f64> = (0..rise.len()).map(|c| curves.flux(c, 30.0).0).collect();
        let heat = die_heat(&field, &curves, &square, &rise, &flux);
        assert!((heat.mean_htc_W_m2K * 30.0 / heat.mean_flux_W_m2 - 1.0).abs() < 1e-12);
        assert!(heat.peak_flux_W_m2 > heat.mean_flux_W_m2);
        let (margin, _) = heat.critical_margin.unwrap();
        assert!(margin > 1.0 && heat.burnt_out_m2 == 0.0);
        // 60 K hotter nothing escapes: all that is wetted is burnt out.
        let hot = vec![90.0; rise.len()];
        let heat = die_heat(&field, &curves, &square, &hot, &flux);
        let coverage = die_coverage(&field, &square);
        assert!(heat.critical_margin.unwrap().0 < 1.0);
        assert!(
            (heat.burnt_out_m2 / (coverage.wetted_share * coverage.area_m2) - 1.0).abs() < 1e-9
        );
    }

    /// The die-mean form falls back to the published one: pi / 4 of the value at the edge.
    #[test]
    fn heater_mean_of_one_inscribed_circle_is_the_published_form() {
        let half = 0.00635;
        let square = die("D", [0.0, 0.0], [2.0 * half, 2.0 * half], 50.0);
        let standoff = half / 27.5f64.to_radians().tan();
        let mut coolant = coolant("perfluorohexane", 25.0);
        coolant.inlet_K = coolant
            .fluid
            .as_ref()
            .map(|fluid| fluid.saturation_temperature_K(coolant.pressure_Pa))
            .unwrap();
        let model =
            SprayModel::new(&spray(vec![nozzle([0.0, 0.0], standoff, 55.0, 6e-6)]), &coolant)
                .unwrap();
        let grid = lines(-half, half, 400);
        let field = model.flux(&grid, &grid).unwrap();
        let curves = model.curves(&field, Band::Nominal);
        let rise = vec![20.0; field.flux_m_s.len()];
        let flux = vec![1e5; field.flux_m_s.len()];
        let heat = die_heat(&field, &curves, &square, &rise, &flux);
        let published = super::super::critical_heat_flux::heater_mean(
            &model.saturated,
            6e-6 / (PI * half * half),
            model.drop_sizes_m[0],
            0.0,
            27.5f64.to_radians(),
        );
        let ratio = heat.heater_mean_critical_W_m2 / published;
        assert!((ratio - 1.0).abs() < 3e-3, "{ratio}");
    }

    /// Facts of the trade: common practice, no source. A 100 W die at 45 W/cm² is about
    /// 2.2 cm²; sixteen US gallons a minute shared by 64 modules with four such die under four
    /// nozzles each and four die of 40 W under one nozzle each keep every die below burn-out.
    #[test]
    fn the_usual_flow_keeps_the_usual_die_below_burn_out() {
        let area_cm2: f64 = 100.0 / 45.0;
        assert!((area_cm2 - 2.2).abs() < 0.05);
        let side = (area_cm2 * 1e-4).sqrt();
        let gallon_m3 = 3.785_411_784e-3;
        let flow = 16.0 * gallon_m3 / 60.0 / 64.0 / 20.0;
        let quarter = 0.25 * side;
        let standoff = 1.25 * quarter / 27.5f64.to_radians().tan();
        let mut nozzles: Vec<_> = [[-1.0, -1.0], [1.0, -1.0], [-1.0, 1.0], [1.0, 1.0]]
            .map(|[x, y]| nozzle([x * quarter, y * quarter], standoff, 55.0, flow))
            .into();
        // A die of 40 W and 9.4 mm (45 W/cm²) beside it under one nozzle of its own.
        let small_side = (40.0 / 45.0 * 1e-4f64).sqrt();
        let reach = 1.25 * 0.5 * small_side / 27.5f64.to_radians().tan();
        nozzles.push(nozzle([0.02, 0.0], reach, 55.0, flow));
        let big = die("big", [0.0, 0.0], [side, side], 100.0);
        let small = die("small", [0.02, 0.0], [small_side, small_side], 40.0);
        let coolant = coolant("perfluorohexane", 25.0);
        assert_eq!(coolant.fluid.as_ref().map(|f| f.name.as_str()), Some("perfluorohexane"));
        let model = SprayModel::new(&spray(nozzles), &coolant).unwrap();
        for die in [&big, &small] {
            let r = die.rect;
            let (x, y) = (lines(r.x0_m, r.x1_m, 60), lines(r.y0_m, r.y1_m, 60));
            let field = model.flux(&x, &y).unwrap();
            let curves = model.curves(&field, Band::Nominal);
            // An evenly loaded wetted area carries all of the power.
            let coverage = die_coverage(&field, die);
            let load = die.power_W / (coverage.wetted_share * coverage.area_m2);
            let lowest = (0..field.flux_m_s.len())
                .filter(|&c| field.wetted_share[c] > 0.0)
                .map(|c| curves.curves[c].critical_W_m2)
                .fold(f64::INFINITY, f64::min);
            assert!(coverage.wetted_share > 0.9, "{}: {coverage:?}", die.name);
            assert!(lowest > 1.2 * load, "{}: {lowest} over {load}", die.name);
        }
    }

    #[test]
    fn an_unknown_liquid_and_a_low_flux_widen_the_bands() {
        let mut own = fluids::by_name("methanol").unwrap();
        own.name = "my-liquid".to_owned();
        let mut coolant = coolant("methanol", 25.0);
        coolant.fluid = Some(Arc::new(own));
        let model = SprayModel::new(&spray(vec![nozzle([0.01, 0.01], 0.01, 55.0, 1e-6)]), &coolant)
            .unwrap();
        let grid = lines(0.0, 0.02, 20);
        let field = model.flux(&grid, &grid).unwrap();
        let notes = model.notes(&field);
        assert!(
            notes
                .iter()
                .filter(|note| note.name != "volumetric flux of a full cone")
                .all(|n| !n.in_range)
        );
        assert!(model.warnings().iter().any(|w| w.contains("my-liquid")));
        let (low, mid, high) = (
            model.curves(&field, Band::Unfavourable),
            model.curves(&field, Band::Nominal),
            model.curves(&field, Band::Favourable),
        );
        let centre = 10 * 20 + 10;
        for rise in [5.0, 30.0, 60.0, 150.0] {
            let [a, b, c] = [&low, &mid, &high].map(|curves| curves.flux(centre, rise).0);
            assert!(a < b && b < c, "{rise}: {a} {b} {c}");
        }
    }
}
