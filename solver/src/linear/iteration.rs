//! Conjugate gradients: one solve on its vectors.

use rayon::prelude::*;

use super::apply::apply_row;
use super::cycle::{CycleWork, precondition};
use super::hierarchy::{Hierarchy, Level};
use super::kernels::{self, dot};
use super::layout::Layout;
use super::solve::{CgError, CgInfo, CgParams};
use super::strips::{Each, Pieces, for_each_strip};
use crate::conduction::Operator;
use crate::pages::zeros;

/// Vectors of a solve, in the rows' order.
pub(super) struct Kept {
    /// The iterate, or what is to be added to `base`.
    pub x: Vec<f64>,
    /// Where rounding matters: the iterate so far, and `b - A base`. Else empty.
    pub base: Vec<f64>,
    pub rest: Vec<f64>,
    pub r: Vec<f64>,
    pub q: Vec<f64>,
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
            p: zeros(n),
            z: zeros(n),
            sums: vec![0.0; level.strips.len() - 1],
            cycle: CycleWork::new(hierarchy),
        }
    }
}

/// A residual above this share of the right-hand side is not put down to rounding of its terms.
const MOST_ROUNDING: f64 = 1e-8;

/// One solve.
pub(super) struct Vectors<'a> {
    pub operator: &'a Operator,
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

    /// Starts from zero: the residual is the right-hand side `b`.
    pub fn start_from_zero(&mut self, b: &[f64]) {
        let mut r = std::mem::take(&mut self.kept.r);
        self.take_over(b, &mut r);
        self.kept.r = r;
        let outputs = Pieces { data: &mut self.kept.x, bounds: &self.level.bounds };
        for_each_strip(self.level.strips.len() - 1, outputs, &|_, x: Pieces<f64>| x.data.fill(0.0));
    }

    /// From the operator's order into the rows' order.
    fn take_over(&self, x: &[f64], own: &mut [f64]) {
        let (level, offsets) = (self.level, &self.offsets);
        let outputs = Pieces { data: own, bounds: &level.bounds };
        for_each_strip(level.strips.len() - 1, outputs, &|strip, to: Pieces<f64>| {
            let base = level.bounds[strip];
            for j in level.strips[strip]..level.strips[strip + 1] {
                for_sheet_rows(&level.layout, offsets, j, |natural, block| {
                    let to = &mut to.data[natural.start - base..natural.end - base];
                    to.copy_from_slice(&x[block]);
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

    fn strips(&self) -> usize {
        self.level.strips.len() - 1
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
        self.kept.rest.clear();
        std::mem::swap(&mut self.kept.base, &mut self.kept.x);
        self.true_residual(b);
        std::mem::swap(&mut self.kept.base, &mut self.kept.x);
        self.kept.rest.extend_from_slice(&self.kept.r);
    }

    /// `r = b - A x`, or `rest - A x` beside a base; returns |r|.
    fn true_residual(&mut self, b: &[f64]) -> f64 {
        let offsets = &self.offsets;
        let count = self.strips();
        let (operator, level, x) = (self.operator, self.level, &self.kept.x);
        let rest = &self.kept.rest;
        let bounds = &level.bounds;
        let outputs = (Pieces { data: &mut self.kept.r, bounds }, Each(&mut self.kept.sums));
        for_each_strip(count, outputs, &|strip, (r, sum)| {
            let mut total = 0.0;
            for j in level.strips[strip]..level.strips[strip + 1] {
                let start = level.layout.row_start[j];
                let row = &mut r.data
                    [start - bounds[strip]..level.layout.row_start[j + 1] - bounds[strip]];
                apply_row(operator, &level.layout, j, x, row);
                if rest.is_empty() {
                    for_sheet_rows(&level.layout, offsets, j, |natural, block| {
                        let row = &mut row[natural.start - start..natural.end - start];
                        for (r, b) in row.iter_mut().zip(&b[block]) {
                            *r = b - *r;
                        }
                    });
                } else {
                    for (r, b) in row.iter_mut().zip(&rest[start..]) {
                        *r = b - *r;
                    }
                }
                total += dot(row, row);
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
        let (operator, level, p) = (self.operator, self.level, &self.kept.p);
        let bounds = &level.bounds;
        let outputs = (Pieces { data: &mut self.kept.q, bounds }, Each(&mut self.kept.sums));
        for_each_strip(level.strips.len() - 1, outputs, &|strip, (q, sum)| {
            let mut total = 0.0;
            for j in level.strips[strip]..level.strips[strip + 1] {
                let (start, end) = (level.layout.row_start[j], level.layout.row_start[j + 1]);
                let row = &mut q.data[start - bounds[strip]..end - bounds[strip]];
                apply_row(operator, &level.layout, j, p, row);
                total += dot(&p[start..end], row);
            }
            sum.0[0] = total;
        });
        self.kept.sums.iter().sum()
    }

    /// `x += alpha p`, `r -= alpha q`; returns |r|.
    fn step(&mut self, alpha: f64) -> f64 {
        let count = self.strips();
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
            kernels::step(x.data, r.data, &p[range.clone()], &q[range], alpha, &mut lanes);
            sum.0[0] = lanes.iter().sum();
        });
        self.kept.sums.iter().sum::<f64>().sqrt()
    }

    /// One iteration: the residual's norm before and after. `rz_before` is the product of residual
    /// and preconditioned residual of the iteration before, 0 at the start.
    fn iterate(
        &mut self,
        norm: f64,
        rz_before: &mut f64,
        iteration: usize,
    ) -> Result<f64, CgError> {
        let kept = &mut self.kept;
        let scale = (kept.r.len() as f64).sqrt() / norm;
        let rz = precondition(self.hierarchy, &mut kept.cycle, scale, &kept.r, &mut kept.z);
        let beta = if *rz_before > 0.0 { rz / *rz_before } else { 0.0 };
        self.turn(beta);
        let curvature = self.apply();
        if !(curvature > 0.0 && rz > 0.0) {
            return Err(CgError::NotPositiveDefinite { iteration });
        }
        *rz_before = rz;
        Ok(self.step(rz / curvature))
    }

    /// Conjugate gradients from [`Vectors::start_from_zero`], as far as their own account of the
    /// residual goes; `norm` is that of the right-hand side.
    pub fn step_down(&mut self, norm: f64, params: &CgParams) -> Result<CgInfo, CgError> {
        let mut now = norm;
        let mut rz_before = 0.0;
        for iterations in 0..=params.max_iterations {
            if now <= params.relative_tolerance * norm {
                let residual_relative = now / norm;
                return Ok(CgInfo { iterations, residual_relative, limited_by_rounding: false });
            }
            if iterations < params.max_iterations {
                now = self.iterate(now, &mut rz_before, iterations)?;
            }
        }
        let (iterations, residual_relative) = (params.max_iterations, now / norm);
        Err(CgError::NotConverged { iterations, residual_relative })
    }

    /// Conjugate gradients.
    pub fn conjugate_gradients(
        &mut self,
        b: &[f64],
        b_norm: f64,
        params: &CgParams,
    ) -> Result<CgInfo, CgError> {
        let goal = params.relative_tolerance * b_norm;
        let mut norm = self.true_residual(b);
        let mut iterations = 0;
        let mut rz_before = 0.0;
        let mut checked = f64::INFINITY;
        loop {
            let exhausted = iterations >= params.max_iterations;
            if norm <= goal || exhausted {
                // The recurrence says so; the residual itself decides.
                norm = self.true_residual(b);
                let residual_relative = norm / b_norm;
                let rounded = !self.kept.base.is_empty();
                if norm <= goal {
                    break Ok(CgInfo {
                        iterations,
                        residual_relative,
                        limited_by_rounding: rounded,
                    });
                }
                // The terms of the residual themselves are rounded: no more is to be had.
                if norm > 0.5 * checked && residual_relative <= MOST_ROUNDING {
                    break Ok(CgInfo { iterations, residual_relative, limited_by_rounding: true });
                }
                if exhausted {
                    break Err(CgError::NotConverged { iterations, residual_relative });
                }
                checked = norm;
                // What the recurrence did not see is rounding.
                self.rebase(b);
                norm = self.true_residual(b);
                rz_before = 0.0;
            }
            norm = self.iterate(norm, &mut rz_before, iterations)?;
            iterations += 1;
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
