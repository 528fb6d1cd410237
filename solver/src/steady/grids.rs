//! Families of plane grids: one density of lines, halved and doubled without moving a line.

use std::sync::Arc;

use super::GridSolution;
use crate::conduction::Network;
use crate::mesh::{
    Density, PlaneGrid, Slicing, edges_along, fill_interval, sheets_of_island, sheets_of_substrate,
    snapped_edges,
};
use crate::module::{GridMap, Module, Rect, Spray};

/// Neighbouring cells may differ in width by about this share: the size may grow by this many
/// metres a metre.
const GROWTH: f64 = 0.5;
/// A cell is never wider than this share of the module.
const WIDEST_SHARE: f64 = 1.0 / 12.0;
/// A cell that the density asks for is never narrower than this share of the module.
const NARROWEST_SHARE: f64 = 1.0 / 40_000.0;
/// How strongly the cell width follows curvature; see [`GridFamily::fitted`].
const CURVATURE_EXPONENT: f64 = 0.5;
/// Widest cell inside a die as a share of its width, before `scale`.
const DIE_SHARE: f64 = 1.0 / 12.0;
/// A power map with at most this many boxes along its longer side has its lines on the grid.
const MOST_SNAPPED_BOXES: usize = 8;
/// Widest cell inside a block as a share of its width, before `scale`.
const BLOCK_SHARE: f64 = 1.0 / 8.0;
/// Cell that curvature alone asks for at the least, as a share of the thinnest die: where the
/// temperature has a corner its curvature grows without end as the grid that shows it is refined.
const FINEST_SHARE: f64 = 0.1;
/// Cell width at the edge of a die as a share of its thickness, before `scale`.
const EDGE_SHARE: f64 = 0.2;
/// Share of the module's size that a cell has where a cell of that width sags by the accuracy.
const REFERENCE_SHARE: f64 = 0.02;

/// Lines of one axis: the snapped edges, and pieces between each two in a number that can be
/// halved twice.
#[derive(Debug, Clone)]
struct Axis {
    edges_m: Vec<f64>,
    density: Density,
    pieces: Vec<usize>,
}

impl Axis {
    /// `multiple`: between two edges lies a multiple of so many cells.
    fn new(edges_m: Vec<f64>, density: Density, multiple: usize) -> Axis {
        let pieces = edges_m
            .windows(2)
            .map(|pair| {
                let cells = density.cells_up_to(pair[1]) - density.cells_up_to(pair[0]);
                // A whole number of cells that rounding has lifted is still that number.
                multiple * ((cells * (1.0 - 1e-9) / multiple as f64).ceil() as usize).max(1)
            })
            .collect();
        Axis { edges_m, density, pieces }
    }

    /// Cells between two edges, given by their positions, m.
    fn cells_between(&self, ends_m: [f64; 2]) -> usize {
        // An edge that was merged with its twin lies off it by less than any interval is wide.
        let nearest = |at: f64| {
            let k = self.edges_m.partition_point(|&edge| edge < at).min(self.edges_m.len() - 1);
            if k > 0 && at - self.edges_m[k - 1] < self.edges_m[k] - at { k - 1 } else { k }
        };
        self.pieces[nearest(ends_m[0])..nearest(ends_m[1])].iter().sum()
    }

    fn lines(&self, divide_by: usize) -> Arc<[f64]> {
        let mut lines = vec![self.edges_m[0]];
        for (pair, pieces) in self.edges_m.windows(2).zip(&self.pieces) {
            fill_interval(&mut lines, &self.density, pair[0], pair[1], pieces / divide_by);
        }
        lines.into()
    }
}

/// Factors on the cell widths that the curvature asks for: refinement goes where the temperatures
/// that are not yet known well enough are.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Scales {
    /// Under each source, in their order: die, then heaters.
    pub sources: Vec<f64>,
    /// Everywhere else.
    pub elsewhere: f64,
}

impl Scales {
    /// No factor anywhere.
    pub(super) fn one(module: &Module) -> Scales {
        Scales { sources: vec![1.0; module.die.len() + module.heaters.len()], elsewhere: 1.0 }
    }

