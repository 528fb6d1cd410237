//! One picture: title, map, outlines, marks, names, axes, colour bar.

use sprayside_solver::module::Rect;
use sprayside_solver::results::PlaneField;

use super::broken::outside;
use super::canvas::{Align, Canvas, DARK, FAINT, INK, LIGHT, Style};
use super::contours::{Contour, contours, joined};
use super::layout::{Layout, PixelRect};
use super::names::{Named, PlacedLine, Placement, place};
use super::nozzles::{NozzleMark, disc_px, draw_cones, draw_orifices, taken_by_numbers};
use super::options::PictureOptions;
use super::outlines::{Outlined, Outlines};
use super::raster::{Painting, paint};
use super::scale::{ColourScale, Rgb, Ticks};
use super::text::{Weight, fitted, width_px};
use super::{MapError, Picture, png_file};
use crate::figures::significant;

/// What a picture shows.
#[derive(Debug)]
pub struct Map<'a> {
    /// File name.
    pub file: String,
    /// What is shown, in a few words.
    pub title: String,
    /// A second line.
    pub subtitle: String,
    /// Unit, above the colour bar; empty where there is no bar.
    pub unit: &'static str,
    /// The field.
    pub field: &'a PlaneField,
    /// From the field's unit to `unit`.
    pub convert: fn(f64) -> f64,
    /// Colours, in `unit`.
    pub scale: ColourScale,
    /// Whether to interpolate between cells.
    pub smooth: bool,
    /// Whether values jump at the edges of die, as on the surface.
    pub jumps: bool,
    /// Points to mark, the most important first.
    pub marks: Vec<Mark>,
    /// Nozzles to draw.
    pub nozzles: &'a [NozzleMark],
    /// Whether there is something to show under their cones only.
    pub under_cones: bool,
    /// A detail for each die, then each heater, shown under its name where there is room; empty
    /// for none.
    pub details: Vec<String>,
}

/// A marked point.
#[derive(Debug, Clone, Copy)]
pub struct Mark {
    /// Where, m.
    pub at_m: [f64; 2],
    /// Whether it is the one that counts most.
    pub chief: bool,
}

impl Mark {
    fn radius_px(&self) -> f64 {
        if self.chief { 8.5 } else { 4.5 }
    }
}

/// Draws a picture.
pub fn draw<'a>(part: impl Into<Outlines<'a>>, map: &Map) -> Result<Picture, MapError> {
    draw_with(part, map, &PictureOptions::default()).map(|(picture, _)| picture)
}

/// Draws a picture as it was asked for; the second one is its SVG.
pub fn draw_with<'a>(
    part: impl Into<Outlines<'a>>,
    map: &Map,
    options: &PictureOptions,
) -> Result<(Picture, Option<Vec<u8>>), MapError> {
    let part = part.into();
    let canvas = painted(&part, map, options)?;
    let software = concat!("sprayside ", env!("CARGO_PKG_VERSION"));
    let description = format!("{} of {}. {}", map.title, part.title, map.subtitle);
    let words =
        [("Title", map.title.as_str()), ("Description", &description), ("Software", software)];
    let picture = Picture { file: map.file.clone(), png: png_file::encode(&canvas, &words)? };
    Ok((picture, canvas.svg(&map.title, &description)))
}

/// The pixels of a picture.
pub fn drawn<'a>(part: impl Into<Outlines<'a>>, map: &Map) -> Result<Canvas, MapError> {
    painted(&part.into(), map, &PictureOptions::default())
}

