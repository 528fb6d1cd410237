//! What people read: verdict first, tables, plain sentences.

mod arrange;
mod check;
mod closing;
mod codes;
mod compare;
mod coverage;
mod cycle;
mod fit;
mod qualify;
mod resistance;
mod sensitivity;
mod sensors;
mod sketch;
mod solve;
pub mod spray_side;
mod study;
mod table;
mod verdict;

pub use arrange::{arrange, headline as arrange_headline};
pub use check::check;
pub use codes::{all_codes, one_code, one_fluid};
pub use compare::compare;
pub use coverage::{coverage, coverage_without_solve};
pub use cycle::{cycle, verdict as cycle_verdict};
pub use fit::{fit, verdict as fit_verdict};
pub use qualify::{qualify, verdict as qualify_verdict};
pub use resistance::resistance;
pub use sensitivity::sensitivity;
pub use solve::{heat, solve};
pub use study::study;
pub use table::{Side, Table};
pub use verdict::verdict;

use clap::builder::styling::{AnsiColor, Style};
use sprayside_solver::case::Diagnostic;

/// Good news.
pub const GOOD: Style = AnsiColor::Green.on_default().bold();
/// Bad news.
pub const BAD: Style = AnsiColor::Red.on_default().bold();
/// What asks for attention.
const NOTE: Style = AnsiColor::Yellow.on_default().bold();
/// Headings.
pub const HEADING: Style = Style::new().bold();

/// Width of paragraphs.
pub const WIDTH: usize = 98;

/// "1 die", "3 warnings".
pub fn counted(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

/// A finding about the case on one line, for JSON.
pub fn warning_line(finding: &Diagnostic) -> String {
    let label = finding.primary();
    let (line, _) = label.source.line_column(label.span.start);
    let mut text = format!("{} (line {line}", finding.headline);
    if !label.text.is_empty() {
        text.push_str(": ");
        text.push_str(&label.text);
    }
    text.push(')');
    if let Some(help) = &finding.help {
        text.push_str("; ");
        text.push_str(help);
    }
    text
}

/// A text for people without its colours and line breaks.
pub fn plain(text: &str) -> String {
    let bare = anstream::adapter::strip_str(text).to_string();
    bare.split([' ', '\n']).filter(|word| !word.is_empty()).collect::<Vec<_>>().join(" ")
}

/// A text in a style.
pub fn styled(style: Style, text: &str) -> String {
    format!("{style}{text}{style:#}")
}

/// A paragraph broken at blanks so that lines stay within `width` characters; later lines start
/// with `indent`.
pub fn wrapped(text: &str, width: usize, indent: &str) -> String {
    let mut lines = String::new();
    let mut length = 0;
    for word in text.split([' ', '\n']).filter(|word| !word.is_empty()) {
        // Colours take no room.
        let word_length = anstream::adapter::strip_str(word).to_string().chars().count();
        if length > 0 && length + 1 + word_length > width {
            lines.push('\n');
            lines.push_str(indent);
            length = indent.chars().count();
        } else if length > 0 {
            lines.push(' ');
            length += 1;
        }
        lines.push_str(word);
        length += word_length;
    }
    lines
}

/// A verdict and what it rests on, wrapped: `PASS  Every limit is kept.`
pub fn headed(word: &str, text: &str) -> String {
    // Stands for a blank that must not break, until the lines are made.
    const HELD: &str = "\u{e000}";
    let head = format!("{word}  ").replace(' ', HELD);
    wrapped(&format!("{head}{text}"), WIDTH, "      ").replace(HELD, " ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paragraphs_stay_within_their_width() {
        let text = wrapped("one two three four five", 9, "  ");
        assert_eq!(text, "one two\n  three\n  four\n  five");
    }

    #[test]
    fn the_first_line_of_a_verdict_stays_within_the_width_too() {
        let text = headed(&styled(NOTE, "PASS, but"), &"abcd ".repeat(60));
        let bare = anstream::adapter::strip_str(&text).to_string();
        assert!(bare.starts_with("PASS, but  abcd abcd"), "{bare}");
        assert!(bare.lines().all(|line| line.chars().count() <= WIDTH), "{bare}");
    }
}
