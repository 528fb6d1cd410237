//! Names: unique where results are listed by them, found where parts refer to them.

use super::super::codes;
use super::super::context::{Context, Located, nearest, quoted_list};

/// Notes every name that an earlier part has already.
pub(super) fn check_unique<'n>(
    context: &Context<'_>,
    what: &str,
    names: impl IntoIterator<Item = &'n Located<String>>,
    same: impl Fn(&str, &str) -> bool,
) {
    let mut seen: Vec<&Located<String>> = Vec::new();
    for name in names {
        match seen.iter().find(|earlier| same(&earlier.value, &name.value)) {
            Some(earlier) => context.push(
                context
                    .error(
                        codes::DUPLICATE_NAME,
                        format!("{what} \"{}\" is named twice", name.value),
                        &name.span,
                        "the same name again",
                    )
                    .also(context.label(&earlier.span, "first used here"))
                    .help("results are listed by name: give each its own"),
            ),
            None => seen.push(name),
        }
    }
}

/// Notes a name that the case gives to something of its own although the library has it (`taken`).
pub(super) fn not_of_library(context: &Context<'_>, name: &Located<String>, taken: bool) {
    if !taken {
        return;
    }
    context.push(
        context
            .error(
                codes::LIBRARY_NAME,
                format!("\"{}\" is in the library already", name.value),
                &name.span,
                "",
            )
            .help(format!("call it \"my-{}\" or so, here and where it is used", name.value)),
    );
}

/// Notes a name that nothing has, with the nearest one.
pub(super) fn unknown<'n>(
    context: &Context<'_>,
    what: &str,
    name: &Located<String>,
    known: impl IntoIterator<Item = &'n str>,
) {
    let known: Vec<&str> = known.into_iter().collect();
    let finding = context.error(
        codes::UNKNOWN_NAME,
        format!("there is no {what} \"{}\"", name.value),
        &name.span,
        "",
    );
    context.push(match nearest(&name.value, known.iter().copied()) {
        Some(near) => finding.help(format!("did you mean \"{near}\"?")),
        None if known.is_empty() => finding.help(format!("the case describes no {what}")),
        None => finding.help(format!("known here: {}", quoted_list(known))),
    });
}
