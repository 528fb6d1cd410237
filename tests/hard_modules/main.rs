//! Modules drawn from the far ends of every range: each either solves, and then stands every
//! check that can be made without knowing the answer, or ends with the reason.
//!
//! One to 300 die, conductivities a million apart, layers of 1 µm to 10 mm, coefficients that make
//! the Biot number 1e-6 to 1e6, slivers of die, attaches that all but insulate, modules that all but
//! nothing cools. A few dozen run with the other tests; `HARD_MODULES=3000 cargo test -p
//! sprayside_solver --test hard_modules -- --ignored thousands --nocapture` runs as many as asked for.

#![allow(clippy::print_stdout, reason = "what a long run found is read by people")]

mod draw;

use std::collections::BTreeMap;

use sprayside_solver::case;
use sprayside_solver::module::Module;
use sprayside_solver::results::{SteadyResult, doubts};
use sprayside_solver::steady::{SteadyError, SteadyOptions, solve};

/// Most iterations of the linear solver for one linear system.
const MOST_ITERATIONS: f64 = 60.0;
/// Heat in and heat out of a solved module differ by less than this share of it.
const LARGEST_IMBALANCE: f64 = 1e-6;

/// Largest over least conductivity up to which the bound on the iterations is meant.
const LARGEST_CONTRAST: f64 = 1e6;

