//! Rainflow counting of the cycles in a history.

/// One counted cycle, or half of one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cycle {
    /// Lowest value.
    pub low: f64,
    /// Highest value.
    pub high: f64,
    /// 1 for a closed cycle, 0.5 for what the history leaves open.
    pub count: f64,
}

impl Cycle {
    /// From lowest to highest.
    pub fn range(&self) -> f64 {
        self.high - self.low
    }

    fn between(a: f64, b: f64, count: f64) -> Cycle {
        Cycle { low: a.min(b), high: a.max(b), count }
    }
}

/// Peaks and valleys of a history, its first and last value among them; equal neighbours count
/// once, values that are no number are passed over.
pub fn reversals(history: &[f64]) -> Vec<f64> {
    let mut turns: Vec<f64> = Vec::new();
    for &value in history.iter().filter(|value| !value.is_nan()) {
        match turns[..] {
            [.., last] if value == last => {}
            [.., before, last] if (last - before) * (value - last) > 0.0 => {
                let n = turns.len();
                turns[n - 1] = value;
            }
            _ => turns.push(value),
        }
    }
    turns
}

/// Cycles of a history that happens once.
///
/// With X the latest range and Y the one before it, while X >= Y: where Y holds the first value of
/// what is left, it counts as half a cycle and that value goes; else it counts as one cycle and
/// both its ends go. When the history ends, every range that is left counts as half a cycle.
///
/// # Source
/// ASTM E1049-85 (2017), Standard Practices for Cycle Counting in Fatigue Analysis, 5.4.4.
pub fn rainflow(history: &[f64]) -> Vec<Cycle> {
    let mut cycles = Vec::new();
    let mut left: Vec<f64> = Vec::new();
    for turn in reversals(history) {
        left.push(turn);
        while let [.., a, b, c] = left[..] {
            let (latest, before) = ((c - b).abs(), (b - a).abs());
            if latest < before {
                break;
            }
            let n = left.len();
            if n == 3 {
                cycles.push(Cycle::between(a, b, 0.5));
                left.remove(0);
            } else {
                cycles.push(Cycle::between(a, b, 1.0));
                left.drain(n - 3..n - 1);
            }
        }
    }
    cycles.extend(left.windows(2).map(|pair| Cycle::between(pair[0], pair[1], 0.5)));
    cycles
}

/// Cycles of a history that repeats over and over: taken from its highest value round to the same
/// value, so that every cycle closes and none is left half.
///
/// # Source
/// ASTM E1049-85 (2017), 5.4.5, simplified counting of repeating histories.
pub fn rainflow_of_period(period: &[f64]) -> Vec<Cycle> {
    let values: Vec<f64> = period.iter().copied().filter(|value| !value.is_nan()).collect();
    let Some(top) = (0..values.len()).max_by(|&a, &b| values[a].total_cmp(&values[b])) else {
        return Vec::new();
    };
    let mut turned: Vec<f64> = values[top..].to_vec();
    turned.extend_from_slice(&values[..=top]);
    let mut cycles: Vec<Cycle> = Vec::new();
    for cycle in rainflow(&turned) {
        // Down from the top and up to it again are the two halves of one cycle.
        match cycles.last_mut() {
            Some(last) if cycle.count == 0.5 && last.count == 0.5 && same(last, &cycle) => {
                last.count = 1.0;
            }
            _ => cycles.push(cycle),
        }
    }
    cycles
}

fn same(a: &Cycle, b: &Cycle) -> bool {
    a.low == b.low && a.high == b.high
}

#[cfg(test)]
mod tests {
    use super::*;

    fn counts(cycles: &[Cycle]) -> Vec<(f64, f64)> {
        let mut counts: Vec<(f64, f64)> = Vec::new();
        for cycle in cycles {
            match counts.iter_mut().find(|(range, _)| *range == cycle.range()) {
                Some(entry) => entry.1 += cycle.count,
                None => counts.push((cycle.range(), cycle.count)),
            }
        }
        counts.sort_by(|a, b| a.0.total_cmp(&b.0));
        counts
    }

    /// ASTM E1049-85, example of figure 6.
    #[test]
    fn the_example_of_the_standard_is_counted_as_there() {
        let cycles = rainflow(&[-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0]);
        let expected = [(3.0, 0.5), (4.0, 1.5), (6.0, 0.5), (8.0, 1.0), (9.0, 0.5)];
        assert_eq!(counts(&cycles), expected);
    }

    #[test]
    fn points_between_turns_and_repeated_values_change_nothing() {
        let plain = rainflow(&[0.0, 4.0, 1.0, 5.0, 0.0]);
        let busy = rainflow(&[0.0, 2.0, 4.0, 4.0, 3.0, 1.0, 1.0, 2.5, 5.0, f64::NAN, 0.0]);
        assert_eq!(plain, busy);
    }

    #[test]
    fn a_repeated_history_closes_every_cycle() {
        let period = [20.0, 80.0, 60.0, 70.0, 20.0];
        let cycles = rainflow_of_period(&period);
        assert_eq!(counts(&cycles), [(10.0, 1.0), (60.0, 1.0)]);
        // Wherever the period begins, the cycles are the same.
        let later = rainflow_of_period(&[60.0, 70.0, 20.0, 80.0]);
        assert_eq!(counts(&later), counts(&cycles));
    }

    #[test]
    fn many_repetitions_tend_to_the_cycles_of_a_period() {
        let period = [3.0, -2.0, 5.0, 0.5, 2.0, -4.0, 1.0];
        let of_period = counts(&rainflow_of_period(&period));
        let many: Vec<f64> = period.iter().copied().cycle().take(7 * 200).collect();
        for (range, count) in of_period {
            let counted = counts(&rainflow(&many));
            let found = counted.iter().find(|(r, _)| (r - range).abs() < 1e-12);
            let mean = found.map_or(0.0, |(_, n)| n / 200.0);
            assert!((mean - count).abs() < 0.02, "{range}: {mean} {count}");
        }
    }

    #[test]
    fn nothing_to_count_gives_no_cycle() {
        assert!(rainflow(&[]).is_empty());
        assert!(rainflow(&[3.0]).is_empty());
        assert!(rainflow(&[3.0, 3.0, 3.0]).is_empty());
        assert!(rainflow_of_period(&[]).is_empty());
        assert!(rainflow_of_period(&[3.0, 3.0]).is_empty());
    }
}
