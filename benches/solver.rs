//! Times the linear solver on the families of operators and prints ratios: see README.md here.
//!
//! ```text
//! cargo bench -p sprayside_solver --bench solver              the sizes up to 4 million
//! ... --bench solver -- full                                  all sizes
//! ... --bench solver -- A512 B256                             these
//! ... --bench solver -- export DIR A512 B256                  the matrices, for the peers
//! ... --bench solver -- peers RESULTS.csv A512 B256           with the peers' results
//! ```
#![allow(missing_docs, non_snake_case, dead_code, unsafe_code, clippy::print_stdout)]

#[path = "demo_family.rs"]
mod demo_family;
#[path = "families.rs"]
mod families;

use std::alloc::{GlobalAlloc, Layout, System};
use std::io::Write;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

use families::Problem;
use rayon::prelude::*;
use sprayside_solver::linear::{CgInfo, CgParams, Preconditioned, assemble};

/// Counts the bytes that are allocated, and the most that were at one time.
struct Counting;
static NOW: AtomicUsize = AtomicUsize::new(0);
static MOST: AtomicUsize = AtomicUsize::new(0);

// SAFETY: hands every request on to the system's allocator unchanged.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        let now = NOW.fetch_add(layout.size(), Ordering::Relaxed) + layout.size();
        MOST.fetch_max(now, Ordering::Relaxed);
        unsafe { System.alloc(layout) }
    }
    unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
        let now = NOW.fetch_add(layout.size(), Ordering::Relaxed) + layout.size();
        MOST.fetch_max(now, Ordering::Relaxed);
        unsafe { System.alloc_zeroed(layout) }
    }
    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        NOW.fetch_sub(layout.size(), Ordering::Relaxed);
        unsafe { System.dealloc(pointer, layout) }
    }
}

#[global_allocator]
static COUNTING: Counting = Counting;

/// Processor time of all threads so far, s (0 where the system does not tell).
fn processor_s() -> f64 {
    let Ok(threads) = std::fs::read_dir("/proc/self/task") else { return 0.0 };
    threads
        .flatten()
        .filter_map(|t| std::fs::read_to_string(t.path().join("schedstat")).ok())
        .filter_map(|text| text.split_whitespace().next()?.parse::<f64>().ok())
        .sum::<f64>()
        * 1e-9
}

