//! What an engineer asks of a temperature history: extremes, swing, dwell, ramps.

use super::record::Record;

/// What one source went through.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SourceOutcome {
    /// Highest temperature of the whole run, K.
    pub highest_K: f64,
    /// When, s.
    pub highest_at_s: f64,
    /// Lowest value of the hottest point in the last period, K.
    pub lowest_K: f64,
    /// Highest less lowest in the last period, K.
    pub swing_K: f64,
    /// Time spent above the threshold in the whole run, s.
    pub dwell_s: Option<f64>,
    /// Fastest rise over the window, K/s.
    pub fastest_rise_K_s: f64,
    /// Fastest fall over the window, K/s, above zero.
    pub fastest_fall_K_s: f64,
}

/// Outcomes of every source from the records of a run. `period_s` is that of the profile,
/// `thresholds_K` what dwell is counted above, `window_s` the span of ramps.
pub fn source_outcomes(
    records: &[Record],
    period_s: f64,
    thresholds_K: &[Option<f64>],
    window_s: f64,
) -> Vec<SourceOutcome> {
    let end_s = records.last().map_or(0.0, |r| r.time_s);
    let last_from_s = end_s - period_s - 1e-9 * period_s;
    thresholds_K
        .iter()
        .enumerate()
        .map(|(s, threshold)| {
            let history: Vec<(f64, f64)> = records.iter().map(|r| (r.time_s, r.max_K[s])).collect();
            let mut highest = (f64::NEG_INFINITY, 0.0);
            let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
            for &(time_s, value) in &history {
                if value > highest.0 {
                    highest = (value, time_s);
                }
                if time_s >= last_from_s {
                    (low, high) = (low.min(value), high.max(value));
                }
            }
            let (rise, fall) = fastest(&history, window_s);
            SourceOutcome {
                highest_K: highest.0,
                highest_at_s: highest.1,
                lowest_K: low,
                swing_K: high - low,
                dwell_s: threshold.map(|threshold| dwell_s(&history, threshold)),
                fastest_rise_K_s: rise,
                fastest_fall_K_s: fall,
            }
        })
        .collect()
}

/// Time above `threshold` of straight lines through (time, value), s.
pub fn dwell_s(history: &[(f64, f64)], threshold: f64) -> f64 {
    history
        .windows(2)
        .map(|w| {
            let ((t0, v0), (t1, v1)) = (w[0], w[1]);
            let (a, b) = (v0 - threshold, v1 - threshold);
            let share = match (a > 0.0, b > 0.0) {
                (true, true) => 1.0,
                (false, false) => 0.0,
                _ => a.max(b) / (a - b).abs(),
            };
            share * (t1 - t0)
        })
        .sum()
}

/// Steepest rise and fall over any span of `window` (or the whole, if that is shorter) of
/// straight lines through (time, value), per unit of time; both at least 0.
///
/// A mean slope over a window that slides over straight lines is extreme where one of its ends
/// stands on a corner, so only those are tried.
pub fn fastest(history: &[(f64, f64)], window: f64) -> (f64, f64) {
    let (Some(first), Some(last)) = (history.first(), history.last()) else { return (0.0, 0.0) };
    let window = window.min(last.0 - first.0);
    if window.is_nan() || window <= 0.0 {
        return (0.0, 0.0);
    }
    // At a jump both sides count: which of two points of the same time is meant.
    let value = |at: f64, late: bool| -> f64 {
        let k = if late {
            history.partition_point(|p| p.0 <= at)
        } else {
            history.partition_point(|p| p.0 < at)
        };
        if late && k == history.len() {
            return last.1;
        }
        if !late && k == 0 {
            return first.1;
        }
        let (a, b) = (history[k.max(1) - 1], history[k.min(history.len() - 1)]);
        if b.0 <= a.0 {
            b.1
        } else {
            a.1 + (b.1 - a.1) * ((at - a.0) / (b.0 - a.0)).clamp(0.0, 1.0)
        }
    };
    let (mut rise, mut fall) = (0.0f64, 0.0f64);
    let mut compare = |from: f64, to: f64| {
        rise = rise.max((to - from) / window);
        fall = fall.max((from - to) / window);
    };
    let slack = 1e-9 * window;
    for &(time, here) in history {
        if time + window <= last.0 + slack {
            for late in [false, true] {
                compare(here, value((time + window).min(last.0), late));
            }
        }
        if time - window >= first.0 - slack {
            for late in [false, true] {
                compare(value((time - window).max(first.0), late), here);
            }
        }
    }
    (rise, fall)
}

#[cfg(test)]
mod tests {
    use super::*;

    const TENT: [(f64, f64); 4] = [(0.0, 20.0), (2.0, 80.0), (4.0, 80.0), (10.0, 20.0)];

    #[test]
    fn dwell_is_the_time_of_the_straight_lines_above_the_threshold() {
        // From (50 - 20)/30 = 1 s to 4 + 30/10 = 7 s.
        assert!((dwell_s(&TENT, 50.0) - 6.0).abs() < 1e-12);
        assert_eq!(dwell_s(&TENT, 90.0), 0.0);
        assert!((dwell_s(&TENT, 0.0) - 10.0).abs() < 1e-12);
    }

    #[test]
    fn ramps_are_mean_slopes_over_the_window() {
        let (rise, fall) = fastest(&TENT, 1.0);
        assert!((rise - 30.0).abs() < 1e-12 && (fall - 10.0).abs() < 1e-12);
        let (rise, fall) = fastest(&TENT, 4.0);
        assert!((rise - 15.0).abs() < 1e-12 && (fall - 10.0).abs() < 1e-12);
        // A jump is a rise over the window, not an infinite one.
        let jump = [(0.0, 20.0), (5.0, 20.0), (5.0, 30.0), (10.0, 30.0)];
        let (rise, fall) = fastest(&jump, 2.0);
        assert!((rise - 5.0).abs() < 1e-12 && fall == 0.0, "{rise} {fall}");
        assert_eq!(fastest(&jump, 100.0), (1.0, 0.0));
        assert_eq!(fastest(&jump[..1], 1.0), (0.0, 0.0));
    }

    #[test]
    fn the_swing_is_that_of_the_last_period_and_the_highest_that_of_the_run() {
        let record = |time_s, max_K| Record {
            time_s,
            power_W: 0.0,
            inlet_K: 300.0,
            coolant_factor: 1.0,
            chf_margin: None,
            max_K: vec![max_K],
            mean_K: vec![max_K],
            sensor_K: Vec::new(),
        };
        let records: Vec<Record> =
            [(0.0, 400.0), (5.0, 310.0), (10.0, 350.0), (15.0, 320.0), (20.0, 351.0)]
                .map(|(t, v)| record(t, v))
                .into();
        let of = source_outcomes(&records, 10.0, &[Some(349.0)], 5.0)[0];
        assert_eq!((of.highest_K, of.highest_at_s), (400.0, 0.0));
        assert_eq!((of.lowest_K, of.swing_K), (320.0, 31.0));
        assert!(of.dwell_s.is_some_and(|d| d > 2.0 && d < 4.0));
        assert_eq!(of.fastest_fall_K_s, 18.0);
    }
}
