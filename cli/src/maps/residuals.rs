//! The residuals of a fit as a picture: each sensor's reading less prediction, before and after.

use super::canvas::{Align, Canvas, FAINT, INK, Style};
use super::scale::{Rgb, Ticks};
use super::text::{Weight, fitted, width_px};
use super::{MapError, Picture, png_file};
use crate::tables::FitSensorRow;

/// Before (orange-red) and after (blue), apart in every common form of colour blindness.
const BEFORE: Rgb = [213, 94, 0];
const AFTER: Rgb = [0, 114, 178];
const REACH: Rgb = [206, 206, 212];
const GRID: Rgb = [232, 232, 236];

const WIDTH_PX: usize = 1100;
const ROW_PX: i32 = 26;
const TOP_PX: i32 = 104;
const LEFT_PX: i32 = 170;
const RIGHT_PX: i32 = 1064;
/// Most sensors drawn; the table has them all.
const MOST_ROWS: usize = 60;

/// Draws the residuals of a fit.
pub fn of_fit(module: &str, rows: &[FitSensorRow]) -> Result<Picture, MapError> {
    let rows = &rows[..rows.len().min(MOST_ROWS)];
    let bottom = TOP_PX + ROW_PX * rows.len() as i32;
    let mut canvas = Canvas::new(WIDTH_PX, bottom as usize + 74);
    let before = |row: &FitSensorRow| -row.comparison_error_K.unwrap_or(0.0);
    let after = |row: &FitSensorRow| row.residual_K.unwrap_or(0.0);
    let reach = |row: &FitSensorRow| 2.0 * row.sigma_K.unwrap_or(0.0);
    let span = rows
        .iter()
        .flat_map(|row| [before(row).abs(), after(row).abs(), after(row).abs().max(reach(row))])
        .fold(0.1, f64::max)
        * 1.08;
    let place = |kelvin: f64| {
        let share = (kelvin + span) / (2.0 * span);
        f64::from(LEFT_PX) + share * f64::from(RIGHT_PX - LEFT_PX)
    };
    let label = Style::page(14.0);
    let ticks = Ticks::inside(-span, span, 9);
    for &tick in &ticks.values {
        let x = place(tick).round() as i32;
        let colour = if tick.abs() < 1e-9 * span { INK } else { GRID };
        canvas.bar([x, TOP_PX], [x, bottom], colour);
        canvas.text(&ticks.label(tick), x as f32, bottom as f32 + 17.0, Align::Middle, label);
    }
    for (k, row) in rows.iter().enumerate() {
        let y = f64::from(TOP_PX) + (k as f64 + 0.5) * f64::from(ROW_PX);
        let (low, high) = (place(-reach(row)), place(reach(row)));
        let [yi, half] = [y.round() as i32, 5];
        canvas.bar([low.round() as i32, yi - half], [high.round() as i32, yi + half], REACH);
        canvas.ring([place(before(row)), y], 0.0, 11.0, BEFORE);
        canvas.ring([place(after(row)), y], 0.0, 11.0, AFTER);
        let disagrees = row.agrees == "no";
        let style = Style {
            weight: if disagrees { Weight::Bold } else { Weight::Regular },
            colour: INK,
            ..label
        };
        let words =
            if disagrees { format!("{} (disagrees)", row.sensor) } else { row.sensor.clone() };
        let name = fitted(&words, style.size_px, style.weight, LEFT_PX as f32 - 26.0);
        canvas.text(&name, LEFT_PX as f32 - 12.0, y as f32, Align::End, style);
    }
    canvas.outline([[LEFT_PX - 1, TOP_PX - 1], [RIGHT_PX + 1, bottom + 1]], INK, 1.0, None);
    let middle = 0.5 * (LEFT_PX + RIGHT_PX) as f32;
    let axis = Style::page(15.0);
    canvas.text("read less predicted, K", middle, bottom as f32 + 46.0, Align::Middle, axis);
    words(&mut canvas, module);
    let title = "Readings against the model";
    let description =
        format!("Residuals of the sensors of {module}, before and after the fit, in K");
    let software = concat!("sprayside ", env!("CARGO_PKG_VERSION"));
    let words = [("Title", title), ("Description", &description), ("Software", software)];
    Ok(Picture { file: "fit.png".to_owned(), png: png_file::encode(&canvas, &words)? })
}

fn words(canvas: &mut Canvas, module: &str) {
    let title = "Readings against the model";
    let x = 24.0;
    let bold = Style { weight: Weight::Bold, ..Style::page(22.0) };
    canvas.text(title, x, 30.0, Align::Start, bold);
    let after = x + width_px(title, bold.size_px, Weight::Bold) + 18.0;
    let faint = Style { colour: FAINT, ..Style::page(18.0) };
    let module = fitted(module, 18.0, Weight::Regular, canvas.width as f32 - after - 16.0);
    canvas.text(&module, after, 31.0, Align::Start, faint);
    let mut at = x;
    for (colour, text) in [
        (BEFORE, "the case as stated"),
        (AFTER, "the corrected case"),
        (REACH, "two standard uncertainties of the reading and the solution"),
    ] {
        canvas.ring([f64::from(at) + 6.0, 68.0], 0.0, 11.0, colour);
        at += 18.0;
        canvas.text(text, at, 68.0, Align::Start, Style::page(15.0));
        at += width_px(text, 15.0, Weight::Regular) + 26.0;
    }
}
