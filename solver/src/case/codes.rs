//! The catalogue of diagnostics: one stable code each, with a text that explains it.
//!
//! Codes are never renumbered nor reused: scripts and people remember them.

/// An entry of the catalogue.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Code {
    /// Stable identifier, such as `E012`; warnings start with `W`.
    pub id: &'static str,
    /// The kind of mistake, in a few words.
    pub title: &'static str,
    /// What it means and how to mend it, for `explain`.
    pub text: &'static str,
}

/// The text is not TOML.
pub const SYNTAX: Code = Code {
    id: "E001",
    title: "not valid TOML",
    text: "The file cannot be read as TOML, so nothing in it could be checked. The mark shows where \
           reading stopped. Common slips: a missing quote around text, a decimal comma instead of a \
           point, a missing bracket of [[die]], the same key twice in one table.",
};

/// Every entry, in order of code.
pub const ALL: &[Code] = &[SYNTAX];

/// The entry with this code; upper or lower case.
pub fn by_id(id: &str) -> Option<&'static Code> {
    ALL.iter().find(|code| code.id.eq_ignore_ascii_case(id.trim()))
}
