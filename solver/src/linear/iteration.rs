//! Conjugate gradients: one solve on its vectors.
//!
//! The iterate stands in double precision, everything that is streamed to move it in single. Single
//! precision can account for a residual that falls by some four digits; then the true one, in double
//! precision, takes its place (residual replacement: van der Vorst and Ye 2000, "Residual replacement
//! strategies for Krylov subspace iterative methods", SIAM J. Sci. Comput. 22).

use rayon::prelude::*;

use super::apply::{Links, apply_row};
use super::cycle::{CycleWork, precondition};
use super::hierarchy::{Hierarchy, Level};
use super::kernels::{self, Real, dot};
use super::layout::Layout;
use super::solve::{CgError, CgInfo, CgParams};
use super::strips::{Each, Pieces, for_each_strip};
use crate::pages::zeros;

/// Vectors of a solve, in the rows' order.
pub(super) struct Kept {
    /// The iterate, or what is to be added to `base`.
    pub x: Vec<f64>,
    /// Where rounding matters: the iterate so far, and `b - A base`. Else empty.
    pub base: Vec<f64>,
    pub rest: Vec<f64>,
    /// The residual times `unit`, and `A p`.
    pub r: Vec<f32>,
    pub q: Vec<f32>,
    /// Brings the residual near one, away from the limits of single precision.
    pub unit: f64,
    pub p: Vec<f32>,
    pub z: Vec<f32>,
    pub sums: Vec<f64>,
    pub cycle: CycleWork,
}

impl Kept {
    pub fn new(hierarchy: &Hierarchy) -> Self {
        let level = &hierarchy.levels[0];
        let n = level.layout.len();
        Kept {
            x: zeros(n),
            base: Vec::new(),
            rest: Vec::new(),
            r: zeros(n),
            q: zeros(n),
            unit: 1.0,
            p: zeros(n),
            z: zeros(n),
            sums: vec![0.0; level.strips.len() - 1],
            cycle: CycleWork::new(hierarchy),
        }
    }
}

/// A residual above this share of the right-hand side is not put down to rounding of its terms.
const MOST_ROUNDING: f64 = 1e-8;

/// So far an account of the residual in single precision is followed before the true one takes its
/// place.
const TRUSTED: f64 = 1e-4;

/// Where the true residual has fallen by less while the account of it came to the end, rounding in
/// double precision may be the reason.
const MUST_FALL: f64 = 1e-3;

/// A right-hand side in the operator's order, sheet by sheet, or in the rows' order.
#[derive(Clone, Copy)]
enum Known<'a> {
    BySheets(&'a [f64]),
    ByRows(&'a [f64]),
}

/// One solve.
pub(super) struct Vectors<'a> {
    /// The operator's conductances, in double and in single precision.
    pub links: Vec<Links<'a, f64>>,
    pub single: Vec<Links<'a, f32>>,
    pub hierarchy: &'a Hierarchy,
    pub level: &'a Level,
    /// First unknown of each block.
    pub offsets: Vec<usize>,
    pub kept: Kept,
}

