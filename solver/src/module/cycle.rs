//! What changes over time: powers, coolant; and what is asked of a run over time.

/// A quantity against time within one period, in straight pieces that may jump where they meet.
#[derive(Debug, Clone, PartialEq)]
pub struct Signal {
    /// Where each piece begins, s, ascending from 0.
    from_s: Vec<f64>,
    /// Values at the two ends of each piece.
    values: Vec<[f64; 2]>,
    period_s: f64,
}

/// How a list of values is read between its times.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// Each value holds until the next time.
    Steps,
    /// Straight lines from value to value.
    Ramps,
}

impl Signal {
    /// The same value at all times.
    pub fn constant(value: f64, period_s: f64) -> Signal {
        Signal { from_s: vec![0.0], values: vec![[value; 2]], period_s }
    }

    /// Values at times (s, ascending, the first 0, all below or at the period); the last holds
    /// until the end of the period. Two ramp points at the same time make a jump.
    ///
    /// # Panics
    /// Without a value, or with as many times as there are not values.
    pub fn through(times_s: &[f64], values: &[f64], shape: Shape, period_s: f64) -> Signal {
        assert!(!values.is_empty() && times_s.len() == values.len(), "a time for each value");
        let mut signal = Signal { from_s: Vec::new(), values: Vec::new(), period_s };
        for k in 0..values.len() {
            let end_s = times_s.get(k + 1).copied().unwrap_or(period_s);
            if end_s <= times_s[k] {
                continue;
            }
            let end = match shape {
                Shape::Steps => values[k],
                Shape::Ramps => values.get(k + 1).copied().unwrap_or(values[k]),
            };
            signal.from_s.push(times_s[k]);
            signal.values.push([values[k], end]);
        }
        if signal.from_s.is_empty() {
            return Signal::constant(values[values.len() - 1], period_s);
        }
        signal
    }

    /// The signal with every value turned into another.
    #[must_use]
    pub fn map(mut self, of: impl Fn(f64) -> f64) -> Signal {
        for value in self.values.iter_mut().flatten() {
            *value = of(*value);
        }
        self
    }

    fn end_s(&self, piece: usize) -> f64 {
        self.from_s.get(piece + 1).copied().unwrap_or(self.period_s)
    }

    /// The value at `at_s`, on the piece that holds `near_s`: at a jump this tells the side.
    pub fn value(&self, near_s: f64, at_s: f64) -> f64 {
        let piece = self.from_s.partition_point(|&from| from <= near_s).max(1) - 1;
        let [start, end] = self.values[piece];
        if start == end {
            return start;
        }
        let (from, to) = (self.from_s[piece], self.end_s(piece));
        start + (end - start) * ((at_s - from) / (to - from)).clamp(0.0, 1.0)
    }

    /// Times at which it jumps or bends, s, without 0 and the period's end.
    pub fn breaks_s(&self) -> impl Iterator<Item = f64> + '_ {
        self.from_s.iter().skip(1).copied()
    }

    /// Mean over the period.
    pub fn mean(&self) -> f64 {
        let mut sum = 0.0;
        for (piece, [start, end]) in self.values.iter().enumerate() {
            sum += 0.5 * (start + end) * (self.end_s(piece) - self.from_s[piece]);
        }
        sum / self.period_s
    }

    /// Lowest and highest value.
    pub fn range(&self) -> [f64; 2] {
        let all = self.values.iter().flatten();
        let (low, high) = all
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &v| (low.min(v), high.max(v)));
        [low, high]
    }

    /// Whether it never changes.
    pub fn is_constant(&self) -> bool {
        let [low, high] = self.range();
        low == high
    }
}

/// What the module is at time 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CycleStart {
    /// In the steady state of the values at time 0.
    Steady,
    /// At one temperature throughout, K.
    Uniform(f64),
    /// In the state that comes back after every period.
    Periodic,
}

/// A run over time.
#[derive(Debug, Clone, PartialEq)]
pub struct Cycle {
    /// Length of the profile, s.
    pub period_s: f64,
    /// How many times the profile is run, one after another.
    pub repeats: usize,
    /// Where it starts.
    pub start: CycleStart,
    /// Numerical error allowed to the steps in time, K.
    pub time_accuracy_K: f64,
    /// Power of each source against time, W: die in case order, then heaters.
    pub power_W: Vec<Signal>,
    /// Factor on the flow of every nozzle.
    pub flow_factor: Signal,
    /// Factor on stated spray coefficients.
    pub htc_factor: Signal,
    /// Coolant inlet, K.
    pub inlet_K: Signal,
    /// When the surface is pictured, s from the start of the run.
    pub snapshots_s: Vec<f64>,
    /// Temperature above which time is counted, K; each source's limit where there is none.
    pub dwell_above_K: Option<f64>,
    /// Span over which the fastest rise and fall are taken, s.
    pub ramp_window_s: f64,
    /// Every how manieth line of the steady mesh is kept: 1, 2 or 4.
    pub coarsening: usize,
    /// Sources whose step response is made.
    pub step_response: Vec<usize>,
}

impl Cycle {
    /// Length of the run, s.
    pub fn duration_s(&self) -> f64 {
        self.period_s * self.repeats as f64
    }

    /// Whether anything is different at two places of the profile, each a time and another on the
    /// same piece: the two sides of a break.
    pub fn jumps(&self, before: [f64; 2], after: [f64; 2]) -> bool {
        let signals = [&self.flow_factor, &self.htc_factor, &self.inlet_K];
        self.power_W.iter().chain(signals).any(|signal| {
            let [a, b] = [before, after].map(|[near_s, at_s]| signal.value(near_s, at_s));
            // The end of a ramp is worked out, the start of the next is stated.
            (a - b).abs() > 1e-9 * a.abs().max(b.abs())
        })
    }

    /// Times within a period between which everything runs in straight lines, s, from 0 to the
    /// period's end.
    pub fn breaks_s(&self) -> Vec<f64> {
        let signals = [&self.flow_factor, &self.htc_factor, &self.inlet_K];
        let mut breaks: Vec<f64> =
            self.power_W.iter().chain(signals).flat_map(Signal::breaks_s).collect();
        breaks.extend([0.0, self.period_s]);
        breaks.sort_by(f64::total_cmp);
        // Times that differ by rounding are the same time.
        breaks.dedup_by(|b, a| *b - *a <= 1e-12 * self.period_s);
        breaks
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_jump_has_two_sides_and_the_mean_is_the_area_over_the_period() {
        let steps = Signal::through(&[0.0, 2.0, 5.0], &[1.0, 4.0, 0.0], Shape::Steps, 10.0);
        assert_eq!(steps.value(1.0, 2.0), 1.0);
        assert_eq!(steps.value(3.0, 2.0), 4.0);
        assert!((steps.mean() - 1.4).abs() < 1e-15);
        assert_eq!(steps.breaks_s().collect::<Vec<_>>(), [2.0, 5.0]);
        let ramps = Signal::through(&[0.0, 4.0, 4.0], &[0.0, 2.0, 6.0], Shape::Ramps, 8.0);
        assert_eq!(ramps.value(1.0, 3.0), 1.5);
        assert_eq!(ramps.value(2.0, 4.0), 2.0);
        assert_eq!(ramps.value(6.0, 4.0), 6.0);
        assert!((ramps.mean() - 3.5).abs() < 1e-15);
        assert_eq!(ramps.range(), [0.0, 6.0]);
    }
}
