//! Recomputes every outside check and writes `validation/results.md`; exit code 1 when one fails.

use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

use sprayside_validation::{cases, table};

fn main() -> ExitCode {
    let mut stdout = std::io::stdout().lock();
    let mut outcomes = Vec::new();
    for family in cases::all() {
        match family() {
            Ok(family) => {
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
    let failed = outcomes.iter().filter(|o| !o.holds()).count();
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("results.md");
    if let Err(error) = std::fs::write(&path, table::markdown(&outcomes)) {
        let _ = writeln!(stdout, "cannot write {}: {error}", path.display());
        return ExitCode::FAILURE;
    }
    let _ = writeln!(stdout, "{} of {} checks hold", outcomes.len() - failed, outcomes.len());
    if failed == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
