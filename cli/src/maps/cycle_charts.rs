//! The pictures of a run over time.

use rayon::prelude::*;
use sprayside_solver::results::PlaneField;

use super::lines::{AxisKind, Level, Line, Page, Panel, draw as draw_page};
use super::map::{Map, draw as draw_map};
use super::scale::Rgb;
use super::solve_maps::scale_of;
use super::{MapError, Picture};
use crate::commands::Cycled;
use crate::figures::{celsius, significant};

/// Colours that stay apart in every common form of colour blindness (M. Okabe, K. Ito, "Color
/// Universal Design", 2008), without the yellow that does not show on white.
const COLOURS: [Rgb; 6] =
    [[0, 114, 178], [213, 94, 0], [0, 158, 115], [204, 121, 167], [86, 180, 233], [150, 110, 0]];
/// Most lines with names: the hottest of each type, and those that go their own way.
const MOST_NAMED: usize = 12;
/// A line that leaves the chief one of its type by this share of all that is shown goes its own way.
const OWN_WAY: f64 = 0.04;

/// Draws every picture of a run.
pub fn of_cycle(cycled: &Cycled) -> Result<Vec<Picture>, MapError> {
    let mut pictures = vec![draw_page(&history(cycled))?];
    if !cycled.responses.is_empty() {
        pictures.push(draw_page(&step_response(cycled))?);
    }
    pictures.extend(snapshots(cycled)?);
    Ok(pictures)
}

fn paler(colour: Rgb) -> Rgb {
    colour.map(|c| (f32::from(c) * 0.45 + 255.0 * 0.55) as u8)
}

/// How far two lines over the same values of x are apart; 0 where they are over others.
fn apart(a: &[[f64; 2]], b: &[[f64; 2]]) -> f64 {
    if a.len() != b.len() || a.iter().zip(b).any(|(a, b)| a[0] != b[0]) {
        return 0.0;
    }
    a.iter().zip(b).map(|(a, b)| (a[1] - b[1]).abs()).fold(0.0, f64::max)
}

