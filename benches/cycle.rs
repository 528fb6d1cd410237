//! `cycle` from case file to results, as a user runs it: the demo that scans the sky, with about a
//! hundred steps in time a period.
//!
//! ```text
//! cargo bench -p sprayside --bench cycle [-- RUNS]
//! ```
//!
//! Medians of three runs unless another number is given. A step counts where it is accepted on the
//! mesh of the run; what the search for the state that comes back, the choice of the steps, the
//! measurement of their error, the step responses and the pictures take is in the wall time.

#![allow(clippy::print_stdout, reason = "a benchmark tells its figures")]

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

const DEMO: &str = "demo-data/correlator/scans.toml";
/// Accuracy in time with which the demo takes about a hundred steps, K.
const ACCURACY: &str = "time_accuracy_K = 0.06\n";

struct Run {
    wall: Duration,
    summary: serde_json::Value,
}

fn run(case: &Path, out: &Path, more: &[&str]) -> Run {
    let start = Instant::now();
    let status = Command::new(env!("CARGO_BIN_EXE_sprayside"))
        .arg("cycle")
        .arg(case)
        .arg("-o")
        .arg(out)
        .arg("-q")
        .args(more)
        .stderr(Stdio::null())
        .status()
        .expect("the program starts");
    assert!(status.code().is_some_and(|code| code <= 1), "{status}");
    let wall = start.elapsed();
    let summary = std::fs::read_to_string(out.join("summary.json")).expect("a summary");
    Run { wall, summary: serde_json::from_str(&summary).expect("JSON") }
}

fn main() {
    let runs = std::env::args().skip(1).find_map(|a| a.parse::<usize>().ok()).unwrap_or(3).max(1);
    let folder = tempfile::tempdir().expect("a folder for results");
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let demo = std::fs::read_to_string(root.join(DEMO)).expect("the demo");
    let map = root.join("demo-data/correlator/correlator_power.csv");
    std::fs::copy(map, folder.path().join("correlator_power.csv")).expect("the demo's map");
    let periodic = demo.replace("[cycle]\n", &format!("[cycle]\n{ACCURACY}"));
    let steady = periodic.replace("start = \"periodic\"", "start = \"steady\"");
    assert!(steady != periodic && periodic != demo, "the demo has changed");
    let write = |name: &str, text: &str| -> PathBuf {
        let path = folder.path().join(name);
        std::fs::write(&path, text).expect("the folder can be written");
        path
    };
    let (steady, periodic) = (write("steady.toml", &steady), write("periodic.toml", &periodic));
    let cases: [(&str, &Path, &[&str]); 3] = [
        ("from the steady state, no step responses", &steady, &["--no-step-response"]),
        ("the state that comes back, no step responses", &periodic, &["--no-step-response"]),
        ("the state that comes back, 14 step responses", &periodic, &[]),
    ];
    println!(
        "| run | unknowns | steps | periods run | iterations | wall s | s a step of the run |"
    );
    println!("| --- | ---: | ---: | ---: | ---: | ---: | ---: |");
    for (name, case, more) in cases {
        let mut all: Vec<Run> =
            (0..runs).map(|_| run(case, &folder.path().join("results"), more)).collect();
        all.sort_by_key(|run| run.wall);
        let middle = &all[runs / 2];
        let steps = middle.summary["steps"].as_f64().unwrap_or(f64::NAN);
        let periods = middle.summary["periodic"]["periods_run"].as_u64().unwrap_or(1);
        println!(
            "| {name} | {} | {steps} | {periods} | {} | {:.1} | {:.3} |",
            middle.summary["unknowns"],
            middle.summary["iterations"],
            middle.wall.as_secs_f64(),
            middle.wall.as_secs_f64() / (steps * periods as f64)
        );
    }
}
