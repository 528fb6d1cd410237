//! The levels of the multigrid preconditioner, from the operator to a plane of a few cells.

use super::axis::{AxisMap, choose_reach, coarse_points};
use super::coarsen::{BlockMap, coarse_operator};
use super::coarsest::Coarsest;
use super::interpolation::Maps;
use super::level::{Level, Transfer, layout_of, strips_of};
use super::stack::{stack_map, whole_stack};
use crate::conduction::Operator;

/// Coarsening stops at a plane of so many cells.
const COARSEST_PLANE: usize = 120;

/// Sweeps on the finest level where the plane is graded: cells of unequal sides are merged there, up
/// to four in a row, and leave more to relaxation. More sweeps on coarser levels save nothing.
const GRADED_SWEEPS: usize = 2;

/// All levels, finest first, and the factor of the coarsest.
#[derive(Debug, Clone, Default)]
pub(super) struct Hierarchy {
    pub levels: Vec<Level>,
    pub coarsest: Coarsest,
}

impl Hierarchy {
    /// Builds all levels for `operator`.
    pub fn new(operator: &Operator) -> Self {
        if operator.is_empty() {
            return Hierarchy::default();
        }
        let (scale_x, scale_y) = axis_scales(operator);
        let mut x = centres(&operator.dx_m, scale_x);
        let mut y = centres(&operator.dy_m, scale_y);
        let mut levels = Vec::new();
        let mut coarse: Option<Operator> = None;
        loop {
            let fine = coarse.as_ref().unwrap_or(operator);
            let mut level = Level::new(fine, x.len(), y.len(), levels.is_empty());
            let small = x.len() * y.len() <= COARSEST_PLANE || (x.len() <= 2 && y.len() <= 2);
            if small {
                let coarsest = Coarsest::new(fine, &places(fine, &level));
                levels.push(level);
                return Hierarchy { levels, coarsest };
            }
            let reach = choose_reach(&x, &y);
            let points_x = coarse_points(&x, reach.target);
            let points_y = coarse_points(&y, reach.target);
            let maps: Vec<BlockMap> = fine
                .blocks
                .iter()
                .map(|b| BlockMap {
                    x: AxisMap::new(&x, &points_x, b.i0, b.i0 + b.nx),
                    y: AxisMap::new(&y, &points_y, b.j0, b.j0 + b.ny),
                    z: if reach.only_slivers { whole_stack(b) } else { stack_map(b) },
                })
                .collect();
            let halves = |points: &[usize], cells: usize| points.len() == cells.div_ceil(2);
            if levels.is_empty() && !(halves(&points_x, x.len()) && halves(&points_y, y.len())) {
                level.sweeps = GRADED_SWEEPS;
            }
            let next = coarse_operator(fine, &maps, (points_x.len(), points_y.len()));
            let strips = strips_of(points_y.len(), next.len());
            let layout = layout_of(&next, points_x.len(), points_y.len());
            let kept_rows: Vec<usize> = strips
                .iter()
                .map(|&j| if j == 0 { 0 } else { *points_y.get(j).unwrap_or(&y.len()) })
                .collect();
            level.transfer = Some(Transfer {
                kept_bounds: kept_rows.iter().map(|&j| level.layout.split_start[j] / 2).collect(),
                kept_rows,
                maps: maps
                    .iter()
                    .map(|m| Maps { x: (&m.x).into(), y: (&m.y).into(), z: (&m.z).into() })
                    .collect(),
                bounds: strips.iter().map(|&j| layout.row_start[j]).collect(),
                strips,
                points_y: points_y.clone(),
            });
            x = points_x.iter().map(|&p| x[p]).collect();
            y = points_y.iter().map(|&p| y[p]).collect();
            levels.push(level);
            coarse = Some(next);
        }
    }

    /// Brings the finest level up to date with an operator of the same blocks; the coarser ones stay.
    pub fn refresh(&mut self, operator: &Operator) {
        if let Some(finest) = self.levels.first_mut() {
            rayon::scope(|_| finest.fill(operator));
        }
    }
}

/// Centres of the cells, times `scale`.
fn centres(widths: &[f64], scale: f64) -> Vec<f64> {
    let mut edge = 0.0;
    widths
        .iter()
        .map(|w| {
            let centre = (edge + 0.5 * w) * scale;
            edge += w;
            centre
        })
        .collect()
}

/// Factors that make distances along x and y comparable where the module conducts better along
/// one axis than along the other: the reciprocal square roots of the mean conductances.
fn axis_scales(operator: &Operator) -> (f64, f64) {
    let (dx, dy) = (&operator.dx_m, &operator.dy_m);
    let (mut along_x, mut along_y) = (0.0, 0.0);
    for block in &operator.blocks {
        for l in 0..block.nl {
            // A sample of rows tells enough.
            for j in (0..block.ny).step_by(1 + block.ny / 32) {
                for i in 0..block.nx {
                    let c = (l * block.ny + j) * block.nx + i;
                    let (gi, gj) = (block.i0 + i, block.j0 + j);
                    let area = dx[gi] * dy[gj];
                    if block.east[c] > 0.0 {
                        let length = 0.5 * (dx[gi] + dx[gi + 1]);
                        along_x += area * block.east[c] * length / dy[gj];
                    }
                    if block.north[c] > 0.0 {
                        let length = 0.5 * (dy[gj] + dy[gj + 1]);
                        along_y += area * block.north[c] * length / dx[gi];
                    }
                }
            }
        }
    }
    let ratio = along_y / along_x;
    if ratio.is_finite() && ratio > 0.0 {
        (ratio.sqrt().sqrt(), 1.0 / ratio.sqrt().sqrt())
    } else {
        (1.0, 1.0)
    }
}

/// For each unknown of the operator, its place in the level's vectors.
fn places(operator: &Operator, level: &Level) -> Vec<usize> {
    let offsets = operator.offsets();
    let mut places = vec![0; operator.len()];
    for j in 0..level.layout.ny {
        for (piece, block, s) in level.layout.blocks_in(j) {
            let half = level.layout.groups[piece.group].half;
            let (even, odd) = s.in_halves(half);
            for (l, i) in (0..s.nl).flat_map(|l| (0..s.nx).map(move |i| (l, i))) {
                places[offsets[block] + (l * s.ny + piece.row) * s.nx + i] = if level.is_finest() {
                    let first = if i % 2 == 0 { even } else { odd };
                    piece.split + 2 * l * half + first + i / 2
                } else {
                    piece.natural_of(s) + l * s.nx + i
                };
            }
        }
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conduction::Block;

    #[test]
    fn the_finest_level_relaxes_twice_where_its_plane_is_graded() {
        let sweeps = |growth: f64| -> Vec<usize> {
            let widths: Vec<f64> = (0..32).map(|k| 1e-3 * growth.powi(k)).collect();
            let mut block = Block::zeros(0, 0, 32, 32, 1, false);
            block.sink.fill(1.0);
            let operator = Operator { dx_m: widths.clone(), dy_m: widths, blocks: vec![block] };
            Hierarchy::new(&operator).levels.iter().map(|level| level.sweeps).collect()
        };
        assert!(sweeps(1.0).len() > 1 && sweeps(1.0).iter().all(|&s| s == 1));
        let graded = sweeps(1.1);
        assert!(graded[0] == 2 && graded[1..].iter().all(|&s| s == 1), "{graded:?}");
    }

    #[test]
    fn centres_lie_in_the_middle_of_cells() {
        assert_eq!(centres(&[2.0, 4.0, 1.0], 10.0), [10.0, 40.0, 65.0]);
    }
}
