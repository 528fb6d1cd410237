//! The program refuses every bad case: exit code 2, every finding on standard error, nothing on
//! standard output, no panic and no output folder.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn bad_cases() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/bad_cases")
}

fn run(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sprayside"))
        .args(arguments)
        .current_dir(folder)
        .env("NO_COLOR", "1")
        .output()
        .expect("the program starts")
}

/// A copy of the bad cases in an empty folder, so that stray output would show.
fn copy_of_cases() -> (tempfile::TempDir, Vec<String>) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for inner in ["grids", "tables"] {
        fs::create_dir(folder.path().join(inner)).expect("a writable folder");
        for entry in fs::read_dir(bad_cases().join(inner)).expect("a folder of files") {
            let path = entry.expect("a readable entry").path();
            let copy = folder.path().join(inner).join(path.file_name().expect("a file"));
            fs::copy(&path, copy).expect("a copy");
        }
    }
    let mut names = Vec::new();
    for entry in fs::read_dir(bad_cases()).expect("a folder of cases") {
        let path = entry.expect("a readable entry").path();
        if path.extension().is_some_and(|extension| extension == "toml") {
            let name = path.file_name().expect("a file").to_string_lossy().into_owned();
            fs::copy(&path, folder.path().join(&name)).expect("a copy");
            names.push(name);
        }
    }
    names.sort();
    (folder, names)
}

/// What a run of the program on one bad case must show; the faults found.
fn faults_of(name: &str, output: &Output) -> Vec<String> {
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    let golden = fs::read_to_string(bad_cases().join(name).with_extension("txt"))
        .expect("the expected text stands beside the case");
    let mut faults = Vec::new();
    // Nothing but files that cannot be read: the fault may lie with the disk, not with the case.
    let codes: Vec<&str> = golden
        .lines()
        .filter_map(|line| Some(line.strip_prefix("error[")?.split_once(']')?.0))
        .collect();
    let wanted = if codes.iter().all(|code| *code == "E021") { 4 } else { 2 };
    if output.status.code() != Some(wanted) {
        faults.push(format!("exit code {:?}", output.status.code()));
    }
    if !output.stdout.is_empty() {
        faults.push("something on standard output".to_owned());
    }
    if told.contains("panicked") {
        faults.push("a panic".to_owned());
    }
    // Every headline with its code, as often as expected, and every help.
    for line in golden.lines() {
        let wanted = match line.strip_prefix("  help: ") {
            Some(help) => help.to_owned(),
            None if line.starts_with("error[") => line.to_owned(),
            None => continue,
        };
        let expected = golden.lines().filter(|other| other.trim_start() == line.trim_start());
        if told.matches(wanted.as_str()).count() < expected.count() {
            faults.push(format!("not told: {wanted}"));
        }
    }
    if !faults.is_empty() {
        faults.push(told);
    }
    faults
}

fn every_case_is_refused_by(command: &str) {
    let (folder, names) = copy_of_cases();
    assert!(names.len() >= 60, "only {} bad cases", names.len());
    let mut report = String::new();
    for name in &names {
        let faults = faults_of(name, &run(folder.path(), &[command, name]));
        if !faults.is_empty() {
            report += &format!("{name}: {}\n", faults.join("\n"));
        }
    }
    let mut left: Vec<String> = fs::read_dir(folder.path())
        .expect("a readable folder")
        .map(|entry| entry.expect("a readable entry").file_name().to_string_lossy().into_owned())
        .filter(|name| !["grids", "tables"].contains(&name.as_str()) && !names.contains(name))
        .collect();
    left.sort();
    assert!(report.is_empty() && left.is_empty(), "{report}left behind: {left:?}");
}

#[test]
fn solve_refuses_every_bad_case_and_writes_nothing() {
    every_case_is_refused_by("solve");
}

#[test]
fn check_refuses_every_bad_case_and_writes_nothing() {
    every_case_is_refused_by("check");
}
