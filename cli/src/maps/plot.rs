//! Pictures with straight axes: lines, histogram, bars, contours.

use super::canvas::{Align, Canvas, FAINT, INK, LIGHT, NOTHING, Style};
use super::layout::PixelRect;
use super::map::draw_bar;
use super::scale::{ColourScale, Rgb, Ticks};
use super::text::{Weight, fitted, width_px};
use super::{MapError, Picture, png_file};

/// Colours that stay apart in every common form of colour blindness (M. Okabe, K. Ito, "Color
/// Universal Design", 2008).
const SERIES: [Rgb; 6] =
    [[0, 114, 178], [213, 94, 0], [0, 158, 115], [204, 121, 167], [86, 180, 233], [230, 159, 0]];
const ALARM: Rgb = [190, 30, 45];
const GRID: Rgb = [228, 228, 232];
const SIZE_PX: [usize; 2] = [1100, 760];

/// What stands around a picture.
#[derive(Debug, Clone)]
pub struct Words {
    /// File name.
    pub file: String,
    /// In a few words.
    pub title: String,
    /// Title of the module.
    pub module: String,
    /// A second line.
    pub subtitle: String,
    /// Along the lower axis.
    pub across: String,
    /// Along the left axis.
    pub up: String,
}

/// Straight axes over a frame of pixels (left, top, right, bottom).
struct Axes {
    low: [f64; 2],
    high: [f64; 2],
    frame: [i32; 4],
}

impl Axes {
    fn place(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let share = |v: f64, k: usize| (v - self.low[k]) / (self.high[k] - self.low[k]);
        let [left, top, right, bottom] = self.frame.map(f64::from);
        [left + share(x, 0) * (right - left), bottom - share(y, 1) * (bottom - top)]
    }
}

/// The range of values with a little room; never without width.
fn range(values: impl Iterator<Item = f64>, room: f64) -> [f64; 2] {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for value in values.filter(|v| v.is_finite()) {
        (low, high) = (low.min(value), high.max(value));
    }
    if low > high {
        return [0.0, 1.0];
    }
    let wide = (high - low).max(1e-3 * high.abs().max(low.abs())).max(1e-9);
    let (low, high) =
        if high - low < wide { (low - 0.5 * wide, high + 0.5 * wide) } else { (low, high) };
    [low - room * wide, high + room * wide]
}

fn begin(words: &Words) -> Canvas {
    let mut canvas = Canvas::new(SIZE_PX[0], SIZE_PX[1]);
    let (x, room) = (96.0, SIZE_PX[0] as f32 - 112.0);
    let bold = Style { weight: Weight::Bold, ..Style::page(22.0) };
    let title = fitted(&words.title, bold.size_px, Weight::Bold, room);
    canvas.text(&title, x, 30.0, Align::Start, bold);
    let after = width_px(&title, bold.size_px, Weight::Bold) + 18.0;
    if room - after > 60.0 {
        let module = fitted(&words.module, 18.0, Weight::Regular, room - after);
        let faint = Style { colour: FAINT, ..Style::page(18.0) };
        canvas.text(&module, x + after, 31.0, Align::Start, faint);
    }
    canvas.subtitle(&words.subtitle, x, room);
    canvas
}

fn end(mut canvas: Canvas, words: &Words) -> Result<Picture, MapError> {
    canvas.failure()?;
    let description = format!("{} of {}. {}", words.title, words.module, words.subtitle);
    let software = concat!("sprayside ", env!("CARGO_PKG_VERSION"));
    let words_in_file =
        [("Title", words.title.as_str()), ("Description", &description), ("Software", software)];
    Ok(Picture { file: words.file.clone(), png: png_file::encode(&canvas, &words_in_file)? })
}

