//! The module as it was understood, to scale: substrate, die, heaters, nozzles and their cones.

use std::sync::Arc;

use ndarray::Array2;
use sprayside_solver::module::{Module, Spray};
use sprayside_solver::results::PlaneField;
use sprayside_solver::spray::{Footprint, SprayError};

use super::map::{Map, draw_with};
use super::options::{Colours, PictureOptions};
use super::scale::ColourScale;
use super::spray_maps::nozzle_marks;
use super::{MapError, Picture};
use crate::figures::significant;
use crate::text::counted;

/// The drawing as PNG and as SVG.
pub fn of_module(module: &Module) -> Result<(Picture, Vec<u8>), MapError> {
    let footprints = match &module.spray {
        Spray::Correlated(spray) => spray
            .nozzles
            .iter()
            .map(Footprint::of)
            .collect::<Result<Vec<_>, SprayError>>()
            .map_err(|error| MapError(error.to_string()))?,
        Spray::Prescribed(_) => Vec::new(),
    };
    let nozzles = nozzle_marks(&footprints);
    let field = ground(module);
    let cones = match nozzles.len() {
        0 => String::new(),
        n => format!(
            ". {}: crosses are orifices, thin lines their cones",
            counted(n, "nozzle", "nozzles")
        ),
    };
    let map = Map {
        file: "module.png".to_owned(),
        title: "Module".to_owned(),
        subtitle: format!(
            "Spray side, to scale; {} by {} mm, {} W{cones}",
            significant(module.size_m[0] * 1e3, 5),
            significant(module.size_m[1] * 1e3, 5),
            significant(module.total_power_W(), 4),
        ),
        unit: "",
        field: &field,
        convert: |v| v,
        scale: ColourScale::magma(0.0, 1.0),
        smooth: false,
        jumps: true,
        marks: Vec::new(),
        nozzles: &nozzles,
        under_cones: false,
        details: module
            .die
            .iter()
            .map(|die| die.power_W)
            .chain(module.heaters.iter().map(|heater| heater.power_W))
            .map(|power_W| format!("{} W", significant(power_W, 4)))
            .collect(),
    };
    let options =
        PictureOptions { svg: true, colours: Colours::Greys, ..PictureOptions::default() };
    let (picture, svg) = draw_with(module, &map, &options)?;
    Ok((picture, svg.unwrap_or_default()))
}

/// A value for the substrate and another for die, on the grid of their edges.
fn ground(module: &Module) -> PlaneField {
    let lines = |axis: usize| -> Arc<[f64]> {
        let length = module.size_m[axis];
        let edges = module.die.iter().flat_map(|die| {
            let rect = &die.rect;
            if axis == 0 { [rect.x0_m, rect.x1_m] } else { [rect.y0_m, rect.y1_m] }
        });
        let mut lines: Vec<f64> = edges.chain([0.0, length]).collect();
        lines.retain(|line| (0.0..=length).contains(line));
        lines.sort_by(f64::total_cmp);
        lines.dedup_by(|b, a| *b - *a < 1e-9 * length);
        lines.into()
    };
    let (x, y) = (lines(0), lines(1));
    let middle = |lines: &[f64], k: usize| 0.5 * (lines[k] + lines[k + 1]);
    let values = Array2::from_shape_fn((y.len() - 1, x.len() - 1), |(j, i)| {
        let at = [middle(&x, i), middle(&y, j)];
        let covered = module.die.iter().any(|die| {
            let rect = &die.rect;
            at[0] > rect.x0_m && at[0] < rect.x1_m && at[1] > rect.y0_m && at[1] < rect.y1_m
        });
        if covered { 0.62 } else { 0.95 }
    });
    PlaneField { x_lines_m: x, y_lines_m: y, values }
}
