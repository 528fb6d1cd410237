//! The convergence of a solve as a picture: kelvin against unknowns, both on logarithmic axes.

use super::canvas::{Align, Canvas, FAINT, INK, PAGE, Style};
use super::layout::PixelRect;
use super::scale::Rgb;
use super::text::{Weight, fitted, width_px};
use super::{MapError, Picture, png_file};
use crate::figures::{grouped, significant};

const SIZE_PX: [usize; 2] = [1100, 760];
const FRAME: [i32; 4] = [96, 92, 1076, 690];

/// Blue, and orange-red: apart in every common form of colour blindness (M. Okabe, K. Ito,
/// "Color Universal Design", 2008).
const FIRST: Rgb = [0, 114, 178];
const SECOND: Rgb = [213, 94, 0];
/// The same for what stands behind.
const FIRST_PALE: Rgb = [168, 205, 228];
const SECOND_PALE: Rgb = [242, 200, 166];
const GRID: Rgb = [228, 228, 232];

/// One junction's way to its temperature: (unknowns, K), ascending in unknowns.
#[derive(Debug, Clone, Default)]
pub struct Way {
    /// Distance of each grid's own temperature from the one reported.
    pub distance: Vec<(f64, f64)>,
    /// Uncertainty, where a grid has one.
    pub uncertainty: Vec<(f64, f64)>,
}

/// What a picture shows.
#[derive(Debug)]
pub struct Chart<'a> {
    /// File name.
    pub file: String,
    /// Title of the module.
    pub module: &'a str,
    /// Name of the junction drawn in full colour.
    pub chief: &'a str,
    /// Every junction, the chief last.
    pub ways: Vec<Way>,
    /// Accuracy asked for, K.
    pub goal_K: Option<f64>,
}

/// Logarithmic axes over a frame of pixels.
struct Axes {
    low: [f64; 2],
    high: [f64; 2],
}

impl Axes {
    /// Axes that hold all positive points, with whole decades from bottom to top.
    fn around(points: impl Iterator<Item = (f64, f64)>) -> Axes {
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for (x, y) in points.filter(|(x, y)| *x > 0.0 && *y > 0.0) {
            for (k, v) in [x.log10(), y.log10()].into_iter().enumerate() {
                low[k] = low[k].min(v);
                high[k] = high[k].max(v);
            }
        }
        for k in 0..2 {
            if low[k] > high[k] {
                (low[k], high[k]) = (0.0, 1.0);
            }
        }
        // Rounding noise far below is not worth the room.
        low[1] = low[1].max(high[1] - 6.0).floor();
        high[1] = high[1].ceil().max(low[1] + 1.0);
        let margin = (0.04 * (high[0] - low[0])).max(0.05);
        (low[0], high[0]) = (low[0] - margin, high[0] + margin);
        Axes { low, high }
    }

    fn place(&self, (x, y): (f64, f64)) -> [f64; 2] {
        let share = |v: f64, k: usize| (v.log10() - self.low[k]) / (self.high[k] - self.low[k]);
        let [left, top, right, bottom] = FRAME.map(f64::from);
        [left + share(x, 0) * (right - left), bottom - share(y, 1) * (bottom - top)]
    }
}

/// Draws a chart.
pub fn draw(chart: &Chart) -> Result<Picture, MapError> {
    let mut canvas = Canvas::new(SIZE_PX[0], SIZE_PX[1]);
    let goal = chart.goal_K.map(|goal| {
        let first = chart.ways.iter().flat_map(|w| w.distance.first());
        (first.map(|p| p.0).fold(f64::INFINITY, f64::min), goal)
    });
    let points = chart.ways.iter().flat_map(|w| w.distance.iter().chain(&w.uncertainty));
    let axes = Axes::around(points.copied().chain(goal));
    draw_grid(&mut canvas, &axes);
    if let Some((_, goal)) = goal {
        let y = axes.place((1.0, goal))[1].round() as i32;
        for x in (FRAME[0]..FRAME[2]).step_by(14) {
            canvas.bar([x, y], [(x + 8).min(FRAME[2]), y + 1], INK);
        }
    }
    let last = chart.ways.len().saturating_sub(1);
    for (k, way) in chart.ways.iter().enumerate() {
        let chief = k == last;
        let (first, second, width) =
            if chief { (FIRST, SECOND, 2.6) } else { (FIRST_PALE, SECOND_PALE, 1.2) };
        draw_way(&mut canvas, &axes, &way.distance, first, width, chief);
        draw_way(&mut canvas, &axes, &way.uncertainty, second, width, chief);
    }
    if let Some((_, goal)) = goal {
        draw_goal_words(&mut canvas, &axes, chart, goal);
    }
    draw_words(&mut canvas, chart);
    let title = "Convergence";
    let description = format!(
        "Junction temperatures of {} against unknowns: distance from the reported temperature and uncertainty, K",
        chart.module
    );
    let software = concat!("sprayside ", env!("CARGO_PKG_VERSION"));
    let words = [("Title", title), ("Description", &description), ("Software", software)];
    Ok(Picture { file: chart.file.clone(), png: png_file::encode(&canvas, &words)? })
}

