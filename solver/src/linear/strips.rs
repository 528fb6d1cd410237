//! Work over strips of rows on all threads: every strip writes its own piece of the outputs,
//! so that the result does not depend on how many threads there are.

use super::awake::engaged;

/// Outputs that can be cut between two strips.
pub(super) trait Cut: Send + Sized {
    /// The outputs of the first `strips` strips, and of the others.
    fn cut(self, strips: usize) -> (Self, Self);
}

/// A vector with the bounds of the strips in it (one more than there are strips).
pub(super) struct Pieces<'a, T> {
    pub data: &'a mut [T],
    pub bounds: &'a [usize],
}

impl<T: Send> Cut for Pieces<'_, T> {
    fn cut(self, strips: usize) -> (Self, Self) {
        let at = self.bounds[strips] - self.bounds[0];
        let (head, tail) = self.data.split_at_mut(at);
        (
            Pieces { data: head, bounds: &self.bounds[..=strips] },
            Pieces { data: tail, bounds: &self.bounds[strips..] },
        )
    }
}

/// One entry for each strip.
pub(super) struct Each<'a, T>(pub &'a mut [T]);

impl<T: Send> Cut for Each<'_, T> {
    fn cut(self, strips: usize) -> (Self, Self) {
        let (head, tail) = self.0.split_at_mut(strips);
        (Each(head), Each(tail))
    }
}

impl<A: Cut, B: Cut> Cut for (A, B) {
    fn cut(self, strips: usize) -> (Self, Self) {
        let (a, c) = self.0.cut(strips);
        let (b, d) = self.1.cut(strips);
        ((a, b), (c, d))
    }
}

impl<A: Cut, B: Cut, C: Cut> Cut for (A, B, C) {
    fn cut(self, strips: usize) -> (Self, Self) {
        let (a, d) = self.0.cut(strips);
        let (b, e) = self.1.cut(strips);
        let (c, f) = self.2.cut(strips);
        ((a, b, c), (d, e, f))
    }
}

/// Calls `work(strip, its outputs)` for each of `count` strips.
pub(super) fn for_each_strip<O: Cut>(count: usize, outputs: O, work: &(impl Fn(usize, O) + Sync)) {
    fn recurse<O: Cut>(first: usize, count: usize, outputs: O, work: &(impl Fn(usize, O) + Sync)) {
        if count == 1 {
            return work(first, outputs);
        }
        let half = count / 2;
        let (head, tail) = outputs.cut(half);
        rayon::join(
            || recurse(first, half, head, work),
            || engaged(|| recurse(first + half, count - half, tail, work)),
        );
    }
    if count > 0 {
        engaged(|| recurse(0, count, outputs, work));
    }
}

/// Bounds of `count` rows cut into strips of `rows` rows; the last one may be shorter.
pub(super) fn cut_rows(count: usize, rows: usize) -> Vec<usize> {
    let mut bounds: Vec<usize> = (0..count).step_by(rows.max(1)).collect();
    bounds.push(count);
    bounds
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_strip_gets_its_own_piece() {
        let bounds = cut_rows(10, 4);
        assert_eq!(bounds, vec![0, 4, 8, 10]);
        let mut data = vec![0; 10];
        let mut sums = vec![0; 3];
        let outputs = (Pieces { data: &mut data, bounds: &bounds }, Each(&mut sums));
        for_each_strip(3, outputs, &|strip, (piece, sum)| {
            piece.data.fill(strip + 1);
            sum.0[0] = piece.data.len();
        });
        assert_eq!(data, vec![1, 1, 1, 1, 2, 2, 2, 2, 3, 3]);
        assert_eq!(sums, vec![4, 4, 2]);
    }
}
