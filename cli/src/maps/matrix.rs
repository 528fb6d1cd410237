//! A square matrix as a picture: one coloured square a pair, on a logarithmic scale.

use ndarray::Array2;

use super::canvas::{Align, Canvas, DARK, FAINT, INK, LIGHT, NOTHING, Style};
use super::scale::ColourScale;
use super::text::{Weight, fitted, width_px};
use super::{MapError, Picture, png_file};
use crate::figures::significant;

/// Side of the square of all squares, pixels; fewer where few would grow too large.
const SIDE_PX: f64 = 860.0;
/// Largest and smallest square, pixels.
const CELL_PX: [f64; 2] = [76.0, 6.0];
/// Squares below this carry no number.
const NUMBER_PX: f64 = 34.0;
/// Squares below this carry no name beside them, but every so many do.
const NAME_PX: f64 = 14.0;
/// Most room for names, pixels.
const MOST_NAME_PX: f32 = 170.0;
/// Decades below the largest value that colours and numbers show.
const DECADES: f64 = 4.0;

/// What a picture shows.
#[derive(Debug)]
pub struct Matrix<'a> {
    /// File name.
    pub file: String,
    /// What is shown, in a few words.
    pub title: String,
    /// Title of the module.
    pub module: &'a str,
    /// A second line.
    pub subtitle: String,
    /// Unit, above the colour bar.
    pub unit: &'static str,
    /// Names of rows and columns.
    pub names: &'a [String],
    /// Values, row by row.
    pub values: &'a Array2<f64>,
}

/// Draws a matrix; rows from the top, columns from the left.
pub fn draw(matrix: &Matrix) -> Result<Picture, MapError> {
    let n = matrix.names.len().max(1);
    let cell = (SIDE_PX / n as f64).floor().clamp(CELL_PX[1], CELL_PX[0]) as i32;
    let label = Style::page(if f64::from(cell) < 20.0 { 11.0 } else { 14.0 });
    let room = matrix
        .names
        .iter()
        .map(|name| width_px(name, label.size_px, label.weight))
        .fold(40.0f32, f32::max)
        .min(MOST_NAME_PX);
    let (left, top) = (room as i32 + 64, 92);
    let side = cell * n as i32;
    let (right, bottom) = (left + side, top + side);
    let bar_height = side.max(210);
    let width = (right + 150).max(760) as usize;
    let height = (bottom + room as i32 + 56).max(top + bar_height + 40) as usize;
    let mut canvas = Canvas::new(width, height);
    let scale = log_scale(matrix.values);
    for ((i, j), &value) in matrix.values.indexed_iter() {
        let corner = [left + j as i32 * cell, top + i as i32 * cell];
        // A gap of a pixel between squares that are large enough to lose it.
        let size = if cell > 10 { cell - 2 } else { cell - 1 };
        let shown = value.is_finite() && value > 0.0;
        let colour = if shown { scale.colour(value.log10()) } else { NOTHING };
        canvas.bar(corner, [corner[0] + size, corner[1] + size], colour);
        // Numbers where the colour says something; what lies below the scale is as good as none.
        if f64::from(cell) >= NUMBER_PX && shown && value.log10() >= scale.low() {
            let luma = 0.2126 * f32::from(colour[0])
                + 0.7152 * f32::from(colour[1])
                + 0.0722 * f32::from(colour[2]);
            let ink = if luma > 128.0 { DARK } else { LIGHT };
            let size = (f64::from(cell) * 0.27).clamp(10.0, 15.0) as f32;
            let middle = corner.map(|c| c as f32 + 0.5 * cell as f32);
            let text = fitted(&short(value), size, Weight::Regular, cell as f32 - 3.0);
            let style = Style { colour: ink, ..Style::page(size) };
            canvas.text(&text, middle[0], middle[1], Align::Middle, style);
        }
    }
    let every = (NAME_PX / f64::from(cell)).ceil() as usize;
    for (k, name) in matrix.names.iter().enumerate().step_by(every) {
        let name = fitted(name, label.size_px, label.weight, room);
        let middle = (k as f32 + 0.5) * cell as f32;
        canvas.text(&name, left as f32 - 8.0, top as f32 + middle, Align::End, label);
        let down = bottom as f32 + 8.0 + width_px(&name, label.size_px, label.weight) / 2.0;
        canvas.text_upward(&name, left as f32 + middle, down, label);
    }
    let axis = Style::page(15.0);
    canvas.text_upward("junction", 20.0, top as f32 + 0.5 * side as f32, axis);
    let below = bottom as f32 + room + 34.0;
    canvas.text("one watt in", left as f32 + 0.5 * side as f32, below, Align::Middle, axis);
    draw_bar(&mut canvas, &scale, [right + 24, top, top + bar_height], matrix.unit);
    let x = left as f32;
    let bold = Style { weight: Weight::Bold, ..Style::page(22.0) };
    canvas.text(&matrix.title, x, 30.0, Align::Start, bold);
    let after = width_px(&matrix.title, bold.size_px, Weight::Bold) + 18.0;
    let page = canvas.width as f32;
    let module = fitted(matrix.module, 18.0, Weight::Regular, page - x - after - 16.0);
    let faint = Style { colour: FAINT, ..Style::page(18.0) };
    canvas.text(&module, x + after, 31.0, Align::Start, faint);
    // The unit of the colour bar stands at the same height.
    canvas.subtitle(&matrix.subtitle, x, (right + 12) as f32 - x);
    let software = concat!("sprayside ", env!("CARGO_PKG_VERSION"));
    let description = format!("{} of {}. {}", matrix.title, matrix.module, matrix.subtitle);
    let words =
        [("Title", matrix.title.as_str()), ("Description", &description), ("Software", software)];
    Ok(Picture { file: matrix.file.clone(), png: png_file::encode(&canvas, &words)? })
}