/// The words on the line of the accuracy asked for, above or below it, where the fewest curves
/// run.
fn draw_goal_words(canvas: &mut Canvas, axes: &Axes, chart: &Chart, goal_K: f64) {
    let text = format!("asked for: {} K", significant(goal_K, 3));
    let style = Style { halo: Some(PAGE), ..Style::page(14.0) };
    let width = f64::from(width_px(&text, style.size_px, style.weight));
    let line = axes.place((1.0, goal_K))[1];
    let [left, top, right, bottom] = FRAME.map(f64::from);
    let curves: Vec<Vec<[f64; 2]>> = chart
        .ways
        .iter()
        .flat_map(|way| [&way.distance, &way.uncertainty])
        .map(|points| points.iter().map(|p| axes.place(*p)).collect())
        .collect();
    let crossed = |claim: &PixelRect| {
        let pieces = curves.iter().flat_map(|curve| curve.windows(2));
        pieces.filter(|pair| crosses(claim, pair[0], pair[1])).count()
    };
    let xs = (0..=6).map(|k| {
        let share = f64::from(k) / 6.0;
        right - 12.0 - width / 2.0 - share * (right - left - 24.0 - width)
    });
    let places = xs.flat_map(|x| [[x, line - 13.0], [x, line + 15.0]]);
    let inside = places.filter(|[_, y]| *y > top + 9.0 && *y < bottom - 9.0);
    let best = inside.min_by_key(|[x, y]| crossed(&PixelRect::around(*x, *y, width + 12.0, 22.0)));
    if let Some([x, y]) = best {
        canvas.text(&text, x as f32, y as f32, Align::Middle, style);
    }
}

/// Whether a straight piece passes through a rectangle.
fn crosses(rect: &PixelRect, a: [f64; 2], b: [f64; 2]) -> bool {
    // A step a pixel is fine enough for a picture.
    let steps = (b[0] - a[0]).abs().max((b[1] - a[1]).abs()).ceil().max(1.0) as usize;
    (0..=steps).any(|k| {
        let share = k as f64 / steps as f64;
        let [x, y] = [0, 1].map(|axis| a[axis] + share * (b[axis] - a[axis]));
        x > rect.x0 && x < rect.x1 && y > rect.y0 && y < rect.y1
    })
}

fn draw_way(
    canvas: &mut Canvas,
    axes: &Axes,
    way: &[(f64, f64)],
    colour: Rgb,
    width: f64,
    dots: bool,
) {
    let [left, top, right, bottom] = FRAME;
    let shown = |p: &&(f64, f64)| p.1 > 0.0 && p.1.log10() >= axes.low[1];
    let points: Vec<[f64; 2]> = way.iter().filter(shown).map(|p| axes.place(*p)).collect();
    canvas.stroke(&points, width, (colour, 1.0), [left, top, right, bottom]);
    if dots {
        for point in points {
            canvas.ring(point, 0.0, 9.0, colour);
        }
    }
}

