//! A run of the program that is watched from outside, through `/proc`: so only on Linux.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// What a run took, and its `summary.json`.
#[allow(dead_code, reason = "not every benchmark tells all of it")]
pub struct Run {
    pub wall: Duration,
    /// Processor time of all threads.
    pub cpu: Duration,
    pub peak_bytes: u64,
    pub summary: serde_json::Value,
}

/// Largest resident size so far, bytes, and processor time so far, of a running process.
fn so_far(process: u32) -> Option<(u64, Duration)> {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    let kib: u64 = line.split_whitespace().nth(1)?.parse().ok()?;
    let stat = std::fs::read_to_string(format!("/proc/{process}/stat")).ok()?;
    // After the name in brackets; user and system time are the 12th and 13th from there, in
    // hundredths of a second.
    let after: Vec<&str> = stat.rsplit_once(')')?.1.split_whitespace().collect();
    let ticks = |k: usize| after.get(k)?.parse::<u64>().ok();
    Some((kib * 1024, Duration::from_millis(10 * (ticks(11)? + ticks(12)?))))
}

/// Runs the program on `case`: the command, then what else is asked of it.
pub fn run(arguments: &[&str], case: &Path, out: &Path) -> Run {
    let start = Instant::now();
    let mut child = Command::new(env!("CARGO_BIN_EXE_sprayside"))
        .arg(arguments[0])
        .arg(case)
        .args(&arguments[1..])
        .arg("-o")
        .arg(out)
        .arg("-q")
        .stderr(Stdio::null())
        .spawn()
        .expect("the program starts");
    let mut seen = (0, Duration::ZERO);
    let wall = loop {
        seen = so_far(child.id()).unwrap_or(seen);
        if child.try_wait().expect("the program is ours").is_some() {
            break start.elapsed();
        }
        std::thread::sleep(Duration::from_millis(4));
    };
    let summary = std::fs::read_to_string(out.join("summary.json")).expect("a summary");
    let summary = serde_json::from_str(&summary).expect("JSON");
    Run { wall, cpu: seen.1, peak_bytes: seen.0, summary }
}
