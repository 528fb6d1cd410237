//! The same case gives the same bytes, whatever the number of threads.

use std::fs;
use std::path::Path;

use crate::harness::Room;

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

#[test]
fn two_runs_and_any_number_of_threads_give_the_same_bytes() {
    let room = Room::with_case();
    room.run(&["solve", "case.toml", "-o", "first"]).ends_with(0);
    let first = contents(&room.join("first"));
    assert!(first.len() >= 8);
    for (folder, threads) in
        [("again", None), ("one", Some("1")), ("two", Some("2")), ("eight", Some("8"))]
    {
        let mut arguments = vec!["solve", "case.toml", "-o", folder];
        if let Some(threads) = threads {
            arguments.extend(["--threads", threads]);
        }
        room.run(&arguments).ends_with(0);
        for (a, b) in first.iter().zip(contents(&room.join(folder))) {
            assert!(*a == b, "{} of {folder} differs", b.0);
        }
    }
}
