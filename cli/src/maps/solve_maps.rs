//! The maps of a steady solve.

use rayon::prelude::*;
use sprayside_solver::module::Module;
use sprayside_solver::results::{Junction, PlaneField, SteadyResult};

use super::layout::Layout;
use super::map::{Map, Mark, draw_with};
use super::nozzles::NozzleMark;
use super::options::PictureOptions;
use super::scale::ColourScale;
use super::section::{self, Curve};
use super::{File, MapError, Picture, spray_maps};
use crate::figures::{celsius, decimals_for, rounded_up};
use crate::survey::Survey;

/// A die smaller than this on the map would vanish under a ring.
const LEAST_RINGED_PX: f64 = 26.0;

/// Draws every map of a result, on all cores; `survey` is that of the nozzles, if any.
pub fn of_solve(
    module: &Module,
    result: &SteadyResult,
    survey: Option<&Survey>,
    options: &PictureOptions,
) -> Result<Vec<File>, MapError> {
    let footprints = survey.map_or(&[][..], |survey| &survey.footprints);
    let nozzles = spray_maps::nozzle_marks(footprints);
    let liquid = survey.map(|survey| spray_maps::wetted_flux(&survey.picture));
    let mut maps = vec![surface(module, result), heat_flux(result, &nozzles)];
    if is_varied(&result.htc_W_m2K) {
        maps.push(htc(result, &nozzles));
    }
    if let (Some(spray), Some(liquid)) = (&result.spray, &liquid) {
        maps.push(spray_maps::volumetric_flux(liquid, &nozzles));
        maps.push(spray_maps::chf_margin(&spray.chf_margin, &nozzles));
    }
    maps.extend(sheets(result));
    if let Some([low, high]) = options.scale_C {
        for map in maps.iter_mut().filter(|map| map.unit == "°C") {
            let above = range_of([map.field]).is_some_and(|[_, most]| celsius(most) > high);
            map.scale = ColourScale::magma(low, high).open_above(above);
        }
    }
    let drawn: Vec<Vec<File>> = maps
        .par_iter()
        .map(|map| draw_with(module, map, options).map(both_files))
        .collect::<Result<_, _>>()?;
    Ok(drawn.into_iter().flatten().collect())
}

/// The files of a picture and its SVG.
pub(super) fn both_files((picture, svg): (Picture, Option<Vec<u8>>)) -> Vec<File> {
    let name = picture.file.replace(".png", ".svg");
    let mut files = vec![(picture.file, picture.png)];
    files.extend(svg.map(|svg| (name, svg)));
    files
}

/// Temperatures of surface and junctions along the lines asked for: a plot and a table each.
pub fn of_sections(
    module: &Module,
    result: &SteadyResult,
    junctions: &PlaneField,
    options: &PictureOptions,
) -> Result<Vec<File>, MapError> {
    let mut files = Vec::new();
    let curves = [
        Curve { name: "surface", field: &result.surface_K },
        Curve { name: "junctions", field: junctions },
    ];
    for (index, line) in options.sections.iter().enumerate() {
        let stem = match options.sections.len() {
            1 => "section".to_owned(),
            _ => format!("section-{}", index + 1),
        };
        let name = format!("{stem}.png");
        let plot = section::draw(module, &name, *line, &curves, celsius, options)?;
        files.extend(both_files(plot));
        files.push((format!("{stem}.csv"), section::table(module, *line, &curves, celsius)));
    }
    Ok(files)
}

/// The exposed surface, with the hottest point of every junction that is large enough.
fn surface<'a>(module: &Module, result: &'a SteadyResult) -> Map<'a> {
    let hottest = result.hottest();
    let layout = Layout::of(module.size_m);
    let rects = module.die.iter().map(|d| d.rect).chain(module.heaters.iter().map(|h| h.rect));
    let mut marks: Vec<Mark> = result
        .junctions
        .iter()
        .zip(rects)
        .enumerate()
        .map(|(index, (junction, rect))| {
            let smaller = rect.width_m().min(rect.height_m()) * layout.pixels_per_m();
            let mark = Mark { at_m: junction.hot_spot_m, chief: Some(index) == hottest };
            (mark, smaller >= LEAST_RINGED_PX)
        })
        .filter(|(mark, large)| mark.chief || *large)
        .map(|(mark, _)| mark)
        .collect();
    marks.sort_by_key(|mark| !mark.chief);
    Map {
        file: "temperature.png".to_owned(),
        title: "Surface temperature".to_owned(),
        subtitle: match hottest.map(|index| &result.junctions[index]) {
            Some(junction) => hottest_in_words(junction, marks.len()),
            None => "Spray side".to_owned(),
        },
        unit: "°C",
        field: &result.surface_K,
        convert: celsius,
        scale: scale_of([&result.surface_K], celsius),
        smooth: true,
        jumps: true,
        marks,
        nozzles: &[],
        under_cones: false,
        details: result
            .junctions
            .iter()
            .map(|junction| format!("{:.1} °C", celsius(junction.max_K)))
            .collect(),
    }
}