    /// All multiplied.
    pub(super) fn times(&mut self, factor: f64) {
        self.sources.iter_mut().for_each(|scale| *scale *= factor);
        self.elsewhere *= factor;
    }

    /// The smallest factor of any source whose footprint covers x along `axis`.
    fn at(&self, module: &Module, axis: usize, x: f64) -> f64 {
        let rects =
            module.die.iter().map(|d| &d.rect).chain(module.heaters.iter().map(|h| &h.rect));
        rects
            .zip(&self.sources)
            .filter(|(rect, _)| {
                let [low, high] = along(rect, axis);
                low <= x && x <= high
            })
            .map(|(_, scale)| *scale)
            .reduce(f64::min)
            .unwrap_or(self.elsewhere)
    }
}

/// Both ends of a rectangle along one axis, m.
fn along(rect: &Rect, axis: usize) -> [f64; 2] {
    if axis == 0 { [rect.x0_m, rect.x1_m] } else { [rect.y0_m, rect.y1_m] }
}

/// A plane grid that can be halved twice (once after [`GridFamily::halved_once`]).
#[derive(Debug, Clone)]
pub(super) struct GridFamily {
    axes: [Axis; 2],
}

impl GridFamily {
    /// Cells of at most `cell_m` everywhere.
    pub(super) fn even(module: &Module, cell_m: f64) -> GridFamily {
        GridFamily::from_densities(module, |edges, _| Density::from_size(edges, |_| cell_m))
    }

    /// A first grid, before anything is known of the temperatures: fine at the edges.
    pub(super) fn first(module: &Module) -> GridFamily {
        GridFamily::from_densities(module, |edges, axis| {
            let length = module.size_m[axis];
            Density::from_size(edges, |x| {
                let distance = edges.iter().map(|e| (x - e).abs()).fold(f64::INFINITY, f64::min);
                (length / 60.0 + GROWTH * distance).min(length * WIDEST_SHARE)
            })
        })
    }

    /// A grid fitted to the curvature of a former solution, with bounded growth of the cells:
    ///
    /// ```text
    /// width = scale L (8 accuracy / (L² |T''|))^e,   L = REFERENCE_SHARE * module size
    /// ```
    ///
    /// e = 1/2 gives every cell the same sag of temperature over its width. Near the edges of die
    /// the cells are finer than that: see [`edge_size`].
    pub(super) fn fitted(module: &Module, solution: &GridSolution, scales: &Scales) -> GridFamily {
        let curvature = curvature(module, solution);
        let accuracy_K = module.mesh.accuracy_K;
        let finest = FINEST_SHARE * smallest_thickness(module);
        GridFamily::from_densities(module, |_, axis| {
            let lines = [&solution.mesh.plane.x_lines_m, &solution.mesh.plane.y_lines_m][axis];
            let length = module.size_m[axis];
            let reference = REFERENCE_SHARE * length;
            let mut nodes = vec![lines[0]];
            nodes.extend(lines.windows(2).map(|w| 0.5 * (w[0] + w[1])));
            nodes.push(lines[lines.len() - 1]);
            let centres = &nodes[1..nodes.len() - 1];
            let mut sizes: Vec<f64> = curvature[axis]
                .iter()
                .zip(centres)
                .map(|(k, &x)| {
                    let scale = scales.at(module, axis, x);
                    let sags = 8.0 * accuracy_K / (reference * reference * k.max(1e-30));
                    (scale * reference * sags.powf(CURVATURE_EXPONENT))
                        .max(scale * finest)
                        .min(scale * edge_size(module, axis, x))
                        .clamp(length * NARROWEST_SHARE, length * WIDEST_SHARE)
                })
                .collect();
            sizes.insert(0, sizes[0]);
            sizes.push(sizes[sizes.len() - 1]);
            for k in 1..sizes.len() {
                sizes[k] = sizes[k].min(sizes[k - 1] + GROWTH * (nodes[k] - nodes[k - 1]));
            }
            for k in (0..sizes.len() - 1).rev() {
                sizes[k] = sizes[k].min(sizes[k + 1] + GROWTH * (nodes[k + 1] - nodes[k]));
            }
            Density::new(nodes, sizes.iter().map(|s| 1.0 / s).collect())
        })
    }

