//! Where the parts of a picture go, and millimetres to pixels.

use sprayside_solver::module::Rect;

/// Usual width of a picture.
const WIDTH_PX: f64 = 1200.0;
const LEFT_PX: f64 = 84.0;
const RIGHT_PX: f64 = 132.0;
const TOP_PX: f64 = 92.0;
const BOTTOM_PX: f64 = 66.0;
/// A map is never higher than this; a taller module gets a narrower picture.
const MOST_MAP_HEIGHT_PX: f64 = 1100.0;
/// Below this width titles would not fit.
const LEAST_WIDTH_PX: f64 = 760.0;
/// A colour bar shorter than this cannot be read.
const LEAST_BAR_PX: f64 = 210.0;
/// Between map and colour bar.
const BAR_GAP_PX: f64 = 24.0;

/// A rectangle of pixels, from the top left.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PixelRect {
    /// Left edge.
    pub x0: f64,
    /// Upper edge.
    pub y0: f64,
    /// Right edge.
    pub x1: f64,
    /// Lower edge.
    pub y1: f64,
}

impl PixelRect {
    /// From a centre and a size.
    pub fn around(x: f64, y: f64, width: f64, height: f64) -> PixelRect {
        PixelRect {
            x0: x - width / 2.0,
            y0: y - height / 2.0,
            x1: x + width / 2.0,
            y1: y + height / 2.0,
        }
    }

    /// Width.
    pub fn width(&self) -> f64 {
        self.x1 - self.x0
    }

    /// Height.
    pub fn height(&self) -> f64 {
        self.y1 - self.y0
    }

    /// Centre.
    pub fn centre(&self) -> [f64; 2] {
        [0.5 * (self.x0 + self.x1), 0.5 * (self.y0 + self.y1)]
    }

    /// Whether two rectangles share area.
    pub fn meets(&self, other: &PixelRect) -> bool {
        self.x0 < other.x1 && other.x0 < self.x1 && self.y0 < other.y1 && other.y0 < self.y1
    }

    /// Whether `inner` lies inside.
    pub fn holds(&self, inner: &PixelRect) -> bool {
        inner.x0 >= self.x0 && inner.x1 <= self.x1 && inner.y0 >= self.y0 && inner.y1 <= self.y1
    }

    /// Smaller by `by` on every side.
    pub fn shrunk(&self, by: f64) -> PixelRect {
        PixelRect { x0: self.x0 + by, y0: self.y0 + by, x1: self.x1 - by, y1: self.y1 - by }
    }
}

/// The layout of one picture.
#[derive(Debug, Clone, Copy)]
pub struct Layout {
    /// Size of the whole picture.
    pub size: [usize; 2],
    /// The map, on whole pixels.
    pub map: PixelRect,
    /// The colour bar, on whole pixels.
    pub bar: PixelRect,
    pixels_per_m: f64,
}

impl Layout {
    /// The layout for a module of a size, in its true proportions.
    pub fn of(size_m: [f64; 2]) -> Layout {
        Layout::wide(size_m, WIDTH_PX)
    }

    /// The same in a picture of another width.
    pub fn wide(size_m: [f64; 2], width_px: f64) -> Layout {
        let [length, height] = size_m;
        let room = width_px - LEFT_PX - RIGHT_PX;
        let scale = (room / length).min(MOST_MAP_HEIGHT_PX / height);
        let map_width = (length * scale).round().max(1.0);
        let map_height = (height * scale).round().max(1.0);
        let map =
            PixelRect { x0: LEFT_PX, y0: TOP_PX, x1: LEFT_PX + map_width, y1: TOP_PX + map_height };
        let bar = PixelRect {
            x0: map.x1 + BAR_GAP_PX,
            y0: map.y0,
            x1: map.x1 + BAR_GAP_PX + 22.0,
            y1: map.y0 + map_height.max(LEAST_BAR_PX),
        };
        let width = (map.x1 + RIGHT_PX).max(LEAST_WIDTH_PX);
        Layout {
            size: [width as usize, (bar.y1.max(map.y1) + BOTTOM_PX) as usize],
            map,
            bar,
            pixels_per_m: scale,
        }
    }

    /// The same where a point has `zoom` pixels.
    pub fn zoomed(&self, zoom: f64) -> Layout {
        let rect = |r: &PixelRect| {
            let [x0, y0, x1, y1] = [r.x0, r.y0, r.x1, r.y1].map(|v| (v * zoom).round());
            PixelRect { x0, y0, x1, y1 }
        };
        Layout {
            size: self.size.map(|points| (points as f64 * zoom).round() as usize),
            map: rect(&self.map),
            bar: rect(&self.bar),
            pixels_per_m: self.pixels_per_m * zoom,
        }
    }

    /// Pixels a metre.
    pub fn pixels_per_m(&self) -> f64 {
        self.pixels_per_m
    }

    /// Module coordinates to pixels; y turns over.
    pub fn point(&self, at_m: [f64; 2]) -> [f64; 2] {
        [self.map.x0 + at_m[0] * self.pixels_per_m, self.map.y1 - at_m[1] * self.pixels_per_m]
    }

    /// A rectangle of the module in pixels.
    pub fn rect(&self, rect: &Rect) -> PixelRect {
        let [x0, y1] = self.point([rect.x0_m, rect.y0_m]);
        let [x1, y0] = self.point([rect.x1_m, rect.y1_m]);
        PixelRect { x0, y0, x1, y1 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn proportions_are_true_whatever_the_module() {
        for size_m in [[0.096, 0.064], [0.005, 0.005], [0.3, 0.005], [0.01, 0.2]] {
            let layout = Layout::of(size_m);
            let ratio = layout.map.width() / layout.map.height();
            // Rounding to whole pixels is all that is lost.
            let allowed = 1.0 / layout.map.width().min(layout.map.height());
            assert!((ratio / (size_m[0] / size_m[1]) - 1.0).abs() <= allowed, "{size_m:?}");
            assert!(layout.size[0] <= 1200 && layout.bar.height() >= LEAST_BAR_PX);
        }
    }

    #[test]
    fn the_origin_is_at_the_lower_left() {
        let layout = Layout::of([0.02, 0.01]);
        assert_eq!(layout.point([0.0, 0.0]), [layout.map.x0, layout.map.y1]);
        let [x, y] = layout.point([0.02, 0.01]);
        assert!((x - layout.map.x1).abs() < 1.0 && (y - layout.map.y0).abs() < 1.0);
    }
}
