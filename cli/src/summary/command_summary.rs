//! What the summaries of all commands that write results have in common.

use serde::Serialize;

use super::{ArrangeSummary, CoverageSummary, CycleSummary, Summary};

/// The summary of a command that writes a folder of results.
pub trait CommandSummary: Serialize {
    /// Notes what was written, and how long everything took.
    fn wrote(&mut self, files: Vec<String>, wall_seconds: f64);

    /// Warnings: those of the reader first.
    fn warnings(&self) -> &[String];

    /// The text of the file, with a line end.
    fn json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self).map(|text| text + "\n")
    }
}

macro_rules! command_summaries {
    ($($summary:ty),*) => {$(
        impl CommandSummary for $summary {
            fn wrote(&mut self, files: Vec<String>, wall_seconds: f64) {
                self.files = files;
                self.wall_seconds = wall_seconds;
            }

            fn warnings(&self) -> &[String] {
                &self.warnings
            }
        }
    )*};
}

command_summaries!(ArrangeSummary, CoverageSummary, CycleSummary, Summary);