fn painted(part: &Outlines, map: &Map, options: &PictureOptions) -> Result<Canvas, MapError> {
    let layout = Layout::wide(part.size_m, options.width_points());
    let mut canvas = Canvas::zoomed(layout.size[0], layout.size[1], options.zoom());
    if options.svg {
        canvas.record();
    }
    let scale = map.scale.clone().in_colours(options.colours);
    let edges: Vec<Rect> = match map.jumps {
        true => part.die_rects(),
        false => Vec::new(),
    };
    let painting = Painting {
        field: map.field,
        convert: map.convert,
        scale: &scale,
        edges: &edges,
        smooth: map.smooth,
        within: map
            .under_cones
            .then(|| map.nozzles.iter().map(|nozzle| nozzle.outline_m.as_slice()).collect()),
    };
    paint(&mut canvas, &layout, &painting);
    let corner = [layout.map.x0 as usize, layout.map.y0 as usize];
    let size = [layout.map.width() as usize, layout.map.height() as usize];
    canvas.record_pixels(corner, size)?;
    let levels = match options.isotherms_K {
        // Only temperatures have isotherms.
        Some(spacing) if map.unit == "°C" => contours(map.field, map.convert, spacing, &edges),
        _ => Vec::new(),
    };
    let names = placed_names(&layout, part, map);
    let numbers = placed_levels(&layout, &names, map, &levels);
    // Lines are broken where a text stands on them.
    let mut texts = taken_by_names(&names);
    texts.extend(taken_by_numbers(&layout, map.nozzles));
    draw_cones(&mut canvas, &layout, map.nozzles, &texts);
    texts.extend(numbers.iter().map(|number| number.claim));
    draw_contours(&mut canvas, &layout, &levels, &texts);
    draw_outlines(&mut canvas, &layout, part);
    draw_orifices(&mut canvas, &layout, map.nozzles, &map.scale);
    draw_marks(&mut canvas, &layout, &map.marks);
    draw_names(&mut canvas, &names);
    draw_axes(&mut canvas, &layout, part.size_m);
    for LevelNumber { text, claim } in &numbers {
        let [x, y] = claim.centre().map(|v| v as f32);
        let style = Style { colour: LIGHT, halo: Some(DARK), ..Style::page(12.0) };
        canvas.text(text, x, y, Align::Middle, style);
    }
    if !map.unit.is_empty() {
        draw_bar(&mut canvas, &layout.bar, &scale, map.unit);
    }
    let subtitle = match names.left_out {
        0 => map.subtitle.clone(),
        1 => format!("{}; 1 name left out for lack of room", map.subtitle),
        n => format!("{}; {n} names left out for lack of room", map.subtitle),
    };
    draw_titles(&mut canvas, &layout, &map.title, part.title, &subtitle);
    canvas.failure()?;
    Ok(canvas)
}

/// Lines of equal temperature, light with a dark rim.
fn draw_contours(canvas: &mut Canvas, layout: &Layout, levels: &[Contour], texts: &[PixelRect]) {
    let map = &layout.map;
    let clip = [map.x0, map.y0, map.x1, map.y1].map(|v| v as i32);
    for contour in levels {
        for line in joined(&contour.pieces) {
            let line: Vec<[f64; 2]> = line.iter().map(|at| layout.point(*at)).collect();
            for part in outside(&line, texts) {
                canvas.stroke(&part, 2.4, (DARK, 0.4), clip);
                canvas.stroke(&part, 1.0, (LIGHT, 0.85), clip);
            }
        }
    }
}

/// The number of an isotherm, and its place.
struct LevelNumber {
    text: String,
    claim: PixelRect,
}

/// The numbers of the levels, where nothing else stands: up to three each.
fn placed_levels(
    layout: &Layout,
    names: &Placement,
    map: &Map,
    levels: &[Contour],
) -> Vec<LevelNumber> {
    let mut taken = taken_by_names(names);
    taken.extend(taken_by_marks(layout, map));
    let page = layout.map.shrunk(4.0);
    let smallest = levels.windows(2).map(|w| w[1].level - w[0].level).fold(1.0, f64::min);
    let decimals = (-smallest.log10().floor()).max(0.0) as usize;
    let mut numbers = Vec::new();
    for contour in levels {
        let text = format!("{:.decimals$}", contour.level);
        let width = f64::from(width_px(&text, 12.0, Weight::Regular)) + 4.0;
        let mut put: Vec<[f64; 2]> = Vec::new();
        for piece in &contour.pieces {
            let [x, y] = layout.point(piece[0]);
            let claim = PixelRect::around(x, y, width, 16.0);
            let far = put.iter().all(|p| (p[0] - x).hypot(p[1] - y) > 260.0);
            if put.len() < 3 && far && page.holds(&claim) && !taken.iter().any(|t| t.meets(&claim))
            {
                put.push([x, y]);
                taken.push(claim.shrunk(-6.0));
                numbers.push(LevelNumber { text: text.clone(), claim });
            }
        }
    }
    numbers
}

fn draw_titles(canvas: &mut Canvas, layout: &Layout, title: &str, module: &str, subtitle: &str) {
    let x = layout.map.x0 as f32;
    let room = canvas.width as f32 - x - 16.0;
    let bold = Style { weight: Weight::Bold, ..Style::page(22.0) };
    let title = fitted(title, bold.size_px, Weight::Bold, room);
    canvas.text(&title, x, 30.0, Align::Start, bold);
    let after = width_px(&title, bold.size_px, Weight::Bold) + 18.0;
    let module = fitted(module, 18.0, Weight::Regular, room - after);
    canvas.text(
        &module,
        x + after,
        31.0,
        Align::Start,
        Style { colour: FAINT, ..Style::page(18.0) },
    );
    // The unit of the colour bar stands at the same height.
    let room = layout.bar.x0 as f32 - x - 12.0;
    let room = if layout.map.width() < 500.0 { canvas.width as f32 - x - 16.0 } else { room };
    canvas.subtitle(subtitle, x, room);
}

