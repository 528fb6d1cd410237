//! The program from case file to results, as a user runs it: wall time, peak memory, unknowns and
//! iterations of the demos with default settings, and of a plate with eight die on a stated mesh
//! of four sheets and about a million unknowns.
//!
//! ```text
//! cargo bench -p sprayside --bench main_job [-- RUNS]
//! ```
//!
//! Medians of five runs unless another number is given. Peak memory is read from `/proc` while
//! the program runs, so only on Linux.

#![allow(clippy::print_stdout, reason = "a benchmark tells its figures")]

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

mod watched;

use watched::{Run, run};

const DEMOS: [&str; 4] = [
    "demo-data/correlator/module.toml",
    "demo-data/correlator/sprayed.toml",
    "demo-data/converter/module.toml",
    "demo-data/antenna-panel/module.toml",
];

/// A plate of 100 mm with eight die, four sheets (two layers, attach, die), a stated mesh.
fn plate() -> String {
    let mut case = String::from(
        r#"title = "plate of a million unknowns"
[module]
size_mm = [100.0, 100.0]
[[module.layer]]
name = "core"
material = "core"
thickness_mm = 2.0
slices = 1
[[module.layer]]
name = "wiring"
material = "wiring"
thickness_mm = 0.5
slices = 1
[material.core]
conductivity_W_mK = 20.0
[material.wiring]
conductivity_W_mK = 60.0
[material.chip]
conductivity_W_mK = 120.0
[material.joint]
conductivity_W_mK = 2.0
[die_type.hot]
size_mm = [15.0, 15.0]
thickness_mm = 0.7
material = "chip"
active_face = "up"
attach = { material = "joint", thickness_mm = 0.1 }
[die_type.cool]
size_mm = [10.0, 14.0]
thickness_mm = 0.7
material = "chip"
active_face = "up"
attach = { material = "joint", thickness_mm = 0.1 }
[coolant]
fluid = "perfluorohexane"
inlet_C = 20.0
[spray]
model = "prescribed"
htc_W_m2K = 3000.0
[[spray.patch]]
over = "hot"
htc_W_m2K = 12000.0
[[spray.patch]]
over = "cool"
htc_W_m2K = 12000.0
[board]
temperature_C = 20.0
htc_W_m2K = 150.0
[mesh]
cell_mm = 0.15
"#,
    );
    for (a, b) in (0..4).flat_map(|a| (0..2).map(move |b| (a, b))) {
        let (kind, power_W) = if (a + b) % 2 == 0 { ("hot", 100.0) } else { ("cool", 40.0) };
        let _ = writeln!(
            case,
            "[[die]]\nname = \"D{a}{b}\"\ntype = \"{kind}\"\nat_mm = [{:?}, {:?}]\npower_W = {power_W:?}",
            12.5 + 25.0 * f64::from(a),
            30.0 + 40.0 * f64::from(b)
        );
    }
    case
}

fn main() {
    let runs = std::env::args().skip(1).find_map(|a| a.parse::<usize>().ok()).unwrap_or(5).max(1);
    let folder = tempfile::tempdir().expect("a folder for results");
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let written = folder.path().join("plate.toml");
    std::fs::write(&written, plate()).expect("the folder can be written");
    let mut cases: Vec<(String, PathBuf)> =
        DEMOS.iter().map(|demo| (demo.to_string(), root.join(demo))).collect();
    cases.push(("plate, four sheets".to_owned(), written));
    println!("| case | unknowns | iterations | wall s | peak MB | bytes per unknown |");
    println!("| --- | ---: | ---: | ---: | ---: | ---: |");
    for (name, case) in cases {
        let mut all: Vec<Run> =
            (0..runs).map(|_| run(&["solve"], &case, &folder.path().join("results"))).collect();
        all.sort_by_key(|run| run.wall);
        let middle = &all[runs / 2];
        let unknowns = middle.summary["unknowns"].as_u64().unwrap_or(0);
        let peak_bytes = all.iter().map(|run| run.peak_bytes).max().unwrap_or(0);
        println!(
            "| {name} | {unknowns} | {} | {:.2} | {:.0} | {:.0} |",
            middle.summary["iterations"],
            middle.wall.as_secs_f64(),
            peak_bytes as f64 / 1e6,
            peak_bytes as f64 / unknowns.max(1) as f64
        );
    }
}
