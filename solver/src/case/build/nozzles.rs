//! Nozzles: single ones, and groups set over die.

use super::super::codes;
use super::super::context::{Context, Located, number_text};
use super::super::file::{CaseFile, FileNozzleType};
use super::die::{PlacedDie, turned};
use super::spray::over_die;
use super::{metres, names};
use crate::module::Nozzle;

/// Most nozzles, groups expanded.
const MOST_NOZZLES: usize = 20_000;

/// All nozzles, groups expanded in the order of the file after the single ones; `None` after
/// noting what is wrong.
///
/// A group's offsets belong to the die: they turn with it. Its nozzles are called after their
/// die, `C0-1`, `C0-2`, counted on over several groups.
pub(super) fn build(
    context: &Context<'_>,
    file: &CaseFile,
    die: &[PlacedDie],
) -> Option<Vec<Nozzle>> {
    names::check_unique(
        context,
        "nozzle",
        file.nozzles.iter().filter_map(|nozzle| nozzle.name.as_ref()),
        |a, b| a == b,
    );
    let mut nozzles: Vec<Option<Nozzle>> = Vec::new();
    for nozzle in &file.nozzles {
        let nozzle_type = find_type(context, file, nozzle.type_name.as_ref());
        let tilt_deg = nozzle.tilt_deg.as_ref().map_or([0.0, 0.0], |tilt| tilt.value);
        let cone_deg = nozzle_type.and_then(|t| t.cone_deg.as_ref()).map(|cone| cone.value);
        if let Some(tilt) = &nozzle.tilt_deg {
            check_cone(context, tilt, cone_deg);
        }
        nozzles.push((|| {
            let nozzle_type = nozzle_type?;
            clean_nozzle(
                nozzle_type,
                nozzle.name.as_ref()?.value.clone(),
                nozzle.at_mm.as_ref()?.value,
                nozzle.standoff_mm.as_ref()?.value,
            )
            .map(|clean| Nozzle {
                tilt_rad: tilt_deg.map(f64::to_radians),
                flow_factor: nozzle.flow_factor.as_ref().map_or(1.0, |factor| factor.value),
                ..clean
            })
        })());
    }
    let mut counted = vec![0; die.len()];
    for group in &file.nozzle_groups {
        let nozzle_type = find_type(context, file, group.type_name.as_ref());
        let indices = group.over.as_ref().and_then(|over| over_die(context, over, die));
        if let Some(offsets) = &group.offsets_mm
            && offsets.value.is_empty()
        {
            context.push(
                context
                    .error(
                        codes::INCOMPLETE,
                        "the group has no nozzle",
                        &offsets.span,
                        "no offset here",
                    )
                    .help("write offsets_mm = [[0.0, 0.0]] for one nozzle over the centre"),
            );
        }
        let (Some(indices), Some(offsets)) = (indices, &group.offsets_mm) else {
            nozzles.push(None);
            continue;
        };
        let more = indices.len().saturating_mul(offsets.value.len());
        if nozzles.len().saturating_add(more) > MOST_NOZZLES {
            context.push(
                context
                    .error(
                        codes::TOO_MANY,
                        format!("more than {MOST_NOZZLES} nozzles"),
                        &offsets.span,
                        format!("{} offsets over {} die", offsets.value.len(), indices.len()),
                    )
                    .help("check the offsets; a cap has some hundreds of nozzles at most"),
            );
            return None;
        }
        for index in indices {
            for offset in &offsets.value {
                counted[index] += 1;
                nozzles.push((|| {
                    let placed = &die[index];
                    let centre_m = placed.rect?.centre_m();
                    let [dx, dy] = turned(placed.turn, *offset);
                    let name = format!("{}-{}", placed.name.as_ref()?, counted[index]);
                    clean_nozzle(
                        nozzle_type?,
                        name,
                        [centre_m[0] * 1e3 + dx, centre_m[1] * 1e3 + dy],
                        group.standoff_mm.as_ref()?.value,
                    )
                    .map(|clean| Nozzle {
                        flow_factor: group.flow_factor.as_ref().map_or(1.0, |f| f.value),
                        ..clean
                    })
                })());
            }
        }
    }
    let nozzles = nozzles.into_iter().collect::<Option<Vec<Nozzle>>>()?;
    check_group_names(context, file, &nozzles);
    Some(nozzles)
}

