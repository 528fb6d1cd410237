//! What the page's map needs: grid lines, outlines, layers of values.

use std::io;

use ndarray::Array2;
use rayon::prelude::*;
use serde::Serialize;
use sprayside_solver::module::{Module, Rect};
use sprayside_solver::results::{PlaneField, SteadyResult, active_faces};
use sprayside_solver::spray::Footprint;

use super::packing::{base64, pack};
use crate::figures::{celsius, decimals_for, rounded_up};
use crate::maps::{HIGHEST_MARGIN, colour_tables};
use crate::summary::Solved;
use crate::survey::Survey;

/// Characters of packed values that a page may hold; sheets beyond are left out and said so.
const MOST_CHARACTERS: usize = 3_900_000;
/// Points of a nozzle's outline.
const OUTLINE_POINTS: usize = 60;

/// Everything that the map shows; the names are those of the script.
#[derive(Debug, Serialize)]
pub struct MapData {
    size_mm: [f64; 2],
    x_mm: Vec<f64>,
    y_mm: Vec<f64>,
    parts: Vec<Part>,
    nozzles: Vec<NozzleOutline>,
    spots: Vec<Spot>,
    layers: Vec<Layer>,
    colours: Vec<Colours>,
    #[serde(skip)]
    left_out: Vec<String>,
}

#[derive(Debug, Serialize)]
struct Part {
    name: String,
    kind: String,
    heater: bool,
    /// Left, lower, right, upper.
    rect_mm: [f64; 4],
}

#[derive(Debug, Serialize)]
struct NozzleOutline {
    name: String,
    at_mm: [f64; 2],
    outline_mm: Vec<[f64; 2]>,
}

/// A junction's hottest point.
#[derive(Debug, Serialize)]
struct Spot {
    name: String,
    at_mm: [f64; 2],
    told: String,
    hottest: bool,
}

#[derive(Debug, Serialize)]
struct Layer {
    id: String,
    title: String,
    unit: &'static str,
    /// Digits after the point; `None`: three significant ones.
    decimals: Option<usize>,
    /// What stands where there is no value.
    nothing: &'static str,
    /// Whether the readout shows it whatever the map shows.
    always: bool,
    /// Small values are the ones that matter.
    reversed: bool,
    /// Ends of the colours.
    show_low: f64,
    show_high: f64,
    low: f64,
    step: f64,
    high: f64,
    values: String,
}

#[derive(Debug, Serialize)]
struct Colours {
    name: String,
    table: String,
}

/// A layer before it is packed.
struct Source<'a> {
    id: String,
    title: String,
    unit: &'static str,
    decimals: Option<usize>,
    nothing: &'static str,
    always: bool,
    reversed: bool,
    /// Ends of the colours; `None`: those of the values.
    shown: Option<[f64; 2]>,
    values: std::borrow::Cow<'a, Array2<f64>>,
    convert: fn(f64) -> f64,
}

impl<'a> Source<'a> {
    fn of(id: &str, title: &str, unit: &'static str, field: &'a PlaneField) -> Source<'a> {
        Source {
            id: id.to_owned(),
            title: title.to_owned(),
            unit,
            decimals: Some(2),
            nothing: "none",
            always: true,
            reversed: false,
            shown: None,
            values: std::borrow::Cow::Borrowed(&field.values),
            convert: |v| v,
        }
    }

    fn packed(&self) -> io::Result<Option<Layer>> {
        let Some(packed) = pack(&self.values.map(|v| (self.convert)(*v)))? else {
            return Ok(None);
        };
        let [show_low, show_high] = self.shown.unwrap_or([packed.low, packed.high]);
        Ok(Some(Layer {
            id: self.id.clone(),
            title: self.title.clone(),
            unit: self.unit,
            decimals: self.decimals,
            nothing: self.nothing,
            always: self.always,
            reversed: self.reversed,
            show_low,
            show_high,
            low: packed.low,
            step: packed.step,
            high: packed.high,
            values: packed.text,
        }))
    }
}

