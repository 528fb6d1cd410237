//! The spray side: stated coefficients, or nozzles; not both.

use super::super::codes;
use super::super::context::{Context, Located};
use super::super::file::{CaseFile, FileSpray, SprayModel};
use super::super::grid_csv;
use super::die::PlacedDie;
use super::{exclusive, names, nozzles, overhang, rect_m};
use crate::module::{
    CorrelatedSpray, GridMap, HtcPatch, PrescribedHtc, PrescribedSpray, Rect, Spray,
};

/// Where nothing wets: about what slowly moving vapour takes (common practice, no source).
const DEFAULT_UNWETTED_HTC_W_M2K: f64 = 20.0;
/// Middle of the usual 0.2 to 0.4 (common practice, no source).
const DEFAULT_EXIT_QUALITY: f64 = 0.3;
/// Usual rise of facility water over a rack, K (common practice, no source).
const DEFAULT_WATER_RISE_K: f64 = 6.0;
/// Usual rise of room air through a heat exchanger, K (common practice, no source).
const DEFAULT_AIR_RISE_K: f64 = 12.0;

pub(super) fn build(
    context: &Context<'_>,
    file: &CaseFile,
    outline: Option<&Rect>,
    die: &[PlacedDie],
) -> Option<Spray> {
    // Nozzles are checked whatever the model, so that every mistake is told at once.
    let nozzles = nozzles::build(context, file, die);
    let spray = file.spray.as_ref()?;
    let model = spray.model.as_ref()?;
    match model.value {
        SprayModel::Prescribed => {
            refuse_nozzle_keys(context, file, spray, model);
            prescribed(context, spray, outline, die).map(Spray::Prescribed)
        }
        SprayModel::Correlated => {
            refuse_prescribed_keys(context, spray, model);
            if !file.has_nozzles {
                context.push(
                    context
                        .error(codes::NO_NOZZLE, "the spray has no nozzle", &model.span, "")
                        .help("add [[nozzle]] or [[nozzle_group]], or set model = \"prescribed\""),
                );
                return None;
            }
            let value = |number: &Option<Located<f64>>, default: f64| {
                number.as_ref().map_or(default, |number| number.value)
            };
            Some(Spray::Correlated(CorrelatedSpray {
                nozzles: nozzles?,
                unwetted_htc_W_m2K: value(&spray.unwetted_htc_W_m2K, DEFAULT_UNWETTED_HTC_W_M2K),
                coefficient_factor: 1.0,
                exit_quality_max: value(&spray.exit_quality_max, DEFAULT_EXIT_QUALITY),
                modules_in_system: spray.modules_in_system.as_ref().map_or(1, |n| n.value),
                facility_water_rise_K: value(&spray.facility_water_rise_K, DEFAULT_WATER_RISE_K),
                room_air_rise_K: value(&spray.room_air_rise_K, DEFAULT_AIR_RISE_K),
            }))
        }
    }
}

fn refuse(
    context: &Context<'_>,
    what: &str,
    span: &std::ops::Range<usize>,
    model: &Located<SprayModel>,
) {
    let (this, other) = match model.value {
        SprayModel::Prescribed => ("prescribed", "correlated"),
        SprayModel::Correlated => ("correlated", "prescribed"),
    };
    context.push(
        context
            .error(
                codes::OTHER_MODEL,
                format!("{what} belongs to model = \"{other}\""),
                span,
                format!("a {this} spray would ignore it"),
            )
            .also(context.label(&model.span, "the model is chosen here"))
            .help(format!("remove it, or set model = \"{other}\"")),
    );
}

fn refuse_nozzle_keys(
    context: &Context<'_>,
    file: &CaseFile,
    spray: &FileSpray,
    model: &Located<SprayModel>,
) {
    for (key, number) in [
        ("unwetted_htc_W_m2K", &spray.unwetted_htc_W_m2K),
        ("exit_quality_max", &spray.exit_quality_max),
        ("facility_water_rise_K", &spray.facility_water_rise_K),
        ("room_air_rise_K", &spray.room_air_rise_K),
    ] {
        if let Some(number) = number {
            refuse(context, key, &number.span, model);
        }
    }
    if let Some(modules) = &spray.modules_in_system {
        refuse(context, "modules_in_system", &modules.span, model);
    }
    if let Some(nozzle_type) = file.nozzle_types.first() {
        refuse(context, "[nozzle_type.NAME]", &nozzle_type.name.span, model);
    }
    if let Some(nozzle) = file.nozzles.first() {
        refuse(context, "[[nozzle]]", &nozzle.span, model);
    }
    if let Some(group) = file.nozzle_groups.first() {
        refuse(context, "[[nozzle_group]]", &group.span, model);
    }
}

