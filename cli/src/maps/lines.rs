//! Lines against an axis: one panel or several above each other, on one page.

use super::canvas::{Align, Canvas, FAINT, INK, Style};
use super::scale::{Rgb, Ticks};
use super::text::{Weight, fitted, width_px};
use super::{MapError, Picture, png_file};
use crate::figures::significant;

const WIDTH_PX: usize = 1240;
const LEFT: i32 = 92;
/// Room for names to the right of the frames.
const RIGHT: i32 = 1040;
const TOP: i32 = 88;
const GAP: i32 = 30;
const BOTTOM_PX: i32 = 64;
const GRID: Rgb = [228, 228, 232];

/// How an axis is divided.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AxisKind {
    /// Evenly.
    Linear,
    /// By powers of ten.
    Logarithmic,
}

/// One line.
#[derive(Debug, Clone)]
pub struct Line {
    /// Name at its right end; empty for none.
    pub name: String,
    /// Points, ascending along x.
    pub points: Vec<[f64; 2]>,
    /// Colour.
    pub colour: Rgb,
    /// Width, pixels.
    pub width: f64,
}

/// A level across a panel.
#[derive(Debug, Clone)]
pub struct Level {
    /// Where.
    pub value: f64,
    /// What it is.
    pub name: String,
}

/// One frame.
#[derive(Debug, Clone)]
pub struct Panel {
    /// What goes up, with its unit.
    pub label: String,
    /// How.
    pub kind: AxisKind,
    /// Pixels high.
    pub height: i32,
    /// The lines, the ones in front last.
    pub lines: Vec<Line>,
    /// Levels drawn dashed; those far beyond the lines are told in words.
    pub levels: Vec<Level>,
    /// Whether the axis starts at zero.
    pub from_zero: bool,
}

/// A page.
#[derive(Debug, Clone)]
pub struct Page<'a> {
    /// File name.
    pub file: &'a str,
    /// What is shown, in a few words.
    pub title: String,
    /// Title of the module.
    pub module: &'a str,
    /// A second line.
    pub subtitle: String,
    /// What goes right, with its unit.
    pub label: String,
    /// How.
    pub kind: AxisKind,
    /// From top to bottom.
    pub panels: Vec<Panel>,
}

struct Axis {
    kind: AxisKind,
    low: f64,
    high: f64,
}

impl Axis {
    fn scaled(&self, value: f64) -> f64 {
        match self.kind {
            AxisKind::Linear => value,
            AxisKind::Logarithmic => value.max(f64::MIN_POSITIVE).log10(),
        }
    }

    fn share(&self, value: f64) -> f64 {
        (self.scaled(value) - self.low) / (self.high - self.low)
    }

    /// An axis that holds all values; `margin` is its share of room on both sides.
    fn around(
        kind: AxisKind,
        values: impl Iterator<Item = f64>,
        margin: f64,
        from_zero: bool,
    ) -> Axis {
        let mut axis = Axis { kind, low: f64::INFINITY, high: f64::NEG_INFINITY };
        for value in values.filter(|v| v.is_finite()) {
            if kind == AxisKind::Logarithmic && value <= 0.0 {
                continue;
            }
            let value = axis.scaled(value);
            (axis.low, axis.high) = (axis.low.min(value), axis.high.max(value));
        }
        if axis.low > axis.high {
            (axis.low, axis.high) = (0.0, 1.0);
        }
        if from_zero && kind == AxisKind::Linear {
            axis.low = axis.low.min(0.0);
        }
        if axis.high - axis.low < 1e-9 * axis.high.abs().max(1e-300) {
            let widen = if axis.high == 0.0 { 1.0 } else { 0.02 * axis.high.abs() };
            (axis.low, axis.high) = (axis.low - widen, axis.high + widen);
        }
        let room = margin * (axis.high - axis.low);
        axis.high += room;
        if !(from_zero && axis.low == 0.0) {
            axis.low -= room;
        }
        axis
    }

    /// Values with a line and, where wanted, a text.
    fn ticks(&self, most: usize) -> Vec<(f64, String)> {
        match self.kind {
            AxisKind::Linear => {
                let ticks = Ticks::inside(self.low, self.high, most);
                ticks.values.iter().map(|v| (*v, ticks.label(*v))).collect()
            }
            AxisKind::Logarithmic => {
                let decades = self.high - self.low;
                let factors: &[f64] =
                    if decades > most as f64 / 2.5 { &[1.0] } else { &[1.0, 2.0, 5.0] };
                let mut ticks = Vec::new();
                for power in self.low.floor() as i32..=self.high.ceil() as i32 {
                    for factor in factors {
                        let value = factor * 10f64.powi(power);
                        if (self.low..=self.high).contains(&value.log10()) {
                            ticks.push((value, significant(value, 1)));
                        }
                    }
                }
                ticks
            }
        }
    }
}

