//! One symmetric V-cycle: relaxation of whole columns by the colours of a checkerboard, before
//! and after the correction from the next coarser plane.
//!
//! From a zero start, with `T` the columns' own matrix (tridiagonal, solved exactly), `D` the sum
//! of the links in the plane of each cell (part of T's diagonal), `G` those links, r and b the two
//! colours:
//!
//! ```text
//! M = T - EASE D
//! before   x_r = T⁻¹ f_r;  x_b = M⁻¹ (f_b + G x_r);  x_r = T⁻¹ (f_r + G x_b)
//! coarse   restrict f - A x (zero on colour r), solve, interpolate, add
//! after    x_r = T⁻¹ (f_r + G x_b);  x_b += M⁻¹ (f_b + G x_r - T x_b);
//!          x_r = T⁻¹ (f_r + G x_b)
//! ```
//!
//! With two sweeps the last two steps of either half are taken twice. They cost arithmetic, but no
//! way through memory.
//!
//! M relaxes beyond `T⁻¹` what links in the plane hold: by 1/(1 - EASE) where nothing else does.
//! What a column's own links hold together it relaxes by one and no more. Near the edge of an
//! island the interpolated substrate and the interpolated island differ, and its seat may be ten
//! thousand times stronger than the links in the plane: of such a difference a weight other than
//! one would leave a part, and its energy with it.
//!
//! Each half runs as one pass through memory: the stages follow each other a row apart, and
//! nothing of the first half is stored but the coarse right-hand side and `x_b`. Strips of rows
//! run on different threads and recompute the few rows of their neighbours that they need, so
//! that the result does not depend on the strips.

use std::ops::Range;
use std::sync::Mutex;

use super::hierarchy::Hierarchy;
use super::kernels;
use super::level::Level;
use super::rows::{
    RING, Rows, keep_second, load_row, relax, relax_from_zero, relax_over_old, relax_over_old_last,
    start, store_row, take_second,
};
use super::strips::{Pieces, for_each_strip};
use super::transfer::{add_correction, restrict_row};
use crate::pages::{Lined, lined};

/// Vectors and work rows of a cycle.
#[derive(Debug)]
pub(super) struct CycleWork {
    /// Right-hand side and solution of each level but the finest.
    vectors: Vec<(Lined<f32>, Lined<f32>)>,
    /// `x_b` after the first half, for each level but the coarsest.
    second_colour: Vec<Lined<f32>>,
    direct: Vec<f64>,
    /// Work rows of each level and thread; a level relies on the zeros between its halves.
    rows: Vec<Vec<Mutex<Rows>>>,
    sums: Vec<f64>,
}

impl CycleWork {
    pub fn new(hierarchy: &Hierarchy) -> Self {
        let coarse = hierarchy.levels.iter().skip(1).map(|l| l.layout.len());
        let threads = rayon::current_num_threads();
        CycleWork {
            vectors: coarse.map(|n| (lined(n), lined(n))).collect(),
            second_colour: hierarchy
                .levels
                .iter()
                .filter_map(|level| level.transfer.as_ref()?.kept_bounds.last().copied())
                .map(lined)
                .collect(),
            direct: vec![0.0; hierarchy.levels.last().map_or(0, |l| l.layout.len())],
            rows: hierarchy
                .levels
                .iter()
                .map(|level| (0..=threads).map(|_| Mutex::new(Rows::new(level))).collect())
                .collect(),
            sums: vec![0.0; hierarchy.levels[0].strips.len() - 1],
        }
    }
}

