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
//! M relaxes beyond `T⁻¹` what links in the plane hold: by 1/(1 - EASE) where nothing else does.
//! What a column's own links hold together it relaxes by one and no more. Near the edge of an
//! island the interpolated substrate and the interpolated island differ, and its seat may be ten
//! thousand times stronger than the links in the plane: of such a difference a weight other than
//! one would leave a part, and its energy with it.
//!
//! Each half runs as one pass through memory: the stages follow each other a row apart, and
//! nothing of the first half is stored but the coarse right-hand side; the second half computes
//! `x_b` anew from f. Strips of rows run on different threads and recompute the few rows of
//! their neighbours that they need, so that the result does not depend on the strips.

use std::sync::Mutex;

use super::hierarchy::{Hierarchy, Level};
use super::kernels::{self, Around, Value};
use super::layout::{PAD, Piece, Shape};
use super::pages::zeros;
use super::strips::{Pieces, for_each_strip};

/// Share of the links in the plane that the second colour's columns are relaxed without.
pub(super) const EASE: f64 = 0.23;

/// Work rows kept: a power of two above the distance between the first and the last stage.
const RING: usize = 8;

/// Work rows of one thread.
#[derive(Debug, Default)]
struct Rows {
    x: [Vec<f32>; RING],
    f: [Vec<f32>; RING],
    line: Vec<f32>,
    zeros: Vec<f32>,
}

/// Vectors and work rows of a cycle.
#[derive(Debug)]
pub(super) struct CycleWork {
    /// Right-hand side and solution of each level but the finest.
    vectors: Vec<(Vec<f32>, Vec<f32>)>,
    direct: Vec<f64>,
    /// Work rows of each level and thread; a level relies on the zeros between its halves.
    rows: Vec<Vec<Mutex<Rows>>>,
    sums: Vec<f64>,
}

impl CycleWork {
    pub fn new(hierarchy: &Hierarchy) -> Self {
        let coarse = hierarchy.levels.iter().skip(1).map(|l| l.layout.len());
        let rows = |level: &Level| {
            let row = || vec![0.0; level.layout.work_len];
            let half = level.layout.nx.div_ceil(2) + 2 * PAD;
            Mutex::new(Rows {
                x: std::array::from_fn(|_| row()),
                f: std::array::from_fn(|_| row()),
                line: vec![0.0; 2 * half],
                zeros: vec![0.0; half],
            })
        };
        let threads = rayon::current_num_threads();
        CycleWork {
            vectors: coarse.map(|n| (zeros(n), zeros(n))).collect(),
            direct: vec![0.0; hierarchy.levels.last().map_or(0, |l| l.layout.len())],
            rows: hierarchy
                .levels
                .iter()
                .map(|level| (0..=threads).map(|_| rows(level)).collect())
                .collect(),
            sums: vec![0.0; hierarchy.levels[0].strips.len() - 1],
        }
    }
}

/// Applies the preconditioner: `z = M r`, and returns `r · z`. Inside, r is multiplied by
/// `scale`, which keeps single precision away from its limits.
pub(super) fn precondition(
    hierarchy: &Hierarchy,
    work: &mut CycleWork,
    scale: f64,
    r: &[f64],
    z: &mut [f32],
) -> f64 {
    let levels = &hierarchy.levels;
    let CycleWork { vectors, direct, rows, sums } = work;
    if levels.len() == 1 {
        let f: Vec<f32> = r.iter().map(|v| v.scaled(scale)).collect();
        hierarchy.coarsest.solve(&f, z, direct);
    } else {
        down(&levels[0], &levels[1], &rows[0], scale, r, &mut vectors[0].0);
        for k in 1..levels.len() - 1 {
            let (fine, coarse) = vectors.split_at_mut(k);
            down(&levels[k], &levels[k + 1], &rows[k], 1.0, &fine[k - 1].0, &mut coarse[0].0);
        }
        if let Some((f, e)) = vectors.last_mut() {
            hierarchy.coarsest.solve(f, e, direct);
        }
        for k in (1..levels.len() - 1).rev() {
            let (fine, coarse) = vectors.split_at_mut(k);
            let (f, e) = &mut fine[k - 1];
            up(&levels[k], &levels[k + 1], &rows[k], 1.0, f, &coarse[0].1, e, &mut []);
        }
        up(&levels[0], &levels[1], &rows[0], scale, r, &vectors[0].1, z, sums);
        return sums.iter().sum();
    }
    r.iter()
        .zip(z)
        .map(|(r, z)| {
            *z = (f64::from(*z) / scale) as f32;
            r * f64::from(*z)
        })
        .sum()
}

