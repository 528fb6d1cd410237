//! What a study of many points has finished, on disk: a killed run goes on where it was.
//!
//! [`Lines`] with a line a point:
//!
//! ```text
//! 17 ok 4072c8f5c28f5c29 ...             numbers as the bits of doubles, hexadecimal
//! 18 no "no steady state: ..."
//! ```

use std::collections::BTreeMap;
use std::path::Path;

use serde::{Deserialize, Serialize};
use sprayside_solver::study::point::{PointOutcome, SolvedPoint};

use super::Spec;
use super::lines::{self, Lines, Origin};
use crate::failure::Failure;

/// What a journal is about. Two journals with equal heads hold points of the same study.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the names say it")]
pub struct Head {
    #[serde(flatten)]
    pub origin: Origin,
    pub study: Spec,
    pub points: usize,
    /// Checksum of the nominal point: points of different nominals do not mix.
    pub nominal: String,
}

/// Finished points by number.
pub type Finished = BTreeMap<usize, PointOutcome>;

/// An open journal of points.
#[derive(Debug)]
pub struct Journal(Lines);

impl Journal {
    /// Opens the journal at `path`, with what it holds of the study `head`; a new one if there is
    /// none.
    pub fn open(path: &Path, head: &Head) -> Result<(Journal, Finished), Failure> {
        let mut finished = Finished::new();
        let lines = Lines::open(path, head, &mut |body| {
            point_of(body).map(|(point, outcome)| finished.insert(point, outcome)).is_some()
        })?;
        Ok((Journal(lines), finished))
    }

    /// Appends a point and flushes it to the disk.
    pub fn append(&mut self, point: usize, outcome: &PointOutcome) -> Result<(), Failure> {
        let body = match outcome {
            Ok(solved) => format!("{point} ok {}", lines::in_bits(&solved.to_numbers())),
            Err(why) => format!("{point} no {}", serde_json::Value::from(why.as_str())),
        };
        self.0.append(&body)
    }

    /// Removes the file, once the results that it led to are in place.
    pub fn remove(self) -> Result<(), Failure> {
        self.0.remove()
    }
}

/// The head and the points of the journal at `path`.
pub fn read_file(path: &Path) -> Result<(Head, Finished), Failure> {
    let text =
        std::fs::read_to_string(path).map_err(|error| Failure::file("read", path, &error))?;
    let mut finished = Finished::new();
    let (head, _) = lines::read(&text, &mut |body| {
        point_of(body).map(|(point, outcome)| finished.insert(point, outcome)).is_some()
    });
    match head {
        Some(head) => Ok((head, finished)),
        None => Err(Failure::File {
            headline: format!("{} is not a part of a study", path.display()),
            help: Some("name the files that `--part` wrote".to_owned()),
        }),
    }
}

fn point_of(body: &str) -> Option<(usize, PointOutcome)> {
    let (point, rest) = body.split_once(' ')?;
    let (word, rest) = rest.split_once(' ')?;
    let outcome = match word {
        "ok" => Ok(SolvedPoint::from_numbers(&lines::from_bits(rest)?)?),
        "no" => Err(serde_json::from_str(rest).ok()?),
        _ => return None,
    };
    Some((point.parse().ok()?, outcome))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::case_file::NamedFile;

    fn origin(case_sha256: &str) -> Origin {
        Origin {
            journal: 1,
            tool_version: "0".to_owned(),
            case_sha256: case_sha256.to_owned(),
            case_files: vec![NamedFile {
                name: "power.csv".to_owned(),
                sha256: "c".to_owned(),
                text: "1,2".to_owned(),
            }],
        }
    }

    fn head() -> Head {
        Head {
            origin: origin("a"),
            study: Spec::Scatter { samples: 4, seed: 7 },
            points: 4,
            nominal: "n".to_owned(),
        }
    }

    fn point(k: usize) -> PointOutcome {
        if k == 2 {
            return Err("no steady state: \"runs\naway\"".to_owned());
        }
        Ok(SolvedPoint {
            junctions: Vec::new(),
            least_chf_margin: None,
            flow_m3_s: 0.1 + k as f64,
            iterations: k,
            residual_relative: 1e-9,
        })
    }

    #[test]
    fn a_journal_cut_anywhere_gives_back_the_points_before_the_cut() {
        let room = tempfile::tempdir().expect("a room");
        let path = room.path().join("j");
        let (mut journal, finished) = Journal::open(&path, &head()).expect("new");
        assert!(finished.is_empty());
        for k in 0..4 {
            journal.append(k, &point(k)).expect("written");
        }
        drop(journal);
        let whole = std::fs::read(&path).expect("read");
        for cut in 0..=whole.len() {
            std::fs::write(&path, &whole[..cut]).expect("cut");
            let (mut journal, finished) = Journal::open(&path, &head()).expect("reopened");
            for (k, outcome) in &finished {
                assert_eq!(outcome, &point(*k));
            }
            for k in finished.len()..4 {
                journal.append(k, &point(k)).expect("written");
            }
            drop(journal);
            assert_eq!(std::fs::read(&path).expect("read"), whole, "cut at {cut}");
        }
    }

    #[test]
    fn a_flipped_bit_is_not_believed_and_another_study_is_refused() {
        let room = tempfile::tempdir().expect("a room");
        let path = room.path().join("j");
        let (mut journal, _) = Journal::open(&path, &head()).expect("new");
        journal.append(0, &point(0)).expect("written");
        journal.append(1, &point(1)).expect("written");
        drop(journal);
        let mut bytes = std::fs::read(&path).expect("read");
        let last = bytes.len() - 12;
        bytes[last] ^= 1;
        std::fs::write(&path, &bytes).expect("write");
        let (_, finished) = Journal::open(&path, &head()).expect("reopened");
        assert_eq!(finished.len(), 1);
        let other = Head { origin: origin("b"), ..head() };
        assert!(matches!(Journal::open(&path, &other), Err(Failure::File { .. })));
        std::fs::write(&path, "a letter").expect("write");
        assert!(matches!(Journal::open(&path, &head()), Err(Failure::File { .. })));
        assert_eq!(std::fs::read_to_string(&path).expect("read"), "a letter");
    }
}
