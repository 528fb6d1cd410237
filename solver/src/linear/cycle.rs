//! One symmetric V-cycle: relaxation of whole columns by the colours of a checkerboard, before
//! and after the correction from the next coarser plane.
//!
//! From a zero start, with `T` the columns' own matrix (tridiagonal, solved exactly), `G` the
//! links in the plane, `W` a relaxation weight, r and b the two colours:
//!
//!     before   x_r = T⁻¹ f_r;  x_b = W T⁻¹ (f_b + G x_r);  x_r = T⁻¹ (f_r + G x_b)
//!     coarse   restrict f - A x (zero on colour r), solve, interpolate, add
//!     after    x_r = T⁻¹ (f_r + G x_b);  x_b += W (T⁻¹ (f_b + G x_r) - x_b);
//!              x_r = T⁻¹ (f_r + G x_b)
//!
//! Each half runs as one pass through memory: the stages follow each other a row apart, and
//! nothing of the first half is stored but the coarse right-hand side; the second half computes
//! `x_b` anew from f. Strips of rows run on different threads and recompute the few rows of
//! their neighbours that they need, so that the result does not depend on the strips.

use std::sync::Mutex;

use super::hierarchy::{Hierarchy, Interpolation, Level};
use super::layout::{PAD, Piece, Shape};
use super::strips::{Pieces, for_each_strip};

/// Weight of the second colour's relaxation.
const WEIGHT: f32 = 1.15;

/// Work rows kept: a power of two above the distance between the first and the last stage.
const RING: usize = 8;

/// Numbers that a right-hand side may be made of.
pub(super) trait Entry: Copy + Sync {
    fn times(self, scale: f64) -> f32;
    fn to_f64(self) -> f64;
}

impl Entry for f64 {
    fn times(self, scale: f64) -> f32 {
        (self * scale) as f32
    }
    fn to_f64(self) -> f64 {
        self
    }
}

impl Entry for f32 {
    fn times(self, _: f64) -> f32 {
        self
    }
    fn to_f64(self) -> f64 {
        f64::from(self)
    }
}

/// Work rows of one thread.
#[derive(Debug, Default)]
struct Rows {
    x: [Vec<f32>; RING],
    f: [Vec<f32>; RING],
    line: Vec<f32>,
    coarse_line: Vec<f32>,
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
                line: vec![0.0; half],
                coarse_line: vec![0.0; 2 * half],
                zeros: vec![0.0; half],
            })
        };
        let threads = rayon::current_num_threads();
        CycleWork {
            vectors: coarse.map(|n| (vec![0.0; n], vec![0.0; n])).collect(),
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
        let f: Vec<f32> = r.iter().map(|v| v.times(scale)).collect();
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
fn down<F: Entry>(
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
                    relax_from_zero(level, s - 1, true, rows);
                }
                if s >= 2 && reach(1).contains(&(s - 2)) {
                    relax(level, s - 2, 0, rows);
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
fn up<F: Entry>(
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
        let mut sum = 0.0;
        with_rows(rows, |rows| {
            let reach = |d: usize| begin.saturating_sub(d)..(end + d).min(ny);
            for s in begin.saturating_sub(4)..end + 4 {
                if reach(4).contains(&s) {
                    load_row(level, s, scale, f, rows);
                    start_colour(level, s, 0, rows);
                }
                if s >= 1 && reach(3).contains(&(s - 1)) {
                    relax_from_zero(level, s - 1, false, rows);
                    add_correction(level, coarse, s - 1, coarse_x, rows);
                }
                if s >= 2 && reach(2).contains(&(s - 2)) {
                    relax(level, s - 2, 0, rows);
                }
                if s >= 3 && reach(1).contains(&(s - 3)) {
                    relax_weighted(level, s - 3, rows);
                }
                if s >= 4 && (begin..end).contains(&(s - 4)) {
                    relax(level, s - 4, 0, rows);
                    sum += store_row(level, s - 4, scale, f, rows, z.data, level.bounds[strip]);
                }
            }
        });
        if let Some(out) = sums.data.first_mut() {
            *out = sum;
        }
    });
}

