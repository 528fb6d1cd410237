//! Names that a case gives to its parts.

use super::super::codes;
use super::super::context::{Context, Located};

/// Names are printed, stand in CSV cells and in file names.
pub(super) fn check_name(
    context: &Context<'_>,
    key: &str,
    name: Located<String>,
) -> Option<Located<String>> {
    let text = &name.value;
    let fault = if text.trim().is_empty() {
        "a name needs at least one visible character"
    } else if text.trim() != text {
        "a name has no blanks at its ends"
    } else if text.chars().count() > 60 {
        "a name has at most 60 characters"
    } else if let Some(c) = text.chars().find(|c| c.is_control() || "/\\:*?\"<>|".contains(*c)) {
        let finding = context.error(
            codes::BAD_NAME,
            format!("{key} holds a character that names cannot have"),
            &name.span,
            format!("the character {c:?}"),
        );
        context.push(finding.help(
            "names stand in file names too: leave out / \\ : * ? \" < > | and control characters",
        ));
        return None;
    } else if text.starts_with('.') {
        "a name does not start with a point"
    } else {
        return Some(name);
    };
    context.push(context.error(
        codes::BAD_NAME,
        format!("{key} is not a usable name"),
        &name.span,
        fault,
    ));
    None
}
