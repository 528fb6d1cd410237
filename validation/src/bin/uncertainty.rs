//! Whether the printed uncertainty holds: random modules, with stated coefficients and under
//! nozzles, solved with the defaults and compared with a much finer solve.
//!
//! ```text
//! cargo run --release -p sprayside_validation --bin uncertainty [modules] [sprayed modules] [first seed]
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

use sprayside_solver::module::Module;
use sprayside_solver::results::Junction;
use sprayside_validation::random_module::{random_module, sprayed_module};
use sprayside_validation::vehicle::solved;

/// How much finer the reference is asked to be.
const FINER: f64 = 5.0;
/// Unknowns that the reference may take.
const REFERENCE_CELLS: usize = 5_000_000;
/// A temperature is judged only where the reference states at most this share of the uncertainty
/// under test for itself.
const REFERENCE_SHARE: f64 = 0.5;

/// Which temperature of a source.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Which {
    Max,
    Mean,
    Min,
}

impl Which {
    const ALL: [Which; 3] = [Which::Max, Which::Mean, Which::Min];

    fn word(self) -> &'static str {
        match self {
            Which::Max => "max",
            Which::Mean => "mean",
            Which::Min => "min",
        }
    }

    /// The temperature and its uncertainty, K.
    fn of(self, junction: &Junction) -> (f64, f64) {
        match self {
            Which::Max => (junction.max_K, junction.uncertainty_K),
            Which::Mean => (junction.mean_K, junction.mean_uncertainty_K),
            Which::Min => (junction.min_K, junction.min_uncertainty_K),
        }
    }
}

/// One junction temperature against the finer solve.
struct Compared {
    label: String,
    source: String,
    which: Which,
    error: f64,
    uncertainty: f64,
    reference_uncertainty: f64,
}