/// Grid lines if wanted, ticks, numbers and names of the axes; the frame comes last.
fn draw_axes(canvas: &mut Canvas, axes: &Axes, words: &Words, grid: bool, left_numbers: bool) {
    let [left, top, right, bottom] = axes.frame;
    let label = Style::page(14.0);
    let across = Ticks::inside(axes.low[0], axes.high[0], 10);
    for &value in &across.values {
        let x = axes.place([value, axes.low[1]])[0].round() as i32;
        if grid {
            canvas.bar([x, top], [x, bottom], GRID);
        }
        canvas.bar([x, bottom + 1], [x, bottom + 5], INK);
        canvas.text(&across.label(value), x as f32, bottom as f32 + 17.0, Align::Middle, label);
    }
    if left_numbers {
        let up = Ticks::inside(axes.low[1], axes.high[1], 10);
        for &value in &up.values {
            let y = axes.place([axes.low[0], value])[1].round() as i32;
            if grid {
                canvas.bar([left, y], [right, y], GRID);
            }
            canvas.bar([left - 5, y], [left - 1, y], INK);
            canvas.text(&up.label(value), left as f32 - 10.0, y as f32, Align::End, label);
        }
    }
    let axis = Style::page(15.0);
    let across = fitted(&words.across, 15.0, Weight::Regular, (right - left) as f32);
    canvas.text(&across, 0.5 * (left + right) as f32, bottom as f32 + 44.0, Align::Middle, axis);
    canvas.text_upward(&words.up, 24.0, 0.5 * (top + bottom) as f32, axis);
}

fn draw_frame(canvas: &mut Canvas, axes: &Axes) {
    let [left, top, right, bottom] = axes.frame;
    canvas.outline([[left - 1, top - 1], [right + 1, bottom + 1]], INK, 1.0, None);
}

/// A dashed line across the frame, upright or level.
fn dashed(canvas: &mut Canvas, axes: &Axes, value: f64, upright: bool, colour: Rgb) {
    let [left, top, right, bottom] = axes.frame;
    if upright {
        let x = axes.place([value, axes.low[1]])[0].round() as i32;
        if (left..=right).contains(&x) {
            for y in (top..bottom).step_by(14) {
                canvas.bar([x, y], [x + 1, (y + 8).min(bottom)], colour);
            }
        }
    } else {
        let y = axes.place([axes.low[0], value])[1].round() as i32;
        if (top..=bottom).contains(&y) {
            for x in (left..right).step_by(14) {
                canvas.bar([x, y], [(x + 8).min(right), y + 1], colour);
            }
        }
    }
}

/// Named lines with a point at every value; `limit` dashed where it is not far away.
pub fn lines(
    words: &Words,
    series: &[(String, Vec<(f64, f64)>)],
    limit: Option<f64>,
) -> Result<Picture, MapError> {
    let mut canvas = begin(words);
    let points = || series.iter().flat_map(|(_, line)| line.iter());
    let [x0, x1] = range(points().map(|p| p.0), 0.04);
    let [y0, y1] = range(points().map(|p| p.1), 0.08);
    // A limit within the height of the picture is worth showing.
    let limit = limit.filter(|l| *l > y0 - (y1 - y0) && *l < y1 + (y1 - y0));
    let [y0, y1] = match limit {
        Some(l) => range([y0, y1, l].into_iter(), 0.04),
        None => [y0, y1],
    };
    let named = series.len() > 1;
    let top = if named { 92 + 22 * series.len().div_ceil(2) as i32 } else { 92 };
    let axes = Axes { low: [x0, y0], high: [x1, y1], frame: [96, top, 1076, 690] };
    draw_axes(&mut canvas, &axes, words, true, true);
    if let Some(limit) = limit {
        dashed(&mut canvas, &axes, limit, false, ALARM);
        let y = axes.place([x0, limit])[1] as f32 - 12.0;
        let style = Style { colour: ALARM, ..Style::page(14.0) };
        canvas.text("limit", axes.frame[2] as f32 - 8.0, y, Align::End, style);
    }
    for (k, (name, line)) in series.iter().enumerate() {
        let colour = SERIES[k % SERIES.len()];
        let places: Vec<[f64; 2]> = line.iter().map(|p| axes.place([p.0, p.1])).collect();
        canvas.stroke(&places, 2.4, (colour, 1.0), axes.frame);
        for place in places {
            canvas.ring(place, 0.0, 8.0, colour);
        }
        if named {
            let (x, y) = (96.0 + 490.0 * (k % 2) as f32, 84.0 + 22.0 * (k / 2) as f32);
            canvas.ring([f64::from(x) + 6.0, f64::from(y)], 0.0, 11.0, colour);
            let name = fitted(name, 14.0, Weight::Regular, 460.0);
            canvas.text(&name, x + 18.0, y, Align::Start, Style::page(14.0));
        }
    }
    draw_frame(&mut canvas, &axes);
    end(canvas, words)
}

