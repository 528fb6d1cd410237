//! `arrange`: the pattern found is a case of its own, keeps every bound and is better.

use std::fs;
use std::process::Stdio;

use serde_json::Value;

use crate::harness::{CASE, Picture, Room};
use crate::repeatability::contents;

/// The small case with a power map in a folder, under two nozzles that stand aside, and bounds.
fn room() -> Room {
    let nozzles = "[spray]\nmodel = \"correlated\"\n\
        [nozzle_type.full]\ncone_deg = 50.0\norifice_mm = 0.30\n\
        flow_mL_s = 0.6\npressure_drop_kPa = 200.0\n\
        # left of the die\n\
        [[nozzle]]\nname = \"N1\"\ntype = \"full\"\nat_mm = [4.0, 6.0]\nstandoff_mm = 10.0\n\
        [[nozzle_group]]\ntype = \"full\"\nover = \"D0\"\noffsets_mm = [[3.5, 1.0]]\n\
        standoff_mm = 10.0 # as drawn\n\
        # the dry side\n";
    let bounds = "[arrange]\nleast_spacing_mm = 3.0\nstandoff_mm = [8.0, 11.0]\n\
        flow_factor = [0.7, 1.3]\n[[arrange.keep_out]]\nrect_mm = [7.5, 7.5, 1.0, 1.0]\n";
    let text = CASE
        .replace("[spray]\nmodel = \"prescribed\"\nhtc_W_m2K = 8000.0\n", nozzles)
        .replace(
            "inlet_C = 25.0",
            "inlet_C = 25.0\nfluid = \"perfluorohexane\"\npressure_kPa = 101.325",
        )
        .replace("power_W = 18.0", "power_W = 18.0\npower_map = \"maps/d0.csv\"");
    let room = Room::with("case.toml", &format!("{text}{bounds}"));
    fs::create_dir(room.join("maps")).expect("a folder");
    room.write("maps/d0.csv", "1,2\n2,3\n");
    room
}

