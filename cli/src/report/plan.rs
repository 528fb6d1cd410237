//! The module to scale, as inline SVG: outline, die, heaters, nozzles, dimensions.

use std::fmt::Write;

use sprayside_solver::module::{Module, Rect};
use sprayside_solver::spray::Footprint;

use super::escaped;
use crate::figures::significant;
use crate::text::counted;

/// Longer side of the drawing, in its own units.
const LONGER_SIDE: f64 = 560.0;
/// Room for dimensions.
const MARGIN: f64 = 34.0;
/// Width of a character as a share of the font size, on the safe side.
const CHARACTER_SHARE: f64 = 0.66;
/// Font sizes, largest and smallest.
const FONT: [f64; 2] = [15.0, 8.5];

/// The drawing.
pub fn plan(module: &Module, footprints: &[Footprint]) -> String {
    let [length, height] = module.size_m;
    let scale = LONGER_SIDE / length.max(height);
    let (width, tall) = (length * scale, height * scale);
    let point = |x: f64, y: f64| [MARGIN + x * scale, 8.0 + tall - y * scale];
    let mut svg = String::new();
    let total = [width + MARGIN + 10.0, tall + MARGIN + 8.0];
    let mm = |v: f64| significant(v * 1e3, 5);
    let described = format!(
        "{} by {} mm, seen from the spray side: {}{}{}.",
        mm(length),
        mm(height),
        counted(module.die.len(), "die", "die"),
        match module.heaters.len() {
            0 => String::new(),
            n => format!(", {}", counted(n, "heater", "heaters")),
        },
        match footprints.len() {
            0 => String::new(),
            n => format!(", {} with their cones", counted(n, "nozzle", "nozzles")),
        },
    );
    let _ = write!(
        svg,
        "<svg class=\"plan\" viewBox=\"0 0 {:.1} {:.1}\" role=\"img\" aria-label=\"Drawing of the \
         module to scale: {}\" style=\"max-width:{:.0}px\">",
        total[0],
        total[1],
        escaped(&described),
        total[0] * 1.1,
    );
    let rect_of = |rect: &Rect, class: &str, title: &str| {
        let [x, y] = point(rect.x0_m, rect.y1_m);
        format!(
            "<rect class=\"{class}\" x=\"{x:.2}\" y=\"{y:.2}\" width=\"{:.2}\" height=\"{:.2}\">\
             <title>{}</title></rect>",
            rect.width_m() * scale,
            rect.height_m() * scale,
            escaped(title)
        )
    };
    svg += &rect_of(&module.outline(), "substrate", "substrate");
    for heater in &module.heaters {
        svg += &rect_of(&heater.rect, "heater", &heater.name);
    }
    for die in &module.die {
        let title = format!(
            "{}, {}: {} by {} mm, {} W",
            die.name,
            die.type_name,
            mm(die.rect.width_m()),
            mm(die.rect.height_m()),
            significant(die.power_W, 4)
        );
        svg += &rect_of(&die.rect, "die", &title);
    }
    if !footprints.is_empty() {
        let [x, y] = point(0.0, height);
        let _ = write!(
            svg,
            "<clipPath id=\"plan-clip\"><rect x=\"{x:.2}\" y=\"{y:.2}\" width=\"{width:.2}\" \
             height=\"{tall:.2}\"/></clipPath><g class=\"cones\" clip-path=\"url(#plan-clip)\">"
        );
        for footprint in footprints {
            let outline: Vec<String> = footprint
                .outline_m(40)
                .iter()
                .map(|p| point(p[0], p[1]))
                .map(|[x, y]| format!("{x:.1},{y:.1}"))
                .collect();
            let _ = write!(svg, "<polygon points=\"{}\"/>", outline.join(" "));
        }
        svg += "</g><g class=\"orifices\">";
        for footprint in footprints {
            let [x, y] = point(footprint.foot_m[0], footprint.foot_m[1]);
            let _ = write!(svg, "<path d=\"M{:.1} {y:.1}h6M{x:.1} {:.1}v6\"/>", x - 3.0, y - 3.0);
        }
        svg += "</g>";
    }
    let die = module.die.iter().map(|die| (&die.name, &die.rect));
    let heaters = module
        .heaters
        .iter()
        .filter(|heater| !module.die.iter().any(|die| die.rect.overlaps(&heater.rect, 0.0)))
        .map(|heater| (&heater.name, &heater.rect));
    for (name, rect) in die.chain(heaters) {
        let [x, y] = rect.centre_m();
        let [x, y] = point(x, y);
        let room = [rect.width_m() * scale - 4.0, rect.height_m() * scale - 3.0];
        let characters = name.chars().count().max(1) as f64;
        let level = (room[0] / (CHARACTER_SHARE * characters)).min(room[1]).min(FONT[0]);
        let upright = (room[1] / (CHARACTER_SHARE * characters)).min(room[0]).min(FONT[0]);
        let size = level.max(upright);
        if size < FONT[1] {
            continue;
        }
        let turn = if level >= upright.min(FONT[1] + 2.0) {
            String::new()
        } else {
            format!(" transform=\"rotate(-90 {x:.1} {y:.1})\"")
        };
        let size = if turn.is_empty() { level } else { upright };
        // A name does not lie on an orifice: it moves toward the lower edge.
        let covered = footprints.iter().any(|footprint| {
            let [u, v] = point(footprint.foot_m[0], footprint.foot_m[1]);
            (u - x).abs() < 0.4 * size * characters && (v - y).abs() < size
        });
        let y = if covered { y + (0.5 * (room[1] - size)).max(0.0) } else { y };
        let _ = write!(
            svg,
            "<text x=\"{x:.1}\" y=\"{y:.1}\" font-size=\"{size:.1}\"{turn}>{}</text>",
            escaped(name)
        );
    }
    dimensions(&mut svg, [width, tall], [&mm(length), &mm(height)]);
    svg += "</svg>";
    svg
}

/// Length below, height at the left, each with its arrows.
fn dimensions(svg: &mut String, [width, tall]: [f64; 2], [length, height]: [&str; 2]) {
    let (left, bottom) = (MARGIN, 8.0 + tall);
    let (x, y) = (left - 16.0, bottom + 16.0);
    let _ = write!(
        svg,
        "<g class=\"dimension\"><path d=\"M{left:.1} {bottom:.1}v22M{:.1} {bottom:.1}v22M{left:.1} \
         {bottom:.1}h-22M{left:.1} 8h-22\"/><path class=\"arrow\" d=\"M{left:.1} {y:.1}h{width:.1}\
         M{:.1} {y1:.1}l-6 3l6 3M{:.1} {y1:.1}l6 3l-6 3M{x:.1} 8v{tall:.1}M{x1:.1} 14l3 -6l3 6M\
         {x1:.1} {:.1}l3 6l3 -6\"/><text class=\"dim\" x=\"{:.1}\" y=\"{y:.1}\">{length} mm</text>\
         <text class=\"dim\" x=\"{x:.1}\" y=\"{:.1}\" transform=\"rotate(-90 {x:.1} {:.1})\">\
         {height} mm</text></g>",
        left + width,
        left + 6.0,
        left + width - 6.0,
        bottom - 6.0,
        left + width / 2.0,
        8.0 + tall / 2.0,
        8.0 + tall / 2.0,
        y1 = y - 3.0,
        x1 = x - 3.0,
    );
}
