//! What is going on, on a terminal only.

use std::sync::Mutex;
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressStyle};
use sprayside_solver::results::RefinementLevel;

use crate::figures::{celsius, grouped};

/// A moving line on standard error; silent where that is not a terminal.
#[derive(Debug)]
pub struct Progress {
    bar: ProgressBar,
    grids: usize,
    /// A stage of a study, since when, and how far it was then.
    stage: Mutex<Option<(String, Instant, usize)>>,
}

impl Progress {
    /// Starts; `quiet` shows nothing at all.
    pub fn start(quiet: bool) -> Progress {
        let bar = if quiet { ProgressBar::hidden() } else { ProgressBar::new_spinner() };
        if let Ok(style) = ProgressStyle::with_template("{spinner} {elapsed:>4}  {wide_msg}") {
            bar.set_style(style);
        }
        bar.enable_steady_tick(Duration::from_millis(120));
        bar.set_message("solving the first grid");
        Progress { bar, grids: 0, stage: Mutex::new(None) }
    }

    /// Tells of a solved grid.
    pub fn solved(&mut self, level: &RefinementLevel) {
        self.grids += 1;
        let hottest = level.junction_max_K.iter().copied().max_by(f64::total_cmp);
        let uncertainty = level.uncertainty_K.iter().flatten().copied().max_by(f64::total_cmp);
        let mut message = format!(
            "grid {}: {} unknowns, {} iterations",
            self.grids,
            grouped(level.unknowns),
            level.iterations
        );
        if let Some(hottest) = hottest {
            message.push_str(&format!(", hottest junction {:.2} °C", celsius(hottest)));
        }
        if let Some(uncertainty) = uncertainty {
            message.push_str(&format!(" ± {uncertainty:.2} K"));
        }
        self.bar.set_message(message);
    }

    /// Tells what is being done after solving.
    pub fn doing(&self, what: &'static str) {
        self.bar.set_message(what);
    }

    /// Tells how far a study is, and how long the rest of this stage takes if it goes on so.
    pub fn part(&self, what: &str, done: usize, of: usize) {
        let Ok(mut stage) = self.stage.lock() else { return };
        let going = matches!(&*stage, Some((name, _, _)) if name == what);
        if !going {
            *stage = Some((what.to_owned(), Instant::now(), done));
        }
        let left = stage.as_ref().and_then(|(_, since, from)| {
            let passed = done.checked_sub(*from).filter(|n| *n > 0)? as f64;
            let rest = of.saturating_sub(done) as f64;
            Some(since.elapsed().mul_f64(rest / passed))
        });
        let left = left.map_or(String::new(), |left| {
            format!(", at most {} left", indicatif::HumanDuration(left))
        });
        self.bar.set_message(format!("{what}: {done} of {of}{left}"));
    }

    /// Tells how far a run over time is: a share, or minus the number of periods tried.
    pub fn stage(&self, stage: &str, share: f64) {
        self.bar.set_message(if share < 0.0 {
            format!("{stage}: period {:.0} on the way to the one that comes back", -share)
        } else {
            format!("{stage}: {:.0} %", 100.0 * share)
        });
    }

    /// Starts to count the points of a study, `done` of which are finished.
    pub fn points(&self, done: usize, of: usize) {
        let template = "{spinner} {elapsed:>4}  {bar:30} {pos} of {len} points, {eta} left";
        if let Ok(style) = ProgressStyle::with_template(template) {
            self.bar.set_style(style);
        }
        self.bar.set_length(of as u64);
        self.bar.set_position(done as u64);
        // The time left counts from here: neither the nominal solve nor old points are in it.
        self.bar.reset_eta();
    }

    /// Counts one more point.
    pub fn point_done(&self) {
        self.bar.inc(1);
    }

    /// Goes back to words.
    pub fn points_end(&self) {
        if let Ok(style) = ProgressStyle::with_template("{spinner} {elapsed:>4}  {wide_msg}") {
            self.bar.set_style(style);
        }
    }

    /// Wipes the line.
    pub fn finish(self) {
        self.bar.finish_and_clear();
    }
}