/// Lines and numbers: powers of ten upward, 1, 2 and 5 times them across.
fn draw_grid(canvas: &mut Canvas, axes: &Axes) {
    let [left, top, right, bottom] = FRAME;
    let label = Style::page(14.0);
    let mut last = f64::NEG_INFINITY;
    for power in axes.low[0].floor() as i32..=axes.high[0].ceil() as i32 {
        for factor in [1.0, 2.0, 5.0] {
            let value = factor * 10f64.powi(power);
            if value.log10() < axes.low[0] || value.log10() > axes.high[0] {
                continue;
            }
            let [x, _] = axes.place((value, 1.0));
            let x = x.round() as i32;
            canvas.bar([x, top], [x, bottom], GRID);
            let text = grouped(value as usize);
            let width = f64::from(width_px(&text, label.size_px, label.weight));
            if f64::from(x) - 0.5 * width > last + 12.0 {
                last = f64::from(x) + 0.5 * width;
                canvas.text(&text, x as f32, bottom as f32 + 17.0, Align::Middle, label);
            }
        }
    }
    for power in axes.low[1] as i32..=axes.high[1] as i32 {
        let value = 10f64.powi(power);
        let [_, y] = axes.place((1.0, value));
        let y = y.round() as i32;
        canvas.bar([left, y], [right, y], GRID);
        let text = significant(value, 1);
        canvas.text(&text, left as f32 - 10.0, y as f32 + 0.5, Align::End, label);
    }
    canvas.outline([[left - 1, top - 1], [right + 1, bottom + 1]], INK, 1.0, None);
    let axis = Style::page(15.0);
    let middle = 0.5 * (left + right) as f32;
    canvas.text("unknowns", middle, bottom as f32 + 44.0, Align::Middle, axis);
    canvas.text_upward("K", 24.0, 0.5 * (top + bottom) as f32, axis);
}

fn draw_words(canvas: &mut Canvas, chart: &Chart) {
    let x = FRAME[0] as f32;
    let bold = Style { weight: Weight::Bold, ..Style::page(22.0) };
    canvas.text("Convergence", x, 30.0, Align::Start, bold);
    let after = x + width_px("Convergence", bold.size_px, Weight::Bold) + 18.0;
    let faint = Style { colour: FAINT, ..Style::page(18.0) };
    let module = fitted(chart.module, 18.0, Weight::Regular, canvas.width as f32 - after - 16.0);
    canvas.text(&module, after, 31.0, Align::Start, faint);
    let mut at = x;
    for (colour, text) in [
        (FIRST, format!("{}: distance of each grid from what is reported", chart.chief)),
        (SECOND, format!("{}: uncertainty", chart.chief)),
        (FIRST_PALE, "the other junctions".to_owned()),
    ] {
        if colour == FIRST_PALE && chart.ways.len() < 2 {
            continue;
        }
        canvas.ring([f64::from(at) + 6.0, 62.0], 0.0, 11.0, colour);
        if colour == FIRST_PALE {
            at += 14.0;
            canvas.ring([f64::from(at) + 6.0, 62.0], 0.0, 11.0, SECOND_PALE);
        }
        at += 18.0;
        canvas.text(&text, at, 62.0, Align::Start, Style::page(15.0));
        at += width_px(&text, 15.0, Weight::Regular) + 26.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn axes_hold_every_point_and_leave_out_what_has_no_logarithm() {
        let points = [(1200.0, 0.8), (90_000.0, 0.03), (5000.0, 0.0)];
        let axes = Axes::around(points.into_iter());
        for point in &points[..2] {
            let [x, y] = axes.place(*point);
            assert!(x > f64::from(FRAME[0]) && x < f64::from(FRAME[2]), "{x}");
            assert!(y >= f64::from(FRAME[1]) && y <= f64::from(FRAME[3]), "{y}");
        }
        assert_eq!((axes.low[1], axes.high[1]), (-2.0, 0.0));
        // A decade is a decade wherever it lies.
        let up = |y: f64| axes.place((1e4, y))[1];
        assert!((up(0.01) - up(0.1) - (up(0.1) - up(1.0))).abs() < 1e-9);
    }

    #[test]
    fn a_chart_without_a_second_grid_is_still_a_chart() {
        let way = Way { distance: vec![(800.0, 0.0)], uncertainty: Vec::new() };
        let chart = Chart {
            file: "convergence.png".to_owned(),
            module: "m",
            chief: "D0",
            ways: vec![way],
            goal_K: None,
        };
        assert!(!draw(&chart).expect("a picture").png.is_empty());
    }
}
