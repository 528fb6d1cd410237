//! How rises moved in the steps of a period: first guesses for the same steps of the next one.
//!
//! On the way to the state that comes back, a period differs little from the one before, and the
//! moves within its steps less still.

use super::stage::by_cell;

/// Most memory that moves may take, bytes; later steps are guessed from the course alone.
const MOST_BYTES: usize = 400_000_000;

/// What one step did, K: from its start to its middle stage, and from there to its end. Single
/// precision is more than a guess needs.
#[derive(Debug)]
pub(super) struct Moves {
    to_middle_K: Vec<f32>,
    to_end_K: Vec<f32>,
}

impl Moves {
    /// The moves of a step.
    pub fn of(start: &[f64], middle: &[f64], end: &[f64]) -> Moves {
        let from = |a: &[f64], b: &[f64]| by_cell(a.len(), |k| (b[k] - a[k]) as f32);
        Moves { to_middle_K: from(start, middle), to_end_K: from(middle, end) }
    }

    /// Rises at the middle stage of a step from `start`.
    pub fn middle(&self, start: &[f64]) -> Vec<f64> {
        moved(start, &self.to_middle_K)
    }

    /// Rises at the end of a step with `middle` at its middle stage.
    pub fn end(&self, middle: &[f64]) -> Vec<f64> {
        moved(middle, &self.to_end_K)
    }
}

fn moved(from: &[f64], by: &[f32]) -> Vec<f64> {
    by_cell(from.len(), |k| from[k] + f64::from(by[k]))
}

/// Moves of the period before and of the one that runs.
#[derive(Debug, Default)]
pub(super) struct Trail {
    former: Vec<Option<Moves>>,
    made: Vec<Option<Moves>>,
    bytes: usize,
}

impl Trail {
    /// A new period begins; `same_steps` says whether it has the steps of the last.
    pub fn turn(&mut self, same_steps: bool) {
        self.former = std::mem::take(&mut self.made);
        if !same_steps {
            self.former.clear();
        }
        self.bytes = 0;
    }

    /// What the step that comes did in the period before.
    pub fn former(&self) -> Option<&Moves> {
        self.former.get(self.made.len())?.as_ref()
    }

    /// Keeps what a step did; nothing where it was cut.
    pub fn push(&mut self, moves: Option<Moves>) {
        let bytes = moves.as_ref().map_or(0, |moves| 8 * moves.to_end_K.len());
        self.bytes += bytes;
        // Two periods are kept at a time.
        let fits = 2 * self.bytes <= MOST_BYTES;
        self.made.push(moves.filter(|_| fits));
    }
}
