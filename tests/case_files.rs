//! Whole case files through the reader: every demo reads clean, every bad case is told what is
//! wrong with it, every suspicious case what to look at.
//!
//! Such a case states the codes it expects in its first line; the full text stands beside it in a
//! `.txt` file. `UPDATE_EXPECT=1 cargo test` rewrites those: review the difference like code.

use std::fs;
use std::path::{Path, PathBuf};

use sprayside_solver::case::{self, Case, Diagnostic};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Reads a case as the program does: CSV files relative to its folder.
fn read(path: &Path) -> Result<Case, Vec<Diagnostic>> {
    let text = fs::read_to_string(path).expect("a readable case");
    let folder = path.parent().expect("a file in a folder").to_owned();
    let name = path.file_name().expect("a file").to_string_lossy();
    case::read(&text, &name, &|file| {
        fs::read_to_string(folder.join(file)).map_err(|_| "there is no such file".to_owned())
    })
}

fn files(folder: &str, extension: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![root().join(folder)];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).expect("a readable folder") {
            let path = entry.expect("a readable entry").path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|e| e == extension) {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

fn listed(findings: &[Diagnostic]) -> String {
    findings.iter().map(|finding| format!("{finding}\n")).collect()
}

#[test]
fn every_demo_reads_without_a_finding() {
    let demos = files("demo-data", "toml");
    assert!(demos.len() >= 5, "{demos:?}");
    for demo in demos {
        match read(&demo) {
            Ok(case) => assert!(case.warnings.is_empty(), "{}", listed(&case.warnings)),
            Err(findings) => panic!("{}:\n{}", demo.display(), listed(&findings)),
        }
    }
}

/// Reads every case of a folder and compares its findings with its first line and its `.txt`.
fn check_findings(
    folder: &str,
    fewest: usize,
    findings_of: impl Fn(&Path) -> Result<Vec<Diagnostic>, String>,
) {
    let update = std::env::var_os("UPDATE_EXPECT").is_some_and(|value| value == "1");
    let cases = files(folder, "toml");
    assert!(cases.len() >= fewest, "only {} cases in {folder}", cases.len());
    let mut faults = String::new();
    for path in cases {
        let name = path.file_stem().expect("a name").to_string_lossy().into_owned();
        let text = fs::read_to_string(&path).expect("a readable case");
        let expected_codes = text
            .lines()
            .next()
            .and_then(|line| line.strip_prefix("# expects "))
            .unwrap_or_else(|| panic!("{name}: the first line must be `# expects CODES`"));
        let findings = match findings_of(&path) {
            Ok(findings) => findings,
            Err(fault) => {
                faults += &format!("{name}: {fault}\n");
                continue;
            }
        };
        let codes: Vec<&str> = findings.iter().map(|finding| finding.code.id).collect();
        let told = listed(&findings);
        if codes.join(" ") != expected_codes {
            faults += &format!("{name}: expects {expected_codes}, got {}\n{told}", codes.join(" "));
        }
        let golden = path.with_extension("txt");
        if update {
            fs::write(&golden, &told).expect("a writable folder");
        } else if fs::read_to_string(&golden).ok().as_deref() != Some(told.as_str()) {
            faults += &format!("{name}: the text differs from {}:\n{told}", golden.display());
        }
    }
    assert!(faults.is_empty(), "{faults}");
}

#[test]
fn every_bad_case_gets_the_findings_it_expects() {
    check_findings("tests/bad_cases", 60, |path| match read(path) {
        Ok(_) => Err("read without an error".to_owned()),
        Err(findings) => Ok(findings),
    });
}

#[test]
fn every_suspicious_case_is_read_with_the_warnings_it_expects() {
    check_findings("tests/suspicious_cases", 15, |path| match read(path) {
        Ok(case) => Ok(case.warnings),
        Err(findings) => Err(format!("refused:\n{}", listed(&findings))),
    });
}

/// The catalogue is complete: every code has a case that shows it.
#[test]
fn every_code_has_a_case_that_shows_it() {
    let mut shown = String::new();
    for folder in ["tests/bad_cases", "tests/suspicious_cases"] {
        for path in files(folder, "toml") {
            let text = fs::read_to_string(&path).expect("a readable case");
            shown += text.lines().next().unwrap_or_default();
            shown += " ";
        }
    }
    for code in case::codes::ALL {
        assert!(shown.contains(code.id), "{} ({}) is shown by no case", code.id, code.title);
    }
}
