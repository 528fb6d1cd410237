//! Whether the printed uncertainty holds: random modules solved with the defaults and compared
//! with a much finer solve.
//!
//! ```text
//! cargo run --release -p sprayside_validation --bin uncertainty [modules] [first seed]
//! ```
//!
//! Writes `validation/uncertainty.md`. Exit code 1 when less than 97 % of the junction
//! temperatures lie within their uncertainty of the finer solve, or when the median of
//! uncertainty over error is above 10.

use std::fmt::Write as _;
use std::io::Write;
use std::path::Path;
use std::process::ExitCode;
use std::time::Instant;

use sprayside_validation::random_module::random_module;
use sprayside_validation::vehicle::solved;

/// How much finer the reference is asked to be.
const FINER: f64 = 5.0;
/// Unknowns that the reference may take.
const REFERENCE_CELLS: usize = 5_000_000;
/// A temperature is judged only where the reference states at most this share of the uncertainty
/// under test for itself.
const REFERENCE_SHARE: f64 = 0.5;

/// One junction temperature against the finer solve.
struct Compared {
    seed: u64,
    what: String,
    error: f64,
    uncertainty: f64,
    reference_uncertainty: f64,
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    if n == 0 {
        return f64::NAN;
    }
    0.5 * (values[(n - 1) / 2] + values[n / 2])
}

struct Summary {
    inside: f64,
    median_ratio: f64,
    count: usize,
}

fn summary<'a>(rows: impl Iterator<Item = &'a Compared>) -> Summary {
    let rows: Vec<&Compared> = rows.collect();
    let inside = rows.iter().filter(|r| r.error <= r.uncertainty).count();
    let ratios = rows.iter().map(|r| r.uncertainty / r.error.max(1e-12)).collect();
    Summary {
        inside: 100.0 * inside as f64 / rows.len() as f64,
        median_ratio: median(ratios),
        count: rows.len(),
    }
}

fn main() -> ExitCode {
    let mut arguments = std::env::args().skip(1);
    let mut number = |default: u64| match arguments.next() {
        None => Some(default),
        Some(text) => text.parse().ok(),
    };
    let mut stdout = std::io::stdout().lock();
    let (Some(modules), Some(first)) = (number(200), number(7301)) else {
        let _ = writeln!(stdout, "usage: uncertainty [modules] [first seed]");
        return ExitCode::from(2);
    };
    let mut rows = Vec::new();
    let (mut reached, mut unjudged) = (0, 0);
    for seed in first..first + modules {
        let mut module = random_module(seed);
        let start = Instant::now();
        let coarse = match solved(&module) {
            Ok(result) => result,
            Err(error) => {
                let _ = writeln!(stdout, "seed {seed}: {error}");
                return ExitCode::FAILURE;
            }
        };
        let seconds = start.elapsed().as_secs_f64();
        let accuracy = module.mesh.accuracy_K;
        let worst = coarse.junctions.iter().map(|j| j.uncertainty_K).fold(0.0, f64::max);
        reached += usize::from(worst <= accuracy);
        module.mesh.accuracy_K = accuracy.max(worst) / FINER;
        module.mesh.max_cells = REFERENCE_CELLS;
        let start = Instant::now();
        let fine = match solved(&module) {
            Ok(result) => result,
            Err(error) => {
                let _ = writeln!(stdout, "seed {seed}, reference: {error}");
                return ExitCode::FAILURE;
            }
        };
        let _ = writeln!(
            stdout,
            "seed {seed}: {} sources, {} unknowns in {seconds:.2} s within {worst:.3} K, reference {} in {:.1} s within {:.3} K",
            coarse.junctions.len(),
            coarse.unknowns,
            fine.unknowns,
            start.elapsed().as_secs_f64(),
            fine.junctions.iter().map(|j| j.uncertainty_K).fold(0.0, f64::max)
        );
        for (c, f) in coarse.junctions.iter().zip(&fine.junctions) {
            for (which, coarse_K, fine_K, uncertainty, reference_uncertainty) in [
                ("max", c.max_K, f.max_K, c.uncertainty_K, f.uncertainty_K),
                ("mean", c.mean_K, f.mean_K, c.uncertainty_K, f.uncertainty_K),
                ("min", c.min_K, f.min_K, c.min_uncertainty_K, f.min_uncertainty_K),
            ] {
                if reference_uncertainty > REFERENCE_SHARE * uncertainty {
                    unjudged += 1;
                    continue;
                }
                let row = Compared {
                    seed,
                    what: format!("{which} of {}", c.name),
                    error: (coarse_K - fine_K).abs(),
                    uncertainty,
                    reference_uncertainty,
                };
                if row.error > row.uncertainty {
                    let _ = writeln!(
                        stdout,
                        "  {}: error {:.4} K outside {:.4} K (reference within {:.4} K)",
                        row.what, row.error, row.uncertainty, row.reference_uncertainty
                    );
                }
                rows.push(row);
            }
        }
        let _ = stdout.flush();
    }
    let highest = summary(rows.iter().filter(|r| r.what.starts_with("max")));
    let all = summary(rows.iter());
    let mut text = String::new();
    // Writing to a String cannot fail.
    let _ = writeln!(text, "# Does the printed uncertainty hold?\n");
    let _ = writeln!(
        text,
        "Made by `cargo run --release -p sprayside_validation --bin uncertainty {modules} {first}`: \
         {modules} random modules (seeds {first} to {}), defaults (0.1 K), against solves {FINER} \
         times finer. {reached} of {modules} reached the accuracy asked for; the others print what \
         they reached. {unjudged} temperatures are not judged, because the finer solve states more \
         than {REFERENCE_SHARE} of the uncertainty under test for itself.\n",
        first + modules - 1
    );
    let _ = writeln!(
        text,
        "| temperatures | number | inside the uncertainty | median uncertainty / error |"
    );
    let _ = writeln!(text, "|---|---:|---:|---:|");
    for (name, s) in [("highest of each source", &highest), ("highest, mean and lowest", &all)] {
        let _ =
            writeln!(text, "| {name} | {} | {:.1} % | {:.1} |", s.count, s.inside, s.median_ratio);
    }
    let blur = median(rows.iter().map(|r| r.reference_uncertainty).collect());
    let _ = writeln!(
        text,
        "\nThe finer solves state a median uncertainty of {blur:.1e} K themselves.\n"
    );
    let outside: Vec<&Compared> = rows.iter().filter(|r| r.error > r.uncertainty).collect();
    if !outside.is_empty() {
        let _ = writeln!(text, "Outside:\n\n| seed | temperature | error K | uncertainty K |");
        let _ = writeln!(text, "|---:|---|---:|---:|");
        for row in outside {
            let _ = writeln!(
                text,
                "| {} | {} | {:.4} | {:.4} |",
                row.seed, row.what, row.error, row.uncertainty
            );
        }
    }
    let _ = write!(stdout, "{text}");
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("uncertainty.md");
    if let Err(error) = std::fs::write(&path, &text) {
        let _ = writeln!(stdout, "cannot write {}: {error}", path.display());
        return ExitCode::FAILURE;
    }
    if all.inside >= 97.0 && all.median_ratio <= 10.0 {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}
