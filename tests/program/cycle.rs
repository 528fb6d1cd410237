//! `cycle` from outside.

use serde_json::Value;

use crate::harness::{CASE, Picture, Room};
use crate::repeatability::contents;
use crate::sensors::with_sensors;

/// The small case with a profile.
fn with(cycle: &str) -> String {
    format!("{CASE}\n[cycle]\nperiod_s = 4.0\ncoarsening = 1\n{cycle}")
}

const SQUARE: &str = "[[cycle.power]]\nof = \"D0\"\ntime_s = [0.0, 1.5]\nfactor = [1.0, 0.0]\n";

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

#[test]
fn a_profile_becomes_a_history_a_summary_a_step_response_and_pictures() {
    let case = with(&format!("start = \"periodic\"\nsnapshots_s = [0.0, 1.5]\n{SQUARE}"));
    let room = Room::with("case.toml", &case);
    room.run(&["cycle", "case.toml"])
        .ends_with(0)
        .prints("PASS")
        .prints("Periodic:")
        .prints("Accuracy:");
    assert_eq!(
        room.entries("case.out"),
        [
            "cycle_summary.csv",
            "history.csv",
            "history.png",
            "report.html",
            "snapshot-1.png",
            "snapshot-2.png",
            "state.npz",
            "step_response.csv",
            "step_response.png",
            "summary.json"
        ]
    );
    let history = records(&room, "case.out/history.csv");
    assert_eq!(
        history[0].join(","),
        "time_s,power_W,inlet_C,coolant_factor,D0 junction_max_C,D0 junction_mean_C"
    );
    let (first, last) = (&history[1], &history[history.len() - 1]);
    assert_eq!((number(&first[0]), number(&last[0])), (0.0, 4.0));
    // Two sides of the jump.
    let jump: Vec<&Vec<String>> = history[1..].iter().filter(|r| number(&r[0]) == 1.5).collect();
    assert_eq!(jump.len(), 2);
    assert_eq!((number(&jump[0][1]), number(&jump[1][1])), (18.0, 0.0));
    let json = summary(&room, "case.out");
    assert_eq!(json["command"], "cycle");
    assert!(json["energy"]["imbalance_relative"].as_f64().expect("a number") < 1e-8);
    assert!(json["periodic"]["change_K"].as_f64().expect("K") < 1e-3);
    assert!(json["time_accuracy_reached_K"].as_f64().expect("K") <= 0.1);
    let rows = records(&room, "case.out/cycle_summary.csv");
    let row = |name: &str| {
        let column = rows[0].iter().position(|c| c == name).unwrap_or_else(|| panic!("{name}"));
        number(&rows[1][column])
    };
    assert_eq!(row("highest_at_s"), 1.5);
    assert_eq!(row("power_max_W"), 18.0);
    assert!((row("power_mean_W") - 18.0 * 1.5 / 4.0).abs() < 1e-9);
    assert!((row("highest_C") - row("lowest_C") - row("swing_K")).abs() < 1e-6);
    assert!(row("swing_K") > 5.0 && row("fastest_rise_K_s") > 5.0);
    let response = records(&room, "case.out/step_response.csv");
    assert_eq!(response[0].join(","), "time_s,D0 max_K_W,D0 mean_K_W");
    for picture in ["history.png", "step_response.png", "snapshot-2.png"] {
        let picture = Picture::read(&room.join(&format!("case.out/{picture}"))).expect("a picture");
        assert!(picture.width > 700);
    }
}

#[test]
fn a_step_response_ends_at_the_thermal_resistance() {
    let linear = with(SQUARE)
        .replace("material = \"silicon\"", "material = \"constant\"")
        .replace("material = \"alumina-96\"", "material = \"constant\"")
        + "[material.constant]\nconductivity_W_mK = 60.0\ndensity_kg_m3 = 3000.0\n\
           specific_heat_J_kgK = 800.0\n";
    let room = Room::with("case.toml", &linear);
    room.run(&["cycle", "case.toml", "-q"]).ends_with(0);
    let end = &summary(&room, "case.out")["step_responses"][0];
    room.run(&["resistance", "case.toml", "-q"]).ends_with(0);
    let steady = &summary(&room, "case.out")["resistance"]["max_K_W"][0][0];
    let (end, steady) =
        (end["final_max_K_W"].as_f64().expect("K/W"), steady.as_f64().expect("K/W"));
    assert!((end / steady - 1.0).abs() < 1e-6, "{end} {steady}");
}

#[test]
fn a_limit_that_is_broken_at_some_time_is_exit_code_1() {
    let hot = with("[[cycle.power]]\nof = \"square\"\ntime_s = [0.0, 2.0]\nfactor = [1.0, 6.0]\n");
    let room = Room::with("case.toml", &hot);
    room.run(&["cycle", "case.toml", "--no-step-response"]).ends_with(1).prints("FAIL");
    assert!(!room.join("case.out/step_response.csv").exists());
    let json = summary(&room, "case.out");
    assert_eq!(json["verdict"], "fail");
    // The steady state of the case itself keeps its limit.
    room.run(&["solve", "case.toml", "-q"]).ends_with(0);
}

#[test]
fn a_recorded_trace_is_the_same_as_the_profile_written_out() {
    let written = with(
        "[[cycle.power]]\nof = \"D0\"\nshape = \"ramps\"\ntime_s = [0.0, 1.0, 3.0]\n\
         power_W = [4.0, 18.0, 2.0]\n[[cycle.coolant]]\nshape = \"ramps\"\ntime_s = [0.0, 1.0, 3.0]\n\
         inlet_C = [25.0, 27.0, 24.0]\n",
    );
    let traced = with("trace = \"log.csv\"\n");
    let room = Room::with("written.toml", &written);
    room.write("traced.toml", &traced);
    room.write(
        "log.csv",
        "# a log\ntime_s,D0 power_W,coolant inlet_C\n0,4,25\n1,18,27\n\n3,2,24\n",
    );
    for case in ["written", "traced"] {
        let file = format!("{case}.toml");
        room.run(&["cycle", &file, "-q", "--no-step-response"]).ends_with(0);
    }
    assert_eq!(room.read("written.out/history.csv"), room.read("traced.out/history.csv"));
}

