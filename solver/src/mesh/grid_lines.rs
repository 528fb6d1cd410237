//! Where the grid lines of one axis go: on every edge, and between the edges where the density
//! asks for them.

use crate::module::Rect;

/// Edges closer than this share of the axis are one edge: it is rounding, not geometry.
const SAME_EDGE_SHARE: f64 = 1e-9;
/// Edges closer than this are one edge on any axis, m. Wider than the overlap of die that a case
/// may state (1 nm, positions written to six decimals of a millimetre), so that die which abut
/// never share a sliver of cells; far narrower than any part.
const SAME_EDGE_M: f64 = 5e-9;

/// All edges along one axis, ascending, first 0 and last `length_m`, rounding twins merged.
pub fn snapped_edges(length_m: f64, edges_m: impl IntoIterator<Item = f64>) -> Vec<f64> {
    let tolerance = (length_m * SAME_EDGE_SHARE).max(SAME_EDGE_M);
    let mut edges: Vec<f64> =
        edges_m.into_iter().filter(|&e| e > tolerance && e < length_m - tolerance).collect();
    edges.sort_by(f64::total_cmp);
    let mut snapped = vec![0.0];
    for edge in edges {
        if edge - snapped[snapped.len() - 1] > tolerance {
            snapped.push(edge);
        }
    }
    snapped.push(length_m);
    snapped
}

/// Both edges of every rectangle along one axis.
pub fn edges_along<'a>(axis: usize, rects: impl IntoIterator<Item = &'a Rect>) -> Vec<f64> {
    rects
        .into_iter()
        .flat_map(|r| if axis == 0 { [r.x0_m, r.x1_m] } else { [r.y0_m, r.y1_m] })
        .collect()
}

/// Cells per metre along one axis, piecewise linear between nodes.
#[derive(Debug, Clone, PartialEq)]
pub struct Density {
    /// Positions, m, ascending.
    nodes_m: Vec<f64>,
    /// Cells per metre at each node, > 0.
    per_m: Vec<f64>,
    /// Integral of the density up to each node, cells.
    cumulative: Vec<f64>,
}

impl Density {
    /// A density from its values at ascending nodes (at least two).
    pub fn new(nodes_m: Vec<f64>, per_m: Vec<f64>) -> Density {
        assert!(nodes_m.len() >= 2 && nodes_m.len() == per_m.len(), "nodes and values pair up");
        let mut cumulative = vec![0.0];
        for k in 1..nodes_m.len() {
            let cells = 0.5 * (per_m[k] + per_m[k - 1]) * (nodes_m[k] - nodes_m[k - 1]);
            cumulative.push(cumulative[k - 1] + cells);
        }
        Density { nodes_m, per_m, cumulative }
    }

    /// The density that gives cells of width `size_at(x)` (m), sampled finely enough to follow
    /// a size that grows in proportion to the distance from the nearest of `edges_m`.
    pub fn from_size(edges_m: &[f64], size_at: impl Fn(f64) -> f64) -> Density {
        let mut nodes = Vec::new();
        for pair in edges_m.windows(2) {
            let width = pair[1] - pair[0];
            // Quadratic clustering toward both ends, where the size changes fastest.
            const HALF: usize = 12;
            for k in 0..2 * HALF {
                let s = k as f64 / HALF as f64;
                let t = if s <= 1.0 { 0.5 * s * s } else { 1.0 - 0.5 * (2.0 - s) * (2.0 - s) };
                nodes.push(pair[0] + width * t);
            }
        }
        nodes.push(edges_m[edges_m.len() - 1]);
        let per_m = nodes.iter().map(|&x| 1.0 / size_at(x)).collect();
        Density::new(nodes, per_m)
    }

    /// Integral of the density from the first node to `x`, cells.
    pub fn cells_up_to(&self, x: f64) -> f64 {
        let k = self.nodes_m.partition_point(|&n| n <= x).clamp(1, self.nodes_m.len() - 1);
        let (x0, x1) = (self.nodes_m[k - 1], self.nodes_m[k]);
        let (d0, d1) = (self.per_m[k - 1], self.per_m[k]);
        let s = (x - x0).clamp(0.0, x1 - x0);
        let slope = if x1 > x0 { (d1 - d0) / (x1 - x0) } else { 0.0 };
        self.cumulative[k - 1] + d0 * s + 0.5 * slope * s * s
    }