/// How often values fall into equal intervals; `marks` and `limit` as dashed lines.
pub fn histogram(
    words: &Words,
    values: &[f64],
    marks: &[f64],
    limit: Option<f64>,
) -> Result<Picture, MapError> {
    let mut canvas = begin(words);
    let [low, high] = range(values.iter().copied(), 0.0);
    // The number of intervals that H. A. Sturges gives, twice as fine (J. Am. Stat. Assoc. 21
    // (1926) 65-66).
    let count = (2.0 * (1.0 + (values.len().max(1) as f64).log2())).ceil() as usize;
    let width = (high - low) / count as f64;
    let mut counts = vec![0usize; count];
    for value in values.iter().filter(|v| v.is_finite()) {
        counts[(((value - low) / width) as usize).min(count - 1)] += 1;
    }
    let most = counts.iter().copied().max().unwrap_or(0).max(1) as f64;
    let shown = limit.filter(|l| *l > low - (high - low) && *l < high + (high - low));
    let [x0, x1] = range([low, high].into_iter().chain(shown), 0.03);
    let axes = Axes { low: [x0, 0.0], high: [x1, 1.06 * most], frame: [96, 92, 1076, 690] };
    draw_axes(&mut canvas, &axes, words, true, true);
    for (k, &n) in counts.iter().enumerate().filter(|(_, n)| **n > 0) {
        let [left, top] = axes.place([low + k as f64 * width, n as f64]);
        let [right, bottom] = axes.place([low + (k + 1) as f64 * width, 0.0]);
        let corner = [right as i32 - 1, bottom as i32];
        canvas.bar([left as i32 + 1, top as i32], corner, SERIES[0]);
    }
    for &mark in marks.iter().filter(|m| m.is_finite()) {
        dashed(&mut canvas, &axes, mark, true, INK);
    }
    if let Some(limit) = shown {
        dashed(&mut canvas, &axes, limit, true, ALARM);
    }
    draw_frame(&mut canvas, &axes);
    end(canvas, words)
}

/// Bars from the left, longest on top, each with its name and number.
pub fn tornado(words: &Words, bars: &[(String, f64)]) -> Result<Picture, MapError> {
    let mut canvas = begin(words);
    let most = bars.iter().map(|b| b.1).filter(|v| v.is_finite()).fold(1e-9, f64::max);
    let names = bars.iter().map(|b| width_px(&b.0, 15.0, Weight::Regular)).fold(0.0, f32::max);
    let left = 40 + names.min(420.0) as i32;
    let frame = [left, 92, 1076, 690];
    let axes = Axes { low: [0.0, 0.0], high: [1.12 * most, 1.0], frame };
    draw_axes(&mut canvas, &axes, words, true, false);
    let step = f64::from(frame[3] - frame[1]) / bars.len().max(1) as f64;
    let half = (0.36 * step).min(24.0);
    for (k, (name, value)) in bars.iter().enumerate() {
        let y = f64::from(frame[1]) + (k as f64 + 0.5) * step;
        let end = axes.place([value.max(0.0), 0.0])[0];
        let corners = [[left, (y - half) as i32], [end as i32, (y + half) as i32]];
        canvas.bar(corners[0], corners[1], SERIES[0]);
        let name = fitted(name, 15.0, Weight::Regular, 420.0);
        canvas.text(&name, left as f32 - 10.0, y as f32, Align::End, Style::page(15.0));
        let number = format!("{value:.1}");
        canvas.text(&number, end as f32 + 8.0, y as f32, Align::Start, Style::page(14.0));
    }
    draw_frame(&mut canvas, &axes);
    end(canvas, words)
}