/// Applies the preconditioner: `z = M r`, both in halves, and returns `r · z`. Entries of r should
/// be near one, away from the limits of single precision.
pub(super) fn precondition(
    hierarchy: &Hierarchy,
    work: &mut CycleWork,
    r: &[f32],
    z: &mut [f32],
) -> f64 {
    let levels = &hierarchy.levels;
    let CycleWork { vectors, second_colour, direct, rows, sums } = work;
    if levels.len() == 1 {
        hierarchy.coarsest.solve(r, z, direct);
        return kernels::dot(r, z);
    }
    let mut kept = second_colour.iter_mut();
    let mut next = || kept.next().map_or(&mut [][..], |k| &mut k[..]);
    down(&levels[0], &levels[1], &rows[0], r, &mut vectors[0].0, next());
    for k in 1..levels.len() - 1 {
        let (fine, coarse) = vectors.split_at_mut(k);
        let (f, coarse_f) = (&fine[k - 1].0, &mut coarse[0].0);
        down(&levels[k], &levels[k + 1], &rows[k], f, coarse_f, next());
    }
    if let Some((f, e)) = vectors.last_mut() {
        hierarchy.coarsest.solve(f, e, direct);
    }
    for k in (1..levels.len() - 1).rev() {
        let (fine, coarse) = vectors.split_at_mut(k);
        let (f, e) = &mut fine[k - 1];
        let known = (&second_colour[k][..], &coarse[0].1[..]);
        up(&levels[k], &levels[k + 1], &rows[k], f, known, e, &mut []);
    }
    let known = (&second_colour[0][..], &vectors[0].1[..]);
    up(&levels[0], &levels[1], &rows[0], r, known, z, sums);
    sums.iter().sum()
}

/// Takes this thread's work rows; with a foreign caller, the last ones.
fn with_rows<R>(rows: &[Mutex<Rows>], use_them: impl FnOnce(&mut Rows) -> R) -> R {
    let own = rayon::current_thread_index().unwrap_or(rows.len() - 1).min(rows.len() - 1);
    match rows[own].lock() {
        Ok(mut guard) => use_them(&mut guard),
        Err(poisoned) => use_them(&mut poisoned.into_inner()),
    }
}

/// One pass over rows of a plane of `ny`: stage 0 to `last`, each a row behind the one before, as
/// (rows loaded before, stage, row). The last stage takes `rows`, and every stage as many rows more
/// on either side as stages follow it.
fn stages(
    rows: Range<usize>,
    ny: usize,
    last: usize,
) -> impl Iterator<Item = (usize, usize, usize)> {
    let first = rows.start.saturating_sub(last);
    (first..rows.end + last).flat_map(move |s| {
        (0..=last).filter_map(move |stage| {
            let j = s.checked_sub(stage)?;
            let more = last - stage;
            let takes = j + more >= rows.start && j < (rows.end + more).min(ny);
            takes.then_some((s - first, stage, j))
        })
    })
}

/// First half: relaxes from zero, keeps the second colour and restricts the residual.
fn down(
    level: &Level,
    coarse: &Level,
    rows: &[Mutex<Rows>],
    f: &[f32],
    coarse_f: &mut [f32],
    second_colour: &mut [f32],
) {
    let Some(transfer) = &level.transfer else { return };
    let strips = transfer.strips.len() - 1;
    let outputs = (
        Pieces { data: coarse_f, bounds: &transfer.bounds },
        Pieces { data: second_colour, bounds: &transfer.kept_bounds },
    );
    for_each_strip(strips, outputs, &|strip, (out, kept): (Pieces<f32>, Pieces<f32>)| {
        let (from, to) = (transfer.strips[strip], transfer.strips[strip + 1]);
        let ny = level.layout.ny;
        // Fine rows whose residual reaches the coarse rows of this strip.
        let begin = if from == 0 { 0 } else { transfer.points_y[from - 1] + 1 };
        let end = if to < transfer.points_y.len() { transfer.points_y[to] } else { ny };
        let own = transfer.kept_rows[strip]..transfer.kept_rows[strip + 1];
        out.data.fill(0.0);
        let base = transfer.bounds[strip];
        let last = 2 * level.sweeps;
        with_rows(rows, |rows| {
            for (s, stage, j) in stages(begin..end, ny, last + 1) {
                match stage {
                    0 => {
                        load_row(level, j, f, s < RING, rows);
                        start(level, j, 0, rows);
                    }
                    _ if stage > last => {
                        restrict_row(level, coarse, j, from..to, base, rows, out.data);
                    }
                    _ if stage % 2 == 0 => relax(level, j, 0, rows),
                    _ if stage + 1 < last => relax(level, j, 1, rows),
                    _ => {
                        if last == 2 {
                            relax_from_zero(level, j, 1, rows);
                        } else {
                            relax_over_old_last(level, j, 1, rows);
                        }
                        if own.contains(&j) {
                            keep_second(level, j, rows, kept.data, transfer.kept_bounds[strip]);
                        }
                    }
                }
            }
        });
    });
}

