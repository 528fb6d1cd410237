//! A case from a file or from standard input, with the CSV files that it names.

use std::cell::RefCell;
use std::fs;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use sprayside_solver::case::{self, Case};
use sprayside_solver::module::Module;

use crate::failure::Failure;

/// More than any case needs; a larger file is not a case.
const LARGEST_FILE_BYTES: u64 = 64 * 1024 * 1024;

/// A case and what identifies it.
#[derive(Debug)]
pub struct CaseFile {
    /// What the solver takes.
    pub case: Case,
    /// The text of the case file.
    pub text: String,
    /// SHA-256 of the case file, hexadecimal, as `sha256sum` prints it.
    pub sha256: String,
    /// Where the case states `max_cells`: file and line.
    pub max_cells_at: Option<String>,
    /// How messages call it.
    name: String,
    /// Where the files that it names are sought.
    folder: PathBuf,
    /// The files that the case names, in the order in which they were read.
    pub files: Vec<NamedFile>,
}

/// A file that the case names.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct NamedFile {
    /// Name as it stands in the case.
    pub name: String,
    /// SHA-256, hexadecimal.
    pub sha256: String,
    /// What it holds.
    #[serde(skip)]
    pub text: String,
}

/// By name and sum: what was written down and read back has no text.
impl PartialEq for NamedFile {
    fn eq(&self, other: &NamedFile) -> bool {
        (&self.name, &self.sha256) == (&other.name, &other.sha256)
    }
}

impl Eq for NamedFile {}

/// Reads and checks the case at `path`; `-` is standard input.
pub fn read(path: &Path) -> Result<CaseFile, Failure> {
    let from_stdin = is_stdin(path);
    let bytes = if from_stdin {
        let mut bytes = Vec::new();
        io::stdin()
            .lock()
            .take(LARGEST_FILE_BYTES + 1)
            .read_to_end(&mut bytes)
            .map_err(|error| Failure::file("read", Path::new("standard input"), &error))?;
        bytes
    } else {
        read_file(path).map_err(|error| match error.kind() {
            io::ErrorKind::NotFound => Failure::File {
                headline: format!("cannot read {}: no such file", path.display()),
                help: Some(match similar_file(path) {
                    Some(other) => format!("did you mean {}?", other.display()),
                    None => format!(
                        "`sprayside new {}` writes a commented case to start from",
                        path.display()
                    ),
                }),
            },
            _ => Failure::file("read", path, &error),
        })?
    };
    let name = if from_stdin { "standard input".to_owned() } else { path.display().to_string() };
    if bytes.len() as u64 > LARGEST_FILE_BYTES {
        return Err(Failure::Request {
            headline: format!("{name} is too large for a case"),
            help: "a case is a TOML text; is this the right file?".to_owned(),
        });
    }
    let sha256 = hexadecimal_sha256(&bytes);
    let text = String::from_utf8(bytes).map_err(|error| {
        let line = error.as_bytes()[..error.utf8_error().valid_up_to()]
            .iter()
            .filter(|byte| **byte == b'\n')
            .count()
            + 1;
        Failure::Request {
            headline: format!(
                "{name} is not UTF-8 text: line {line} has a byte that no character has"
            ),
            help: "save it as UTF-8".to_owned(),
        }
    })?;
    let folder = match path.parent() {
        Some(parent) if !from_stdin => parent.to_owned(),
        _ => PathBuf::new(),
    };
    let files = RefCell::new(Vec::new());
    let load = |name: &str| {
        let bytes = read_file(&folder.join(name)).map_err(|error| match error.kind() {
            io::ErrorKind::NotFound => "no such file".to_owned(),
            _ => error.to_string(),
        })?;
        if bytes.len() as u64 > LARGEST_FILE_BYTES {
            return Err("the file is larger than 64 MiB".to_owned());
        }
        let sha256 = hexadecimal_sha256(&bytes);
        let text = String::from_utf8(bytes).map_err(|_| "the file is not UTF-8 text".to_owned())?;
        let file = NamedFile { name: name.to_owned(), sha256, text: text.clone() };
        if !files.borrow().contains(&file) {
            files.borrow_mut().push(file);
        }
        Ok(text)
    };
    let case = case::read(&text, &name, &load).map_err(Failure::Case)?;
    let max_cells_at = text
        .lines()
        .position(|line| line.trim_start().starts_with("max_cells"))
        .map(|index| format!("{name}, line {}", index + 1));
    Ok(CaseFile { case, text, sha256, max_cells_at, name, folder, files: files.into_inner() })
}

