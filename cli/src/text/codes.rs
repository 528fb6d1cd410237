//! The catalogue of diagnostics for people, and the coolants of the library.

use sprayside_solver::case::codes::Code;
use sprayside_solver::library::Fluid;

use super::table::{Side, Table};
use super::{HEADING, WIDTH, styled, wrapped};
use crate::figures::celsius;

/// One diagnostic with its long text.
pub fn one_code(code: &Code) -> String {
    let heading = styled(HEADING, &format!("{}: {}", code.id, code.title));
    format!("{heading}\n\n{}\n", wrapped(code.text, WIDTH, ""))
}

/// Every diagnostic on a line.
pub fn all_codes(codes: &[Code]) -> String {
    let mut table = Table::new(vec![("code", "", Side::Left), ("what it says", "", Side::Left)]);
    for code in codes {
        table.row(vec![code.id.to_owned(), code.title.to_owned()], None);
    }
    format!("{}\n`sprayside explain CODE` tells more about one of them.\n", table.text())
}

/// A coolant: its cautions, the range of its table, its sources.
pub fn one_fluid(fluid: &Fluid) -> String {
    let mut text = format!("{}\n\n", styled(HEADING, &fluid.name));
    for caution in &fluid.cautions {
        text += &format!("{}\n", wrapped(&format!("- {caution}"), WIDTH, "  "));
    }
    let [low, high] = fluid.range_K().map(celsius);
    text += &format!("\nTable from {low:.0} to {high:.0} °C.\n");
    let source = format!("{} {}", styled(HEADING, "Source:"), fluid.source);
    text + &format!("{}\n", wrapped(&source, WIDTH, "  "))
}
