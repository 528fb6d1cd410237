//! A folder of results that appears whole or not at all.
//!
//! Results for `DIR` are built in a hidden sibling, `.DIR.partial`, flushed to the disk and then
//! put in place at once: where nothing stands there by renaming, else by exchanging the two names,
//! so that at every moment there are whole results under the name. Where the system or the file
//! system cannot exchange names, the old results are first set aside as `.DIR.previous`; a run
//! that was killed between the two renames is mended by the next one. A lock on `.DIR.lock` keeps
//! a second run away; the system lets go of it when a run dies.
//!
//! Nothing is ever replaced that is not a folder of our own results and nothing else.

use std::ffi::OsString;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use serde::Deserialize;

use crate::failure::Failure;
use crate::folder_lock::Lock;
use crate::interruption::undone;

/// The file by which a folder of results is known.
pub const SUMMARY: &str = "summary.json";

/// Stands in a partial folder from its first moment to its last.
const PARTIAL_MARK: &str = ".sprayside-partial";

/// A folder of results under construction. Dropped without [`ResultsFolder::publish`], it leaves
/// everything as it was.
#[derive(Debug)]
pub struct ResultsFolder {
    target: PathBuf,
    partial: PathBuf,
    previous: PathBuf,
    lock: Lock,
    created_parents: Vec<PathBuf>,
    /// Whether `partial` is of this run's making.
    begun: bool,
    /// Whether an interruption would clear what this run has made.
    watched: bool,
}

impl ResultsFolder {
    /// Prepares to write results into `target`: creates missing parents, takes the lock, mends
    /// what a killed run left, and makes sure that whatever stands there may be replaced.
    pub fn prepare(target: &Path) -> Result<ResultsFolder, Failure> {
        let mut undone = undone();
        let mut folder = ResultsFolder::begin(target)?;
        undone.partial = Some(folder.partial.clone());
        undone.lock = Some(folder.lock.path().to_owned());
        undone.parents.clone_from(&folder.created_parents);
        undone.results = None;
        folder.watched = true;
        Ok(folder)
    }

