//! Pixels, and lines and text on them.

use plotters::prelude::*;

use super::MapError;
use super::scale::Rgb;
use super::text::{self, Weight};

/// Ink of axes and text on the page.
pub const INK: Rgb = [38, 38, 46];
/// Ink of secondary text on the page.
pub const FAINT: Rgb = [96, 96, 106];
/// Where there is nothing to show.
pub const NOTHING: Rgb = [226, 226, 230];
/// The page.
pub const PAGE: Rgb = [255, 255, 255];
/// Halo around light marks on the map, and the other way round.
pub const DARK: Rgb = [16, 12, 28];
/// Marks on the map.
pub const LIGHT: Rgb = [255, 255, 255];

/// Horizontal place of a text relative to its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// Starts at the point.
    Start,
    /// Is centred on the point.
    Middle,
    /// Ends at the point.
    End,
}

/// How a text looks.
#[derive(Debug, Clone, Copy)]
pub struct Style {
    /// Font size, pixels.
    pub size_px: f32,
    /// Cut.
    pub weight: Weight,
    /// Colour.
    pub colour: Rgb,
    /// A halo of this colour, for text on a map.
    pub halo: Option<Rgb>,
}

impl Style {
    /// Text on the page.
    pub fn page(size_px: f32) -> Style {
        Style { size_px, weight: Weight::Regular, colour: INK, halo: None }
    }

    /// Text on the map, legible on dark and light.
    pub fn on_map(size_px: f32) -> Style {
        Style { size_px, weight: Weight::Regular, colour: LIGHT, halo: Some(DARK) }
    }
}

/// A picture in memory, red, green and blue a pixel, rows from the top.
#[derive(Debug)]
pub struct Canvas {
    /// Pixels along x.
    pub width: usize,
    /// Pixels along y.
    pub height: usize,
    /// `3 * width * height` bytes.
    pub pixels: Vec<u8>,
}

impl Canvas {
    /// An empty page.
    pub fn new(width: usize, height: usize) -> Canvas {
        let pixels = PAGE.iter().copied().cycle().take(3 * width * height).collect();
        Canvas { width, height, pixels }
    }

    /// Sets a pixel; outside the page nothing happens.
    pub fn set(&mut self, x: i32, y: i32, colour: Rgb) {
        self.blend(x, y, colour, 1.0);
    }

    fn blend(&mut self, x: i32, y: i32, colour: Rgb, share: f32) {
        if x < 0 || y < 0 || x as usize >= self.width || y as usize >= self.height || share <= 0.0 {
            return;
        }
        let at = 3 * (y as usize * self.width + x as usize);
        for (pixel, ink) in self.pixels[at..at + 3].iter_mut().zip(colour) {
            let mixed = f32::from(*pixel) + (f32::from(ink) - f32::from(*pixel)) * share.min(1.0);
            *pixel = (mixed + 0.5) as u8;
        }
    }

    /// A line along x or y, `thickness` pixels wide, from (x0, y0) to (x1, y1) inclusive.
    pub fn bar(&mut self, [x0, y0]: [i32; 2], [x1, y1]: [i32; 2], colour: Rgb) {
        for y in y0.min(y1)..=y0.max(y1) {
            for x in x0.min(x1)..=x0.max(x1) {
                self.set(x, y, colour);
            }
        }
    }

    /// The outline of a rectangle, one pixel wide, from corner to corner inclusive; `dash`
    /// pixels on and as many off, or unbroken.
    pub fn outline(&mut self, corners: [[i32; 2]; 2], colour: Rgb, share: f32, dash: Option<i32>) {
        let [[x0, y0], [x1, y1]] = corners;
        let shown = |n: i32| dash.is_none_or(|dash| n.rem_euclid(2 * dash) < dash);
        for x in x0..=x1 {
            if shown(x - x0) {
                self.blend(x, y0, colour, share);
                self.blend(x, y1, colour, share);
            }
        }
        for y in y0 + 1..y1 {
            if shown(y - y0) {
                self.blend(x0, y, colour, share);
                self.blend(x1, y, colour, share);
            }
        }
    }

    /// A line of text whose capitals are centred on `y`.
    pub fn text(&mut self, text: &str, x: f32, y: f32, align: Align, style: Style) {
        let Some(mask) = text::mask(text, style.size_px, style.weight) else { return };
        let width = text::width_px(text, style.size_px, style.weight);
        let start = match align {
            Align::Start => x,
            Align::Middle => x - width / 2.0,
            Align::End => x - width,
        };
        let base = y + text::capital_px(style.size_px) / 2.0;
        self.stamp(
            &mask,
            start.round() as i32 - mask.pen_x,
            base.round() as i32 - mask.base_y,
            style,
        );
    }

