//! Many points of a study, on all cores.
//!
//! A solve is bound by memory: two threads inside one small solve gain little, two solves side by
//! side gain twice. So while points are small every core solves points of its own, one thread
//! each; when they are large, one point at a time has all the threads.

use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use super::point::{Lent, Nominal, PointOutcome};
use crate::module::Module;

/// From here on a point keeps all threads busy by itself, unknowns.
const LARGE: usize = 600_000;

/// How the points of a study come about.
pub trait Points: Sync {
    /// How many there are.
    fn count(&self) -> usize;

    /// The module of point `k`, or why there is none.
    ///
    /// # Errors
    /// One line that says why.
    fn module(&self, k: usize) -> Result<Module, String>;

    /// A first guess of the rises of point `k` on the nominal mesh, K.
    fn first_guess(&self, k: usize) -> Option<Vec<f64>> {
        let _ = k;
        None
    }
}

/// Solves the points `wanted`; `finished` hears of each as it ends, in no order, one at a time.
///
/// # Errors
/// The first error of `finished`, after which no further point is begun.
pub fn run<E: Send>(
    nominal: &Nominal,
    points: &dyn Points,
    wanted: &[usize],
    finished: &mut (dyn FnMut(usize, PointOutcome) -> Result<(), E> + Send),
) -> Result<(), E> {
    let next = AtomicUsize::new(0);
    let stopped = AtomicBool::new(false);
    let sink = Mutex::new((finished, Ok(())));
    let work = || {
        let mut lent = Lent::default();
        while !stopped.load(Ordering::Relaxed) {
            let Some(&k) = wanted.get(next.fetch_add(1, Ordering::Relaxed)) else { break };
            let outcome = points.module(k).and_then(|module| {
                nominal
                    .point(&module, points.first_guess(k), &mut lent)
                    .map_err(|error| error.to_string())
            });
            // A poisoned lock means that `finished` panicked; the panic reaches the caller.
            let Ok(mut sink) = sink.lock() else { break };
            if sink.1.is_ok() {
                sink.1 = (sink.0)(k, outcome);
            }
            if sink.1.is_err() {
                stopped.store(true, Ordering::Relaxed);
            }
        }
    };
    let threads = rayon::current_num_threads().min(wanted.len());
    let pools: Vec<rayon::ThreadPool> = if nominal.unknowns() < LARGE && threads > 1 {
        let one = || rayon::ThreadPoolBuilder::new().num_threads(1).build();
        (0..threads).filter_map(|_| one().ok()).collect()
    } else {
        Vec::new()
    };
    if pools.is_empty() {
        work();
    } else {
        let work = &work;
        std::thread::scope(|scope| {
            for pool in &pools {
                scope.spawn(move || pool.install(work));
            }
        });
    }
    match sink.into_inner() {
        Ok((_, outcome)) => outcome,
        Err(poisoned) => poisoned.into_inner().1,
    }
}
