//! `compare` from outside.

use serde_json::Value;

use crate::harness::{CASE, Picture, Room};
use crate::sensors::with_sensors;

#[test]
fn the_same_case_solved_twice_is_the_same() {
    let room = Room::with_case();
    room.run(&["solve", "case.toml", "-q", "-o", "a"]).ends_with(0);
    room.run(&["solve", "case.toml", "-q", "-o", "b"]).ends_with(0);
    room.run(&["compare", "a", "b"]).ends_with(0).prints("SAME").prints("the same case");
}

#[test]
fn one_for_a_junction_that_differs_beyond_its_uncertainty() {
    let room = Room::with("a.toml", CASE);
    room.write("b.toml", &CASE.replace("power_W = 18.0", "power_W = 6.0"));
    room.run(&["solve", "a.toml", "-q"]).ends_with(0);
    room.run(&["solve", "b.toml", "-q"]).ends_with(0);
    let run = room.run(&["compare", "a.out", "b.out", "--json", "-o", "diff"]).ends_with(1);
    let json: Value = serde_json::from_str(&run.stdout).expect("JSON");
    assert_eq!(json["rows"][0]["differs"], "yes");
    assert_eq!(json["rows"][0]["difference_of_power_W"].as_f64(), Some(-12.0));
    let difference = json["rows"][0]["difference_K"].as_f64().expect("a number");
    assert!(difference < -5.0, "{difference}");
    assert!(room.read("diff/compare.csv").starts_with("name,kind,a_C,b_C,difference_K,"));
    room.run(&["compare", "a.out", "b.out"]).ends_with(1).prints("DIFFERENT").prints("D0");
    // A second run may replace what the first has made.
    room.run(&["compare", "a.out", "b.out", "-q", "-o", "diff"]).ends_with(1);
}

#[test]
fn readings_are_held_against_their_sensors() {
    let room = Room::with("case.toml", &with_sensors());
    room.run(&["solve", "case.toml", "-q"]).ends_with(0);
    let mut reader = csv::Reader::from_path(room.join("case.out/sensors.csv")).expect("a table");
    let row = reader.records().next().expect("a row").expect("a row");
    let predicted: f64 = row[6].parse().expect("a number");
    room.write("near.csv", &format!("sensor,reading_C\ndiode,{predicted}\n"));
    room.write("far.csv", &format!("sensor,reading_C\ndiode,{}\n", predicted + 20.0));
    room.run(&["compare", "case.out", "near.csv"]).ends_with(0).prints("Only in").prints("corner");
    room.run(&["compare", "case.out", "far.csv"]).ends_with(1).prints("+20");
}

#[test]
fn what_stands_on_one_side_only_is_no_agreement() {
    let room = Room::with("case.toml", &with_sensors());
    let plain = with_sensors();
    let plain = plain.split("[[sensor]]").next().expect("what stands before the sensors");
    room.write("plain.toml", plain);
    room.run(&["solve", "case.toml", "-q", "-o", "a"]).ends_with(0);
    room.run(&["solve", "plain.toml", "-q", "-o", "b"]).ends_with(0);
    room.run(&["compare", "a", "b"])
        .ends_with(1)
        .prints("DIFFERENT")
        .prints("both have")
        .prints("stand on one");
}

#[test]
fn what_cannot_be_compared_is_told() {
    let room = Room::with_case();
    room.run(&["solve", "case.toml", "-q"]).ends_with(0);
    room.write("readings.csv", "sensor,reading_C\nTC1,60\n");
    room.run(&["compare", "gone", "case.out"]).ends_with(4).complains_of("holds no results");
    room.run(&["compare", "case.out", "readings.csv"]).ends_with(2).complains_of("no sensors");
}

#[test]
fn fields_that_both_hold_are_mapped_and_what_is_missing_is_told() {
    let room = Room::with("a.toml", CASE);
    room.write("b.toml", &CASE.replace("power_W = 18.0", "power_W = 6.0"));
    // The same part on other cells.
    room.write(
        "c.toml",
        &CASE.replace("cell_mm = 1.0", "cell_mm = 0.6").replace("power_W = 18.0", "power_W = 6.0"),
    );
    room.write("d.toml", &CASE.replace("size_mm = [20.0, 16.0]", "size_mm = [24.0, 16.0]"));
    for case in ["a.toml", "b.toml", "c.toml", "d.toml"] {
        room.run(&["solve", case, "-q", "--save", "npy"]).ends_with(0);
    }
    let largest = |other: &str| -> (f64, Vec<f64>) {
        let run = room.run(&["compare", "a.out", other, "--json", "-o", "diff"]).ends_with(1);
        let json: Value = serde_json::from_str(&run.stdout).expect("JSON");
        let surface = &json["largest_in_fields"][0];
        assert_eq!(surface["field"], "surface_K");
        let at = surface["at_mm"].as_array().expect("a place");
        let at = at.iter().map(|v| v.as_f64().expect("mm")).collect();
        (surface["difference_K"].as_f64().expect("K"), at)
    };
    // Two thirds of the power less: under the die, where it was hottest.
    let (same_cells, at) = largest("b.out");
    assert!(same_cells < -15.0 && same_cells > -35.0, "{same_cells}");
    assert!((at[0] - 8.0).abs() <= 3.0 && (at[1] - 8.0).abs() <= 3.0, "{at:?}");
    let (other_cells, _) = largest("c.out");
    assert!((other_cells / same_cells - 1.0).abs() < 0.1, "{other_cells} {same_cells}");
    for picture in ["difference_surface.png", "difference_junction.png"] {
        let picture = Picture::read(&room.join(&format!("diff/{picture}"))).expect("a picture");
        assert!(picture.width > 700);
    }
    room.run(&["compare", "a.out", "b.out"]).ends_with(1).prints("-o DIR maps them");
    room.run(&["compare", "a.out", "a.out", "-o", "same"]).ends_with(0).prints("0 K in surface");
    room.run(&["compare", "a.out", "d.out"]).prints("A is 20 by 16 mm");
    room.run(&["solve", "b.toml", "-q"]).ends_with(0);
    room.run(&["compare", "a.out", "b.out"])
        .ends_with(1)
        .prints("b.out holds no fields")
        .prints("--save npy");
}