fn hottest_in_words(junction: &Junction, marks: usize) -> String {
    let decimals = decimals_for(junction.uncertainty_K);
    let (ring, each) = match marks {
        1 => ("ring", "Figures"),
        _ => ("large ring", "Rings and figures"),
    };
    format!(
        "Hottest: {}, {:.decimals$} ± {} °C ({ring}). {each}: each junction's hottest",
        junction.name,
        celsius(junction.max_K),
        rounded_up(junction.uncertainty_K, decimals),
    )
}

fn heat_flux<'a>(result: &'a SteadyResult, nozzles: &'a [NozzleMark]) -> Map<'a> {
    let convert = |flux: f64| flux * 1e-4;
    Map {
        file: "heat_flux.png".to_owned(),
        title: "Heat flux into the spray".to_owned(),
        subtitle: spray_maps::with_nozzles("Spray side", nozzles),
        unit: "W/cm²",
        field: &result.spray_flux_W_m2,
        convert,
        scale: scale_of([&result.spray_flux_W_m2], convert),
        smooth: true,
        jumps: true,
        marks: Vec::new(),
        nozzles,
        under_cones: false,
        details: Vec::new(),
    }
}

fn htc<'a>(result: &'a SteadyResult, nozzles: &'a [NozzleMark]) -> Map<'a> {
    let convert = |htc: f64| htc * 1e-3;
    Map {
        file: "htc.png".to_owned(),
        title: "Heat transfer coefficient".to_owned(),
        subtitle: spray_maps::with_nozzles("Spray side, to the inlet temperature", nozzles),
        unit: "kW/(m²K)",
        field: &result.htc_W_m2K,
        convert,
        scale: scale_of([&result.htc_W_m2K], convert),
        // Patches have sharp edges of their own; between nozzles the cells would show instead.
        smooth: !nozzles.is_empty(),
        jumps: true,
        marks: Vec::new(),
        nozzles,
        under_cones: false,
        details: Vec::new(),
    }
}

/// All sheets on one common scale, so that they can be compared.
fn sheets(result: &SteadyResult) -> Vec<Map<'_>> {
    let scale = scale_of(result.sheets.iter().map(|sheet| &sheet.temperature_K), celsius);
    let stems = file_stems(result.sheets.iter().map(|sheet| &sheet.name[..]));
    result
        .sheets
        .iter()
        .zip(stems)
        .map(|(sheet, stem)| Map {
            file: format!("sheet-{stem}.png"),
            title: format!("Temperature of sheet {}", sheet.name),
            subtitle: "Mean over its thickness; the scale is the same for all sheets".to_owned(),
            unit: "°C",
            field: &sheet.temperature_K,
            convert: celsius,
            scale: scale.clone(),
            smooth: true,
            // Sheets of layers lie under the die without a break; those of die end at their edges.
            jumps: sheet.temperature_K.values.iter().any(|value| !value.is_finite()),
            marks: Vec::new(),
            nozzles: &[],
            under_cones: false,
            details: Vec::new(),
        })
        .collect()
}

/// Names as they may stand in file names: without blanks, and none like another where capitals do
/// not count.
fn file_stems<'a>(names: impl Iterator<Item = &'a str>) -> Vec<String> {
    let mut taken: Vec<String> = Vec::new();
    for name in names {
        let plain = name.split_whitespace().collect::<Vec<_>>().join("-");
        let is_taken =
            |stem: &String| taken.iter().any(|t| t.to_lowercase() == stem.to_lowercase());
        let numbered = (2..).map(|k| format!("{plain}-{k}"));
        let stem = std::iter::once(plain.clone()).chain(numbered).find(|stem| !is_taken(stem));
        taken.push(stem.unwrap_or(plain));
    }
    taken
}

/// Lowest and highest value of some fields, as they are; `None` where there is none.
fn range_of<'a>(fields: impl IntoIterator<Item = &'a PlaneField>) -> Option<[f64; 2]> {
    let (low, high) = fields
        .into_iter()
        .flat_map(|field| field.values.iter().copied())
        .filter(|value| value.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
    (low <= high).then_some([low, high])
}

fn is_varied(field: &PlaneField) -> bool {
    range_of([field]).is_some_and(|[low, high]| high - low > 1e-9 * high.abs())
}

/// Magma from the lowest to the highest value of some fields.
pub(super) fn scale_of<'a>(
    fields: impl IntoIterator<Item = &'a PlaneField>,
    convert: fn(f64) -> f64,
) -> ColourScale {
    let [low, high] = range_of(fields).unwrap_or([0.0, 1.0]);
    ColourScale::magma(convert(low), convert(high))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn file_names_of_sheets_have_no_blanks_and_do_not_meet() {
        let names = ["core 1", "core-1", "Core  1", "die"];
        assert_eq!(file_stems(names.into_iter()), ["core-1", "core-1-2", "Core-1-3", "die"]);
    }
}
