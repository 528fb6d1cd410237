//! Every outside check holds, and the committed table lists these checks.

use sprayside_validation::cases;
use sprayside_validation::check::Outcome;

/// The columns that do not depend on the solver's last digits: up to the expected value.
fn stable_columns(row: &str) -> String {
    row.split('|').take(6).collect::<Vec<_>>().join("|")
}

#[test]
fn every_check_holds_and_the_committed_table_is_theirs() {
    let mut outcomes: Vec<Outcome> = Vec::new();
    for family in cases::all() {
        outcomes.extend(family().unwrap_or_else(|error| panic!("no solution: {error}")));
    }
    let failed: Vec<String> = outcomes
        .iter()
        .filter(|o| !o.holds())
        .map(|o| {
            format!(
                "{}, {}: expected {}, computed {}, allowed {} + {}",
                o.check.case,
                o.check.what,
                o.check.expect,
                o.computed,
                o.uncertainty,
                o.check.within
            )
        })
        .collect();
    assert!(failed.is_empty(), "{failed:#?}");

    let rows = |text: &str| -> Vec<String> {
        text.lines().filter(|l| l.ends_with("| yes |")).map(stable_columns).collect()
    };
    let fresh = rows(&sprayside_validation::table::markdown(&outcomes));
    let committed = rows(include_str!("../results.md"));
    assert_eq!(fresh.len(), outcomes.len());
    for (ours, theirs) in fresh.iter().zip(&committed) {
        assert_eq!(ours, theirs, "run `cargo run --release -p sprayside_validation`");
    }
    assert_eq!(fresh.len(), committed.len());
}

#[test]
fn there_are_enough_checks_from_enough_sources() {
    let text = include_str!("../results.md");
    let checks = text.lines().filter(|l| l.ends_with("| yes |")).count();
    let sources = text.lines().filter(|l| l.starts_with("- **")).count();
    assert!(checks >= 40, "{checks} checks");
    assert!(sources >= 12, "{sources} sources");
}
