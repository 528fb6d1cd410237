//! Many points of a study, on all cores.
//!
//! A solve is bound by memory: two threads inside one small solve gain little, two solves side by
//! side gain twice. So while points are small every core solves points of its own, one thread
//! each; when they are large, one point at a time has all the threads.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use super::point::{Lent, Nominal, PointOutcome, Predictor};
use crate::module::Module;

/// From here on a point keeps all threads busy by itself, unknowns.
pub(super) const LARGE: usize = 600_000;

/// How the points of a study come about.
pub trait Points: Sync {
    /// How many there are.
    fn count(&self) -> usize;

    /// The module of point `k`, or why there is none.
    ///
    /// # Errors
    /// One line that says why.
    fn module(&self, k: usize) -> Result<Module, String>;

    /// How many directions the points deviate in, if they do so about evenly around the nominal
    /// one: then [`Points::deviation`] and [`Points::in_direction`] tell where each is.
    fn directions(&self) -> usize {
        0
    }

    /// How far point `k` is from the nominal one in each direction.
    fn deviation(&self, k: usize) -> Vec<f64> {
        let _ = k;
        Vec::new()
    }

    /// The module one unit away in a direction.
    fn in_direction(&self, direction: usize) -> Option<Module> {
        let _ = direction;
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
    if wanted.is_empty() {
        return Ok(());
    }
    let crew = Crew::for_points_of(nominal.unknowns());
    let predictor = Predictor::new(nominal, points, &crew);
    let sink = Mutex::new((finished, Ok(())));
    crew.each(wanted, &|lent, &k| {
        let outcome = points.module(k).and_then(|module| {
            let start = predictor.as_ref().map(|predictor| predictor.guess(&points.deviation(k)));
            nominal.point(&module, start, lent).map_err(|error| error.to_string())
        });
        // A poisoned lock means that `finished` panicked; the panic reaches the caller.
        let Ok(mut sink) = sink.lock() else { return false };
        if sink.1.is_ok() {
            sink.1 = (sink.0)(k, outcome);
        }
        sink.1.is_ok()
    });
    match sink.into_inner() {
        Ok((_, outcome)) => outcome,
        Err(poisoned) => poisoned.into_inner().1,
    }
}

/// Who solves: every core by itself while points are small, all cores together on one point when
/// they are large.
pub(super) struct Crew {
    /// One thread each; empty where all work together.
    alone: Vec<rayon::ThreadPool>,
}

impl Crew {
    fn for_points_of(unknowns: usize) -> Crew {
        let one = || rayon::ThreadPoolBuilder::new().num_threads(1).build();
        let alone = if unknowns < LARGE {
            (0..rayon::current_num_threads()).filter_map(|_| one().ok()).collect()
        } else {
            Vec::new()
        };
        Crew { alone }
    }

    /// Does `work` on every item, in no order, until it says no.
    pub fn each<T: Sync>(&self, items: &[T], work: &(dyn Fn(&mut Lent, &T) -> bool + Sync)) {
        let next = AtomicUsize::new(0);
        let one_after_the_other = || {
            let mut lent = Lent::default();
            while let Some(item) = items.get(next.fetch_add(1, Ordering::Relaxed))
                && work(&mut lent, item)
            {}
        };
        if self.alone.is_empty() {
            // Inside the pool: from outside, every loop of a solve would wait to be let in.
            rayon::scope(|scope| scope.spawn(|_| one_after_the_other()));
        } else {
            let work = &one_after_the_other;
            std::thread::scope(|scope| {
                for pool in self.alone.iter().take(items.len()) {
                    scope.spawn(move || pool.install(work));
                }
            });
        }
    }
}