/// Second half: adds the coarse correction to the second colour as the first half left it (both
/// are `known`), relaxes; `z` receives the result, `sums` (one entry a strip, or none) the
/// products with f.
fn up(
    level: &Level,
    coarse: &Level,
    rows: &[Mutex<Rows>],
    f: &[f32],
    known: (&[f32], &[f32]),
    z: &mut [f32],
    sums: &mut [f64],
) {
    let strips = level.strips.len() - 1;
    let (second_colour, coarse_x) = known;
    let no_sums = vec![0; strips + 1];
    let all_sums: Vec<usize> = (0..=strips).collect();
    let sum_bounds = if sums.is_empty() { &no_sums } else { &all_sums };
    let outputs =
        (Pieces { data: z, bounds: &level.bounds }, Pieces { data: sums, bounds: sum_bounds });
    for_each_strip(strips, outputs, &|strip, (z, sums)| {
        let (begin, end) = (level.strips[strip], level.strips[strip + 1]);
        let ny = level.layout.ny;
        let mut lanes = [0.0; 8];
        let last = 2 * level.sweeps + 1;
        with_rows(rows, |rows| {
            for (s, stage, j) in stages(begin..end, ny, last) {
                match stage {
                    0 => {
                        load_row(level, j, f, s < RING, rows);
                        take_second(level, j, second_colour, rows);
                        add_correction(level, coarse, j, coarse_x, rows);
                    }
                    _ if stage % 2 == 0 => relax_over_old(level, j, 1, rows),
                    _ => relax(level, j, 0, rows),
                }
                if stage == last {
                    store_row(level, j, f, rows, z.data, level.bounds[strip], &mut lanes);
                }
            }
        });
        if let Some(out) = sums.data.first_mut() {
            *out = lanes.iter().sum();
        }
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::linear::apply::tests::operators;
    use crate::linear::kernels::tests::numbers;

    /// Both halves of a cycle must be each other's transposes: else the residual that is restricted
    /// is not that of what the first half left.
    #[test]
    fn a_cycle_is_symmetric_and_positive_with_one_sweep_and_with_two() {
        let (mut planes, mut stacks) = (0, 0);
        for mut operator in operators() {
            // Strong enough for sheets to be merged, and unequal.
            for block in &mut operator.blocks {
                let plane = block.nx * block.ny;
                for (c, link) in block.up.iter_mut().enumerate() {
                    *link *= if c < plane { 20.0 } else { 100.0 };
                }
            }
            for sweeps in [1, 2] {
                let mut hierarchy = Hierarchy::new(&operator);
                hierarchy.levels.iter_mut().for_each(|level| level.sweeps = sweeps);
                planes += usize::from(hierarchy.levels.len() > 1);
                let sheets = |level: &Level| level.layout.shapes[0].nl;
                stacks +=
                    usize::from(hierarchy.levels.iter().any(|l| sheets(l) < operator.blocks[0].nl));
                let level = &hierarchy.levels[0];
                let mut work = CycleWork::new(&hierarchy);
                let mut cycle = |seed: usize| {
                    let n = level.layout.split_len();
                    // Nothing where nothing stands: there pivots are zero.
                    let f: Vec<f32> = numbers(n, seed)
                        .iter()
                        .zip(level.inverse_pivot.iter())
                        .map(|(v, pivot)| if *pivot > 0.0 { v - 1.0 } else { 0.0 })
                        .collect();
                    let mut z = vec![0.0; n];
                    let product = precondition(&hierarchy, &mut work, &f, &mut z);
                    (f, z, product)
                };
                let (f, mf, fmf) = cycle(3);
                let (g, mg, gmg) = cycle(8);
                assert!(fmf > 0.0 && gmg > 0.0 && (fmf - kernels::dot(&f, &mf)).abs() < 1e-6 * fmf);
                let apart = (kernels::dot(&f, &mg) - kernels::dot(&g, &mf)).abs();
                assert!(apart < 2e-6 * (fmf * gmg).sqrt(), "{apart:e} of {fmf:e}, {sweeps} sweeps");
            }
        }
        assert!(planes > 3 && stacks > 1, "{planes} {stacks}");
    }
}