fn summary(room: &Room, folder: &str) -> Value {
    serde_json::from_str(&room.read(&format!("{folder}/summary.json"))).expect("JSON")
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

#[test]
fn the_pattern_found_solves_to_what_was_promised_and_keeps_its_bounds() {
    let room = room();
    room.run(&["arrange", "case.toml"]).ends_with(0).prints("hottest junction falls by");
    let told = summary(&room, "case.out");
    assert_eq!(told["improved"], true);
    let (before, after) =
        (number(&told["before"]["hottest_C"]), number(&told["after"]["hottest_C"]));
    assert!(after < before - 3.0, "{before} to {after} °C");
    // The new case stands alone: its map lies beside it.
    room.run(&["solve", "case.out/arranged.toml", "-o", "again"]).ends_with(0);
    let again = summary(&room, "again");
    assert!((number(&again["hottest"]["junction_max_C"]) - after).abs() < 1e-6);
    room.run(&["solve", "case.toml", "-o", "present", "-q"]);
    let present = summary(&room, "present");
    assert!((number(&present["hottest"]["junction_max_C"]) - before).abs() < 1e-6);
    // Bounds, from the file that a person would look at.
    let text = room.read("case.out/nozzles.csv");
    let rows: Vec<std::collections::HashMap<String, String>> =
        csv::Reader::from_reader(text.as_bytes())
            .deserialize()
            .map(|r| r.expect("a row"))
            .collect();
    assert_eq!(rows.len(), 2);
    let cell = |k: usize, name: &str| rows[k][name].parse::<f64>().expect("a number");
    for k in 0..2 {
        let (x, y) = (cell(k, "x_mm"), cell(k, "y_mm"));
        assert!((0.0..=20.0).contains(&x) && (0.0..=16.0).contains(&y));
        let inside = 7.5 < x && x < 8.5 && 7.5 < y && y < 8.5;
        assert!(!inside, "a nozzle stands in the keep-out at {x}; {y}");
        assert!((8.0..=11.0).contains(&cell(k, "standoff_mm")));
        assert!((0.42..=0.78).contains(&cell(k, "flow_mL_s")));
    }
    assert!(cell(0, "flow_mL_s") + cell(1, "flow_mL_s") <= 1.2 + 1e-9);
    let apart = (cell(0, "x_mm") - cell(1, "x_mm")).hypot(cell(0, "y_mm") - cell(1, "y_mm"));
    assert!(apart >= 3.0, "{apart} mm");
    // What was not a nozzle stays as it was written.
    let case = room.read("case.out/arranged.toml");
    assert!(case.contains("# left of the die\n") && case.contains("# the dry side\n[board]"));
    assert!(!case.contains("nozzle_group") && case.contains("name = \"D0-1\""));
    for name in ["before_after.png", "trade_off.png"] {
        assert!(
            !Picture::read(&room.join(&format!("case.out/{name}"))).expect(name).words.is_empty()
        );
    }
    // More liquid is never hotter on the trade-off curve, but for what a search leaves.
    let points = told["trade_off"].as_array().expect("points");
    assert!(points.len() >= 3, "{points:?}");
    for pair in points.windows(2) {
        assert!(number(&pair[0]["flow_mL_s"]) < number(&pair[1]["flow_mL_s"]));
        assert!(number(&pair[1]["hottest_C"]) < number(&pair[0]["hottest_C"]) + 0.3);
    }
}

#[test]
fn one_and_two_threads_write_the_same_bytes() {
    let room = room();
    for threads in ["1", "2"] {
        room.run(&["arrange", "case.toml", "-o", threads, "--threads", threads, "--steps", "4"])
            .ends_with(0);
    }
    let mut compared = 0;
    for name in room.entries("1") {
        let [one, two] = ["1", "2"]
            .map(|folder| fs::read(room.join(&format!("{folder}/{name}"))).expect("a file"));
        if name == "summary.json" {
            continue;
        }
        assert!(one == two, "{name} differs");
        compared += 1;
    }
    assert!(compared >= 7, "only {compared} files");
}

#[test]
fn a_case_without_nozzles_has_nothing_to_arrange() {
    let room = Room::with_case();
    room.run(&["arrange", "case.toml"]).ends_with(2).complains_of("no nozzles to arrange");
    assert!(!room.join("case.out").exists());
}

#[test]
fn bounds_that_no_pattern_can_keep_are_said_to_be_so() {
    let room = room();
    let text = room.read("case.toml").replace(
        "least_spacing_mm = 3.0",
        "least_spacing_mm = 9.0\nregion_mm = [6.0, 6.0, 4.0, 4.0]",
    );
    room.write("case.toml", &text);
    room.run(&["arrange", "case.toml"]).ends_with(3).complains_of("keeps every bound");
    assert!(!room.join("case.out").exists());
}

/// Killed once the first start is finished: the next run takes it as it is and ends alike.
#[test]
fn a_killed_search_goes_on_with_the_starts_that_it_had_finished() {
    let room = room();
    let search = ["arrange", "case.toml", "--steps", "4", "--threads", "1"];
    room.run(&[&search[..], &["-o", "single"]].concat()).ends_with(0);
    let journal = room.join("case.out.arrange.journal");
    let finished =
        || fs::read_to_string(&journal).map_or(0, |text| text.matches("\nstart-").count());
    // A slow start may let a run end before it is seen: then once more.
    let killed = (0..20).any(|_| {
        let mut child = room
            .command(&search)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("a run");
        while finished() == 0 && child.try_wait().expect("ours").is_none() {
            std::thread::sleep(std::time::Duration::from_millis(1));
        }
        child.kill().expect("killed");
        child.wait().expect("an end");
        finished() > 0
    });
    assert!(killed, "no kill between the first start and the end");
    room.run(&search).ends_with(0).prints("of the search were finished before");
    assert!(!journal.exists());
    for (a, b) in contents(&room.join("single")).iter().zip(contents(&room.join("case.out"))) {
        assert!(*a == b, "{} differs", b.0);
    }
}
