//! What of a search is finished, kept by whoever runs it, so that a killed one can go on.

/// Keeps the numbers of finished pieces of a search: of each start, and of each point of the
/// trade-off curve. A search that finds some of them known ends with the same numbers as one that
/// does all the work.
pub trait Keeper: Sync {
    /// The numbers of a piece that a former run of the same search finished.
    fn known(&self, piece: &str) -> Option<Vec<f64>>;

    /// Hears of a finished piece.
    fn keep(&self, piece: &str, numbers: &[f64]);
}

/// Keeps nothing.
#[derive(Debug, Clone, Copy)]
pub struct Forgetful;

impl Keeper for Forgetful {
    fn known(&self, _: &str) -> Option<Vec<f64>> {
        None
    }

    fn keep(&self, _: &str, _: &[f64]) {}
}
