//! Times the linear solver on the families of operators and prints ratios: see README.md here.
#![allow(missing_docs, non_snake_case)]

#[path = "families.rs"]
mod families;

use std::time::Instant;

use sprayside_solver::linear::{CgParams, Preconditioned};

pub fn main() {
    let sizes: Vec<(char, usize)> = std::env::args()
        .skip(1)
        .filter_map(|a| {
            let family = a.chars().next()?;
            Some((family, a[1..].parse().ok()?))
        })
        .collect();
    let sizes = if sizes.is_empty() {
        vec![('A', 512), ('A', 1024), ('B', 256), ('B', 512)]
    } else {
        sizes
    };
    for (family, n) in sizes {
        let problem = if family == 'A' { families::family_a(n) } else { families::family_b(n) };
        let mut runs: Vec<(f64, f64)> = Vec::new();
        let mut x = vec![0.0; problem.b.len()];
        let mut last = None;
        for _ in 0..5 {
            let start = Instant::now();
            let solver = Preconditioned::new(&problem.operator);
            let setup = start.elapsed().as_secs_f64();
            x.fill(0.0);
            let start = Instant::now();
            last = Some(solver.solve(&problem.b, &mut x, &CgParams::default()));
            runs.push((setup, start.elapsed().as_secs_f64()));
        }
        runs.sort_by(|a, b| (a.0 + a.1).total_cmp(&(b.0 + b.1)));
        let (setup, solve) = runs[runs.len() / 2];
        let per = 1e9 * (setup + solve) / problem.b.len() as f64;
        println!(
            "{} n {} setup {setup:.4} solve {solve:.4} ({per:.0} ns per unknown) {last:?}",
            problem.name,
            problem.b.len()
        );
        println!("   {:?}", problem.read(&x));
    }
}
