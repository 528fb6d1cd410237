//! `sensors.csv`: a row a sensor.

use serde::Serialize;
use sprayside_solver::module::{Face, Module, Sensor, SensorPlace};
use sprayside_solver::results::SensorReading;

use crate::figures::{celsius, figure};

/// One row; the fields are the columns, in their order.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct SensorRow {
    pub sensor: String,
    pub on: String,
    pub face: &'static str,
    pub x_mm: Option<f64>,
    pub y_mm: Option<f64>,
    #[serde(rename = "type")]
    pub type_name: &'static str,
    pub predicted_C: Option<f64>,
    pub uncertainty_K: Option<f64>,
    pub limit_of_error_K: Option<f64>,
    pub placement_K: Option<f64>,
}

impl SensorRow {
    /// The columns.
    pub const HEADER: [&'static str; 10] = [
        "sensor",
        "on",
        "face",
        "x_mm",
        "y_mm",
        "type",
        "predicted_C",
        "uncertainty_K",
        "limit_of_error_K",
        "placement_K",
    ];

    /// The row of one sensor.
    pub fn of(module: &Module, sensor: &Sensor, reading: &SensorReading) -> SensorRow {
        let (on, face) = place_in_words(module, sensor.place);
        SensorRow {
            sensor: sensor.name.clone(),
            on,
            face,
            x_mm: figure(sensor.at_m[0] * 1e3),
            y_mm: figure(sensor.at_m[1] * 1e3),
            type_name: sensor.type_name(),
            predicted_C: figure(celsius(reading.temperature_K)),
            uncertainty_K: figure(reading.uncertainty_K),
            limit_of_error_K: figure(reading.limit_of_error_K),
            placement_K: figure(reading.placement_K),
        }
    }
}

/// Die or layer, and the word of the face.
fn place_in_words(module: &Module, place: SensorPlace) -> (String, &'static str) {
    match place {
        SensorPlace::Junction { die } => (module.die[die].name.clone(), "junction"),
        SensorPlace::Back { die } => (module.die[die].name.clone(), "back"),
        SensorPlace::Layer { layer, face } => {
            let word = match face {
                Face::Top => "top",
                Face::Bottom => "bottom",
            };
            (module.layers[layer].name.clone(), word)
        }
    }
}
