//! The linear solver against direct factorisations, a plain reference and stated answers.
#![allow(missing_docs, non_snake_case, dead_code)]

#[path = "../benches/families.rs"]
mod families;
#[path = "../benches/random_modules.rs"]
mod random_modules;

use faer::linalg::solvers::Solve;
use faer::sparse::{SparseColMat, Triplet};
use random_modules::{Random, Recipe, random_module};
use sprayside_solver::conduction::{Block, Operator};
use sprayside_solver::linear::{CgError, CgParams, Preconditioned, assemble, jacobi};

const MILD: Recipe =
    Recipe { die: 6, cell_m: 4e-3, growth: 1.4, contrast: 100.0, htc: (100.0, 2e4), slivers: 0.1 };

fn sparse_cholesky(operator: &Operator, b: &[f64]) -> Vec<f64> {
    let matrix = assemble(operator);
    let triplets: Vec<Triplet<usize, usize, f64>> =
        matrix.iter().map(|(&value, (row, column))| Triplet::new(row, column, value)).collect();
    let n = b.len();
    let matrix = SparseColMat::<usize, f64>::try_new_from_triplets(n, n, &triplets).unwrap();
    let factor = matrix.sp_cholesky(faer::Side::Lower).expect("positive definite");
    let rhs = faer::Mat::<f64>::from_fn(n, 1, |i, _| b[i]);
    let x = factor.solve(&rhs);
    (0..n).map(|i| x[(i, 0)]).collect()
}

fn largest(values: impl Iterator<Item = f64>) -> f64 {
    values.fold(0.0, |m, v| m.max(v.abs()))
}

