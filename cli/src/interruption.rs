//! Ctrl-C, and the system's request to end: the run tidies up, says what stands, and ends at once.
//!
//! Whoever is building something holds the [`Undone`] while it changes what an interruption would
//! clear, so that nothing is cleared halfway; an interruption never gives it back.

use std::fs;
use std::io::{self, IsTerminal};
use std::path::PathBuf;
use std::sync::{Mutex, MutexGuard, PoisonError};

use crate::console;

/// Exit code of a run that was interrupted: 128 and the number of the signal of Ctrl-C, as shells
/// have it (common practice, no source).
const INTERRUPTED: i32 = 130;

/// What a run that ends now must clear away, and what it leaves on purpose.
#[derive(Debug)]
pub struct Undone {
    /// A folder under construction.
    pub partial: Option<PathBuf>,
    /// Its lock.
    pub lock: Option<PathBuf>,
    /// Folders made for it, innermost first: removed where they are empty.
    pub parents: Vec<PathBuf>,
    /// Where what a study has finished stands.
    pub journal: Option<PathBuf>,
    /// Results that are in place.
    pub results: Option<PathBuf>,
}

static UNDONE: Mutex<Undone> = Mutex::new(Undone {
    partial: None,
    lock: None,
    parents: Vec::new(),
    journal: None,
    results: None,
});

/// What an interruption would clear. While it is held an interruption waits.
pub fn undone() -> MutexGuard<'static, Undone> {
    // After a panic nothing better is known than what stands there.
    UNDONE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// From now on an interruption tidies up. Where somebody has asked for interruptions to be
/// ignored, as `nohup` does, they are.
pub fn watch() {
    // Without a handler the system ends the run; the next one clears what it left.
    let _ = ctrlc::try_set_handler(|| {
        let undone = undone();
        undone.clear();
        let line_end = if io::stderr().is_terminal() { "\n" } else { "" };
        console::complain(&format!("{line_end}{}\n", undone.words()));
        std::process::exit(INTERRUPTED);
    });
}

impl Undone {
    fn clear(&self) {
        // What cannot be removed is cleared by the next run.
        if let Some(partial) = &self.partial {
            let _ = fs::remove_dir_all(partial);
        }
        if let Some(lock) = &self.lock {
            let _ = fs::remove_file(lock);
        }
        for parent in &self.parents {
            if fs::remove_dir(parent).is_err() {
                return;
            }
        }
    }

    fn words(&self) -> String {
        match (&self.results, &self.journal) {
            (Some(results), _) => {
                format!("interrupted; the results are whole, in {}", results.display())
            }
            (None, Some(journal)) => format!(
                "interrupted; what was finished stands in {}: the same command goes on from there",
                journal.display()
            ),
            (None, None) => "interrupted; no results were written or changed".to_owned(),
        }
    }
}
