//! What is written and printed: files, columns, names, numbers that agree with each other.

use serde_json::Value;

use crate::harness::{CASE, Picture, Room};

const JUNCTION_COLUMNS: &str = "die,type,power_W,mean_flux_W_cm2,junction_max_C,junction_mean_C,\
junction_min_C,uncertainty_K,limit_C,margin_K,hot_spot_x_mm,hot_spot_y_mm,heat_to_spray_W,\
wetted_pct,chf_margin,verdict,model_low_C,model_high_C,min_uncertainty_K,\
chf_margin_uncertainty,mean_uncertainty_K";

fn summary(room: &Room) -> Value {
    serde_json::from_str(&room.read("case.out/summary.json")).expect("JSON")
}

#[test]
fn solve_writes_every_file_and_lists_them() {
    let room = Room::with_case();
    room.run(&["solve", "case.toml"]).ends_with(0);
    let entries = room.entries("case.out");
    for name in [
        "heat_flux.png",
        "hot_spots.csv",
        "junctions.csv",
        "sheet-attach.png",
        "sheet-die.png",
        "sheet-plate-2.png",
        "sheet-plate.png",
        "summary.json",
        "temperature.png",
    ] {
        assert!(entries.contains(&name.to_owned()), "no {name} in {entries:?}");
    }
    let mut listed: Vec<String> = summary(&room)["files"]
        .as_array()
        .expect("files")
        .iter()
        .map(|name| name.as_str().expect("a name").to_owned())
        .collect();
    listed.sort();
    assert_eq!(listed, entries);
}

#[test]
fn junctions_have_their_columns_and_rows() {
    let heater = "[[heater]]\nname = \"strip\"\non = \"plate\"\nface = \"top\"\n\
                  rect_mm = [13.0, 2.0, 5.0, 4.0]\npower_W = 3.0\n[coolant]";
    let room = Room::with("case.toml", &CASE.replace("[coolant]", heater));
    room.run(&["solve", "case.toml"]).ends_with(0);
    let text = room.read("case.out/junctions.csv");
    assert_eq!(text.lines().next(), Some(JUNCTION_COLUMNS));
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.expect("a row")).collect();
    assert_eq!(rows.len(), 2);
    let cell = |row: usize, column: &str| {
        let index = JUNCTION_COLUMNS.split(',').position(|c| c == column).expect("a column");
        rows[row][index].to_owned()
    };
    let number = |row: usize, column: &str| cell(row, column).parse::<f64>().expect("a number");
    assert_eq!((cell(0, "die"), cell(0, "type")), ("D0".to_owned(), "square".to_owned()));
    assert_eq!((cell(1, "die"), cell(1, "type")), ("strip".to_owned(), "heater".to_owned()));
    // 18 W on 0.36 cm², 3 W on 0.2 cm².
    assert!((number(0, "mean_flux_W_cm2") - 50.0).abs() < 1e-9);
    assert!((number(1, "mean_flux_W_cm2") - 15.0).abs() < 1e-9);
    let margin = number(0, "limit_C") - number(0, "junction_max_C") - number(0, "uncertainty_K");
    assert!((number(0, "margin_K") - margin).abs() < 1e-8);
    assert!(number(0, "junction_min_C") <= number(0, "junction_mean_C"));
    assert!(number(0, "junction_mean_C") <= number(0, "junction_max_C"));
    // The hot spot lies on its die, centred at 8, 8 mm.
    assert!((number(0, "hot_spot_x_mm") - 8.0).abs() <= 3.0);
    // Without nozzles and without a limit these have no meaning.
    for column in ["wetted_pct", "chf_margin", "model_low_C", "model_high_C"] {
        assert_eq!(cell(0, column), "");
    }
    assert_eq!((cell(1, "limit_C"), cell(1, "margin_K")), (String::new(), String::new()));
    assert_eq!((cell(0, "verdict"), cell(1, "verdict")), ("pass".to_owned(), "none".to_owned()));
}

#[test]
fn hot_spots_are_listed_hottest_first() {
    let room = Room::with_case();
    room.run(&["solve", "case.toml"]).ends_with(0);
    let text = room.read("case.out/hot_spots.csv");
    assert_eq!(text.lines().next(), Some("die,junction_C,x_mm,y_mm,flux_W_cm2"));
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let temperatures: Vec<f64> =
        reader.records().map(|row| row.expect("a row")[1].parse().expect("a number")).collect();
    assert!(!temperatures.is_empty());
    assert!(temperatures.windows(2).all(|pair| pair[0] >= pair[1]));
}

#[test]
fn the_summary_has_its_names_and_agrees_with_the_table() {
    let room = Room::with_case();
    room.run(&["solve", "case.toml"]).ends_with(0);
    let summary = summary(&room);
    for name in [
        "tool_version",
        "case_sha256",
        "unknowns",
        "iterations",
        "residual_relative",
        "heat_in_W",
        "heat_to_spray_W",
        "heat_to_board_W",
        "heat_to_edges_W",
        "imbalance_relative",
        "hottest",
        "verdict",
        "wall_seconds",
        "junctions",
    ] {
        assert!(!summary[name].is_null(), "no {name}");
    }
    let number = |value: &Value| value.as_f64().expect("a number");
    assert_eq!(number(&summary["heat_in_W"]), 18.0);
    let out = number(&summary["heat_to_spray_W"])
        + number(&summary["heat_to_board_W"])
        + number(&summary["heat_to_edges_W"]);
    assert!((out - 18.0).abs() < 1e-6);
    assert!(number(&summary["residual_relative"]) <= 1e-9);
    assert_eq!(summary["hottest"]["die"], "D0");
    assert_eq!(summary["verdict"], "pass");
    // The table says the same, to the last digit, under the same names.
    let table = room.read("case.out/junctions.csv");
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let header = reader.headers().expect("a header").clone();
    let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.expect("a row")).collect();
    assert_eq!(summary["junctions"].as_array().map(Vec::len), Some(rows.len()));
    for (row, json) in rows.iter().zip(summary["junctions"].as_array().expect("rows")) {
        for (name, cell) in header.iter().zip(row) {
            match &json[name] {
                Value::Null => assert_eq!(cell, "", "{name}"),
                Value::String(text) => assert_eq!(cell, text, "{name}"),
                number => assert_eq!(cell, number.to_string(), "{name}"),
            }
        }
    }
}

