//! Killed, locked out, or without room: old results stay whole.

use std::fs;
use std::process::Stdio;
use std::thread;
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::harness::{CASE, Picture, Room};

/// Whether a folder holds one whole set of results; its power tells which.
fn whole_results(room: &Room) -> Result<f64, String> {
    let text = fs::read_to_string(room.join("case.out/summary.json"))
        .map_err(|error| error.to_string())?;
    let summary: Value = serde_json::from_str(&text).map_err(|error| error.to_string())?;
    let mut listed: Vec<&str> =
        summary["files"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
    listed.sort_unstable();
    let entries = room.entries("case.out");
    if listed != entries {
        return Err(format!("{entries:?} instead of {listed:?}"));
    }
    for name in entries.iter().filter(|name| name.ends_with(".png")) {
        Picture::read(&room.join("case.out").join(name))
            .map_err(|error| format!("{name}: {error}"))?;
    }
    let table =
        fs::read_to_string(room.join("case.out/junctions.csv")).map_err(|e| e.to_string())?;
    if table.lines().count() != 2 || !table.ends_with('\n') {
        return Err(format!("junctions.csv is {table:?}"));
    }
    summary["heat_in_W"].as_f64().ok_or_else(|| "no heat".to_owned())
}

#[test]
fn a_kill_at_any_moment_leaves_whole_results_old_or_new() {
    kill_often("solve", 60);
}

#[test]
#[ignore = "a minute: run by hand before a release"]
fn two_hundred_kills_of_a_solve_and_of_a_study_leave_whole_results() {
    kill_often("solve", 200);
    kill_often("resistance", 200);
    kill_often("sensitivity", 200);
}

/// Kills a command `tries` times, from its first moment to past its end.
fn kill_often(command: &str, tries: usize) {
    let room = Room::with_case();
    let started = Instant::now();
    room.run(&[command, "case.toml"]).ends_with(0);
    let whole_run = started.elapsed();
    room.write("case.toml", &CASE.replace("power_W = 18.0", "power_W = 19.0"));
    let (mut old, mut new) = (0, 0);
    for n in 0..tries {
        let mut child = room
            .command(&[command, "case.toml"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("a run");
        thread::sleep(whole_run.mul_f64(1.2 * n as f64 / tries as f64) + Duration::from_millis(1));
        child.kill().expect("killed");
        child.wait().expect("an end");
        if room.join("case.out").exists() {
            match whole_results(&room).unwrap_or_else(|why| panic!("kill {n}: {why}")) {
                18.0 => old += 1,
                19.0 => new += 1,
                other => panic!("results of {other} W"),
            }
        } else {
            // Killed between two renames: the next run brings the old ones back or replaces them.
            assert!(room.join(".case.out.previous/summary.json").is_file(), "kill {n}");
        }
    }
    assert!(old + new > tries / 2, "old {old}, new {new}");
    room.run(&[command, "case.toml"]).ends_with(0);
    assert_eq!(whole_results(&room), Ok(19.0));
    assert_eq!(room.entries("."), ["case.out", "case.toml"]);
}

#[test]
fn a_failed_run_keeps_the_results_that_are_there() {
    let room = Room::with_case();
    room.run(&["solve", "case.toml"]).ends_with(0);
    room.write("case.toml", &CASE.replace("cell_mm = 1.0", "cell_mm = 0.05\nmax_cells = 20000"));
    room.run(&["solve", "case.toml"]).ends_with(2);
    assert_eq!(whole_results(&room), Ok(18.0));
    room.write("case.toml", "not a case");
    room.run(&["solve", "case.toml"]).ends_with(2);
    assert_eq!(whole_results(&room), Ok(18.0));
    assert_eq!(room.entries("."), ["case.out", "case.toml"]);
}

/// A limit on the size of files stands in for a full disk: a write fails halfway.
#[test]
#[cfg(unix)]
fn a_full_disk_keeps_the_old_results_and_leaves_nothing_else() {
    let room = Room::with_case();
    room.run(&["solve", "case.toml"]).ends_with(0);
    room.write("case.toml", &CASE.replace("power_W = 18.0", "power_W = 19.0"));
    let program = env!("CARGO_BIN_EXE_sprayside");
    let script = format!("trap '' XFSZ; ulimit -f 16; exec '{program}' solve case.toml");
    let output = std::process::Command::new("bash")
        .args(["-c", &script])
        .current_dir(room.path())
        .output()
        .expect("a run");
    let words = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(4), "{words}");
    assert!(words.contains("cannot write") && words.contains("case.out"), "{words}");
    assert_eq!(whole_results(&room), Ok(18.0));
    assert_eq!(room.entries("."), ["case.out", "case.toml"]);
}

/// Even an administrator cannot write through a file that stands where a folder should.
#[test]
fn a_folder_that_cannot_be_made_ends_with_four_before_any_work() {
    let room = Room::with_case();
    room.write("taken", "a file");
    room.run(&["solve", "case.toml", "-o", "taken/results"]).ends_with(4).complains_of("taken");
    assert_eq!(room.read("taken"), "a file");
    assert_eq!(room.entries("."), ["case.toml", "taken"]);
}

#[test]
fn a_map_that_vanished_is_told_with_its_line_and_keeps_old_results() {
    let room = Room::with_case();
    room.run(&["solve", "case.toml"]).ends_with(0);
    room.write("case.toml", &CASE.replace("htc_W_m2K = 8000.0", "map = \"gone.csv\""));
    room.run(&["solve", "case.toml"]).ends_with(2).complains_of("gone.csv");
    assert_eq!(whole_results(&room), Ok(18.0));
}

#[test]
fn of_two_runs_on_one_folder_the_second_is_told_and_the_results_are_whole() {
    let room = Room::with("case.toml", &CASE.replace("cell_mm = 1.0", "cell_mm = 0.25"));
    let runs: Vec<_> = (0..4)
        .map(|_| {
            room.command(&["solve", "case.toml"])
                .stdout(Stdio::null())
                .stderr(Stdio::piped())
                .spawn()
                .expect("a run")
        })
        .collect();
    let mut done = 0;
    for run in runs {
        let output = run.wait_with_output().expect("an end");
        match output.status.code() {
            Some(0) => done += 1,
            Some(4) => {
                let words = String::from_utf8_lossy(&output.stderr).into_owned();
                assert!(words.contains("another run is writing to"), "{words}");
            }
            other => panic!("{other:?}: {}", String::from_utf8_lossy(&output.stderr)),
        }
    }
    assert!(done >= 1);
    assert_eq!(whole_results(&room), Ok(18.0));
    assert_eq!(room.entries("."), ["case.out", "case.toml"]);
}

#[test]
#[cfg(target_os = "linux")]
fn results_go_through_a_link_to_a_folder_and_the_link_stays() {
    let room = Room::with_case();
    fs::create_dir(room.join("disk")).expect("a folder");
    std::os::unix::fs::symlink("disk", room.join("case.out")).expect("a link");
    room.run(&["solve", "case.toml"]).ends_with(0);
    assert!(room.join("disk/summary.json").is_file());
    assert!(fs::symlink_metadata(room.join("case.out")).expect("there").is_symlink());
}
