//! The assembled matrix: symmetric, positive definite, and the same answer by a direct solver.

use faer::linalg::solvers::Solve;
use faer::sparse::{SparseColMat, Triplet};
use sprayside_solver::conduction::assembly::assemble as assemble_operator;
use sprayside_solver::conduction::{AffineFlux, Network};
use sprayside_solver::linear::assemble;
use sprayside_solver::mesh::{Mesh, PlaneGrid, Slicing};
use sprayside_solver::module::{ActiveFace, Module, Rect};
use sprayside_solver::steady::{SteadyOptions, solve_on_mesh};

use crate::stack::{assert_close, die, heater, module};

fn rect(x0_m: f64, y0_m: f64, x1_m: f64, y1_m: f64) -> Rect {
    Rect { x0_m, y0_m, x1_m, y1_m }
}

/// Modules whose matrices differ in kind: contrast, thin layers, islands, edges, one sink only.
fn modules() -> Vec<(&'static str, Module)> {
    let size = [10e-3, 8e-3];
    let footprint = rect(2e-3, 2e-3, 6e-3, 5e-3);
    let silicon = (0.7e-3, [148.0; 3]);
    let mut plain = module(size, &[(1e-3, [24.0; 3])], 100.0, 5000.0);
    plain.heaters.push(heater(1, footprint, 10.0));
    let mut contrast = module(
        size,
        &[(1e-6, [0.1; 3]), (2e-3, [400.0, 400.0, 400.0]), (1e-3, [0.2; 3])],
        0.0,
        50.0,
    );
    contrast.heaters.push(heater(2, footprint, 1.0));
    let mut island = module(size, &[(1e-3, [30.0, 20.0, 2.0])], 10.0, 9000.0);
    island.die.push(die("A", footprint, silicon, Some((0.1e-3, [1.0; 3])), ActiveFace::Down, 30.0));
    island.edge.htc_W_m2K = 400.0;
    let mut board_only = module(size, &[(1e-3, [24.0; 3])], 1e-3, 0.0);
    board_only.die.push(die("A", footprint, silicon, None, ActiveFace::Up, 1e-3));
    vec![("plain", plain), ("contrast", contrast), ("island", island), ("board only", board_only)]
}

struct Assembled {
    matrix: sprs::CsMat<f64>,
    rhs: Vec<f64>,
    solution: Vec<f64>,
}

fn assembled(module: &Module) -> Assembled {
    let lines =
        |parts: &[f64]| -> std::sync::Arc<[f64]> { parts.iter().map(|p| p * 1e-3).collect() };
    let plane = PlaneGrid {
        x_lines_m: lines(&[0.0, 0.8, 1.5, 2.0, 2.3, 3.0, 4.1, 5.2, 6.0, 7.5, 10.0]),
        y_lines_m: lines(&[0.0, 1.2, 2.0, 2.6, 3.4, 4.3, 5.0, 6.1, 8.0]),
    };
    let mesh = Mesh::new(module, plane, &Slicing::coarsest(module));
    let options = SteadyOptions { relative_tolerance: 1e-13, ..SteadyOptions::default() };
    let solution = solve_on_mesh(module, mesh, None, &options).unwrap();
    let wet: Vec<AffineFlux> = solution.wet.tangent.clone();
    let network = Network::new(module, &solution.mesh);
    let (operator, rhs) = assemble_operator(&network, None, &wet);
    Assembled { matrix: assemble(&operator), rhs, solution: solution.rise_K }
}

#[test]
fn every_matrix_is_symmetric() {
    for (name, module) in modules() {
        let matrix = assembled(&module).matrix;
        for (value, (row, column)) in matrix.iter() {
            assert_eq!(Some(value), matrix.get(column, row), "{name}: entry {row}, {column}");
        }
    }
}

#[test]
fn every_matrix_is_positive_definite_and_solves_directly_to_the_same_answer() {
    for (name, module) in modules() {
        let Assembled { matrix, rhs, solution } = assembled(&module);
        let n = rhs.len();
        let triplets: Vec<Triplet<usize, usize, f64>> =
            matrix.iter().map(|(v, (r, c))| Triplet::new(r, c, *v)).collect();
        let sparse = SparseColMat::<usize, f64>::try_new_from_triplets(n, n, &triplets).unwrap();
        // A Cholesky factorisation exists only for a positive definite matrix.
        let factors = sparse
            .sp_cholesky(faer::Side::Lower)
            .unwrap_or_else(|error| panic!("{name} is not positive definite: {error:?}"));
        let direct = factors.solve(&faer::Col::<f64>::from_fn(n, |i| rhs[i]));
        let largest = solution.iter().fold(0.0f64, |m, v| m.max(v.abs()));
        for (k, ours) in solution.iter().enumerate() {
            assert_close(&format!("{name}, unknown {k}"), *ours, direct[k], 1e-8, largest);
        }
    }
}

#[test]
fn off_diagonals_are_never_positive_and_rows_dominate() {
    for (name, module) in modules() {
        let matrix = assembled(&module).matrix;
        for (row, entries) in matrix.outer_iterator().enumerate() {
            let diagonal = *matrix.get(row, row).unwrap();
            let mut others = 0.0;
            for (column, value) in entries.iter().filter(|(c, _)| *c != row) {
                assert!(*value <= 0.0, "{name}: entry {row}, {column} is {value}");
                others += value;
            }
            assert!(diagonal + others >= -1e-12 * diagonal, "{name}: row {row}");
        }
    }
}