/// Draws a page.
pub fn draw(page: &Page) -> Result<Picture, MapError> {
    let panels: i32 = page.panels.iter().map(|p| p.height).sum();
    let gaps = GAP * (page.panels.len() as i32 - 1).max(0);
    let height = TOP + panels + gaps + BOTTOM_PX;
    let mut canvas = Canvas::new(WIDTH_PX, height as usize);
    let all = page.panels.iter().flat_map(|p| &p.lines).flat_map(|l| &l.points).map(|p| p[0]);
    let margin = if page.kind == AxisKind::Linear { 0.0 } else { 0.01 };
    let across = Axis::around(page.kind, all, margin, false);
    let mut top = TOP;
    for (k, panel) in page.panels.iter().enumerate() {
        let last = k + 1 == page.panels.len();
        draw_panel(&mut canvas, panel, &across, [LEFT, top, RIGHT, top + panel.height], last);
        top += panel.height + GAP;
    }
    let middle = 0.5 * (LEFT + RIGHT) as f32;
    canvas.text(&page.label, middle, height as f32 - 18.0, Align::Middle, Style::page(15.0));
    draw_titles(&mut canvas, page);
    canvas.failure()?;
    let software = concat!("sprayside ", env!("CARGO_PKG_VERSION"));
    let description = format!("{} of {}. {}", page.title, page.module, page.subtitle);
    let words =
        [("Title", page.title.as_str()), ("Description", &description), ("Software", software)];
    Ok(Picture { file: page.file.to_owned(), png: png_file::encode(&canvas, &words)? })
}

fn draw_titles(canvas: &mut Canvas, page: &Page) {
    let x = LEFT as f32;
    let room = canvas.width as f32 - x - 16.0;
    let bold = Style { weight: Weight::Bold, ..Style::page(22.0) };
    canvas.text(&page.title, x, 28.0, Align::Start, bold);
    let after = width_px(&page.title, bold.size_px, Weight::Bold) + 18.0;
    let faint = Style { colour: FAINT, ..Style::page(18.0) };
    let module = fitted(page.module, 18.0, Weight::Regular, room - after);
    canvas.text(&module, x + after, 29.0, Align::Start, faint);
    canvas.subtitle(&page.subtitle, x, room);
}

fn draw_panel(
    canvas: &mut Canvas,
    panel: &Panel,
    across: &Axis,
    frame: [i32; 4],
    numbers_below: bool,
) {
    let [left, top, right, bottom] = frame;
    let values = || panel.lines.iter().flat_map(|l| &l.points).map(|p| p[1]);
    let reach = Axis::around(panel.kind, values(), 0.0, panel.from_zero);
    let span = reach.high - reach.low;
    let (near, far): (Vec<&Level>, Vec<&Level>) = panel.levels.iter().partition(|l| {
        let value = reach.scaled(l.value);
        value > reach.low - span && value < reach.high + span
    });
    let up = Axis::around(
        panel.kind,
        values().chain(near.iter().map(|l| l.value)),
        0.05,
        panel.from_zero,
    );
    let [width, height] = [f64::from(right - left), f64::from(bottom - top)];
    let place = |p: [f64; 2]| {
        [f64::from(left) + across.share(p[0]) * width, f64::from(bottom) - up.share(p[1]) * height]
    };
    let label = Style::page(14.0);
    let mut end = f32::NEG_INFINITY;
    for (value, text) in across.ticks(10) {
        let x = (f64::from(left) + across.share(value) * width).round() as i32;
        canvas.bar([x, top], [x, bottom], GRID);
        let half = 0.5 * width_px(&text, label.size_px, label.weight);
        if numbers_below && x as f32 - half > end + 8.0 {
            end = x as f32 + half;
            canvas.text(&text, x as f32, bottom as f32 + 17.0, Align::Middle, label);
        }
    }
    let mut widest = 0.0f32;
    let most = ((bottom - top) / 45).max(4) as usize;
    let mut lowest = f64::INFINITY;
    for (value, text) in up.ticks(most) {
        let y = f64::from(bottom) - up.share(value) * height;
        canvas.bar([left, y.round() as i32], [right, y.round() as i32], GRID);
        if lowest - y >= 18.0 {
            lowest = y;
            canvas.text(&text, left as f32 - 9.0, y.round() as f32 + 0.5, Align::End, label);
            widest = widest.max(width_px(&text, label.size_px, label.weight));
        }
    }
    for level in &near {
        let y = place([0.0f64.max(f64::MIN_POSITIVE), level.value])[1].round() as i32;
        for x in (left..right).step_by(14) {
            canvas.bar([x, y], [(x + 7).min(right), y], FAINT);
        }
        let faint = Style { colour: FAINT, ..Style::page(13.0) };
        canvas.text(&level.name, left as f32 + 8.0, y as f32 - 9.0, Align::Start, faint);
    }
    let (mut above, mut below) = (top as f32 + 14.0, bottom as f32 - 12.0);
    for level in &far {
        let faint = Style { colour: FAINT, ..Style::page(13.0) };
        let (y, next, place) = if reach.scaled(level.value) > reach.high {
            (&mut above, 17.0, "above")
        } else {
            (&mut below, -17.0, "below")
        };
        let text = format!("{}, far {place}", level.name);
        canvas.text(&text, left as f32 + 8.0, *y, Align::Start, faint);
        *y += next;
    }
    let clip = [left, top, right + 1, bottom + 1];
    for line in &panel.lines {
        let shown = |p: &&[f64; 2]| panel.kind == AxisKind::Linear || p[1] > 0.0;
        let points: Vec<[f64; 2]> = line.points.iter().filter(shown).map(|p| place(*p)).collect();
        canvas.stroke(&points, line.width, (line.colour, 1.0), clip);
    }
    canvas.outline([[left - 1, top - 1], [right + 1, bottom + 1]], INK, 1.0, None);
    draw_names(canvas, panel, &place, frame);
    let middle = 0.5 * (top + bottom) as f32;
    let x = (left as f32 - 9.0 - widest - 18.0).max(12.0);
    canvas.text_upward(&panel.label, x, middle, Style::page(15.0));
}