    fn from_densities(module: &Module, density: impl Fn(&[f64], usize) -> Density) -> GridFamily {
        let rects = rectangles(module);
        let axes = [0, 1].map(|axis| {
            let edges = snapped_edges(module.size_m[axis], edges_along(axis, &rects));
            let density = density(&edges, axis);
            Axis::new(edges, density, 4)
        });
        GridFamily { axes }
    }

    /// The same density with at least two cells between edges instead of four: it can be halved
    /// once only.
    pub(super) fn halved_once(&self) -> GridFamily {
        let axes = self.axes.clone().map(|axis| Axis::new(axis.edges_m, axis.density, 2));
        GridFamily { axes }
    }

    /// Unknowns on the grid itself, counted without making a line of it; as many as a number can
    /// hold where there are more.
    pub(super) fn unknowns(&self, module: &Module, slicing: &Slicing) -> usize {
        let [across, along_y] = &self.axes;
        let cells = |[x0, x1]: [f64; 2], [y0, y1]: [f64; 2], sheets: usize| {
            let columns = across.cells_between([x0, x1]);
            columns.saturating_mul(along_y.cells_between([y0, y1])).saturating_mul(sheets)
        };
        let [width, height] = module.size_m;
        let substrate = sheets_of_substrate(module, slicing).len();
        let islands = module.die.iter().zip(&slicing.die).map(|(die, counts)| {
            cells(along(&die.rect, 0), along(&die.rect, 1), sheets_of_island(die, counts).len())
        });
        islands.fold(cells([0.0, width], [0.0, height], substrate), usize::saturating_add)
    }

    /// The grid itself.
    pub(super) fn fine(&self) -> PlaneGrid {
        PlaneGrid { x_lines_m: self.axes[0].lines(1), y_lines_m: self.axes[1].lines(1) }
    }

    /// Every other line of it; edges stay.
    pub(super) fn half(&self) -> PlaneGrid {
        PlaneGrid { x_lines_m: self.axes[0].lines(2), y_lines_m: self.axes[1].lines(2) }
    }

    /// Every fourth line of it; edges stay.
    pub(super) fn quarter(&self) -> PlaneGrid {
        PlaneGrid { x_lines_m: self.axes[0].lines(4), y_lines_m: self.axes[1].lines(4) }
    }
}

/// The boxes on the diagonal of a power map, which have all its lines, where it has few: their
/// power jumps from box to box. A map of many boxes is smooth enough to be integrated over cells.
fn boxes_of_few(map: &GridMap) -> Vec<Rect> {
    if map.nx.max(map.ny) > MOST_SNAPPED_BOXES {
        return Vec::new();
    }
    let line = |n: usize, low: f64, high: f64, share: usize| {
        low + (high - low) * (share.min(n) as f64 / n as f64)
    };
    let Rect { x0_m, y0_m, x1_m, y1_m } = map.rect;
    (0..map.nx.max(map.ny))
        .map(|k| Rect {
            x0_m: line(map.nx, x0_m, x1_m, k),
            x1_m: line(map.nx, x0_m, x1_m, k + 1),
            y0_m: line(map.ny, y0_m, y1_m, k),
            y1_m: line(map.ny, y0_m, y1_m, k + 1),
        })
        .collect()
}

/// Every rectangle whose edges must be grid lines.
pub(crate) fn rectangles(module: &Module) -> Vec<Rect> {
    let mut rects = Vec::new();
    for die in &module.die {
        rects.push(die.rect);
        rects.extend(die.blocks.iter().map(|b| b.rect));
        rects.extend(die.power_map.iter().flat_map(boxes_of_few));
    }
    rects.extend(module.heaters.iter().map(|h| h.rect));
    if let Spray::Prescribed(spray) = &module.spray {
        rects.extend(spray.patches.iter().map(|p| p.rect));
    }
    rects
}