/// Takes this thread's work rows; with a foreign caller, the last ones.
fn with_rows<R>(rows: &[Mutex<Rows>], use_them: impl FnOnce(&mut Rows) -> R) -> R {
    let own = rayon::current_thread_index().unwrap_or(rows.len() - 1).min(rows.len() - 1);
    match rows[own].lock() {
        Ok(mut guard) => use_them(&mut guard),
        Err(poisoned) => use_them(&mut poisoned.into_inner()),
    }
}

/// First half: relaxes from zero and restricts the residual.
fn down<F: Value>(
    level: &Level,
    coarse: &Level,
    rows: &[Mutex<Rows>],
    scale: f64,
    f: &[F],
    coarse_f: &mut [f32],
) {
    let Some(transfer) = &level.transfer else { return };
    let strips = transfer.strips.len() - 1;
    let outputs = Pieces { data: coarse_f, bounds: &transfer.bounds };
    for_each_strip(strips, outputs, &|strip, out: Pieces<f32>| {
        let (from, to) = (transfer.strips[strip], transfer.strips[strip + 1]);
        let ny = level.layout.ny;
        // Fine rows whose residual reaches the coarse rows of this strip.
        let begin = if from == 0 { 0 } else { transfer.points_y[from - 1] + 1 };
        let end = if to < transfer.points_y.len() { transfer.points_y[to] } else { ny };
        out.data.fill(0.0);
        let base = transfer.bounds[strip];
        with_rows(rows, |rows| {
            let reach = |d: usize| begin.saturating_sub(d)..(end + d).min(ny);
            for s in begin.saturating_sub(3)..end + 3 {
                if reach(3).contains(&s) {
                    load_row(level, s, scale, f, rows);
                    start_colour(level, s, 0, rows);
                }
                if s >= 1 && reach(2).contains(&(s - 1)) {
                    relax(level, s - 1, 1, Step::KeepingRest, rows);
                }
                if s >= 2 && reach(1).contains(&(s - 2)) {
                    relax(level, s - 2, 0, Step::Plain, rows);
                }
                if s >= 3 && (begin..end).contains(&(s - 3)) {
                    restrict_row(level, coarse, s - 3, from..to, base, rows, out.data);
                }
            }
        });
    });
}

/// Second half: relaxes anew, adds the coarse correction, relaxes; `z` receives the result,
/// `sums` (one entry a strip, or none) the products with f.
#[allow(clippy::too_many_arguments)]
fn up<F: Value>(
    level: &Level,
    coarse: &Level,
    rows: &[Mutex<Rows>],
    scale: f64,
    f: &[F],
    coarse_x: &[f32],
    z: &mut [f32],
    sums: &mut [f64],
) {
    let strips = level.strips.len() - 1;
    let no_sums = vec![0; strips + 1];
    let all_sums: Vec<usize> = (0..=strips).collect();
    let sum_bounds = if sums.is_empty() { &no_sums } else { &all_sums };
    let outputs =
        (Pieces { data: z, bounds: &level.bounds }, Pieces { data: sums, bounds: sum_bounds });
    for_each_strip(strips, outputs, &|strip, (z, sums)| {
        let (begin, end) = (level.strips[strip], level.strips[strip + 1]);
        let ny = level.layout.ny;
        let mut lanes = [0.0; 8];
        with_rows(rows, |rows| {
            let reach = |d: usize| begin.saturating_sub(d)..(end + d).min(ny);
            for s in begin.saturating_sub(4)..end + 4 {
                if reach(4).contains(&s) {
                    load_row(level, s, scale, f, rows);
                    start_colour(level, s, 0, rows);
                }
                if s >= 1 && reach(3).contains(&(s - 1)) {
                    relax(level, s - 1, 1, Step::Plain, rows);
                    add_correction(level, coarse, s - 1, coarse_x, rows);
                }
                if s >= 2 && reach(2).contains(&(s - 2)) {
                    relax(level, s - 2, 0, Step::Plain, rows);
                }
                if s >= 3 && reach(1).contains(&(s - 3)) {
                    relax(level, s - 3, 1, Step::OverOld, rows);
                }
                if s >= 4 && (begin..end).contains(&(s - 4)) {
                    relax(level, s - 4, 0, Step::Plain, rows);
                    store_row(
                        level,
                        s - 4,
                        scale,
                        f,
                        rows,
                        z.data,
                        level.bounds[strip],
                        &mut lanes,
                    );
                }
            }
        });
        if let Some(out) = sums.data.first_mut() {
            *out = lanes.iter().sum();
        }
    });
}

