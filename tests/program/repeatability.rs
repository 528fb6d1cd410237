//! The same case gives the same bytes, whatever the number of threads.

use std::fs;
use std::path::Path;

use crate::harness::{CASE, Room};

/// Every file of a folder of results, the time it took blotted out.
pub fn contents(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut files: Vec<(String, Vec<u8>)> = fs::read_dir(folder)
        .expect("a folder")
        .map(|entry| {
            let entry = entry.expect("an entry");
            let name = entry.file_name().to_string_lossy().into_owned();
            let mut bytes = fs::read(entry.path()).expect("a file");
            if name == "summary.json" {
                let text = String::from_utf8(bytes).expect("UTF-8");
                let kept: Vec<&str> =
                    text.lines().filter(|line| !line.contains("_seconds\":")).collect();
                assert!(kept.len() < text.lines().count());
                bytes = kept.join("\n").into_bytes();
            }
            (name, bytes)
        })
        .collect();
    files.sort();
    files
}

/// Runs the case once for each number of threads and compares every file.
fn same_bytes(room: &Room, command: &[&str], threads: &[&str]) {
    let run = |folder: &str, threads: Option<&str>| {
        let mut arguments = command.to_vec();
        arguments.extend(["-q", "-o", folder]);
        arguments.extend(threads.iter().flat_map(|threads| ["--threads", threads]));
        let run = room.run(&arguments);
        assert!(matches!(run.code, Some(0 | 1)), "{run}");
        contents(&room.join(folder))
    };
    let first = run("first", None);
    assert!(first.len() >= 8);
    for (n, threads) in threads.iter().enumerate() {
        let other = run("other", Some(threads));
        assert_eq!(first.len(), other.len());
        for (a, b) in first.iter().zip(other) {
            assert!(*a == b, "{} differs in run {n}, with {threads} threads", b.0);
        }
    }
}

#[test]
fn two_runs_and_any_number_of_threads_give_the_same_bytes() {
    same_bytes(&Room::with_case(), &["solve", "case.toml"], &["2", "1", "8", "2"]);
}

/// Enough cells for several strips, so that threads do share the work.
#[test]
fn a_large_mesh_gives_the_same_bytes_with_any_number_of_threads() {
    let room = Room::with("case.toml", &CASE.replace("cell_mm = 1.0", "cell_mm = 0.2"));
    same_bytes(&room, &["solve", "case.toml"], &["1", "2", "8"]);
}

/// The same with boiling, refinement and a study of many points.
#[test]
#[ignore = "minutes: run by hand before a release"]
fn twenty_runs_give_the_same_bytes() {
    let threads = ["1", "2", "8", "3", "2"].repeat(4);
    let room = Room::with("case.toml", &CASE.replace("cell_mm = 1.0", "accuracy_K = 0.1"));
    same_bytes(&room, &["solve", "case.toml"], &threads);
    let sweep = ["sweep", "case.toml", "--vary", "coolant.inlet_C=20..30/5"];
    same_bytes(&room, &sweep, &threads);
    let demos = concat!(env!("CARGO_MANIFEST_DIR"), "/../demo-data/");
    for demo in ["converter/sprayed.toml", "test-vehicle/sprayed.toml"] {
        same_bytes(&room, &["solve", &format!("{demos}{demo}")], &threads);
    }
    same_bytes(&room, &["cycle", &format!("{demos}converter/pump-trip.toml")], &threads);
}
