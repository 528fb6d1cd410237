//! `coverage`: what the nozzles lay down, with temperatures and without.

use serde_json::Value;

use crate::harness::{CASE, Picture, Room};

/// The small case under one nozzle right over its die.
///
/// Half the cone's angle has the tangent 0.5 (the full angle is 2 atan 0.5 = 53.1301024 degrees),
/// so from 10 mm the circle has a radius of 5 mm and covers the die, whose half diagonal is
/// 4.2426 mm.
fn sprayed() -> String {
    let nozzles = "[spray]\nmodel = \"correlated\"\n\
        [nozzle_type.full]\ncone_deg = 53.13010235415598\norifice_mm = 0.40\n\
        flow_mL_s = 0.9\npressure_drop_kPa = 200.0\n\
        [[nozzle]]\nname = \"N1\"\ntype = \"full\"\nat_mm = [8.0, 8.0]\nstandoff_mm = 10.0\n";
    CASE.replace("[spray]\nmodel = \"prescribed\"\nhtc_W_m2K = 8000.0\n", nozzles).replace(
        "inlet_C = 25.0",
        "inlet_C = 25.0\nfluid = \"perfluorohexane\"\npressure_kPa = 101.325",
    )
}

fn rows(room: &Room, name: &str) -> Vec<std::collections::HashMap<String, String>> {
    let text = room.read(name);
    csv::Reader::from_reader(text.as_bytes()).deserialize().map(|row| row.expect("a row")).collect()
}

