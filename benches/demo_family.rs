//! What users really have: the largest demo on the graded, snapped mesh that the program makes
//! for it, every cell cut evenly until the system has about so many unknowns.

use std::path::Path;

use sprayside_solver::case;
use sprayside_solver::conduction::assembly::assemble;
use sprayside_solver::conduction::faces::wet_side;
use sprayside_solver::conduction::{Network, Operator};
use sprayside_solver::mesh::{Mesh, PlaneGrid, Slicing};
use sprayside_solver::module::Module;
use sprayside_solver::steady::{SteadyOptions, WetLaw, solve_keeping};

/// The case; prescribed coefficients, so that the system is linear.
const CASE: &str = "demo-data/antenna-panel/module.toml";

/// The demo, and the mesh on which the program ended.
pub struct Demo {
    module: Module,
    mesh: Mesh,
    slicing: Slicing,
}

impl Demo {
    /// Reads the demo and solves it to ten times the uncertainty that it asks for.
    pub fn new() -> Demo {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("..").join(CASE);
        let text = std::fs::read_to_string(&path).expect("the demo is in the repository");
        let no_files = |name: &str| Err(format!("{name}: the demo names no files"));
        let mut module = match case::read(&text, CASE, &no_files) {
            Ok(case) => case.module,
            Err(findings) => panic!("{} mistakes in the demo", findings.len()),
        };
        // The shape of the mesh is wanted, not its fineness.
        module.mesh.accuracy_K *= 10.0;
        let (_, solution) = solve_keeping(&module, &SteadyOptions::default(), &mut |_| {})
            .expect("the demo has a solution");
        let slicing = Slicing::coarsest(&module);
        Demo { module, mesh: solution.mesh, slicing }
    }

    /// Operator and right-hand side of about `unknowns` unknowns.
    pub fn operator(&self, unknowns: usize) -> (Operator, Vec<f64>) {
        let own = Mesh::new(&self.module, self.mesh.plane.clone(), &self.slicing).unknowns();
        let cuts = (unknowns as f64 / own as f64).sqrt();
        let plane = PlaneGrid {
            x_lines_m: refine(&self.mesh.plane.x_lines_m, cuts),
            y_lines_m: refine(&self.mesh.plane.y_lines_m, cuts),
        };
        let mesh = Mesh::new(&self.module, plane, &self.slicing);
        let law = WetLaw::on(&self.module, &mesh.plane, SteadyOptions::default().band)
            .expect("prescribed coefficients");
        let network = Network::new(&self.module, &mesh);
        let wet = wet_side(&network, None, &law, &vec![0.0; network.unknowns()], None);
        assemble(&network, None, &wet.tangent)
    }
}

/// Cuts the intervals evenly, on average into `cuts` pieces, each into a whole number.
fn refine(lines: &[f64], cuts: f64) -> std::sync::Arc<[f64]> {
    let mut all = vec![lines[0]];
    let mut owed = 0.0;
    for pair in lines.windows(2) {
        owed += cuts;
        let pieces = (owed.round() as usize).max(1);
        owed -= pieces as f64;
        all.extend((1..=pieces).map(|k| pair[0] + (pair[1] - pair[0]) * k as f64 / pieces as f64));
    }
    all.into()
}