/// Outlines of die, unbroken, and of heaters, dashed: light with a dark rim, so that they show on
/// every colour.
fn draw_outlines(canvas: &mut Canvas, layout: &Layout, part: &Outlines) {
    let (die, others): (Vec<&Outlined>, Vec<_>) = part.parts.iter().partition(|part| part.is_die);
    for outlined in others.into_iter().chain(die) {
        let dash = (!outlined.is_die).then_some(4);
        let rect = layout.rect(&outlined.rect);
        let corners = |grow: f64| {
            [
                [(rect.x0 - grow).round() as i32, (rect.y0 - grow).round() as i32],
                [(rect.x1 + grow).round() as i32 - 1, (rect.y1 + grow).round() as i32 - 1],
            ]
        };
        canvas.outline(corners(1.0), DARK, 0.75, None);
        canvas.outline(corners(0.0), LIGHT, 0.9, dash);
    }
}

/// Rings, the chief one larger and with a dot.
fn draw_marks(canvas: &mut Canvas, layout: &Layout, marks: &[Mark]) {
    for mark in marks.iter().rev() {
        let centre = layout.point(mark.at_m);
        let radius = mark.radius_px();
        canvas.ring(centre, radius, 4.0, DARK);
        canvas.ring(centre, radius, 1.8, LIGHT);
        if mark.chief {
            canvas.ring(centre, 0.0, 7.0, DARK);
            canvas.ring(centre, 0.0, 4.6, LIGHT);
        }
    }
}

/// Where marks are.
fn taken_by_marks(layout: &Layout, map: &Map) -> Vec<PixelRect> {
    let taken = |at_m: [f64; 2], size: f64| {
        let [x, y] = layout.point(at_m);
        PixelRect::around(x, y, size, size)
    };
    map.marks
        .iter()
        .map(|mark| taken(mark.at_m, 2.0 * mark.radius_px() + 4.0))
        .chain(map.nozzles.iter().map(|nozzle| match nozzle.value {
            Some(_) => {
                // A disc and the number under it.
                let [x, y] = layout.point(nozzle.at_m);
                let disc = disc_px(layout, map.nozzles);
                PixelRect::around(x, y + 7.0, disc + 4.0, disc + 20.0)
            }
            None => taken(nozzle.at_m, 12.0),
        }))
        .collect()
}

/// Names at their places.
fn placed_names(layout: &Layout, part: &Outlines, map: &Map) -> Placement {
    let parts: Vec<Named> = part
        .parts
        .iter()
        .enumerate()
        .map(|(index, outlined)| Named {
            name: outlined.name.to_owned(),
            detail: map.details.get(index).cloned(),
            rect: layout.rect(&outlined.rect),
        })
        .collect();
    let cone = |nozzle: &NozzleMark| nozzle.outline_m.iter().map(|at| layout.point(*at)).collect();
    let cones = map.nozzles.iter().map(cone).collect();
    place(&parts, &taken_by_marks(layout, map), cones, &layout.map)
}

/// Where names are.
fn taken_by_names(names: &Placement) -> Vec<PixelRect> {
    let rect = |line: &PlacedLine| {
        let width = f64::from(width_px(&line.text, line.size_px, Weight::Regular)) + 6.0;
        PixelRect::around(line.at[0], line.at[1], width, f64::from(line.size_px) + 4.0)
    };
    names.lines.iter().map(rect).collect()
}

/// Names of die and heaters.
fn draw_names(canvas: &mut Canvas, placement: &Placement) {
    let page = [0, 0, canvas.width as i32, canvas.height as i32];
    for leader in &placement.leaders {
        canvas.stroke(leader, 3.0, (DARK, 0.75), page);
        canvas.stroke(leader, 1.2, (LIGHT, 0.9), page);
    }
    for line in &placement.lines {
        let [x, y] = line.at.map(|v| v as f32);
        let half = [
            width_px(&line.text, line.size_px, Weight::Regular) / 2.0 + 2.0,
            line.size_px / 2.0 + 2.0,
        ];
        let corner = |sign: f32| [(x + sign * half[0]) as i32, (y + sign * half[1]) as i32];
        let behind = canvas.luminance([corner(-1.0), corner(1.0)]);
        canvas.text(&line.text, x, y, Align::Middle, Style::on_map(line.size_px, behind));
    }
}

