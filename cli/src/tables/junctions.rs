//! `junctions.csv`: a row a heat source.

use serde::Serialize;
use sprayside_solver::results::Junction;

use crate::figures::{celsius, figure};

/// One row; the fields are the columns, in their order.
#[derive(Debug, Clone, Serialize)]
#[allow(
    missing_docs,
    reason = "the names say it, with their units; they are explained in solve --help"
)]
pub struct JunctionRow {
    pub die: String,
    #[serde(rename = "type")]
    pub type_name: String,
    pub power_W: Option<f64>,
    pub mean_flux_W_cm2: Option<f64>,
    pub junction_max_C: Option<f64>,
    pub junction_mean_C: Option<f64>,
    pub junction_min_C: Option<f64>,
    pub uncertainty_K: Option<f64>,
    pub limit_C: Option<f64>,
    pub margin_K: Option<f64>,
    pub hot_spot_x_mm: Option<f64>,
    pub hot_spot_y_mm: Option<f64>,
    pub heat_to_spray_W: Option<f64>,
    pub wetted_pct: Option<f64>,
    pub chf_margin: Option<f64>,
    pub verdict: &'static str,
    pub model_low_C: Option<f64>,
    pub model_high_C: Option<f64>,
    /// That of `junction_min_C`; `uncertainty_K` is that of the maximum.
    pub min_uncertainty_K: Option<f64>,
    /// That of `chf_margin`.
    pub chf_margin_uncertainty: Option<f64>,
    /// That of `junction_mean_C`.
    pub mean_uncertainty_K: Option<f64>,
}

impl JunctionRow {
    /// The columns.
    pub const HEADER: [&'static str; 21] = [
        "die",
        "type",
        "power_W",
        "mean_flux_W_cm2",
        "junction_max_C",
        "junction_mean_C",
        "junction_min_C",
        "uncertainty_K",
        "limit_C",
        "margin_K",
        "hot_spot_x_mm",
        "hot_spot_y_mm",
        "heat_to_spray_W",
        "wetted_pct",
        "chf_margin",
        "verdict",
        "model_low_C",
        "model_high_C",
        "min_uncertainty_K",
        "chf_margin_uncertainty",
        "mean_uncertainty_K",
    ];

    /// The row of one junction.
    pub fn of(junction: &Junction) -> JunctionRow {
        let temperature = |kelvin: f64| figure(celsius(kelvin));
        JunctionRow {
            die: junction.name.clone(),
            type_name: junction.type_name.clone(),
            power_W: figure(junction.power_W),
            mean_flux_W_cm2: figure(junction.mean_flux_W_m2 * 1e-4),
            junction_max_C: temperature(junction.max_K),
            junction_mean_C: temperature(junction.mean_K),
            junction_min_C: temperature(junction.min_K),
            uncertainty_K: figure(junction.uncertainty_K),
            limit_C: junction.limit_K.and_then(temperature),
            margin_K: junction.margin_K().and_then(figure),
            hot_spot_x_mm: figure(junction.hot_spot_m[0] * 1e3),
            hot_spot_y_mm: figure(junction.hot_spot_m[1] * 1e3),
            heat_to_spray_W: figure(junction.heat_to_spray_W),
            wetted_pct: junction.wetted_share.and_then(|share| figure(share * 100.0)),
            chf_margin: junction.chf_margin.and_then(figure),
            verdict: junction.verdict().word(),
            model_low_C: junction.model_range_K.and_then(|[low, _]| temperature(low)),
            model_high_C: junction.model_range_K.and_then(|[_, high]| temperature(high)),
            min_uncertainty_K: figure(junction.min_uncertainty_K),
            chf_margin_uncertainty: junction.chf_margin_uncertainty.and_then(figure),
            mean_uncertainty_K: figure(junction.mean_uncertainty_K),
        }
    }
}

#[cfg(test)]
pub mod tests {
    use super::*;

    /// A junction with a limit and no nozzles.
    pub fn junction(name: &str, max_K: f64, limit_K: Option<f64>) -> Junction {
        Junction {
            name: name.to_owned(),
            type_name: "processor".to_owned(),
            power_W: 60.0,
            mean_flux_W_m2: 416_666.666_666_666,
            max_K,
            mean_K: max_K - 4.0,
            min_K: max_K - 9.0,
            uncertainty_K: 0.05,
            mean_uncertainty_K: 0.02,
            min_uncertainty_K: 0.25,
            limit_K,
            hot_spot_m: [0.014, 0.020],
            heat_to_spray_W: 51.0,
            wetted_share: None,
            chf_margin: None,
            chf_at_m: None,
            chf_margin_uncertainty: None,
            model_range_K: None,
        }
    }

    #[test]
    fn a_row_has_the_columns_in_order_and_empty_cells_without_nozzles() {
        let rows = [JunctionRow::of(&junction("P, 0", 353.15, Some(358.15)))];
        let bytes = super::super::csv(&JunctionRow::HEADER, &rows).expect("csv");
        let text = String::from_utf8(bytes).expect("UTF-8");
        assert_eq!(
            text,
            "die,type,power_W,mean_flux_W_cm2,junction_max_C,junction_mean_C,junction_min_C,\
             uncertainty_K,limit_C,margin_K,hot_spot_x_mm,hot_spot_y_mm,heat_to_spray_W,\
             wetted_pct,chf_margin,verdict,model_low_C,model_high_C,min_uncertainty_K,\
             chf_margin_uncertainty,mean_uncertainty_K\n\
             \"P, 0\",processor,60.0,41.66666667,80.0,76.0,71.0,0.05,85.0,4.95,14.0,20.0,51.0,,,\
             pass,,,0.25,,0.02\n"
        );
    }

    #[test]
    fn header_and_fields_agree() {
        let row = serde_json::to_value(JunctionRow::of(&junction("A", 300.0, None))).expect("json");
        let object = row.as_object().expect("an object");
        assert_eq!(object.len(), JunctionRow::HEADER.len());
        for name in JunctionRow::HEADER {
            assert!(object.contains_key(name), "{name}");
        }
        assert!(object["limit_C"].is_null() && object["margin_K"].is_null());
        assert_eq!(object["verdict"], "none");
    }
}
