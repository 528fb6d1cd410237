//! One run at a time on a folder of results.

use std::fs::{self, File, TryLockError};
use std::path::{Path, PathBuf};

use crate::failure::Failure;

/// A lock file that is removed when its holder is done, and void when its holder dies.
#[derive(Debug)]
pub struct Lock {
    path: PathBuf,
    file: Option<File>,
}

impl Lock {
    /// Takes the lock file for runs that write to `target`.
    pub fn take(path: PathBuf, target: &Path) -> Result<Lock, Failure> {
        loop {
            let file =
                File::options().create(true).truncate(false).write(true).open(&path).map_err(
                    |error| Failure::file("write into", path.parent().unwrap_or(&path), &error),
                )?;
            match file.try_lock() {
                Ok(()) => {}
                Err(TryLockError::WouldBlock) => {
                    return Err(Failure::File {
                        headline: format!("another run is writing to {}", target.display()),
                        help: Some("wait for it, or name another folder, -o DIR".to_owned()),
                    });
                }
                Err(TryLockError::Error(error)) => {
                    return Err(Failure::file("lock", &path, &error));
                }
            }
            // Its former holder may have removed the file between our opening and locking it;
            // then the next run would lock another file of the same name.
            if same_file(&file, &path) {
                return Ok(Lock { path, file: Some(file) });
            }
        }
    }

    /// Where the lock file lies.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Removes the file, then lets go of it.
    pub fn release(&mut self) {
        if let Some(file) = self.file.take() {
            if cfg!(unix) {
                let _ = fs::remove_file(&self.path);
            }
            drop(file);
        }
    }
}

#[cfg(unix)]
fn same_file(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    match (file.metadata(), fs::metadata(path)) {
        (Ok(a), Ok(b)) => a.dev() == b.dev() && a.ino() == b.ino(),
        _ => false,
    }
}

#[cfg(not(unix))]
fn same_file(_file: &File, _path: &Path) -> bool {
    // Lock files are left in place there, so a name always means the same file.
    true
}
