//! A field on its graded grid as pixels.
//!
//! Every pixel is looked up by its own position in the module. Between the centres of cells the
//! value is interpolated, but never over the edge of a die: temperature and flux jump there.

use ndarray::Array2;
use sprayside_solver::module::Rect;
use sprayside_solver::results::PlaneField;

use super::broken::covered;
use super::canvas::{Canvas, NOTHING};
use super::layout::Layout;
use super::scale::ColourScale;

/// How a field becomes pixels.
#[derive(Debug)]
pub struct Painting<'a> {
    /// The field.
    pub field: &'a PlaneField,
    /// From the field's unit to that of the scale.
    pub convert: fn(f64) -> f64,
    /// Colours.
    pub scale: &'a ColourScale,
    /// Edges over which nothing is interpolated.
    pub edges: &'a [Rect],
    /// Whether to interpolate at all.
    pub smooth: bool,
    /// Closed lines, m: outside all of them nothing is shown.
    pub within: Option<Vec<&'a [[f64; 2]]>>,
}

/// Where a pixel lies among the centres of the cells along one axis.
#[derive(Debug, Clone, Copy)]
struct Place {
    /// The cell that holds the pixel.
    cell: usize,
    /// The cell with the next lower centre, and the next higher one (equal at the ends).
    low: usize,
    high: usize,
    /// Share of the higher one.
    share: f64,
}

/// Fills the map's rectangle of the canvas.
pub fn paint(canvas: &mut Canvas, layout: &Layout, painting: &Painting) {
    let field = painting.field;
    let layout = &layout.zoomed(canvas.zoom());
    let (columns, rows) = (layout.map.width() as usize, layout.map.height() as usize);
    let scale = layout.pixels_per_m();
    let across = places(&field.x_lines_m, columns, |c| (c as f64 + 0.5) / scale);
    let down = places(&field.y_lines_m, rows, |r| (rows as f64 - r as f64 - 0.5) / scale);
    let regions = regions(field, painting.edges);
    let (x0, y0) = (layout.map.x0 as usize, layout.map.y0 as usize);
    let shown = painting.within.as_ref().map(|lines| {
        let pixels = |line: &[[f64; 2]]| {
            let pixel = |at: &[f64; 2]| [at[0] * scale, rows as f64 - at[1] * scale];
            line.iter().map(pixel).collect::<Vec<_>>()
        };
        covered(lines.iter().map(|line| pixels(line)), [columns, rows])
    });
    let width = canvas.size()[0];
    for (row, y) in down.iter().enumerate() {
        let start = 3 * ((y0 + row) * width + x0);
        let line = &mut canvas.pixels[start..start + 3 * columns];
        for (column, (pixel, x)) in line.chunks_exact_mut(3).zip(&across).enumerate() {
            if shown.as_ref().is_some_and(|shown| !shown[row * columns + column]) {
                pixel.copy_from_slice(&NOTHING);
                continue;
            }
            let value = if painting.smooth {
                between(&field.values, &regions, x, y)
            } else {
                field.values[[y.cell, x.cell]]
            };
            let value = (painting.convert)(value);
            let colour = if value.is_finite() { painting.scale.colour(value) } else { NOTHING };
            pixel.copy_from_slice(&colour);
        }
    }
}

/// The value at a place, interpolated between the centres of cells of its region; that of its own
/// cell where that has none.
fn between(values: &Array2<f64>, regions: &[u32], x: &Place, y: &Place) -> f64 {
    let nx = values.ncols();
    let region = regions[y.cell * nx + x.cell];
    let corner = |j: usize, i: usize| {
        let value = values[[j, i]];
        (regions[j * nx + i] == region && value.is_finite()).then_some(value)
    };
    let corners = [
        (corner(y.low, x.low), (1.0 - x.share) * (1.0 - y.share)),
        (corner(y.low, x.high), x.share * (1.0 - y.share)),
        (corner(y.high, x.low), (1.0 - x.share) * y.share),
        (corner(y.high, x.high), x.share * y.share),
    ];
    // Nearly every pixel: no edge is near.
    if let [(Some(a), wa), (Some(b), wb), (Some(c), wc), (Some(d), wd)] = corners {
        return wa * a + wb * b + wc * c + wd * d;
    }
    let own = values[[y.cell, x.cell]];
    if !own.is_finite() {
        return own;
    }
    let (mut sum, mut weights) = (0.0, 0.0);
    for (value, weight) in corners {
        if let Some(value) = value {
            sum += weight * value;
            weights += weight;
        }
    }
    if weights > 0.0 { sum / weights } else { own }
}

/// A field in the middle of the cells of another grid, interpolated but not over `edges`.
pub fn on_grid(
    field: &PlaneField,
    edges: &[Rect],
    x_lines_m: &[f64],
    y_lines_m: &[f64],
) -> Array2<f64> {
    let middle = |lines: &[f64], k: usize| 0.5 * (lines[k] + lines[k + 1]);
    let (nx, ny) = (x_lines_m.len() - 1, y_lines_m.len() - 1);
    let across = places(&field.x_lines_m, nx, |i| middle(x_lines_m, i));
    let up = places(&field.y_lines_m, ny, |j| middle(y_lines_m, j));
    let regions = regions(field, edges);
    Array2::from_shape_fn((ny, nx), |(j, i)| between(&field.values, &regions, &across[i], &up[j]))
}

