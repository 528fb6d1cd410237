//! The pictures of a better nozzle pattern: two maps in one, and liquid against margin.

use sprayside_solver::module::{ArrangeBounds, Module};
use sprayside_solver::results::SteadyResult;
use sprayside_solver::spray::Footprint;
use sprayside_solver::study::arrange::TradePoint;

use super::canvas::{Align, Canvas, DARK, FAINT, INK, LIGHT, Style};
use super::layout::Layout;
use super::map::{Map, Mark, drawn};
use super::scale::{Rgb, Ticks};
use super::solve_maps::scale_of;
use super::text::{Weight, fitted, width_px};
use super::{MapError, Picture, png_file, spray_maps};
use crate::figures::{celsius, significant};

/// A picture is as wide as two maps unless these are wider than high by more than this.
const WIDE: f64 = 1.4;

/// The temperature maps of two patterns on one scale, with their nozzles.
pub fn of_before_and_after(
    module: &Module,
    results: [&SteadyResult; 2],
    footprints: [&[Footprint]; 2],
    bounds: &ArrangeBounds,
) -> Result<Picture, MapError> {
    let scale = scale_of([&results[0].surface_K, &results[1].surface_K], celsius);
    let mut canvases = Vec::new();
    for ((word, result), footprints) in ["Before", "After"].into_iter().zip(results).zip(footprints)
    {
        let nozzles = spray_maps::nozzle_marks(footprints);
        let hottest = result.hottest().map(|k| &result.junctions[k]);
        let subtitle = hottest.map_or(String::new(), |junction| {
            format!(
                "Surface temperature. Ring: hottest junction, {} with {:.2} °C",
                junction.name,
                celsius(junction.max_K)
            )
        });
        let map = Map {
            file: String::new(),
            title: word.to_owned(),
            subtitle: spray_maps::with_nozzles(&subtitle, &nozzles),
            unit: "°C",
            field: &result.surface_K,
            convert: celsius,
            scale: scale.clone(),
            smooth: true,
            jumps: true,
            marks: hottest.map(|j| Mark { at_m: j.hot_spot_m, chief: true }).into_iter().collect(),
            nozzles: &nozzles,
            under_cones: false,
            details: result
                .junctions
                .iter()
                .map(|j| format!("{:.1} °C", celsius(j.max_K)))
                .collect(),
        };
        let mut canvas = drawn(module, &map)?;
        draw_bounds(&mut canvas, module, bounds);
        canvases.push(canvas);
    }
    let joined = joined(&canvases[0], &canvases[1]);
    let software = concat!("sprayside ", env!("CARGO_PKG_VERSION"));
    let description =
        format!("Surface temperatures of {} before and after its nozzles were moved", module.title);
    let words =
        [("Title", "Before and after"), ("Description", &description), ("Software", software)];
    let png = png_file::encode(&joined, &words)?;
    Ok(Picture { file: "before_after.png".to_owned(), png })
}

/// Keep-outs crossed out; the region, where it is not the whole module, dashed.
fn draw_bounds(canvas: &mut Canvas, module: &Module, bounds: &ArrangeBounds) {
    let layout = Layout::of(module.size_m);
    let map = &layout.map;
    let clip = [map.x0, map.y0, map.x1, map.y1].map(|v| v as i32);
    for area in &bounds.keep_out {
        let r = layout.rect(area);
        let ring = [[r.x0, r.y0], [r.x1, r.y0], [r.x1, r.y1], [r.x0, r.y1], [r.x0, r.y0]];
        let crossed = [[r.x0, r.y0], [r.x1, r.y1]];
        let other = [[r.x0, r.y1], [r.x1, r.y0]];
        for line in [&ring[..], &crossed[..], &other[..]] {
            canvas.stroke(line, 3.4, (DARK, 0.6), clip);
            canvas.stroke(line, 1.4, (LIGHT, 0.9), clip);
        }
    }
    if bounds.region != module.outline() {
        let r = layout.rect(&bounds.region);
        let corner = |x: f64, y: f64| {
            [
                (x.round() as i32).clamp(clip[0], clip[2] - 1),
                (y.round() as i32).clamp(clip[1], clip[3] - 1),
            ]
        };
        canvas.outline([corner(r.x0, r.y0), corner(r.x1, r.y1)], LIGHT, 0.9, Some(6));
    }
}

/// Two pictures of the same size side by side, or one above the other where they are wide.
fn joined(first: &Canvas, second: &Canvas) -> Canvas {
    let (w, h) = (first.width, first.height);
    let beside = (w as f64) < WIDE * h as f64;
    let mut canvas = if beside { Canvas::new(2 * w, h) } else { Canvas::new(w, 2 * h) };
    for (k, part) in [first, second].into_iter().enumerate() {
        let (left, top) = if beside { (k * w, 0) } else { (0, k * h) };
        for y in 0..h {
            let to = 3 * ((top + y) * canvas.width + left);
            canvas.pixels[to..to + 3 * w].copy_from_slice(&part.pixels[3 * y * w..3 * (y + 1) * w]);
        }
    }
    canvas
}

const SIZE_PX: [usize; 2] = [1100, 760];
const FRAME: [i32; 4] = [96, 104, 1000, 690];
/// Blue, and orange-red: apart in every common form of colour blindness (M. Okabe, K. Ito,
/// "Color Universal Design", 2008).
const HOT: Rgb = [213, 94, 0];
const MARGIN: Rgb = [0, 114, 178];
const GRID: Rgb = [228, 228, 232];

/// A range of values that holds all of `values`, a little wider.
fn range(values: impl Iterator<Item = f64>) -> [f64; 2] {
    let (low, high) =
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
    if low > high {
        return [0.0, 1.0];
    }
    let room = (0.06 * (high - low)).max(1e-3 * high.abs()).max(1e-9);
    [low - room, high + room]
}

