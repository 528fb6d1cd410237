//! The table that the checks make.

use std::fmt::Write;

use crate::check::Outcome;
use crate::manufactured::Level;
use crate::sources::Source;

/// A number with six significant digits, plain where that is short.
fn number(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    let magnitude = value.abs();
    if !(1e-4..1e7).contains(&magnitude) {
        return format!("{value:.3e}");
    }
    let decimals = (5 - magnitude.log10().floor() as i32).clamp(0, 9) as usize;
    format!("{value:.decimals$}")
}

/// A small number with two significant digits.
fn small(value: f64) -> String {
    if value == 0.0 { "0".to_owned() } else { format!("{value:.1e}") }
}

/// The whole table in Markdown, failures first in the summary and marked in the rows.
pub fn markdown(outcomes: &[Outcome]) -> String {
    let held = outcomes.iter().filter(|o| o.holds()).count();
    let mut sources: Vec<&Source> = Vec::new();
    for outcome in outcomes {
        if !sources.contains(&outcome.check.source) {
            sources.push(outcome.check.source);
        }
    }
    let mut text = String::new();
    // Writing to a String cannot fail.
    let _ = writeln!(text, "# Outside checks\n");
    let _ = writeln!(
        text,
        "Made by `cargo run --release -p sprayside_validation`. {held} of {} checks against {} \
         sources hold. A check holds when the difference is at most the uncertainty that the solver \
         prints plus what the source itself leaves open (its rounding, truncation or \
         discretisation).\n",
        outcomes.len(),
        sources.len()
    );
    let _ = writeln!(
        text,
        "| case | quantity | kind | source | expected | computed | difference | uncertainty | source's own | unit | holds |"
    );
    let _ = writeln!(text, "|---|---|---|---|---:|---:|---:|---:|---:|---|---|");
    for outcome in outcomes {
        let check = &outcome.check;
        let _ = writeln!(
            text,
            "| {} | {} | {} | {}: {} | {} | {} | {} | {} | {} | {} | {} |",
            check.case,
            check.what,
            check.kind.word(),
            check.source.short,
            check.place,
            number(check.expect),
            number(outcome.computed),
            small(outcome.difference()),
            small(outcome.uncertainty),
            small(check.within),
            check.unit,
            if outcome.holds() { "yes" } else { "**no**" }
        );
    }
    let _ = writeln!(text, "\n## Sources\n");
    for source in sources {
        let count = outcomes.iter().filter(|o| o.check.source == source).count();
        let memory = if source.from_memory {
            " Quoted from memory where a check does not say otherwise."
        } else {
            ""
        };
        let _ = writeln!(text, "- **{}** ({count} checks). {}.{memory}", source.short, source.full);
    }
    text
}

/// The observed orders of the manufactured solutions, each with its grids.
pub fn orders(studies: &[(&str, Vec<Level>)]) -> String {
    let mut text = String::new();
    let _ = writeln!(text, "\n## Observed order on manufactured solutions\n");
    let _ = writeln!(
        text,
        "Relative error in the root mean square over the volume; graded grids, unequal in x and y.\n"
    );
    let _ = writeln!(text, "| problem | cells x × y × sheets | error | order |");
    let _ = writeln!(text, "|---|---|---:|---:|");
    for (name, levels) in studies {
        for level in levels {
            let [nx, ny, nz] = level.cells;
            let order = level.order.map_or_else(String::new, |o| format!("{o:.2}"));
            let _ =
                writeln!(text, "| {name} | {nx} × {ny} × {nz} | {:.2e} | {order} |", level.error);
        }
    }
    text
}