/// Largest magnitude of the second derivative of temperature along x in every column of cells
/// and along y in every row, K/m².
fn curvature(module: &Module, solution: &GridSolution) -> [Vec<f64>; 2] {
    let network = Network::new(module, &solution.mesh);
    let (dx, dy) = (solution.mesh.plane.dx_m(), solution.mesh.plane.dy_m());
    let mut along_x = vec![0.0f64; dx.len()];
    let mut along_y = vec![0.0f64; dy.len()];
    for (cells, offset, sheets) in network.boxes() {
        let (nx, ny) = (cells.nx(), cells.ny());
        for l in 0..sheets {
            let sheet = &solution.rise_K[offset + l * nx * ny..offset + (l + 1) * nx * ny];
            for j in 0..ny {
                second_differences(
                    &dx[cells.i0..cells.i1],
                    |i| sheet[j * nx + i],
                    &mut along_x[cells.i0..cells.i1],
                );
            }
            for i in 0..nx {
                second_differences(
                    &dy[cells.j0..cells.j1],
                    |j| sheet[j * nx + i],
                    &mut along_y[cells.j0..cells.j1],
                );
            }
        }
    }
    [along_x, along_y]
}

/// Raises `largest` to the magnitude of the second derivative of the cell values `at`.
fn second_differences(widths: &[f64], at: impl Fn(usize) -> f64, largest: &mut [f64]) {
    let n = widths.len();
    for i in 1..n.saturating_sub(1) {
        let right = (at(i + 1) - at(i)) / (0.5 * (widths[i] + widths[i + 1]));
        let left = (at(i) - at(i - 1)) / (0.5 * (widths[i] + widths[i - 1]));
        let second = ((right - left) / widths[i]).abs();
        largest[i] = largest[i].max(second);
        if i == 1 {
            largest[0] = largest[0].max(second);
        }
        if i == n - 2 {
            largest[n - 1] = largest[n - 1].max(second);
        }
    }
    if n == 2 {
        // Two cells between adiabatic sides: the flux changes from 0 to its value over a cell.
        let slope = (at(1) - at(0)) / (0.5 * (widths[0] + widths[1]));
        for (large, width) in largest.iter_mut().zip(widths) {
            *large = large.max((slope / width).abs());
        }
    }
}

/// Thickness of the thinnest die, of the substrate where there is none, m.
fn smallest_thickness(module: &Module) -> f64 {
    let die = module.die.iter().map(|d| d.thickness_m).reduce(f64::min);
    die.unwrap_or_else(|| module.layers.iter().map(|l| l.thickness_m).sum())
}

/// Cell width wanted at x on account of the die, m. Near their edges heat turns from the attach
/// into the substrate within about the thickness of the die, which no coarse grid shows; inside,
/// even the coarsest grid of a family must show the top of the temperature.
fn edge_size(module: &Module, axis: usize, x: f64) -> f64 {
    module
        .die
        .iter()
        .map(|die| {
            let [low, high] = along(&die.rect, axis);
            let distance = (x - low).abs().min((x - high).abs());
            let near = EDGE_SHARE * die.thickness_m + GROWTH * distance;
            let near = if low < x && x < high { near.min((high - low) * DIE_SHARE) } else { near };
            let blocks = die.blocks.iter().map(|block| {
                let [low, high] = along(&block.rect, axis);
                let distance = (low - x).max(x - high).max(0.0);
                (high - low) * BLOCK_SHARE + GROWTH * distance
            });
            blocks.fold(near, f64::min)
        })
        .fold(f64::INFINITY, f64::min)
}

#[cfg(test)]
mod tests {
    use super::super::SteadyOptions;
    use super::super::solve_on_mesh;
    use super::*;
    use crate::mesh::Mesh;
    use crate::module::PowerBlock;
    use crate::study::testing;

