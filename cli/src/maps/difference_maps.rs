//! The difference of two results as maps.

use super::map::{Map, draw};
use super::scale::ColourScale;
use super::{MapError, Picture};
use crate::difference::{Difference, FieldDifference};
use crate::figures::significant;

/// A map of each difference.
pub fn of_difference(
    difference: &Difference,
    details: &[Option<f64>],
) -> Result<Vec<Picture>, MapError> {
    difference.fields.iter().map(|field| of_field(difference, field, details)).collect()
}

fn of_field(
    difference: &Difference,
    of: &FieldDifference,
    details: &[Option<f64>],
) -> Result<Picture, MapError> {
    let subtitle = match &of.largest {
        Some(largest) if largest.difference_K != 0.0 => format!(
            "Red: B is hotter. Largest: {} K at {}, {} mm",
            signed(largest.difference_K),
            significant(largest.at_mm[0], 4),
            significant(largest.at_mm[1], 4)
        ),
        _ => "The two are the same everywhere".to_owned(),
    };
    let map = Map {
        file: of.file.to_owned(),
        title: format!("Difference of {}, B less A", of.what),
        subtitle,
        unit: "K",
        field: &of.field_K,
        convert: |v| v,
        scale: ColourScale::diverging(of.largest.as_ref().map_or(0.0, |l| l.difference_K.abs())),
        smooth: true,
        marks: Vec::new(),
        nozzles: &[],
        under_cones: false,
        jumps: true,
        details: details.iter().map(|value| value.map_or(String::new(), hundredths)).collect(),
    };
    draw(difference.outlines(), &map)
}

/// To a hundredth of a kelvin; what is less is nothing.
fn hundredths(value: f64) -> String {
    if value.abs() < 0.005 { "0.00 K".to_owned() } else { format!("{value:+.2} K") }
}

fn signed(value: f64) -> String {
    let text = significant(value, 3);
    if value > 0.0 { format!("+{text}") } else { text }
}
