//! The maps of a steady solve.

use rayon::prelude::*;
use sprayside_solver::module::Module;
use sprayside_solver::results::{PlaneField, SteadyResult};

use super::map::{Map, Mark, draw};
use super::scale::ColourScale;
use super::{MapError, Picture};
use crate::figures::{celsius, decimals_for, rounded_up};

/// Draws every map of a result, on all cores.
pub fn of_solve(module: &Module, result: &SteadyResult) -> Result<Vec<Picture>, MapError> {
    let mut maps = vec![surface(result), heat_flux(result), htc(result)];
    maps.extend(sheets(result));
    maps.par_iter().map(|map| draw(module, map)).collect()
}

/// The exposed surface, with the hottest point of every junction.
fn surface(result: &SteadyResult) -> Map<'_> {
    let hottest = result.hottest();
    let mut marks: Vec<Mark> = result
        .junctions
        .iter()
        .enumerate()
        .map(|(index, junction)| Mark { at_m: junction.hot_spot_m, chief: Some(index) == hottest })
        .collect();
    marks.sort_by_key(|mark| !mark.chief);
    let subtitle = match hottest.map(|index| &result.junctions[index]) {
        Some(junction) => {
            let decimals = decimals_for(junction.uncertainty_K);
            format!(
                "Spray side. Rings: hottest point of each junction; the large one is {} with {:.decimals$} ± {} °C",
                junction.name,
                celsius(junction.max_K),
                rounded_up(junction.uncertainty_K, decimals),
            )
        }
        None => "Spray side".to_owned(),
    };
    Map {
        file: "temperature.png".to_owned(),
        title: "Surface temperature".to_owned(),
        subtitle,
        unit: "°C",
        field: &result.surface_K,
        convert: celsius,
        scale: scale_of([&result.surface_K], celsius),
        smooth: true,
        marks,
        details: result
            .junctions
            .iter()
            .map(|junction| format!("{:.1} °C", celsius(junction.max_K)))
            .collect(),
    }
}

fn heat_flux(result: &SteadyResult) -> Map<'_> {
    let convert = |flux: f64| flux * 1e-4;
    Map {
        file: "heat_flux.png".to_owned(),
        title: "Heat flux into the spray".to_owned(),
        subtitle: "Spray side, per wetted area".to_owned(),
        unit: "W/cm²",
        field: &result.spray_flux_W_m2,
        convert,
        scale: scale_of([&result.spray_flux_W_m2], convert),
        smooth: true,
        marks: Vec::new(),
        details: Vec::new(),
    }
}

fn htc(result: &SteadyResult) -> Map<'_> {
    let convert = |htc: f64| htc * 1e-3;
    Map {
        file: "htc.png".to_owned(),
        title: "Heat transfer coefficient".to_owned(),
        subtitle: "Spray side".to_owned(),
        unit: "kW/(m²K)",
        field: &result.htc_W_m2K,
        convert,
        scale: scale_of([&result.htc_W_m2K], convert),
        // Stated patches have sharp edges of their own.
        smooth: false,
        marks: Vec::new(),
        details: Vec::new(),
    }
}

/// All sheets on one common scale, so that they can be compared.
fn sheets(result: &SteadyResult) -> Vec<Map<'_>> {
    let scale = scale_of(result.sheets.iter().map(|sheet| &sheet.temperature_K), celsius);
    let mut taken: Vec<String> = Vec::new();
    result
        .sheets
        .iter()
        .map(|sheet| {
            let mut file = format!("sheet-{}.png", sheet.name);
            let mut again = 2;
            // A layer may be called as the islands are, or as another layer's slice.
            while taken.contains(&file.to_lowercase()) {
                file = format!("sheet-{}_{again}.png", sheet.name);
                again += 1;
            }
            taken.push(file.to_lowercase());
            Map {
                file,
                title: format!("Temperature of sheet {}", sheet.name),
                subtitle: "Mean over its thickness; the scale is the same for all sheets"
                    .to_owned(),
                unit: "°C",
                field: &sheet.temperature_K,
                convert: celsius,
                scale: scale.clone(),
                smooth: true,
                marks: Vec::new(),
                details: Vec::new(),
            }
        })
        .collect()
}

/// Magma from the lowest to the highest value of some fields.
fn scale_of<'a>(
    fields: impl IntoIterator<Item = &'a PlaneField>,
    convert: fn(f64) -> f64,
) -> ColourScale {
    let (low, high) = fields
        .into_iter()
        .flat_map(|field| field.values.iter().copied())
        .filter(|value| value.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
    if low > high {
        ColourScale::magma(0.0, 1.0)
    } else {
        ColourScale::magma(convert(low), convert(high))
    }
}
