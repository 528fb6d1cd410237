//! Text in the embedded font, as a mask of coverage.

use std::sync::LazyLock;

use ab_glyph::{Font, FontRef, Glyph, PxScale, ScaleFont, point};

/// Which cut of the font.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weight {
    /// For most text.
    Regular,
    /// For titles.
    Bold,
}

/// Licence in `assets/FONT-LICENSE.txt`.
static REGULAR: LazyLock<Option<FontRef<'static>>> = LazyLock::new(|| {
    FontRef::try_from_slice(include_bytes!("../../assets/DejaVuSans-subset.ttf")).ok()
});
static BOLD: LazyLock<Option<FontRef<'static>>> = LazyLock::new(|| {
    FontRef::try_from_slice(include_bytes!("../../assets/DejaVuSans-Bold-subset.ttf")).ok()
});

/// Height of a capital above the base line, as a share of the font size (DejaVu Sans: 1493 of
/// 2048 units).
const CAPITAL_SHARE: f32 = 0.729;

/// A line of text turned into coverage, 0 to 1 a pixel.
#[derive(Debug, Clone)]
pub struct Mask {
    /// Pixels along x.
    pub width: usize,
    /// Pixels along y.
    pub height: usize,
    /// Row by row from the top.
    pub coverage: Vec<f32>,
    /// Column of the pen's start.
    pub pen_x: i32,
    /// Row of the base line.
    pub base_y: i32,
}

/// Width of a line of text, pixels.
pub fn width_px(text: &str, size_px: f32, weight: Weight) -> f32 {
    lay_out(text, size_px, weight).map_or(0.0, |(_, _, width)| width)
}

/// Height of a capital letter, pixels.
pub fn capital_px(size_px: f32) -> f32 {
    CAPITAL_SHARE * size_px
}

/// The text, or as much of its beginning as fits, with an ellipsis in place of the rest.
pub fn fitted(text: &str, size_px: f32, weight: Weight, room_px: f32) -> String {
    if width_px(text, size_px, weight) <= room_px {
        return text.to_owned();
    }
    let mut kept: Vec<char> = text.chars().collect();
    while kept.pop().is_some() {
        let shorter = kept.iter().collect::<String>().trim_end().to_owned() + "…";
        if width_px(&shorter, size_px, weight) <= room_px {
            return shorter;
        }
    }
    String::new()
}

/// Draws a line of text; `None` where nothing is visible.
pub fn mask(text: &str, size_px: f32, weight: Weight) -> Option<Mask> {
    let (font, glyphs, _) = lay_out(text, size_px, weight)?;
    let outlines: Vec<_> = glyphs.into_iter().filter_map(|g| font.outline_glyph(g)).collect();
    let (mut left, mut top, mut right, mut bottom) = (f32::MAX, f32::MAX, f32::MIN, f32::MIN);
    for outline in &outlines {
        let bounds = outline.px_bounds();
        left = left.min(bounds.min.x);
        top = top.min(bounds.min.y);
        right = right.max(bounds.max.x);
        bottom = bottom.max(bounds.max.y);
    }
    if outlines.is_empty() {
        return None;
    }
    // A margin of two pixels leaves room for a halo.
    let (x0, y0) = (left.floor() as i32 - 2, top.floor() as i32 - 2);
    let width = (right.ceil() as i32 + 2 - x0) as usize;
    let height = (bottom.ceil() as i32 + 2 - y0) as usize;
    let mut coverage = vec![0.0f32; width * height];
    for outline in &outlines {
        let bounds = outline.px_bounds();
        let dx = (bounds.min.x as i32 - x0) as usize;
        let dy = (bounds.min.y as i32 - y0) as usize;
        outline.draw(|x, y, c| {
            if let Some(pixel) = coverage.get_mut((y as usize + dy) * width + x as usize + dx) {
                *pixel = (*pixel + c).min(1.0);
            }
        });
    }
    Some(Mask { width, height, coverage, pen_x: -x0, base_y: -y0 })
}