/// Splits the right-hand side of row `j` into the two halves of its work row.
fn load_row<F: Value>(level: &Level, j: usize, scale: f64, f: &[F], rows: &mut Rows) {
    let layout = &level.layout;
    let to = &mut rows.f[j % RING];
    for piece in layout.pieces(j) {
        let s = &layout.shapes[piece.block];
        if piece.block > 0 {
            // The place may have been another island's: its padding must be zero.
            let place = s.work..s.work + 2 * s.nl * s.work_stride();
            rows.x[j % RING][place].fill(0.0);
        }
        for l in 0..s.nl {
            let from = &f[piece.natural + l * s.nx..][..s.nx];
            let start = s.work_half(l, 0);
            let (head, tail) = to[start..].split_at_mut(s.work_stride());
            kernels::split(from, scale, &mut head[..s.half], &mut tail[..s.half]);
        }
    }
}

/// Reciprocal pivots of half `h` of sheet `l` of a piece.
fn pivots<'a>(level: &'a Level, piece: &Piece, s: &Shape, l: usize, h: usize) -> &'a [f32] {
    &level.inverse_pivot[piece.split + (2 * l + h) * s.half..][..s.half]
}

/// `x = T⁻¹ f` for the columns of one colour in row `j`.
fn start_colour(level: &Level, j: usize, colour: usize, rows: &mut Rows) {
    let layout = &level.layout;
    let (x, f) = (&mut rows.x[j % RING], &rows.f[j % RING]);
    for piece in layout.pieces(j) {
        let s = &layout.shapes[piece.block];
        let h = s.half_of(colour, j);
        for l in 0..s.nl {
            let at = s.work_half(l, h);
            let (x, f) = (&mut x[at..at + s.half], &f[at..at + s.half]);
            if level.single_sheet() {
                kernels::product(x, f, pivots(level, piece, s, l, h));
            } else {
                x.copy_from_slice(f);
            }
        }
    }
    if !level.single_sheet() {
        solve_columns(level, j, colour, x);
    }
}

/// What a relaxation does; M is T for the first colour.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Step {
    /// `x = M⁻¹ (f + G x)`: from zero, or with M = T.
    Plain,
    /// The same, and f becomes `f - T x = -G x - EASE D x`.
    KeepingRest,
    /// `x += M⁻¹ (f + G x - T x)`, which is `M⁻¹ (f + G x - EASE D x)`.
    OverOld,
}

/// Relaxes the columns of one colour in row `j`.
fn relax(level: &Level, j: usize, colour: usize, step: Step, rows: &mut Rows) {
    let layout = &level.layout;
    let ease = EASE as f32;
    let mut row = std::mem::take(&mut rows.x[j % RING]);
    let mut f_row = std::mem::take(&mut rows.f[j % RING]);
    for piece in layout.pieces(j) {
        let s = &layout.shapes[piece.block];
        let h = s.half_of(colour, j);
        for l in 0..s.nl {
            let at = s.work_half(l, h);
            let f = &mut f_row[at..at + s.half];
            let (out, around) = neighbours(level, j, piece, l, h, rows, &mut row);
            if level.single_sheet() {
                let pivot = pivots(level, piece, s, l, h);
                match step {
                    Step::Plain => kernels::gather_pivot(out, f, around, pivot),
                    Step::KeepingRest => kernels::gather_apart_pivot(out, f, around, ease, pivot),
                    Step::OverOld => kernels::gather_over_old_pivot(out, f, around, ease, pivot),
                }
            } else {
                match step {
                    Step::Plain => kernels::gather(out, f, around),
                    Step::KeepingRest => kernels::gather_apart(out, f, around),
                    Step::OverOld => kernels::gather_over_old(out, f, around, ease),
                }
            }
        }
    }
    if !level.single_sheet() {
        solve_columns(level, j, colour, &mut row);
        if step == Step::KeepingRest {
            for piece in layout.pieces(j) {
                let s = &layout.shapes[piece.block];
                let h = s.half_of(colour, j);
                for l in 0..s.nl {
                    let at = s.work_half(l, h);
                    let (x, around) = neighbours(level, j, piece, l, h, rows, &mut row);
                    kernels::take_links(&mut f_row[at..at + s.half], x, around, ease);
                }
            }
        }
    }
    rows.x[j % RING] = row;
    rows.f[j % RING] = f_row;
}