/// Hottest junction (left axis) and least CHF margin (right axis) against liquid.
pub fn of_trade_off(
    module: &Module,
    points: &[TradePoint],
    found_m3_s: f64,
) -> Result<Picture, MapError> {
    let mut canvas = Canvas::new(SIZE_PX[0], SIZE_PX[1]);
    let [left, top, right, bottom] = FRAME;
    let flows = range(points.iter().map(|p| p.flow_m3_s * 1e6));
    let hot = range(points.iter().map(|p| celsius(p.hottest_K)));
    let margins = range(points.iter().filter_map(|p| p.least_chf_margin));
    let share = |v: f64, [low, high]: [f64; 2]| (v - low) / (high - low);
    let across = |flow: f64| f64::from(left) + share(flow, flows) * f64::from(right - left);
    let up = |v: f64, of: [f64; 2]| f64::from(bottom) - share(v, of) * f64::from(bottom - top);
    let label = Style::page(14.0);
    let ticks = Ticks::inside(flows[0], flows[1], 10);
    for &value in &ticks.values {
        let x = across(value).round() as i32;
        canvas.bar([x, top], [x, bottom], GRID);
        canvas.text(&ticks.label(value), x as f32, bottom as f32 + 17.0, Align::Middle, label);
    }
    let ticks = Ticks::inside(hot[0], hot[1], 9);
    for &value in &ticks.values {
        let y = up(value, hot).round() as i32;
        canvas.bar([left, y], [right, y], GRID);
        let style = Style { colour: HOT, ..label };
        canvas.text(&ticks.label(value), left as f32 - 10.0, y as f32 + 0.5, Align::End, style);
    }
    let has_margins = points.iter().any(|p| p.least_chf_margin.is_some());
    if has_margins {
        let ticks = Ticks::inside(margins[0], margins[1], 9);
        for &value in &ticks.values {
            let y = up(value, margins).round() as i32;
            canvas.bar([right + 1, y], [right + 6, y], INK);
            let style = Style { colour: MARGIN, ..label };
            let at = right as f32 + 11.0;
            canvas.text(&ticks.label(value), at, y as f32 + 0.5, Align::Start, style);
        }
    }
    canvas.outline([[left - 1, top - 1], [right + 1, bottom + 1]], INK, 1.0, None);
    let clip = [left, top, right, bottom];
    let mut curve = |points: &[[f64; 2]], colour: Rgb| {
        canvas.stroke(points, 2.4, (colour, 1.0), clip);
        for point in points {
            canvas.ring(*point, 0.0, 9.0, colour);
        }
    };
    let at = |p: &TradePoint, y: f64| [across(p.flow_m3_s * 1e6), y];
    let hottest: Vec<[f64; 2]> =
        points.iter().map(|p| at(p, up(celsius(p.hottest_K), hot))).collect();
    let margin: Vec<[f64; 2]> =
        points.iter().filter_map(|p| Some(at(p, up(p.least_chf_margin?, margins)))).collect();
    curve(&hottest, HOT);
    curve(&margin, MARGIN);
    let here = across(found_m3_s * 1e6);
    if here > f64::from(left) && here < f64::from(right) {
        for y in (top..bottom).step_by(14) {
            let x = here.round() as i32;
            canvas.bar([x, y], [x + 1, (y + 8).min(bottom)], INK);
        }
        let text = format!("the pattern found: {} mL/s", significant(found_m3_s * 1e6, 4));
        let (x, align) = if here > f64::from(left + right) / 2.0 {
            (here as f32 - 8.0, Align::End)
        } else {
            (here as f32 + 9.0, Align::Start)
        };
        canvas.text(&text, x, top as f32 + 14.0, align, Style::page(14.0));
    }
    words(&mut canvas, module, has_margins);
    canvas.failure()?;
    let title = "Liquid against margin";
    let description = format!(
        "Hottest junction and least margin to critical heat flux of {} against the flow of all nozzles",
        module.title
    );
    let software = concat!("sprayside ", env!("CARGO_PKG_VERSION"));
    let words = [("Title", title), ("Description", &description), ("Software", software)];
    let png = png_file::encode(&canvas, &words)?;
    Ok(Picture { file: "trade_off.png".to_owned(), png })
}

fn words(canvas: &mut Canvas, module: &Module, has_margins: bool) {
    let [left, _, right, bottom] = FRAME.map(|v| v as f32);
    let bold = Style { weight: Weight::Bold, ..Style::page(22.0) };
    let title = "Liquid against margin";
    canvas.text(title, left, 30.0, Align::Start, bold);
    let after = left + width_px(title, bold.size_px, Weight::Bold) + 18.0;
    let name = fitted(&module.title, 18.0, Weight::Regular, SIZE_PX[0] as f32 - after - 16.0);
    let faint = Style { colour: FAINT, ..Style::page(18.0) };
    canvas.text(&name, after, 31.0, Align::Start, faint);
    let note = "Each point improved for its own amount of liquid; on the mesh of the study";
    canvas.text(note, left, 58.0, Align::Start, Style::page(15.0));
    let coloured = |colour: Rgb| Style { colour, ..Style::page(15.0) };
    canvas.text("hottest junction, °C", left, 84.0, Align::Start, coloured(HOT));
    if has_margins {
        canvas.text("least CHF margin", right, 84.0, Align::End, coloured(MARGIN));
    }
    let middle = 0.5 * (left + right);
    canvas.text(
        "flow of all nozzles, mL/s",
        middle,
        bottom + 44.0,
        Align::Middle,
        Style::page(15.0),
    );
}
