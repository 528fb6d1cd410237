//! Two folders of results, or one and readings, side by side.

use std::fs;
use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::difference::{Difference, Largest};
use crate::failure::Failure;
use crate::figures::figure;
use crate::readings_file;
use crate::results_folder::SUMMARY;

/// What of a summary is compared; everything else in it is passed over.
#[derive(Debug, Deserialize)]
#[allow(missing_docs, reason = "the names of summary.json")]
struct Results {
    tool_version: String,
    #[serde(default)]
    title: String,
    case_sha256: String,
    #[serde(default)]
    junctions: Vec<JunctionOf>,
    #[serde(default)]
    sensors: Vec<SensorOf>,
}

#[derive(Debug, Deserialize)]
struct JunctionOf {
    die: String,
    power_W: Option<f64>,
    junction_max_C: Option<f64>,
    junction_mean_C: Option<f64>,
    uncertainty_K: Option<f64>,
    #[serde(default)]
    chf_margin: Option<f64>,
}

#[derive(Debug, Deserialize)]
struct SensorOf {
    sensor: String,
    predicted_C: Option<f64>,
    uncertainty_K: Option<f64>,
    limit_of_error_K: Option<f64>,
}

/// One thing in both; the fields are the columns, in their order.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct ComparisonRow {
    pub name: String,
    pub kind: &'static str,
    pub a_C: Option<f64>,
    pub b_C: Option<f64>,
    /// B less A.
    pub difference_K: Option<f64>,
    pub uncertainty_a_K: Option<f64>,
    pub uncertainty_b_K: Option<f64>,
    pub difference_of_means_K: Option<f64>,
    pub difference_of_power_W: Option<f64>,
    pub chf_margin_a: Option<f64>,
    pub chf_margin_b: Option<f64>,
    pub differs: &'static str,
}

impl ComparisonRow {
    /// The columns.
    pub const HEADER: [&'static str; 12] = [
        "name",
        "kind",
        "a_C",
        "b_C",
        "difference_K",
        "uncertainty_a_K",
        "uncertainty_b_K",
        "difference_of_means_K",
        "difference_of_power_W",
        "chf_margin_a",
        "chf_margin_b",
        "differs",
    ];

    fn new(
        name: &str,
        kind: &'static str,
        a: [Option<f64>; 2],
        b: [Option<f64>; 2],
    ) -> ComparisonRow {
        let difference_K = difference(a[0], b[0]);
        let differs = match (difference_K, a[1], b[1]) {
            (Some(d), Some(ua), Some(ub)) => {
                // Equal runs print equal figures: rounding of the tenth digit is no difference.
                if d.abs() > ua + ub + 1e-6 { "yes" } else { "no" }
            }
            _ => "unknown",
        };
        ComparisonRow {
            name: name.to_owned(),
            kind,
            a_C: a[0],
            b_C: b[0],
            difference_K,
            uncertainty_a_K: a[1],
            uncertainty_b_K: b[1],
            difference_of_means_K: None,
            difference_of_power_W: None,
            chf_margin_a: None,
            chf_margin_b: None,
            differs,
        }
    }
}

fn difference(a: Option<f64>, b: Option<f64>) -> Option<f64> {
    a.zip(b).and_then(|(a, b)| figure(b - a))
}

/// Everything that was compared.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[allow(missing_docs, reason = "the names say it")]
pub struct Comparison {
    pub tool_version: &'static str,
    pub command: &'static str,
    pub a: String,
    pub b: String,
    pub title_a: String,
    pub title_b: String,
    pub same_case: bool,
    pub same_version: bool,
    pub rows: Vec<ComparisonRow>,
    pub only_in_a: Vec<String>,
    pub only_in_b: Vec<String>,
    /// The largest difference of each field that both hold.
    pub largest_in_fields: Vec<Largest>,
    /// Why no fields were compared.
    pub no_fields_because: Option<String>,
    /// SHA-256 of the case of A: by it a folder is known as results.
    pub case_sha256: String,
    pub files: Vec<String>,
}

impl Comparison {
    /// Compares the results in `a` with the results or the readings in `b`; and their fields, where
    /// both hold them.
    pub fn of(a: &Path, b: &Path) -> Result<(Comparison, Option<Difference>), Failure> {
        let first = results(a)?;
        let mut comparison = Comparison {
            tool_version: env!("CARGO_PKG_VERSION"),
            command: "compare",
            a: a.display().to_string(),
            b: b.display().to_string(),
            title_a: first.title.clone(),
            title_b: String::new(),
            same_case: false,
            same_version: true,
            rows: Vec::new(),
            only_in_a: Vec::new(),
            only_in_b: Vec::new(),
            largest_in_fields: Vec::new(),
            no_fields_because: None,
            case_sha256: first.case_sha256.clone(),
            files: Vec::new(),
        };
        if !b.is_dir() {
            comparison.with_readings(&first, a, b)?;
            comparison.no_fields_because = Some("readings are of points".to_owned());
            return Ok((comparison, None));
        }
        comparison.with_results(&first, &results(b)?);
        let names: Vec<&str> = first.junctions.iter().map(|j| j.die.as_str()).collect();
        let difference = match Difference::of(a, b, &first.title, &names) {
            Ok(difference) => {
                comparison.largest_in_fields = difference.largest();
                Some(difference)
            }
            Err(why) => {
                comparison.no_fields_because = Some(why);
                None
            }
        };
        Ok((comparison, difference))
    }

