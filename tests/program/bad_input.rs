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
fn a_missing_grid_is_a_file_that_cannot_be_read() {
    let text = CASE.replace("htc_W_m2K = 8000.0", "map = \"gone.csv\"");
    let room = Room::with("case.toml", &text);
    room.run(&["solve", "case.toml"]).ends_with(4).complains_of("gone.csv");
}

#[test]
fn a_mesh_beyond_max_cells_is_told_with_its_size_its_line_and_what_fits() {
    let text = CASE.replace("cell_mm = 1.0", "cell_mm = 0.05\nmax_cells = 20000");
    let line = text.lines().position(|line| line.starts_with("max_cells")).expect("stated") + 1;
    let room = Room::with("case.toml", &text);
    let run = room.run(&["solve", "case.toml"]).ends_with(2);
    let run = run.complains_of(&format!("max_cells (case.toml, line {line}) allows 20\u{a0}000"));
    run.complains_of("fits; or raise max_cells").complains_of("GB of memory");
    assert_eq!(room.entries("."), ["case.toml"]);
    // What is said to fit does fit.
    let stderr = String::from_utf8_lossy(
        &room.command(&["solve", "case.toml"]).output().expect("a run").stderr,
    )
    .into_owned();
    let fits = stderr.split("cell_mm = ").nth(1).and_then(|rest| rest.split(' ').next());
    let finer = text.replace("cell_mm = 0.05", &format!("cell_mm = {}", fits.expect("a size")));
    Room::with("case.toml", &finer).run(&["solve", "case.toml"]).ends_with(0);
}

#[test]
fn cells_of_nanometres_are_counted_without_being_made() {
    let text = CASE.replace("cell_mm = 1.0", "cell_mm = 0.00001");
    let room = Room::with("case.toml", &text);
    let run = room.run(&["solve", "case.toml"]).ends_with(2);
    // Millions of lines along each axis, times the sheets: 10^13 and more.
    let stderr = run.stderr.clone();
    let unknowns =
        stderr.split("the mesh needs ").nth(1).and_then(|rest| rest.split(" unk").next());
    let groups = unknowns.expect("a count").split('\u{a0}').count();
    assert!(groups >= 5, "{stderr}");
    let run = run.complains_of("max_cells allows 4\u{a0}000\u{a0}000");
    run.complains_of("fits; or raise max_cells").complains_of("GB of memory");
}

#[test]
fn a_grid_with_decimal_commas_gets_the_hint() {
    let text = CASE.replace("htc_W_m2K = 8000.0", "map = \"htc.csv\"");
    let room = Room::with("case.toml", &text);
    room.write("htc.csv", "9000,5;8000,0\n7000,0;6000,0\n");
    room.run(&["check", "case.toml"]).ends_with(2).complains_of("write decimals with a point");
}

#[test]
fn a_coolant_is_explained_with_all_its_cautions() {
    let room = Room::new();
    room.run(&["explain", "perfluorohexane"])
        .ends_with(0)
        .prints("hydrogen fluoride")
        .prints("heavier than air");
    room.run(&["explain", "no-such-thing"]).ends_with(2).complains_of("perfluorohexane");
}
