//! Patterns to start from, besides the present one.

use super::rules::{Rules, Spot};
use crate::module::{Module, Rect};

/// A small generator of random numbers (SplitMix64; Steele, Lea, Flood, "Fast splittable
/// pseudorandom number generators", 2014): the same numbers on every machine.
pub(super) struct Random(u64);

impl Random {
    pub fn new(seed: u64, stream: u64) -> Random {
        Random(seed ^ stream.wrapping_mul(0x9e37_79b9_7f4a_7c15))
    }

    /// The next number, 0 to 1.
    pub fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }
}

/// Nozzles allotted to the sources by power, the nearest first, and set in even rows over each.
pub(super) fn allotted(module: &Module, rules: &Rules, now: &[Spot]) -> Vec<Spot> {
    let sources: Vec<(Rect, f64)> = module
        .die
        .iter()
        .map(|d| (d.rect, d.power_W))
        .chain(module.heaters.iter().map(|h| (h.rect, h.power_W)))
        .collect();
    let free: Vec<usize> = (0..now.len()).filter(|&k| !rules.fixed[k]).collect();
    let total: f64 = sources.iter().map(|s| s.1).sum();
    let mut spots = now.to_vec();
    if total <= 0.0 || free.is_empty() {
        return spots;
    }
    // Largest remainders.
    let exact: Vec<f64> = sources.iter().map(|s| free.len() as f64 * s.1 / total).collect();
    let mut counts: Vec<usize> = exact.iter().map(|e| e.floor() as usize).collect();
    let mut order: Vec<usize> = (0..sources.len()).collect();
    order.sort_by(|&a, &b| exact[b].fract().total_cmp(&exact[a].fract()).then(a.cmp(&b)));
    let given: usize = counts.iter().sum();
    for &k in order.iter().take(free.len() - given) {
        counts[k] += 1;
    }
    let mut pairs: Vec<(f64, usize, usize)> = Vec::new();
    for &n in &free {
        for (k, (rect, _)) in sources.iter().enumerate() {
            let [x, y] = rect.centre_m();
            pairs.push(((now[n].at_m[0] - x).hypot(now[n].at_m[1] - y), n, k));
        }
    }
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut mine: Vec<Vec<usize>> = vec![Vec::new(); sources.len()];
    let mut taken = vec![false; now.len()];
    for (_, n, k) in pairs {
        if !taken[n] && mine[k].len() < counts[k] {
            taken[n] = true;
            mine[k].push(n);
        }
    }
    for (list, (rect, _)) in mine.iter_mut().zip(&sources) {
        list.sort_unstable();
        for (&n, at_m) in list.iter().zip(rows_over(rect, list.len())) {
            spots[n].at_m = at_m;
        }
    }
    spots
}

/// `count` places in even rows over a rectangle.
fn rows_over(rect: &Rect, count: usize) -> Vec<[f64; 2]> {
    let (w, h) = (rect.width_m(), rect.height_m());
    let n_rows = ((count as f64 * h / w).sqrt().round() as usize).clamp(1, count.max(1));
    let mut places = Vec::with_capacity(count);
    for row in 0..n_rows {
        let in_row = count / n_rows + usize::from(row < count % n_rows);
        for column in 0..in_row {
            places.push([
                rect.x0_m + w * (column as f64 + 0.5) / in_row as f64,
                rect.y0_m + h * (row as f64 + 0.5) / n_rows as f64,
            ]);
        }
    }
    places
}

/// The present pattern with every orifice moved at random by up to `by_m` along each axis.
pub(super) fn scattered(rules: &Rules, now: &[Spot], by_m: f64, random: &mut Random) -> Vec<Spot> {
    let mut spots = now.to_vec();
    for (spot, fixed) in spots.iter_mut().zip(&rules.fixed) {
        for at in &mut spot.at_m {
            let by = by_m * (2.0 * random.next() - 1.0);
            *at += if *fixed { 0.0 } else { by };
        }
    }
    spots
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_even_and_hold_every_nozzle() {
        let rect = Rect { x0_m: 0.0, y0_m: 0.0, x1_m: 4.0, y1_m: 4.0 };
        assert_eq!(rows_over(&rect, 1), [[2.0, 2.0]]);
        assert_eq!(rows_over(&rect, 4), [[1.0, 1.0], [3.0, 1.0], [1.0, 3.0], [3.0, 3.0]]);
        for count in 0..12 {
            assert_eq!(rows_over(&rect, count).len(), count);
        }
    }

    /// First outputs for the seed 1234567 of the reference code in Java's `SplittableRandom`
    /// (from memory: 6457827717110365317, 3203168211198807973).
    #[test]
    fn random_numbers_are_those_of_the_published_generator() {
        let mut random = Random::new(1_234_567, 0);
        for expected in [6_457_827_717_110_365_317u64, 3_203_168_211_198_807_973] {
            let expected = (expected >> 11) as f64 / (1u64 << 53) as f64;
            assert_eq!(random.next(), expected);
        }
    }
}