fn draw_axes(canvas: &mut Canvas, layout: &Layout, size_m: [f64; 2]) {
    let map = &layout.map;
    let (left, right) = (map.x0 as i32 - 1, map.x1 as i32);
    let (top, bottom) = (map.y0 as i32 - 1, map.y1 as i32);
    canvas.outline([[left, top], [right, bottom]], INK, 1.0, None);
    let label = Style::page(14.0);
    let across = Ticks::inside(0.0, size_m[0] * 1e3, ((map.width() / 70.0) as usize).clamp(2, 12));
    for &value in &across.values {
        let [x, _] = layout.point([value * 1e-3, 0.0]);
        let x = (x.round() as i32).clamp(left, right);
        canvas.bar([x, bottom + 1], [x, bottom + 5], INK);
        canvas.text(
            &across.label(value),
            x as f32 + 0.5,
            bottom as f32 + 17.0,
            Align::Middle,
            label,
        );
    }
    let up = Ticks::inside(0.0, size_m[1] * 1e3, ((map.height() / 45.0) as usize).clamp(2, 14));
    let mut widest = 0.0f32;
    for &value in &up.values {
        let [_, y] = layout.point([0.0, value * 1e-3]);
        let y = (y.round() as i32).clamp(top, bottom);
        // On a very flat module only the ends have room.
        if map.height() < 30.0 && value > 0.0 && value < up.values[up.values.len() - 1] {
            continue;
        }
        canvas.bar([left - 5, y], [left - 1, y], INK);
        canvas.text(&up.label(value), left as f32 - 10.0, y as f32 + 0.5, Align::End, label);
        widest = widest.max(width_px(&up.label(value), label.size_px, label.weight));
    }
    let [x, y] = map.centre().map(|v| v as f32);
    canvas.text("x, mm", x, bottom as f32 + 41.0, Align::Middle, Style::page(15.0));
    canvas.text_upward(
        "y, mm",
        (left as f32 - 10.0 - widest - 18.0).max(10.0),
        y,
        Style::page(15.0),
    );
}

/// A colour bar with its numbers and unit.
pub(super) fn draw_bar(canvas: &mut Canvas, bar: &PixelRect, scale: &ColourScale, unit: &str) {
    let (left, right) = (bar.x0 as i32, bar.x1 as i32 - 1);
    let (top, bottom) = (bar.y0 as i32, bar.y1 as i32 - 1);
    let rows = bar.height();
    if let Some(value) = scale.single() {
        return draw_single(canvas, bar, scale.colour(value), value, unit);
    }
    let value_at =
        |y: i32| scale.high() - (f64::from(y - top) + 0.5) / rows * (scale.high() - scale.low());
    for y in top..=bottom {
        canvas.bar([left, y], [right, y], scale.colour(value_at(y)));
    }
    canvas.outline([[left - 1, top - 1], [right + 1, bottom + 1]], INK, 1.0, None);
    let ticks = Ticks::inside(scale.low(), scale.high(), ((rows / 55.0) as usize).clamp(3, 12));
    for &value in &ticks.values {
        let share = (scale.high() - value) / (scale.high() - scale.low());
        let y = (bar.y0 + share * rows).round() as i32;
        let y = y.clamp(top - 1, bottom + 1);
        canvas.bar([right + 2, y], [right + 6, y], INK);
        // Where values go on, the last tick stands for all that is above it.
        let is_last = value >= scale.high() - 1e-9 * (scale.high() - scale.low());
        let open = if scale.is_open_above() && is_last { "≥ " } else { "" };
        canvas.text(
            &format!("{open}{}", ticks.label(value)),
            right as f32 + 11.0,
            y as f32 + 0.5,
            Align::Start,
            Style::page(14.0),
        );
    }
    canvas.text(unit, left as f32 - 1.0, bar.y0 as f32 - 18.0, Align::Start, Style::page(15.0));
}

/// Of a field with one value everywhere: one colour and that value, where a scale would pretend to
/// differences.
fn draw_single(canvas: &mut Canvas, bar: &PixelRect, colour: Rgb, value: f64, unit: &str) {
    let (left, right, top) = (bar.x0 as i32, bar.x1 as i32 - 1, bar.y0 as i32);
    let bottom = top + (right - left);
    canvas.bar([left, top], [right, bottom], colour);
    canvas.outline([[left - 1, top - 1], [right + 1, bottom + 1]], INK, 1.0, None);
    canvas.text(
        &significant(value, 4),
        right as f32 + 8.0,
        0.5 * (top + bottom) as f32,
        Align::Start,
        Style::page(14.0),
    );
    canvas.text(unit, left as f32 - 1.0, top as f32 - 18.0, Align::Start, Style::page(15.0));
    let below = (bottom + 18) as f32;
    canvas.text("everywhere", left as f32 - 1.0, below, Align::Start, Style::page(13.0));
}
