//! Syntax errors: fewer and plainer than the parser's own.

use std::ops::Range;
use std::sync::Arc;

use toml::Spanned;
use toml::de::{DeTable, DeValue, Error};

use super::codes;
use super::diagnostic::{Diagnostic, Label, SourceText};

/// The syntax errors of a file, and those of its other findings that can be trusted: findings
/// about values on lines free of syntax errors.
///
/// What is missing or unknown is not told as long as the syntax is wrong: it may only seem so.
/// One error a line is told, and of an unclosed list only where it opens: what follows is noise.
pub(super) fn findings(
    source: &Arc<SourceText>,
    root: &DeTable<'_>,
    errors: &[Error],
    others: Vec<Diagnostic>,
) -> Vec<Diagnostic> {
    let end = source.text.len();
    let line = |offset: usize| source.line_column(offset).0;
    let mut errors: Vec<(Range<usize>, &str)> =
        errors.iter().map(|error| (error.span().unwrap_or(end..end), error.message())).collect();
    errors.sort_by_key(|(span, _)| span.start);

    let mut all: Vec<Diagnostic> = Vec::new();
    let mut unclosed: Option<Range<usize>> = None;
    if let Some((span, _)) = errors.iter().find(|(_, text)| text.starts_with("unclosed array"))
        && let Some(list) = list_ending_at(root, span.start)
    {
        let first_line =
            source.text.get(list.start..).and_then(|text| text.lines().next()).map_or(0, str::len);
        all.push(
            Diagnostic::error(
                codes::SYNTAX,
                "a list is not closed",
                Label::new(source, list.start..list.start + first_line, "it opens here"),
            )
            .help("a ] is missing"),
        );
        unclosed = Some(list.start..end);
    }
    let mut told_line = 0;
    for (span, message) in errors {
        let noise = unclosed.as_ref().is_some_and(|list| span.start >= list.start);
        if noise || line(span.start) == told_line {
            continue;
        }
        told_line = line(span.start);
        let label = Label::new(source, span.clone(), "");
        all.push(if message.starts_with("duplicate key") {
            let key = &source.text[label.span.clone()];
            let finding = Diagnostic::error(
                codes::DUPLICATE_KEY,
                format!("the key {key} is given twice"),
                label.clone(),
            );
            match last_key_before(root, key, span.start) {
                Some(first) => finding.also(Label::new(source, first, "first given here")),
                None => finding,
            }
            .help("keep one of them; parts of a list start with [[double]] brackets")
        } else {
            let finding = Diagnostic::error(codes::SYNTAX, message, label);
            if follows_decimal_comma(&source.text, span.start) {
                finding.help("write decimals with a point, 1.5")
            } else if message.starts_with("string values must be quoted") {
                finding.help("write text in quotes; a list needs commas, a line holds one value")
            } else {
                finding
            }
        });
    }

    let broken: Vec<usize> = all.iter().map(|found| line(found.primary().span.start)).collect();
    let value_codes =
        [codes::WRONG_TYPE, codes::NOT_FINITE, codes::OUT_OF_RANGE, codes::WRONG_WORD];
    all.extend(others.into_iter().filter(|finding| {
        let span = &finding.primary().span;
        value_codes.contains(&finding.code)
            && unclosed.as_ref().is_none_or(|list| span.end <= list.start)
            && !(line(span.start)..=line(span.end)).any(|line| broken.contains(&line))
    }));
    all.sort_by_key(|finding| finding.primary().span.start);
    all
}

/// The outermost list whose text ends at `offset`.
fn list_ending_at(table: &DeTable<'_>, offset: usize) -> Option<Range<usize>> {
    table.iter().find_map(|(_, value)| list_in(value, offset))
}

fn list_in(value: &Spanned<DeValue<'_>>, offset: usize) -> Option<Range<usize>> {
    match value.get_ref() {
        // A list of tables has the span of its first header.
        DeValue::Array(_) if value.span().end == offset => Some(value.span()),
        DeValue::Array(array) => array.iter().find_map(|element| list_in(element, offset)),
        DeValue::Table(table) => list_ending_at(table, offset),
        _ => None,
    }
}

/// Where the key called `name` stands that comes last before `offset`.
fn last_key_before(table: &DeTable<'_>, name: &str, offset: usize) -> Option<Range<usize>> {
    let here = table
        .keys()
        .filter(|key| key.get_ref() == name && key.span().start < offset)
        .map(Spanned::span);
    let below = table.values().filter_map(|value| last_key_in(value, name, offset));
    here.chain(below).max_by_key(|span| span.start)
}

fn last_key_in(value: &Spanned<DeValue<'_>>, name: &str, offset: usize) -> Option<Range<usize>> {
    match value.get_ref() {
        DeValue::Table(table) => last_key_before(table, name, offset),
        DeValue::Array(array) => array
            .iter()
            .filter_map(|element| last_key_in(element, name, offset))
            .max_by_key(|span| span.start),
        _ => None,
    }
}

/// Whether the parser stopped at the comma of a number such as `30,5`, or right behind it.
fn follows_decimal_comma(text: &str, offset: usize) -> bool {
    let before = text.get(..offset).unwrap_or_default();
    let before = before.strip_suffix(',').unwrap_or(before);
    let after = text.get(before.len()..).unwrap_or_default();
    let digit = |c: char| c.is_ascii_digit();
    before.ends_with(digit) && after.strip_prefix(',').is_some_and(|rest| rest.starts_with(digit))
}