/// Splits the right-hand side of row `j` into the two halves of its work row.
fn load_row<F: Entry>(level: &Level, j: usize, scale: f64, f: &[F], rows: &mut Rows) {
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
            let (even, odd) = (&mut head[..s.half], &mut tail[..s.half]);
            let pairs = from.chunks_exact(2);
            if let [last] = pairs.remainder() {
                even[s.half - 1] = last.times(scale);
                odd[s.half - 1] = 0.0;
            }
            for ((pair, e), o) in pairs.zip(even).zip(odd) {
                *e = pair[0].times(scale);
                *o = pair[1].times(scale);
            }
        }
    }
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
            x[at..at + s.half].copy_from_slice(&f[at..at + s.half]);
        }
    }
    solve_columns(level, j, colour, x);
}

/// `x_b = W T⁻¹ (f_b + G x_r)`; with `keep_rest` f_b becomes `f_b - W (f_b + G x_r)`.
fn relax_from_zero(level: &Level, j: usize, keep_rest: bool, rows: &mut Rows) {
    let layout = &level.layout;
    let mut row = std::mem::take(&mut rows.x[j % RING]);
    for piece in layout.pieces(j) {
        let s = &layout.shapes[piece.block];
        let h = s.half_of(1, j);
        for l in 0..s.nl {
            let at = s.work_half(l, h);
            sum_neighbours(level, j, piece, l, h, rows, &mut row);
            let f = &mut rows.f[j % RING][at..at + s.half];
            for (x, f) in row[at..at + s.half].iter_mut().zip(f) {
                *x = WEIGHT * (*x + *f);
                if keep_rest {
                    *f -= *x;
                }
            }
        }
    }
    solve_columns(level, j, 1, &mut row);
    rows.x[j % RING] = row;
}

/// `x = T⁻¹ (f + G x_neighbours)` for the columns of one colour in row `j`.
fn relax(level: &Level, j: usize, colour: usize, rows: &mut Rows) {
    let layout = &level.layout;
    let mut row = std::mem::take(&mut rows.x[j % RING]);
    for piece in layout.pieces(j) {
        let s = &layout.shapes[piece.block];
        let h = s.half_of(colour, j);
        for l in 0..s.nl {
            let at = s.work_half(l, h);
            sum_neighbours(level, j, piece, l, h, rows, &mut row);
            let f = &rows.f[j % RING][at..at + s.half];
            for (x, f) in row[at..at + s.half].iter_mut().zip(f) {
                *x += f;
            }
        }
    }
    solve_columns(level, j, colour, &mut row);
    rows.x[j % RING] = row;
}

/// `x_b += W (T⁻¹ (f_b + G x_r) - x_b)`; f_b is used up.
fn relax_weighted(level: &Level, j: usize, rows: &mut Rows) {
    let layout = &level.layout;
    // What the old value contributes, (1 - W) x_b, waits in the place of f_b.
    let mut row = std::mem::take(&mut rows.x[j % RING]);
    for piece in layout.pieces(j) {
        let s = &layout.shapes[piece.block];
        let h = s.half_of(1, j);
        for l in 0..s.nl {
            let at = s.work_half(l, h);
            rows.line[..s.half].copy_from_slice(&row[at..at + s.half]);
            sum_neighbours(level, j, piece, l, h, rows, &mut row);
            let f = &mut rows.f[j % RING][at..at + s.half];
            let old = &rows.line[..s.half];
            for ((x, f), old) in row[at..at + s.half].iter_mut().zip(f).zip(old) {
                *x = WEIGHT * (*x + *f);
                *f = (1.0 - WEIGHT) * old;
            }
        }
    }
    solve_columns(level, j, 1, &mut row);
    for piece in layout.pieces(j) {
        let s = &layout.shapes[piece.block];
        let h = s.half_of(1, j);
        for l in 0..s.nl {
            let at = s.work_half(l, h);
            let f = &rows.f[j % RING][at..at + s.half];
            for (x, f) in row[at..at + s.half].iter_mut().zip(f) {
                *x += f;
            }
        }
    }
    rows.x[j % RING] = row;
}

