//! Every field of the plane under one name, with its unit.

use ndarray::Array2;
use sprayside_solver::module::Module;
use sprayside_solver::results::{PlaneField, active_faces};

use crate::figures::celsius;
use crate::summary::Solved;

/// The fields on their common grid.
pub struct Fields {
    /// Lines across x, m.
    pub x_lines_m: Vec<f64>,
    /// Lines across y, m.
    pub y_lines_m: Vec<f64>,
    /// The fields.
    pub all: Vec<Field>,
    /// Outline of each source, die before heaters, m: a row of lower left and upper right corner.
    pub outlines_m: Vec<[f64; 4]>,
}

/// One field.
pub struct Field {
    /// Name with the SI unit.
    pub name: String,
    /// Values, the lowest row first; NaN where there is none.
    pub values: Array2<f64>,
    /// Name with the unit of the tables.
    pub column: String,
    /// To that unit.
    pub convert: fn(f64) -> f64,
}

/// The fields of a solved case.
pub fn fields(solved: &Solved) -> Fields {
    let result = solved.result;
    let field = |name: &str, column: &str, field: &PlaneField, convert: fn(f64) -> f64| Field {
        name: name.to_owned(),
        values: field.values.clone(),
        column: column.to_owned(),
        convert,
    };
    let junction = active_faces(&solved.case.case.module, solved.solution);
    let mut all = vec![
        field("junction_K", "junction_C", &junction, celsius),
        field("surface_K", "surface_C", &result.surface_K, celsius),
        field("heat_flux_W_m2", "heat_flux_W_cm2", &result.spray_flux_W_m2, |flux| flux * 1e-4),
        field("htc_W_m2K", "htc_W_m2K", &result.htc_W_m2K, |htc| htc),
    ];
    if let Some(spray) = &result.spray {
        let liquid = &spray.volumetric_flux_m_s;
        all.push(field("volumetric_flux_m3_m2s", "volumetric_flux_m3_m2s", liquid, |flux| flux));
        all.push(field("chf_margin", "chf_margin", &spray.chf_margin, |margin| margin));
    }
    for sheet in &result.sheets {
        let [si, column] = ["K", "C"].map(|unit| format!("sheet_{}_{unit}", sheet.name));
        all.push(field(&si, &column, &sheet.temperature_K, celsius));
    }
    Fields {
        x_lines_m: result.surface_K.x_lines_m.to_vec(),
        y_lines_m: result.surface_K.y_lines_m.to_vec(),
        all,
        outlines_m: outlines_m(&solved.case.case.module),
    }
}

fn outlines_m(module: &Module) -> Vec<[f64; 4]> {
    let die = module.die.iter().map(|die| die.rect);
    let heaters = module.heaters.iter().map(|heater| heater.rect);
    die.chain(heaters).map(|r| [r.x0_m, r.y0_m, r.x1_m, r.y1_m]).collect()
}
