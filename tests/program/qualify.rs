//! `qualify` from outside.

use serde_json::Value;

use crate::harness::{CASE, Room};

const PLAN: &str = r#"
[qualification]
model = "swing"
field_life_years = 10.0
margin = 2.0
reliability = 0.90
confidence = 0.90
weibull_slope = 2.0
samples = 22
[[qualification.field]]
name = "on and off"
per_year = 300.0
low_C = 25.0
dwell_min = 60.0
[qualification.test]
low_C = 25.0
cycle_min = 20.0
dwell_min = 5.0
"#;

fn plan(room: &Room) -> Value {
    let summary: Value =
        serde_json::from_str(&room.read("case.out/summary.json")).expect("a summary");
    summary["qualification"].clone()
}

/// Fact of the trade (common practice, no source): a qualification of 6 000 cycles stands for about
/// 3 000 times on and off in the field. Equal swings and a margin of two say the same.
#[test]
fn six_thousand_cycles_stand_for_three_thousand_times_on_and_off() {
    let room = Room::with("case.toml", &format!("{CASE}{PLAN}"));
    room.run(&["qualify", "case.toml"])
        .ends_with(0)
        .prints("PLAN")
        .prints("stand for 3\u{a0}000 cycles in the field")
        .prints("does not cover");
    let plan = plan(&room);
    assert_eq!(plan["test_cycles"].as_f64(), Some(6000.0));
    assert_eq!(plan["field_cycles"].as_f64(), Some(3000.0));
    assert_eq!(
        (plan["parts"].as_u64(), plan["parts_counting_the_margin"].as_u64()),
        (Some(22), Some(6))
    );
    let days = plan["duration_days"].as_f64().expect("a number");
    assert!((days - 6000.0 * 20.0 / 1440.0).abs() < 1e-6);
    assert!(room.read("case.out/qualification.csv").starts_with("die,field_swing_K,test_swing_K,"));
}

/// What swings alike in the test and in the field asks for as many cycles whatever its power.
#[test]
fn no_die_is_blamed_for_a_length_that_all_ask_for() {
    let second =
        "[[die]]\nname = \"D1\"\ntype = \"square\"\nat_mm = [16.0, 8.0]\npower_W = 5.0\n[coolant]";
    let two = CASE.replace("[coolant]", second);
    let room = Room::with("case.toml", &format!("{two}{PLAN}"));
    room.run(&["qualify", "case.toml"]).ends_with(0).prints("All die ask for as many.");
    // A test that starts hotter swings less, most of all where there is little power.
    let warm =
        PLAN.replace("[qualification.test]\nlow_C = 25.0", "[qualification.test]\nlow_C = 28.0");
    let room = Room::with("case.toml", &format!("{two}{warm}"));
    room.run(&["qualify", "case.toml"]).ends_with(0).prints("D1 sets the length.");
}

#[test]
fn one_when_the_parts_at_hand_are_too_few_or_the_test_does_not_swing() {
    let few = format!("{CASE}{PLAN}").replace("samples = 22", "samples = 4");
    let room = Room::with("case.toml", &few);
    room.run(&["qualify", "case.toml"]).ends_with(1).prints("NOT ENOUGH");
    let still = format!("{CASE}{PLAN}")
        .replace("low_C = 25.0\ncycle_min", "low_C = 300.0\nhigh_C = 300.5\ncycle_min");
    let still = still.replace("low_C = 300.0\nhigh_C = 300.5", "low_C = 200.0");
    let room = Room::with("case.toml", &still);
    room.run(&["qualify", "case.toml"]).ends_with(1).prints("No number of these test cycles");
}

#[test]
fn a_history_is_counted_and_its_cycles_add_up() {
    let with_history = PLAN
        .replacen("low_C = 25.0\ndwell_min = 60.0", "history = \"run.csv\"\ndwell_min = 60.0", 1)
        .replace("low_C = 25.0\ncycle_min", "low_C = 25.0\nhigh_C = 75.0\ncycle_min");
    let room = Room::with("case.toml", &format!("{CASE}{with_history}"));
    // One swing of 50 K and within it one of 25 K.
    room.write(
        "run.csv",
        "time_s,D0 junction_max_C,D0 junction_mean_C\n0,25,25\n10,75,70\n20,50,45\n30,75,70\n40,25,25\n",
    );
    room.run(&["qualify", "case.toml"]).ends_with(0);
    let plan = plan(&room);
    assert_eq!(plan["field_cycles"].as_f64(), Some(6000.0));
    let expected = (2.0 * 3000.0 * (1.0 + 0.5f64.powf(1.9))).ceil();
    assert_eq!(plan["test_cycles"].as_f64(), Some(expected));
}

#[test]
fn a_case_without_a_qualification_is_refused() {
    let room = Room::with_case();
    room.run(&["qualify", "case.toml"]).ends_with(2).complains_of("[qualification]");
    assert_eq!(room.entries("."), ["case.toml"]);
}