#[test]
fn json_on_standard_output_is_the_summary() {
    let room = Room::with_case();
    let run = room.run(&["solve", "case.toml", "--json"]).ends_with(0);
    assert_eq!(run.stdout, room.read("case.out/summary.json"));
    assert!(run.stderr.is_empty(), "{run}");
}

#[test]
fn check_says_what_was_understood_and_writes_nothing() {
    let room = Room::with_case();
    let run = room.run(&["check", "case.toml"]).ends_with(0);
    for words in ["One die on ceramic", "3.2 cm²", "alumina-96", "50", "D0", "underfilled-bumps"] {
        assert!(run.stdout.contains(words), "no {words:?} in\n{run}");
    }
    let json = room.run(&["check", "case.toml", "--json"]).ends_with(0);
    let checked: Value = serde_json::from_str(&json.stdout).expect("JSON");
    assert_eq!(checked["power_W"], 18.0);
    assert_eq!(checked["die"][0]["name"], "D0");
    assert!(room.run(&["check", "case.toml", "--quiet"]).ends_with(0).stdout.is_empty());
    assert_eq!(room.entries("."), ["case.toml"]);
}

#[test]
fn quiet_prints_nothing_and_still_writes() {
    let room = Room::with_case();
    let run = room.run(&["solve", "case.toml", "--quiet"]).ends_with(0);
    assert!(run.stdout.is_empty() && run.stderr.is_empty(), "{run}");
    assert!(room.join("case.out/summary.json").is_file());
}

#[test]
fn a_case_comes_from_standard_input() {
    let room = Room::new();
    room.run_with_input(&["solve", "-", "-o", "deep/run"], CASE).ends_with(0);
    assert!(room.join("deep/run/junctions.csv").is_file());
    room.run_with_input(&["solve", "-"], CASE).ends_with(0);
    assert!(room.join("stdin.out/junctions.csv").is_file());
    room.run_with_input(&["check", "-"], "[module").ends_with(2).complains_of("standard input:1");
}

#[test]
fn colours_appear_only_when_asked_for() {
    let room = Room::with("case.toml", &CASE.replace("power_W = 18.0", "power_W = -18.0"));
    let escape = '\u{1b}';
    assert!(!room.run(&["check", "case.toml"]).ends_with(2).stderr.contains(escape));
    let always = room.run(&["check", "case.toml", "--color", "always"]).ends_with(2);
    assert!(always.stderr.contains(escape), "{always}");
    let never = room.run(&["--color", "never", "check", "case.toml"]).ends_with(2);
    assert!(!never.stderr.contains(escape), "{never}");
}

#[test]
fn maps_are_pictures_in_true_proportion() {
    let room = Room::with_case();
    room.run(&["solve", "case.toml"]).ends_with(0);
    for name in ["temperature.png", "heat_flux.png", "sheet-plate.png", "sheet-die.png"] {
        let picture = Picture::read(&room.join("case.out").join(name)).expect("a PNG");
        assert_eq!(picture.width, 1200, "{name}");
        // The frame of the map: the longest columns and rows of ink.
        let ink = |x: usize, y: usize| picture.at(x, y) == [38, 38, 46];
        let columns: Vec<usize> = (0..1090)
            .filter(|&x| (0..picture.height).filter(|&y| ink(x, y)).count() > 300)
            .collect();
        let rows: Vec<usize> = (0..picture.height)
            .filter(|&y| (0..1090).filter(|&x| ink(x, y)).count() > 300)
            .collect();
        assert_eq!((columns.len(), rows.len()), (2, 2), "{name}: {columns:?}, {rows:?}");
        let (width, height) = (columns[1] - columns[0] - 1, rows[1] - rows[0] - 1);
        let ratio = width as f64 / height as f64;
        assert!((ratio - 20.0 / 16.0).abs() < 0.002, "{name}: {width} x {height}");
        let software = format!("sprayside {}", env!("CARGO_PKG_VERSION"));
        assert!(picture.words.contains(&("Software".to_owned(), software)), "{:?}", picture.words);
    }
}

#[test]
fn the_map_is_hottest_on_the_die() {
    let room = Room::with_case();
    room.run(&["solve", "case.toml"]).ends_with(0);
    let picture = Picture::read(&room.join("case.out/temperature.png")).expect("a PNG");
    // 984 pixels for 20 mm from column 84; the map ends 66 rows above the lower rim.
    let scale = 984.0 / 20.0;
    let bottom = picture.height as f64 - 66.0;
    let brightness = |x_mm: f64, y_mm: f64| -> u32 {
        let pixel = picture.at((84.0 + x_mm * scale) as usize, (bottom - y_mm * scale) as usize);
        pixel.iter().map(|&c| u32::from(c)).sum()
    };
    // Off the ring and the name, inside the die; then outside, near and far.
    assert!(brightness(6.0, 6.0) > brightness(4.0, 4.0) + 30);
    assert!(brightness(4.0, 4.0) > brightness(19.0, 1.0));
}
