//! Sensors: where they sit, and how far they may be off.

use super::super::codes;
use super::super::context::{Context, Located, number_text};
use super::super::file::{CaseFile, FileSensor, FileSensorFace};
use super::{SAME_LENGTH_M, exclusive, metres, names};
use crate::module::{Face, Module, Rect, Sensor, SensorError, SensorPlace, on_die};

/// The sensors of the case; those with a mistake (noted) are left out.
pub(in super::super) fn build(
    context: &Context<'_>,
    file: &CaseFile,
    module: &Module,
) -> Vec<Sensor> {
    let sensor_names = file.sensors.iter().filter_map(|sensor| sensor.name.as_ref());
    names::check_unique(context, "sensor", sensor_names, |a, b| a == b);
    file.sensors.iter().filter_map(|sensor| one(context, sensor, module)).collect()
}

fn one(context: &Context<'_>, file: &FileSensor, module: &Module) -> Option<Sensor> {
    let place = place(context, file, module);
    let error = error(context, file);
    let (place, at_m) = place?;
    Some(Sensor {
        name: file.name.as_ref()?.value.clone(),
        place,
        at_m,
        error: error?,
        placement_m: file.placement_mm.as_ref().map_or(0.0, |mm| metres(mm.value)),
    })
}

/// Notes that `key` is needed beside another.
fn incomplete(context: &Context<'_>, file: &FileSensor, what: &str, help: &str) {
    let name = file.name.as_ref().map_or("", |name| name.value.as_str());
    context.push(
        context
            .error(codes::INCOMPLETE, format!("sensor \"{name}\" {what}"), &file.span, "")
            .help(help),
    );
}

fn place(
    context: &Context<'_>,
    file: &FileSensor,
    module: &Module,
) -> Option<(SensorPlace, [f64; 2])> {
    match (&file.die, &file.on) {
        (Some(die), Some(on)) => {
            exclusive(context, ("die", die), ("on", on), "a sensor sits on a die or on a layer");
            None
        }
        (None, None) => {
            let help = "give die = \"NAME\", or on = \"LAYER\" with at_mm = [x, y]";
            incomplete(context, file, "sits on nothing", help);
            None
        }
        (Some(die), None) => on_a_die(context, file, die, module),
        (None, Some(on)) => on_a_layer(context, file, on, module),
    }
}

fn on_a_die(
    context: &Context<'_>,
    file: &FileSensor,
    die_name: &Located<String>,
    module: &Module,
) -> Option<(SensorPlace, [f64; 2])> {
    let Some(die) = module.die.iter().position(|die| die.name == die_name.value) else {
        names::unknown(context, "die", die_name, module.die.iter().map(|d| d.name.as_str()));
        return None;
    };
    if let Some(at) = &file.at_mm {
        let help = "on a die the position is offset_mm, from its centre; at_mm is for layers";
        exclusive(context, ("die", die_name), ("at_mm", at), help);
        return None;
    }
    let face = file.face.as_ref()?;
    let place = match face.value {
        FileSensorFace::Junction => SensorPlace::Junction { die },
        FileSensorFace::Back => SensorPlace::Back { die },
        FileSensorFace::Top | FileSensorFace::Bottom => {
            wrong_face(context, face, "on a die it is \"junction\" or \"back\"");
            return None;
        }
    };
    let offset_mm = file.offset_mm.as_ref().map_or([0.0, 0.0], |offset| offset.value);
    let at_m = on_die(&module.die[die], offset_mm.map(metres));
    if let Some(offset) = &file.offset_mm
        && !inside(&module.die[die].rect, at_m)
    {
        let rect = &module.die[die].rect;
        off(context, file, offset, at_m, rect, &format!("die \"{}\"", die_name.value));
        return None;
    }
    Some((place, at_m))
}

fn on_a_layer(
    context: &Context<'_>,
    file: &FileSensor,
    on: &Located<String>,
    module: &Module,
) -> Option<(SensorPlace, [f64; 2])> {
    let Some(layer) = module.layers.iter().position(|layer| layer.name == on.value) else {
        names::unknown(context, "layer", on, module.layers.iter().map(|l| l.name.as_str()));
        return None;
    };
    if let Some(offset) = &file.offset_mm {
        let help = "offset_mm is for sensors on a die; on a layer the position is at_mm";
        exclusive(context, ("on", on), ("offset_mm", offset), help);
        return None;
    }
    let face = file.face.as_ref()?;
    let face = match face.value {
        FileSensorFace::Top => Face::Top,
        FileSensorFace::Bottom => Face::Bottom,
        FileSensorFace::Junction | FileSensorFace::Back => {
            wrong_face(context, face, "on a layer it is \"top\" or \"bottom\"");
            return None;
        }
    };
    let Some(at) = &file.at_mm else {
        incomplete(context, file, "has no position on its layer", "give at_mm = [x, y]");
        return None;
    };
    let at_m = at.value.map(metres);
    if !inside(&module.outline(), at_m) {
        off(context, file, at, at_m, &module.outline(), "the module");
        return None;
    }
    Some((SensorPlace::Layer { layer, face }, at_m))
}

fn wrong_face(context: &Context<'_>, face: &Located<FileSensorFace>, label: &str) {
    let word = context.written(&face.span).trim().to_owned();
    let headline = format!("face cannot be {word} here");
    context.push(context.error(codes::WRONG_WORD, headline, &face.span, label));
}

fn inside(rect: &Rect, [x, y]: [f64; 2]) -> bool {
    let point = Rect { x0_m: x, y0_m: y, x1_m: x, y1_m: y };
    rect.contains(&point, SAME_LENGTH_M)
}

fn off(
    context: &Context<'_>,
    file: &FileSensor,
    position: &Located<[f64; 2]>,
    [x, y]: [f64; 2],
    face: &Rect,
    of: &str,
) {
    let name = file.name.as_ref().map_or("", |name| name.value.as_str());
    let mm = |m: f64| number_text(m * 1e3);
    let label = format!("it is at x = {}, y = {} mm of the module", mm(x), mm(y));
    let help = format!(
        "{of} reaches from x = {}, y = {} to x = {}, y = {} mm",
        mm(face.x0_m),
        mm(face.y0_m),
        mm(face.x1_m),
        mm(face.y1_m)
    );
    let headline = format!("sensor \"{name}\" sits beside {of}");
    context.push(context.error(codes::SENSOR_OFF, headline, &position.span, label).help(help));
}

fn error(context: &Context<'_>, file: &FileSensor) -> Option<SensorError> {
    match (&file.limits, &file.limit_of_error_K) {
        (Some(limits), Some(limit)) => {
            let help = "a type has its published limit of error; a calibrated sensor has its own";
            exclusive(context, ("type", limits), ("limit_of_error_K", limit), help);
            None
        }
        (Some(limits), None) => Some(SensorError::Published(limits.value)),
        (None, Some(limit)) => Some(SensorError::Stated(limit.value)),
        (None, None) => {
            // One that is written wrongly is noted already.
            if !file.has_type && !file.has_limit {
                let help = "give type = \"T\" or the like, or limit_of_error_K";
                incomplete(context, file, "has no limit of error", help);
            }
            None
        }
    }
}
