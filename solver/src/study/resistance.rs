//! The thermal resistance matrix: kelvin at each junction for a watt in each source.

use ndarray::Array2;

use super::linearised::{Cost, Linearised};
use super::readings::{Readings, readings};
use crate::conduction::Network;
use crate::module::Module;
use crate::steady::{GridSolution, SteadyError, SteadyOptions, WetLaw, solve_with_law};

/// Share by which the powers are raised to try the matrix of a nonlinear module.
const TRIAL_SHARE: f64 = 0.1;

/// How well the matrix adds up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SuperpositionCheck {
    /// Every temperature follows the powers linearly. The matrix times the powers, added to the
    /// temperatures of a solve without any power, missed the full solve by at most this much, K.
    Linear {
        /// Largest error of any junction's highest or mean temperature, K.
        error_K: f64,
    },
    /// The spray boils or a conductivity varies: the matrix is the slope at these powers. All
    /// powers were raised by a share and solved in full.
    Tangent {
        /// The share.
        raised_by: f64,
        /// Largest change of a junction temperature in the full solve, K.
        change_K: f64,
        /// Largest error of the change that the matrix foretold, K.
        error_K: f64,
    },
}

/// Thermal resistances at the operating point.
///
/// ```text
/// R_ij = dT_i / dP_j,   K/W
/// ```
///
/// T_i is the highest or the mean temperature of source i's active face, P_j the power of source
/// j, spread over its face as it is in the case (blocks and map in proportion). Where a
/// conductivity depends on temperature or the spray boils, the derivative is taken there, exactly.
/// All of it is on the grid of the solution, without extrapolation.
///
/// The mean resistances of two sources with even power are the same both ways (reciprocity) when
/// no conductivity varies; those of the highest temperature are not.
#[derive(Debug, Clone)]
pub struct ResistanceMatrix {
    /// Die in case order, then heaters: rows and columns alike.
    pub names: Vec<String>,
    /// Power of each, W.
    pub power_W: Vec<f64>,
    /// R from the highest temperature, `[[i, j]]`, K/W.
    pub max_K_W: Array2<f64>,
    /// R from the mean temperature, `[[i, j]]`, K/W.
    pub mean_K_W: Array2<f64>,
    /// What each junction's highest temperature would be without power if all were linear, K:
    /// temperature minus resistances times powers.
    pub reference_max_K: Vec<f64>,
    /// The same for the mean temperature, K.
    pub reference_mean_K: Vec<f64>,
    /// Largest difference between R_ij and R_ji of the means over pairs of sources with even
    /// power, relative to the larger; `None` without a pair.
    pub asymmetry_relative: Option<f64>,
    /// How well it adds up.
    pub check: SuperpositionCheck,
    /// What the columns cost.
    pub cost: Cost,
}

/// The resistance matrix of `module` at `solution`, one linear system a column, and its check.
///
/// # Errors
/// See [`SteadyError`].
pub fn resistance(
    module: &Module,
    solution: &GridSolution,
    options: &SteadyOptions,
    progress: &mut dyn FnMut(usize, usize),
) -> Result<ResistanceMatrix, SteadyError> {
    let network = Network::new(module, &solution.mesh);
    let readings = readings(&network, solution);
    let linearised = Linearised::new(&network, solution);
    let solver = linearised.solver(options.relative_tolerance);
    let n = readings.len();
    let (mut max_K_W, mut mean_K_W) = (Array2::zeros((n, n)), Array2::zeros((n, n)));
    let mut cost = Cost::default();
    for (j, source) in readings.iter().enumerate() {
        let heats = network.on_face(j, &source.pattern);
        let response = solver.tangent(&heats)?;
        for (i, reading) in readings.iter().enumerate() {
            let (entry, columns) = network.source_columns(i);
            let faces = &response.faces[entry];
            let weighted = |weights: &[f64]| -> f64 {
                columns.iter().zip(weights).map(|(&c, w)| faces[c] * w).sum()
            };
            max_K_W[[i, j]] = weighted(&reading.max_weights);
            mean_K_W[[i, j]] = weighted(&reading.mean_weights);
        }
        cost.add(response.cost);
        progress(j + 1, n);
    }
    let power_W: Vec<f64> = network.sources.iter().map(|s| s.heat_W.iter().sum()).collect();
    let inlet_K = module.coolant.inlet_K;
    let reference = |matrix: &Array2<f64>, rise: &dyn Fn(&Readings) -> f64| -> Vec<f64> {
        (0..n).map(|i| inlet_K + rise(&readings[i]) - times(matrix, i, &power_W)).collect()
    };
    let reference_max_K = reference(&max_K_W, &|r| r.max_rise_K);
    let reference_mean_K = reference(&mean_K_W, &|r| r.mean_rise_K);
    let matrices = [&max_K_W, &mean_K_W];
    let check = if linearised.is_linear() {
        check_linear(module, solution, options, &readings, matrices, &power_W)?
    } else {
        check_tangent(module, solution, options, &readings, matrices, &power_W)?
    };
    Ok(ResistanceMatrix {
        names: readings.iter().map(|r| r.name.clone()).collect(),
        asymmetry_relative: asymmetry(&mean_K_W, &readings),
        power_W,
        max_K_W,
        mean_K_W,
        reference_max_K,
        reference_mean_K,
        check,
        cost,
    })
}

