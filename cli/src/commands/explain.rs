//! `explain`: the long text of a diagnostic, or what a person must know of a coolant.

use sprayside_solver::case::codes::{ALL, Code};
use sprayside_solver::library::fluids;

use crate::arguments::ExplainArguments;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::{console, text};

/// Prints one text, or the list of all.
pub fn run(arguments: &ExplainArguments) -> Result<Exit, Failure> {
    let Some(asked) = &arguments.code else {
        console::print(&text::all_codes(ALL))?;
        return Ok(Exit::Kept);
    };
    if let Some(fluid) = fluids::name_here(asked).and_then(fluids::by_name) {
        console::print(&text::one_fluid(&fluid))?;
        return Ok(Exit::Kept);
    }
    let code = find(asked).ok_or_else(|| Failure::Request {
        headline: format!("there is no diagnostic {asked}, nor a coolant of that name"),
        help: format!(
            "`sprayside explain` without a code lists all of them; the coolants are {}",
            fluids::names().join(", ")
        ),
    })?;
    console::print(&text::one_code(code))?;
    Ok(Exit::Kept)
}

/// A code as people type it: `E012`, `e12`, `E012:`, `[E012]`.
fn find(asked: &str) -> Option<&'static Code> {
    let asked = asked.trim_matches(|c: char| !c.is_ascii_alphanumeric()).to_uppercase();
    let split = asked.find(|c: char| c.is_ascii_digit())?;
    let (letters, digits) = asked.split_at(split);
    let number: u32 = digits.parse().ok()?;
    let id = format!("{letters}{number:03}");
    ALL.iter().find(|code| code.id == id)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_found_however_they_are_typed() {
        for asked in ["E012", "e12", "[E012]", "E012:", " e012"] {
            assert_eq!(find(asked).map(|code| code.id), Some("E012"), "{asked}");
        }
        for asked in ["", "E", "12", "E999", "X012", "E01Z", "E99999999999"] {
            assert!(find(asked).is_none(), "{asked}");
        }
    }
}
