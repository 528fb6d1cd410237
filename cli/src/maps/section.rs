//! Temperature along a straight line through the module: a plot, and the cells that it passes.

use sprayside_solver::module::Module;
use sprayside_solver::results::PlaneField;

use super::canvas::{Align, Canvas, FAINT, INK, NOTHING, Style};
use super::options::{PictureOptions, SectionLine};
use super::scale::{Rgb, Ticks};
use super::text::{Weight, fitted, width_px};
use super::{MapError, Picture, png_file};
use crate::figures::{figure, significant};

const HEIGHT_PX: f64 = 520.0;
const LEFT: f64 = 84.0;
const RIGHT: f64 = 28.0;
const TOP: f64 = 104.0;
const BOTTOM: f64 = 64.0;
/// Blue, and orange-red: apart in every common form of colour blindness (M. Okabe, K. Ito,
/// "Color Universal Design", 2008).
const LINES: [Rgb; 2] = [[213, 94, 0], [0, 114, 178]];
const GRID: Rgb = [228, 228, 232];

/// One value along the line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Passed {
    /// Where along the line the cell begins and ends, m.
    pub along_m: [f64; 2],
    /// The middle of that piece, m.
    pub at_m: [f64; 2],
    /// Column and row of the cell.
    pub cell: [usize; 2],
}

/// The cells that a line passes, in its order.
pub fn passed(field: &PlaneField, [from, to]: SectionLine) -> Vec<Passed> {
    let way = [to[0] - from[0], to[1] - from[1]];
    let length = way[0].hypot(way[1]);
    let mut shares = vec![0.0, 1.0];
    for (axis, lines) in [&field.x_lines_m, &field.y_lines_m].into_iter().enumerate() {
        if way[axis] != 0.0 {
            let crossings = lines.iter().map(|line| (line - from[axis]) / way[axis]);
            shares.extend(crossings.filter(|share| *share > 0.0 && *share < 1.0));
        }
    }
    shares.sort_by(f64::total_cmp);
    let cell = |lines: &[f64], at: f64| {
        lines.partition_point(|line| *line <= at).saturating_sub(1).min(lines.len() - 2)
    };
    shares
        .windows(2)
        // Where the line crosses both kinds of grid line at once.
        .filter(|pair| (pair[1] - pair[0]) * length > 1e-9)
        .map(|pair| {
            let middle = 0.5 * (pair[0] + pair[1]);
            let at_m = [from[0] + middle * way[0], from[1] + middle * way[1]];
            Passed {
                along_m: [pair[0] * length, pair[1] * length],
                at_m,
                cell: [cell(&field.x_lines_m, at_m[0]), cell(&field.y_lines_m, at_m[1])],
            }
        })
        .collect()
}

/// A curve of the plot.
pub struct Curve<'a> {
    /// What it shows.
    pub name: &'static str,
    /// Its field; all curves share their grid.
    pub field: &'a PlaneField,
}

