//! What every check shares: the text, the way to other files, and the list of findings.
//!
//! A table in another file is read as if it stood behind the case: its bytes count on from the
//! end of the case text ([`Context::adopt`]), so that every check points into it unawares.

use std::cell::RefCell;
use std::ops::Range;
use std::sync::Arc;

use super::codes::{self, Code};
use super::diagnostic::{Diagnostic, Label, Severity, SourceText};

/// A value and where it stands in the case.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Located<T> {
    pub value: T,
    pub span: Range<usize>,
}

impl<T> Located<T> {
    pub fn map<U>(self, f: impl FnOnce(T) -> U) -> Located<U> {
        Located { value: f(self.value), span: self.span }
    }
}

/// Most findings that are told of one case.
const MOST_FINDINGS: usize = 1_000;

/// The case under reading.
pub(super) struct Context<'a> {
    pub source: Arc<SourceText>,
    load: &'a dyn Fn(&str) -> Result<String, String>,
    adopted: RefCell<Vec<Adopted>>,
    found: RefCell<Vec<Diagnostic>>,
}

/// A text of another file, and where it counts from.
struct Adopted {
    base: usize,
    source: Arc<SourceText>,
    /// Where the case names it.
    named_at: Range<usize>,
}

impl<'a> Context<'a> {
    pub fn new(
        source: Arc<SourceText>,
        load: &'a dyn Fn(&str) -> Result<String, String>,
    ) -> Context<'a> {
        Context { source, load, adopted: RefCell::new(Vec::new()), found: RefCell::new(Vec::new()) }
    }

    /// Takes in the text of another file that the case names at `named_at`; its byte 0 counts as
    /// the number given back in every span.
    pub fn adopt(&self, source: &Arc<SourceText>, named_at: &Range<usize>) -> usize {
        let mut adopted = self.adopted.borrow_mut();
        let last = adopted.last().map(|last| (last.base, last.source.text.len()));
        let base = last.map_or(self.source.text.len(), |(base, length)| base + length) + 1;
        adopted.push(Adopted { base, source: Arc::clone(source), named_at: named_at.clone() });
        base
    }

    /// The text that a span lies in, and the span there.
    fn place(&self, span: &Range<usize>) -> (Arc<SourceText>, Range<usize>) {
        let adopted = self.adopted.borrow();
        match adopted.iter().rev().find(|text| text.base <= span.start) {
            Some(text) => {
                let end = span.end.max(span.start) - text.base;
                (Arc::clone(&text.source), span.start - text.base..end)
            }
            None => (Arc::clone(&self.source), span.clone()),
        }
    }

    /// The text of the case at a place.
    pub fn written(&self, span: &Range<usize>) -> String {
        let (source, span) = self.place(span);
        source.text.get(span).unwrap_or_default().to_owned()
    }

    /// The text of the file that `path` names in the case; a mistake is noted where there is none.
    pub fn text_of(&self, path: &Located<String>) -> Option<String> {
        if path.value.trim().is_empty() {
            let label = "the name of a CSV file belongs here";
            self.push(self.error(codes::BAD_NAME, "no file is named", &path.span, label));
            return None;
        }
        (self.load)(&path.value)
            .map_err(|reason| {
                let headline = format!("cannot read \"{}\"", path.value);
                self.push(
                    self.error(codes::FILE_UNREADABLE, headline, &path.span, reason)
                        .help("file names are relative to the folder of the case"),
                );
            })
            .ok()
    }

    /// A mark in the case file, or in a table that was taken in.
    pub fn label(&self, span: &Range<usize>, text: impl Into<String>) -> Label {
        let (source, span) = self.place(span);
        Label::new(&source, span, text)
    }

    /// An error marked in the case file; hand it to [`Context::push`].
    pub fn error(
        &self,
        code: Code,
        headline: impl Into<String>,
        span: &Range<usize>,
        label: impl Into<String>,
    ) -> Diagnostic {
        Diagnostic::error(code, headline, self.label(span, label))
    }

    /// A warning marked in the case file; hand it to [`Context::push`].
    pub fn warning(
        &self,
        code: Code,
        headline: impl Into<String>,
        span: &Range<usize>,
        label: impl Into<String>,
    ) -> Diagnostic {
        Diagnostic::warning(code, headline, self.label(span, label))
    }

    /// Whether so much is wrong already that more findings are of no use.
    pub fn is_full(&self) -> bool {
        self.found.borrow().len() >= MOST_FINDINGS
    }

    /// Records a finding, until there are [`MOST_FINDINGS`]; one that stands in a table alone says
    /// where the case names the table.
    pub fn push(&self, mut diagnostic: Diagnostic) {
        if self.is_full() {
            // No error is lost to warnings: one of them makes room.
            let mut found = self.found.borrow_mut();
            let is_error = |finding: &Diagnostic| finding.severity == Severity::Error;
            if is_error(&diagnostic) && !found.iter().any(is_error) {
                found.pop();
            } else {
                return;
            }
        }
        if self.found.borrow().len() + 1 == MOST_FINDINGS {
            diagnostic = diagnostic.help("mend these first: more findings are not listed");
        }
        let in_case = |label: &Label| Arc::ptr_eq(&label.source, &self.source);
        if !diagnostic.labels.iter().any(in_case) {
            let adopted = self.adopted.borrow();
            let named = adopted.iter().find(|text| {
                diagnostic.labels.iter().any(|label| Arc::ptr_eq(&label.source, &text.source))
            });
            if let Some(text) = named {
                let label = Label::new(&self.source, text.named_at.clone(), "named here");
                diagnostic = diagnostic.also(label);
            }
        }
        self.found.borrow_mut().push(diagnostic);
    }

    pub fn has_errors(&self) -> bool {
        self.found.borrow().iter().any(|finding| finding.severity == Severity::Error)
    }

    /// The findings in the order of the case text; those in other files stand where the case
    /// names the file.
    pub fn into_findings(self) -> Vec<Diagnostic> {
        let mut found = self.found.into_inner();
        let place = |finding: &Diagnostic| {
            finding
                .labels
                .iter()
                .find(|label| Arc::ptr_eq(&label.source, &self.source))
                .map_or(0, |label| label.span.start)
        };
        found.sort_by_key(place);
        found
    }
}

