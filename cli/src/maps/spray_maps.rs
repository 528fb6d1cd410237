//! The maps of a spray: where the liquid lands, and how far every place is from burn-out.

use ndarray::Array2;
use sprayside_solver::module::Module;
use sprayside_solver::results::PlaneField;
use sprayside_solver::spray::{FluxField, Footprint};

use super::map::{Map, Mark, draw_with};
use super::nozzles::NozzleMark;
use super::options::PictureOptions;
use super::scale::{ColourScale, Rgb};
use super::solve_maps::{both_files, scale_of};
use super::{File, MapError};
use crate::survey::Survey;

/// Points of a drawn outline.
const OUTLINE_POINTS: usize = 240;
/// Margins above this are all the same to an engineer, who keeps about two.
pub const HIGHEST_MARGIN: f64 = 5.0;
/// Beyond critical heat flux: a colour that magma does not hold.
const BURNT_OUT: Rgb = [0, 214, 214];

/// Draws the map of a survey without a solve.
pub fn of_survey(
    module: &Module,
    survey: &Survey,
    options: &PictureOptions,
) -> Result<Vec<File>, MapError> {
    let nozzles = nozzle_marks(&survey.footprints);
    let liquid = wetted_flux(&survey.picture);
    draw_with(module, &volumetric_flux(&liquid, &nozzles), options).map(both_files)
}

/// The flux on the wetted part of every cell that is at least half wetted, the rest dry: on a
/// fine grid the outlines of the cones come out sharp.
pub(super) fn wetted_flux(field: &FluxField) -> PlaneField {
    let nx = field.nx();
    let values = Array2::from_shape_fn((field.ny(), nx), |(j, i)| {
        let cell = j * nx + i;
        if field.wetted_share[cell] >= 0.5 { field.wetted_flux_m_s(cell) } else { f64::NAN }
    });
    PlaneField { x_lines_m: field.x_lines_m.clone(), y_lines_m: field.y_lines_m.clone(), values }
}

/// Positions and outlines of nozzles.
pub(super) fn nozzle_marks(footprints: &[Footprint]) -> Vec<NozzleMark> {
    footprints
        .iter()
        .map(|footprint| {
            let mut outline_m = footprint.outline_m(OUTLINE_POINTS);
            outline_m.extend(outline_m.first().copied());
            NozzleMark { at_m: footprint.foot_m, outline_m, value: None }
        })
        .collect()
}

/// A subtitle that says what the crosses and circles are.
pub(super) fn with_nozzles(subtitle: &str, nozzles: &[NozzleMark]) -> String {
    match nozzles.len() {
        0 => subtitle.to_owned(),
        _ => format!("{subtitle}. Crosses: orifices; thin lines: their cones"),
    }
}

/// The liquid that lands; where none lands the map is grey.
pub(super) fn volumetric_flux<'a>(field: &'a PlaneField, nozzles: &'a [NozzleMark]) -> Map<'a> {
    let highest = field.values.iter().copied().filter(|v| v.is_finite()).fold(0.0, f64::max);
    Map {
        file: "volumetric_flux.png".to_owned(),
        title: "Volumetric flux of liquid".to_owned(),
        subtitle: with_nozzles("Spray side; grey: dry", nozzles),
        unit: "m³/(m²s)",
        field,
        convert: |flux| flux,
        scale: ColourScale::magma(0.0, if highest > 0.0 { highest } else { 1.0 }),
        smooth: false,
        jumps: true,
        marks: Vec::new(),
        nozzles,
        under_cones: false,
        details: Vec::new(),
    }
}

/// Critical heat flux over local heat flux, the small margins bright.
pub(super) fn chf_margin<'a>(field: &'a PlaneField, nozzles: &'a [NozzleMark]) -> Map<'a> {
    let convert = |margin: f64| margin;
    let range = scale_of([field], convert);
    let high = range.high().clamp(1.5, HIGHEST_MARGIN);
    let least = least_place(field);
    let burnt = least.is_some_and(|(margin, _)| margin < 1.0);
    let mut subtitle = match least {
        Some((margin, _)) => {
            format!("Critical over local heat flux. Ring: least margin, {margin:.2}; grey: dry")
        }
        None => "Critical over local heat flux; grey: dry".to_owned(),
    };
    if burnt {
        subtitle.push_str("; cyan: beyond critical");
    }
    Map {
        file: "chf_margin.png".to_owned(),
        title: "Margin to burn-out".to_owned(),
        subtitle,
        unit: "CHF/flux",
        field,
        convert,
        scale: ColourScale::magma_reversed(range.low().clamp(0.0, 1.0), high)
            .with_alarm(1.0, BURNT_OUT)
            .open_above(range.high() > high),
        smooth: false,
        jumps: true,
        marks: least.map(|(_, at_m)| Mark { at_m, chief: true }).into_iter().collect(),
        nozzles,
        under_cones: true,
        details: Vec::new(),
    }
}

/// The least value of a field, and where.
fn least_place(field: &PlaneField) -> Option<(f64, [f64; 2])> {
    let middle = |lines: &[f64], n: usize| 0.5 * (lines[n] + lines[n + 1]);
    field
        .values
        .indexed_iter()
        .filter(|(_, value)| value.is_finite())
        .min_by(|a, b| a.1.total_cmp(b.1))
        .map(|((j, i), value)| (*value, [middle(&field.x_lines_m, i), middle(&field.y_lines_m, j)]))
}
