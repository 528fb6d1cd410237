//! The assembled system of a module on an even grid, and its direct solution.

use faer::linalg::solvers::Solve;
use faer::sparse::{SparseColMat, Triplet};
use sprayside_solver::conduction::assembly::assemble as assemble_operator;
use sprayside_solver::conduction::{AffineFlux, Network};
use sprayside_solver::linear::assemble;
use sprayside_solver::mesh::{Mesh, PlaneGrid, Slicing, edges_along, snapped_edges};
use sprayside_solver::module::{Module, Rect, Spray};
use sprayside_solver::steady::{SteadyError, SteadyOptions, solve_on_mesh};

/// Matrix, right-hand side and the solver's own solution.
pub struct System {
    /// The symmetric matrix, W/K.
    pub matrix: sprs::CsMat<f64>,
    /// Right-hand side, W.
    pub rhs: Vec<f64>,
    /// The solver's rises, K.
    pub solution: Vec<f64>,
}

/// Lines on every edge of the module and at most `cell_m` apart.
pub fn even_lines(module: &Module, axis: usize, cell_m: f64) -> Vec<f64> {
    let mut rects: Vec<Rect> = module.die.iter().map(|d| d.rect).collect();
    rects.extend(module.die.iter().flat_map(|d| d.blocks.iter().map(|b| b.rect)));
    rects.extend(module.heaters.iter().map(|h| h.rect));
    if let Spray::Prescribed(spray) = &module.spray {
        rects.extend(spray.patches.iter().map(|p| p.rect));
    }
    let edges = snapped_edges(module.size_m[axis], edges_along(axis, &rects));
    let mut lines = vec![0.0];
    for pair in edges.windows(2) {
        let pieces = ((pair[1] - pair[0]) / cell_m).ceil().max(1.0) as usize;
        for k in 1..=pieces {
            lines.push(pair[0] + (pair[1] - pair[0]) * k as f64 / pieces as f64);
        }
    }
    lines
}

/// Assembles and solves `module` on cells of at most `cell_m`, two slices in every die.
///
/// # Errors
/// As the solver.
pub fn system(module: &Module, cell_m: f64) -> Result<System, SteadyError> {
    let plane = PlaneGrid {
        x_lines_m: even_lines(module, 0, cell_m).into(),
        y_lines_m: even_lines(module, 1, cell_m).into(),
    };
    let mut slicing = Slicing::coarsest(module);
    slicing.die.iter_mut().for_each(|counts| counts[1] = 2);
    let mesh = Mesh::new(module, plane, &slicing);
    let options = SteadyOptions { relative_tolerance: 1e-12, ..SteadyOptions::default() };
    let solution = solve_on_mesh(module, mesh, None, &options)?;
    let wet: Vec<AffineFlux> = solution.wet.tangent.clone();
    let network = Network::new(module, &solution.mesh);
    let (operator, rhs) = assemble_operator(&network, None, &wet);
    Ok(System { matrix: assemble(&operator), rhs, solution: solution.rise_K })
}

/// Solution by sparse Cholesky; NaN if the matrix is not positive definite.
pub fn direct_solution(system: &System) -> Vec<f64> {
    let n = system.rhs.len();
    let triplets: Vec<Triplet<usize, usize, f64>> = system
        .matrix
        .iter()
        .map(|(value, (row, column))| Triplet::new(row, column, *value))
        .collect();
    let Ok(matrix) = SparseColMat::<usize, f64>::try_new_from_triplets(n, n, &triplets) else {
        return vec![f64::NAN; n];
    };
    let Ok(factors) = matrix.sp_cholesky(faer::Side::Lower) else {
        return vec![f64::NAN; n];
    };
    let rhs = faer::Col::<f64>::from_fn(n, |i| system.rhs[i]);
    let solution = factors.solve(&rhs);
    (0..n).map(|i| solution[i]).collect()
}
