//! What all CSV files that a case names have in common: lines, cells, and how mistakes are told.
//!
//! Blank lines and lines that start with `#` are skipped; cells are separated by commas, and a cell
//! in quotes may hold commas, and two quotes for one. Of each file the first mistakes are told, and
//! then no more.

use std::ops::Range;
use std::sync::Arc;

use super::codes::Code;
use super::context::{Context, Located};
use super::diagnostic::{Diagnostic, Label, SourceText};

/// Mistakes of one file that are told one by one.
const MOST_MISTAKES: usize = 10;

/// The mistakes of one file: the first are told.
#[derive(Debug, Default)]
pub(super) struct Mistakes(usize);

impl Mistakes {
    /// Notes a mistake; false when there were enough of them.
    pub fn note(&mut self, context: &Context<'_>, diagnostic: Diagnostic) -> bool {
        self.0 += 1;
        match self.0 {
            MOST_MISTAKES => {
                context.push(diagnostic.help("more mistakes in this file are not listed"));
            }
            n if n < MOST_MISTAKES => context.push(diagnostic),
            _ => {}
        }
        self.0 < MOST_MISTAKES
    }

    /// How many there were.
    pub fn count(&self) -> usize {
        self.0
    }
}

/// A file that a case names, and the mistakes in it.
pub(super) struct CsvFile<'r, 'c> {
    context: &'r Context<'c>,
    path: &'r Located<String>,
    source: Arc<SourceText>,
    mistakes: Mistakes,
}

impl<'r, 'c> CsvFile<'r, 'c> {
    /// Loads the file; `None` after noting why not.
    pub fn open(context: &'r Context<'c>, path: &'r Located<String>) -> Option<CsvFile<'r, 'c>> {
        let text = context.text_of(path)?;
        let source = SourceText::new(path.value.clone(), &text);
        Some(CsvFile { context, path, source, mistakes: Mistakes::default() })
    }

    /// The text, for [`lines`].
    pub fn source(&self) -> Arc<SourceText> {
        Arc::clone(&self.source)
    }

    /// A mark in the file.
    pub fn label(&self, span: Range<usize>, label: impl Into<String>) -> Label {
        Label::new(&self.source, span, label)
    }

    /// An error marked in the file and where the case names it; hand it to [`CsvFile::note`].
    pub fn error(
        &self,
        code: Code,
        headline: impl Into<String>,
        span: Range<usize>,
        label: impl Into<String>,
    ) -> Diagnostic {
        Diagnostic::error(code, headline, self.label(span, label))
            .also(self.context.label(&self.path.span, "named here"))
    }

    /// Notes a mistake; false when there were enough of them.
    pub fn note(&mut self, diagnostic: Diagnostic) -> bool {
        self.mistakes.note(self.context, diagnostic)
    }

    /// Mistakes noted so far.
    pub fn mistakes(&self) -> usize {
        self.mistakes.count()
    }
}

/// Where a line begins in its text, and the line, for all lines that count.
pub(super) fn lines(text: &str) -> impl Iterator<Item = (usize, &str)> {
    let mut offset = 0;
    text.split_inclusive('\n').filter_map(move |raw| {
        let start = offset;
        offset += raw.len();
        let line = raw.trim_end_matches(['\n', '\r']);
        let (start, line) = match line.strip_prefix('\u{feff}') {
            Some(rest) if start == 0 => (line.len() - rest.len(), rest),
            _ => (start, line),
        };
        let counts = !line.trim().is_empty() && !line.trim_start().starts_with('#');
        counts.then_some((start, line))
    })
}

/// The cells of a line that starts at byte `start` of its file, each without the blanks around it
/// and with its place.
///
/// A cell in quotes may hold commas, and two quotes for one. Its place is what stands inside.
pub(super) fn cells(line: &str, start: usize) -> Vec<(String, Range<usize>)> {
    let mut cells = Vec::new();
    let (mut text, mut from, mut quoted) = (String::new(), 0, false);
    let mut characters = line.char_indices().peekable();
    while let Some((at, c)) = characters.next() {
        match c {
            '"' if quoted && characters.peek().is_some_and(|(_, next)| *next == '"') => {
                characters.next();
                text.push('"');
            }
            '"' => quoted = !quoted,
            ',' if !quoted => {
                cells.push((text.trim().to_owned(), place(line, from..at, start)));
                text.clear();
                from = at + 1;
            }
            c => text.push(c),
        }
    }
    cells.push((text.trim().to_owned(), place(line, from..line.len(), start)));
    cells
}

/// The bytes of a cell without blanks and quotes around it.
fn place(line: &str, cell: Range<usize>, start: usize) -> Range<usize> {
    let written = &line[cell.clone()];
    let inner = written.trim();
    let from = start + cell.start + (written.len() - written.trim_start().len());
    let bare = inner.strip_prefix('"').and_then(|rest| rest.strip_suffix('"'));
    match bare {
        Some(bare) => from + 1..from + 1 + bare.len(),
        None => from..from + inner.len(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_keep_commas_and_quotes_within_quotes_and_know_their_places() {
        let line = "time_s, \"D1, spare power_W\",\"the \"\"old\"\" die\", module factor ,";
        let found = cells(line, 10);
        let words: Vec<&str> = found.iter().map(|cell| cell.0.as_str()).collect();
        assert_eq!(words, ["time_s", "D1, spare power_W", "the \"old\" die", "module factor", ""]);
        assert_eq!(&line[found[3].1.start - 10..found[3].1.end - 10], "module factor");
        assert_eq!(found[0].1, 10..16);
        assert_eq!(found[4].1, 10 + line.len()..10 + line.len());
    }

    #[test]
    fn lines_that_count_know_where_they_begin() {
        let text = "\u{feff}a,b\r\n\n  # a remark\n1,2\n3,4";
        let found: Vec<(usize, &str)> = lines(text).collect();
        assert_eq!(found.iter().map(|l| l.1).collect::<Vec<_>>(), ["a,b", "1,2", "3,4"]);
        assert!(found.iter().all(|(start, line)| text[*start..].starts_with(line)));
    }
}
