//! `resistance`, `sensitivity` and `solve --convergence` from outside.

use serde_json::Value;

use crate::harness::{CASE, Picture, Room};

/// The small case with a second die and a heater; its cells are fixed, so that changed powers and
/// coefficients are solved on the same grid.
fn two_die() -> String {
    let second = r#"
[[die]]
name = "D1, spare"
type = "square"
at_mm = [15.5, 8.0]
power_W = 6.0
[[heater]]
name = "strip"
on = "plate"
face = "top"
rect_mm = [1.0, 1.0, 3.0, 2.0]
power_W = 1.0
[coolant]
"#;
    CASE.replacen("[coolant]\n", second, 1)
}

fn summary(room: &Room, folder: &str) -> Value {
    serde_json::from_str(&room.read(&format!("{folder}/summary.json"))).expect("JSON")
}

fn records(room: &Room, file: &str) -> Vec<Vec<String>> {
    let mut reader =
        csv::ReaderBuilder::new().has_headers(false).from_path(room.join(file)).expect("a file");
    reader
        .records()
        .map(|record| record.expect("a record").iter().map(str::to_owned).collect())
        .collect()
}

fn number(text: &str) -> f64 {
    text.parse().unwrap_or_else(|_| panic!("{text:?} is no number"))
}

/// Highest temperature of each source after a solve of `text`, °C.
fn hottest(text: &str) -> Vec<f64> {
    let room = Room::with("case.toml", text);
    let run = room.run(&["solve", "case.toml", "-q"]);
    assert!(matches!(run.code, Some(0 | 1)), "{run}");
    let rows = records(&room, "case.out/junctions.csv");
    rows[1..].iter().map(|row| number(&row[4])).collect()
}

#[test]
fn resistances_are_written_and_foretell_a_solve_with_other_powers() {
    let room = Room::with("case.toml", &two_die());
    room.run(&["resistance", "case.toml"])
        .ends_with(0)
        .prints("Superposition:")
        .prints("D1, spare");
    let rows = records(&room, "case.out/resistance_max.csv");
    assert_eq!(rows[0], ["junction", "D0", "D1, spare", "strip"]);
    assert_eq!(rows.len(), 4);
    let mean = records(&room, "case.out/resistance_mean.csv");
    for k in 1..4 {
        assert_eq!((&rows[k][0], &mean[k][0]), (&rows[0][k], &rows[0][k]));
    }
    // The strip is hottest toward D0, not in its own middle: only of the die is this sure.
    assert!(number(&rows[1][1]) > number(&mean[1][1]));
    let json = summary(&room, "case.out");
    assert_eq!(json["command"], "resistance");
    assert_eq!(json["resistance"]["linear"], false, "silicon follows temperature");
    let files = json["files"].as_array().expect("files");
    for name in ["resistance.png", "junctions.csv"] {
        assert!(files.iter().any(|file| file == name), "{files:?}");
    }
    let picture = Picture::read(&room.join("case.out/resistance.png")).expect("a picture");
    assert!(picture.words.iter().any(|(_, text)| text.contains("Thermal resistance")));
    let before = hottest(&two_die());
    let after = hottest(&two_die().replace("power_W = 6.0", "power_W = 8.0"));
    for (k, row) in rows[1..].iter().enumerate() {
        let foretold = 2.0 * number(&row[2]);
        let happened = after[k] - before[k];
        // A third more power on D1: silicon and ceramic follow temperature a little.
        assert!((foretold / happened - 1.0).abs() < 1e-2, "{row:?}: {foretold} {happened}");
    }
}

#[test]
fn a_linear_module_adds_up_exactly() {
    // Materials of one's own do not follow temperature; those of the library do.
    let linear = two_die()
        .replace("material = \"silicon\"", "material = \"constant\"")
        .replace("material = \"alumina-96\"", "material = \"constant\"")
        + "[material.constant]\nconductivity_W_mK = 60.0\n";
    let room = Room::with("case.toml", &linear);
    room.run(&["resistance", "case.toml", "-q"]).ends_with(0);
    let json = summary(&room, "case.out");
    let study = &json["resistance"];
    assert_eq!(study["linear"], true);
    assert!(study["check_error_K"].as_f64().expect("a number") < 1e-6, "{study}");
    assert!(study["asymmetry_relative"].as_f64().expect("a number") < 1e-7, "{study}");
    assert_eq!(study["cost"]["linear_systems"], 3);
    for (k, junction) in json["junctions"].as_array().expect("junctions").iter().enumerate() {
        let row = study["max_K_W"][k].as_array().expect("a row");
        let powers = study["power_W"].as_array().expect("powers");
        let heat: f64 = row
            .iter()
            .zip(powers)
            .map(|(r, p)| r.as_f64().expect("K/W") * p.as_f64().expect("W"))
            .sum();
        let sum = study["reference_max_C"][k].as_f64().expect("a temperature") + heat;
        assert!((sum - junction["junction_max_C"].as_f64().expect("°C")).abs() < 1e-6);
    }
}

