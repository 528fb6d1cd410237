//! The headline: a verdict that is good by the letter says what stands against it.

use serde_json::Value;

use crate::harness::{CASE, Room};

/// The small case under one nozzle right over its die, with another power.
fn sprayed(power_W: &str) -> String {
    let nozzles = "[spray]\nmodel = \"correlated\"\n\
        [nozzle_type.full]\ncone_deg = 53.13010235415598\norifice_mm = 0.40\n\
        flow_mL_s = 0.9\npressure_drop_kPa = 200.0\n\
        [[nozzle]]\nname = \"N1\"\ntype = \"full\"\nat_mm = [8.0, 8.0]\nstandoff_mm = 10.0\n";
    CASE.replace("[spray]\nmodel = \"prescribed\"\nhtc_W_m2K = 8000.0\n", nozzles)
        .replace(
            "inlet_C = 25.0",
            "inlet_C = 25.0\nfluid = \"perfluorohexane\"\npressure_kPa = 101.325",
        )
        .replace("power_W = 18.0", &format!("power_W = {power_W}"))
}

fn summary(room: &Room) -> Value {
    serde_json::from_str(&room.read("case.out/summary.json")).expect("JSON")
}

fn reasons(summary: &Value) -> Vec<String> {
    let list = summary["reservations"].as_array().expect("a list");
    list.iter().map(|r| r["reason"].as_str().expect("a word").to_owned()).collect()
}

#[test]
fn a_sound_module_passes_without_a_but() {
    let room = Room::with("case.toml", &sprayed("18.0"));
    let run = room.run(&["solve", "case.toml"]).ends_with(0).prints("PASS  No place burns out");
    let summary = summary(&room);
    assert!(reasons(&summary).is_empty(), "{run}");
    let uncertainty = summary["junctions"][0]["chf_margin_uncertainty"].as_f64().expect("a number");
    assert!(uncertainty > 0.0 && uncertainty < 1.0, "{uncertainty}");
    assert!(summary["junctions"][0]["model_high_C"].is_number());
}

#[test]
fn a_thin_margin_to_burn_out_shows_in_the_headline_with_its_place() {
    let room = Room::with("case.toml", &sprayed("45.0"));
    room.run(&["solve", "case.toml"])
        .ends_with(0)
        .prints("PASS, but  the margin to critical heat flux is thin on D0:")
        .prints("correlations' band D0 would burn out");
    let summary = summary(&room);
    assert_eq!(reasons(&summary), ["chf_margin", "model_band_burn_out"]);
    assert_eq!(summary["reservations"][0]["places"][0], "D0");
    assert_eq!(summary["verdict"], "pass");
    // What follows burn-out is not modelled: no upper end, and the table says so.
    assert!(summary["junctions"][0]["model_high_C"].is_null());
    assert!(summary["junctions"][0]["model_low_C"].is_number());
}

#[test]
fn a_limit_that_only_the_middle_of_the_band_keeps_shows_in_the_headline() {
    let text = sprayed("18.0").replace("limit_C = 90.0", "limit_C = 58.0");
    let room = Room::with("case.toml", &text);
    room.run(&["solve", "case.toml"]).ends_with(0).prints("PASS, but  at the unfavourable end");
    assert_eq!(reasons(&summary(&room)), ["model_band"]);
}

#[test]
fn a_burnt_out_module_fails_and_its_model_range_has_no_upper_end() {
    let room = Room::with("case.toml", &sprayed("60.0"));
    room.run(&["solve", "case.toml"]).ends_with(1).prints("FAIL  Burn-out on D0").prints("or more");
    let summary = summary(&room);
    let row = &summary["junctions"][0];
    assert!(row["model_high_C"].is_null());
    let low_C = row["model_low_C"].as_f64().expect("a number");
    assert!(low_C > 25.0 && low_C < row["junction_max_C"].as_f64().expect("a number"));
    let warnings = summary["warnings"].to_string();
    assert!(warnings.contains("the model range has no upper end on D0"), "{warnings}");
}

#[test]
fn a_module_without_power_does_not_simply_pass() {
    let room = Room::with("case.toml", &sprayed("0.0"));
    room.run(&["solve", "case.toml"]).ends_with(0).prints("PASS, but  no die or heater has any");
    assert_eq!(reasons(&summary(&room)), ["no_power"]);
}

#[test]
fn a_dry_die_shows_in_the_headline_and_as_a_warning() {
    let text =
        sprayed("4.0").replace("at_mm = [8.0, 8.0]\nstandoff", "at_mm = [18.0, 8.0]\nstandoff");
    let room = Room::with("case.toml", &text.replace("limit_C = 90.0", "limit_C = 499.0"));
    room.run(&["solve", "case.toml"])
        .ends_with(0)
        .prints("PASS, but  ")
        .prints("no drop lands on D0")
        .complains_of("W014");
    assert!(reasons(&summary(&room)).contains(&"dry".to_owned()));
}

#[test]
fn too_little_liquid_shows_in_the_headline() {
    let text = sprayed("18.0")
        .replace("model = \"correlated\"", "model = \"correlated\"\nexit_quality_max = 0.05");
    // Less flow through a smaller orifice: the liquid boils off.
    let text = text.replace("flow_mL_s = 0.9", "flow_mL_s = 0.12").replace("0.40", "0.14");
    let room = Room::with("case.toml", &text.replace("power_W = 18.0", "power_W = 12.0"));
    let run =
        room.run(&["solve", "case.toml"]).prints("exit quality of").prints("exit_quality_max");
    assert!(reasons(&summary(&room)).contains(&"exit_quality".to_owned()), "{run}");
}
