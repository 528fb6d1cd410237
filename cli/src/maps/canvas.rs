//! Pixels, and lines and text on them.

use std::collections::HashMap;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use plotters::prelude::*;

use super::scale::Rgb;
use super::text::{self, Weight, fitted, width_px};
use super::vectors::Vectors;
use super::{MapError, png_file};

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

    /// Text on the map where the page behind has a relative luminance: the ink of the higher
    /// contrast, with a halo of the other.
    pub fn on_map(size_px: f32, luminance_behind: f64) -> Style {
        let dark = contrast(relative_luminance(DARK), luminance_behind);
        let light = contrast(relative_luminance(LIGHT), luminance_behind);
        let (colour, halo) = if dark > light { (DARK, LIGHT) } else { (LIGHT, DARK) };
        Style { size_px, weight: Weight::Regular, colour, halo: Some(halo) }
    }
}

/// Relative luminance of a colour, 0 (black) to 1 (white):
///
/// ```text
/// L = 0.2126 R + 0.7152 G + 0.0722 B,   each linear: c/12.92 up to 0.04045, else ((c + 0.055)/1.055)^2.4
/// ```
///
/// Source: IEC 61966-2-1 (sRGB), as in the Web Content Accessibility Guidelines 2.2.
pub fn relative_luminance(colour: Rgb) -> f64 {
    let [r, g, b] = colour.map(|component| {
        let c = f64::from(component) / 255.0;
        if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
    });
    0.2126 * r + 0.7152 * g + 0.0722 * b
}