fn times(matrix: &Array2<f64>, row: usize, powers: &[f64]) -> f64 {
    matrix.row(row).iter().zip(powers).map(|(r, p)| r * p).sum()
}

fn asymmetry(mean: &Array2<f64>, readings: &[Readings]) -> Option<f64> {
    let mut largest: Option<f64> = None;
    for i in 0..readings.len() {
        for j in 0..i {
            if readings[i].even && readings[j].even {
                let (a, b) = (mean[[i, j]], mean[[j, i]]);
                let scale = a.abs().max(b.abs());
                let relative = if scale > 0.0 { (a - b).abs() / scale } else { 0.0 };
                largest = Some(largest.map_or(relative, |l| l.max(relative)));
            }
        }
    }
    largest
}

/// Highest temperature at the hot spots of `readings`, and mean, of another solution on the same
/// mesh, K above its inlet.
pub(super) fn read_again(
    module: &Module,
    solution: &GridSolution,
    readings: &[Readings],
) -> Vec<[f64; 2]> {
    let network = Network::new(module, &solution.mesh);
    network
        .sources
        .iter()
        .zip(readings)
        .map(|(source, reading)| {
            let rises = crate::conduction::faces::source_rises(
                &network,
                solution.factors.as_deref(),
                source,
                &solution.rise_K,
                &solution.wet,
            );
            [&reading.max_weights, &reading.mean_weights]
                .map(|weights| rises.iter().zip(weights).map(|(r, w)| r * w).sum())
        })
        .collect()
}

/// `module` with every power multiplied.
fn with_powers(module: &Module, factor: f64) -> Module {
    let mut other = module.clone();
    for die in &mut other.die {
        die.power_W *= factor;
        die.blocks.iter_mut().for_each(|b| b.power_W *= factor);
    }
    other.heaters.iter_mut().for_each(|h| h.power_W *= factor);
    other
}

fn solve_again(
    module: &Module,
    solution: &GridSolution,
    start: Vec<f64>,
    options: &SteadyOptions,
) -> Result<GridSolution, SteadyError> {
    let law: WetLaw = solution.law.clone();
    solve_with_law(module, solution.mesh.clone(), law, Some(start), options)
}

fn check_linear(
    module: &Module,
    solution: &GridSolution,
    options: &SteadyOptions,
    readings: &[Readings],
    matrices: [&Array2<f64>; 2],
    power_W: &[f64],
) -> Result<SuperpositionCheck, SteadyError> {
    let idle = with_powers(module, 0.0);
    let start = vec![0.0; solution.rise_K.len()];
    let cold = read_again(&idle, &solve_again(&idle, solution, start, options)?, readings);
    let mut error_K = 0.0f64;
    for (i, reading) in readings.iter().enumerate() {
        let full = [reading.max_rise_K, reading.mean_rise_K];
        for k in 0..2 {
            let sum = cold[i][k] + times(matrices[k], i, power_W);
            error_K = error_K.max((sum - full[k]).abs());
        }
    }
    Ok(SuperpositionCheck::Linear { error_K })
}

fn check_tangent(
    module: &Module,
    solution: &GridSolution,
    options: &SteadyOptions,
    readings: &[Readings],
    matrices: [&Array2<f64>; 2],
    power_W: &[f64],
) -> Result<SuperpositionCheck, SteadyError> {
    let raised = with_powers(module, 1.0 + TRIAL_SHARE);
    let start = solution.rise_K.clone();
    let hot = read_again(&raised, &solve_again(&raised, solution, start, options)?, readings);
    let (mut change_K, mut error_K) = (0.0f64, 0.0f64);
    for (i, reading) in readings.iter().enumerate() {
        let full = [reading.max_rise_K, reading.mean_rise_K];
        for k in 0..2 {
            let change = hot[i][k] - full[k];
            change_K = change_K.max(change.abs());
            let foretold = TRIAL_SHARE * times(matrices[k], i, power_W);
            error_K = error_K.max((change - foretold).abs());
        }
    }
    Ok(SuperpositionCheck::Tangent { raised_by: TRIAL_SHARE, change_K, error_K })
}

#[cfg(test)]
mod tests {
    use super::super::testing::{held, prescribed, solved, tight, with_nozzles};
    use super::*;
    use crate::conduction::assembly::assemble;
    use crate::linear;

    fn matrix_of(module: &Module) -> ResistanceMatrix {
        resistance(module, &solved(module), &tight(), &mut |_, _| {}).unwrap()
    }

