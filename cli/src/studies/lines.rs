//! Lines of finished work on disk, each with a checksum, appended and flushed as it ends.
//!
//! ```text
//! {"journal":1,"study":...} 1c20aa5f      what is computed, of which case, by which version
//! 17 ok 4072c8f5c28f5c29 ... 5f1c20aa
//! ```
//!
//! What follows the first damaged line (torn by a kill) is dropped and done again.

use std::fs::{File, TryLockError};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::case_file::{CaseFile, NamedFile};
use crate::failure::Failure;
use crate::interruption::undone;

/// What every head begins with: of which case the work is, and of which version.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the names say it")]
pub struct Origin {
    pub journal: u32,
    pub tool_version: String,
    pub case_sha256: String,
    pub case_files: Vec<NamedFile>,
}

impl Origin {
    /// Of `case` and this program.
    pub fn of(case: &CaseFile) -> Origin {
        Origin {
            journal: 1,
            tool_version: env!("CARGO_PKG_VERSION").to_owned(),
            case_sha256: case.sha256.clone(),
            case_files: case.files.clone(),
        }
    }
}

/// First eight digits of a SHA-256.
pub fn checksum(text: &str) -> String {
    Sha256::digest(text.as_bytes()).iter().take(4).map(|byte| format!("{byte:02x}")).collect()
}

/// Numbers as the bits of doubles, hexadecimal.
pub fn in_bits(numbers: &[f64]) -> String {
    let bits: Vec<String> = numbers.iter().map(|n| format!("{:016x}", n.to_bits())).collect();
    bits.join(" ")
}

/// The numbers of which [`in_bits`] made `text`.
pub fn from_bits(text: &str) -> Option<Vec<f64>> {
    let words = text.split(' ').filter(|word| !word.is_empty());
    words.map(|hex| u64::from_str_radix(hex, 16).ok().map(f64::from_bits)).collect()
}

/// An open file of lines; no other run has it.
#[derive(Debug)]
pub struct Lines {
    path: PathBuf,
    file: File,
}

impl Lines {
    /// Opens the file at `path`, or makes a new one with this head. `take` gets the lines that
    /// are there, one after the other, and says whether it can read them.
    pub fn open<H: Serialize + DeserializeOwned + PartialEq>(
        path: &Path,
        head: &H,
        take: &mut dyn FnMut(&str) -> bool,
    ) -> Result<Lines, Failure> {
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
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).map_err(failed)?;
        let text = String::from_utf8_lossy(&bytes);
        let (found, valid) = read::<H>(&text, take);
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
            let looks_torn = BEGINNING.starts_with(&*text) || text.starts_with(BEGINNING);
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
        undone().journal = Some(path.to_owned());
        Ok(Lines { path: path.to_owned(), file })
    }

    /// Appends a line and flushes it to the disk.
    pub fn append(&mut self, body: &str) -> Result<(), Failure> {
        let line = format!("{body} {}\n", checksum(body));
        self.file
            .write_all(line.as_bytes())
            .and_then(|()| self.file.sync_data())
            .map_err(|error| Failure::file("write", &self.path, &error))
    }

    /// Removes the file.
    pub fn remove(self) -> Result<(), Failure> {
        let mut undone = undone();
        undone.journal = None;
        std::fs::remove_file(&self.path)
            .map_err(|error| Failure::file("remove", &self.path, &error))
    }
}

/// The head, and how many bytes of `text` are whole lines with right checksums that `take` could
/// read.
pub fn read<H: DeserializeOwned>(
    text: &str,
    take: &mut dyn FnMut(&str) -> bool,
) -> (Option<H>, usize) {
    let mut head = None;
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
        } else if !take(body) {
            break;
        }
        valid += line.len();
    }
    (head, valid)
}
