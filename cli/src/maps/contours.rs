//! Lines of equal value by marching squares between the middles of cells.

use std::collections::{HashMap, VecDeque};

use sprayside_solver::module::Rect;
use sprayside_solver::results::PlaneField;

use super::raster::regions;

/// Most levels of one map: more are no lines any more.
const MOST_LEVELS: usize = 200;

/// One level.
#[derive(Debug, Clone, PartialEq)]
pub struct Contour {
    /// Value, in the unit of the scale.
    pub level: f64,
    /// Pieces, m.
    pub pieces: Vec<[[f64; 2]; 2]>,
}

/// The lines of every multiple of `spacing` inside a field; no line crosses an edge of `edges`,
/// where values jump. Empty where there would be more than two hundred levels.
pub fn contours(
    field: &PlaneField,
    convert: fn(f64) -> f64,
    spacing: f64,
    edges: &[Rect],
) -> Vec<Contour> {
    let values = field.values.map(|v| convert(*v));
    let (low, high) = values
        .iter()
        .filter(|v| v.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(*v), high.max(*v)));
    let first = (low / spacing).ceil();
    let count = (high / spacing).floor() - first + 1.0;
    if !(count >= 1.0 && count <= MOST_LEVELS as f64) {
        return Vec::new();
    }
    let mut all: Vec<Contour> = (0..count as usize)
        .map(|n| Contour { level: (first + n as f64) * spacing, pieces: Vec::new() })
        .collect();
    let middle = |lines: &[f64], k: usize| 0.5 * (lines[k] + lines[k + 1]);
    let regions = regions(field, edges);
    let (ny, nx) = values.dim();
    for j in 0..ny.saturating_sub(1) {
        let [y0, y1] = [middle(&field.y_lines_m, j), middle(&field.y_lines_m, j + 1)];
        for i in 0..nx.saturating_sub(1) {
            let corners = [[j, i], [j, i + 1], [j + 1, i + 1], [j + 1, i]];
            let value = corners.map(|at| values[at]);
            let region = corners.map(|[j, i]| regions[j * nx + i]);
            if value.iter().any(|v| !v.is_finite()) || region.iter().any(|r| *r != region[0]) {
                continue;
            }
            let least = value.iter().copied().fold(f64::INFINITY, f64::min);
            let most = value.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let [x0, x1] = [middle(&field.x_lines_m, i), middle(&field.x_lines_m, i + 1)];
            let place = [[x0, y0], [x1, y0], [x1, y1], [x0, y1]];
            let from = ((least / spacing).ceil() - first).max(0.0) as usize;
            for contour in all.iter_mut().skip(from) {
                if contour.level > most {
                    break;
                }
                let mut cuts = Vec::with_capacity(4);
                for a in 0..4 {
                    let b = (a + 1) % 4;
                    if (value[a] < contour.level) != (value[b] < contour.level) {
                        let share = (contour.level - value[a]) / (value[b] - value[a]);
                        cuts.push(
                            [0, 1].map(|k| place[a][k] + share * (place[b][k] - place[a][k])),
                        );
                    }
                }
                contour.pieces.extend(cuts.chunks_exact(2).map(|pair| [pair[0], pair[1]]));
            }
        }
    }
    all.retain(|contour| !contour.pieces.is_empty());
    all
}

/// Pieces put end to end into lines, as far as they share their ends exactly.
pub fn joined(pieces: &[[[f64; 2]; 2]]) -> Vec<Vec<[f64; 2]>> {
    let key = |p: [f64; 2]| p.map(f64::to_bits);
    let mut ends: HashMap<[u64; 2], Vec<usize>> = HashMap::new();
    for (n, piece) in pieces.iter().enumerate() {
        for end in piece {
            ends.entry(key(*end)).or_default().push(n);
        }
    }
    let mut used = vec![false; pieces.len()];
    let mut lines = Vec::new();
    for first in 0..pieces.len() {
        if used[first] {
            continue;
        }
        used[first] = true;
        let mut line = VecDeque::from(pieces[first]);
        for at_back in [true, false] {
            loop {
                let end = if at_back { line[line.len() - 1] } else { line[0] };
                let next = ends[&key(end)].iter().copied().find(|n| !used[*n]);
                let Some(next) = next else { break };
                used[next] = true;
                let [a, b] = pieces[next];
                let far = if key(a) == key(end) { b } else { a };
                if at_back {
                    line.push_back(far);
                } else {
                    line.push_front(far);
                }
            }
        }
        lines.push(line.into());
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use ndarray::Array2;

    fn lines(n: usize) -> std::sync::Arc<[f64]> {
        // Unequal cells.
        (0..=n).map(|k| (k as f64 / n as f64).powf(1.3)).collect()
    }

    #[test]
    fn lines_of_a_plane_lie_where_its_equation_says() {
        let (x, y) = (lines(17), lines(11));
        let centre = |lines: &[f64], k: usize| 0.5 * (lines[k] + lines[k + 1]);
        let values =
            Array2::from_shape_fn((11, 17), |(j, i)| 3.0 * centre(&x, i) + 2.0 * centre(&y, j));
        let field = PlaneField { x_lines_m: x, y_lines_m: y, values };
        let found = contours(&field, |v| v, 0.5, &[]);
        assert_eq!(found.len(), 9);
        for contour in &found {
            assert!(
                contour
                    .pieces
                    .iter()
                    .flatten()
                    .all(|[x, y]| { (3.0 * x + 2.0 * y - contour.level).abs() < 1e-12 })
            );
        }
    }

    #[test]
    fn a_ring_of_pieces_becomes_one_closed_line() {
        let values = Array2::from_shape_fn((9, 9), |(j, i)| {
            (i as f64 - 4.1).powi(2) + (j as f64 - 3.9).powi(2)
        });
        let at: std::sync::Arc<[f64]> = (0..=9).map(f64::from).collect();
        let field = PlaneField { x_lines_m: at.clone(), y_lines_m: at, values };
        let found = contours(&field, |v| v, 6.0, &[]);
        let lines = joined(&found[0].pieces);
        assert_eq!(lines.len(), 1);
        let (first, last) = (lines[0][0], lines[0][lines[0].len() - 1]);
        assert!((first[0] - last[0]).hypot(first[1] - last[1]) < 1e-12, "{first:?} {last:?}");
        assert_eq!(lines[0].len(), found[0].pieces.len() + 1);
    }

    #[test]
    fn no_line_crosses_the_edge_of_a_die_or_a_gap() {
        let values = Array2::from_shape_fn((6, 8), |(_, i)| if i < 4 { 0.0 } else { 1.0 });
        let at: std::sync::Arc<[f64]> = (0..=8).map(|k| f64::from(k) * 1e-3).collect();
        let mut field = PlaneField {
            x_lines_m: at.clone(),
            y_lines_m: at.iter().copied().take(7).collect(),
            values,
        };
        let die = Rect { x0_m: 0.004, y0_m: 0.0, x1_m: 0.008, y1_m: 0.006 };
        assert_eq!(contours(&field, |v| v, 0.4, &[]).len(), 2);
        assert!(contours(&field, |v| v, 0.4, &[die]).is_empty());
        field.values.column_mut(4).fill(f64::NAN);
        assert!(contours(&field, |v| v, 0.4, &[]).is_empty());
        assert!(contours(&field, |v| v, 1e-9, &[]).is_empty(), "too many levels are none");
    }
}
