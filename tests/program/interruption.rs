//! Killed, locked out, or without room: old results stay whole.

#![allow(clippy::print_stderr, reason = "what was left out, and what a long run saw")]

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
    kill_often(&["solve", "case.toml"], 60);
}

/// `KILLS` and `KILL_SEED` say how many and which moments.
#[test]
#[ignore = "minutes: run by hand before a release"]
fn two_hundred_kills_of_a_solve_and_of_studies_leave_whole_results() {
    let kills = std::env::var("KILLS").ok().and_then(|text| text.parse().ok()).unwrap_or(200);
    kill_often(&["solve", "case.toml"], kills);
    kill_often(&["resistance", "case.toml"], kills);
    kill_often(&["sweep", "case.toml", "--vary", "coolant.inlet_C=20..30/12"], kills);
}

/// Moments between 0 and 1, the same for the same seed: the golden ratio's multiples fill any
/// interval evenly without a step of their own.
fn moments(count: usize) -> impl Iterator<Item = f64> {
    let seed: f64 =
        std::env::var("KILL_SEED").ok().and_then(|text| text.parse().ok()).unwrap_or(0.37);
    (0..count).map(move |n| (seed + 0.618_033_988_749_895 * n as f64).fract())
}

/// Kills a command `tries` times, from its first moment to past its end; what stands under the
/// name of the results is whole after each, and the last run, let alone, writes what a run in an
/// empty folder writes.
fn kill_often(arguments: &[&str], tries: usize) {
    let room = Room::with_case();
    let started = Instant::now();
    room.run(arguments).ends_with(0);
    let whole_run = started.elapsed();
    room.write("case.toml", &CASE.replace("power_W = 18.0", "power_W = 19.0"));
    let (mut old, mut new) = (0, 0);
    for (n, moment) in moments(tries).enumerate() {
        let mut child = room
            .command(arguments)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("a run");
        // Every other kill near the end, where results change places.
        let share = if n % 2 == 0 { 1.2 * moment } else { 0.8 + 0.4 * moment };
        thread::sleep(whole_run.mul_f64(share) + Duration::from_millis(1));
        child.kill().expect("killed");
        child.wait().expect("an end");
        if cfg!(target_os = "linux") || room.join("case.out").exists() {
            match whole_results(&room).unwrap_or_else(|why| panic!("kill {n}: {why}")) {
                18.0 => old += 1,
                19.0 => new += 1,
                other => panic!("results of {other} W"),
            }
        } else {
            // Killed between two renames: the next run brings the old ones back or replaces them.
            assert!(room.join(".case.out.previous/summary.json").is_file(), "kill {n}");
        }
        if new > 0 && n % 8 == 7 {
            // Old results again, or all later kills would find new ones.
            room.write("case.toml", CASE);
            let _ = fs::remove_file(room.join("case.out.sweep.journal"));
            room.run(arguments).ends_with(0);
            room.write("case.toml", &CASE.replace("power_W = 18.0", "power_W = 19.0"));
        }
    }
    assert!(old + new > tries / 2, "old {old}, new {new}");
    room.run(arguments).ends_with(0);
    assert_eq!(whole_results(&room), Ok(19.0));
    assert_eq!(room.entries("."), ["case.out", "case.toml"]);
    let undisturbed = Room::with("case.toml", &room.read("case.toml"));
    undisturbed.run(arguments).ends_with(0);
    let contents = |room: &Room| crate::repeatability::contents(&room.join("case.out"));
    for (a, b) in contents(&undisturbed).iter().zip(contents(&room)) {
        assert!(*a == b, "{} differs from an undisturbed run", b.0);
    }
    eprintln!("{}: {tries} kills, {old} left old results, {new} new ones", arguments[0]);
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

/// A disk of its own, too small for new results beside the old ones, then one that may only be
/// read: in a namespace of mounts, where the system lets a user have one.
#[test]
#[cfg(target_os = "linux")]
fn a_small_disk_and_a_read_only_one_keep_the_old_results() {
    let room = Room::with_case();
    room.run(&["solve", "case.toml"]).ends_with(0);
    let size: u64 = fs::read_dir(room.join("case.out"))
        .expect("results")
        .map(|entry| entry.expect("an entry").metadata().expect("a size").len().div_ceil(4096))
        .sum::<u64>()
        * 4;
    fs::create_dir(room.join("disk")).expect("a folder");
    let program = env!("CARGO_BIN_EXE_sprayside");
    let script = format!(
        "mount -t tmpfs -o size={}k none disk || exit 77
        cp -r case.toml case.out disk; cd disk
        sed -i 's/power_W = 18.0/power_W = 19.0/' case.toml
        '{program}' solve case.toml -q; echo \"full $?\"
        ls -A; cmp case.out/junctions.csv ../case.out/junctions.csv && echo same
        mount -o remount,ro . || exit 77
        '{program}' solve case.toml -q; echo \"readonly $?\"
        ls -A; cmp case.out/junctions.csv ../case.out/junctions.csv && echo same",
        size + size / 2
    );
    let output = std::process::Command::new("unshare")
        .args(["-rm", "sh", "-c", &script])
        .current_dir(room.path())
        .output();
    let output = match output {
        Ok(output) if output.status.code() != Some(77) && !output.stdout.is_empty() => output,
        other => {
            eprintln!("skipped: no namespace of mounts here: {other:?}");
            return;
        }
    };
    let told = String::from_utf8_lossy(&output.stdout).into_owned();
    let words = String::from_utf8_lossy(&output.stderr).into_owned();
    let expected = "full 4\ncase.out\ncase.toml\nsame\nreadonly 4\ncase.out\ncase.toml\nsame\n";
    assert_eq!(told, expected, "{words}");
    assert!(words.contains("no space left") && words.contains("read-only"), "{words}");
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
    room.run(&["solve", "case.toml"]).ends_with(4).complains_of("gone.csv");
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

/// The bit of a signal in a mask of `/proc/self/status`.
#[cfg(target_os = "linux")]
fn is_ignored(signal: u32) -> bool {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let mask = status.lines().find_map(|line| line.strip_prefix("SigIgn:"));
    let mask = mask.and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok());
    mask.is_some_and(|mask| mask >> (signal - 1) & 1 == 1)
}

/// Starts a command, interrupts it after a while, and gives exit code and what it complained of.
#[cfg(target_os = "linux")]
fn interrupted(room: &Room, arguments: &[&str], signal: &str, when: Duration) -> (i32, String) {
    let child = room
        .command(arguments)
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("a run");
    thread::sleep(when);
    let sent = std::process::Command::new("kill").args([signal, &child.id().to_string()]).status();
    assert!(sent.expect("kill").success(), "the run had ended before it was interrupted");
    let output = child.wait_with_output().expect("an end");
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    (output.status.code().unwrap_or(-1), told)
}

#[test]
#[cfg(target_os = "linux")]
fn an_interruption_leaves_nothing_behind_and_says_what_stands() {
    if is_ignored(2) {
        eprintln!("interruptions are ignored here: nothing tried");
        return;
    }
    let room = Room::with_case();
    room.run(&["solve", "case.toml"]).ends_with(0);
    // Long enough to be caught at work.
    let long =
        CASE.replace("cell_mm = 1.0", "cell_mm = 0.05").replace("power_W = 18.0", "power_W = 19.0");
    room.write("case.toml", &long);
    for signal in ["-INT", "-TERM"] {
        let solve = ["solve", "case.toml"];
        let (code, told) = interrupted(&room, &solve, signal, Duration::from_millis(150));
        assert_eq!(code, 130, "{told}");
        assert!(told.contains("no results were written or changed"), "{told}");
        assert_eq!(room.entries("."), ["case.out", "case.toml"]);
        assert_eq!(whole_results(&room), Ok(18.0));
    }
    let new = ["solve", "case.toml", "-o", "a/b/new"];
    interrupted(&room, &new, "-INT", Duration::from_millis(150));
    assert_eq!(
        room.entries("."),
        ["case.out", "case.toml"],
        "folders made for nothing are removed"
    );
}

#[test]
#[cfg(target_os = "linux")]
fn an_interrupted_study_says_where_it_goes_on() {
    if is_ignored(2) {
        eprintln!("interruptions are ignored here: nothing tried");
        return;
    }
    let room = Room::with_case();
    let study = ["sweep", "case.toml", "--vary", "coolant.inlet_C=20..30/4000"];
    let mut code = 0;
    // A slow machine has not begun the points yet: it gets longer and longer.
    for n in 1..=12 {
        let (ended, told) = interrupted(&room, &study, "-INT", Duration::from_millis(250 * n));
        code = ended;
        if told.contains("case.out.sweep.journal") {
            assert!(told.contains("goes on from there"), "{told}");
            break;
        }
    }
    assert_eq!(code, 130);
    assert_eq!(room.entries("."), ["case.out.sweep.journal", "case.toml"]);
}