/// The work row's half `h` of sheet `l` becomes `G x_neighbours` (links in the plane).
fn sum_neighbours(
    level: &Level,
    j: usize,
    piece: &Piece,
    l: usize,
    h: usize,
    rows: &Rows,
    row: &mut [f32],
) {
    let s = &level.layout.shapes[piece.block];
    let n = s.half;
    let split = piece.split + 2 * l * n;
    let at = s.work_half(l, h);
    let above =
        if piece.row + 1 < s.ny { &rows.x[(j + 1) % RING][at..at + n] } else { &rows.zeros[..n] };
    let north = &level.north[split + h * n..][..n];
    let (below, south) = match piece.split_south {
        Some(split_south) => (
            &rows.x[(j + RING - 1) % RING][at..at + n],
            &level.north[split_south + (2 * l + h) * n..][..n],
        ),
        None => (&rows.zeros[..n], &rows.zeros[..n]),
    };
    let (even, odd) = row.split_at_mut(s.work_half(l, 1) - PAD);
    let even_at = s.work_half(l, 0);
    let east_of_even = &level.east[PAD + split..][..n];
    let (out, side_a, side_b, link_b) = if h == 0 {
        let link_b = &level.east[PAD + split + n - 1..][..n];
        (&mut even[even_at..even_at + n], &odd[PAD..PAD + n], &odd[PAD - 1..PAD - 1 + n], link_b)
    } else {
        let link_b = &level.east[PAD + split + n..][..n];
        let even = &even[even_at..even_at + n + 1];
        (&mut odd[PAD..PAD + n], &even[..n], &even[1..], link_b)
    };
    for k in 0..n {
        out[k] = north[k] * above[k]
            + south[k] * below[k]
            + east_of_even[k] * side_a[k]
            + link_b[k] * side_b[k];
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
        let split = |l: usize| piece.split + (2 * l + h) * s.half;
        for l in (0..s.nl).rev() {
            let pivot = &level.inverse_pivot[split(l)..][..s.half];
            let at = s.work_half(l, h);
            if l + 1 == s.nl {
                for (x, m) in row[at..at + s.half].iter_mut().zip(pivot) {
                    *x *= m;
                }
            } else {
                let link = &level.link[split(l + 1)..][..s.half];
                let (x, above) = two_halves(row, at, s.work_half(l + 1, h), s.half);
                for k in 0..s.half {
                    x[k] = (x[k] + link[k] * above[k]) * pivot[k];
                }
            }
        }
        let n = s.columns(h);
        let link = &level.link[split(0)..][..n];
        let (x, above) = two_halves(row, seat_at(s, h), s.work_half(0, h), n);
        for k in 0..n {
            x[k] += link[k] * above[k];
        }
    }
    let s = substrate;
    let h = s.half_of(colour, j);
    let split = |l: usize| pieces[0].split + (2 * l + h) * s.half;
    for l in 0..s.nl {
        let pivot = &level.inverse_pivot[split(l)..][..s.half];
        let at = s.work_half(l, h);
        if l == 0 {
            for (x, m) in row[at..at + s.half].iter_mut().zip(pivot) {
                *x *= m;
            }
        } else {
            let link = &level.link[split(l - 1)..][..s.half];
            let (x, below) = two_halves(row, at, s.work_half(l - 1, h), s.half);
            for k in 0..s.half {
                x[k] = (x[k] + link[k] * below[k]) * pivot[k];
            }
        }
    }
    for l in (0..s.nl - 1).rev() {
        let pivot = &level.inverse_pivot[split(l)..][..s.half];
        let link = &level.link[split(l)..][..s.half];
        let (x, above) = two_halves(row, s.work_half(l, h), s.work_half(l + 1, h), s.half);
        for k in 0..s.half {
            x[k] += pivot[k] * link[k] * above[k];
        }
    }
    for piece in &pieces[1..] {
        let s = &layout.shapes[piece.block];
        let h = s.half_of(colour, j);
        let split = |l: usize| piece.split + (2 * l + h) * s.half;
        let n = s.columns(h);
        for l in 0..s.nl {
            let pivot = &level.inverse_pivot[split(l)..][..n];
            let link = &level.link[split(l)..][..n];
            let from = if l == 0 { seat_at(s, h) } else { s.work_half(l - 1, h) };
            let (x, below) = two_halves(row, s.work_half(l, h), from, n);
            for k in 0..n {
                x[k] += pivot[k] * link[k] * below[k];
            }
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
        let (lower, share) =
            (map_y.first + map_y.lower[piece.row] as usize, map_y.share[piece.row]);
        for l in 0..s.nl {
            let at = s.work_half(l, h);
            // The second colour's x is not needed any more.
            sum_neighbours(level, j, piece, l, h, rows, &mut row);
            let f = &rows.f[j % RING][at..at + s.half];
            for (x, f) in row[at..at + s.half].iter_mut().zip(f) {
                *x += f;
            }
            for (coarse_row, share) in [(lower, 1.0 - share), (lower + 1, share)] {
                if share == 0.0 || !strip.contains(&coarse_row) {
                    continue;
                }
                let to = coarse.layout.piece(coarse_row, piece.block).natural + l * map_x.count;
                let to = &mut out[to - base..][..map_x.count];
                restrict_half(map_x, h, share, &row[at..at + s.columns(h)], to);
            }
        }
    }
    rows.x[j % RING] = row;
}

fn restrict_half(map: &Interpolation, h: usize, weight: f32, residual: &[f32], out: &mut [f32]) {
    for (k, r) in residual.iter().enumerate() {
        let (lower, share) = (map.lower[2 * k + h] as usize, map.share[2 * k + h]);
        let value = weight * r;
        out[lower] += (1.0 - share) * value;
        if share > 0.0 {
            out[lower + 1] += share * value;
        }
    }
}

/// Adds the interpolated coarse correction to the second colour of row `j`.
fn add_correction(level: &Level, coarse: &Level, j: usize, coarse_x: &[f32], rows: &mut Rows) {
    let Some(transfer) = &level.transfer else { return };
    let layout = &level.layout;
    let Rows { x, coarse_line, .. } = rows;
    for piece in layout.pieces(j) {
        let s = &layout.shapes[piece.block];
        let (map_x, map_y) = &transfer.maps[piece.block];
        let h = s.half_of(1, j);
        let (lower, share) =
            (map_y.first + map_y.lower[piece.row] as usize, map_y.share[piece.row]);
        let count = map_x.count;
        for l in 0..s.nl {
            let from = coarse.layout.piece(lower, piece.block).natural + l * count;
            let line = &mut coarse_line[..count + 1];
            line[..count].copy_from_slice(&coarse_x[from..from + count]);
            if share > 0.0 {
                let from = coarse.layout.piece(lower + 1, piece.block).natural + l * count;
                for (v, next) in line.iter_mut().zip(&coarse_x[from..from + count]) {
                    *v += share * (next - *v);
                }
            }
            line[count] = 0.0;
            let at = s.work_half(l, h);
            let to = &mut x[j % RING][at..at + s.columns(h)];
            for (k, v) in to.iter_mut().enumerate() {
                let (lower, share) = (map_x.lower[2 * k + h] as usize, map_x.share[2 * k + h]);
                *v += line[lower] + share * (line[lower + 1] - line[lower]);
            }
        }
    }
}

/// Writes row `j` in natural order; returns its product with f.
fn store_row<F: Entry>(
    level: &Level,
    j: usize,
    scale: f64,
    f: &[F],
    rows: &Rows,
    z: &mut [f32],
    base: usize,
) -> f64 {
    let layout = &level.layout;
    let x = &rows.x[j % RING];
    let back = (1.0 / scale) as f32;
    let mut lanes = [0.0f64; 8];
    for piece in layout.pieces(j) {
        let s = &layout.shapes[piece.block];
        for l in 0..s.nl {
            let from = piece.natural + l * s.nx;
            let to = &mut z[from - base..][..s.nx];
            let (even, odd) = (&x[s.work_half(l, 0)..], &x[s.work_half(l, 1)..]);
            let pairs = to.chunks_exact_mut(2);
            for ((pair, e), o) in pairs.zip(even).zip(odd) {
                pair[0] = e * back;
                pair[1] = o * back;
            }
            if s.nx % 2 == 1 {
                to[s.nx - 1] = even[s.half - 1] * back;
            }
            let f = &f[from..from + s.nx];
            for (f, z) in f.chunks(8).zip(to.chunks(8)) {
                for ((lane, f), z) in lanes.iter_mut().zip(f).zip(z) {
                    *lane += f.to_f64() * f64::from(*z);
                }
            }
        }
    }
    lanes.iter().sum()
}