    /// The position up to which the density integrates to `cells`, m.
    fn position_of(&self, cells: f64) -> f64 {
        let last = self.nodes_m.len() - 1;
        let k = self.cumulative.partition_point(|&c| c <= cells).clamp(1, last);
        let (x0, x1) = (self.nodes_m[k - 1], self.nodes_m[k]);
        let (d0, d1) = (self.per_m[k - 1], self.per_m[k]);
        let wanted = (cells - self.cumulative[k - 1]).max(0.0);
        let slope = if x1 > x0 { (d1 - d0) / (x1 - x0) } else { 0.0 };
        // d0 s + slope s²/2 = wanted, in the form that does not cancel.
        let root = (d0 * d0 + 2.0 * slope * wanted).max(0.0).sqrt();
        let s = if root + d0 > 0.0 { 2.0 * wanted / (root + d0) } else { 0.0 };
        (x0 + s).min(x1)
    }
}

/// Appends the lines inside `(start, end)` and `end` itself: `pieces` cells of equal integrated
/// density. Twice the pieces give a grid that contains every line of the coarser one.
pub fn fill_interval(lines: &mut Vec<f64>, density: &Density, start: f64, end: f64, pieces: usize) {
    let (from, to) = (density.cells_up_to(start), density.cells_up_to(end));
    for k in 1..pieces {
        let target = from + (to - from) * k as f64 / pieces as f64;
        let position = density.position_of(target);
        let previous = lines.last().copied().unwrap_or(start);
        // Rounding can only matter where an interval is a few ulp wide; never fold a line back.
        if position > previous && position < end {
            lines.push(position);
        }
    }
    lines.push(end);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounding_twins_are_one_edge_and_real_gaps_stay() {
        let edges = snapped_edges(0.1, [0.05, 0.05 + 1e-12, 0.05 + 1e-6, 0.0, 0.1]);
        assert_eq!(edges, vec![0.0, 0.05, 0.05 + 1e-6, 0.1]);
    }

    #[test]
    fn die_that_abut_to_a_nanometre_are_cut_at_one_line() {
        let edges = snapped_edges(0.1, [0.02, 0.04 + 1e-9, 0.04, 0.06, 1e-9, 0.1 - 1e-9]);
        assert_eq!(edges, vec![0.0, 0.02, 0.04, 0.06, 0.1]);
    }

    #[test]
    fn doubled_pieces_contain_the_coarse_lines() {
        let edges = [0.0, 0.02, 0.1];
        let density =
            Density::from_size(&edges, |x| 1e-3 + 0.3 * (x - 0.02f64).abs().min(x).min(0.1 - x));
        let (mut coarse, mut fine) = (vec![0.0], vec![0.0]);
        for pair in edges.windows(2) {
            fill_interval(&mut coarse, &density, pair[0], pair[1], 7);
            fill_interval(&mut fine, &density, pair[0], pair[1], 14);
        }
        assert_eq!(fine.len(), 2 * coarse.len() - 1);
        for (k, line) in coarse.iter().enumerate() {
            assert!((line - fine[2 * k]).abs() < 1e-15, "{line} against {}", fine[2 * k]);
        }
    }

    /// Cells of a width that grows from both ends by half a metre a metre:
    /// `∫ dx / (a + b d) = 2 ln(1 + b L / 2a) / b` over an interval of length L, d the distance
    /// from the nearer end.
    #[test]
    fn a_width_that_grows_from_the_edges_is_followed() {
        let (a, b) = (0.002, 0.5);
        for length in [0.05, 1.0] {
            let size = |x: f64| a + b * x.min(length - x);
            let density = Density::from_size(&[0.0, length], size);
            assert!(density.nodes_m.is_sorted_by(|a, b| a < b), "nodes ascend");
            let exact = 2.0 * (1.0 + b * length / (2.0 * a)).ln() / b;
            let cells = density.cells_up_to(length);
            // Straight between nodes over a curve that hangs: a little more.
            assert!((1.0..1.08).contains(&(cells / exact)), "{cells} {exact}");
            assert!((density.cells_up_to(0.5 * length) / cells - 0.5).abs() < 1e-9);
        }
    }

    #[test]
    fn integral_of_a_constant_density_is_its_value_times_length() {
        let density = Density::from_size(&[0.0, 1.0], |_| 0.25);
        assert!((density.cells_up_to(1.0) - 4.0).abs() < 1e-12);
        assert!((density.cells_up_to(0.3) - 1.2).abs() < 1e-12);
    }
}