/// Half `h` of sheet `l` in the work row `row` of row `j`, to be written, and what surrounds it.
fn neighbours<'a>(
    level: &'a Level,
    j: usize,
    piece: &Piece,
    l: usize,
    h: usize,
    rows: &'a Rows,
    row: &'a mut [f32],
) -> (&'a mut [f32], Around<'a>) {
    let s = &level.layout.shapes[piece.block];
    let n = s.half;
    let split = piece.split + 2 * l * n;
    let at = s.work_half(l, h);
    let zeros = &rows.zeros[..n];
    let north = &level.north[split + h * n..][..n];
    let above = if piece.row + 1 < s.ny { &rows.x[(j + 1) % RING][at..at + n] } else { zeros };
    let (south, below) = match piece.split_south {
        Some(split_south) => (
            &level.north[split_south + (2 * l + h) * n..][..n],
            &rows.x[(j + RING - 1) % RING][at..at + n],
        ),
        None => (zeros, zeros),
    };
    let (even, odd) = row.split_at_mut(s.work_half(l, 1) - PAD);
    let even_at = s.work_half(l, 0);
    // Conductances from the even columns to the odd ones after them, and from those on.
    let link_a = &level.east[PAD + split..][..n];
    if h == 0 {
        let odd = &*odd;
        let around = Around {
            above,
            north,
            below,
            south,
            side_a: &odd[PAD..PAD + n],
            link_a,
            side_b: &odd[PAD - 1..PAD - 1 + n],
            link_b: &level.east[PAD + split + n - 1..][..n],
            open_b: true,
        };
        (&mut even[even_at..even_at + n], around)
    } else {
        let even = &even[even_at..even_at + n + 1];
        let around = Around {
            above,
            north,
            below,
            south,
            side_a: &even[..n],
            link_a,
            side_b: &even[1..],
            link_b: &level.east[PAD + split + n..][..n],
            open_b: false,
        };
        (&mut odd[PAD..PAD + n], around)
    }
}

/// Two half rows of a work row, `n` entries from `to` (to be written) and from `from`.
fn two_halves(row: &mut [f32], to: usize, from: usize, n: usize) -> (&mut [f32], &[f32]) {
    if to < from {
        let (head, tail) = row.split_at_mut(from);
        (&mut head[to..to + n], &tail[..n])
    } else {
        let (head, tail) = row.split_at_mut(to);
        (&mut tail[..n], &head[from..from + n])
    }
}

/// Solves the columns of one colour in row `j`, in place.
fn solve_columns(level: &Level, j: usize, colour: usize, row: &mut [f32]) {
    let layout = &level.layout;
    let pieces = layout.pieces(j);
    let substrate = &layout.shapes[0];
    let seat_at = |s: &Shape, h: usize| {
        let first = s.i0 + h;
        substrate.work_half(substrate.nl - 1, first & 1) + first / 2
    };
    for piece in &pieces[1..] {
        let s = &layout.shapes[piece.block];
        let h = s.half_of(colour, j);
        let link = |l: usize| &level.link[piece.split + (2 * l + h) * s.half..][..s.half];
        for l in (0..s.nl).rev() {
            let pivot = pivots(level, piece, s, l, h);
            let at = s.work_half(l, h);
            if l + 1 == s.nl {
                kernels::scale_by(&mut row[at..at + s.half], pivot);
            } else {
                let (x, above) = two_halves(row, at, s.work_half(l + 1, h), s.half);
                kernels::eliminate(x, link(l + 1), above, pivot);
            }
        }
        let n = s.columns(h);
        let (x, above) = two_halves(row, seat_at(s, h), s.work_half(0, h), n);
        kernels::add_through(x, &link(0)[..n], above);
    }
    let s = substrate;
    let h = s.half_of(colour, j);
    let link = |l: usize| &level.link[pieces[0].split + (2 * l + h) * s.half..][..s.half];
    for l in 0..s.nl {
        let pivot = pivots(level, &pieces[0], s, l, h);
        let at = s.work_half(l, h);
        if l == 0 {
            kernels::scale_by(&mut row[at..at + s.half], pivot);
        } else {
            let (x, below) = two_halves(row, at, s.work_half(l - 1, h), s.half);
            kernels::eliminate(x, link(l - 1), below, pivot);
        }
    }
    for l in (0..s.nl - 1).rev() {
        let pivot = pivots(level, &pieces[0], s, l, h);
        let (x, above) = two_halves(row, s.work_half(l, h), s.work_half(l + 1, h), s.half);
        kernels::substitute(x, pivot, link(l), above);
    }
    for piece in &pieces[1..] {
        let s = &layout.shapes[piece.block];
        let h = s.half_of(colour, j);
        let n = s.columns(h);
        for l in 0..s.nl {
            let pivot = pivots(level, piece, s, l, h);
            let link = &level.link[piece.split + (2 * l + h) * s.half..][..n];
            let from = if l == 0 { seat_at(s, h) } else { s.work_half(l - 1, h) };
            let (x, below) = two_halves(row, s.work_half(l, h), from, n);
            kernels::substitute(x, pivot, link, below);
        }
    }
}

