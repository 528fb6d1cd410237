//! Nozzles blocked in turn.
//!
//! What the other nozzles do is a matter of the manifold. Where each nozzle is fed by itself, or
//! the pump holds the pressure, they keep their own flow. Where the pump holds the flow, they share
//! what the blocked ones leave: every flow grows by the same factor
//!
//! ```text
//! f = sum of all flows / sum of the open ones
//! ```
//!
//! and, an orifice passing a flow in proportion to the square root of the pressure drop over it
//! (Bernoulli's equation with a constant discharge coefficient), every pressure drop by f², which
//! makes the drops smaller.

use serde::{Deserialize, Serialize};

use super::points::Points;
use crate::module::{Module, Spray};

/// What the other nozzles do when some are blocked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Manifold {
    /// Each keeps its own flow.
    KeepsEach,
    /// Together they keep the total.
    KeepsTotal,
}

/// The points of a study of blocked nozzles: each nozzle alone, then every pair if asked for.
#[derive(Debug)]
pub struct Clog<'m> {
    module: &'m Module,
    manifold: Manifold,
    /// Nozzles blocked at each point.
    pub blocked: Vec<Vec<usize>>,
}

impl<'m> Clog<'m> {
    /// All nozzles of `module` in turn, and all pairs of them; `None` without nozzles.
    pub fn new(module: &'m Module, manifold: Manifold, pairs: bool) -> Option<Clog<'m>> {
        let Spray::Correlated(spray) = &module.spray else { return None };
        let n = spray.nozzles.len();
        let mut blocked: Vec<Vec<usize>> = (0..n).map(|k| vec![k]).collect();
        if pairs {
            blocked.extend((0..n).flat_map(|a| (a + 1..n).map(move |b| vec![a, b])));
        }
        Some(Clog { module, manifold, blocked })
    }
}

impl Points for Clog<'_> {
    fn count(&self) -> usize {
        self.blocked.len()
    }

    fn module(&self, k: usize) -> Result<Module, String> {
        Ok(with_blocked(self.module, &self.blocked[k], self.manifold))
    }
}

/// `module` with some nozzles blocked; unchanged where the spray is not made by nozzles.
pub fn with_blocked(module: &Module, blocked: &[usize], manifold: Manifold) -> Module {
    let mut module = module.clone();
    if let Spray::Correlated(spray) = &mut module.spray {
        let flow = |k: usize| spray.nozzles[k].flow_m3_s * spray.nozzles[k].flow_factor;
        let all: f64 = (0..spray.nozzles.len()).map(flow).sum();
        let open: f64 = (0..spray.nozzles.len()).filter(|k| !blocked.contains(k)).map(flow).sum();
        let factor = match manifold {
            Manifold::KeepsTotal if open > 0.0 => all / open,
            _ => 1.0,
        };
        for (k, nozzle) in spray.nozzles.iter_mut().enumerate() {
            if blocked.contains(&k) {
                nozzle.flow_factor = 0.0;
            } else {
                nozzle.flow_m3_s *= factor;
                nozzle.pressure_drop_Pa *= factor * factor;
            }
        }
    }
    module
}

#[cfg(test)]
mod tests {
    use super::super::testing::with_nozzles;
    use super::*;

    #[test]
    fn every_nozzle_and_every_pair_comes_once() {
        let module = with_nozzles();
        let clog = Clog::new(&module, Manifold::KeepsEach, true).unwrap();
        assert_eq!(clog.blocked, [vec![0], vec![1], vec![2], vec![0, 1], vec![0, 2], vec![1, 2]]);
        assert!(
            Clog::new(&super::super::testing::prescribed(), Manifold::KeepsEach, false).is_none()
        );
    }

    /// 1.1 + 1.1 + 0.6 mL/s; without the first 1.7 remain, so every flow grows by 2.8 / 1.7 and
    /// every pressure drop by its square.
    #[test]
    fn a_manifold_that_keeps_the_total_keeps_it_at_a_higher_pressure() {
        let module = with_nozzles();
        let flow = super::super::point::flow_m3_s;
        let total = with_blocked(&module, &[0], Manifold::KeepsTotal);
        assert!((flow(&total) / 2.8e-6 - 1.0).abs() < 1e-12);
        let Spray::Correlated(spray) = &total.spray else { panic!("nozzles") };
        assert!((spray.nozzles[1].pressure_drop_Pa / 200e3 - (2.8f64 / 1.7).powi(2)).abs() < 1e-12);
        assert_eq!(spray.nozzles[0].flow_factor, 0.0);
        let each = with_blocked(&module, &[0], Manifold::KeepsEach);
        assert!((flow(&each) / 1.7e-6 - 1.0).abs() < 1e-12);
        let none = with_blocked(&module, &[0, 1, 2], Manifold::KeepsTotal);
        assert_eq!(flow(&none), 0.0);
    }
}