impl MapData {
    /// The map of a solved case.
    pub fn of_solved(solved: &Solved) -> io::Result<MapData> {
        let module = &solved.case.case.module;
        let result = solved.result;
        let faces = active_faces(module, solved.solution);
        let mut sources = vec![
            Source {
                convert: celsius,
                nothing: "no active face",
                ..Source::of("junction", "Junction temperature", "°C", &faces)
            },
            Source {
                convert: celsius,
                ..Source::of("surface", "Surface temperature", "°C", &result.surface_K)
            },
            Source {
                convert: |flux| flux * 1e-4,
                ..Source::of("flux", "Heat flux into the spray", "W/cm²", &result.spray_flux_W_m2)
            },
            Source {
                convert: |htc| htc * 1e-3,
                decimals: None,
                ..Source::of("htc", "Heat transfer coefficient", "kW/(m²K)", &result.htc_W_m2K)
            },
        ];
        if let Some(spray) = &result.spray {
            sources.push(liquid(&spray.volumetric_flux_m_s));
            let high = spray
                .chf_margin
                .values
                .iter()
                .filter(|v| v.is_finite())
                .fold(0.0f64, |high, v| high.max(*v));
            sources.push(Source {
                nothing: "dry",
                reversed: true,
                shown: Some([0.0, high.clamp(1.5, HIGHEST_MARGIN)]),
                decimals: None,
                ..Source::of("margin", "CHF margin", "", &spray.chf_margin)
            });
        }
        // All sheets on one scale, so that they can be compared.
        let range = sheets_range(result);
        sources.extend(result.sheets.iter().map(|sheet| Source {
            convert: celsius,
            always: false,
            shown: range,
            nothing: "not there",
            ..Source::of(
                &format!("sheet-{}", sheet.name),
                &format!("Sheet {}", sheet.name),
                "°C",
                &sheet.temperature_K,
            )
        }));
        let spots = spots(result);
        let footprints = solved.survey.map_or(&[][..], |survey| &survey.footprints);
        MapData::of(module, &result.surface_K, sources, spots, footprints)
    }

    /// The map of a survey without a solve.
    pub fn of_survey(module: &Module, survey: &Survey) -> io::Result<MapData> {
        let picture = &survey.picture;
        let values = Array2::from_shape_fn((picture.ny(), picture.nx()), |(j, i)| {
            picture.flux_m_s[j * picture.nx() + i]
        });
        let field = PlaneField {
            x_lines_m: picture.x_lines_m.clone(),
            y_lines_m: picture.y_lines_m.clone(),
            values,
        };
        MapData::of(module, &field, vec![liquid(&field)], Vec::new(), &survey.footprints)
    }

    fn of(
        module: &Module,
        grid: &PlaneField,
        sources: Vec<Source>,
        spots: Vec<Spot>,
        footprints: &[Footprint],
    ) -> io::Result<MapData> {
        let packed: Vec<Option<Layer>> =
            sources.par_iter().map(Source::packed).collect::<io::Result<_>>()?;
        let (mut layers, mut left_out, mut characters) = (Vec::new(), Vec::new(), 0);
        for layer in packed.into_iter().flatten() {
            if !layer.always && characters + layer.values.len() > MOST_CHARACTERS {
                left_out.push(layer.title);
                continue;
            }
            characters += layer.values.len();
            layers.push(layer);
        }
        let names: Vec<&str> = match &module.spray {
            sprayside_solver::module::Spray::Correlated(spray) => {
                spray.nozzles.iter().map(|nozzle| nozzle.name.as_str()).collect()
            }
            sprayside_solver::module::Spray::Prescribed(_) => Vec::new(),
        };
        Ok(MapData {
            size_mm: module.size_m.map(mm),
            x_mm: grid.x_lines_m.iter().copied().map(mm).collect(),
            y_mm: grid.y_lines_m.iter().copied().map(mm).collect(),
            parts: parts(module),
            nozzles: footprints
                .iter()
                .enumerate()
                .map(|(n, footprint)| NozzleOutline {
                    name: names.get(n).copied().unwrap_or_default().to_owned(),
                    at_mm: footprint.foot_m.map(mm),
                    outline_mm: footprint
                        .outline_m(OUTLINE_POINTS)
                        .iter()
                        .map(|p| p.map(|v| (v * 1e6).round() / 1e3))
                        .collect(),
                })
                .collect(),
            spots,
            layers,
            colours: colour_tables()
                .into_iter()
                .map(|(name, table)| Colours { name, table: base64(&table) })
                .collect(),
            left_out,
        })
    }

