//! Recomputes every outside check and writes `validation/results.md`; exit code 1 when one fails.

use std::io::Write;
use std::path::Path;
use std::process::ExitCode;
use std::time::Instant;

use sprayside_validation::{cases, manufactured, spray_points, table};

fn main() -> ExitCode {
    let mut stdout = std::io::stdout().lock();
    let mut outcomes = Vec::new();
    for family in cases::all() {
        let start = Instant::now();
        match family() {
            Ok(family) => {
                let _ = writeln!(stdout, "-- {:.1} s", start.elapsed().as_secs_f64());
                for outcome in &family {
                    let _ = writeln!(
                        stdout,
                        "{} {}, {}: expected {:.6}, computed {:.6}, difference {:.2e}, allowed {:.2e} + {:.2e} {}",
                        if outcome.holds() { "holds" } else { "FAILS" },
                        outcome.check.case,
                        outcome.check.what,
                        outcome.check.expect,
                        outcome.computed,
                        outcome.difference(),
                        outcome.uncertainty,
                        outcome.check.within,
                        outcome.check.unit
                    );
                }
                outcomes.extend(family);
            }
            Err(error) => {
                let _ = writeln!(stdout, "FAILS no solution: {error}");
                return ExitCode::FAILURE;
            }
        }
    }
    let mut studies = Vec::new();
    let mut low_orders = 0;
    for problem in manufactured::problems() {
        match problem.study(4) {
            Ok(levels) => {
                let order = levels.last().and_then(|l| l.order).unwrap_or(f64::NAN);
                let second = (order - 2.0).abs() < 0.1;
                low_orders += usize::from(!second);
                let _ = writeln!(
                    stdout,
                    "{} order {order:.2}: {}",
                    if second { "holds" } else { "FAILS" },
                    problem.name
                );
                studies.push((problem.name, levels));
            }
            Err(error) => {
                let _ = writeln!(stdout, "FAILS {}: {error}", problem.name);
                return ExitCode::FAILURE;
            }
        }
    }
    let failed = outcomes.iter().filter(|o| !o.holds()).count();
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("results.md");
    let text = format!(
        "{}{}\n{}",
        table::markdown(&outcomes),
        table::orders(&studies),
        spray_points::markdown()
    );
    if let Err(error) = std::fs::write(&path, text) {
        let _ = writeln!(stdout, "cannot write {}: {error}", path.display());
        return ExitCode::FAILURE;
    }
    let _ = writeln!(stdout, "{} of {} checks hold", outcomes.len() - failed, outcomes.len());
    if failed + low_orders == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
