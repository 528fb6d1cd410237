//! Mistakes in a case, drawn under the user's own lines.

use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};
use sprayside_solver::case::{Diagnostic, Severity};

/// Draws findings one after the other, with a blank line between and a count at the end.
pub fn render(findings: &[Diagnostic]) -> String {
    let mut text = String::new();
    for finding in findings {
        text.push_str(&draw(finding));
        text.push_str("\n\n");
    }
    let count = |severity| findings.iter().filter(|f| f.severity == severity).count();
    let (errors, warnings) = (count(Severity::Error), count(Severity::Warning));
    if errors > 0 {
        let errors = crate::text::counted(errors, "mistake", "mistakes");
        let warnings = match warnings {
            0 => String::new(),
            n => format!(" and {}", crate::text::counted(n, "warning", "warnings")),
        };
        text.push_str(&format!("{errors}{warnings} in the case; nothing was solved or written\n"));
    }
    text
}

/// An error that no line of the case stands for.
pub fn plain_error(headline: &str, help: Option<&str>) -> String {
    let mut group = Group::with_title(Level::ERROR.primary_title(headline));
    if let Some(help) = help {
        group = group.element(Level::HELP.message(help));
    }
    format!("{}\n", Renderer::styled().render(&[group]))
}

/// One finding: headline, the marked lines of each text, the mend.
fn draw(finding: &Diagnostic) -> String {
    let level = match finding.severity {
        Severity::Error => Level::ERROR,
        Severity::Warning => Level::WARNING,
    };
    let mut group: Group = level
        .primary_title(finding.headline.as_str())
        .id(finding.code.id)
        .elements(snippets(finding));
    if let Some(help) = &finding.help {
        group = group.element(Level::HELP.message(help.as_str()));
    }
    Renderer::styled().render(&[group])
}

/// A snippet a text, the text of the primary mark first; the lines between marks are folded.
fn snippets(finding: &Diagnostic) -> Vec<Snippet<'_, annotate_snippets::Annotation<'_>>> {
    let mut names: Vec<&str> = Vec::new();
    for label in &finding.labels {
        if !names.contains(&label.source.name.as_str()) {
            names.push(&label.source.name);
        }
    }
    names
        .into_iter()
        .filter_map(|name| {
            let labels =
                || finding.labels.iter().enumerate().filter(|(_, l)| l.source.name == name);
            let (_, first) = labels().next()?;
            let annotations = labels().map(|(index, label)| {
                let kind =
                    if index == 0 { AnnotationKind::Primary } else { AnnotationKind::Context };
                let annotation = kind.span(label.span.clone());
                if label.text.is_empty() {
                    annotation
                } else {
                    annotation.label(label.text.as_str())
                }
            });
            Some(
                Snippet::source(first.source.text.as_str())
                    .path(name)
                    .fold(true)
                    .annotations(annotations),
            )
        })
        .collect()
}
