//! Why a run ended without a result.

use std::io;
use std::path::Path;

use sprayside_solver::case::codes::FILE_UNREADABLE;
use sprayside_solver::case::{Diagnostic, Severity};

use crate::diagnostics;
use crate::exit::Exit;

/// Why a run ended without a result.
#[derive(Debug)]
pub enum Failure {
    /// The case is wrong: every mistake that was found.
    Case(Vec<Diagnostic>),
    /// The case reads well but asks for something that cannot be done.
    Request {
        /// What is wrong.
        headline: String,
        /// How to mend it.
        help: String,
    },
    /// No steady solution, and why.
    NoSolution {
        /// What went wrong.
        headline: String,
        /// What to look at.
        help: String,
    },
    /// A file could not be read or written.
    File {
        /// What was tried, with the file's name.
        headline: String,
        /// How to mend it.
        help: Option<String>,
    },
}

impl Failure {
    /// A file that could not be `action` ("read", "write", ...), with the system's reason.
    pub fn file(action: &str, path: &Path, error: &io::Error) -> Failure {
        Failure::File {
            headline: format!("cannot {action} {}: {}", path.display(), reason(error)),
            help: None,
        }
    }

    /// The exit code.
    pub fn exit(&self) -> Exit {
        match self {
            // Nothing is wrong with a case whose files are only not there to be read.
            Failure::Case(findings) if only_files_are_missing(findings) => Exit::File,
            Failure::Case(_) | Failure::Request { .. } => Exit::BadInput,
            Failure::NoSolution { .. } => Exit::NoSolution,
            Failure::File { .. } => Exit::File,
        }
    }

    /// Text for standard error, with colours where the terminal takes them.
    pub fn rendered(&self) -> String {
        match self {
            Failure::Case(findings) => diagnostics::render(findings),
            Failure::Request { headline, help } | Failure::NoSolution { headline, help } => {
                diagnostics::plain_error(headline, Some(help))
            }
            Failure::File { headline, help } => diagnostics::plain_error(headline, help.as_deref()),
        }
    }
}

/// Whether all that is wrong is files that the case names and that cannot be read.
fn only_files_are_missing(findings: &[Diagnostic]) -> bool {
    let mut errors =
        findings.iter().filter(|finding| finding.severity == Severity::Error).peekable();
    errors.peek().is_some() && errors.all(|error| error.code.id == FILE_UNREADABLE.id)
}

/// The system's reason without its number: "No such file or directory".
fn reason(error: &io::Error) -> String {
    let text = error.to_string();
    match text.find(" (os error") {
        Some(end) => text[..end].to_lowercase(),
        None => text,
    }
}

/// Tells a person that a panic is a fault of this program, and what to send.
pub fn explain_panics() {
    let standard = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |panic| {
        standard(panic);
        crate::console::complain(&format!(
            "\nThis is a fault of sprayside {}, not of your case. Please report it with the lines \
             above, the command line and, if you may, the case file. No results were changed.\n",
            env!("CARGO_PKG_VERSION")
        ));
    }));
}
