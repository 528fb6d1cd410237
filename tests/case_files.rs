//! Whole case files through the reader: every demo reads clean, every bad case is told what is
//! wrong with it.
//!
//! A bad case states the codes it expects in its first line; the full text stands beside it in a
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

#[test]
fn every_bad_case_gets_the_findings_it_expects() {
    let update = std::env::var_os("UPDATE_EXPECT").is_some_and(|value| value == "1");
    let cases = files("tests/bad_cases", "toml");
    assert!(cases.len() >= 60, "only {} bad cases", cases.len());
    let mut faults = String::new();
    for path in cases {
        let name = path.file_stem().expect("a name").to_string_lossy().into_owned();
        let text = fs::read_to_string(&path).expect("a readable case");
        let expected_codes = text
            .lines()
            .next()
            .and_then(|line| line.strip_prefix("# expects "))
            .unwrap_or_else(|| panic!("{name}: the first line must be `# expects CODES`"));
        let findings = match read(&path) {
            Ok(_) => {
                faults += &format!("{name}: read without an error\n");
                continue;
            }
            Err(findings) => findings,
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

/// The catalogue is complete: every error code has a bad case that shows it.
#[test]
fn every_error_code_has_a_bad_case() {
    let mut shown = String::new();
    for path in files("tests/bad_cases", "toml") {
        let text = fs::read_to_string(&path).expect("a readable case");
        shown += text.lines().next().unwrap_or_default();
        shown += " ";
    }
    for code in case::codes::ALL.iter().filter(|code| code.id.starts_with('E')) {
        assert!(shown.contains(code.id), "{} ({}) is shown by no bad case", code.id, code.title);
    }
}