    fn begin(target: &Path) -> Result<ResultsFolder, Failure> {
        // A link to a folder stays; what it points to is replaced.
        let target = match fs::canonicalize(target) {
            Ok(real) => real,
            Err(_) => target.to_owned(),
        };
        let Some(name) = target.file_name().map(OsString::from) else {
            return Err(Failure::File {
                headline: format!("{} cannot be a folder for results", target.display()),
                help: Some("name a folder of its own, -o DIR".to_owned()),
            });
        };
        let parent = match target.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent.to_owned(),
            _ => PathBuf::from("."),
        };
        let created_parents = create_parents(&parent)?;
        let sibling = |ending: &str| {
            let mut hidden = OsString::from(".");
            hidden.push(&name);
            hidden.push(ending);
            parent.join(hidden)
        };
        let lock = Lock::take(sibling(".lock"), &target)
            .inspect_err(|_| remove_if_empty(&created_parents))?;
        let mut folder = ResultsFolder {
            partial: sibling(".partial"),
            previous: sibling(".previous"),
            target,
            lock,
            created_parents,
            begun: false,
            watched: false,
        };
        folder.mend()?;
        folder.refuse_what_is_not_ours()?;
        fs::create_dir(&folder.partial)
            .map_err(|error| Failure::file("create", &folder.target, &error))?;
        folder.begun = true;
        File::create_new(folder.partial.join(PARTIAL_MARK))
            .map_err(|error| Failure::file("create", &folder.target, &error))?;
        Ok(folder)
    }

    /// Writes one file and flushes it to the disk.
    pub fn write(&self, name: &str, bytes: &[u8]) -> Result<(), Failure> {
        let path = self.partial.join(name);
        let _whole = undone();
        File::create_new(&path)
            .and_then(|mut file| {
                file.write_all(bytes)?;
                file.sync_all()
            })
            .map_err(|error| Failure::file("write", &self.target.join(name), &error))
    }

    /// Puts the new results in place of the old ones.
    pub fn publish(self) -> Result<(), Failure> {
        // The user may have added something while the solver ran.
        self.refuse_what_is_not_ours()?;
        let failed = |error: io::Error| Failure::file("write", &self.target, &error);
        let mut undone = undone();
        fs::remove_file(self.partial.join(PARTIAL_MARK)).map_err(failed)?;
        flush_folder(&self.partial).map_err(failed)?;
        self.put_in_place(exchange).map_err(failed)?;
        undone.results = Some(self.target.clone());
        if let Some(parent) = self.partial.parent() {
            flush_folder(parent).map_err(failed)?;
        }
        // The results are in place: a leftover is cleared by the next run.
        let _ = fs::remove_dir_all(&self.previous);
        Ok(())
    }

    /// Gives the new results their name, in place of what may stand there. `exchange` exchanges two
    /// names at once and says whether it could.
    fn put_in_place(&self, exchange: fn(&Path, &Path) -> bool) -> io::Result<()> {
        if self.target.symlink_metadata().is_err() {
            return fs::rename(&self.partial, &self.target);
        }
        if exchange(&self.partial, &self.target) {
            // The old results stand where the new ones were built: clear them as what has been
            // replaced. Where that name is not to be had they go with the partial folder.
            let _ = fs::rename(&self.partial, &self.previous);
            return Ok(());
        }
        fs::rename(&self.target, &self.previous)?;
        fs::rename(&self.partial, &self.target).inspect_err(|_| {
            // What cannot be undone here is undone by the next run.
            let _ = fs::rename(&self.previous, &self.target);
        })
    }

    /// Clears what a killed run left, and brings back old results that it was about to replace.
    fn mend(&self) -> Result<(), Failure> {
        if self.previous.is_dir() {
            let result = if self.target.symlink_metadata().is_ok() {
                fs::remove_dir_all(&self.previous)
            } else {
                fs::rename(&self.previous, &self.target)
            };
            result.map_err(|error| Failure::file("clear", &self.previous, &error))?;
        }
        if self.partial.is_dir() {
            let ours = is_empty(&self.partial)
                || self.partial.join(PARTIAL_MARK).is_file()
                || foreign_entry(&self.partial).is_ok_and(|foreign| foreign.is_none());
            if !ours {
                return Err(Failure::File {
                    headline: format!("{} is in the way", self.partial.display()),
                    help: Some("it is not of this program's making: move it away".to_owned()),
                });
            }
            remove_partial(&self.partial)
                .map_err(|error| Failure::file("clear", &self.partial, &error))?;
        }
        Ok(())
    }

    /// Fails unless the target is absent, an empty folder, or results of ours and nothing else.
    fn refuse_what_is_not_ours(&self) -> Result<(), Failure> {
        let refusal = |what: String| Failure::File {
            headline: what,
            help: Some(
                "nothing was touched; move it away or name another folder, -o DIR".to_owned(),
            ),
        };
        match fs::symlink_metadata(&self.target) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
            Err(error) => return Err(Failure::file("read", &self.target, &error)),
            Ok(meta) if !meta.is_dir() => {
                return Err(refusal(format!(
                    "{} exists and is not a folder",
                    self.target.display()
                )));
            }
            Ok(_) => {}
        }
        if is_empty(&self.target) {
            return Ok(());
        }
        match foreign_entry(&self.target) {
            Ok(None) => Ok(()),
            Ok(Some(name)) => Err(refusal(format!(
                "{} holds {name}, which is not one of its results",
                self.target.display()
            ))),
            Err(_) => Err(refusal(format!(
                "{} exists and is not a folder of results",
                self.target.display()
            ))),
        }
    }
}

impl Drop for ResultsFolder {
    fn drop(&mut self) {
        // Who begins one holds it already.
        let undone = self.watched.then(undone);
        // After publishing there is no such folder; after a failure it is of no use to anyone.
        if self.begun {
            let _ = remove_partial(&self.partial);
        }
        self.lock.release();
        remove_if_empty(&self.created_parents);
        if let Some(mut undone) = undone {
            (undone.partial, undone.lock) = (None, None);
            undone.parents.clear();
        }
    }
}

/// What a summary says of its own folder.
#[derive(Debug, Deserialize)]
struct FolderRecord {
    #[serde(rename = "tool_version")]
    _tool_version: String,
    #[serde(rename = "case_sha256")]
    _case_sha256: String,
    files: Vec<String>,
}