fn summary(room: &Room) -> Value {
    serde_json::from_str(&room.read("case.out/summary.json")).expect("JSON")
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// The share of a full cone's flow that lands on a square is the ratio of solid angles: that of
/// a rectangular pyramid, 4 asin(a²/(a² + h²)) for a square of half side a from the height h,
/// over that of the cone, 2 pi (1 - cos g). Textbook solid geometry.
#[test]
fn the_liquid_on_a_die_is_the_ratio_of_solid_angles() {
    let room = Room::with("case.toml", &sprayed());
    room.run(&["coverage", "case.toml", "--no-solve"]).ends_with(0).prints("WET");
    let (half, height) = (3.0_f64, 10.0_f64);
    let pyramid = 4.0 * (half * half / (half * half + height * height)).asin();
    let cone = 2.0 * std::f64::consts::PI * (1.0 - 0.5_f64.atan().cos());
    let rows = rows(&room, "case.out/coverage.csv");
    assert_eq!(rows.len(), 1);
    let cell = |name: &str| rows[0][name].parse::<f64>().expect("a number");
    assert!((cell("flow_mL_s") - 0.9 * pyramid / cone).abs() < 1e-6, "{}", cell("flow_mL_s"));
    assert!((cell("wetted_pct") - 100.0).abs() < 1e-9);
    let mean = cell("flow_mL_s") * 1e-6 / 36e-6;
    assert!((cell("volumetric_flux_mean_m3_m2s") / mean - 1.0).abs() < 1e-8);
    assert!(cell("uniformity") > 0.9 && cell("uniformity") < 1.0);
    for name in ["chf_margin", "heat_flux_mean_W_cm2", "mean_htc_W_m2K"] {
        assert_eq!(rows[0][name], "", "{name} has no meaning without a solve");
    }
    assert_eq!(
        room.entries("case.out"),
        ["coverage.csv", "dry_patches.csv", "report.html", "summary.json", "volumetric_flux.png"]
    );
    let budget = &summary(&room)["liquid_budget"];
    assert!((number(&budget["flow_mL_s"]) - 0.9).abs() < 1e-9);
    assert_eq!(number(&budget["heat_W"]), 18.0);
    assert!((number(&budget["landed_pct"]) - 100.0).abs() < 1e-6);
    assert!((number(&budget["on_die_pct"]) - 100.0 * pyramid / cone).abs() < 1e-4);
}

#[test]
fn a_nozzle_beside_its_die_leaves_a_dry_patch_on_the_other_side() {
    let room = Room::with(
        "case.toml",
        &sprayed().replace("at_mm = [8.0, 8.0]\nstandoff", "at_mm = [11.0, 8.0]\nstandoff"),
    );
    room.run(&["coverage", "case.toml", "--no-solve"]).ends_with(0).prints("DRY").prints("D0");
    let coverage = rows(&room, "case.out/coverage.csv");
    let wetted: f64 = coverage[0]["wetted_pct"].parse().expect("a number");
    let patches = rows(&room, "case.out/dry_patches.csv");
    let areas: f64 =
        patches.iter().map(|patch| patch["area_mm2"].parse::<f64>().expect("a number")).sum();
    assert!((areas / 36.0 - (1.0 - wetted / 100.0)).abs() < 0.005, "{areas} mm², {wetted} %");
    // The circle reaches from x = 6 to 16 mm: dry is the left third with its corners.
    assert!(patches[0]["x_mm"].parse::<f64>().expect("a number") < 6.5);
    let picture = Picture::read(&room.join("case.out/volumetric_flux.png")).expect("a picture");
    let scale = 984.0 / 20.0;
    let bottom = picture.height as f64 - 66.0;
    let at =
        |x: f64, y: f64| picture.at((84.0 + x * scale) as usize, (bottom - y * scale) as usize);
    let grey = [226, 226, 230];
    assert_eq!(at(5.5, 6.0), grey);
    assert_ne!(at(9.0, 6.0), grey);
    assert_eq!(at(18.0, 14.0), grey);
}

#[test]
fn coverage_with_temperatures_writes_all_that_solve_writes_and_agrees_with_it() {
    let room = Room::with("case.toml", &sprayed());
    room.run(&["solve", "case.toml", "-o", "solved"]).ends_with(0);
    let solved = room.entries("solved");
    for name in ["chf_margin.png", "htc.png", "volumetric_flux.png"] {
        assert!(solved.contains(&name.to_owned()), "no {name} in {solved:?}");
    }
    room.run(&["coverage", "case.toml"]).ends_with(0).prints("CHF margin").prints("from memory");
    let entries = room.entries("case.out");
    assert!(solved.iter().all(|name| entries.contains(name)), "{entries:?}");
    assert!(entries.contains(&"coverage.csv".to_owned()));
    assert_eq!(room.read("solved/junctions.csv"), room.read("case.out/junctions.csv"));
    let coverage = &rows(&room, "case.out/coverage.csv")[0];
    let junction = &rows(&room, "case.out/junctions.csv")[0];
    let close = |a: &str, b: &str| {
        let (a, b): (f64, f64) = (a.parse().expect("a number"), b.parse().expect("a number"));
        assert!((a / b - 1.0).abs() < 1e-6, "{a} and {b}");
    };
    close(&coverage["chf_margin"], &junction["chf_margin"]);
    close(&coverage["wetted_pct"], &junction["wetted_pct"]);
    // 0.36 cm² of die.
    let mean: f64 = coverage["heat_flux_mean_W_cm2"].parse().expect("a number");
    close(&format!("{}", mean * 0.36), &junction["heat_to_spray_W"]);
    let low: f64 = junction["model_low_C"].parse().expect("a number");
    let high: f64 = junction["model_high_C"].parse().expect("a number");
    let nominal: f64 = junction["junction_max_C"].parse().expect("a number");
    assert!(low < nominal && nominal < high);
    let summary = summary(&room);
    assert_eq!(summary["command"], "coverage");
    let budget = &summary["liquid_budget"];
    assert!((number(&budget["heat_W"]) - number(&summary["heat_to_spray_W"])).abs() < 1e-6);
    let shares = number(&budget["sensible_W"]) + number(&budget["latent_W"]);
    assert!((shares - number(&budget["heat_W"])).abs() < 1e-6);
    assert_eq!(summary["correlations"].as_array().map(Vec::len), Some(5));
    assert_eq!(summary["burnt_out"].as_array().map(Vec::len), Some(0));
}

#[test]
fn burn_out_ends_with_one_or_three_and_names_the_die() {
    // Ten times the power: 180 W on 0.36 cm² is beyond any spray of this liquid.
    let room = Room::with("case.toml", &sprayed().replace("power_W = 18.0", "power_W = 180.0"));
    let run = room.run(&["coverage", "case.toml"]);
    match run.code {
        Some(1) => {
            let run = run.prints("Burn-out on D0");
            assert!(number(&summary(&room)["burnt_out"][0]["chf_margin"]) < 1.0, "{run}");
        }
        _ => {
            run.ends_with(3).complains_of("D0").complains_of("critical heat flux");
            assert_eq!(room.entries("."), ["case.toml"]);
        }
    }
}

#[test]
fn a_stated_coefficient_has_no_coverage() {
    let room = Room::with_case();
    for arguments in [&["coverage", "case.toml"][..], &["coverage", "case.toml", "--no-solve"]] {
        room.run(arguments).ends_with(2).complains_of("nozzle");
    }
    assert_eq!(room.entries("."), ["case.toml"]);
}

#[test]
fn the_contact_field_and_its_plate_are_told() {
    let board = "contacts = 400\nconductance_per_contact_W_K = 0.001\nforce_per_contact_N = 0.3\n\
        flatness_mm = 0.1\n[backing_plate]\nmaterial = \"stainless-steel-304\"\n\
        thickness_mm = 4.0\nspan_mm = [30.0, 24.0]\nsupport = \"clamped\"";
    let room = Room::with("case.toml", &CASE.replace("htc_W_m2K = 100.0", board));
    room.run(&["solve", "case.toml"]).ends_with(0).prints("Contacts:").prints("plate formula");
    let field = &summary(&room)["contact_field"];
    assert!((number(&field["force_N"]) - 120.0).abs() < 1e-9);
    // 120 N on 320 mm², 0.4 W/K on the same.
    assert!((number(&field["mean_pressure_kPa"]) - 375.0).abs() < 1e-6);
    assert!((number(&field["htc_W_m2K"]) - 1250.0).abs() < 1e-6);
    assert!(number(&field["backing_plate"]["deflection_um"]) > 0.0);
}