/// Residual of the second colour in row `j` (that of the first is zero), shared out over the
/// coarse rows of this strip.
fn restrict_row(
    level: &Level,
    coarse: &Level,
    j: usize,
    strip: std::ops::Range<usize>,
    base: usize,
    rows: &mut Rows,
    out: &mut [f32],
) {
    let Some(transfer) = &level.transfer else { return };
    let layout = &level.layout;
    let mut row = std::mem::take(&mut rows.x[j % RING]);
    for piece in layout.pieces(j) {
        let s = &layout.shapes[piece.block];
        let (map_x, map_y) = &transfer.maps[piece.block];
        let h = s.half_of(1, j);
        let (lower, share) = map_y.at(piece.row);
        let lower = map_y.first + lower;
        for l in 0..s.nl {
            let at = s.work_half(l, h);
            // The second colour's x is not needed any more: its place takes the residual.
            let (residual, around) = neighbours(level, j, piece, l, h, rows, &mut row);
            kernels::gather(residual, &rows.f[j % RING][at..at + s.half], around);
            let residual = &residual[..s.columns(h)];
            for (coarse_row, share) in [(lower, 1.0 - share), (lower + 1, share)] {
                if share == 0.0 || !strip.contains(&coarse_row) {
                    continue;
                }
                let to = coarse.layout.piece(coarse_row, piece.block).natural + l * map_x.count;
                map_x.halves[h].restrict(residual, share, &mut out[to - base..][..map_x.count]);
            }
        }
    }
    rows.x[j % RING] = row;
}

/// Adds the interpolated coarse correction to the second colour of row `j`.
fn add_correction(level: &Level, coarse: &Level, j: usize, coarse_x: &[f32], rows: &mut Rows) {
    let Some(transfer) = &level.transfer else { return };
    let layout = &level.layout;
    let Rows { x, line, .. } = rows;
    for piece in layout.pieces(j) {
        let s = &layout.shapes[piece.block];
        let (map_x, map_y) = &transfer.maps[piece.block];
        let h = s.half_of(1, j);
        let (lower, share) = map_y.at(piece.row);
        let lower = map_y.first + lower;
        let count = map_x.count;
        for l in 0..s.nl {
            let from = coarse.layout.piece(lower, piece.block).natural + l * count;
            let from = &coarse_x[from..from + count];
            // The line stands between zeros, so that a share of nothing can be read.
            let line = &mut line[..count + 2];
            line[count + 1] = 0.0;
            if share > 0.0 {
                let next = coarse.layout.piece(lower + 1, piece.block).natural + l * count;
                let next = &coarse_x[next..next + count];
                kernels::between(&mut line[1..=count], from, next, share);
            } else {
                line[1..=count].copy_from_slice(from);
            }
            let at = s.work_half(l, h);
            map_x.halves[h].interpolate(line, &mut x[j % RING][at..at + s.columns(h)]);
        }
    }
}

/// Writes row `j` in natural order; adds its product with f to eight partial sums.
#[allow(clippy::too_many_arguments)]
fn store_row<F: Value>(
    level: &Level,
    j: usize,
    scale: f64,
    f: &[F],
    rows: &Rows,
    z: &mut [f32],
    base: usize,
    lanes: &mut [f64; 8],
) {
    let layout = &level.layout;
    let x = &rows.x[j % RING];
    let back = (1.0 / scale) as f32;
    for piece in layout.pieces(j) {
        let s = &layout.shapes[piece.block];
        for l in 0..s.nl {
            let from = piece.natural + l * s.nx;
            let to = &mut z[from - base..][..s.nx];
            kernels::merge(&x[s.work_half(l, 0)..], &x[s.work_half(l, 1)..], back, to);
            kernels::dot_into(lanes, (&f[from..from + s.nx], &*to));
        }
    }
}
