//! A study of many points for people.

use std::path::Path;

use super::verdict::verdict;
use super::{closing, solve};
use crate::summary::{Solved, Summary};

/// Verdict on the case itself, what the study tells, accuracy, warnings, files, cautions.
pub fn study(solved: &Solved, summary: &Summary, folder: &Path, words: &str) -> String {
    let mut text = format!("{}\n\n{words}\n", verdict(solved));
    text += &format!("{}\n", solve::accuracy(solved, summary));
    text += &closing::warnings(&summary.warnings[solved.case.case.warnings.len()..]);
    text += &closing::files(&summary.files, folder);
    text += &closing::cautions(&solved.case.case.record);
    text
}