/// The plot of a few fields (values in °C by `convert`) along a line.
pub fn draw(
    module: &Module,
    file: &str,
    line: SectionLine,
    curves: &[Curve],
    convert: fn(f64) -> f64,
    options: &PictureOptions,
) -> Result<(Picture, Option<Vec<u8>>), MapError> {
    let width_px = options.width_points();
    let mut canvas = Canvas::zoomed(width_px as usize, HEIGHT_PX as usize, options.zoom());
    if options.svg {
        canvas.record();
    }
    let length = (line[1][0] - line[0][0]).hypot(line[1][1] - line[0][1]);
    let cells = curves.first().map_or_else(Vec::new, |curve| passed(curve.field, line));
    let value = |curve: &Curve, p: &Passed| convert(curve.field.values[[p.cell[1], p.cell[0]]]);
    let (low, high) = curves
        .iter()
        .flat_map(|curve| cells.iter().map(move |p| value(curve, p)))
        .filter(|v| v.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
    if low > high {
        return Err(MapError(format!("{file}: no value along the line")));
    }
    let margin = (0.06 * (high - low)).max(0.01 * high.abs()).max(0.05);
    let (low, high) = (low - margin, high + margin);
    let (right, bottom) = (width_px - RIGHT, HEIGHT_PX - BOTTOM);
    let x_of = |along: f64| LEFT + along / length * (right - LEFT);
    let y_of = |v: f64| bottom - (v - low) / (high - low) * (bottom - TOP);
    draw_die(&mut canvas, module, &cells, &x_of, bottom);
    let label = Style::page(14.0);
    let up = Ticks::inside(low, high, 7);
    for &v in &up.values {
        let y = y_of(v).round() as i32;
        canvas.bar([LEFT as i32, y], [right as i32, y], GRID);
        canvas.text(&up.label(v), LEFT as f32 - 10.0, y as f32 + 0.5, Align::End, label);
    }
    let across = Ticks::inside(0.0, length * 1e3, ((right - LEFT) / 80.0) as usize);
    for &v in &across.values {
        let x = x_of(v * 1e-3).round() as i32;
        canvas.bar([x, bottom as i32], [x, bottom as i32 + 5], INK);
        canvas.text(&across.label(v), x as f32, bottom as f32 + 18.0, Align::Middle, label);
    }
    let clip = [LEFT as i32, TOP as i32, right as i32, bottom as i32];
    for (curve, colour) in curves.iter().zip(LINES).rev() {
        for run in runs(module, &cells, |p| value(curve, p)) {
            let points: Vec<[f64; 2]> =
                run.iter().map(|(along, v)| [x_of(*along), y_of(*v)]).collect();
            canvas.stroke(&points, 2.4, (colour, 1.0), clip);
        }
    }
    let frame = [[clip[0] - 1, clip[1] - 1], [clip[2], clip[3]]];
    canvas.outline(frame, INK, 1.0, None);
    canvas.text(
        "mm along the section",
        (0.5 * (LEFT + right)) as f32,
        bottom as f32 + 44.0,
        Align::Middle,
        Style::page(15.0),
    );
    canvas.text_upward("°C", 22.0, (0.5 * (TOP + bottom)) as f32, Style::page(15.0));
    let mm = |v: f64| significant(v * 1e3, 4);
    let title = "Temperature along a section";
    let subtitle = format!(
        "From x {}, y {} to x {}, y {} mm; grey: die",
        mm(line[0][0]),
        mm(line[0][1]),
        mm(line[1][0]),
        mm(line[1][1])
    );
    let bold = Style { weight: Weight::Bold, ..Style::page(22.0) };
    canvas.text(title, LEFT as f32, 28.0, Align::Start, bold);
    let after = LEFT as f32 + width_px_of(title, bold) + 18.0;
    let name = fitted(&module.title, 18.0, Weight::Regular, width_px as f32 - after - 16.0);
    canvas.text(&name, after, 29.0, Align::Start, Style { colour: FAINT, ..Style::page(18.0) });
    canvas.text(&subtitle, LEFT as f32, 56.0, Align::Start, Style::page(15.0));
    let mut at = right as f32;
    for (curve, colour) in curves.iter().zip(LINES).rev() {
        at -= width_px_of(curve.name, Style::page(15.0));
        canvas.text(curve.name, at, 56.0, Align::Start, Style::page(15.0));
        at -= 30.0;
        canvas.bar([at as i32, 54], [at as i32 + 22, 57], colour);
        at -= 18.0;
    }
    canvas.failure()?;
    let description = format!("{title} of {}. {subtitle}", module.title);
    let software = concat!("sprayside ", env!("CARGO_PKG_VERSION"));
    let words = [("Title", title), ("Description", &description), ("Software", software)];
    let vectors = canvas.svg(title, &description);
    let png = png_file::encode(&canvas, &words)?;
    Ok((Picture { file: file.to_owned(), png }, vectors))
}

/// The cells along the line as CSV: a row a cell, empty where a field has no value.
pub fn table(
    module: &Module,
    line: SectionLine,
    curves: &[Curve],
    convert: fn(f64) -> f64,
) -> Vec<u8> {
    let mut text = String::from("along_mm,x_mm,y_mm,die");
    for curve in curves {
        text += &format!(",{}_C", curve.name);
    }
    text.push('\n');
    let number = |v: f64| figure(v).map_or(String::new(), |v| v.to_string());
    for p in curves.first().map_or_else(Vec::new, |curve| passed(curve.field, line)) {
        let along = 0.5 * (p.along_m[0] + p.along_m[1]);
        let places = [along, p.at_m[0], p.at_m[1]].map(|v| number(v * 1e3));
        let die = die_at(module, p.at_m).map_or("", |die| module.die[die].name.as_str());
        text += &format!("{},\"{}\"", places.join(","), die.replace('"', "\"\""));
        for curve in curves {
            text.push(',');
            text += &number(convert(curve.field.values[[p.cell[1], p.cell[0]]]));
        }
        text.push('\n');
    }
    text.into_bytes()
}

fn width_px_of(text: &str, style: Style) -> f32 {
    width_px(text, style.size_px, style.weight)
}

/// Which die lies under a place.
fn die_at(module: &Module, [x, y]: [f64; 2]) -> Option<usize> {
    module.die.iter().position(|die| {
        let rect = &die.rect;
        x >= rect.x0_m && x <= rect.x1_m && y >= rect.y0_m && y <= rect.y1_m
    })
}

/// Grey where the line crosses a die, with its name above.
fn draw_die(
    canvas: &mut Canvas,
    module: &Module,
    cells: &[Passed],
    x_of: &impl Fn(f64) -> f64,
    bottom: f64,
) {
    let mut spans: Vec<(usize, [f64; 2])> = Vec::new();
    for p in cells {
        let Some(die) = die_at(module, p.at_m) else { continue };
        match spans.last_mut() {
            Some((last, span)) if *last == die => span[1] = p.along_m[1],
            _ => spans.push((die, p.along_m)),
        }
    }
    let mut free = f64::NEG_INFINITY;
    for (die, span) in spans {
        let [x0, x1] = span.map(x_of);
        let (top, low) = (TOP as i32, bottom as i32 - 1);
        canvas.bar([x0.round() as i32, top], [x1.round() as i32, low], NOTHING);
        let name = &module.die[die].name;
        let half = f64::from(width_px_of(name, Style::page(14.0))) / 2.0;
        let middle = 0.5 * (x0 + x1);
        if middle - half > free {
            canvas.text(name, middle as f32, TOP as f32 - 14.0, Align::Middle, Style::page(14.0));
            free = middle + half + 6.0;
        }
    }
}

/// Pieces of a curve without gaps; at the edge of a die the value jumps and the line with it.
fn runs(module: &Module, cells: &[Passed], value: impl Fn(&Passed) -> f64) -> Vec<Vec<(f64, f64)>> {
    let mut all: Vec<Vec<(f64, f64)>> = Vec::new();
    let mut last: Option<(usize, Option<usize>)> = None;
    for (index, p) in cells.iter().enumerate() {
        let v = value(p);
        if !v.is_finite() {
            last = None;
            continue;
        }
        let die = die_at(module, p.at_m);
        let middle = 0.5 * (p.along_m[0] + p.along_m[1]);
        match (last, all.last_mut()) {
            (Some((before, of)), Some(run)) if before + 1 == index => {
                if of != die
                    && let Some(&(_, level)) = run.last()
                {
                    run.push((p.along_m[0], level));
                    run.push((p.along_m[0], v));
                }
                run.push((middle, v));
            }
            _ => all.push(vec![(p.along_m[0], v), (middle, v)]),
        }
        last = Some((index, die));
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use ndarray::Array2;

    #[test]
    fn a_line_passes_each_cell_once_and_its_pieces_add_up() {
        let field = PlaneField {
            x_lines_m: [0.0, 0.001, 0.004, 0.010].into(),
            y_lines_m: [0.0, 0.002, 0.005].into(),
            values: Array2::zeros((2, 3)),
        };
        let all = passed(&field, [[0.0, 0.0], [0.010, 0.005]]);
        let cells: Vec<[usize; 2]> = all.iter().map(|p| p.cell).collect();
        // The line meets x = 4 mm and y = 2 mm in one point.
        assert_eq!(cells, [[0, 0], [1, 0], [2, 1]]);
        let length: f64 = all.iter().map(|p| p.along_m[1] - p.along_m[0]).sum();
        assert!((length - 0.010f64.hypot(0.005)).abs() < 1e-12);
        let straight = passed(&field, [[0.010, 0.003], [0.0, 0.003]]);
        let cells: Vec<[usize; 2]> = straight.iter().map(|p| p.cell).collect();
        assert_eq!(cells, [[2, 1], [1, 1], [0, 1]]);
    }
}