/// Sources as lines: `points` of each; die of a type share a colour, the hottest of each stands out,
/// and so do those that go their own way.
fn source_lines(
    cycled: &Cycled,
    sources: &[usize],
    points: impl Fn(usize) -> Vec<[f64; 2]>,
) -> Vec<Line> {
    let mut types: Vec<&str> = Vec::new();
    let mut chief: Vec<usize> = Vec::new();
    let highest = |s: usize| cycled.rows[s].highest_C.unwrap_or(f64::MIN);
    for &s in sources {
        let name = cycled.rows[s].r#type.as_str();
        match types.iter().position(|t| *t == name) {
            Some(k) => {
                if highest(s) > highest(chief[k]) {
                    chief[k] = s;
                }
            }
            None => {
                types.push(name);
                chief.push(s);
            }
        }
    }
    let all: Vec<Vec<[f64; 2]>> = (0..sources.len()).map(points).collect();
    let (low, high) = all
        .iter()
        .flatten()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), p| (l.min(p[1]), h.max(p[1])));
    let chief_of = |s: usize| {
        let of_type = types.iter().position(|t| *t == cycled.rows[s].r#type).unwrap_or(0);
        sources.iter().position(|o| *o == chief[of_type]).unwrap_or(0)
    };
    let mut own_way: Vec<(f64, usize)> = sources
        .iter()
        .enumerate()
        .map(|(k, &s)| (apart(&all[k], &all[chief_of(s)]), s))
        .filter(|(apart, _)| *apart > OWN_WAY * (high - low))
        .collect();
    own_way.sort_by(|a, b| b.0.total_cmp(&a.0));
    own_way.truncate(MOST_NAMED.saturating_sub(types.len()));
    let mut lines: Vec<(bool, Line)> = sources
        .iter()
        .zip(all)
        .map(|(&s, points)| {
            let of_type = types.iter().position(|t| *t == cycled.rows[s].r#type).unwrap_or(0);
            let is_chief = chief[of_type] == s;
            let colour = COLOURS[of_type % COLOURS.len()];
            let alone =
                sources.iter().filter(|o| cycled.rows[**o].r#type == types[of_type]).count();
            let name = match (is_chief, alone) {
                (true, 1) => cycled.name(s).to_owned(),
                (true, _) => format!("{} ({})", cycled.name(s), types[of_type]),
                (false, _) if own_way.iter().any(|(_, o)| *o == s) => cycled.name(s).to_owned(),
                _ => String::new(),
            };
            let line = Line {
                name,
                points,
                colour: if is_chief { colour } else { paler(colour) },
                width: if is_chief { 2.4 } else { 1.3 },
            };
            (is_chief, line)
        })
        .collect();
    lines.sort_by_key(|(is_chief, _)| *is_chief);
    lines.into_iter().map(|(_, line)| line).collect()
}

/// A unit of time that leaves few digits: its name and its length in seconds.
fn unit_of(duration_s: f64) -> (&'static str, f64) {
    match duration_s {
        d if d < 0.5 => ("ms", 1e-3),
        d if d < 1200.0 => ("s", 1.0),
        d if d < 4.0 * 3600.0 => ("min", 60.0),
        d if d < 4.0 * 86_400.0 => ("h", 3600.0),
        _ => ("d", 86_400.0),
    }
}

fn history<'a>(cycled: &Cycled<'a>) -> Page<'a> {
    let records = &cycled.result.run.records;
    let duration_s = records.last().map_or(0.0, |r| r.time_s);
    let (unit, length_s) = unit_of(duration_s);
    let of = |value: &dyn Fn(usize) -> f64| -> Vec<[f64; 2]> {
        (0..records.len()).map(|k| [records[k].time_s / length_s, value(k)]).collect()
    };
    let sources: Vec<usize> = (0..cycled.rows.len()).collect();
    let lines = source_lines(cycled, &sources, |s| of(&|k| celsius(records[k].max_K[s])));
    let mut levels: Vec<Level> = Vec::new();
    for row in cycled.rows {
        let Some(limit) = row.limit_C else { continue };
        let name = format!("limit of {}: {} °C", row.r#type, significant(limit, 4));
        if !levels.iter().any(|level| level.name == name) {
            levels.push(Level { value: limit, name });
        }
    }
    let mut panels = vec![Panel {
        label: "hottest point, °C".to_owned(),
        kind: AxisKind::Linear,
        height: 430,
        lines,
        levels,
        from_zero: false,
    }];
    let plain = |label: &str, height: i32, points: Vec<[f64; 2]>| Panel {
        label: label.to_owned(),
        kind: AxisKind::Linear,
        height,
        lines: vec![Line { name: String::new(), points, colour: [70, 70, 80], width: 2.0 }],
        levels: Vec::new(),
        from_zero: true,
    };
    panels.push(plain("power, W", 130, of(&|k| records[k].power_W)));
    let cycle = cycled.cycle;
    if !cycle.flow_factor.is_constant() {
        panels.push(plain("flow factor", 100, of(&|k| records[k].coolant_factor)));
    } else if !cycle.htc_factor.is_constant() {
        panels.push(plain("htc factor", 100, of(&|k| records[k].coolant_factor)));
    }
    if !cycle.inlet_K.is_constant() {
        let mut inlet = plain("inlet, °C", 100, of(&|k| celsius(records[k].inlet_K)));
        inlet.from_zero = false;
        panels.push(inlet);
    }
    let hottest = cycled
        .rows
        .iter()
        .max_by(|a, b| a.highest_C.unwrap_or(f64::MIN).total_cmp(&b.highest_C.unwrap_or(f64::MIN)));
    let rows = cycled.rows;
    let shared = (1..rows.len()).any(|k| rows[..k].iter().any(|row| row.r#type == rows[k].r#type));
    let pale = if shared { ". Pale: others of a type" } else { "" };
    let subtitle = hottest.map_or(String::new(), |row| {
        format!(
            "Hottest: {} with {:.1} ± {:.1} °C at {} s; its swing in the last period is {:.1} K{pale}",
            row.die,
            row.highest_C.unwrap_or(f64::NAN),
            row.uncertainty_K.unwrap_or(f64::NAN),
            significant(row.highest_at_s.unwrap_or(f64::NAN), 4),
            row.swing_K.unwrap_or(f64::NAN),
        )
    });
    Page {
        file: "history.png",
        title: "Junction temperatures".to_owned(),
        module: &cycled.module.title,
        subtitle,
        label: format!("time, {unit}"),
        kind: AxisKind::Linear,
        panels,
    }
}

fn step_response<'a>(cycled: &Cycled<'a>) -> Page<'a> {
    let sources: Vec<usize> = cycled.responses.iter().map(|r| r.source).collect();
    let lines = source_lines(cycled, &sources, |k| {
        let response = &cycled.responses[k];
        response.time_s.iter().zip(&response.max_K_W).map(|(t, z)| [*t, *z]).collect()
    });
    Page {
        file: "step_response.png",
        title: "Step response".to_owned(),
        module: &cycled.module.title,
        subtitle: "One watt of a junction's own power switched on at time 0: rise of the point that is hottest in the end"
            .to_owned(),
        label: "time, s".to_owned(),
        kind: AxisKind::Logarithmic,
        panels: vec![Panel {
            label: "thermal impedance, K/W".to_owned(),
            kind: AxisKind::Logarithmic,
            height: 540,
            lines,
            levels: Vec::new(),
            from_zero: false,
        }],
    }
}

/// The surface at the times asked for, all on one scale.
fn snapshots(cycled: &Cycled) -> Result<Vec<Picture>, MapError> {
    let snapshots = &cycled.result.run.snapshots;
    let fields: Vec<PlaneField> =
        snapshots.iter().map(|snapshot| cycled.result.surface_K(snapshot)).collect();
    let scale = scale_of(&fields, celsius);
    let maps: Vec<Map> = snapshots
        .iter()
        .zip(&fields)
        .enumerate()
        .map(|(k, (snapshot, field))| Map {
            file: format!("snapshot-{}.png", k + 1),
            title: format!("Surface temperature at {} s", significant(snapshot.time_s, 6)),
            subtitle:
                "Spray side, names with the hottest point of each junction; one scale for all times"
                    .to_owned(),
            unit: "°C",
            field,
            convert: celsius,
            scale: scale.clone(),
            smooth: true,
            jumps: true,
            marks: Vec::new(),
            nozzles: &[],
            under_cones: false,
            details: snapshot
                .max_K
                .iter()
                .map(|max_K| format!("{:.1} °C", celsius(*max_K)))
                .collect(),
        })
        .collect();
    maps.par_iter().map(|map| draw_map(cycled.module, map)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_told_in_a_unit_that_leaves_few_digits() {
        assert_eq!(unit_of(0.2).0, "ms");
        assert_eq!(unit_of(90.0).0, "s");
        assert_eq!(unit_of(7200.0).0, "min");
        assert_eq!(unit_of(90_000.0).0, "h");
        assert_eq!(unit_of(1e7), ("d", 86_400.0));
    }
}