#[test]
fn sensitivities_are_written_and_foretell_solves_of_changed_cases() {
    let case = two_die();
    let room = Room::with("case.toml", &case);
    room.run(&["sensitivity", "case.toml"]).ends_with(0).prints("What moves D0");
    let rows = records(&room, "case.out/sensitivity_max.csv");
    assert_eq!(rows[0], ["input", "of", "value", "unit", "step", "D0", "D1, spare", "strip"]);
    assert_eq!(rows.len(), records(&room, "case.out/sensitivity_mean.csv").len());
    let json = summary(&room, "case.out");
    assert_eq!(json["sensitivity"]["map_of"], "D0");
    assert_eq!(json["sensitivity"]["inputs"].as_array().expect("inputs").len(), rows.len() - 1);
    Picture::read(&room.join("case.out/cooling_gain.png")).expect("a picture");
    let row = |input: &str, of: &str| {
        rows.iter().find(|r| r[0] == input && r[1] == of).unwrap_or_else(|| panic!("{input} {of}"))
    };
    let before = hottest(&case);
    let compare = |found: &[String], from: &str, to: &str, steps: f64| {
        let changed = case.replace(from, to);
        assert_ne!(changed, case);
        for (k, after) in hottest(&changed).iter().enumerate() {
            let happened = (after - before[k]) / steps;
            let foretold = number(&found[5 + k]);
            let scale = happened.abs().max(1e-4);
            assert!((foretold - happened).abs() < 0.01 * scale, "{found:?}: {happened}");
        }
    };
    let power = row("power", "D0");
    assert_eq!(power[2..5], ["18", "W", "K per W"]);
    compare(power, "power_W = 18.0", "power_W = 18.1", 0.1);
    let spray = row("spray_coefficient", "everywhere");
    compare(spray, "htc_W_m2K = 8000.0", "htc_W_m2K = 8040.0", 0.05);
    let plate = row("layer_thickness", "plate");
    assert_eq!(plate[2..5], ["1", "mm", "K per 0.1 mm"]);
    compare(plate, "thickness_mm = 1.0", "thickness_mm = 1.0005", 0.005);
    compare(row("inlet_temperature", "coolant"), "inlet_C = 25.0", "inlet_C = 25.2", 0.2);
    let board = row("board_temperature", "board");
    compare(board, "temperature_C = 40.0", "temperature_C = 40.5", 0.5);
}

#[test]
fn a_junction_of_ones_choice_is_told_of_and_an_unknown_one_is_refused() {
    let room = Room::with("case.toml", &two_die());
    room.run(&["sensitivity", "case.toml", "--junction", "strip"])
        .ends_with(0)
        .prints("What moves strip");
    room.run(&["sensitivity", "case.toml", "--junction", "D7", "-o", "other"])
        .ends_with(2)
        .complains_of("there is no die or heater \"D7\"")
        .complains_of("D0, D1, spare, strip");
    assert!(!room.join("other").exists());
}

#[test]
fn convergence_is_written_when_asked_for() {
    let free = two_die().replace("cell_mm = 1.0", "accuracy_K = 0.5");
    let room = Room::with("case.toml", &free);
    room.run(&["solve", "case.toml", "-q"]).ends_with(0);
    assert!(!room.join("case.out/convergence.csv").exists());
    room.run(&["solve", "case.toml", "-q", "--convergence"]).ends_with(0);
    let rows = records(&room, "case.out/convergence.csv");
    assert_eq!(
        rows[0].join(","),
        "grid,unknowns,cells_x,cells_y,sheets,iterations,die,junction_max_C,uncertainty_K,\
         distance_K"
    );
    let json = summary(&room, "case.out");
    let grids = json["refinement"].as_array().expect("grids");
    assert_eq!(rows.len() - 1, 3 * grids.len());
    let last = &rows[rows.len() - 3..];
    for (row, junction) in last.iter().zip(json["junctions"].as_array().expect("junctions")) {
        assert_eq!(row[6], junction["die"].as_str().expect("a name"));
        let uncertainty = junction["uncertainty_K"].as_f64().expect("K");
        assert!((number(&row[8]) - uncertainty).abs() <= 1e-9 * uncertainty);
        // What is reported is extrapolated; the last grid cannot be far from it.
        assert!(number(&row[9]) < 0.5, "{row:?}");
    }
    let picture = Picture::read(&room.join("case.out/convergence.png")).expect("a picture");
    assert!(picture.width > 800);
}