    fn with_results(&mut self, first: &Results, second: &Results) {
        self.title_b.clone_from(&second.title);
        self.same_case = first.case_sha256 == second.case_sha256;
        self.same_version = first.tool_version == second.tool_version;
        for a in &first.junctions {
            let Some(b) = second.junctions.iter().find(|b| b.die == a.die) else {
                self.only_in_a.push(a.die.clone());
                continue;
            };
            let mut row = ComparisonRow::new(
                &a.die,
                "junction",
                [a.junction_max_C, a.uncertainty_K],
                [b.junction_max_C, b.uncertainty_K],
            );
            row.difference_of_means_K = difference(a.junction_mean_C, b.junction_mean_C);
            row.difference_of_power_W = difference(a.power_W, b.power_W);
            (row.chf_margin_a, row.chf_margin_b) = (a.chf_margin, b.chf_margin);
            self.rows.push(row);
        }
        for b in &second.junctions {
            if first.junctions.iter().all(|a| a.die != b.die) {
                self.only_in_b.push(b.die.clone());
            }
        }
        for a in &first.sensors {
            match second.sensors.iter().find(|b| b.sensor == a.sensor) {
                Some(b) => self.rows.push(ComparisonRow::new(
                    &a.sensor,
                    "sensor",
                    [a.predicted_C, a.uncertainty_K],
                    [b.predicted_C, b.uncertainty_K],
                )),
                None => self.only_in_a.push(a.sensor.clone()),
            }
        }
        for b in &second.sensors {
            if first.sensors.iter().all(|a| a.sensor != b.sensor) {
                self.only_in_b.push(b.sensor.clone());
            }
        }
    }

    fn with_readings(&mut self, first: &Results, a: &Path, b: &Path) -> Result<(), Failure> {
        if first.sensors.is_empty() {
            return Err(Failure::Request {
                headline: format!("the results in {} have no sensors", a.display()),
                help: "describe them with [[sensor]] in the case and solve it again".to_owned(),
            });
        }
        let names: Vec<&str> = first.sensors.iter().map(|s| s.sensor.as_str()).collect();
        let readings = readings_file::read(b, &names)?;
        for (k, sensor) in first.sensors.iter().enumerate() {
            match readings.iter().find(|reading| reading.sensor == k) {
                Some(reading) => {
                    let limit_K = reading.limit_of_error_K.or(sensor.limit_of_error_K);
                    self.rows.push(ComparisonRow::new(
                        &sensor.sensor,
                        "reading",
                        [sensor.predicted_C, sensor.uncertainty_K],
                        [figure(reading.reading_K - 273.15), limit_K],
                    ));
                }
                None => self.only_in_a.push(sensor.sensor.clone()),
            }
        }
        Ok(())
    }

    /// How many differ beyond what is known of them.
    pub fn differing(&self) -> usize {
        self.rows.iter().filter(|row| row.differs == "yes").count()
    }

    /// Whether nothing differs and nothing is missing. A sensor without a reading is no difference.
    pub fn is_same(&self) -> bool {
        let readings = self.rows.iter().any(|row| row.kind == "reading");
        self.differing() == 0
            && self.only_in_b.is_empty()
            && (readings || self.only_in_a.is_empty())
    }
}

/// The summary in a folder of results.
fn results(folder: &Path) -> Result<Results, Failure> {
    let path = folder.join(SUMMARY);
    let text = fs::read_to_string(&path).map_err(|error| match error.kind() {
        std::io::ErrorKind::NotFound => Failure::File {
            headline: format!("{} holds no results: no {SUMMARY} in it", folder.display()),
            help: Some("`sprayside solve CASE.toml` makes a folder of results".to_owned()),
        },
        _ => Failure::file("read", &path, &error),
    })?;
    serde_json::from_str(&text).map_err(|error| Failure::File {
        headline: format!("{} is not a summary of results: {error}", path.display()),
        help: Some("solve the case again".to_owned()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_difference_counts_beyond_both_uncertainties() {
        let differs = |b: f64| {
            ComparisonRow::new("D", "junction", [Some(70.0), Some(0.1)], [Some(b), Some(0.2)])
                .differs
        };
        assert_eq!(
            [differs(70.29), differs(69.71), differs(70.31), differs(69.6)],
            ["no", "no", "yes", "yes"]
        );
        let unknown = ComparisonRow::new("D", "junction", [Some(70.0), None], [None, None]);
        assert_eq!(unknown.differs, "unknown");
    }
}