    /// On cells of any widths a parabola bends everywhere alike, as far as the fluxes at the faces
    /// of a cell tell: `2 a` where neighbours are equal.
    #[test]
    fn the_curvature_of_a_parabola_is_found_on_even_cells_and_at_both_ends() {
        let widths = vec![0.5; 9];
        let at = |i: usize| 3.0 * (0.5 * i as f64).powi(2) - 2.0 * i as f64;
        let mut largest = vec![0.0; 9];
        second_differences(&widths, at, &mut largest);
        assert!(largest.iter().all(|k| (k - 6.0).abs() < 1e-12), "{largest:?}");
        // A larger one that was known stays; a smaller one is raised.
        let mut known = vec![7.0, 0.0, 0.0];
        second_differences(&[1.0; 3], |i| -((i * i) as f64), &mut known);
        assert_eq!(known, [7.0, 2.0, 2.0]);
        // Two cells: 4 K over the metre between their middles, over a cell's width.
        let mut two = vec![0.0; 2];
        second_differences(&[0.8, 1.2], |i| 4.0 * i as f64, &mut two);
        assert!((two[0] - 5.0).abs() < 1e-12 && (two[1] - 4.0 / 1.2).abs() < 1e-12, "{two:?}");
    }

    #[test]
    fn cells_are_fine_at_the_edges_of_die_and_wide_blocks_ask_for_little() {
        let mut module = testing::prescribed();
        module.die.truncate(1);
        let die = &mut module.die[0];
        let (rect, thick) = (die.rect, die.thickness_m);
        die.blocks.clear();
        let size = |module: &Module, x: f64| edge_size(module, 0, x);
        assert!((size(&module, rect.x0_m) - EDGE_SHARE * thick).abs() < 1e-12);
        let outside = size(&module, rect.x0_m - 1e-3);
        assert!((outside - EDGE_SHARE * thick - GROWTH * 1e-3).abs() < 1e-12, "{outside}");
        let middle = size(&module, 0.5 * (rect.x0_m + rect.x1_m));
        assert!((middle - DIE_SHARE * rect.width_m()).abs() < 1e-12, "{middle}");
        let x0_m = rect.x0_m + 3e-3;
        let block = Rect { x0_m, x1_m: x0_m + 0.4e-3, ..rect };
        module.die[0].blocks = vec![PowerBlock { name: "b".to_owned(), rect: block, power_W: 1.0 }];
        assert!((size(&module, x0_m + 0.1e-3) - BLOCK_SHARE * 0.4e-3).abs() < 1e-12);
        let beside = size(&module, x0_m - 0.2e-3);
        assert!((beside - BLOCK_SHARE * 0.4e-3 - GROWTH * 0.2e-3).abs() < 1e-12, "{beside}");
        let beyond = size(&module, x0_m + 0.6e-3);
        assert!((beyond - BLOCK_SHARE * 0.4e-3 - GROWTH * 0.2e-3).abs() < 1e-12, "{beyond}");
    }

    /// Four times the accuracy takes cells of about half the width, and twice the scale cells of twice
    /// the width, between the bounds on a cell.
    #[test]
    fn a_fitted_grid_follows_accuracy_and_scale() {
        let mut module = testing::prescribed();
        let options = SteadyOptions::default();
        let mesh =
            Mesh::new(&module, GridFamily::first(&module).fine(), &Slicing::coarsest(&module));
        let solution = solve_on_mesh(&module, mesh, None, &options).unwrap();
        let mut cells = |accuracy_K: f64, scale: f64| {
            module.mesh.accuracy_K = accuracy_K;
            let mut scales = Scales::one(&module);
            scales.times(scale);
            let plane = GridFamily::fitted(&module, &solution, &scales).fine();
            (plane.nx() * plane.ny()) as f64
        };
        let (rough, fine) = (cells(0.04, 1.0), cells(0.01, 1.0));
        assert!((2.0..4.5).contains(&(fine / rough)), "{rough} {fine}");
        let halved = cells(0.01, 0.5);
        assert!((2.5..4.5).contains(&(halved / fine)), "{fine} {halved}");
    }
}
