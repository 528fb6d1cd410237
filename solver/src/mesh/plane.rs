//! The rectilinear grid of the plane.

use std::sync::Arc;

use crate::module::Rect;

/// Grid lines along both axes.
#[derive(Debug, Clone, PartialEq)]
pub struct PlaneGrid {
    /// Lines across x, m, ascending, from 0 to the width of the module.
    pub x_lines_m: Arc<[f64]>,
    /// Lines across y, m, ascending.
    pub y_lines_m: Arc<[f64]>,
}

/// A rectangle of cells: columns `i0..i1`, rows `j0..j1`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CellRange {
    /// First column.
    pub i0: usize,
    /// One past the last column.
    pub i1: usize,
    /// First row.
    pub j0: usize,
    /// One past the last row.
    pub j1: usize,
}

impl CellRange {
    /// Columns.
    pub fn nx(&self) -> usize {
        self.i1 - self.i0
    }

    /// Rows.
    pub fn ny(&self) -> usize {
        self.j1 - self.j0
    }

    /// Cells.
    pub fn len(&self) -> usize {
        self.nx() * self.ny()
    }

    /// Whether there is no cell.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

impl PlaneGrid {
    /// Cells along x.
    pub fn nx(&self) -> usize {
        self.x_lines_m.len() - 1
    }

    /// Cells along y.
    pub fn ny(&self) -> usize {
        self.y_lines_m.len() - 1
    }

    /// Widths of the cells along x, m.
    pub fn dx_m(&self) -> Vec<f64> {
        self.x_lines_m.windows(2).map(|w| w[1] - w[0]).collect()
    }

    /// Widths of the cells along y, m.
    pub fn dy_m(&self) -> Vec<f64> {
        self.y_lines_m.windows(2).map(|w| w[1] - w[0]).collect()
    }

    /// The rectangle of cell (i, j).
    pub fn cell(&self, i: usize, j: usize) -> Rect {
        Rect {
            x0_m: self.x_lines_m[i],
            y0_m: self.y_lines_m[j],
            x1_m: self.x_lines_m[i + 1],
            y1_m: self.y_lines_m[j + 1],
        }
    }

    /// Area of a range of cells, m².
    pub fn area_m2(&self, cells: &CellRange) -> f64 {
        (self.x_lines_m[cells.i1] - self.x_lines_m[cells.i0])
            * (self.y_lines_m[cells.j1] - self.y_lines_m[cells.j0])
    }

    /// The cells inside `rect`, whose edges are grid lines up to rounding.
    pub fn range_of(&self, rect: &Rect) -> CellRange {
        CellRange {
            i0: nearest_line(&self.x_lines_m, rect.x0_m),
            i1: nearest_line(&self.x_lines_m, rect.x1_m),
            j0: nearest_line(&self.y_lines_m, rect.y0_m),
            j1: nearest_line(&self.y_lines_m, rect.y1_m),
        }
    }
}

fn nearest_line(lines: &[f64], position: f64) -> usize {
    let above = lines.partition_point(|&line| line < position).min(lines.len() - 1);
    if above > 0 && position - lines[above - 1] < lines[above] - position {
        above - 1
    } else {
        above
    }
}