impl Vectors<'_> {
    /// Takes the first guess over from the operator's order.
    pub fn load(&mut self, x: &[f64]) {
        let mut own = std::mem::take(&mut self.kept.x);
        self.take_over(x, &mut own);
        self.kept.x = own;
    }

    /// Whether the iterate is zero everywhere: found out at once where it is not.
    fn is_zero(&self) -> bool {
        self.kept.x.par_chunks(1 << 14).all(|x| x.iter().all(|&x| x == 0.0))
    }

    /// Starts from zero: the residual is the right-hand side `b`, of this norm.
    pub fn start_from_zero(&mut self, b: &[f64], norm: f64) {
        self.kept.unit = self.unit_for(norm);
        let mut r = std::mem::take(&mut self.kept.r);
        self.take_over_as(b, &mut r, self.kept.unit);
        self.kept.r = r;
        let outputs = Pieces { data: &mut self.kept.x, bounds: &self.level.bounds };
        for_each_strip(self.level.strips.len() - 1, outputs, &|_, x: Pieces<f64>| x.data.fill(0.0));
    }

    /// A scale that brings a vector of this norm near one.
    fn unit_for(&self, norm: f64) -> f64 {
        (self.level.layout.len() as f64).sqrt() / norm
    }

    /// From the operator's order into the rows' order.
    fn take_over(&self, x: &[f64], own: &mut [f64]) {
        self.take_over_as(x, own, 1.0);
    }

    /// The same, times `scale`.
    fn take_over_as<R: Real>(&self, x: &[f64], own: &mut [R], scale: f64) {
        let (level, offsets) = (self.level, &self.offsets);
        let outputs = Pieces { data: own, bounds: &level.bounds };
        for_each_strip(level.strips.len() - 1, outputs, &|strip, to: Pieces<R>| {
            let base = level.bounds[strip];
            for j in level.strips[strip]..level.strips[strip + 1] {
                for_sheet_rows(&level.layout, offsets, j, |natural, block| {
                    let to = &mut to.data[natural.start - base..natural.end - base];
                    kernels::scaled_into(to, &x[block], scale);
                });
            }
        });
    }

    /// Hands a vector out in the operator's order, sheet by sheet.
    pub fn store(&self, vector: &[f64], x: &mut [f64]) {
        let layout = &self.level.layout;
        let mut sheets = Vec::new();
        let mut rest = x;
        for (b, s) in layout.shapes.iter().enumerate() {
            for l in 0..s.nl {
                let (sheet, after) = rest.split_at_mut(s.nx * s.ny);
                rest = after;
                for (k, rows) in sheet.chunks_mut(s.nx * 64).enumerate() {
                    sheets.push((b, l, 64 * k, rows));
                }
            }
        }
        sheets.into_par_iter().for_each(|(b, l, first, rows)| {
            let s = &layout.shapes[b];
            for (k, row) in rows.chunks_mut(s.nx).enumerate() {
                let from = layout.piece(s.j0 + first + k, b).natural + l * s.nx;
                row.copy_from_slice(&vector[from..from + s.nx]);
            }
        });
    }

    /// Adds x to the base; what rounding takes from the sum stays in x (the exact error of a
    /// floating-point sum: Knuth 1969, "The art of computer programming" 2, section 4.2.2).
    pub fn round(&mut self) {
        for (base, x) in self.kept.base.iter_mut().zip(&mut self.kept.x) {
            let (a, b) = (*base, *x);
            let sum = a + b;
            let part = sum - a;
            *base = sum;
            *x = (a - (sum - part)) + (b - part);
        }
    }

    /// Sets the iterate aside as a base, so that x starts anew from what is left: corrections are
    /// no longer rounded to the last place of the whole.
    fn rebase(&mut self, b: &[f64]) {
        let n = self.kept.x.len();
        self.kept.base.resize(n, 0.0);
        self.round();
        self.restate(b);
    }

    /// `rest = b - A base`.
    pub fn restate(&mut self, b: &[f64]) {
        let mut rest = std::mem::take(&mut self.kept.rest);
        rest.resize(self.kept.x.len(), 0.0);
        let base = std::mem::take(&mut self.kept.base);
        self.residual_of(&base, Known::BySheets(b), &mut rest, 1.0);
        (self.kept.base, self.kept.rest) = (base, rest);
    }

    /// `r = b - A x`, or `rest - A x` beside a base; returns |r|, which `guess` is a guess of.
    fn true_residual(&mut self, b: &[f64], guess: f64) -> f64 {
        let unit = self.unit_for(guess);
        self.kept.unit = unit;
        let (x, rest) = (std::mem::take(&mut self.kept.x), std::mem::take(&mut self.kept.rest));
        let mut r = std::mem::take(&mut self.kept.r);
        let known = if rest.is_empty() { Known::BySheets(b) } else { Known::ByRows(&rest) };
        let norm = self.residual_of(&x, known, &mut r, unit);
        (self.kept.x, self.kept.rest, self.kept.r) = (x, rest, r);
        norm
    }

    /// `out = scale (known - A x)`; returns `|known - A x|`.
    fn residual_of<R: Real>(&mut self, x: &[f64], known: Known, out: &mut [R], scale: f64) -> f64 {
        let (links, level, offsets) = (&self.links, self.level, &self.offsets);
        let bounds = &level.bounds;
        let outputs = (Pieces { data: out, bounds }, Each(&mut self.kept.sums));
        for_each_strip(level.strips.len() - 1, outputs, &|strip, (out, sum)| {
            let mut total = 0.0;
            let mut line = Vec::new();
            for j in level.strips[strip]..level.strips[strip + 1] {
                let (start, end) = (level.layout.row_start[j], level.layout.row_start[j + 1]);
                line.resize(end - start, 0.0);
                apply_row(links, &level.layout, j, x, &mut line);
                match known {
                    Known::BySheets(b) => {
                        for_sheet_rows(&level.layout, offsets, j, |natural, block| {
                            let line = &mut line[natural.start - start..natural.end - start];
                            kernels::take_from(line, &b[block]);
                        });
                    }
                    Known::ByRows(rest) => kernels::take_from(&mut line, &rest[start..end]),
                }
                total += dot(&line, &line);
                let out = &mut out.data[start - bounds[strip]..end - bounds[strip]];
                kernels::scaled_into(out, &line, scale);
            }
            sum.0[0] = total;
        });
        self.kept.sums.iter().sum::<f64>().sqrt()
    }

    /// `p = z + beta p`.
    fn turn(&mut self, beta: f64) {
        let beta = beta as f32;
        let outputs = Pieces { data: &mut self.kept.p, bounds: &self.level.bounds };
        let (z, bounds) = (&self.kept.z, &self.level.bounds);
        for_each_strip(self.level.strips.len() - 1, outputs, &|strip, p: Pieces<f32>| {
            kernels::turn(p.data, &z[bounds[strip]..bounds[strip + 1]], beta);
        });
    }

    /// `q = A p`; returns p · q.
    fn apply(&mut self) -> f64 {
        let (links, level, p) = (&self.single, self.level, &self.kept.p);
        let bounds = &level.bounds;
        let outputs = (Pieces { data: &mut self.kept.q, bounds }, Each(&mut self.kept.sums));
        for_each_strip(level.strips.len() - 1, outputs, &|strip, (q, sum)| {
            let mut total = 0.0;
            for j in level.strips[strip]..level.strips[strip + 1] {
                let (start, end) = (level.layout.row_start[j], level.layout.row_start[j + 1]);
                let row = &mut q.data[start - bounds[strip]..end - bounds[strip]];
                apply_row(links, &level.layout, j, p, row);
                total += dot(&p[start..end], &*row);
            }
            sum.0[0] = total;
        });
        self.kept.sums.iter().sum()
    }

    /// `x += alpha p / unit`, `r -= alpha q`; returns the norm of the residual.
    fn step(&mut self, alpha: f64) -> f64 {
        let shares = (alpha / self.kept.unit, alpha as f32);
        let count = self.level.strips.len() - 1;
        let bounds = &self.level.bounds;
        let (p, q) = (&self.kept.p, &self.kept.q);
        let outputs = (
            Pieces { data: &mut self.kept.x, bounds },
            Pieces { data: &mut self.kept.r, bounds },
            Each(&mut self.kept.sums),
        );
        for_each_strip(count, outputs, &|strip, (x, r, sum)| {
            let range = bounds[strip]..bounds[strip + 1];
            let mut lanes = [0.0; 8];
            kernels::step(x.data, r.data, &p[range.clone()], &q[range], shares, &mut lanes);
            sum.0[0] = lanes.iter().sum();
        });
        self.kept.sums.iter().sum::<f64>().sqrt() / self.kept.unit
    }

    /// One iteration; returns the norm of the residual after it. `rz_before` is the product of
    /// residual and preconditioned residual of the iteration before, 0 at the start.
    fn iterate(&mut self, rz_before: &mut f64, iteration: usize) -> Result<f64, CgError> {
        let kept = &mut self.kept;
        let rz = precondition(self.hierarchy, &mut kept.cycle, 1.0, &kept.r, &mut kept.z);
        let beta = if *rz_before > 0.0 { rz / *rz_before } else { 0.0 };
        self.turn(beta);
        let curvature = self.apply();
        if !(curvature > 0.0 && rz > 0.0) {
            return Err(CgError::NotPositiveDefinite { iteration });
        }
        *rz_before = rz;
        Ok(self.step(rz / curvature))
    }

    /// Iterations from a residual of this norm until the account of it has fallen to the goal, or as
    /// far as the account is trusted, or no more are left. Returns where it stands.
    fn descend(
        &mut self,
        mut norm: f64,
        goal: f64,
        iterations: &mut usize,
        most: usize,
    ) -> Result<f64, CgError> {
        let least = goal.max(TRUSTED * norm);
        let mut rz_before = 0.0;
        while norm > least && *iterations < most {
            norm = self.iterate(&mut rz_before, *iterations)?;
            *iterations += 1;
        }
        Ok(norm)
    }

    /// Conjugate gradients from [`Vectors::start_from_zero`], as far as the account of the residual
    /// goes; `b_norm` is the norm of the right-hand side `b`.
    pub fn step_down(
        &mut self,
        b: &[f64],
        b_norm: f64,
        params: &CgParams,
    ) -> Result<CgInfo, CgError> {
        let goal = params.relative_tolerance * b_norm;
        let (mut norm, mut iterations) = (b_norm, 0);
        loop {
            norm = self.descend(norm, goal, &mut iterations, params.max_iterations)?;
            let residual_relative = norm / b_norm;
            if norm <= goal {
                return Ok(CgInfo { iterations, residual_relative, limited_by_rounding: false });
            }
            if iterations >= params.max_iterations {
                return Err(CgError::NotConverged { iterations, residual_relative });
            }
            norm = self.true_residual(b, norm);
        }
    }

    /// Conjugate gradients.
    pub fn conjugate_gradients(
        &mut self,
        b: &[f64],
        b_norm: f64,
        params: &CgParams,
    ) -> Result<CgInfo, CgError> {
        let goal = params.relative_tolerance * b_norm;
        let mut iterations = 0;
        let from_zero = self.kept.base.is_empty() && self.is_zero();
        let mut norm = if from_zero {
            self.start_from_zero(b, b_norm);
            b_norm
        } else {
            self.true_residual(b, b_norm)
        };
        let mut checked = f64::INFINITY;
        loop {
            let residual_relative = norm / b_norm;
            let rounded = !self.kept.base.is_empty();
            if norm <= goal {
                return Ok(CgInfo { iterations, residual_relative, limited_by_rounding: rounded });
            }
            if iterations >= params.max_iterations {
                return Err(CgError::NotConverged { iterations, residual_relative });
            }
            let start = norm;
            let account = self.descend(start, goal, &mut iterations, params.max_iterations)?;
            norm = self.true_residual(b, account);
            if account <= goal && norm > goal.max(MUST_FALL * start) {
                // The terms of the residual themselves are rounded: no more is to be had.
                let residual_relative = norm / b_norm;
                if norm > 0.5 * checked && residual_relative <= MOST_ROUNDING {
                    return Ok(CgInfo { iterations, residual_relative, limited_by_rounding: true });
                }
                checked = norm;
                // What the account did not see is rounding of x.
                self.rebase(b);
                norm = self.true_residual(b, norm);
            }
        }
    }
}

/// Calls `work(range in the rows' order, range in the operator's order)` for every sheet of
/// every block in row `j`.
pub(super) fn for_sheet_rows(
    layout: &Layout,
    offsets: &[usize],
    j: usize,
    mut work: impl FnMut(std::ops::Range<usize>, std::ops::Range<usize>),
) {
    for piece in layout.pieces(j) {
        let s = &layout.shapes[piece.block];
        for l in 0..s.nl {
            let natural = piece.natural + l * s.nx;
            let block = offsets[piece.block] + (l * s.ny + piece.row) * s.nx;
            work(natural..natural + s.nx, block..block + s.nx);
        }
    }
}
