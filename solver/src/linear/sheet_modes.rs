//! The part of a system that the multigrid's single precision may lose: temperatures that are
//! uniform over whole sheets.
//!
//! Within a sheet neighbours may be coupled so much more strongly than the sheet to anything else
//! (an island on a poor attach, a module that next to nothing cools) that the difference is below
//! the rounding of the relaxation. With Z the indicators of the sheets, the small system
//!
//! ```text
//! E = Zᵀ A Z        sinks of each sheet, links between sheets summed over their cells
//! ```
//!
//! is a tree: the substrate's sheets are a chain, every island is a chain on its top. It is
//! eliminated from the leaves with sums of positive numbers only, so that nothing cancels. Removed
//! from the search directions by projection (deflation: Nicolaides, SIAM J. Numer. Anal. 24, 1987),
//! the modes cannot be spoilt by the preconditioner.

use super::layout::Layout;
use crate::conduction::Operator;

/// The modes and the elimination of their system.
#[derive(Debug, Clone)]
pub(super) struct SheetModes {
    /// First node of each block; a node is a sheet.
    first: Vec<usize>,
    /// Order of elimination: each node, the node it hangs on, the link between them (W/K).
    steps: Vec<(usize, usize, f64)>,
    root: usize,
    /// What leaves a node other than through its link: its own sinks and all that hangs on it, W/K.
    sink: Vec<f64>,
}

impl SheetModes {
    /// The modes of `operator`; `None` if nothing at all takes heat away.
    pub fn new(operator: &Operator) -> Option<SheetModes> {
        let mut first = Vec::new();
        let mut sink = Vec::new();
        for block in &operator.blocks {
            first.push(sink.len());
            let plane = block.nx * block.ny;
            sink.extend(block.sink.chunks(plane).map(|sheet| sheet.iter().sum::<f64>()));
        }
        let sum = |values: &[f64]| values.iter().sum::<f64>();
        let base = operator.blocks.first()?;
        let root = base.nl - 1;
        let mut steps = Vec::new();
        for (block, &at) in operator.blocks.iter().zip(&first).skip(1) {
            let plane = block.nx * block.ny;
            for l in (1..block.nl).rev() {
                let link = sum(&block.up[(l - 1) * plane..l * plane]);
                steps.push((at + l, at + l - 1, link));
            }
            steps.push((at, root, sum(&block.seat)));
        }
        let plane = base.nx * base.ny;
        for l in 0..root {
            steps.push((l, l + 1, sum(&base.up[l * plane..(l + 1) * plane])));
        }
        for &(node, on, link) in &steps {
            if link + sink[node] > 0.0 {
                sink[on] += link * sink[node] / (link + sink[node]);
            }
        }
        (sink[root] > 0.0).then_some(SheetModes { first, steps, root, sink })
    }

    /// Number of modes.
    pub fn len(&self) -> usize {
        self.sink.len()
    }

    /// Solves `E c = f` in place.
    pub fn solve(&self, f: &mut [f64]) {
        for &(node, on, link) in &self.steps {
            let through = link + self.sink[node];
            if through > 0.0 {
                f[on] += f[node] * link / through;
            }
        }
        f[self.root] /= self.sink[self.root];
        for &(node, on, link) in self.steps.iter().rev() {
            let through = link + self.sink[node];
            // A sheet that nothing holds is left alone.
            f[node] = if through > 0.0 { (f[node] + link * f[on]) / through } else { 0.0 };
        }
    }

    /// Calls `work(mode, entries of the rows' order)` for every sheet of every block in every row.
    pub fn for_each_piece(
        &self,
        layout: &Layout,
        mut work: impl FnMut(usize, std::ops::Range<usize>),
    ) {
        for j in 0..layout.ny {
            for piece in layout.pieces(j) {
                let s = &layout.shapes[piece.block];
                for l in 0..s.nl {
                    let at = piece.natural + l * s.nx;
                    work(self.first[piece.block] + l, at..at + s.nx);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conduction::Block;

    fn operator(sinks: [f64; 2]) -> Operator {
        let mut base = Block::zeros(0, 0, 3, 2, 2, false);
        base.east = (0..12).map(|c| if c % 3 < 2 { 5.0 } else { 0.0 }).collect();
        base.up[..6].fill(0.5);
        base.sink[..6].fill(sinks[0]);
        let mut island = Block::zeros(1, 0, 2, 1, 2, true);
        island.up[..2].fill(3.0);
        island.seat.fill(1e-9);
        island.sink[2..].fill(sinks[1]);
        Operator { dx_m: vec![1.0; 3], dy_m: vec![1.0; 2], blocks: vec![base, island] }
    }

    /// `E = Zᵀ A Z`, entry by entry.
    fn dense(operator: &Operator, owner: &[usize], n: usize) -> Vec<Vec<f64>> {
        let mut e = vec![vec![0.0; n]; n];
        for (unknown, sink) in operator.blocks.iter().flat_map(|b| &b.sink).enumerate() {
            e[owner[unknown]][owner[unknown]] += sink;
        }
        operator.for_each_link(|a, b, g| {
            let (a, b) = (owner[a], owner[b]);
            if a != b {
                e[a][a] += g;
                e[b][b] += g;
                e[a][b] -= g;
                e[b][a] -= g;
            }
        });
        e
    }

    #[test]
    fn the_tree_is_solved_whatever_the_contrast() {
        for sinks in [[2.0, 0.0], [0.0, 1e-12], [1e-12, 1e6]] {
            let operator = operator(sinks);
            let modes = SheetModes::new(&operator).expect("modes");
            assert_eq!(modes.len(), 4);
            let owner: Vec<usize> = operator
                .blocks
                .iter()
                .zip([0, 2])
                .flat_map(|(b, first)| (0..b.len()).map(move |c| first + c / (b.nx * b.ny)))
                .collect();
            let e = dense(&operator, &owner, 4);
            let f = [1.0, -0.3, 0.2, 0.7];
            let mut c = f.to_vec();
            modes.solve(&mut c);
            for (row, f) in e.iter().zip(f) {
                let terms: Vec<f64> = row.iter().zip(&c).map(|(e, c)| e * c).collect();
                let size = terms.iter().map(|t| t.abs()).sum::<f64>() + 1.0;
                assert!((terms.iter().sum::<f64>() - f).abs() < 1e-14 * size, "{sinks:?}");
            }
        }
    }

    #[test]
    fn without_any_sink_there_are_no_modes_to_solve() {
        assert!(SheetModes::new(&operator([0.0, 0.0])).is_none());
    }
}
