//! Each exit code, and the words that go with it.

use std::fs;
use std::process::Stdio;

use crate::harness::{CASE, Room};

#[test]
fn zero_when_every_limit_is_kept() {
    let room = Room::with_case();
    room.run(&["solve", "case.toml"]).ends_with(0).prints("PASS").prints("D0");
    assert_eq!(room.entries("."), ["case.out", "case.toml"]);
}

#[test]
fn one_when_a_limit_is_broken_and_the_results_are_written() {
    let room = Room::with("case.toml", &CASE.replace("limit_C = 90.0", "limit_C = 41.0"));
    room.run(&["solve", "case.toml"]).ends_with(1).prints("FAIL").prints("over its limit");
    assert!(room.read("case.out/junctions.csv").contains(",fail,"));
}

#[test]
fn a_limit_kept_only_within_the_uncertainty_is_broken_and_said_so() {
    let room = Room::with_case();
    room.run(&["solve", "case.toml"]).ends_with(0);
    let summary: serde_json::Value =
        serde_json::from_str(&room.read("case.out/summary.json")).expect("JSON");
    let row = &summary["junctions"][0];
    let number = |key: &str| row[key].as_f64().expect("a number");
    let between = number("junction_max_C") + 0.5 * number("uncertainty_K");
    room.write("close.toml", &CASE.replace("limit_C = 90.0", &format!("limit_C = {between}")));
    room.run(&["solve", "close.toml"]).ends_with(1).prints("only within the uncertainty");
}

#[test]
fn two_for_a_wrong_case_with_the_line_and_the_mend() {
    let room = Room::with("case.toml", &CASE.replace("power_W = 18.0", "powr_W = 18.0"));
    let run = room
        .run(&["solve", "case.toml"])
        .ends_with(2)
        .complains_of("powr_W")
        .complains_of("--> case.toml:21:1")
        .complains_of("power_W")
        .complains_of("nothing was solved or written");
    assert!(run.stdout.is_empty(), "{run}");
    assert_eq!(room.entries("."), ["case.toml"]);
}

#[test]
fn two_for_a_wrong_command_line() {
    let room = Room::with_case();
    room.run(&["solve"]).ends_with(2).complains_of("CASE.toml");
    room.run(&["solv", "case.toml"]).ends_with(2).complains_of("solve");
    room.run(&["solve", "case.toml", "--threads", "0"]).ends_with(2).complains_of("--threads");
    room.run(&["solve", "case.toml", "--colour"]).ends_with(2).complains_of("--color");
    room.run(&[]).ends_with(2).complains_of("Usage");
    assert_eq!(room.entries("."), ["case.toml"]);
}

#[test]
fn two_for_a_mesh_beyond_what_the_case_allows() {
    let text = CASE.replace("cell_mm = 1.0", "cell_mm = 0.05\nmax_cells = 20000");
    let room = Room::with("case.toml", &text);
    room.run(&["solve", "case.toml"])
        .ends_with(2)
        .complains_of("20\u{a0}000")
        .complains_of("max_cells");
    assert_eq!(room.entries("."), ["case.toml"]);
}

#[test]
fn four_for_a_case_that_is_not_there() {
    let room = Room::new();
    room.run(&["solve", "gone.toml"]).ends_with(4).complains_of("gone.toml");
    room.run(&["check", "gone.toml"]).ends_with(4).complains_of("sprayside new gone.toml");
    room.run(&["check", "."]).ends_with(4);
    assert!(room.entries(".").is_empty());
}

#[test]
fn four_for_a_folder_that_is_not_ours() {
    let room = Room::with_case();
    fs::create_dir(room.join("thesis")).expect("a folder");
    room.write("thesis/chapter.tex", "words");
    room.run(&["solve", "case.toml", "-o", "thesis"]).ends_with(4).complains_of("thesis");
    room.run(&["solve", "case.toml", "-o", "case.toml"]).ends_with(4).complains_of("not a folder");
    room.run(&["solve", "case.toml", "-o", "case.toml/x"]).ends_with(4);
    assert_eq!(room.read("thesis/chapter.tex"), "words");
    assert_eq!(room.entries("."), ["case.toml", "thesis"]);
    assert_eq!(room.read("case.toml"), CASE);
}

#[test]
fn new_writes_a_case_that_checks_and_never_overwrites() {
    let room = Room::new();
    room.run(&["new", "mine.toml"]).ends_with(0).prints("sprayside solve mine.toml");
    let text = room.read("mine.toml");
    room.run(&["check", "mine.toml"]).ends_with(0).prints("OK");
    room.write("mine.toml", "# changed");
    room.run(&["new", "mine.toml"]).ends_with(4).complains_of("left as it is");
    assert_eq!(room.read("mine.toml"), "# changed");
    let printed = room.run(&["new", "-"]).ends_with(0);
    assert_eq!(printed.stdout, text);
    room.run(&["new", "no/such/folder/mine.toml"]).ends_with(4);
}

#[test]
fn a_closed_pipe_is_no_error() {
    let room = Room::with_case();
    for arguments in [
        &["new", "-"][..],
        &["check", "case.toml"],
        &["solve", "case.toml"],
        &["solve", "case.toml", "--json"],
    ] {
        let mut child = room
            .command(arguments)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("a run");
        // Nobody reads.
        drop(child.stdout.take());
        let output = child.wait_with_output().expect("an end");
        assert_eq!(output.status.code(), Some(0), "{arguments:?}: {output:?}");
        assert!(output.stderr.is_empty(), "{arguments:?}: {output:?}");
    }
}

#[test]
#[cfg(target_os = "linux")]
fn a_full_disk_behind_standard_output_is_told() {
    let room = Room::with_case();
    let full = fs::OpenOptions::new().write(true).open("/dev/full").expect("/dev/full");
    let output = room.command(&["check", "case.toml"]).stdout(full).output().expect("a run");
    assert_eq!(output.status.code(), Some(4), "{output:?}");
    assert!(String::from_utf8_lossy(&output.stderr).contains("standard output"), "{output:?}");
}

#[test]
fn quiet_and_json_together_print_the_json_alone() {
    let room = Room::with_case();
    for arguments in [
        &["check", "case.toml", "--json", "--quiet"][..],
        &["solve", "case.toml", "--json", "-q"],
        &["compare", "case.out", "case.out", "--json", "-q"],
    ] {
        let run = room.run(arguments).ends_with(0);
        assert!(run.stderr.is_empty(), "{run}");
        serde_json::from_str::<serde_json::Value>(&run.stdout).expect("JSON and nothing else");
    }
}

#[test]
fn a_misspelt_case_is_told_its_neighbour() {
    let room = Room::with_case();
    room.run(&["solve", "csae.toml"]).ends_with(4).complains_of("did you mean case.toml?");
    room.run(&["solve", "other.toml"]).ends_with(4).complains_of("sprayside new other.toml");
}
