//! What `arrange` has finished, on disk: starts and points of the trade-off curve.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Mutex;

use serde::{Deserialize, Serialize};
use sprayside_solver::study::arrange::{ArrangeOptions, Keeper};

use super::lines::{self, Lines, Origin};
use crate::case_file::CaseFile;
use crate::failure::Failure;

/// What a journal of `arrange` is about.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the names say it")]
pub struct Head {
    #[serde(flatten)]
    pub origin: Origin,
    pub study: String,
    pub goal: String,
    pub rounds: usize,
    pub seed: u64,
}

/// The journal of a search. More starts than before are no other search: those that are finished
/// serve.
pub struct Kept {
    known: BTreeMap<String, Vec<f64>>,
    /// The file, and the first failure to write to it.
    open: Mutex<(Lines, Option<Failure>)>,
}

impl Kept {
    /// Opens the journal at `path`; a new one if there is none.
    pub fn open(path: &Path, case: &CaseFile, options: &ArrangeOptions) -> Result<Kept, Failure> {
        let head = Head {
            origin: Origin::of(case),
            study: "arrange".to_owned(),
            goal: format!("{:?}", options.goal),
            rounds: options.rounds,
            seed: options.seed,
        };
        let mut known = BTreeMap::new();
        let file = Lines::open(path, &head, &mut |body| {
            let (piece, numbers) = body.split_once(' ').unwrap_or((body, ""));
            lines::from_bits(numbers)
                .map(|numbers| known.insert(piece.to_owned(), numbers))
                .is_some()
        })?;
        Ok(Kept { known, open: Mutex::new((file, None)) })
    }

    /// Pieces that a former run finished.
    pub fn finished_before(&self) -> usize {
        self.known.len()
    }

    /// The file, unless writing to it failed.
    pub fn close(self) -> Result<Lines, Failure> {
        let (file, failure) = match self.open.into_inner() {
            Ok(open) => open,
            Err(poisoned) => poisoned.into_inner(),
        };
        failure.map_or(Ok(file), Err)
    }
}

impl Keeper for Kept {
    fn known(&self, piece: &str) -> Option<Vec<f64>> {
        self.known.get(piece).cloned()
    }

    fn keep(&self, piece: &str, numbers: &[f64]) {
        if let Ok(mut open) = self.open.lock()
            && open.1.is_none()
        {
            open.1 = open.0.append(&format!("{piece} {}", lines::in_bits(numbers))).err();
        }
    }
}