    /// The JSON text, safe inside a script element.
    pub fn json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string(self).map(|text| text.replace('<', "\\u003c"))
    }

    /// Titles of the layers.
    pub fn titles(&self) -> impl Iterator<Item = (&str, &str)> {
        self.layers.iter().map(|layer| (layer.id.as_str(), layer.title.as_str()))
    }

    /// Names of the colour scales.
    pub fn colour_names(&self) -> impl Iterator<Item = &str> {
        self.colours.iter().map(|colours| colours.name.as_str())
    }

    /// Titles of the layers that found no room.
    pub fn left_out(&self) -> &[String] {
        &self.left_out
    }

    /// Cells along x and y.
    pub fn cells(&self) -> [usize; 2] {
        [self.x_mm.len() - 1, self.y_mm.len() - 1]
    }

    /// Whether there are nozzles to draw.
    pub fn has_nozzles(&self) -> bool {
        !self.nozzles.is_empty()
    }
}

/// The liquid that lands, in litres; no value where nothing lands.
fn liquid(field: &PlaneField) -> Source<'_> {
    Source {
        values: std::borrow::Cow::Owned(
            field.values.map(|v| if *v > 0.0 { *v * 1e3 } else { f64::NAN }),
        ),
        decimals: None,
        nothing: "dry",
        ..Source::of("liquid", "Volumetric flux of liquid", "L/(m²s)", field)
    }
}

/// Ten nanometres are exact enough for a place.
fn mm(metres: f64) -> f64 {
    (metres * 1e8).round() / 1e5
}

fn parts(module: &Module) -> Vec<Part> {
    let rect_mm = |r: &Rect| [r.x0_m, r.y0_m, r.x1_m, r.y1_m].map(mm);
    let die = module.die.iter().map(|die| Part {
        name: die.name.clone(),
        kind: die.type_name.clone(),
        heater: false,
        rect_mm: rect_mm(&die.rect),
    });
    let heaters = module.heaters.iter().map(|heater| Part {
        name: heater.name.clone(),
        kind: "heater".to_owned(),
        heater: true,
        rect_mm: rect_mm(&heater.rect),
    });
    die.chain(heaters).collect()
}

fn spots(result: &SteadyResult) -> Vec<Spot> {
    let hottest = result.hottest();
    result
        .junctions
        .iter()
        .enumerate()
        .map(|(index, junction)| {
            let decimals = decimals_for(junction.uncertainty_K);
            Spot {
                name: junction.name.clone(),
                at_mm: junction.hot_spot_m.map(mm),
                told: format!(
                    "{:.decimals$} ± {} °C",
                    celsius(junction.max_K),
                    rounded_up(junction.uncertainty_K, decimals)
                ),
                hottest: Some(index) == hottest,
            }
        })
        .collect()
}

fn sheets_range(result: &SteadyResult) -> Option<[f64; 2]> {
    let (low, high) = result
        .sheets
        .iter()
        .flat_map(|sheet| sheet.temperature_K.values.iter())
        .filter(|v| v.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(*v), high.max(*v)));
    (low <= high).then(|| [celsius(low), celsius(high)])
}