/// Kelvin over a plane of offsets, the zero line drawn; grey where there is no number. `circle`:
/// a radius around no offset.
pub fn contour(
    words: &Words,
    (xs, ys): (&[f64], &[f64]),
    values: &[f64],
    circle: Option<f64>,
) -> Result<Picture, MapError> {
    let mut canvas = begin(words);
    let finite = || values.iter().copied().filter(|v| v.is_finite());
    let low = finite().fold(f64::INFINITY, f64::min);
    let high = finite().fold(f64::NEG_INFINITY, f64::max);
    let scale = ColourScale::magma(low, high);
    let ends = |v: &[f64]| [v[0], v[v.len() - 1]];
    let ([x0, x1], [y0, y1]) = (ends(xs), ends(ys));
    // One millimetre is one millimetre both ways.
    let room = [820.0, 590.0];
    let per_mm = (room[0] / (x1 - x0)).min(room[1] / (y1 - y0));
    let size = [(x1 - x0) * per_mm, (y1 - y0) * per_mm].map(|v| v.max(40.0) as i32);
    let frame = [96, 92, 96 + size[0], 92 + size[1]];
    let axes = Axes { low: [x0, y0], high: [x1, y1], frame };
    let inside = |lines: &[f64], v: f64| {
        let k = lines.partition_point(|l| *l <= v).clamp(1, lines.len() - 1) - 1;
        (k, ((v - lines[k]) / (lines[k + 1] - lines[k])).clamp(0.0, 1.0))
    };
    let at = |x: f64, y: f64| {
        let ((i, s), (j, t)) = (inside(xs, x), inside(ys, y));
        let v = |i: usize, j: usize| values[j * xs.len() + i];
        (1.0 - t) * ((1.0 - s) * v(i, j) + s * v(i + 1, j))
            + t * ((1.0 - s) * v(i, j + 1) + s * v(i + 1, j + 1))
    };
    let value_at = |px: i32, py: i32| {
        let share =
            |p: i32, k: usize| (f64::from(p - frame[k]) + 0.5) / f64::from(frame[k + 2] - frame[k]);
        at(x0 + share(px, 0) * (x1 - x0), y1 - share(py, 1) * (y1 - y0))
    };
    for py in frame[1]..frame[3] {
        for px in frame[0]..frame[2] {
            let value = value_at(px, py);
            let colour = if value.is_finite() { scale.colour(value) } else { NOTHING };
            canvas.bar([px, py], [px, py], colour);
        }
    }
    // Where the sign changes from a pixel to the next.
    for py in frame[1]..frame[3] - 1 {
        for px in frame[0]..frame[2] - 1 {
            let here = value_at(px, py) < 0.0;
            if here != (value_at(px + 1, py) < 0.0) || here != (value_at(px, py + 1) < 0.0) {
                canvas.bar([px, py], [px + 1, py + 1], SERIES[4]);
            }
        }
    }
    if let Some(radius) = circle {
        let points: Vec<[f64; 2]> = (0..=180)
            .map(|k| {
                let angle = std::f64::consts::TAU * f64::from(k) / 180.0;
                axes.place([radius * angle.cos(), radius * angle.sin()])
            })
            .collect();
        canvas.stroke(&points, 5.0, (INK, 0.6), frame);
        canvas.stroke(&points, 2.0, (LIGHT, 1.0), frame);
    }
    draw_axes(&mut canvas, &axes, words, false, true);
    draw_frame(&mut canvas, &axes);
    let bar = PixelRect {
        x0: f64::from(frame[2]) + 28.0,
        y0: f64::from(frame[1]),
        x1: f64::from(frame[2]) + 50.0,
        y1: f64::from(frame[3].max(frame[1] + 240)),
    };
    draw_bar(&mut canvas, &bar, &scale, "K");
    end(canvas, words)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words() -> Words {
        Words {
            file: "a.png".to_owned(),
            title: "t".to_owned(),
            module: "m".to_owned(),
            subtitle: "s".to_owned(),
            across: "x".to_owned(),
            up: "y".to_owned(),
        }
    }

    #[test]
    fn pictures_of_next_to_nothing_are_still_pictures() {
        let w = words();
        assert!(!lines(&w, &[], None).expect("lines").png.is_empty());
        let one = [("a".to_owned(), vec![(1.0, 50.0)])];
        assert!(!lines(&w, &one, Some(85.0)).expect("a point").png.is_empty());
        assert!(!histogram(&w, &[], &[], None).expect("none").png.is_empty());
        assert!(!histogram(&w, &[3.0, 3.0], &[3.0], Some(3.5)).expect("equal").png.is_empty());
        assert!(!tornado(&w, &[]).expect("no bars").png.is_empty());
        let axis = [-1.0, 1.0];
        let field = [1.0, -2.0, f64::NAN, 3.0];
        let picture = contour(&w, (&axis, &axis), &field, Some(0.4)).expect("a contour");
        assert!(!picture.png.is_empty());
    }

    #[test]
    fn a_range_without_width_gets_one_and_numbers_that_are_none_do_not_count() {
        let [low, high] = range([f64::NAN, 40.0, f64::INFINITY].into_iter(), 0.0);
        assert!(low < 40.0 && high > 40.0);
        assert_eq!(range(std::iter::empty(), 0.1), [0.0, 1.0]);
    }
}
