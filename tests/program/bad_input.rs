//! Bad cases through the program: exit code 2, a message, no panic, no folder.

use std::fs;

use crate::harness::{CASE, Room};

#[test]
fn every_mistake_is_shown_at_once_under_its_own_line() {
    let text = CASE
        .replace("power_W = 18.0", "power_W = -18.0")
        .replace("material = \"silicon\"", "material = \"silicn\"")
        .replace("htc_W_m2K = 100.0", "htc_W_m2K = nan");
    let room = Room::with("case.toml", &text);
    let run = room.run(&["solve", "case.toml"]).ends_with(2);
    for words in ["-18.0", "silicn", "silicon", "nan", "3 mistakes"] {
        assert!(run.stderr.contains(words), "no {words:?} in\n{run}");
    }
    assert_eq!(room.entries("."), ["case.toml"]);
}

#[test]
fn what_is_not_text_is_refused() {
    let room = Room::new();
    fs::write(room.join("case.toml"), b"title = \"a\"\nb = \"\xff\xfe\"\n").expect("written");
    room.run(&["check", "case.toml"]).ends_with(2).complains_of("UTF-8").complains_of("line 2");
    fs::write(room.join("empty.toml"), b"").expect("written");
    room.run(&["check", "empty.toml"]).ends_with(2);
    assert_eq!(room.entries("."), ["case.toml", "empty.toml"]);
}

#[test]
fn a_missing_grid_is_a_mistake_of_the_case() {
    let text = CASE.replace("htc_W_m2K = 8000.0", "map = \"gone.csv\"");
    let room = Room::with("case.toml", &text);
    room.run(&["solve", "case.toml"]).ends_with(2).complains_of("gone.csv");
}