fn worst_difference(a: &[f64], b: &[f64]) -> f64 {
    largest(a.iter().zip(b).map(|(a, b)| a - b)) / largest(b.iter().copied())
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn times(operator: &Operator, x: &[f64]) -> Vec<f64> {
    let matrix = assemble(operator);
    matrix.outer_iterator().map(|row| row.iter().map(|(c, a)| a * x[c]).sum()).collect()
}

/// Answers on which three direct solvers (SuiteSparse CHOLMOD, faer, SuperLU) agree to eleven
/// digits; the die in the order (a, b) = (0, 0), (0, 1), (1, 0), (1, 1); the others are the same by symmetry about
/// the centre.
#[test]
fn both_families_give_the_answers_of_direct_solvers() {
    let check = |problem: families::Problem, maximum, means: [f64; 4], coolant: f64, board: f64| {
        let mut x = vec![0.0; problem.b.len()];
        let info = Preconditioned::new(&problem.operator)
            .solve(&problem.b, &mut x, &CgParams::default())
            .unwrap();
        assert!(info.iterations <= 15, "{} iterations", info.iterations);
        assert!(info.residual_relative <= 1e-10);
        let answer = problem.read(&x);
        let near = |ours: f64, stated: f64| {
            assert!((ours / stated - 1.0).abs() < 2e-10, "{}: {ours} {stated}", problem.name);
        };
        near(answer.maximum_K, maximum);
        for (ours, stated) in answer.die_mean_K.iter().zip(means) {
            near(*ours, stated);
        }
        for k in 0..4 {
            let mirrored = answer.die_mean_K[7 - k];
            near(mirrored, means[k]);
        }
        near(answer.to_coolant_W, coolant);
        near(answer.to_board_W, board);
    };
    check(
        families::family_a(1024),
        32.12153654815,
        [28.168743839, 16.927489846, 17.087903530, 27.982588911],
        548.2746867388,
        11.72531326136,
    );
    check(
        families::family_b(512),
        33.71435222439,
        [31.495884714, 19.064069798, 19.164629729, 31.378798372],
        550.2091626188,
        9.790837381121,
    );
}

#[test]
fn answers_equal_a_sparse_cholesky_factorisation_on_random_modules() {
    for seed in 100..112 {
        let (operator, b) = random_module(seed, &MILD);
        let mut x = vec![0.0; b.len()];
        Preconditioned::new(&operator)
            .solve(&b, &mut x, &CgParams { relative_tolerance: 1e-12, ..Default::default() })
            .unwrap();
        let expected = sparse_cholesky(&operator, &b);
        let off = worst_difference(&x, &expected);
        assert!(off < 1e-9, "seed {seed}: {off:.2e}");
    }
}

/// A rough step leaves as much of the residual as it says, and a fine one is the direct answer.
#[test]
fn a_step_from_zero_leaves_the_residual_that_it_tells() {
    let (operator, residual) = random_module(117, &MILD);
    let solver = Preconditioned::new(&operator);
    let norm = |v: &[f64]| dot(v, v).sqrt();
    let mut step = vec![f64::NAN; residual.len()];
    // Single precision accounts for what is left: over a last descent of several digits it drifts.
    for (relative_tolerance, drift) in [(1e-2, 1e-3), (1e-10, 3e-3)] {
        let params = CgParams { relative_tolerance, ..CgParams::default() };
        let info = solver.step(&residual, &mut step, &params).unwrap();
        assert!(info.iterations > 0 && info.residual_relative <= relative_tolerance);
        let product = times(&operator, &step);
        let left: Vec<f64> = residual.iter().zip(&product).map(|(r, p)| r - p).collect();
        let left = norm(&left) / norm(&residual);
        assert!((left / info.residual_relative - 1.0).abs() < drift, "{left:e} {info:?}");
    }
    assert!(worst_difference(&step, &sparse_cholesky(&operator, &residual)) < 1e-9);
    let info = solver.step(&vec![0.0; step.len()], &mut step, &CgParams::default()).unwrap();
    assert!(info.iterations == 0 && step.iter().all(|&d| d == 0.0));
    let few = CgParams { max_iterations: 1, ..CgParams::default() };
    let outcome = solver.step(&residual, &mut step, &few);
    assert!(matches!(outcome, Err(CgError::NotConverged { iterations: 1, .. })), "{outcome:?}");
    let broken = vec![f64::NAN; step.len()];
    let outcome = solver.step(&broken, &mut step, &CgParams::default());
    assert!(matches!(outcome, Err(CgError::NotPositiveDefinite { .. })), "{outcome:?}");
}

#[test]
fn answers_equal_diagonally_preconditioned_conjugate_gradients() {
    for seed in 200..203 {
        let (operator, b) = random_module(seed, &Recipe { die: 3, ..MILD });
        let params = CgParams { relative_tolerance: 1e-12, ..Default::default() };
        let mut x = vec![0.0; b.len()];
        Preconditioned::new(&operator).solve(&b, &mut x, &params).unwrap();
        let mut expected = vec![0.0; b.len()];
        jacobi::solve(&operator, &b, &mut expected, &params).unwrap();
        let off = worst_difference(&x, &expected);
        assert!(off < 1e-9, "seed {seed}: {off:.2e}");
    }
}

#[test]
fn operator_and_preconditioner_are_symmetric_and_positive() {
    let mut random = Random(31);
    for seed in 300..308 {
        let (operator, b) = random_module(seed, &Recipe { contrast: 1e4, ..MILD });
        let n = b.len();
        let solver = Preconditioned::new(&operator);
        let mut draw = || (0..n).map(|_| random.between(-1.0, 1.0)).collect::<Vec<_>>();
        let (x, y) = (draw(), draw());
        let check = |name: &str, mx: Vec<f64>, my: Vec<f64>, allowed: f64| {
            let (xx, yy) = (dot(&x, &mx), dot(&y, &my));
            assert!(xx > 0.0 && yy > 0.0, "{name}, seed {seed}");
            let apart = (dot(&x, &my) - dot(&y, &mx)).abs() / (xx * yy).sqrt();
            assert!(apart < allowed, "{name}, seed {seed}: {apart:.2e}");
        };
        check("operator", times(&operator, &x), times(&operator, &y), 1e-13);
        // The preconditioner works in single precision.
        check("preconditioner", solver.approximate(&x), solver.approximate(&y), 2e-5);
    }
}

#[test]
fn the_same_bits_come_out_of_any_number_of_threads() {
    for (operator, b) in [random_module(17, &Recipe { die: 12, cell_m: 6e-4, ..MILD }), {
        let problem = families::family_a(256);
        (problem.operator, problem.b)
    }] {
        let answers: Vec<Vec<u64>> = [1, 2, 3, 7]
            .into_iter()
            .map(|threads| {
                let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
                let mut x = vec![0.0; b.len()];
                pool.install(|| {
                    Preconditioned::new(&operator).solve(&b, &mut x, &CgParams::default())
                })
                .unwrap();
                x.iter().map(|v| v.to_bits()).collect()
            })
            .collect();
        assert!(answers.windows(2).all(|pair| pair[0] == pair[1]));
    }
}

#[test]
fn random_modules_take_at_most_sixty_iterations() {
    let extremes = [
        ("contrast", 1e6, (100.0, 2e4), 1.3),
        ("insulated", 1e3, (1e-3, 1.0), 1.3),
        ("cold", 1e3, (1e4, 1e8), 1.5),
        ("everything", 1e6, (1e-4, 1e7), 2.0),
    ];
    for (name, contrast, htc, growth) in extremes {
        for seed in 0..5 {
            let mut random = Random(seed);
            let recipe = Recipe {
                die: if seed == 0 && name == "contrast" { 250 } else { random.index(1, 30) },
                cell_m: random.decades(2e-3, 8e-3),
                growth,
                contrast,
                htc,
                slivers: 0.15,
            };
            let (operator, b) = random_module(1000 + seed, &recipe);
            let (mut x, mut low) = (vec![0.0; b.len()], Vec::new());
            let info = Preconditioned::new(&operator)
                .solve_split(&b, &mut x, &mut low, &CgParams::default())
                .unwrap_or_else(|e| panic!("{name} {seed}: {e}"));
            assert!(info.iterations <= 60, "{name} {seed}: {} iterations", info.iterations);
            assert!(info.residual_relative <= 1e-10);
            assert_eq!(info.limited_by_rounding, !low.is_empty());
            // The stated residual is that of the matrix assembled by other code.
            let residual: Vec<f64> = if low.is_empty() {
                times(&operator, &x).iter().zip(&b).map(|(a, b)| b - a).collect()
            } else {
                operator.residual(&operator.residual(&b, &x), &low)
            };
            let stated = info.residual_relative;
            let seen = (dot(&residual, &residual) / dot(&b, &b)).sqrt();
            assert!(seen < 1e-10_f64.max(8.0 * stated), "{name} {seed}: {seen:.1e} {stated:.1e}");
        }
    }
}

#[test]
fn a_good_first_guess_saves_iterations_and_the_answer_itself_needs_none() {
    let (operator, b) = random_module(5, &MILD);
    let solver = Preconditioned::new(&operator);
    let mut x = vec![0.0; b.len()];
    let from_zero = solver.solve(&b, &mut x, &CgParams::default()).unwrap();
    let again = solver.solve(&b, &mut x, &CgParams::default()).unwrap();
    assert_eq!(again.iterations, 0);
    for v in &mut x {
        *v *= 1.0 + 1e-6;
    }
    let nearby = solver.solve(&b, &mut x, &CgParams::default()).unwrap();
    assert!(nearby.iterations < from_zero.iterations);
}

#[test]
fn no_heat_gives_no_rise_whatever_the_first_guess() {
    let (operator, b) = random_module(6, &MILD);
    let mut x = vec![1.0; b.len()];
    let info = Preconditioned::new(&operator)
        .solve(&vec![0.0; b.len()], &mut x, &CgParams::default())
        .unwrap();
    assert_eq!(info.iterations, 0);
    assert!(x.iter().all(|&v| v == 0.0));
}

#[test]
fn a_plate_with_no_way_out_for_its_heat_is_an_error() {
    for seed in 7..12 {
        let (mut operator, b) = random_module(seed, &MILD);
        for block in &mut operator.blocks {
            block.sink.fill(0.0);
        }
        let mut x = vec![0.0; b.len()];
        let outcome = Preconditioned::new(&operator).solve(&b, &mut x, &CgParams::default());
        assert!(outcome.is_err(), "seed {seed}: {outcome:?}");
        // However far x has run away, and however many iterations it had for it.
        x.fill(1e30);
        let outcome = Preconditioned::new(&operator).solve(&b, &mut x, &CgParams::default());
        assert!(outcome.is_err(), "seed {seed}: {outcome:?}");
    }
}

#[test]
fn too_few_iterations_are_an_error_with_the_residual_reached() {
    let (operator, b) = random_module(8, &MILD);
    let mut x = vec![0.0; b.len()];
    let params = CgParams { max_iterations: 2, ..Default::default() };
    match Preconditioned::new(&operator).solve(&b, &mut x, &params) {
        Err(CgError::NotConverged { iterations, residual_relative }) => {
            assert_eq!(iterations, 2);
            assert!(residual_relative > 1e-10 && residual_relative < 1.0);
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn numbers_that_are_not_finite_are_an_error() {
    let (operator, mut b) = random_module(9, &MILD);
    for broken in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        b[0] = broken;
        let mut x = vec![0.0; b.len()];
        let outcome = Preconditioned::new(&operator).solve(&b, &mut x, &CgParams::default());
        assert!(matches!(outcome, Err(CgError::NotPositiveDefinite { .. })), "{outcome:?}");
    }
}

#[test]
fn planes_of_one_row_one_column_and_one_cell_are_solved() {
    for (nx, ny) in [(1, 1), (1, 300), (300, 1), (2, 2), (3, 500)] {
        let mut block = Block::zeros(0, 0, nx, ny, 1, false);
        for c in 0..nx * ny {
            if c % nx + 1 < nx {
                block.east[c] = 2.0;
            }
            if c / nx + 1 < ny {
                block.north[c] = 3.0;
            }
            block.sink[c] = 0.01 + 1e-3 * (c % 7) as f64;
        }
        let b: Vec<f64> = (0..nx * ny).map(|c| (c % 5) as f64 + 1.0).collect();
        let operator = Operator { dx_m: vec![1.0; nx], dy_m: vec![1.0; ny], blocks: vec![block] };
        let mut x = vec![0.0; b.len()];
        let params = CgParams { relative_tolerance: 1e-12, ..Default::default() };
        Preconditioned::new(&operator).solve(&b, &mut x, &params).unwrap();
        assert!(worst_difference(&x, &sparse_cholesky(&operator, &b)) < 1e-10, "{nx} x {ny}");
    }
}

#[test]
fn a_residual_that_falls_to_exactly_zero_is_the_end() {
    let mut block = Block::zeros(0, 0, 2, 1, 1, false);
    block.east[0] = 2.0;
    block.sink = vec![0.5; 2];
    let operator = Operator { dx_m: vec![1.0; 2], dy_m: vec![1.0], blocks: vec![block] };
    let solver = Preconditioned::new(&operator);
    let params = CgParams { relative_tolerance: 1e-15, ..Default::default() };
    let mut x = vec![0.0; 2];
    let info = solver.solve(&[1.0; 2], &mut x, &params).unwrap();
    assert_eq!((x, info.residual_relative), (vec![2.0; 2], 0.0));
    let mut step = vec![0.0; 2];
    solver.step(&[-3.0; 2], &mut step, &params).unwrap();
    assert!(step.iter().all(|s| (s + 6.0).abs() < 1e-14), "{step:?}");
}

#[test]
fn an_operator_without_cells_has_an_empty_answer() {
    let operator = Operator::default();
    let info = Preconditioned::new(&operator).solve(&[], &mut [], &CgParams::default()).unwrap();
    assert_eq!(info.iterations, 0);
}