/// An entry of a folder of results that its summary does not list; an error if the folder has no
/// summary of ours.
fn foreign_entry(folder: &Path) -> io::Result<Option<String>> {
    let record: FolderRecord = serde_json::from_slice(&fs::read(folder.join(SUMMARY))?)?;
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        let known = name == SUMMARY || record.files.contains(&name);
        if !known || entry.file_type()?.is_dir() {
            return Ok(Some(name));
        }
    }
    Ok(None)
}

/// Removes a partial folder, its mark last: killed on the way, the rest is still known as ours.
fn remove_partial(folder: &Path) -> io::Result<()> {
    if !folder.is_dir() {
        return Ok(());
    }
    let mark = folder.join(PARTIAL_MARK);
    // On a full disk there may be no room for it: then only the order is lost.
    let _ = File::create(&mark);
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            fs::remove_dir_all(&path)?;
        } else if path != mark {
            fs::remove_file(&path)?;
        }
    }
    fs::remove_dir_all(folder)
}

fn is_empty(folder: &Path) -> bool {
    fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_none())
}

/// Creates a folder with its parents; returns those that were not there before, innermost first.
fn create_parents(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let missing: Vec<PathBuf> = folder
        .ancestors()
        .filter(|ancestor| !ancestor.as_os_str().is_empty())
        .take_while(|ancestor| !ancestor.exists())
        .map(Path::to_owned)
        .collect();
    fs::create_dir_all(folder).map_err(|error| {
        remove_if_empty(&missing);
        Failure::file("create", folder, &error)
    })?;
    Ok(missing)
}

fn remove_if_empty(folders: &[PathBuf]) {
    for folder in folders {
        if fs::remove_dir(folder).is_err() {
            return;
        }
    }
}

/// Exchanges two names at once; false where that cannot be done.
#[cfg(target_os = "linux")]
fn exchange(a: &Path, b: &Path) -> bool {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    renameat_with(CWD, a, CWD, b, RenameFlags::EXCHANGE).is_ok()
}

#[cfg(not(target_os = "linux"))]
fn exchange(_a: &Path, _b: &Path) -> bool {
    false
}

