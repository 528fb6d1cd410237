//! Studies as a user runs them: a thousand samples and forty blocked nozzles against one solve,
//! wall time, processor time and peak memory.
//!
//! ```text
//! cargo bench -p sprayside --bench studies [-- SAMPLES]
//! ```
//!
//! The correlator demo on a stated mesh of some sixty thousand unknowns, with stated coefficients
//! and under its nozzles; and the sprayed demo with forty nozzles at its default accuracy. Peak
//! memory is read from `/proc` while the program runs, so only on Linux.

#![allow(clippy::print_stdout, reason = "a benchmark tells its figures")]

use std::path::{Path, PathBuf};

mod watched;

use watched::run;

/// What scatters: powers, inlet, attaches, board.
const TOLERANCES: &str = r#"
[[tolerance]]
quantity = "power_W"
distribution = "normal"
spread_pct = 5.0
[[tolerance]]
quantity = "inlet_C"
distribution = "uniform"
spread = 1.5
[[tolerance]]
quantity = "attach_thickness_mm"
distribution = "triangular"
spread_pct = 25.0
[[tolerance]]
quantity = "attach_conductivity_W_mK"
distribution = "lognormal"
spread_pct = 15.0
[[tolerance]]
quantity = "board_htc_W_m2K"
distribution = "lognormal"
spread_pct = 20.0
"#;

const OF_COEFFICIENTS: &str = r#"
[[tolerance]]
quantity = "htc_W_m2K"
distribution = "normal"
spread_pct = 10.0
"#;

const OF_NOZZLES: &str = r#"
[[tolerance]]
quantity = "nozzle_flow_mL_s"
distribution = "normal"
spread_pct = 4.0
[[tolerance]]
quantity = "nozzle_x_mm"
distribution = "normal"
spread = 0.1
"#;

/// Cells of about sixty thousand unknowns on the correlator module.
const CELL_MM: f64 = 0.96;

/// Fourteen more nozzles for the sprayed demo: a second one over each memory and more over the
/// routers and between the correlators, forty in all.
fn fourteen_more() -> String {
    let memories = [14.0, 102.0]
        .into_iter()
        .flat_map(|x| [9.0, 27.0, 45.0, 63.0].into_iter().map(move |y| ([x, y + 3.0], "small")));
    let between =
        [[43.0, 36.0], [73.0, 36.0], [58.0, 33.0], [58.0, 39.0], [58.0, 18.0], [58.0, 54.0]];
    memories
        .chain(between.into_iter().map(|at| (at, "small")))
        .enumerate()
        .map(|(k, ([x, y], kind))| {
            format!(
                "\n[[nozzle]]\nname = \"more{k}\"\ntype = \"{kind}\"\nat_mm = [{x:?}, {y:?}]\n\
                 standoff_mm = 11.0\n"
            )
        })
        .collect()
}

fn main() {
    let samples = std::env::args().skip(1).find_map(|a| a.parse::<usize>().ok()).unwrap_or(1000);
    let folder = tempfile::tempdir().expect("a folder for cases");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo-data/correlator");
    let read = |name: &str| std::fs::read_to_string(demo.join(name)).expect("a demo");
    std::fs::copy(demo.join("correlator_power.csv"), folder.path().join("correlator_power.csv"))
        .expect("a copy");
    let write = |name: &str, text: String| -> PathBuf {
        let path = folder.path().join(name);
        std::fs::write(&path, text).expect("the folder can be written");
        path
    };
    let mesh = format!("\n[mesh]\ncell_mm = {CELL_MM}\n");
    let (stated, sprayed) = (read("module.toml"), read("sprayed.toml"));
    let cases = [
        (
            "correlator/module, powers and inlet",
            "scatter",
            write("powers.toml", {
                let powers = TOLERANCES.split("[[tolerance]]").take(3).collect::<Vec<_>>();
                format!("{stated}{mesh}{}", powers.join("[[tolerance]]"))
            }),
        ),
        (
            "correlator/module, six tolerances",
            "scatter",
            write("stated.toml", format!("{stated}{mesh}{TOLERANCES}{OF_COEFFICIENTS}")),
        ),
        (
            "correlator/sprayed, seven tolerances",
            "scatter",
            write("sprayed.toml", format!("{sprayed}{mesh}{TOLERANCES}{OF_NOZZLES}")),
        ),
        (
            "correlator/sprayed, forty nozzles",
            "clog",
            write("forty.toml", format!("{sprayed}{}", fourteen_more())),
        ),
    ];
    println!(
        "| case | study | unknowns | points | wall s | cpu s | over one solve | peak MB | over one solve |"
    );
    println!("| --- | --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |");
    let wanted = samples.to_string();
    for (name, study, case) in cases {
        let solve = run(&["solve"], &case, &folder.path().join("solved"));
        let arguments: &[&str] =
            if study == "scatter" { &["scatter", "--samples", &wanted] } else { &["clog"] };
        let all = run(arguments, &case, &folder.path().join("study"));
        let count = match study {
            "scatter" => samples,
            _ => all.summary["study"]["ranking"].as_array().map_or(0, Vec::len),
        };
        println!(
            "| {name} | {study} | {} | {count} | {:.1} | {:.1} | {:.1} | {:.0} | {:.1} |",
            all.summary["unknowns"],
            all.wall.as_secs_f64(),
            all.cpu.as_secs_f64(),
            all.wall.as_secs_f64() / solve.wall.as_secs_f64(),
            all.peak_bytes as f64 / 1e6,
            all.peak_bytes as f64 / solve.peak_bytes as f64
        );
    }
}
