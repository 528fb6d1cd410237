//! What is wrong with a case, as plain data: a code, a headline, labelled spans and the mend.
//!
//! Drawing is the program's business; nothing here knows of terminals or colours.

use std::fmt;
use std::ops::Range;
use std::sync::Arc;

use super::codes::Code;

/// A text that diagnostics point into: the case file, or a CSV file that it names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SourceText {
    /// Name to print, as the user wrote it.
    pub name: String,
    /// The whole text, without a byte order mark.
    pub text: String,
}

impl SourceText {
    /// A source text; a leading byte order mark is dropped so that columns count from one.
    pub fn new(name: impl Into<String>, text: &str) -> Arc<SourceText> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        Arc::new(SourceText { name: name.into(), text: text.to_owned() })
    }

    /// Line and column of a byte offset, both from 1; columns count characters.
    pub fn line_column(&self, offset: usize) -> (usize, usize) {
        let mut end = offset.min(self.text.len());
        while !self.text.is_char_boundary(end) {
            end -= 1;
        }
        let before = &self.text[..end];
        let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
        (before.matches('\n').count() + 1, before[line_start..].chars().count() + 1)
    }
}

/// A marked stretch of a source text.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    /// The text that is marked.
    pub source: Arc<SourceText>,
    /// Bytes of `source.text`, always on character boundaries and inside the text.
    pub span: Range<usize>,
    /// What to say at the mark; may be empty.
    pub text: String,
}

impl Label {
    /// A label; the span is clamped to the text and to character boundaries.
    pub fn new(source: &Arc<SourceText>, span: Range<usize>, text: impl Into<String>) -> Label {
        let whole = &source.text;
        let mut start = span.start.min(whole.len());
        while !whole.is_char_boundary(start) {
            start -= 1;
        }
        let mut end = span.end.clamp(start, whole.len());
        while !whole.is_char_boundary(end) {
            end += 1;
        }
        Label { source: Arc::clone(source), span: start..end, text: in_one_line(text.into()) }
    }
}

/// The text with what would break a line, move the cursor or turn the direction of writing shown as
/// its escape: names and cells come from files, and a file may hold anything.
fn in_one_line(text: String) -> String {
    let unfit =
        |c: char| c.is_control() || matches!(c, '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    if !text.contains(unfit) {
        return text;
    }
    let mut shown = String::with_capacity(text.len() + 8);
    for c in text.chars() {
        if unfit(c) { shown.extend(c.escape_default()) } else { shown.push(c) }
    }
    shown
}

/// How grave a diagnostic is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Severity {
    /// The case cannot be solved as written.
    Error,
    /// The case is solved as written, but an engineer should look.
    Warning,
}

/// One thing to say about a case.
#[derive(Debug, Clone, PartialEq)]
pub struct Diagnostic {
    /// Error or warning.
    pub severity: Severity,
    /// Entry of the catalogue, with its stable code such as `E012`.
    pub code: Code,
    /// One short phrase that makes sense alone.
    pub headline: String,
    /// Marks: the first is where to mend, the rest explain; never empty.
    pub labels: Vec<Label>,
    /// What to type.
    pub help: Option<String>,
}

impl Diagnostic {
    /// An error with its primary mark.
    pub fn error(code: Code, headline: impl Into<String>, primary: Label) -> Diagnostic {
        Diagnostic {
            severity: Severity::Error,
            code,
            headline: in_one_line(headline.into()),
            labels: vec![primary],
            help: None,
        }
    }

    /// A warning with its primary mark.
    pub fn warning(code: Code, headline: impl Into<String>, primary: Label) -> Diagnostic {
        Diagnostic { severity: Severity::Warning, ..Diagnostic::error(code, headline, primary) }
    }

    /// Adds an explaining mark.
    pub fn also(mut self, label: Label) -> Diagnostic {
        self.labels.push(label);
        self
    }

    /// Adds the mend.
    pub fn help(mut self, help: impl Into<String>) -> Diagnostic {
        self.help = Some(in_one_line(help.into()));
        self
    }

    /// The mark where to mend.
    pub fn primary(&self) -> &Label {
        &self.labels[0]
    }
}

/// Characters of a marked stretch that plain text repeats.
const MOST_MARKED: usize = 60;

/// Plain text, one line a fact: `error[E012]: headline`, `--> file:line:column`, marks, help.
impl fmt::Display for Diagnostic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let word = match self.severity {
            Severity::Error => "error",
            Severity::Warning => "warning",
        };
        write!(f, "{word}[{}]: {}", self.code.id, self.headline)?;
        for label in &self.labels {
            let (line, column) = label.source.line_column(label.span.start);
            write!(f, "\n  --> {}:{line}:{column}", label.source.name)?;
            let marked = label.source.text[label.span.clone()].lines().next().unwrap_or_default();
            match marked.char_indices().nth(MOST_MARKED) {
                Some((end, _)) => write!(f, " `{}...`", &marked[..end])?,
                None => write!(f, " `{marked}`")?,
            }
            if !label.text.is_empty() {
                write!(f, " {}", label.text)?;
            }
        }
        if let Some(help) = &self.help {
            write!(f, "\n  help: {help}")?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_and_columns_count_characters_from_one() {
        let source = SourceText::new("a.toml", "\u{feff}a = 1\nµ = 2\n");
        assert_eq!(source.line_column(0), (1, 1));
        assert_eq!(source.line_column(6), (2, 1));
        assert_eq!(source.line_column(9), (2, 3));
        assert_eq!(source.line_column(10_000), (3, 1));
    }

    #[test]
    fn labels_never_leave_the_text_nor_split_a_character() {
        let source = SourceText::new("a.toml", "µ");
        assert_eq!(Label::new(&source, 1..1, "").span, 0..2);
        assert_eq!(Label::new(&source, 7..9, "").span, 2..2);
    }

    #[test]
    fn what_a_file_holds_cannot_break_a_line_or_reach_the_terminal() {
        let source = SourceText::new("a.toml", "x");
        let label = Label::new(&source, 0..1, "a\u{1b}[31mb");
        let code = crate::case::codes::TOO_MANY;
        let finding = Diagnostic::error(code, "no \"a\nb\u{202e}c\"", label);
        assert_eq!(finding.headline, "no \"a\\nb\\u{202e}c\"");
        assert_eq!(finding.labels[0].text, "a\\u{1b}[31mb");
        assert_eq!(finding.help("Ω µ é").help.as_deref(), Some("Ω µ é"));
    }
}