/// The candidate that a misspelt `word` most resembles, if any does.
///
/// Jaro-Winkler similarity above 0.8 (ties: the earlier candidate), compared without regard to
/// case, `-` and `_`.
pub(super) fn nearest<'c>(
    word: &str,
    candidates: impl IntoIterator<Item = &'c str>,
) -> Option<&'c str> {
    more_alike_than(0.8, word, candidates)
}

/// The most similar candidate, if its similarity (0 to 1) is above `least`.
pub(super) fn more_alike_than<'c>(
    least: f64,
    word: &str,
    candidates: impl IntoIterator<Item = &'c str>,
) -> Option<&'c str> {
    let plain = |text: &str| text.to_lowercase().replace(['-', '_', ' '], "");
    let word = plain(word);
    let mut best: Option<(f64, &str)> = None;
    for candidate in candidates {
        let similarity = strsim::jaro_winkler(&word, &plain(candidate));
        if similarity > least && best.is_none_or(|(highest, _)| similarity > highest) {
            best = Some((similarity, candidate));
        }
    }
    best.map(|(_, candidate)| candidate)
}

/// `a, b, c`, each quoted; shortened after twelve.
pub(super) fn quoted_list<'c>(names: impl IntoIterator<Item = &'c str>) -> String {
    let mut names: Vec<String> = names.into_iter().map(|name| format!("\"{name}\"")).collect();
    let more = names.len().saturating_sub(12);
    if more > 0 {
        names.truncate(12);
        names.push(format!("{more} more"));
    }
    names.join(", ")
}

/// A number as a person would write it: at most six significant digits, no trailing zeros.
pub(super) fn number_text(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let magnitude = value.abs().log10().floor();
    if !(-4.0..7.0).contains(&magnitude) {
        let text = format!("{value:.5e}");
        return match text.split_once('e') {
            Some((digits, exponent)) if digits.contains('.') => {
                format!("{}e{exponent}", digits.trim_end_matches('0').trim_end_matches('.'))
            }
            _ => text,
        };
    }
    let decimals = (5.0 - magnitude).max(0.0) as usize;
    let text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_written_as_people_write_them() {
        for (value, text) in [
            (0.0, "0"),
            (75.0, "75"),
            (0.075, "0.075"),
            (1.0 / 3.0, "0.333333"),
            (-0.25, "-0.25"),
            (101325.0, "101325"),
            (2e12, "2e12"),
            (1e7, "1e7"),
            (2400000.0, "2400000"),
            (1.5e-7, "1.5e-7"),
            (100.0 * 1.1, "110"),
        ] {
            assert_eq!(number_text(value), text);
        }
    }

    #[test]
    fn the_nearest_name_ignores_case_and_dashes() {
        assert_eq!(nearest("Alumina_96", ["silicon", "alumina-96"]), Some("alumina-96"));
        assert_eq!(nearest("powr_W", ["power_W", "name"]), Some("power_W"));
        assert_eq!(nearest("zzz", ["power_W", "name"]), None);
    }
}