/// What a family of modules gave.
#[derive(Default)]
struct Outcome {
    rows: Vec<Compared>,
    modules: u64,
    reached: usize,
    unjudged: usize,
    /// Sources that are burnt out, of whose temperature nothing is claimed.
    burnt_out: usize,
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

/// Solves `module` and its finer reference, tells how it went on `out` and keeps the comparison.
fn compare(
    label: &str,
    mut module: Module,
    outcome: &mut Outcome,
    out: &mut impl Write,
) -> Result<(), String> {
    let start = Instant::now();
    let coarse = solved(&module).map_err(|error| format!("{label}: {error}"))?;
    let seconds = start.elapsed().as_secs_f64();
    let accuracy = module.mesh.accuracy_K;
    let worst = coarse.junctions.iter().map(|j| j.uncertainty_K).fold(0.0, f64::max);
    outcome.modules += 1;
    outcome.reached += usize::from(worst <= accuracy);
    module.mesh.accuracy_K = accuracy.max(worst) / FINER;
    module.mesh.max_cells = REFERENCE_CELLS;
    let start = Instant::now();
    let fine = solved(&module).map_err(|error| format!("{label}, reference: {error}"))?;
    let _ = writeln!(
        out,
        "{label}: {} sources, {} unknowns in {seconds:.2} s within {worst:.3} K, reference {} in {:.1} s within {:.3} K",
        coarse.junctions.len(),
        coarse.unknowns,
        fine.unknowns,
        start.elapsed().as_secs_f64(),
        fine.junctions.iter().map(|j| j.uncertainty_K).fold(0.0, f64::max)
    );
    for (c, f) in coarse.junctions.iter().zip(&fine.junctions) {
        if [c, f].iter().any(|j| j.chf_margin_at_least().is_some_and(|margin| margin < 1.0)) {
            outcome.burnt_out += 1;
            continue;
        }
        for which in Which::ALL {
            let ((coarse_K, uncertainty), (fine_K, reference_uncertainty)) =
                (which.of(c), which.of(f));
            if reference_uncertainty > REFERENCE_SHARE * uncertainty {
                outcome.unjudged += 1;
                continue;
            }
            let row = Compared {
                label: label.to_owned(),
                source: c.name.clone(),
                which,
                error: (coarse_K - fine_K).abs(),
                uncertainty,
                reference_uncertainty,
            };
            if row.error > row.uncertainty {
                let _ = writeln!(
                    out,
                    "  {} of {}: error {:.4} K outside {:.4} K (reference within {:.4} K)",
                    which.word(),
                    row.source,
                    row.error,
                    row.uncertainty,
                    row.reference_uncertainty
                );
            }
            outcome.rows.push(row);
        }
    }
    let _ = out.flush();
    Ok(())
}

/// The page. Writing to a String cannot fail.
fn page(families: &[(&str, &Outcome)], arguments: [u64; 3]) -> String {
    let [modules, sprayed, first] = arguments;
    let mut text = String::new();
    let _ = writeln!(text, "# Does the printed uncertainty hold?\n");
    let _ = writeln!(
        text,
        "Made by `cargo run --release -p sprayside_validation --bin uncertainty {modules} {sprayed} \
         {first}`: random modules with the defaults (0.1 K), {modules} with stated coefficients \
         (seeds {first} to {}) and {sprayed} under nozzles, single-phase and boiling, against solves \
         {FINER} times finer. A temperature is not judged where the finer solve states more than \
         {REFERENCE_SHARE} of the uncertainty under test for itself, nor on a source that is burnt \
         out.\n",
        (first + modules).saturating_sub(1)
    );
    let _ = writeln!(
        text,
        "| modules | number | reached 0.1 K | temperatures | judged | inside the uncertainty | median uncertainty / error |"
    );
    let _ = writeln!(text, "|---|---:|---:|---|---:|---:|---:|");
    for (name, outcome) in families {
        let of = |which| summary(outcome.rows.iter().filter(move |r| r.which == which));
        for (what, s) in [
            ("highest of each source", of(Which::Max)),
            ("mean of each source", of(Which::Mean)),
            ("lowest of each source", of(Which::Min)),
            ("all", summary(outcome.rows.iter())),
        ] {
            let _ = writeln!(
                text,
                "| {name} | {} | {} | {what} | {} | {:.1} % | {:.1} |",
                outcome.modules, outcome.reached, s.count, s.inside, s.median_ratio
            );
        }
    }
    let _ = writeln!(text);
    for (name, outcome) in families {
        let blur = median(outcome.rows.iter().map(|r| r.reference_uncertainty).collect());
        let _ = writeln!(
            text,
            "Modules {name}: {} temperatures not judged, {} sources burnt out; the finer solves \
             state a median uncertainty of {blur:.1e} K themselves.\n",
            outcome.unjudged, outcome.burnt_out
        );
    }
    let _ = writeln!(text, "Outside:\n\n| module | temperature | error K | uncertainty K |");
    let _ = writeln!(text, "|---|---|---:|---:|");
    let rows = families.iter().flat_map(|(_, outcome)| &outcome.rows);
    for row in rows.filter(|r| r.error > r.uncertainty) {
        let _ = writeln!(
            text,
            "| {} | {} of {} | {:.4} | {:.4} |",
            row.label,
            row.which.word(),
            row.source,
            row.error,
            row.uncertainty
        );
    }
    text
}

fn main() -> ExitCode {
    let mut stdout = std::io::stdout().lock();
    let mut arguments = std::env::args().skip(1);
    let mut number = |default: u64| match arguments.next() {
        None => Some(default),
        Some(text) => text.parse().ok(),
    };
    let (Some(modules), Some(sprayed), Some(first)) = (number(200), number(60), number(7301))
    else {
        let _ = writeln!(stdout, "usage: uncertainty [modules] [sprayed modules] [first seed]");
        return ExitCode::from(2);
    };
    let (mut stated, mut nozzles) = (Outcome::default(), Outcome::default());
    for seed in first..first + modules {
        if let Err(why) = compare(&seed.to_string(), random_module(seed), &mut stated, &mut stdout)
        {
            let _ = writeln!(stdout, "{why}");
            return ExitCode::FAILURE;
        }
    }
    for seed in first..first + sprayed {
        let label = format!("{seed} sprayed");
        if let Err(why) = compare(&label, sprayed_module(seed), &mut nozzles, &mut stdout) {
            let _ = writeln!(stdout, "{why}");
            return ExitCode::FAILURE;
        }
    }
    let families = [("with stated coefficients", &stated), ("under nozzles", &nozzles)];
    let text = page(&families, [modules, sprayed, first]);
    let _ = write!(stdout, "{text}");
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("uncertainty.md");
    if let Err(error) = std::fs::write(&path, &text) {
        let _ = writeln!(stdout, "cannot write {}: {error}", path.display());
        return ExitCode::FAILURE;
    }
    let holds = families.iter().all(|(_, outcome)| {
        let highest = summary(outcome.rows.iter().filter(|r| r.which == Which::Max));
        let all = summary(outcome.rows.iter());
        [highest, all].iter().all(|s| s.count == 0 || (s.inside >= 97.0 && s.median_ratio <= 10.0))
    });
    if holds { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
