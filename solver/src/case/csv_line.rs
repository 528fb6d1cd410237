//! One line of a CSV file.

use std::ops::Range;

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
    fn cells_keep_commas_within_quotes_and_know_their_places() {
        let line = "time_s, \"D1, spare power_W\",module factor ,\"a \"\"b\"\"\",";
        let found = cells(line, 10);
        let texts: Vec<&str> = found.iter().map(|(text, _)| text.as_str()).collect();
        assert_eq!(texts, ["time_s", "D1, spare power_W", "module factor", "a \"b\"", ""]);
        let written = |k: usize| &line[found[k].1.start - 10..found[k].1.end - 10];
        assert_eq!(written(1), "D1, spare power_W");
        assert_eq!(written(2), "module factor");
        assert_eq!(found[4].1, 10 + line.len()..10 + line.len());
    }
}