/// Places of `count` pixels along an axis with these grid lines.
fn places(lines: &[f64], count: usize, position: impl Fn(usize) -> f64) -> Vec<Place> {
    let last = lines.len() - 2;
    let centre = |cell: usize| 0.5 * (lines[cell] + lines[cell + 1]);
    (0..count)
        .map(|pixel| {
            let x = position(pixel);
            let cell = lines.partition_point(|line| *line <= x).saturating_sub(1).min(last);
            let (low, high) = if x < centre(cell) {
                (cell.saturating_sub(1), cell)
            } else {
                (cell, (cell + 1).min(last))
            };
            let gap = centre(high) - centre(low);
            let share = if gap > 0.0 { ((x - centre(low)) / gap).clamp(0.0, 1.0) } else { 0.0 };
            Place { cell, low, high, share }
        })
        .collect()
}

/// For every cell which of the rectangles covers its centre (the last one wins), 0 for none.
pub(super) fn regions(field: &PlaneField, edges: &[Rect]) -> Vec<u32> {
    let (nx, ny) = (field.x_lines_m.len() - 1, field.y_lines_m.len() - 1);
    let mut regions = vec![0; nx * ny];
    // The first cell whose centre lies beyond a position.
    let beyond = |lines: &[f64], n: usize, position: f64| {
        let upper = lines.partition_point(|line| *line <= position);
        let cell = upper.saturating_sub(1).min(n);
        if cell < n && 0.5 * (lines[cell] + lines[cell + 1]) < position { cell + 1 } else { cell }
    };
    for (index, rect) in edges.iter().enumerate() {
        let columns =
            beyond(&field.x_lines_m, nx, rect.x0_m)..beyond(&field.x_lines_m, nx, rect.x1_m);
        for j in beyond(&field.y_lines_m, ny, rect.y0_m)..beyond(&field.y_lines_m, ny, rect.y1_m) {
            for region in &mut regions[j * nx..][columns.clone()] {
                *region = index as u32 + 1;
            }
        }
    }
    regions
}

#[cfg(test)]
mod tests {
    use super::*;

    fn field(values: Array2<f64>, x_lines: &[f64], y_lines: &[f64]) -> PlaneField {
        PlaneField { x_lines_m: x_lines.into(), y_lines_m: y_lines.into(), values }
    }

    fn painted(
        field: &PlaneField,
        size_m: [f64; 2],
        edges: &[Rect],
        smooth: bool,
    ) -> (Canvas, Layout) {
        let layout = Layout::of(size_m);
        let mut canvas = Canvas::new(layout.size[0], layout.size[1]);
        let scale = ColourScale::magma(0.0, 1.0);
        let painting =
            Painting { field, convert: |v| v, scale: &scale, edges, smooth, within: None };
        paint(&mut canvas, &layout, &painting);
        (canvas, layout)
    }

    fn at(canvas: &Canvas, layout: &Layout, at_m: [f64; 2]) -> [u8; 3] {
        let [x, y] = layout.point(at_m);
        let start = 3 * (y as usize * canvas.width + x as usize);
        [canvas.pixels[start], canvas.pixels[start + 1], canvas.pixels[start + 2]]
    }

    #[test]
    fn cells_lie_where_their_grid_lines_say_and_row_zero_is_lowest() {
        // Unequal cells: the first is a tenth of the width.
        let values = ndarray::arr2(&[[0.0, 1.0], [0.5, f64::NAN]]);
        let field = field(values, &[0.0, 0.001, 0.010], &[0.0, 0.002, 0.005]);
        let (canvas, layout) = painted(&field, [0.010, 0.005], &[], false);
        let scale = ColourScale::magma(0.0, 1.0);
        assert_eq!(at(&canvas, &layout, [0.0005, 0.001]), scale.colour(0.0));
        assert_eq!(at(&canvas, &layout, [0.0015, 0.001]), scale.colour(1.0));
        assert_eq!(at(&canvas, &layout, [0.0005, 0.0045]), scale.colour(0.5));
        assert_eq!(at(&canvas, &layout, [0.0050, 0.0045]), NOTHING);
    }

    #[test]
    fn smoothing_stops_at_the_edge_of_a_die() {
        let values = Array2::from_shape_fn((4, 8), |(_, i)| if i < 4 { 0.0 } else { 1.0 });
        let lines: Vec<f64> = (0..=8).map(|i| i as f64 * 1e-3).collect();
        let field = field(values, &lines, &lines[..5]);
        let die = Rect { x0_m: 0.004, y0_m: 0.0, x1_m: 0.008, y1_m: 0.004 };
        let scale = ColourScale::magma(0.0, 1.0);
        let (canvas, layout) = painted(&field, [0.008, 0.004], &[die], true);
        assert_eq!(at(&canvas, &layout, [0.0039, 0.002]), scale.colour(0.0));
        assert_eq!(at(&canvas, &layout, [0.0041, 0.002]), scale.colour(1.0));
        let (canvas, layout) = painted(&field, [0.008, 0.004], &[], true);
        let between = at(&canvas, &layout, [0.0040, 0.002]);
        assert_ne!(between, scale.colour(0.0));
        assert_ne!(between, scale.colour(1.0));
    }
}
