//! An empty folder, a case in it, a run of the program, and everything about it when a test fails.

use std::fmt;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use tempfile::TempDir;

/// A small case that solves in well under a second: one die on ceramic, cells of a millimetre.
pub const CASE: &str = r#"
title = "One die on ceramic"
[module]
size_mm = [20.0, 16.0]
[[module.layer]]
name = "plate"
material = "alumina-96"
thickness_mm = 1.0
slices = 2
[die_type.square]
size_mm = [6.0, 6.0]
thickness_mm = 0.6
material = "silicon"
active_face = "down"
attach = { material = "underfilled-bumps", thickness_mm = 0.08 }
limit_C = 90.0
[[die]]
name = "D0"
type = "square"
at_mm = [8.0, 8.0]
power_W = 18.0
[coolant]
inlet_C = 25.0
[spray]
model = "prescribed"
htc_W_m2K = 8000.0
[board]
temperature_C = 40.0
htc_W_m2K = 100.0
[mesh]
cell_mm = 1.0
"#;

/// An empty folder in which the program runs.
pub struct Room {
    folder: TempDir,
}

impl Room {
    /// An empty room.
    pub fn new() -> Room {
        Room { folder: tempfile::tempdir().expect("a temporary folder") }
    }

    /// A room with the small case as `case.toml`.
    pub fn with_case() -> Room {
        Room::with("case.toml", CASE)
    }

    /// A room with one file.
    pub fn with(name: &str, text: &str) -> Room {
        let room = Room::new();
        room.write(name, text);
        room
    }

    /// The room's folder.
    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    /// A file or folder of the room.
    pub fn join(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Writes a file.
    pub fn write(&self, name: &str, text: &str) {
        fs::write(self.join(name), text).expect("a file written");
    }

    /// Reads a file.
    pub fn read(&self, name: &str) -> String {
        fs::read_to_string(self.join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
    }

    /// Names in a folder of the room, sorted.
    pub fn entries(&self, name: &str) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(self.join(name))
            .unwrap_or_else(|error| panic!("{name}: {error}"))
            .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    /// The command with its arguments, in this room.
    pub fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_sprayside"));
        command.args(arguments).current_dir(self.path()).env_remove("NO_COLOR");
        command
    }

    /// Runs the program.
    pub fn run(&self, arguments: &[&str]) -> Run {
        let output = self.command(arguments).stdin(Stdio::null()).output().expect("a run");
        Run::of(arguments, output, self)
    }

    /// Runs the program with a text on standard input.
    pub fn run_with_input(&self, arguments: &[&str], input: &str) -> Run {
        let mut child = self
            .command(arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("a run");
        let mut stdin = child.stdin.take().expect("a pipe");
        stdin.write_all(input.as_bytes()).expect("input taken");
        drop(stdin);
        Run::of(arguments, child.wait_with_output().expect("an end"), self)
    }
}

/// What a run did.
pub struct Run {
    /// Exit code; `None` if killed.
    pub code: Option<i32>,
    /// Standard output.
    pub stdout: String,
    /// Standard error.
    pub stderr: String,
    arguments: String,
    listing: Vec<String>,
}

impl Run {
    fn of(arguments: &[&str], output: Output, room: &Room) -> Run {
        Run {
            code: output.status.code(),
            stdout: String::from_utf8_lossy(&output.stdout).into_owned(),
            stderr: String::from_utf8_lossy(&output.stderr).into_owned(),
            arguments: arguments.join(" "),
            listing: room.entries("."),
        }
    }

    /// Fails the test unless the run ended with this code.
    #[track_caller]
    pub fn ends_with(self, code: i32) -> Run {
        assert_eq!(self.code, Some(code), "{self}");
        assert!(!self.stderr.contains("panicked"), "{self}");
        self
    }

    /// Fails the test unless standard error says this.
    #[track_caller]
    pub fn complains_of(self, words: &str) -> Run {
        assert!(self.stderr.contains(words), "no {words:?} in\n{self}");
        self
    }

    /// Fails the test unless standard output says this.
    #[track_caller]
    pub fn prints(self, words: &str) -> Run {
        assert!(self.stdout.contains(words), "no {words:?} in\n{self}");
        self
    }
}

impl fmt::Display for Run {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "sprayside {}\nended with {:?}; the folder holds {:?}\n--- stdout\n{}\n--- stderr\n{}",
            self.arguments, self.code, self.listing, self.stdout, self.stderr
        )
    }
}

/// A decoded picture.
pub struct Picture {
    /// Pixels along x.
    pub width: usize,
    /// Pixels along y.
    pub height: usize,
    /// Red, green, blue, rows from the top.
    pub pixels: Vec<u8>,
    /// Words stored in the file: keyword and text.
    pub words: Vec<(String, String)>,
}

impl Picture {
    /// Decodes a PNG file.
    pub fn read(path: &Path) -> Result<Picture, String> {
        let file = fs::File::open(path).map_err(|error| error.to_string())?;
        let mut reader = png::Decoder::new(std::io::BufReader::new(file))
            .read_info()
            .map_err(|error| error.to_string())?;
        let size = reader.output_buffer_size().ok_or("too large")?;
        let mut pixels = vec![0; size];
        let frame = reader.next_frame(&mut pixels).map_err(|error| error.to_string())?;
        reader.finish().map_err(|error| error.to_string())?;
        assert_eq!(
            (frame.color_type, frame.bit_depth),
            (png::ColorType::Rgb, png::BitDepth::Eight)
        );
        let words = reader
            .info()
            .utf8_text
            .iter()
            .map(|chunk| (chunk.keyword.clone(), chunk.get_text().expect("text")))
            .collect();
        let (width, height) = (frame.width as usize, frame.height as usize);
        Ok(Picture { width, height, pixels, words })
    }

    /// A pixel.
    pub fn at(&self, x: usize, y: usize) -> [u8; 3] {
        let start = 3 * (y * self.width + x);
        [self.pixels[start], self.pixels[start + 1], self.pixels[start + 2]]
    }
}
