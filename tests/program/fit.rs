//! `fit` from outside.

use serde_json::Value;

use crate::harness::Room;
use crate::sensors::with_sensors;

/// What the sensors of a case should read, °C.
fn predicted(text: &str) -> Vec<(String, f64)> {
    let room = Room::with("case.toml", text);
    let run = room.run(&["solve", "case.toml", "-q"]);
    assert!(matches!(run.code, Some(0 | 1)), "{run}");
    let mut reader = csv::Reader::from_path(room.join("case.out/sensors.csv")).expect("a table");
    let rows = reader.records().map(|row| row.expect("a row"));
    rows.map(|row| (row[0].to_owned(), row[6].parse().expect("a number"))).collect()
}

fn readings(values: &[(String, f64)]) -> String {
    let rows: String = values.iter().map(|(name, value)| format!("{name},{value}\n")).collect();
    format!("sensor,reading_C\n{rows}")
}

fn summary(room: &Room) -> Value {
    serde_json::from_str(&room.read("case.out/summary.json")).expect("a summary")
}

#[test]
fn a_fit_recovers_the_coefficient_and_solve_reads_the_corrected_case() {
    let stated = with_sensors();
    let real = stated.replace("htc_W_m2K = 8000.0", "htc_W_m2K = 6800.0");
    let measured = predicted(&real);
    let room = Room::with("case.toml", &stated);
    room.write("readings.csv", &readings(&measured));
    room.run(&["fit", "case.toml", "readings.csv", "--input-uncertainty", "10"])
        .ends_with(0)
        .prints("AGREES")
        .prints("spray_coefficient")
        .prints("case-fitted.toml");
    let fit = &summary(&room)["fit"];
    let factor = fit["parameters"][0]["value"].as_f64().expect("a number");
    assert!((factor / 0.85 - 1.0).abs() < 1e-3, "{factor}");
    assert_eq!(fit["degrees_of_freedom"], 3);
    assert!(fit["sensors"][0]["u_input_K"].as_f64().expect("a number") > 0.0);
    // What it writes is a case, and reads as the readings do.
    let corrected = room.read("case-fitted.toml");
    for ((name, measured), (_, after)) in measured.iter().zip(predicted(&corrected)) {
        assert!((measured - after).abs() < 0.02, "{name}: {measured} {after}");
    }
    assert_eq!(room.read("case.toml"), stated);
    // Once more, from the corrected case: nothing is left to correct, and the factors multiply.
    room.write("second.toml", &corrected);
    room.run(&["fit", "second.toml", "readings.csv", "-o", "case.out"]).ends_with(0);
    let again = summary(&room)["fit"]["parameters"][0]["value"].as_f64().expect("a number");
    assert!((again - 1.0).abs() < 1e-3, "{again}");
    assert_eq!(room.read("second-fitted.toml").matches("[correction]").count(), 1);
    let files = room.entries("case.out");
    for name in ["fit.csv", "fit.png", "fit_sensors.csv", "junctions.csv", "sensors.csv"] {
        assert!(files.iter().any(|file| file == name), "{files:?}");
    }
}

#[test]
fn one_for_a_sensor_that_disagrees() {
    // A grid fine enough that its own error hides nothing.
    let stated = with_sensors().replace("cell_mm = 1.0", "accuracy_K = 0.3");
    let mut measured = predicted(&stated);
    measured[0].1 -= 9.0;
    let room = Room::with("case.toml", &stated);
    room.write("readings.csv", &readings(&measured));
    room.run(&["fit", "case.toml", "readings.csv"]).ends_with(1).prints("diode");
    assert_eq!(summary(&room)["fit"]["disagree"][0], "diode");
}

#[test]
fn what_cannot_be_fitted_is_refused_before_anything_is_written() {
    let room = Room::with("case.toml", &with_sensors());
    room.write("readings.csv", "sensor,reading_C\ndiode,60\n");
    room.write("other.csv", "sensor,reading_C\nTC9,60\n");
    room.write("thesis.toml", "title = \"mine\"\n");
    for (arguments, code, words) in [
        (&["fit", "case.toml", "other.csv"][..], 2, "the case has no sensor \"TC9\""),
        (&["fit", "case.toml", "gone.csv"], 4, "gone.csv"),
        (
            &[
                "fit",
                "case.toml",
                "readings.csv",
                "--parameters",
                "spray_coefficient,inlet_offset_K",
            ],
            2,
            "1 readings cannot determine 2 parameters",
        ),
        (&["fit", "-", "readings.csv"], 2, "fit needs the case as a file"),
        (&["fit", "case.toml", "readings.csv", "--bounds", "spray_coefficient=2:1"], 2, "below"),
        (&["fit", "case.toml", "readings.csv", "--corrected", "thesis.toml"], 4, "thesis.toml"),
        (&["fit", "case.toml", "readings.csv", "--corrected", "case.toml"], 4, "the case itself"),
    ] {
        room.run(arguments).ends_with(code).complains_of(words);
    }
    assert_eq!(room.entries("."), ["case.toml", "other.csv", "readings.csv", "thesis.toml"]);
}
