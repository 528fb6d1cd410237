//! Nozzles on a map: outlines of cones, crosses under orifices, discs with numbers.

use super::broken::outside;
use super::canvas::{Align, Canvas, DARK, LIGHT, Style};
use super::layout::{Layout, PixelRect};
use super::scale::ColourScale;
use super::text::{Weight, width_px};
use crate::figures::significant;

/// A nozzle over the map.
#[derive(Debug, Clone)]
pub struct NozzleMark {
    /// Where the orifice is, m.
    pub at_m: [f64; 2],
    /// Outline of its cone on the module, m, closed.
    pub outline_m: Vec<[f64; 2]>,
    /// A value in the map's unit: drawn as a disc of its colour, white where it is not finite.
    pub value: Option<f64>,
}

/// Diameter of the disc of a nozzle with room around it, and there a number goes with it.
const LARGEST_DISC_PX: f64 = 27.0;

/// Outlines of the cones, cut off at the edge of the map and broken at texts.
pub(super) fn draw_cones(
    canvas: &mut Canvas,
    layout: &Layout,
    nozzles: &[NozzleMark],
    texts: &[PixelRect],
) {
    let map = &layout.map;
    let clip = [map.x0, map.y0, map.x1, map.y1].map(|v| v as i32);
    for nozzle in nozzles {
        let outline: Vec<[f64; 2]> = nozzle.outline_m.iter().map(|p| layout.point(*p)).collect();
        for part in outside(&outline, texts) {
            canvas.stroke(&part, 2.6, (DARK, 0.45), clip);
            canvas.stroke(&part, 1.0, (LIGHT, 0.85), clip);
        }
    }
}

/// Crosses under the orifices, or discs with their numbers.
pub(super) fn draw_orifices(
    canvas: &mut Canvas,
    layout: &Layout,
    nozzles: &[NozzleMark],
    scale: &ColourScale,
) {
    let map = &layout.map;
    let clip = [map.x0, map.y0, map.x1, map.y1].map(|v| v as i32);
    let disc = disc_px(layout, nozzles);
    for nozzle in nozzles {
        let [x, y] = layout.point(nozzle.at_m).map(|v| v.floor() as i32);
        if let Some(value) = nozzle.value {
            let centre = layout.point(nozzle.at_m);
            let colour = if value.is_finite() { scale.colour(value) } else { LIGHT };
            canvas.ring(centre, 0.0, disc, DARK);
            canvas.ring(centre, 0.0, disc - 4.0, colour);
            if let Some((text, rect)) = number_of(layout, nozzle, disc) {
                let behind = canvas.luminance([
                    [rect.x0 as i32, rect.y0 as i32],
                    [rect.x1 as i32, rect.y1 as i32],
                ]);
                let at = rect.centre().map(|v| v as f32);
                canvas.text(&text, at[0], at[1], Align::Middle, Style::on_map(12.0, behind));
            }
            continue;
        }
        if x < clip[0] || x >= clip[2] || y < clip[1] || y >= clip[3] {
            continue;
        }
        let left = nozzle.outline_m.iter().map(|p| p[0]).fold(f64::INFINITY, f64::min);
        let right = nozzle.outline_m.iter().map(|p| p[0]).fold(f64::NEG_INFINITY, f64::max);
        // Small cones get small crosses, or the die under them would vanish.
        let arm = ((right - left) * layout.pixels_per_m() / 16.0).clamp(1.0, 4.0) as i32;
        for (grow, colour) in [(1, DARK), (0, LIGHT)] {
            canvas.bar([x - arm - grow, y - grow], [x + arm + grow, y + grow], colour);
            canvas.bar([x - grow, y - arm - grow], [x + grow, y + arm + grow], colour);
        }
    }
}

/// The number under the disc of a nozzle, where there is room for it.
fn number_of(layout: &Layout, nozzle: &NozzleMark, disc: f64) -> Option<(String, PixelRect)> {
    let value = nozzle.value.filter(|value| value.is_finite() && disc >= LARGEST_DISC_PX)?;
    let text = significant(value, 2);
    let [x, y] = layout.point(nozzle.at_m);
    let width = f64::from(width_px(&text, 12.0, Weight::Regular)) + 4.0;
    Some((text, PixelRect::around(x, y + 0.5 * disc + 9.0, width, 12.0)))
}

/// Where the numbers of nozzles are.
pub(super) fn taken_by_numbers(layout: &Layout, nozzles: &[NozzleMark]) -> Vec<PixelRect> {
    let disc = disc_px(layout, nozzles);
    nozzles.iter().filter_map(|n| number_of(layout, n, disc)).map(|(_, rect)| rect).collect()
}

/// Diameter of the discs of nozzles: no two touch.
pub(super) fn disc_px(layout: &Layout, nozzles: &[NozzleMark]) -> f64 {
    let places: Vec<[f64; 2]> = nozzles.iter().map(|n| layout.point(n.at_m)).collect();
    let mut nearest = f64::INFINITY;
    for (k, a) in places.iter().enumerate() {
        for b in &places[..k] {
            nearest = nearest.min((a[0] - b[0]).hypot(a[1] - b[1]));
        }
    }
    (0.7 * nearest).clamp(8.0, LARGEST_DISC_PX)
}