/// Names at the right ends of their lines, moved apart where they would touch.
fn draw_names(
    canvas: &mut Canvas,
    panel: &Panel,
    place: &dyn Fn([f64; 2]) -> [f64; 2],
    [_, top, right, bottom]: [i32; 4],
) {
    const APART: f64 = 19.0;
    let mut names: Vec<(f64, &Line)> = panel
        .lines
        .iter()
        .filter(|line| !line.name.is_empty())
        .filter_map(|line| Some((place(*line.points.last()?)[1], line)))
        .collect();
    names.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (low, high) = (f64::from(top) + 8.0, f64::from(bottom) - 8.0);
    let mut at: Vec<f64> = names.iter().map(|n| n.0.clamp(low, high)).collect();
    for k in 1..at.len() {
        at[k] = at[k].max(at[k - 1] + APART);
    }
    if let Some(last) = at.last_mut() {
        *last = last.min(high);
    }
    for k in (1..at.len()).rev() {
        at[k - 1] = at[k - 1].min(at[k] - APART);
    }
    let page = [0, 0, canvas.width as i32, canvas.height as i32];
    for ((y_end, line), y) in names.iter().zip(at) {
        let from = f64::from(right) + 2.0;
        canvas.stroke(&[[from, *y_end], [from + 12.0, y]], 1.2, (line.colour, 1.0), page);
        let room = canvas.width as f32 - right as f32 - 24.0;
        let text = fitted(&line.name, 14.0, Weight::Regular, room);
        let style = Style { colour: darker(line.colour), ..Style::page(14.0) };
        canvas.text(&text, right as f32 + 18.0, y as f32, Align::Start, style);
    }
}

/// A colour dark enough for text on the page.
fn darker(colour: Rgb) -> Rgb {
    colour.map(|c| (f32::from(c) * 0.75) as u8)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn logarithmic_axes_have_room_for_their_numbers_and_skip_what_has_no_logarithm() {
        let axis = Axis::around(AxisKind::Logarithmic, [0.0, 1e-5, 3.0].into_iter(), 0.0, false);
        assert_eq!(axis.low, -5.0);
        let ticks = axis.ticks(10);
        assert_eq!(ticks.len(), 6, "{ticks:?}");
        assert!((axis.share(1e-5)).abs() < 1e-12 && (axis.share(3.0) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_line_that_never_changes_is_drawn_in_the_middle() {
        let line = Line {
            name: "D0".to_owned(),
            points: vec![[0.0, 5.0], [1.0, 5.0]],
            colour: [0, 0, 0],
            width: 1.0,
        };
        let panel = Panel {
            label: "W".to_owned(),
            kind: AxisKind::Linear,
            height: 120,
            lines: vec![line],
            levels: vec![Level { value: 5000.0, name: "far away".to_owned() }],
            from_zero: false,
        };
        let page = Page {
            file: "history.png",
            title: "t".to_owned(),
            module: "m",
            subtitle: String::new(),
            label: "time, s".to_owned(),
            kind: AxisKind::Linear,
            panels: vec![panel],
        };
        assert!(!draw(&page).expect("a picture").png.is_empty());
    }
}
