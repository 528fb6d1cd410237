//! What every check shares: the text, the way to other files, and the list of findings.

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

/// The case under reading.
pub(super) struct Context<'a> {
    pub source: Arc<SourceText>,
    load: &'a dyn Fn(&str) -> Result<String, String>,
    found: RefCell<Vec<Diagnostic>>,
}

impl<'a> Context<'a> {
    pub fn new(
        source: Arc<SourceText>,
        load: &'a dyn Fn(&str) -> Result<String, String>,
    ) -> Context<'a> {
        Context { source, load, found: RefCell::new(Vec::new()) }
    }

    /// The text of the case at a place.
    pub fn written(&self, span: &Range<usize>) -> &str {
        self.source.text.get(span.clone()).unwrap_or_default()
    }

    /// The text of the file that `path` names in the case; a mistake is noted where there is none.
    pub fn text_of(&self, path: &Located<String>) -> Option<String> {
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

    /// A mark in the case file.
    pub fn label(&self, span: &Range<usize>, text: impl Into<String>) -> Label {
        Label::new(&self.source, span.clone(), text)
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

    /// Records a finding.
    pub fn push(&self, diagnostic: Diagnostic) {
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
    let plain = |text: &str| text.to_lowercase().replace(['-', '_', ' '], "");
    let word = plain(word);
    let mut best: Option<(f64, &str)> = None;
    for candidate in candidates {
        let similarity = strsim::jaro_winkler(&word, &plain(candidate));
        if similarity > 0.8 && best.is_none_or(|(highest, _)| similarity > highest) {
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
