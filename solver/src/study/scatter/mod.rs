//! Random tolerances: samples of the module, and what they tell.
//!
//! Sample k takes point k of a Sobol sequence with Owen scrambling, one dimension a deviating
//! number, so that samples spread evenly in every one of them. A sample depends on the seed and on
//! its number alone: any part of a study can be computed anywhere.

pub mod junction;
pub mod statistics;
#[cfg(test)]
mod tests;
pub mod tolerance;

pub use junction::JunctionScatter;
pub use tolerance::{Distribution, Kind, Quantity, Spread, Tolerance};

use super::points::Points;
use crate::module::Module;

/// Samples that the sequence has.
pub const MOST_SAMPLES: usize = 1 << 16;
/// Dimensions of one sequence; further ones come from sequences of other seeds.
const DIMENSIONS: usize = 256;

/// The points of a study of tolerances.
#[derive(Debug)]
pub struct Scatter<'m> {
    module: &'m Module,
    tolerances: &'m [Tolerance],
    samples: usize,
    seed: u32,
}

impl<'m> Scatter<'m> {
    /// `samples` samples of `module`, at most [`MOST_SAMPLES`].
    pub fn new(
        module: &'m Module,
        tolerances: &'m [Tolerance],
        samples: usize,
        seed: u32,
    ) -> Scatter<'m> {
        Scatter { module, tolerances, samples: samples.min(MOST_SAMPLES), seed }
    }

    /// Deviates of sample `k`, in spreads, one a dimension.
    pub fn deviates(&self, k: usize) -> Vec<f64> {
        let dimensions = self.tolerances.iter().flat_map(|tolerance| {
            std::iter::repeat_n(tolerance.distribution, tolerance.dimensions())
        });
        dimensions
            .enumerate()
            .map(|(d, distribution)| {
                let seed = self.seed.wrapping_add((d / DIMENSIONS) as u32 * 0x9E37_79B9);
                let u = sobol_burley::sample(k as u32, (d % DIMENSIONS) as u32, seed);
                // Multiples of 2^-24: half a step keeps them off both ends.
                distribution.deviate(f64::from(u) + 0.5 / f64::from(1 << 24))
            })
            .collect()
    }

    /// The module with these deviates, in spreads.
    fn deviating(&self, deviates: &[f64]) -> Module {
        let mut module = self.module.clone();
        let mut rest = deviates;
        for tolerance in self.tolerances {
            let (own, after) = rest.split_at(tolerance.dimensions());
            tolerance.apply(&mut module, own);
            rest = after;
        }
        module
    }

    /// What each dimension belongs to: index of its tolerance and of its item.
    pub fn dimensions(&self) -> Vec<(usize, usize)> {
        let tolerances = self.tolerances.iter().enumerate();
        tolerances.flat_map(|(t, tol)| (0..tol.dimensions()).map(move |n| (t, n))).collect()
    }
}

impl Points for Scatter<'_> {
    fn count(&self) -> usize {
        self.samples
    }

    fn module(&self, k: usize) -> Result<Module, String> {
        Ok(self.deviating(&self.deviates(k)))
    }

    fn directions(&self) -> usize {
        self.tolerances.iter().map(Tolerance::dimensions).sum()
    }

    fn deviation(&self, k: usize) -> Vec<f64> {
        self.deviates(k)
    }

    fn in_direction(&self, direction: usize) -> Option<Module> {
        let mut deviates = vec![0.0; self.directions()];
        *deviates.get_mut(direction)? = 1.0;
        Some(self.deviating(&deviates))
    }
}
