//! Where a run steps: the stretches between breaks and pictures, and the lengths of its steps.

use crate::module::Cycle;

/// Times closer than this share of the period are one.
pub(super) const SAME_TIME: f64 = 1e-12;

/// Lengths of the steps of every stretch between breaks, s.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Plan {
    /// One list a stretch, in the order of the run.
    pub stretches: Vec<Vec<f64>>,
}

impl Plan {
    /// Every step cut in two.
    #[must_use]
    pub fn halved(&self) -> Plan {
        let halves = |steps: &Vec<f64>| steps.iter().flat_map(|h| [0.5 * h, 0.5 * h]).collect();
        Plan { stretches: self.stretches.iter().map(halves).collect() }
    }

    /// Number of steps.
    pub fn len(&self) -> usize {
        self.stretches.iter().map(Vec::len).sum()
    }

    /// Whether there is no step.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

/// A stretch of straight lines within a period.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stretch {
    pub from_s: f64,
    pub to_s: f64,
    /// Between two breaks: tells the piece of the profile.
    pub near_s: f64,
    /// Whether it starts at a break of the profile rather than at a picture.
    pub at_break: bool,
    pub picture: bool,
}

/// Stretches of one period that starts at `offset_s` of the run.
pub(super) fn stretches(cycle: &Cycle, offset_s: f64, snapshots_s: &[f64]) -> Vec<Stretch> {
    let same = SAME_TIME * cycle.period_s;
    let mut all = Vec::new();
    for pair in cycle.breaks_s().windows(2) {
        let near_s = 0.5 * (pair[0] + pair[1]);
        let mut from_s = pair[0];
        for cut in pictures(snapshots_s, offset_s, same, [pair[0], pair[1]]) {
            let to_s = if cut >= pair[1] - same { pair[1] } else { cut };
            let at_break = from_s == pair[0];
            all.push(Stretch { from_s, to_s, near_s, at_break, picture: true });
            from_s = to_s;
        }
        if from_s < pair[1] {
            let at_break = from_s == pair[0];
            all.push(Stretch { from_s, to_s: pair[1], near_s, at_break, picture: false });
        }
    }
    all
}

/// When pictures are taken after the first of two times up to the other, s within the period that
/// starts at `offset_s`; times that are less than `same` apart are one.
fn pictures(snapshots_s: &[f64], offset_s: f64, same: f64, [from_s, to_s]: [f64; 2]) -> Vec<f64> {
    let mut all: Vec<f64> = snapshots_s
        .iter()
        .map(|at| at - offset_s)
        .filter(|at| *at > from_s + same && *at <= to_s + same)
        .collect();
    all.sort_by(f64::total_cmp);
    all.dedup_by(|b, a| *b - *a <= same);
    all
}

/// Ends of the stretches that pictures cut out of each stretch of the profile, s within the
/// period of `repeat`.
fn cuts(cycle: &Cycle, repeat: usize, from_s: f64, to_s: f64) -> Vec<f64> {
    let same = SAME_TIME * cycle.period_s;
    let offset_s = repeat as f64 * cycle.period_s;
    let mut cuts = pictures(&cycle.snapshots_s, offset_s, same, [from_s, to_s]);
    // One at the end cuts nothing off.
    cuts.retain(|at| *at < to_s - same);
    cuts
}

/// The steps of one period for all repeats, cut where pictures are taken.
pub(super) fn repeated(cycle: &Cycle, period: &Plan) -> Plan {
    let breaks = cycle.breaks_s();
    let mut stretches = Vec::new();
    for repeat in 0..cycle.repeats {
        for (pair, lengths) in breaks.windows(2).zip(&period.stretches) {
            let mut cuts = cuts(cycle, repeat, pair[0], pair[1]).into_iter().peekable();
            let mut stretch = Vec::new();
            let mut at_s = pair[0];
            for &length in lengths {
                let mut left = length;
                while let Some(&cut) = cuts.peek() {
                    if cut > at_s + left * (1.0 - 1e-9) {
                        break;
                    }
                    if cut > at_s {
                        stretch.push(cut - at_s);
                        left -= cut - at_s;
                        at_s = cut;
                    }
                    stretches.push(std::mem::take(&mut stretch));
                    cuts.next();
                }
                stretch.push(left);
                at_s += left;
            }
            stretches.push(stretch);
        }
    }
    Plan { stretches }
}

/// The steps of the first period of a plan, without the cuts for pictures.
pub(super) fn one_period(cycle: &Cycle, plan: &Plan) -> Plan {
    let breaks = cycle.breaks_s();
    let mut lists = plan.stretches.iter();
    let stretches = breaks
        .windows(2)
        .map(|pair| {
            let pieces = 1 + cuts(cycle, 0, pair[0], pair[1]).len();
            lists.by_ref().take(pieces).flatten().copied().collect()
        })
        .collect();
    Plan { stretches }
}