fn find_type<'f>(
    context: &Context<'_>,
    file: &'f CaseFile,
    name: Option<&Located<String>>,
) -> Option<&'f FileNozzleType> {
    let name = name?;
    let found = file.nozzle_types.iter().find(|t| t.name.value == name.value);
    if found.is_none() {
        let known = file.nozzle_types.iter().map(|t| t.name.value.as_str());
        names::unknown(context, "nozzle type", name, known);
    }
    found
}

/// A straight, clean nozzle.
fn clean_nozzle(
    nozzle_type: &FileNozzleType,
    name: String,
    at_mm: [f64; 2],
    standoff_mm: f64,
) -> Option<Nozzle> {
    Some(Nozzle {
        name,
        type_name: nozzle_type.name.value.clone(),
        at_m: at_mm.map(metres),
        standoff_m: metres(standoff_mm),
        tilt_rad: [0.0, 0.0],
        cone_rad: nozzle_type.cone_deg.as_ref()?.value.to_radians(),
        orifice_m: metres(nozzle_type.orifice_mm.as_ref()?.value),
        flow_m3_s: nozzle_type.flow_mL_s.as_ref()?.value * 1e-6,
        pressure_drop_Pa: nozzle_type.pressure_drop_kPa.as_ref()?.value * 1e3,
        flow_factor: 1.0,
    })
}

/// The whole cone must meet the plane: tilt and half cone angle stay below 90 degrees.
///
/// Seen from the side each tilt is the angle of the axis against the vertical, so an axis tilted
/// about x by α and about y by β leans by γ with tan² γ = tan² α + tan² β.
fn check_cone(context: &Context<'_>, tilt: &Located<[f64; 2]>, cone_deg: Option<f64>) {
    let Some(cone_deg) = cone_deg else { return };
    let lean_deg = lean_rad(tilt.value.map(f64::to_radians)).to_degrees();
    let sum = lean_deg + 0.5 * cone_deg;
    if sum < 90.0 - 1e-4 {
        return;
    }
    context.push(
        context
            .error(
                codes::CONE_MISSES_PLANE,
                "part of the cone never meets the module",
                &tilt.span,
                format!(
                    "the axis leans by {} degrees; with half the cone, {} degrees, that is {}",
                    number_text(lean_deg),
                    number_text(0.5 * cone_deg),
                    number_text(sum)
                ),
            )
            .help("tilt and half the cone angle together must stay below 90 degrees"),
    );
}

/// Angle of a nozzle's axis against the vertical, rad.
pub(super) fn lean_rad([about_x, about_y]: [f64; 2]) -> f64 {
    about_x.tan().hypot(about_y.tan()).atan()
}

/// A single nozzle must not bear a name that a group gives.
fn check_group_names(context: &Context<'_>, file: &CaseFile, nozzles: &[Nozzle]) {
    let of_groups = nozzles.get(file.nozzles.len()..).unwrap_or_default();
    for name in file.nozzles.iter().filter_map(|nozzle| nozzle.name.as_ref()) {
        if of_groups.iter().any(|nozzle| nozzle.name == name.value) {
            context.push(
                context
                    .error(
                        codes::DUPLICATE_NAME,
                        format!("nozzle \"{}\" is named twice", name.value),
                        &name.span,
                        "a nozzle group gives this name too",
                    )
                    .help("groups name their nozzles DIE-1, DIE-2: choose another name here"),
            );
        }
    }
}