    #[test]
    fn linear_module_adds_up_to_the_full_solve_and_is_reciprocal() {
        let matrix = matrix_of(&held(prescribed()));
        let SuperpositionCheck::Linear { error_K } = matrix.check else {
            panic!("{:?}", matrix.check)
        };
        assert!(error_K < 1e-9, "{error_K}");
        // All pairs but those with the die that has a block.
        assert!(matrix.asymmetry_relative.unwrap() < 1e-9, "{:?}", matrix.asymmetry_relative);
        let uneven = (matrix.mean_K_W[[0, 1]] / matrix.mean_K_W[[1, 0]] - 1.0).abs();
        assert!(uneven > 1e-4, "{uneven}");
        assert_eq!((matrix.cost.systems, matrix.cost.corrections), (6, 0));
        assert_eq!(matrix.names, ["L0", "L1", "A", "strip", "window", "pad"]);
    }

    #[test]
    fn every_resistance_is_positive_and_none_exceeds_the_diagonal_of_its_column() {
        for module in [held(prescribed()), prescribed(), with_nozzles()] {
            let matrix = matrix_of(&module);
            for ((i, j), &r) in matrix.max_K_W.indexed_iter() {
                assert!(r > 0.0 && r <= matrix.max_K_W[[j, j]], "{i} {j} {r}");
                assert!(matrix.mean_K_W[[i, j]] <= r * (1.0 + 1e-9) || i != j);
            }
        }
    }

    /// The general-purpose sparse Cholesky factorisation of faer, on the assembled matrix.
    #[test]
    fn mean_resistance_equals_that_of_a_direct_factorisation() {
        use faer::sparse::{SparseColMat, Triplet};
        let module = held(prescribed());
        let solution = solved(&module);
        let matrix = matrix_of(&module);
        let network = Network::new(&module, &solution.mesh);
        // One watt in L1 alone, surroundings at the inlet's temperature.
        let mut alone = with_powers(&module, 0.0);
        alone.die[1].power_W = 1.0;
        alone.board.temperature_K = alone.coolant.inlet_K;
        alone.edge.temperature_K = alone.coolant.inlet_K;
        let alone_network = Network::new(&alone, &solution.mesh);
        let (operator, rhs) = assemble(&alone_network, None, &solution.wet.tangent);
        let triplets: Vec<Triplet<usize, usize, f64>> = linear::assemble(&operator)
            .iter()
            .map(|(value, (row, column))| Triplet::new(row, column, *value))
            .collect();
        let n = operator.len();
        let sparse = SparseColMat::try_new_from_triplets(n, n, &triplets).unwrap();
        let factor = sparse.sp_cholesky(faer::Side::Lower).unwrap();
        let mut x = faer::Mat::from_fn(n, 1, |i, _| rhs[i]);
        use faer::linalg::solvers::Solve;
        factor.solve_in_place(&mut x);
        let x: Vec<f64> = (0..n).map(|i| x[(i, 0)]).collect();
        let wet = crate::conduction::faces::wet_side(&alone_network, None, &solution.law, &x, None);
        let rects = module.die.iter().map(|d| d.rect).chain(module.heaters.iter().map(|h| h.rect));
        let areas: Vec<f64> = rects.map(|r| r.area_m2()).collect();
        for (i, source) in network.sources.iter().enumerate() {
            let rises = crate::conduction::faces::source_rises(
                &alone_network,
                None,
                &alone_network.sources[i],
                &x,
                &wet,
            );
            let mean: f64 = rises
                .iter()
                .enumerate()
                .map(|(c, r)| {
                    let nx = source.cells.nx();
                    r * network.cell_area_m2(source.cells.i0 + c % nx, source.cells.j0 + c / nx)
                })
                .sum::<f64>()
                / areas[i];
            assert!((matrix.mean_K_W[[i, 1]] / mean - 1.0).abs() < 1e-9, "{i}");
        }
    }

    /// Columns against differences of full solves, where conductivities vary and where the spray
    /// boils.
    #[test]
    fn columns_are_the_slopes_of_full_nonlinear_solves() {
        for module in [prescribed(), with_nozzles()] {
            let solution = solved(&module);
            let matrix = resistance(&module, &solution, &tight(), &mut |_, _| {}).unwrap();
            assert!(matches!(matrix.check, SuperpositionCheck::Tangent { .. }));
            let network = Network::new(&module, &solution.mesh);
            let read = readings(&network, &solution);
            for j in 0..3 {
                let step_W = 1e-2;
                let at = |by: f64| {
                    let mut other = module.clone();
                    let die = &mut other.die[j];
                    let factor = (die.power_W + by) / die.power_W;
                    die.power_W *= factor;
                    die.blocks.iter_mut().for_each(|b| b.power_W *= factor);
                    let start = solution.rise_K.clone();
                    let again = solve_again(&other, &solution, start, &tight()).unwrap();
                    read_again(&other, &again, &read)
                };
                let (up, down) = (at(step_W), at(-step_W));
                for i in 0..6 {
                    for (k, r) in
                        [matrix.max_K_W[[i, j]], matrix.mean_K_W[[i, j]]].iter().enumerate()
                    {
                        let slope = (up[i][k] - down[i][k]) / (2.0 * step_W);
                        assert!((r / slope - 1.0).abs() < 1e-5, "{i} {j} {k}: {r} {slope}");
                    }
                }
            }
        }
    }
}