/// A number for a small square.
fn short(value: f64) -> String {
    let text = significant(value, 2);
    match text.strip_prefix("0.") {
        Some(rest) => format!(".{rest}"),
        None => text,
    }
}

/// Magma over the logarithms of the positive values, at most [`DECADES`] below the largest.
fn log_scale(values: &Array2<f64>) -> ColourScale {
    let logs = values.iter().filter(|v| v.is_finite() && **v > 0.0).map(|v| v.log10());
    let (low, high) =
        logs.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
    if low > high {
        ColourScale::magma(-1.0, 0.0)
    } else {
        ColourScale::magma(low.max(high - DECADES), high)
    }
}

/// The colour bar with ticks at 1, 2 and 5 times powers of ten.
fn draw_bar(canvas: &mut Canvas, scale: &ColourScale, [left, top, end]: [i32; 3], unit: &str) {
    let (right, bottom) = (left + 21, end - 1);
    let rows = f64::from(end - top);
    let span = scale.high() - scale.low();
    for y in top..=bottom {
        let value = scale.high() - (f64::from(y - top) + 0.5) / rows * span;
        canvas.bar([left, y], [right, y], scale.colour(value));
    }
    canvas.outline([[left - 1, top - 1], [right + 1, bottom + 1]], INK, 1.0, None);
    let mut last = f64::INFINITY;
    for power in (scale.low().floor() as i32..=scale.high().ceil() as i32).rev() {
        for factor in [5.0, 2.0, 1.0f64] {
            let log = f64::from(power) + factor.log10();
            if log < scale.low() - 1e-9 || log > scale.high() + 1e-9 {
                continue;
            }
            let y = f64::from(top) + (scale.high() - log) / span * rows;
            // Powers of ten always; what lies between only where there is room.
            if factor > 1.0 && ((y - last).abs() < 26.0 || span / rows * 26.0 > 0.3) {
                continue;
            }
            last = y;
            let row = (y.round() as i32).clamp(top - 1, bottom + 1);
            canvas.bar([right + 2, row], [right + 6, row], INK);
            let text = significant(factor * 10f64.powi(power), 1);
            let at = right as f32 + 11.0;
            canvas.text(&text, at, row as f32 + 0.5, Align::Start, Style::page(14.0));
        }
    }
    canvas.text(unit, left as f32 - 1.0, top as f32 - 18.0, Align::Start, Style::page(15.0));
}

#[cfg(test)]
mod tests {
    use super::*;

    fn matrix_of(n: usize) -> (Vec<String>, Array2<f64>) {
        let names = (0..n).map(|k| format!("D{k}")).collect();
        let values = Array2::from_shape_fn((n, n), |(i, j)| {
            if i == j { 0.4 } else { 0.4 / (1.0 + 10.0 * (i as f64 - j as f64).abs()) }
        });
        (names, values)
    }

    #[test]
    fn one_source_and_a_hundred_both_make_a_picture() {
        for n in [1, 2, 14, 100, 160] {
            let (names, values) = matrix_of(n);
            let picture = draw(&Matrix {
                file: "m.png".to_owned(),
                title: "Thermal resistance".to_owned(),
                module: "a module with a title that is much longer than there is room for it",
                subtitle: "K".to_owned(),
                unit: "K/W",
                names: &names,
                values: &values,
            })
            .expect("a picture");
            let reader = png::Decoder::new(std::io::Cursor::new(&picture.png)).read_info();
            let info = reader.expect("a PNG").info().size();
            assert!(info.0 >= 760 && info.1 <= 1500, "{n}: {info:?}");
        }
    }

    #[test]
    fn larger_values_are_brighter_and_absent_ones_grey() {
        let (_, mut values) = matrix_of(3);
        values[[0, 2]] = 0.0;
        let scale = log_scale(&values);
        let luma = |v: f64| scale.colour(v.log10()).map(u32::from).iter().sum::<u32>();
        assert!(luma(0.4) > luma(0.1) && luma(0.1) > luma(0.03));
        assert!(scale.low() > -3.0, "zero has no logarithm");
    }

    #[test]
    fn numbers_of_squares_are_short() {
        assert_eq!(short(0.312_3), ".31");
        assert_eq!(short(1.26), "1.3");
        assert_eq!(short(0.0041), ".0041");
    }
}
