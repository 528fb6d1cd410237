//! Direct solution on the coarsest plane: Cholesky factorisation within the envelope of the
//! matrix, columns of the plane numbered along its shorter side.

use crate::conduction::Operator;

/// The factor L of `A = L Lᵀ`, row by row from the first entry that can be nonzero.
#[derive(Debug, Clone, Default)]
pub(super) struct Coarsest {
    /// For each row of the factor, the place of its unknown in the level's vectors.
    place: Vec<usize>,
    first: Vec<usize>,
    start: Vec<usize>,
    values: Vec<f64>,
}

impl Coarsest {
    /// Factorises `operator`. `places` tells for each unknown of the operator its place in
    /// the level's vectors. A pivot that is not positive is replaced by the largest number:
    /// its unknown is then left alone.
    pub fn new(operator: &Operator, places: &[usize]) -> Self {
        let n = operator.len();
        let (nx, ny) = (operator.nx(), operator.ny());
        // Number of each unknown: by column of the plane.
        let mut keyed: Vec<(usize, usize)> = Vec::with_capacity(n);
        for (block, offset) in operator.blocks.iter().zip(operator.offsets()) {
            for c in 0..block.len() {
                let within = c % (block.nx * block.ny);
                let (i, j) = (block.i0 + within % block.nx, block.j0 + within / block.nx);
                let column = if nx <= ny { j * nx + i } else { i * ny + j };
                keyed.push((column, offset + c));
            }
        }
        keyed.sort_unstable();
        let mut number = vec![0; n];
        for (k, &(_, unknown)) in keyed.iter().enumerate() {
            number[unknown] = k;
        }
        let mut links: Vec<(usize, usize, f64)> = Vec::with_capacity(4 * n);
        operator.for_each_link(|a, b, g| {
            let (a, b) = (number[a], number[b]);
            links.push((a.max(b), a.min(b), g));
        });
        let mut first: Vec<usize> = (0..n).collect();
        for &(row, column, _) in &links {
            first[row] = first[row].min(column);
        }
        let mut start = vec![0; n + 1];
        for row in 0..n {
            start[row + 1] = start[row] + row - first[row] + 1;
        }
        let mut values = vec![0.0; start[n]];
        for (unknown, d) in operator.diagonal().into_iter().enumerate() {
            values[start[number[unknown] + 1] - 1] = d;
        }
        for (row, column, g) in links {
            values[start[row] + column - first[row]] -= g;
        }
        factorise(&first, &start, &mut values);
        let mut place = vec![0; n];
        for unknown in 0..n {
            place[number[unknown]] = places[unknown];
        }
        Coarsest { place, first, start, values }
    }

    /// Solves for one right-hand side; `work` holds as many entries as there are unknowns.
    pub fn solve(&self, b: &[f32], x: &mut [f32], work: &mut [f64]) {
        for (w, &place) in work.iter_mut().zip(&self.place) {
            *w = f64::from(b[place]);
        }
        for row in 0..self.first.len() {
            let f = self.first[row];
            let entries = &self.values[self.start[row]..self.start[row + 1]];
            let (diagonal, left) = split_last(entries);
            let known: f64 = left.iter().zip(&work[f..row]).map(|(l, y)| l * y).sum();
            work[row] = (work[row] - known) / diagonal;
        }
        for row in (0..self.first.len()).rev() {
            let f = self.first[row];
            let entries = &self.values[self.start[row]..self.start[row + 1]];
            let (diagonal, left) = split_last(entries);
            let value = work[row] / diagonal;
            work[row] = value;
            for (y, l) in work[f..row].iter_mut().zip(left) {
                *y -= l * value;
            }
        }
        for (w, &place) in work.iter().zip(&self.place) {
            x[place] = *w as f32;
        }
    }
}

fn split_last(entries: &[f64]) -> (f64, &[f64]) {
    let last = entries.len() - 1;
    (entries[last], &entries[..last])
}

fn factorise(first: &[usize], start: &[usize], values: &mut [f64]) {
    for row in 0..first.len() {
        let (above, rest) = values.split_at_mut(start[row]);
        let mine = &mut rest[..row - first[row] + 1];
        for column in first[row]..row {
            let theirs = &above[start[column]..start[column + 1]];
            let (diagonal, left) = split_last(theirs);
            let from = first[row].max(first[column]);
            let known: f64 = left[from - first[column]..]
                .iter()
                .zip(&mine[from - first[row]..column - first[row]])
                .map(|(a, b)| a * b)
                .sum();
            mine[column - first[row]] = (mine[column - first[row]] - known) / diagonal;
        }
        let last = row - first[row];
        let square: f64 = mine[..last].iter().map(|v| v * v).sum();
        let pivot = mine[last] - square;
        mine[last] = if pivot > 0.0 { pivot.sqrt() } else { f64::MAX };
    }
}
