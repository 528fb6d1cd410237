//! What is going on, on a terminal only.

use std::sync::Mutex;
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressStyle};
use sprayside_solver::module::Module;
use sprayside_solver::results::RefinementLevel;

use crate::figures::{celsius, grouped, significant};

/// A moving line on standard error; silent where that is not a terminal.
#[derive(Debug)]
pub struct Progress {
    bar: ProgressBar,
    grids: usize,
    /// A stage of a study, since when, and how far it was then.
    stage: Mutex<Option<(String, Instant, usize)>>,
    /// Accuracy asked for, K.
    goal_K: Option<f64>,
    /// When the last grid was done, and its unknowns.
    last: (Instant, usize),
}

/// How the error falls with the unknowns: some |error| ~ unknowns^-0.7, between first and second
/// order in the cell size on a plane.
const ERROR_EXPONENT: f64 = 0.7;
/// How much larger the next grid is where nothing is known of it: cells halved both ways.
const USUAL_GROWTH: f64 = 4.0;

/// Seconds that the rest of a refinement may take: the time a grid took, times how much larger
/// the one must be that reaches the accuracy asked for.
fn seconds_left(took_s: f64, uncertainty_K: Option<f64>, goal_K: f64) -> f64 {
    match uncertainty_K {
        Some(uncertainty_K) if uncertainty_K <= goal_K => 0.0,
        Some(uncertainty_K) => {
            took_s * (uncertainty_K / goal_K).powf(1.0 / ERROR_EXPONENT).clamp(1.0, 100.0)
        }
        None => took_s * USUAL_GROWTH,
    }
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
        Progress { bar, grids: 0, goal_K: None, last: (Instant::now(), 0), stage: Mutex::new(None) }
    }

    /// The refinement goes on until junctions are known to within `accuracy_K`; a fixed mesh has
    /// no such goal.
    pub fn toward(mut self, module: &Module) -> Progress {
        self.goal_K = module.mesh.cell_m.is_none().then_some(module.mesh.accuracy_K);
        self
    }

    /// Tells of a solved grid.
    pub fn solved(&mut self, level: &RefinementLevel) {
        self.grids += 1;
        let hottest = level.junction_max_K.iter().copied().max_by(f64::total_cmp);
        let uncertainty = level.uncertainty_K.iter().flatten().copied().max_by(f64::total_cmp);
        // What matters most first: a narrow terminal cuts the end off.
        let mut message = format!(
            "grid {}: {} unknowns, {} iterations",
            self.grids,
            grouped(level.unknowns),
            level.iterations
        );
        if let Some(goal_K) = self.goal_K {
            let goal = significant(goal_K, 2);
            message.push_str(&match uncertainty {
                Some(uncertainty) => format!(", ± {uncertainty:.2} of {goal} K"),
                None => format!(", to {goal} K"),
            });
            // Of coarse grids the time says nothing yet.
            let left_s = seconds_left(self.last.0.elapsed().as_secs_f64(), uncertainty, goal_K);
            if level.unknowns > self.last.1 && left_s >= 1.0 {
                message.push_str(&format!(", about {left_s:.0} s left"));
            }
        }
        if let Some(hottest) = hottest {
            message.push_str(&format!(", hottest {:.2} °C", celsius(hottest)));
        }
        self.last = (Instant::now(), level.unknowns);
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_time_left_follows_the_uncertainty() {
        assert_eq!(seconds_left(3.0, Some(0.09), 0.1), 0.0);
        assert!((seconds_left(1.0, Some(0.2), 0.1) - 2f64.powf(1.0 / 0.7)).abs() < 1e-12);
        assert!(seconds_left(1.0, Some(0.2), 0.1) < seconds_left(1.0, Some(0.4), 0.1));
        assert_eq!(seconds_left(2.0, None, 0.1), 8.0);
    }
}
