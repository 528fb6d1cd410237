//! What helps a person: help, explanations, completions, manual pages, the sketch of `check`.

use crate::harness::{CASE, Room};

#[test]
fn help_teaches_with_examples_and_names_the_exit_codes() {
    let room = Room::new();
    let run = room.run(&["--help"]).ends_with(0).prints("Examples:").prints("Exit codes:");
    for command in ["new", "check", "solve", "coverage", "explain"] {
        assert!(run.stdout.contains(command), "{run}");
        room.run(&[command, "--help"]).ends_with(0).prints("Examples:");
    }
    room.run(&["--version"]).ends_with(0).prints(env!("CARGO_PKG_VERSION"));
}

#[test]
fn a_misspelt_command_gets_the_nearest_one() {
    let room = Room::new();
    room.run(&["cheque", "case.toml"]).ends_with(2).complains_of("check");
    room.run(&["coverge", "case.toml"]).ends_with(2).complains_of("coverage");
}

#[test]
fn every_code_that_is_shown_can_be_explained() {
    let room = Room::with("case.toml", &CASE.replace("power_W = 18.0", "power_W = -18.0"));
    let run = room.run(&["check", "case.toml"]).ends_with(2);
    let code = run
        .stderr
        .split_once("error[")
        .and_then(|(_, rest)| rest.split_once(']'))
        .map(|(code, _)| code.to_owned())
        .unwrap_or_else(|| panic!("no code in\n{run}"));
    room.run(&["explain", &code]).ends_with(0).prints(&code).prints("range");
    let list = room.run(&["explain"]).ends_with(0).prints(&code).prints("E001").prints("W");
    assert!(list.stdout.lines().count() > 40, "{list}");
    room.run(&["explain", "E999"]).ends_with(2).complains_of("E999");
}

#[test]
fn check_sketches_the_module() {
    let room = Room::with_case();
    let run = room.run(&["check", "case.toml"]).ends_with(0);
    let frame: Vec<&str> =
        run.stdout.lines().filter(|line| line.contains(['║', '╔', '╚'])).collect();
    assert!(frame.len() >= 8, "{run}");
    assert!(frame.iter().any(|line| line.contains("D0")), "{run}");
}

#[test]
fn completions_come_for_the_common_shells() {
    let room = Room::new();
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        room.run(&["completions", shell]).ends_with(0).prints("no-solve");
    }
    room.run(&["completions", "cmd"]).ends_with(2).complains_of("bash");
}

#[test]
fn manual_pages_are_written_into_a_folder_that_need_not_exist() {
    let room = Room::new();
    for _ in 0..2 {
        room.run(&["man", "share/man1"]).ends_with(0);
        assert!(room.read("share/man1/sprayside.1").contains("sprayside"));
        assert!(room.read("share/man1/sprayside-solve.1").contains("junctions.csv"));
    }
    room.write("taken", "a file");
    room.run(&["man", "taken"]).ends_with(4).complains_of("taken");
}