fn refuse_prescribed_keys(context: &Context<'_>, spray: &FileSpray, model: &Located<SprayModel>) {
    if let Some(htc) = &spray.htc_W_m2K {
        refuse(context, "htc_W_m2K", &htc.span, model);
    }
    if let Some(map) = &spray.map {
        refuse(context, "map", &map.span, model);
    }
    if let Some(patch) = spray.patches.first() {
        refuse(context, "[[spray.patch]]", &patch.span, model);
    }
}

fn prescribed(
    context: &Context<'_>,
    spray: &FileSpray,
    outline: Option<&Rect>,
    die: &[PlacedDie],
) -> Option<PrescribedSpray> {
    if let (Some(htc), Some(map)) = (&spray.htc_W_m2K, &spray.map) {
        exclusive(
            context,
            ("htc_W_m2K", htc),
            ("map", map),
            "htc_W_m2K states one coefficient for the whole spray side; map states a grid of them",
        );
    }
    if !spray.has_htc && !spray.has_map {
        context.push(
            context
                .error(
                    codes::INCOMPLETE,
                    "the prescribed spray has no coefficient",
                    &spray.span,
                    "htc_W_m2K or map belongs here",
                )
                .help("write htc_W_m2K = 9000.0, or map = \"FILE.csv\""),
        );
    }
    let base = match (&spray.htc_W_m2K, &spray.map) {
        (Some(htc), _) => Some(PrescribedHtc::Uniform(htc.value)),
        (None, Some(path)) => grid_csv::load(context, path, &grid_csv::COEFFICIENT)
            .zip(outline)
            .map(|(grid, outline)| {
                PrescribedHtc::Map(GridMap {
                    rect: *outline,
                    nx: grid.nx,
                    ny: grid.ny,
                    values: grid.values,
                })
            }),
        (None, None) => None,
    };
    let mut patches = Vec::new();
    let mut good = true;
    for patch in &spray.patches {
        if let (Some(rect), Some(over)) = (&patch.rect_mm, &patch.over) {
            exclusive(
                context,
                ("rect_mm", rect),
                ("over", over),
                "a patch lies on a rectangle or over die",
            );
        }
        if !patch.has_rect && !patch.has_over {
            context.push(
                context
                    .error(
                        codes::INCOMPLETE,
                        "the patch does not say where it lies",
                        &patch.span,
                        "rect_mm or over belongs here",
                    )
                    .help("write rect_mm = [x, y, width, height], or over = \"NAME\" of a die or a die type"),
            );
        }
        let mut rects: Vec<Rect> = Vec::new();
        if let Some(located) = &patch.rect_mm {
            let rect = rect_m(located.value);
            if let Some(outline) = outline
                && let Some(fault) = overhang(&rect, outline, "the module")
            {
                context.push(
                    context
                        .error(
                            codes::PATCH_OFF_MODULE,
                            "a spray patch reaches over the edge of the module",
                            &located.span,
                            fault,
                        )
                        .help(
                            "rect_mm is [x, y, width, height] from the module's lower left corner",
                        ),
                );
            }
            rects.push(rect);
        } else if let Some(over) = &patch.over {
            match over_die(context, over, die) {
                Some(indices) => {
                    let found: Option<Vec<Rect>> = indices.iter().map(|&i| die[i].rect).collect();
                    good &= found.is_some();
                    rects.extend(found.into_iter().flatten());
                }
                None => good = false,
            }
        } else {
            good = false;
        }
        match &patch.htc_W_m2K {
            Some(htc) => patches
                .extend(rects.into_iter().map(|rect| HtcPatch { rect, htc_W_m2K: htc.value })),
            None => good = false,
        }
    }
    if good { Some(PrescribedSpray { base: base?, patches }) } else { None }
}

/// Indices of the die that `over` means: one die, or every die of a type.
pub(super) fn over_die(
    context: &Context<'_>,
    over: &Located<String>,
    die: &[PlacedDie],
) -> Option<Vec<usize>> {
    let is = |name: &Option<String>| name.as_deref() == Some(over.value.as_str());
    let named: Vec<usize> = (0..die.len()).filter(|&i| is(&die[i].name)).collect();
    let typed: Vec<usize> = (0..die.len()).filter(|&i| is(&die[i].type_name)).collect();
    match (named.is_empty(), typed.is_empty()) {
        (false, false) => {
            context.push(
                context
                    .error(
                        codes::AMBIGUOUS_NAME,
                        format!("\"{}\" is both a die and a die type", over.value),
                        &over.span,
                        "one die, or every die of the type?",
                    )
                    .help("rename the die or the type"),
            );
            None
        }
        (false, true) => Some(named),
        (true, false) => Some(typed),
        (true, true) => {
            // A die whose name could not be read may be the one that is meant.
            if die.iter().all(|die| die.name.is_some() && die.type_name.is_some()) {
                let mut known: Vec<&str> =
                    die.iter().filter_map(|die| die.type_name.as_deref()).collect();
                known.sort_unstable();
                known.dedup();
                known.extend(die.iter().filter_map(|die| die.name.as_deref()));
                names::unknown(context, "die or die type in use", over, known);
            }
            None
        }
    }
}