/// Contrast of two relative luminances, 1 to 21: `(L1 + 0.05) / (L2 + 0.05)`, the lighter above.
///
/// Source: Web Content Accessibility Guidelines 2.2, "contrast ratio".
pub fn contrast(a: f64, b: f64) -> f64 {
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// A picture in memory, red, green and blue a pixel, rows from the top.
///
/// What draws counts in points; a picture wider than usual has several pixels a point, so that
/// its lines and texts grow with it.
#[derive(Debug)]
pub struct Canvas {
    /// Points along x.
    pub width: usize,
    /// Points along y.
    pub height: usize,
    /// Pixels along x and y.
    size: [usize; 2],
    /// Pixels a point.
    zoom: f64,
    /// Three bytes a pixel.
    pub pixels: Vec<u8>,
    failed: Option<MapError>,
    vectors: Option<Vectors>,
}

/// Sizes of the line under the titles.
const SUBTITLE_PX: [f32; 4] = [15.0, 14.0, 13.0, 12.0];

impl Canvas {
    /// An empty page, a pixel a point.
    pub fn new(width: usize, height: usize) -> Canvas {
        Canvas::zoomed(width, height, 1.0)
    }

    /// An empty page of so many points, with `zoom` pixels each along either side.
    pub fn zoomed(width: usize, height: usize, zoom: f64) -> Canvas {
        let size = [width, height].map(|points| (points as f64 * zoom).round() as usize);
        let pixels = PAGE.iter().copied().cycle().take(3 * size[0] * size[1]).collect();
        Canvas { width, height, size, zoom, pixels, failed: None, vectors: None }
    }

    /// Pixels along x and y.
    pub fn size(&self) -> [usize; 2] {
        self.size
    }

    /// Pixels a point.
    pub fn zoom(&self) -> f64 {
        self.zoom
    }

    /// The first pixel of a point.
    fn pixel(&self, point: i32) -> i32 {
        (f64::from(point) * self.zoom).round() as i32
    }

    /// From now on keeps what is drawn as vectors too.
    pub fn record(&mut self) {
        self.vectors = Some(Vectors::default());
    }

    /// Keeps a rectangle of pixels, as they are now, among the vectors.
    pub fn record_pixels(&mut self, [x, y]: [usize; 2], size: [usize; 2]) -> Result<(), MapError> {
        if self.vectors.is_none() {
            return Ok(());
        }
        let mut part = Canvas::zoomed(size[0], size[1], self.zoom);
        let [columns, rows] = part.size;
        let [left, top] = [x, y].map(|point| self.pixel(point as i32) as usize);
        for row in 0..rows.min(self.size[1].saturating_sub(top)) {
            let start = 3 * ((top + row) * self.size[0] + left);
            part.pixels[3 * row * columns..3 * (row + 1) * columns]
                .copy_from_slice(&self.pixels[start..start + 3 * columns]);
        }
        let png = STANDARD.encode(png_file::encode(&part, &[])?);
        if let Some(vectors) = &mut self.vectors {
            vectors.image([x, y], size, &png);
        }
        Ok(())
    }

    /// What was drawn as SVG, if it was recorded.
    pub fn svg(&self, title: &str, description: &str) -> Option<Vec<u8>> {
        let points = [self.width, self.height];
        let vectors = self.vectors.as_ref();
        vectors.map(|vectors| vectors.document(points, self.size, title, description))
    }

    /// Mixes a colour into a pixel; outside the page nothing happens.
    fn blend(&mut self, x: i32, y: i32, colour: Rgb, share: f32) {
        let [width, height] = self.size;
        if x < 0 || y < 0 || x as usize >= width || y as usize >= height || share <= 0.0 {
            return;
        }
        let at = 3 * (y as usize * width + x as usize);
        for (pixel, ink) in self.pixels[at..at + 3].iter_mut().zip(colour) {
            let mixed = f32::from(*pixel) + (f32::from(ink) - f32::from(*pixel)) * share.min(1.0);
            *pixel = (mixed + 0.5) as u8;
        }
    }

    /// A filled rectangle from corner to corner, both included.
    pub fn bar(&mut self, [x0, y0]: [i32; 2], [x1, y1]: [i32; 2], colour: Rgb) {
        if let Some(vectors) = &mut self.vectors {
            vectors.bar([x0, y0], [x1, y1], colour);
        }
        let size = (self.size[0] as u32, self.size[1] as u32);
        let [r, g, b] = colour;
        // Plotters leaves out the far edge.
        let near = (self.pixel(x0.min(x1)), self.pixel(y0.min(y1)));
        let far = (self.pixel(x0.max(x1) + 1), self.pixel(y0.max(y1) + 1));
        let corners = [near, (far.0.max(near.0 + 1), far.1.max(near.1 + 1))];
        let rectangle = Rectangle::new(corners, RGBColor(r, g, b).filled());
        let drawn =
            BitMapBackend::with_buffer(&mut self.pixels, size).into_drawing_area().draw(&rectangle);
        if let Err(error) = drawn {
            self.failed.get_or_insert(MapError(error.to_string()));
        }
    }

    /// The outline of a rectangle, one point wide, from corner to corner inclusive; `dash`
    /// pixels on and as many off, or unbroken.
    pub fn outline(&mut self, corners: [[i32; 2]; 2], colour: Rgb, share: f32, dash: Option<i32>) {
        let [[x0, y0], [x1, y1]] = corners;
        if let Some(vectors) = &mut self.vectors {
            vectors.outline(corners, colour, share, dash);
        }
        let dash = dash.map(|dash| self.pixel(dash).max(1));
        let shown = |n: i32| dash.is_none_or(|dash| n.rem_euclid(2 * dash) < dash);
        let thick = self.pixel(1).max(1);
        let [x0, y0] = [x0, y0].map(|point| self.pixel(point));
        let [x1, y1] = [x1, y1].map(|point| self.pixel(point) + thick - 1);
        for x in x0..=x1 {
            if shown(x - x0) {
                for k in 0..thick {
                    self.blend(x, y0 + k, colour, share);
                    self.blend(x, y1 - k, colour, share);
                }
            }
        }
        for y in y0 + thick..=y1 - thick {
            if shown(y - y0) {
                for k in 0..thick {
                    self.blend(x0 + k, y, colour, share);
                    self.blend(x1 - k, y, colour, share);
                }
            }
        }
    }

    /// The line under the titles: as large as fits in `room_px`, and shortened where even the
    /// smallest size does not.
    pub fn subtitle(&mut self, text: &str, x: f32, room_px: f32) {
        let [largest, .., smallest] = SUBTITLE_PX;
        let fits = |size: &f32| width_px(text, *size, Weight::Regular) <= room_px;
        let size_px = SUBTITLE_PX.into_iter().find(|size| fits(size)).unwrap_or(smallest);
        let text = fitted(text, size_px, Weight::Regular, room_px);
        // The baseline stays in the middle of the line.
        let y = 58.0 - 0.25 * (largest - size_px);
        self.text(&text, x, y, Align::Start, Style::page(size_px));
    }

    /// A line of text whose capitals are centred on `y`.
    pub fn text(&mut self, text: &str, x: f32, y: f32, align: Align, style: Style) {
        let zoom = self.zoom as f32;
        let Some(mask) = text::mask(text, zoom * style.size_px, style.weight) else { return };
        let width = text::width_px(text, style.size_px, style.weight);
        let start = match align {
            Align::Start => x,
            Align::Middle => x - width / 2.0,
            Align::End => x - width,
        };
        let base = y + text::capital_px(style.size_px) / 2.0;
        if let Some(vectors) = &mut self.vectors {
            let font = (style.size_px, style.weight);
            vectors.text(text, [x, base], (align, false), font, (style.colour, style.halo));
        }
        self.stamp(
            &mask,
            (zoom * start).round() as i32 - mask.pen_x,
            (zoom * base).round() as i32 - mask.base_y,
            style,
        );
    }

    /// Text that runs upward, centred on the point.
    pub fn text_upward(&mut self, text: &str, x: f32, y: f32, style: Style) {
        let zoom = self.zoom as f32;
        let Some(mask) = text::mask(text, zoom * style.size_px, style.weight) else { return };
        let width = text::width_px(text, style.size_px, style.weight);
        let mask = mask.upward();
        let base = x + text::capital_px(style.size_px) / 2.0;
        if let Some(vectors) = &mut self.vectors {
            let font = (style.size_px, style.weight);
            let place = (Align::Middle, true);
            vectors.text(text, [base, y], place, font, (style.colour, style.halo));
        }
        let start = y + width / 2.0;
        self.stamp(
            &mask,
            (zoom * base).round() as i32 - mask.pen_x,
            (zoom * start).round() as i32 - mask.base_y,
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
        if let Some(vectors) = &mut self.vectors {
            vectors.ring(centre, radius, width, colour);
        }
        let centre = centre.map(|at| at * self.zoom);
        let (radius, width) = (radius * self.zoom, width * self.zoom);
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

    /// A smooth line of a width through points, mixed in by `share`, inside `clip` only
    /// (left, top, right, bottom; right and bottom not included).
    pub fn stroke(
        &mut self,
        points: &[[f64; 2]],
        width: f64,
        (colour, share): (Rgb, f32),
        clip: [i32; 4],
    ) {
        if let Some(vectors) = &mut self.vectors {
            vectors.stroke(points, width, (colour, share), clip);
        }
        let points: Vec<[f64; 2]> = points.iter().map(|at| at.map(|v| v * self.zoom)).collect();
        let width = width * self.zoom;
        let clip = clip.map(|point| self.pixel(point));
        // Coverage first, so that neighbouring pieces do not add up where they meet.
        let mut covered: HashMap<(i32, i32), f32> = HashMap::new();
        let reach = width / 2.0 + 1.0;
        for pair in points.windows(2) {
            let [a, b] = [pair[0], pair[1]];
            let low = |k: usize| (a[k].min(b[k]) - reach).floor() as i32;
            let high = |k: usize| (a[k].max(b[k]) + reach).ceil() as i32;
            for y in low(1).max(clip[1])..=high(1).min(clip[3] - 1) {
                for x in low(0).max(clip[0])..=high(0).min(clip[2] - 1) {
                    let middle = [f64::from(x) + 0.5, f64::from(y) + 0.5];
                    let inside = width / 2.0 + 0.5 - distance_to_piece(middle, a, b);
                    if inside > 0.0 {
                        let coverage = covered.entry((x, y)).or_insert(0.0);
                        *coverage = coverage.max(inside.min(1.0) as f32);
                    }
                }
            }
        }
        for ((x, y), coverage) in covered {
            self.blend(x, y, colour, share * coverage);
        }
    }

    /// Mean relative luminance of the pixels of a rectangle, 0 to 1.
    pub fn luminance(&self, rect: [[i32; 2]; 2]) -> f64 {
        let clamp = |v: i32, most: usize| v.clamp(0, most as i32) as usize;
        let [[x0, y0], [x1, y1]] = rect.map(|corner| corner.map(|point| self.pixel(point)));
        let (mut sum, mut count) = (0.0, 0usize);
        let [width, height] = self.size;
        for y in clamp(y0, height)..clamp(y1, height) {
            for x in clamp(x0, width)..clamp(x1, width) {
                let at = 3 * (y * width + x);
                sum += relative_luminance([0, 1, 2].map(|c| self.pixels[at + c]));
                count += 1;
            }
        }
        if count == 0 { 0.0 } else { sum / count as f64 }
    }

    /// What went wrong while drawing, if anything did.
    pub fn failure(&mut self) -> Result<(), MapError> {
        self.failed.take().map_or(Ok(()), Err)
    }
}

/// Distance of a point from a straight piece of line.
fn distance_to_piece(point: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let along = [b[0] - a[0], b[1] - a[1]];
    let from_a = [point[0] - a[0], point[1] - a[1]];
    let length_squared = along[0] * along[0] + along[1] * along[1];
    let share = if length_squared > 0.0 {
        ((from_a[0] * along[0] + from_a[1] * along[1]) / length_squared).clamp(0.0, 1.0)
    } else {
        0.0
    };
    (from_a[0] - share * along[0]).hypot(from_a[1] - share * along[1])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pixel(canvas: &Canvas, x: usize, y: usize) -> Rgb {
        let at = 3 * (y * canvas.width + x);
        [canvas.pixels[at], canvas.pixels[at + 1], canvas.pixels[at + 2]]
    }

    /// Guidelines 2.2, success criterion 1.4.3: large text needs a contrast of 3, other text 4.5.
    /// Between the two inks no grey does worse than the geometric mean of the extremes; the halo
    /// of the other ink makes up for what lacks to 4.5.
    #[test]
    fn names_stand_out_from_every_colour_of_the_scale() {
        let scale = super::super::scale::ColourScale::magma(0.0, 1.0);
        for step in 0..=255 {
            let behind = relative_luminance(scale.colour(f64::from(step) / 255.0));
            let style = Style::on_map(14.0, behind);
            let got = contrast(relative_luminance(style.colour), behind);
            assert!(got >= 4.2, "{step}: {got}");
        }
        // Black on white, from the definition.
        assert!(
            (contrast(relative_luminance([0; 3]), relative_luminance([255; 3])) - 21.0).abs()
                < 1e-9
        );
    }

    #[test]
    fn what_lies_outside_the_page_is_left_out() {
        let mut canvas = Canvas::new(8, 6);
        canvas.bar([-4, 0], [12, 0], INK);
        canvas.outline([[-3, -3], [20, 20]], INK, 1.0, None);
        canvas.text("wider than the page", 0.0, 3.0, Align::Middle, Style::on_map(20.0, 0.0));
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
    fn bars_include_both_corners_and_strokes_stay_inside_their_clip() {
        let mut canvas = Canvas::new(20, 20);
        canvas.bar([5, 6], [8, 6], INK);
        assert_eq!(pixel(&canvas, 5, 6), INK);
        assert_eq!(pixel(&canvas, 8, 6), INK);
        assert_eq!(pixel(&canvas, 9, 6), PAGE);
        assert_eq!(pixel(&canvas, 5, 7), PAGE);
        canvas.stroke(&[[0.0, 12.5], [20.0, 12.5]], 1.0, (INK, 1.0), [4, 0, 10, 20]);
        assert_eq!(pixel(&canvas, 3, 12), PAGE);
        assert_eq!(pixel(&canvas, 4, 12), INK);
        assert_eq!(pixel(&canvas, 9, 12), INK);
        assert_eq!(pixel(&canvas, 10, 12), PAGE);
        canvas.failure().expect("nothing failed");
    }

    #[test]
    fn a_wide_picture_is_the_same_one_with_more_pixels() {
        let mut canvas = Canvas::zoomed(20, 10, 2.5);
        assert_eq!(canvas.size(), [50, 25]);
        canvas.bar([4, 2], [7, 3], INK);
        let at = |canvas: &Canvas, x: usize, y: usize| canvas.pixels[3 * (y * 50 + x)];
        for (x, y, inside) in [(10, 5, true), (19, 9, true), (9, 5, false), (20, 5, false)] {
            assert_eq!(at(&canvas, x, y) == INK[0], inside, "{x} {y}");
        }
        let rows = |size: f32, zoom: f64| {
            let mut canvas = Canvas::zoomed(40, 40, zoom);
            canvas.text("H", 20.0, 20.0, Align::Middle, Style::page(size));
            let [width, height] = canvas.size();
            let dark = |y: &usize| (0..width).any(|x| canvas.pixels[3 * (y * width + x)] < 128);
            (0..height).filter(dark).count()
        };
        assert!(rows(14.0, 3.0).abs_diff(3 * rows(14.0, 1.0)) <= 3);
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
