//! Rectangles, quarter turns and gridded maps in the plane of the module.

/// An axis-parallel rectangle in module coordinates, m. `x0 < x1`, `y0 < y1`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rect {
    /// Left edge, m.
    pub x0_m: f64,
    /// Lower edge, m.
    pub y0_m: f64,
    /// Right edge, m.
    pub x1_m: f64,
    /// Upper edge, m.
    pub y1_m: f64,
}

impl Rect {
    /// Width along x, m.
    pub fn width_m(&self) -> f64 {
        self.x1_m - self.x0_m
    }

    /// Height along y, m.
    pub fn height_m(&self) -> f64 {
        self.y1_m - self.y0_m
    }

    /// Area, m².
    pub fn area_m2(&self) -> f64 {
        self.width_m() * self.height_m()
    }

    /// Centre (x, y), m.
    pub fn centre_m(&self) -> [f64; 2] {
        [0.5 * (self.x0_m + self.x1_m), 0.5 * (self.y0_m + self.y1_m)]
    }

    /// Whether the interiors of two rectangles meet by more than `tolerance_m` in both directions.
    pub fn overlaps(&self, other: &Rect, tolerance_m: f64) -> bool {
        self.x0_m < other.x1_m - tolerance_m
            && other.x0_m < self.x1_m - tolerance_m
            && self.y0_m < other.y1_m - tolerance_m
            && other.y0_m < self.y1_m - tolerance_m
    }

    /// Whether `inner` lies inside this rectangle, allowing `tolerance_m` outside each edge.
    pub fn contains(&self, inner: &Rect, tolerance_m: f64) -> bool {
        inner.x0_m >= self.x0_m - tolerance_m
            && inner.y0_m >= self.y0_m - tolerance_m
            && inner.x1_m <= self.x1_m + tolerance_m
            && inner.y1_m <= self.y1_m + tolerance_m
    }
}

/// A counter-clockwise quarter turn of a die, seen from the spray side.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Turn {
    /// Not turned.
    #[default]
    None,
    /// 90 degrees counter-clockwise.
    Quarter,
    /// 180 degrees.
    Half,
    /// 270 degrees counter-clockwise.
    ThreeQuarter,
}

/// Values on an equal grid of boxes over a rectangle, constant in each box.
#[derive(Debug, Clone, PartialEq)]
pub struct GridMap {
    /// The rectangle covered, in module coordinates.
    pub rect: Rect,
    /// Boxes along x.
    pub nx: usize,
    /// Boxes along y.
    pub ny: usize,
    /// Values, `values[j * nx + i]`, j = 0 the lowest row (smallest y).
    pub values: Vec<f64>,
}

impl GridMap {
    /// Exact integral of the map over `cell` (value times overlapping area), value·m².
    pub fn integral_over(&self, cell: &Rect) -> f64 {
        let box_x = self.rect.width_m() / self.nx as f64;
        let box_y = self.rect.height_m() / self.ny as f64;
        let range = |low: f64, high: f64, origin: f64, step: f64, n: usize| {
            let first = ((low - origin) / step).floor().max(0.0) as usize;
            let last = (((high - origin) / step).ceil().max(0.0) as usize).min(n);
            first.min(n)..last
        };
        let mut sum = 0.0;
        for j in range(cell.y0_m, cell.y1_m, self.rect.y0_m, box_y, self.ny) {
            let low = self.rect.y0_m + j as f64 * box_y;
            let dy = (cell.y1_m.min(low + box_y) - cell.y0_m.max(low)).max(0.0);
            for i in range(cell.x0_m, cell.x1_m, self.rect.x0_m, box_x, self.nx) {
                let left = self.rect.x0_m + i as f64 * box_x;
                let dx = (cell.x1_m.min(left + box_x) - cell.x0_m.max(left)).max(0.0);
                sum += self.values[j * self.nx + i] * dx * dy;
            }
        }
        sum
    }

    /// Integral over the whole rectangle, value·m².
    pub fn total(&self) -> f64 {
        self.values.iter().sum::<f64>() * self.rect.area_m2() / (self.nx * self.ny) as f64
    }
}
