//! What boiling costs: the nonlinear solve of each sprayed demo on the mesh that the program ends
//! with, from a cold start, against the linear solve on the same mesh (a stated coefficient, and
//! conductivities that do not depend on temperature).
//!
//! ```text
//! cargo bench -p sprayside_solver --bench boiling
//! ```
#![allow(missing_docs, non_snake_case, clippy::print_stdout)]

use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

use sprayside_solver::case;
use sprayside_solver::library::{Material, TemperatureLaw};
use sprayside_solver::mesh::Mesh;
use sprayside_solver::module::{Module, PrescribedHtc, PrescribedSpray, Spray};
use sprayside_solver::steady::{GridSolution, SteadyOptions, solve_keeping, solve_on_mesh};

const DEMOS: [&str; 4] = ["correlator", "converter", "test-vehicle", "antenna-panel"];
const RUNS: usize = 5;

fn read(demo: &str) -> Module {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo-data").join(demo);
    let path = folder.join("sprayed.toml");
    let text = std::fs::read_to_string(&path).expect("the demo is in the repository");
    let beside =
        |file: &str| std::fs::read_to_string(folder.join(file)).map_err(|error| error.to_string());
    match case::read(&text, demo, &beside) {
        Ok(case) => case.module,
        Err(findings) => panic!("{} mistakes in the demo", findings.len()),
    }
}

fn constant(material: &Arc<Material>) -> Arc<Material> {
    Arc::new(Material { law: TemperatureLaw::Constant, ..Material::clone(material) })
}

/// The same module with nothing that depends on temperature.
fn linear(module: &Module) -> Module {
    let mut module = module.clone();
    module.spray = Spray::Prescribed(PrescribedSpray {
        base: PrescribedHtc::Uniform(8000.0),
        patches: Vec::new(),
    });
    for layer in &mut module.layers {
        layer.material = constant(&layer.material);
    }
    for die in &mut module.die {
        die.material = constant(&die.material);
        if let Some(attach) = &mut die.attach {
            attach.material = constant(&attach.material);
        }
    }
    module
}

/// Median seconds of a cold solve on `mesh`, and its solution.
fn timed(module: &Module, mesh: &Mesh) -> (f64, GridSolution) {
    let mut all: Vec<(f64, GridSolution)> = (0..RUNS)
        .map(|_| {
            let mesh = mesh.clone();
            let start = Instant::now();
            let solution = solve_on_mesh(module, mesh, None, &SteadyOptions::default());
            (start.elapsed().as_secs_f64(), solution.expect("the demo has a solution"))
        })
        .collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    all.swap_remove(RUNS / 2)
}

fn main() {
    println!(
        "| demo | unknowns | linear s (iterations) | boiling s (outer steps, iterations) | ratio |"
    );
    println!("| --- | ---: | ---: | ---: | ---: |");
    for demo in DEMOS {
        let module = read(demo);
        let (_, ended) = solve_keeping(&module, &SteadyOptions::default(), &mut |_| ())
            .expect("the demo has a solution");
        let (linear_s, plain) = timed(&linear(&module), &ended.mesh);
        let (boiling_s, boiling) = timed(&module, &ended.mesh);
        println!(
            "| {demo} | {} | {linear_s:.3} ({}) | {boiling_s:.3} ({}, {}) | {:.1} |",
            ended.mesh.unknowns(),
            plain.iterations,
            boiling.outer_iterations,
            boiling.iterations,
            boiling_s / linear_s
        );
    }
}