impl CaseFile {
    /// The text of the case with the tables of die and nozzles that it names written out.
    pub fn inlined(&self) -> String {
        let load = |name: &str| {
            let known = self.files.iter().find(|file| file.name == name);
            known.map(|file| file.text.clone()).ok_or_else(|| "not read".to_owned())
        };
        case::inlined(&self.text, &load).unwrap_or_else(|| self.text.clone())
    }

    /// The module of the case with another text, its files sought where they were.
    pub fn read_changed(&self, text: &str) -> Result<Module, Failure> {
        let load = |name: &str| {
            let bytes = read_file(&self.folder.join(name)).map_err(|error| error.to_string())?;
            String::from_utf8(bytes).map_err(|_| "the file is not UTF-8 text".to_owned())
        };
        case::read(text, &self.name, &load).map(|case| case.module).map_err(Failure::Case)
    }
}

/// Where results of the case at `path` go unless told otherwise: `CASE.out` beside it.
pub fn default_output(path: &Path) -> PathBuf {
    if is_stdin(path) { PathBuf::from("stdin.out") } else { path.with_extension("out") }
}

/// Whether the path means standard input.
pub fn is_stdin(path: &Path) -> bool {
    path.as_os_str() == "-"
}

/// The TOML file in the same folder whose name is most like that of a file that is not there.
fn similar_file(path: &Path) -> Option<PathBuf> {
    let wanted = path.file_name()?.to_string_lossy().to_lowercase();
    let folder = path.parent().filter(|parent| !parent.as_os_str().is_empty());
    let likeness = |other: &Path| {
        let name = other.file_name().map(|name| name.to_string_lossy().to_lowercase());
        name.map_or(0.0, |name| strsim::jaro_winkler(&wanted, &name))
    };
    let mut others: Vec<PathBuf> = fs::read_dir(folder.unwrap_or(Path::new(".")))
        .ok()?
        .filter_map(|entry| Some(folder.unwrap_or(Path::new("")).join(entry.ok()?.file_name())))
        .filter(|other| other.extension().is_some_and(|extension| extension == "toml"))
        .filter(|other| likeness(other) > 0.85)
        .collect();
    // Of equals the first by name: a folder has no order.
    others.sort();
    others.into_iter().rev().max_by(|a, b| likeness(a).total_cmp(&likeness(b)))
}

fn read_file(path: &Path) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    fs::File::open(path)?.take(LARGEST_FILE_BYTES + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

fn hexadecimal_sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_go_beside_the_case() {
        assert_eq!(default_output(Path::new("a/module.toml")), Path::new("a/module.out"));
        assert_eq!(default_output(Path::new("module")), Path::new("module.out"));
        assert_eq!(default_output(Path::new("-")), Path::new("stdin.out"));
    }

    #[test]
    fn a_misspelt_file_is_told_its_neighbour() {
        let folder = tempfile::tempdir().expect("a folder");
        for name in ["module.toml", "sprayed.toml", "module.txt"] {
            fs::write(folder.path().join(name), "").expect("a file");
        }
        let similar = |name: &str| similar_file(&folder.path().join(name));
        assert_eq!(similar("modul.toml"), Some(folder.path().join("module.toml")));
        assert_eq!(similar("module.tml"), Some(folder.path().join("module.toml")));
        assert_eq!(similar("spraid.toml"), Some(folder.path().join("sprayed.toml")));
        assert_eq!(similar("radar.toml"), None);
        assert_eq!(similar_file(Path::new("no/such/folder.toml")), None);
    }

    /// FIPS 180-2, appendix B.1: the digest of "abc".
    #[test]
    fn the_hash_is_sha_256() {
        assert_eq!(
            hexadecimal_sha256(b"abc"),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }
}