impl Mask {
    /// Turned a quarter counter-clockwise: the text runs upward. `pen_x` and `base_y` become the
    /// column of the base line and the row of the pen's start.
    pub fn upward(&self) -> Mask {
        let mut coverage = vec![0.0; self.coverage.len()];
        for y in 0..self.height {
            for x in 0..self.width {
                coverage[(self.width - 1 - x) * self.height + y] =
                    self.coverage[y * self.width + x];
            }
        }
        Mask {
            width: self.height,
            height: self.width,
            coverage,
            pen_x: self.base_y,
            base_y: self.width as i32 - self.pen_x,
        }
    }

    /// The mask grown by about a pixel and a half, for a halo.
    pub fn grown(&self) -> Vec<f32> {
        let (w, h) = (self.width as i32, self.height as i32);
        let mut grown = vec![0.0f32; self.coverage.len()];
        for y in 0..h {
            for x in 0..w {
                let mut most = 0.0f32;
                for dy in -2..=2i32 {
                    for dx in -2..=2i32 {
                        let (nx, ny) = (x + dx, y + dy);
                        if nx < 0 || ny < 0 || nx >= w || ny >= h {
                            continue;
                        }
                        let weight = match dx * dx + dy * dy {
                            0..=2 => 1.0,
                            4 => 0.6,
                            5 => 0.35,
                            _ => 0.0,
                        };
                        most = most.max(weight * self.coverage[(ny * w + nx) as usize]);
                    }
                }
                grown[(y * w + x) as usize] = most;
            }
        }
        grown
    }
}

/// The font, every glyph at its place, and the width of the line.
fn lay_out(
    text: &str,
    size_px: f32,
    weight: Weight,
) -> Option<(&'static FontRef<'static>, Vec<Glyph>, f32)> {
    let font = match weight {
        Weight::Regular => REGULAR.as_ref(),
        Weight::Bold => BOLD.as_ref(),
    }?;
    // ab_glyph scales by the height from ascent to descent; sizes here are of the em square.
    let height = font.height_unscaled() / font.units_per_em()? * size_px;
    let scaled = font.as_scaled(PxScale::from(height));
    let mut x = 0.0;
    let mut glyphs = Vec::new();
    let mut previous = None;
    for character in text.chars() {
        let id = font.glyph_id(character);
        if let Some(previous) = previous {
            x += scaled.kern(previous, id);
        }
        glyphs.push(id.with_scale_and_position(PxScale::from(height), point(x, 0.0)));
        x += scaled.h_advance(id);
        previous = Some(id);
    }
    Some((font, glyphs, x))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_embedded_font_has_what_maps_need() {
        for font in [&REGULAR, &BOLD] {
            let font = font.as_ref().expect("a readable font");
            for character in "AZaz09°²³·±×µΔ−–…≤≥∞≈Ωéß".chars() {
                assert_ne!(font.glyph_id(character).0, 0, "{character}");
            }
        }
    }

    #[test]
    fn a_capital_is_as_high_as_promised() {
        let mask = mask("H", 100.0, Weight::Regular).expect("a mask");
        let rows = (0..mask.height)
            .filter(|y| {
                mask.coverage[y * mask.width..(y + 1) * mask.width].iter().any(|c| *c > 0.5)
            })
            .count();
        assert!((rows as f32 - capital_px(100.0)).abs() <= 1.0, "{rows}");
    }

    #[test]
    fn long_text_is_cut_to_its_room() {
        let text = fitted("A very long title that goes on", 14.0, Weight::Regular, 80.0);
        assert!(text.ends_with('…') && width_px(&text, 14.0, Weight::Regular) <= 80.0);
        assert_eq!(fitted("short", 14.0, Weight::Regular, 80.0), "short");
        assert_eq!(fitted("short", 14.0, Weight::Regular, 1.0), "");
    }

    #[test]
    fn blank_text_has_no_mask() {
        assert!(mask("  ", 14.0, Weight::Regular).is_none());
        assert!(mask("", 14.0, Weight::Regular).is_none());
    }

    #[test]
    fn upward_text_is_the_same_text_turned() {
        let mask = mask("L", 20.0, Weight::Regular).expect("a mask");
        let up = mask.upward();
        assert_eq!((up.width, up.height), (mask.height, mask.width));
        // The last pixel of the top row becomes the first of the left column.
        assert_eq!(up.coverage[0], mask.coverage[mask.width - 1]);
        let sum = |m: &Mask| m.coverage.iter().sum::<f32>();
        assert!((sum(&up) - sum(&mask)).abs() < 1e-3);
    }
}
