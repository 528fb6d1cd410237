//! Workers kept awake while a solve gives out its passes.
//!
//! A pass takes some ten to a thousand microseconds, and between two of them come levels that are
//! too small to share. A worker that finds nothing in that time goes to sleep, and to wake it again
//! costs more than a small pass: tens of microseconds, on virtual machines a hundred. So the other
//! workers are asked to go on looking until the solve is done.

use std::cell::Cell;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// A worker that has found nothing for so long may sleep: no gap between passes is longer.
const PATIENCE: Duration = Duration::from_millis(2);

thread_local! {
    /// Strips and solves that this thread is at work on, one within another.
    static ENGAGED: Cell<usize> = const { Cell::new(0) };
}

/// Runs `work` on a worker while up to `others` more look for its pieces.
pub(super) fn with_workers_awake<R: Send>(others: usize, work: impl FnOnce() -> R + Send) -> R {
    // On a worker: from a foreign thread every pass would be handed over.
    rayon::scope(|_| {
        let workers = rayon::current_num_threads();
        let Some(own) = rayon::current_thread_index().filter(|_| workers > 1 && others > 0) else {
            return work();
        };
        let end = End(Arc::default());
        let is_done = end.0.clone();
        rayon::spawn_broadcast(move |worker| {
            let place = (worker.index() + workers - own) % workers;
            // A worker that waits amid a strip or a solve must go on as soon as it can.
            if (1..=others).contains(&place) && ENGAGED.get() == 0 {
                look_for_work(&is_done);
            }
        });
        engaged(work)
    })
}

/// Takes on work until there is none to come.
fn look_for_work(is_done: &AtomicBool) {
    let mut idle_since = Instant::now();
    while !is_done.load(Ordering::Relaxed) {
        match rayon::yield_now() {
            Some(rayon::Yield::Executed) => idle_since = Instant::now(),
            _ if idle_since.elapsed() > PATIENCE => return,
            // The processor may be wanted by another program.
            _ => std::thread::yield_now(),
        }
    }
}

/// Ends the watch, also where the work panics.
struct End(Arc<AtomicBool>);

impl Drop for End {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

/// Runs `work`, which this thread does not leave for the passes of another solve.
pub(super) fn engaged<R>(work: impl FnOnce() -> R) -> R {
    struct Less;
    impl Drop for Less {
        fn drop(&mut self) {
            ENGAGED.set(ENGAGED.get() - 1);
        }
    }
    ENGAGED.set(ENGAGED.get() + 1);
    let _less = Less;
    work()
}

#[cfg(test)]
mod tests {
    use std::panic::{AssertUnwindSafe, catch_unwind};

    use rayon::prelude::*;

    use super::*;
    use crate::linear::strips::{Each, for_each_strip};

    fn pool(threads: usize) -> rayon::ThreadPool {
        rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool")
    }

    /// Passes over strips, some of them cut so that threads wait for each other.
    fn passes(count: usize) -> usize {
        let mut sums = vec![0; 16];
        for pass in 0..count {
            for_each_strip(16, Each(&mut sums), &|strip, sum| {
                sum.0[0] += strip * pass;
                for_each_strip(2, Each(&mut [0, 0]), &|half, one| one.0[0] = half);
            });
        }
        sums.iter().sum()
    }

    #[test]
    fn solves_side_by_side_and_within_each_other_come_to_an_end() {
        let expected = 120 * (40 * 39 / 2);
        for threads in [1, 2, 5] {
            pool(threads).install(|| {
                let solves = (0..20).into_par_iter().map(|k| {
                    with_workers_awake(k % 7, || {
                        let within = with_workers_awake(4, || passes(40));
                        assert_eq!(within, expected);
                        passes(40)
                    })
                });
                assert!(solves.collect::<Vec<usize>>().iter().all(|&sum| sum == expected));
            });
        }
    }

    #[test]
    fn a_panic_passes_through_and_leaves_the_workers_free() {
        let pool = pool(3);
        pool.install(|| {
            let broken = catch_unwind(AssertUnwindSafe(|| {
                with_workers_awake(2, || -> usize { panic!("on purpose") })
            }));
            assert!(broken.is_err());
            assert_eq!(ENGAGED.get(), 0);
        });
        let free = pool.broadcast(|_| ENGAGED.get() == 0);
        assert_eq!(free, [true; 3]);
    }

    #[test]
    fn a_worker_that_finds_nothing_gives_up() {
        pool(1).install(|| look_for_work(&AtomicBool::new(false)));
        look_for_work(&AtomicBool::new(true));
    }
}