/// Bandwidth of `a = b + s c`, GB/s counting 24 bytes an entry (the usual triad), best of ten.
fn triad() -> f64 {
    const N: usize = 1 << 24;
    let (mut a, b, c) = (vec![0.0f64; N], vec![1.0f64; N], vec![2.0f64; N]);
    let mut best = f64::MAX;
    for _ in 0..10 {
        let start = Instant::now();
        a.par_chunks_mut(1 << 16).enumerate().for_each(|(k, a)| {
            let at = k << 16;
            for ((a, b), c) in a.iter_mut().zip(&b[at..]).zip(&c[at..]) {
                *a = b + 3.0 * c;
            }
        });
        best = best.min(start.elapsed().as_secs_f64());
    }
    assert!(a.iter().all(|&v| v == 7.0));
    24.0 * N as f64 / best * 1e-9
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// Wall and processor seconds of `work`.
fn timed<R>(work: impl FnOnce() -> R) -> (R, f64, f64) {
    let (start, before) = (Instant::now(), processor_s());
    let result = work();
    (result, start.elapsed().as_secs_f64(), processor_s() - before)
}

struct Figures {
    setup_s: f64,
    solve_s: f64,
    processor_s: f64,
    info: CgInfo,
    bytes_per_unknown: f64,
    /// The first run of the process, whose memory the system gives out on first touch, over the others.
    very_first: f64,
    /// One thread's time over that of all; the others over the first solve.
    one_over_two: f64,
    second: f64,
    second_iterations: usize,
    changed: f64,
    changed_iterations: usize,
}

/// All kinds of runs take turns, so that what the machine does to one of them it does to all.
fn measure(problem: &Problem, runs: usize) -> Figures {
    let n = problem.b.len();
    let params = CgParams::default();
    let mut x = vec![0.0; n];
    let operator_bytes: usize = problem
        .operator
        .blocks
        .iter()
        .map(|b| 8 * (b.east.len() + b.north.len() + b.up.len() + b.sink.len() + b.seat.len()))
        .sum();
    // One solve for its memory and its answer; coefficients, right-hand side and answer included.
    let before = NOW.load(Ordering::Relaxed);
    MOST.store(before, Ordering::Relaxed);
    let ((solver, outcome), very_first, _) = timed(|| {
        let solver = Preconditioned::new(&problem.operator);
        let outcome = solver.solve(&problem.b, &mut x, &params);
        (solver, outcome)
    });
    let info = outcome.expect("the family is solved");
    let most = MOST.load(Ordering::Relaxed) - before + operator_bytes + 16 * n;
    let first = x.clone();

    // A second right-hand side: one die two watts more, from the first answer.
    let mut b = problem.b.clone();
    let hot = &problem.die[0];
    for &c in hot {
        b[c] += 2.0 / hot.len() as f64;
    }
    // A new spray coefficient: 2 % more, the first answer and the old preconditioner kept.
    let mut changed = problem.operator.clone();
    let mut at = 0;
    for block in &mut changed.blocks {
        for sink in &mut block.sink {
            *sink += 0.02 * problem.to_coolant[at];
            at += 1;
        }
    }
    let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("one thread");
    let mut kept = solver.detach();
    let (mut setup, mut solve, mut total, mut processor) = (vec![], vec![], vec![], vec![]);
    let (mut one_thread, mut second, mut slow) = (vec![], vec![], vec![]);
    let (mut second_iterations, mut changed_iterations) = (0, 0);
    // Let go of just before the next one is made: the host of a virtual machine takes memory back that
    // stays free for a second or two, and to have it again takes as long as half a solve.
    let mut last = None;
    for _ in 0..runs {
        drop(last.take());
        x.fill(0.0);
        one_thread.push(
            timed(|| {
                pool.install(|| {
                    let _ =
                        Preconditioned::new(&problem.operator).solve(&problem.b, &mut x, &params);
                })
            })
            .1,
        );

        x.fill(0.0);
        let (fresh, a, cpu_a) = timed(|| Preconditioned::new(&problem.operator));
        let (_, b_s, cpu_b) = timed(|| fresh.solve(&problem.b, &mut x, &params));
        last = Some(fresh);
        setup.push(a);
        solve.push(b_s);
        total.push(a + b_s);
        processor.push(cpu_a + cpu_b);

        x.copy_from_slice(&first);
        let same = kept.attach(&problem.operator);
        let (outcome, s, _) = timed(|| same.solve(&b, &mut x, &params));
        second_iterations = outcome.expect("solved").iterations;
        second.push(s);
        kept = same.detach();

        x.copy_from_slice(&first);
        let ((outcome, detached), s, _) = timed(|| {
            let solver = kept.attach(&changed);
            (solver.solve(&problem.b, &mut x, &params), solver.detach())
        });
        kept = detached;
        changed_iterations = outcome.expect("solved").iterations;
        slow.push(s);
    }
    let over_first = |times: &[f64]| median(times.iter().zip(&total).map(|(t, f)| t / f).collect());
    Figures {
        setup_s: median(setup),
        solve_s: median(solve),
        processor_s: median(processor),
        info,
        bytes_per_unknown: most as f64 / n as f64,
        very_first: very_first / median(total.clone()),
        one_over_two: over_first(&one_thread),
        second: over_first(&second),
        second_iterations,
        changed: over_first(&slow),
        changed_iterations,
    }
}

/// `A` and `B` with the cells of a side, `C` with the unknowns in millions.
fn problem(name: &str) -> Option<Problem> {
    let n = name.get(1..)?.parse().ok()?;
    match name.get(..1)? {
        "C" => {
            let (operator, b) = demo_family::Demo::new().operator(n * 1_000_000);
            let sink = operator.blocks.iter().flat_map(|block| block.sink.clone()).collect();
            // The cells that the first die heats, for the second right-hand side.
            let heated = (0..b.len()).filter(|&c| b[c] > 0.0).take(100).collect();
            let none = vec![0.0; b.len()];
            Some(Problem {
                name: name.to_owned(),
                operator,
                b,
                die: vec![heated],
                to_coolant: sink,
                to_board: none,
            })
        }
        "A" => Some(families::family_a(n)),
        "B" => Some(families::family_b(n)),
        _ => None,
    }
}

/// Writes the matrix in compressed rows: n, number of entries (u64), row starts (u64), columns
/// (u32), values (f64), right-hand side (f64), little endian.
fn export(directory: &str, name: &str) -> std::io::Result<()> {
    let Some(problem) = problem(name) else { return Ok(()) };
    let matrix = assemble(&problem.operator);
    let path = std::path::Path::new(directory).join(format!("{name}.bin"));
    let mut file = std::io::BufWriter::new(std::fs::File::create(path)?);
    file.write_all(&(problem.b.len() as u64).to_le_bytes())?;
    file.write_all(&(matrix.nnz() as u64).to_le_bytes())?;
    for start in matrix.indptr().raw_storage() {
        file.write_all(&(*start as u64).to_le_bytes())?;
    }
    for column in matrix.indices() {
        file.write_all(&(*column as u32).to_le_bytes())?;
    }
    for value in matrix.data().iter().chain(&problem.b) {
        file.write_all(&value.to_le_bytes())?;
    }
    file.flush()
}

/// One line of the table, and those of the peers in `peers`.
fn report(name: &str, bandwidth: f64, peers: &str) {
    let Some(problem) = problem(name) else {
        println!("{name}: not a family and a size");
        return;
    };
    let n = problem.b.len();
    let f = measure(&problem, if n > 3_000_000 { 5 } else { 9 });
    let total = f.setup_s + f.solve_s;
    println!(
        "{name:<6}{n:>9}{:>8.4}{:>9.4}{:>6}{:>10.1e}{:>7.0}{:>8.1}{:>12.1}{:>7.2}{:>6.2}{:>6.2}{:>6.2} ({:>2} it){:>6.2} ({:>2} it)",
        f.setup_s,
        f.solve_s,
        f.info.iterations,
        f.info.residual_relative,
        f.bytes_per_unknown,
        1e9 * total / n as f64,
        total / (n as f64 * 40.0 / (bandwidth * 1e9)),
        f.processor_s,
        f.very_first,
        f.one_over_two,
        f.second,
        f.second_iterations,
        f.changed,
        f.changed_iterations,
    );
    for line in peers.lines().filter(|l| l.split(',').next() == Some(name)) {
        let cells: Vec<&str> = line.split(',').collect();
        let number = |k: usize| cells.get(k).and_then(|c| c.parse::<f64>().ok());
        let theirs = number(2).unwrap_or(f64::NAN) + number(3).unwrap_or(f64::NAN);
        println!(
            "       {:<38}{:>8.3}{:>9.3}{:>6}{:>10.1e}{:>7.0}   {:>6.1} x ours",
            cells[1],
            number(2).unwrap_or(f64::NAN),
            number(3).unwrap_or(f64::NAN),
            cells.get(4).unwrap_or(&""),
            number(5).unwrap_or(f64::NAN),
            number(6).unwrap_or(f64::NAN),
            theirs / total
        );
    }
}

fn main() {
    let mut words: Vec<String> =
        std::env::args().skip(1).filter(|a| !a.starts_with("--")).collect();
    if words.first().is_some_and(|w| w == "export") {
        for name in &words[2..] {
            export(&words[1], name).expect("the matrix can be written");
        }
        return;
    }
    let mut results = None;
    if words.first().is_some_and(|w| w == "peers") {
        results = words.drain(..2).nth(1);
    }
    if words.first().is_some_and(|w| w == "alone") {
        let peers = results
            .map(|path| std::fs::read_to_string(path).expect("results of the peers"))
            .unwrap_or_default();
        report(&words[1], words[2].parse().expect("a bandwidth"), &peers);
        return;
    }
    let standard = ["A512", "A1024", "A2048", "B256", "B512", "B1024", "C1"];
    let all =
        ["A512", "A1024", "A2048", "A4096", "B256", "B512", "B1024", "B2048", "C1", "C4", "C10"];
    let names: Vec<String> = match words.first().map(String::as_str) {
        None => standard.iter().map(|s| s.to_string()).collect(),
        Some("full") => all.iter().map(|s| s.to_string()).collect(),
        Some(_) => words,
    };
    let bandwidth = triad();
    println!(
        "{} threads, triad {bandwidth:.1} GB/s; setup and solve to 1e-10 from zero, medians\n",
        rayon::current_num_threads()
    );
    println!(
        "work   unknowns   setup    solve  iter  residual  B/unk  ns/unk  work units  cpu s  cold  2thr  2nd rhs      changed"
    );
    // A process each, as a user's run and the peers have.
    let program = std::env::current_exe().expect("this program");
    for name in &names {
        let mut alone = std::process::Command::new(&program);
        if let Some(results) = &results {
            alone.args(["peers", results]);
        }
        alone.args(["alone", name, &bandwidth.to_string()]);
        if !alone.status().is_ok_and(|status| status.success()) {
            println!("{name}: not measured");
        }
    }
    println!(
        "\ncpu s: processor time of all threads. cold: the process's first run over the later ones. 2thr:\n\
         one thread's time over ours. 2nd rhs: a die 2 W more; changed: spray coefficient 2 % more,\n\
         preconditioner kept; both from the first answer, as shares of a solve from zero. All of a\n\
         work's runs in turn, in a process of its own."
    );
}