/// What became of one module.
#[derive(Debug, PartialEq)]
enum End {
    /// Solved and sound, with the iterations of each linear system, the imbalance, and the widest
    /// over the narrowest cell.
    Solved { iterations: f64, imbalance: f64, aspect: f64 },
    /// Refused or unsolved, with the kind of reason.
    Told(&'static str),
    /// Something is wrong.
    Fault(String),
}

fn module_of(seed: u64) -> Result<Module, String> {
    let text = draw::case(seed);
    let no_files = |name: &str| Err(format!("no {name}"));
    case::read(&text, "case.toml", &no_files).map(|case| case.module).map_err(|findings| {
        let told: Vec<String> = findings.iter().map(|finding| finding.to_string()).collect();
        format!("{}\n{text}", told.join("\n"))
    })
}

fn end_of(seed: u64) -> End {
    let module = match module_of(seed) {
        Ok(module) => module,
        Err(why) => return End::Fault(format!("seed {seed} is refused: {why}")),
    };
    match solve(&module, &SteadyOptions::default(), &mut |_| {}) {
        Ok(result) => match sound(&module, &result) {
            Ok(End::Solved { iterations, .. })
                if iterations > MOST_ITERATIONS
                    && !is_hopeless(seed)
                    && contrast(&module, &result) <= LARGEST_CONTRAST =>
            {
                End::Fault(format!("seed {seed}: {iterations} iterations a linear system"))
            }
            Ok(end) => end,
            Err(why) => End::Fault(format!("seed {seed}: {why}")),
        },
        Err(SteadyError::TooManyCells { needed, allowed }) if needed > allowed => {
            End::Told("too many cells")
        }
        Err(SteadyError::NotConverged { place, .. }) if !place.is_empty() => {
            End::Told("no steady state found")
        }
        // Rises so far beyond anything that is that rounding of the temperatures alone leaves more
        // than the tolerance: the reader has warned of it.
        Err(SteadyError::Linear(_)) if is_hopeless(seed) => End::Told("nothing cools it"),
        Err(error) => End::Fault(format!("seed {seed}: {error}")),
    }
}

/// Whether the reader has warned that the coolant cannot carry the heat.
fn is_hopeless(seed: u64) -> bool {
    let no_files = |name: &str| Err(format!("no {name}"));
    case::read(&draw::case(seed), "case.toml", &no_files)
        .is_ok_and(|case| case.warnings.iter().any(|finding| finding.code.id == "W009"))
}

/// Largest over least conductivity of a module, that of silicon at the temperatures found: a die
/// of a million degrees conducts a millionth of what it does when cold.
fn contrast(module: &Module, result: &SteadyResult) -> f64 {
    let layers = module.layers.iter().map(|layer| (&layer.material, 1.0));
    let die = module.die.iter().zip(&result.junctions).flat_map(|(die, junction)| {
        let attach = die.attach.iter().map(|attach| (&attach.material, 1.0));
        attach.chain([(&die.material, die.material.conductivity_factor(junction.max_K))])
    });
    let all = layers.chain(die).flat_map(|(m, factor)| m.conductivity_W_mK.map(|k| k * factor));
    let (low, high) = all.fold((f64::INFINITY, 0.0f64), |(low, high), k| (low.min(k), high.max(k)));
    high / low
}

/// What holds of every solution, whatever the module.
fn sound(module: &Module, result: &SteadyResult) -> Result<End, String> {
    let imbalance = result.balance.imbalance_relative();
    if imbalance.is_nan() || imbalance > LARGEST_IMBALANCE {
        return Err(format!("imbalance {imbalance:e}"));
    }
    let doubts = doubts(module, result);
    if !doubts.is_empty() {
        return Err(doubts.join("; "));
    }
    let coldest = [module.coolant.inlet_K, module.board.temperature_K, module.edge.temperature_K]
        .into_iter()
        .fold(f64::INFINITY, f64::min);
    for junction in &result.junctions {
        let slack = 1e-6 + 1e-9 * junction.max_K.abs();
        let ordered = junction.min_K <= junction.mean_K + junction.uncertainty_K + slack
            && junction.mean_K <= junction.max_K + junction.uncertainty_K + slack;
        if !ordered {
            return Err(format!(
                "{}: min {} mean {} max {} ± {}",
                junction.name,
                junction.min_K,
                junction.mean_K,
                junction.max_K,
                junction.uncertainty_K
            ));
        }
        if junction.mean_K + junction.uncertainty_K < coldest - slack {
            return Err(format!("{} is colder than all around it", junction.name));
        }
        if !(junction.uncertainty_K >= 0.0 && junction.uncertainty_K.is_finite()) {
            return Err(format!("{}: uncertainty {}", junction.name, junction.uncertainty_K));
        }
    }
    let iterations = result.iterations as f64 / result.outer_iterations.max(1) as f64;
    Ok(End::Solved { iterations, imbalance, aspect: aspect(result) })
}

/// Widest over narrowest spacing of the grid, whichever way.
fn aspect(result: &SteadyResult) -> f64 {
    let widths = |lines: &[f64]| lines.windows(2).map(|pair| pair[1] - pair[0]).collect::<Vec<_>>();
    let mut all = widths(&result.surface_K.x_lines_m);
    all.extend(widths(&result.surface_K.y_lines_m));
    all.iter().copied().fold(0.0, f64::max) / all.iter().copied().fold(f64::INFINITY, f64::min)
}

/// Runs some seeds; the faults, and a table of what became of the others.
fn run(seeds: impl Iterator<Item = u64>) -> (Vec<String>, String) {
    let mut faults = Vec::new();
    let mut told: BTreeMap<&str, usize> = BTreeMap::new();
    let (mut solved, mut most, mut sum, mut worst) = (0usize, 0.0f64, 0.0, 0.0f64);
    let mut widest = 0.0f64;
    for seed in seeds {
        match end_of(seed) {
            End::Solved { iterations, imbalance, aspect } => {
                widest = widest.max(aspect);
                solved += 1;
                most = most.max(iterations);
                sum += iterations;
                worst = worst.max(imbalance);
            }
            End::Told(reason) => *told.entry(reason).or_default() += 1,
            End::Fault(why) => {
                println!("{why}");
                faults.push(why);
            }
        }
    }
    let table = format!(
        "{solved} solved, {:.1} iterations a linear system on average, {most:.0} at most, imbalance \
         at most {worst:.1e}, cells 1 to {widest:.0}; told: {told:?}; faults: {}",
        sum / solved.max(1) as f64,
        faults.len()
    );
    (faults, table)
}

#[test]
fn hard_modules_solve_soundly_or_end_with_a_reason() {
    let (faults, table) = run(1..=40);
    assert!(faults.is_empty(), "{table}\n{}", faults.join("\n"));
    println!("{table}");
}

/// Seats ten thousand times stronger than the links in the plane, rows of a third and columns of a
/// tenth of a micrometre beside wide ones: these took 61 to 104 iterations once.
#[test]
fn strong_seats_and_close_pairs_of_lines_take_few_iterations() {
    for seed in [2013, 2509, 5026, 5286, 5462, 80371] {
        match end_of(seed) {
            End::Solved { iterations, .. } => {
                assert!(iterations <= 25.0, "{seed}: {iterations} iterations");
            }
            end => panic!("{seed}: {end:?}"),
        }
    }
}

#[test]
#[ignore = "minutes: run by hand, HARD_MODULES says how many and HARD_FROM the first seed"]
fn thousands_of_hard_modules() {
    let number = |name: &str, default: u64| {
        std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(default)
    };
    let first = number("HARD_FROM", 1_000);
    let (faults, table) = run(first..first + number("HARD_MODULES", 2_000));
    println!("{table}");
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn the_draw_reaches_the_ends_of_its_ranges() {
    let modules: Vec<Module> = (1..=400).filter_map(|seed| module_of(seed).ok()).collect();
    assert_eq!(modules.len(), 400);
    let conductivities =
        modules.iter().flat_map(|m| &m.layers).map(|l| l.material.conductivity_W_mK[2]);
    let (low, high) =
        conductivities.fold((f64::INFINITY, 0.0f64), |(low, high), k| (low.min(k), high.max(k)));
    assert!(high / low > 1e5, "{low} {high}");
    let thickness = modules.iter().flat_map(|m| &m.layers).map(|l| l.thickness_m);
    let (thin, thick) =
        thickness.fold((f64::INFINITY, 0.0f64), |(low, high), t| (low.min(t), high.max(t)));
    assert!(thin < 3e-6 && thick > 5e-3, "{thin} {thick}");
    assert!(modules.iter().any(|m| m.die.len() > 150));
    let biot = |m: &Module| {
        m.layers
            .iter()
            .map(|l| m.board.htc_W_m2K * l.thickness_m / l.material.conductivity_W_mK[2])
            .collect::<Vec<_>>()
    };
    let all: Vec<f64> = modules.iter().flat_map(biot).filter(|b| *b > 0.0).collect();
    assert!(all.iter().any(|b| *b < 1e-6) && all.iter().any(|b| *b > 1e5));
}

/// Prints the case of one seed, to look into it: `HARD_FROM=5 cargo test ... -- --ignored prints`.
#[test]
#[ignore = "a tool for looking into one seed"]
fn prints_the_case_of_a_seed() {
    let seed = std::env::var("HARD_FROM").ok().and_then(|text| text.parse().ok()).unwrap_or(1);
    println!("{}", draw::case(seed));
}
