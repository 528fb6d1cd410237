//! What a study has finished, on disk: a killed run goes on where it was.
//!
//! A text file, a line a point, each with a checksum, appended and flushed as the point ends:
//!
//! ```text
//! {"journal":1,"study":...}            what is computed, of which case, by which version
//! 17 ok 4072c8f5c28f5c29 ... 5f1c20aa  numbers as the bits of doubles, hexadecimal
//! 18 no "no steady state: ..." 9e01d4c7
//! ```
//!
//! What follows the first damaged line (torn by the kill) is dropped and computed again.

use std::collections::BTreeMap;
use std::fs::{File, TryLockError};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use sprayside_solver::study::point::{PointOutcome, SolvedPoint};

use super::Spec;
use crate::case_file::NamedFile;
use crate::failure::Failure;

/// What a journal is about. Two journals with equal heads hold points of the same study.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the names say it")]
pub struct Head {
    pub journal: u32,
    pub tool_version: String,
    pub case_sha256: String,
    pub case_files: Vec<NamedFile>,
    pub study: Spec,
    pub points: usize,
    /// Checksum of the nominal point: points of different nominals do not mix.
    pub nominal: String,
}

/// Finished points by number.
pub type Finished = BTreeMap<usize, PointOutcome>;

/// An open journal.
#[derive(Debug)]
pub struct Journal {
    path: PathBuf,
    file: File,
}

/// First eight digits of a SHA-256.
pub fn checksum(text: &str) -> String {
    Sha256::digest(text.as_bytes()).iter().take(4).map(|byte| format!("{byte:02x}")).collect()
}

impl Journal {
    /// Opens the journal at `path`, with what it holds of the study `head`; a new one if there is
    /// none.
    pub fn open(path: &Path, head: &Head) -> Result<(Journal, Finished), Failure> {
        let failed = |error: std::io::Error| Failure::file("write", path, &error);
        let mut file = File::options()
            .create(true)
            .truncate(false)
            .read(true)
            .write(true)
            .open(path)
            .map_err(failed)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                return Err(Failure::File {
                    headline: format!("another run is writing to {}", path.display()),
                    help: Some("wait for it".to_owned()),
                });
            }
            Err(TryLockError::Error(error)) => return Err(failed(error)),
        }
        let mut text = String::new();
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).map_err(failed)?;
        text.push_str(&String::from_utf8_lossy(&bytes));
        let (found, finished, valid) = read(&text);
        if let Some(found) = found {
            if found != *head {
                return Err(Failure::File {
                    headline: format!(
                        "{} holds finished points of another study, case or version",
                        path.display()
                    ),
                    help: Some("run that one to its end, or remove the file".to_owned()),
                });
            }
            file.set_len(valid as u64).map_err(failed)?;
            file.seek(SeekFrom::End(0)).map_err(failed)?;
        } else {
            // A run killed while it wrote the head leaves the beginning of one.
            const BEGINNING: &str = "{\"journal\":";
            let looks_torn = BEGINNING.starts_with(&text) || text.starts_with(BEGINNING);
            if !looks_torn {
                return Err(Failure::File {
                    headline: format!("{} exists and is no journal", path.display()),
                    help: Some("move it away".to_owned()),
                });
            }
            file.set_len(0).map_err(failed)?;
            file.seek(SeekFrom::Start(0)).map_err(failed)?;
            let line = serde_json::to_string(head).map_err(crate::commands::not_written)?;
            file.write_all(format!("{line} {}\n", checksum(&line)).as_bytes()).map_err(failed)?;
            file.sync_data().map_err(failed)?;
        }
        Ok((Journal { path: path.to_owned(), file }, finished))
    }

    /// Appends a point and flushes it to the disk.
    pub fn append(&mut self, point: usize, outcome: &PointOutcome) -> Result<(), Failure> {
        let body = match outcome {
            Ok(solved) => {
                let numbers = solved.to_numbers();
                let numbers: Vec<String> =
                    numbers.iter().map(|n| format!("{:016x}", n.to_bits())).collect();
                format!("{point} ok {}", numbers.join(" "))
            }
            Err(why) => format!("{point} no {}", serde_json::Value::from(why.as_str())),
        };
        let line = format!("{body} {}\n", checksum(&body));
        self.file
            .write_all(line.as_bytes())
            .and_then(|()| self.file.sync_data())
            .map_err(|error| Failure::file("write", &self.path, &error))
    }

    /// Removes the file, once the results that it led to are in place.
    pub fn remove(self) -> Result<(), Failure> {
        std::fs::remove_file(&self.path)
            .map_err(|error| Failure::file("remove", &self.path, &error))
    }
}

/// The head and the points of the journal at `path`.
pub fn read_file(path: &Path) -> Result<(Head, Finished), Failure> {
    let text =
        std::fs::read_to_string(path).map_err(|error| Failure::file("read", path, &error))?;
    match read(&text) {
        (Some(head), finished, _) => Ok((head, finished)),
        _ => Err(Failure::File {
            headline: format!("{} is not a part of a study", path.display()),
            help: Some("name the files that `--part` wrote".to_owned()),
        }),
    }
}

/// Head, points, and how many bytes of `text` are whole lines with right checksums.
fn read(text: &str) -> (Option<Head>, Finished, usize) {
    let mut head = None;
    let mut finished = Finished::new();
    let mut valid = 0;
    for line in text.split_inclusive('\n') {
        let Some((body, sum)) = line.strip_suffix('\n').and_then(|l| l.rsplit_once(' ')) else {
            break;
        };
        if checksum(body) != sum {
            break;
        }
        if head.is_none() {
            let Ok(found) = serde_json::from_str(body) else { break };
            head = Some(found);
        } else {
            let Some((point, outcome)) = point_of(body) else { break };
            finished.insert(point, outcome);
        }
        valid += line.len();
    }
    (head, finished, valid)
}

fn point_of(body: &str) -> Option<(usize, PointOutcome)> {
    let (point, rest) = body.split_once(' ')?;
    let (word, rest) = rest.split_once(' ')?;
    let outcome = match word {
        "ok" => {
            let bits = rest.split(' ').map(|hex| u64::from_str_radix(hex, 16));
            let numbers: Vec<f64> =
                bits.map(|b| b.map(f64::from_bits)).collect::<Result<_, _>>().ok()?;
            Ok(SolvedPoint::from_numbers(&numbers)?)
        }
        "no" => Err(serde_json::from_str(rest).ok()?),
        _ => return None,
    };
    Some((point.parse().ok()?, outcome))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn head() -> Head {
        Head {
            journal: 1,
            tool_version: "0".to_owned(),
            case_sha256: "a".to_owned(),
            case_files: vec![NamedFile {
                name: "power.csv".to_owned(),
                sha256: "c".to_owned(),
                text: "1,2".to_owned(),
            }],
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
        let other = Head { case_sha256: "b".to_owned(), ..head() };
        assert!(matches!(Journal::open(&path, &other), Err(Failure::File { .. })));
        std::fs::write(&path, "a letter").expect("write");
        assert!(matches!(Journal::open(&path, &head()), Err(Failure::File { .. })));
        assert_eq!(std::fs::read_to_string(&path).expect("read"), "a letter");
    }
}