#[test]
fn sensors_are_read_at_every_time() {
    let case = format!("{}\n[cycle]\nperiod_s = 4.0\ncoarsening = 1\n{SQUARE}", with_sensors());
    let room = Room::with("case.toml", &case);
    let run = room.run(&["cycle", "case.toml", "-q", "--no-step-response"]);
    assert_eq!(run.code, Some(0), "{run}");
    room.run(&["solve", "case.toml", "-q", "-o", "solved"]).ends_with(0);
    let history = records(&room, "case.out/history.csv");
    let mut table = csv::Reader::from_path(room.join("solved/sensors.csv")).expect("a table");
    let names: Vec<String> =
        table.records().map(|r| format!("{} sensor_C", &r.expect("a record")[0])).collect();
    assert!(names.len() >= 3);
    assert_eq!(history[0][6..], names);
    // The run starts in the steady state of the case, on its mesh.
    let mut table = csv::Reader::from_path(room.join("solved/sensors.csv")).expect("a table");
    let column = table.headers().expect("headings").iter().position(|c| c == "predicted_C");
    for (record, started) in table.records().zip(&history[1][6..]) {
        let predicted = number(&record.expect("a record")[column.expect("a column")]);
        assert!((number(started) - predicted).abs() < 0.01, "{started} {predicted}");
    }
}

#[test]
fn a_case_without_a_profile_is_told_how_to_write_one() {
    let room = Room::with_case();
    room.run(&["cycle", "case.toml"])
        .ends_with(2)
        .complains_of("does not say what changes over time")
        .complains_of("period_s");
    assert!(!room.join("case.out").exists());
}

#[test]
fn a_run_over_time_gives_the_same_bytes_for_any_number_of_threads() {
    let room = Room::with("case.toml", &with(SQUARE));
    for threads in ["1", "2"] {
        room.run(&["cycle", "case.toml", "-q", "-o", threads, "--threads", threads]).ends_with(0);
    }
    assert_eq!(contents(&room.join("1")), contents(&room.join("2")));
}

#[test]
fn a_run_goes_on_where_another_has_ended() {
    let profile = |repeats: usize| {
        with(&format!("time_accuracy_K = 0.02\nrepeats = {repeats}\nsnapshots_s = [1.5]\n{SQUARE}"))
    };
    let room = Room::with("once.toml", &profile(1));
    room.write("twice.toml", &profile(2));
    let cycle = |arguments: &[&str]| {
        room.run(&[&["cycle", "-q", "--no-step-response"], arguments].concat()).ends_with(0);
    };
    cycle(&["once.toml", "--save-states"]);
    cycle(&["twice.toml"]);
    cycle(&["once.toml", "--from", "once.out", "-o", "second"]);
    let end = |folder: &str| {
        let history = records(&room, &format!("{folder}/history.csv"));
        number(&history[history.len() - 1][4])
    };
    assert!(
        (end("second") - end("twice.out")).abs() < 0.06,
        "{} {}",
        end("second"),
        end("twice.out")
    );
    // It begins cold, where the first period has ended, with the power that comes back.
    let begin = |folder: &str, time: &str| {
        let history = records(&room, &format!("{folder}/history.csv"));
        let row = history.iter().find(|row| row[0] == time && row[1] == "18");
        number(&row.expect("the time")[4])
    };
    assert!((begin("second", "0") - begin("twice.out", "4")).abs() < 0.06);
    assert!(begin("once.out", "0") - begin("second", "0") > 20.0);
    let json = summary(&room, "second");
    assert_eq!((&json["start"], &json["started_from"]), (&"previous".into(), &"once.out".into()));
    // A picture's state is that of its time.
    cycle(&["once.toml", "--from", "once.out/snapshot-1.npz", "-o", "third"]);
    let [before, after] =
        ["once.out", "third"].map(|f| records(&room, &format!("{f}/history.csv")));
    let at = before.iter().position(|row| row[0] == "1.5").expect("the time of the picture");
    let jump = 0.05 * number(&before[at][4]);
    assert!((number(&before[at][5]) - number(&after[1][5])).abs() < jump);
    // The steady state of a solve.
    room.run(&["solve", "once.toml", "-q", "--save", "npy", "-o", "solved"]).ends_with(0);
    cycle(&["once.toml", "--from", "solved", "-o", "fourth"]);
    let [solved, steady] =
        ["fourth", "once.out"].map(|f| number(&records(&room, &format!("{f}/history.csv"))[1][4]));
    assert!((solved - steady).abs() < 1e-5, "{solved} {steady}");

    room.write("moved.toml", &profile(1).replace("at_mm = [8.0, 8.0]", "at_mm = [9.0, 8.0]"));
    room.run(&["cycle", "moved.toml", "--from", "once.out"])
        .ends_with(2)
        .complains_of("cannot start from this state")
        .complains_of("die D0 stands elsewhere");
    room.run(&["solve", "once.toml", "-q", "-o", "bare"]).ends_with(0);
    room.run(&["cycle", "once.toml", "--from", "bare"])
        .ends_with(4)
        .complains_of("holds no state to start from")
        .complains_of("--save npy");
    room.run(&["cycle", "once.toml", "--from", "once.toml"])
        .ends_with(4)
        .complains_of("is not a saved state");
}