    /// Text that runs upward, centred on the point.
    pub fn text_upward(&mut self, text: &str, x: f32, y: f32, style: Style) {
        let Some(mask) = text::mask(text, style.size_px, style.weight) else { return };
        let width = text::width_px(text, style.size_px, style.weight);
        let mask = mask.upward();
        let base = x + text::capital_px(style.size_px) / 2.0;
        let start = y + width / 2.0;
        self.stamp(
            &mask,
            base.round() as i32 - mask.pen_x,
            start.round() as i32 - mask.base_y,
            style,
        );
    }

    fn stamp(&mut self, mask: &text::Mask, left: i32, top: i32, style: Style) {
        let halo = style.halo.map(|colour| (colour, mask.grown()));
        for y in 0..mask.height {
            for x in 0..mask.width {
                let at = y * mask.width + x;
                let (px, py) = (left + x as i32, top + y as i32);
                if let Some((colour, grown)) = &halo {
                    self.blend(px, py, *colour, 0.8 * grown[at]);
                }
                self.blend(px, py, style.colour, mask.coverage[at]);
            }
        }
    }

    /// A ring of a radius and a width around a point, its rim smoothed over a pixel; a disc where
    /// the width exceeds the radius.
    pub fn ring(&mut self, centre: [f64; 2], radius: f64, width: f64, colour: Rgb) {
        let reach = radius + width / 2.0 + 1.0;
        let [x0, y0] = centre.map(|c| (c - reach).floor() as i32);
        let [x1, y1] = centre.map(|c| (c + reach).ceil() as i32);
        for y in y0..=y1 {
            for x in x0..=x1 {
                let distance =
                    (f64::from(x) + 0.5 - centre[0]).hypot(f64::from(y) + 0.5 - centre[1]);
                let inside = width / 2.0 + 0.5 - (distance - radius).abs();
                self.blend(x, y, colour, inside.clamp(0.0, 1.0) as f32);
            }
        }
    }

    /// A smooth line through points.
    pub fn path(&mut self, points: &[[i32; 2]], colour: Rgb, stroke: u32) -> Result<(), MapError> {
        let points: Vec<(i32, i32)> = points.iter().map(|p| (p[0], p[1])).collect();
        self.shape(&PathElement::new(points, pen(colour, stroke)))
    }

    fn shape<'a, E>(&mut self, element: &'a E) -> Result<(), MapError>
    where
        &'a E: plotters::element::PointCollection<'a, (i32, i32)>,
        E: for<'b> plotters::element::Drawable<BitMapBackend<'b>>,
    {
        let size = (self.width as u32, self.height as u32);
        let area = BitMapBackend::with_buffer(&mut self.pixels, size).into_drawing_area();
        area.draw(element).map_err(|error| MapError(error.to_string()))
    }
}

fn ink(colour: Rgb) -> RGBColor {
    RGBColor(colour[0], colour[1], colour[2])
}

fn pen(colour: Rgb, stroke: u32) -> ShapeStyle {
    ink(colour).stroke_width(stroke)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pixel(canvas: &Canvas, x: usize, y: usize) -> Rgb {
        let at = 3 * (y * canvas.width + x);
        [canvas.pixels[at], canvas.pixels[at + 1], canvas.pixels[at + 2]]
    }

    #[test]
    fn what_lies_outside_the_page_is_left_out() {
        let mut canvas = Canvas::new(8, 6);
        canvas.set(-1, 0, INK);
        canvas.set(8, 0, INK);
        canvas.outline([[-3, -3], [20, 20]], INK, 1.0, None);
        canvas.text("wider than the page", 0.0, 3.0, Align::Middle, Style::on_map(20.0));
        canvas.ring([7.0, 5.0], 30.0, 1.0, INK);
        assert_eq!(canvas.pixels.len(), 3 * 8 * 6);
    }

    #[test]
    fn capitals_are_centred_on_their_line() {
        let mut canvas = Canvas::new(60, 60);
        canvas.text("H", 30.0, 30.0, Align::Middle, Style::page(40.0));
        let dark: Vec<usize> =
            (0..60).filter(|&y| (0..60).any(|x| pixel(&canvas, x, y)[0] < 128)).collect();
        let middle = (dark[0] + dark[dark.len() - 1]) as f64 / 2.0;
        assert!((middle - 29.5).abs() <= 1.0, "{middle}");
    }

    #[test]
    fn a_ring_is_drawn_around_its_centre() {
        let mut canvas = Canvas::new(40, 40);
        canvas.ring([20.5, 20.5], 10.0, 2.0, INK);
        assert_eq!(pixel(&canvas, 20, 20), PAGE);
        for (x, y) in [(30, 20), (10, 20), (20, 10), (20, 30)] {
            assert_eq!(pixel(&canvas, x, y), INK);
        }
    }
}
