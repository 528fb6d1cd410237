//! Sensors from outside: predicted by `solve`.

use serde_json::Value;

use crate::harness::{CASE, Room};

/// The small case with a sensor of each place.
pub fn with_sensors() -> String {
    format!(
        "{CASE}{}",
        r#"
[[sensor]]
name = "diode"
die = "D0"
face = "junction"
limit_of_error_K = 0.4
[[sensor]]
name = "back"
die = "D0"
face = "back"
offset_mm = [1.0, 1.0]
type = "T-special"
placement_mm = 0.5
[[sensor]]
name = "corner"
on = "plate"
face = "top"
at_mm = [17.5, 13.5]
type = "K"
[[sensor]]
name = "under"
on = "plate"
face = "bottom"
at_mm = [8.0, 8.0]
type = "K"
"#
    )
}

#[test]
fn solve_predicts_every_sensor_and_keeps_the_two_errors_apart() {
    let room = Room::with("case.toml", &with_sensors());
    room.run(&["solve", "case.toml"]).ends_with(0).prints("What the sensors should read");
    let mut reader = csv::Reader::from_path(room.join("case.out/sensors.csv")).expect("a table");
    let header: Vec<String> =
        reader.headers().expect("a heading").iter().map(str::to_owned).collect();
    assert_eq!(
        header,
        [
            "sensor",
            "on",
            "face",
            "x_mm",
            "y_mm",
            "type",
            "predicted_C",
            "uncertainty_K",
            "limit_of_error_K",
            "placement_K"
        ]
    );
    let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.expect("a row")).collect();
    let names: Vec<&str> = rows.iter().map(|row| &row[0]).collect();
    assert_eq!(names, ["diode", "back", "corner", "under"]);
    let number = |row: usize, column: usize| rows[row][column].parse::<f64>().expect("a number");
    // Colder from the junction outward; the corner is hardly heated.
    assert!(number(0, 6) > number(1, 6) && number(0, 6) > number(3, 6));
    assert!(number(2, 6) < number(3, 6) && number(2, 6) > 25.0);
    assert_eq!([number(0, 8), number(1, 8), number(2, 8)], [0.4, 0.5, 2.2]);
    assert!(number(1, 9) > 0.0 && number(0, 9) == 0.0);
    assert!((0..4).all(|row| number(row, 7) > 0.0));
    let summary: Value =
        serde_json::from_str(&room.read("case.out/summary.json")).expect("a summary");
    assert_eq!(summary["sensors"][2]["predicted_C"].as_f64(), Some(number(2, 6)));
    // The diode sits in the middle of an evenly heated die: its hottest point.
    let hottest = summary["junctions"][0]["junction_max_C"].as_f64().expect("a number");
    let uncertainty = summary["junctions"][0]["uncertainty_K"].as_f64().expect("a number");
    assert!((number(0, 6) - hottest).abs() < uncertainty + number(0, 7), "{hottest}");
}

#[test]
fn a_case_without_sensors_has_no_table_of_them() {
    let room = Room::with_case();
    room.run(&["solve", "case.toml"]).ends_with(0);
    assert!(!room.join("case.out/sensors.csv").exists());
    assert!(!room.read("case.out/summary.json").contains("\"sensors\""));
}
