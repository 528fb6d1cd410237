//! The catalogue of diagnostics for people.

use sprayside_solver::case::codes::Code;

use super::table::{Side, Table};
use super::{HEADING, WIDTH, styled, wrapped};

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