#[cfg(unix)]
fn flush_folder(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

#[cfg(not(unix))]
fn flush_folder(_folder: &Path) -> io::Result<()> {
    // Folders cannot be opened for flushing here; the file system keeps their order itself.
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    const SUMMARY_TEXT: &str =
        r#"{"tool_version": "0", "case_sha256": "0", "files": ["a.csv", "summary.json"]}"#;

    fn write_results(target: &Path, a: &str) -> Result<(), Failure> {
        let folder = ResultsFolder::prepare(target)?;
        folder.write("a.csv", a.as_bytes())?;
        folder.write(SUMMARY, SUMMARY_TEXT.as_bytes())?;
        folder.publish()
    }

    fn entries(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(folder)
            .expect("a folder")
            .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn results_replace_older_ones_and_leave_nothing_beside_them() {
        let room = tempfile::tempdir().expect("a room");
        let target = room.path().join("deep/er/case.out");
        write_results(&target, "1").expect("first");
        write_results(&target, "2").expect("second");
        assert_eq!(fs::read_to_string(target.join("a.csv")).expect("read"), "2");
        assert_eq!(entries(&target), ["a.csv", "summary.json"]);
        assert_eq!(entries(target.parent().expect("parent")), ["case.out"]);
    }

    #[test]
    fn an_abandoned_run_leaves_old_results_and_no_trace() {
        let room = tempfile::tempdir().expect("a room");
        let target = room.path().join("case.out");
        write_results(&target, "1").expect("first");
        let folder = ResultsFolder::prepare(&target).expect("prepared");
        folder.write("a.csv", b"2").expect("written");
        drop(folder);
        assert_eq!(fs::read_to_string(target.join("a.csv")).expect("read"), "1");
        assert_eq!(entries(room.path()), ["case.out"]);
        drop(ResultsFolder::prepare(&room.path().join("new/case.out")).expect("prepared"));
        assert_eq!(entries(room.path()), ["case.out"]);
    }

    #[test]
    fn a_folder_that_is_not_ours_is_refused_and_kept() {
        let room = tempfile::tempdir().expect("a room");
        let target = room.path().join("thesis");
        fs::create_dir(&target).expect("a folder");
        fs::write(target.join("chapter.tex"), "words").expect("a file");
        assert!(matches!(write_results(&target, "1"), Err(Failure::File { .. })));
        assert_eq!(entries(&target), ["chapter.tex"]);
        assert_eq!(entries(room.path()), ["thesis"]);
    }

    #[test]
    fn a_note_left_among_results_is_not_lost() {
        let room = tempfile::tempdir().expect("a room");
        let target = room.path().join("case.out");
        write_results(&target, "1").expect("first");
        fs::write(target.join("note.txt"), "look at P1").expect("a note");
        let failure = write_results(&target, "2").expect_err("refused");
        assert!(failure.rendered().contains("note.txt"), "{}", failure.rendered());
        assert_eq!(entries(&target), ["a.csv", "note.txt", "summary.json"]);
        assert_eq!(fs::read_to_string(target.join("a.csv")).expect("read"), "1");
    }

    #[test]
    fn a_file_in_place_of_the_folder_is_refused() {
        let room = tempfile::tempdir().expect("a room");
        let target = room.path().join("case.out");
        fs::write(&target, "a file").expect("a file");
        assert!(matches!(write_results(&target, "1"), Err(Failure::File { .. })));
        assert_eq!(fs::read_to_string(&target).expect("read"), "a file");
    }

    #[test]
    fn a_second_run_on_the_same_folder_is_told_so() {
        let room = tempfile::tempdir().expect("a room");
        let target = room.path().join("case.out");
        let first = ResultsFolder::prepare(&target).expect("prepared");
        let failure = ResultsFolder::prepare(&target).expect_err("locked");
        assert!(failure.rendered().contains("another run"), "{}", failure.rendered());
        drop(first);
        write_results(&target, "1").expect("free again");
    }

    /// How it goes where names cannot be exchanged, and that the end is the same.
    #[test]
    fn results_are_put_in_place_with_and_without_an_exchange_of_names() {
        for exchange in [super::exchange as fn(&Path, &Path) -> bool, |_, _| false] {
            let room = tempfile::tempdir().expect("a room");
            let target = room.path().join("case.out");
            write_results(&target, "1").expect("first");
            let folder = ResultsFolder::prepare(&target).expect("prepared");
            folder.write("a.csv", b"2").expect("written");
            folder.write(SUMMARY, SUMMARY_TEXT.as_bytes()).expect("written");
            fs::remove_file(folder.partial.join(PARTIAL_MARK)).expect("whole");
            folder.put_in_place(exchange).expect("in place");
            assert_eq!(fs::read_to_string(target.join("a.csv")).expect("read"), "2");
            let previous = room.path().join(".case.out.previous");
            assert_eq!(fs::read_to_string(previous.join("a.csv")).expect("read"), "1");
            drop(folder);
            write_results(&target, "3").expect("mended");
            assert_eq!(entries(room.path()), ["case.out"]);
        }
    }

    #[test]
    fn a_clearing_that_was_cut_short_is_taken_up() {
        let room = tempfile::tempdir().expect("a room");
        let target = room.path().join("case.out");
        let partial = room.path().join(".case.out.partial");
        fs::create_dir(&partial).expect("partial");
        fs::write(partial.join(PARTIAL_MARK), "").expect("mark");
        fs::write(partial.join("b.csv"), "half").expect("a file");
        write_results(&target, "1").expect("over it");
        assert_eq!(entries(room.path()), ["case.out"]);
    }

    #[test]
    fn what_a_killed_run_left_is_mended() {
        let room = tempfile::tempdir().expect("a room");
        let target = room.path().join("case.out");
        write_results(&target, "1").expect("first");
        // Killed between the two renames: the old results are set aside, the new ones not yet there.
        fs::rename(&target, room.path().join(".case.out.previous")).expect("set aside");
        fs::create_dir(room.path().join(".case.out.partial")).expect("partial");
        fs::write(room.path().join(".case.out.partial").join(PARTIAL_MARK), "").expect("mark");
        drop(ResultsFolder::prepare(&target).expect("prepared"));
        assert_eq!(fs::read_to_string(target.join("a.csv")).expect("read"), "1");
        assert_eq!(entries(room.path()), ["case.out"]);
    }
}
