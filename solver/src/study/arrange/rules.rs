//! What a nozzle pattern may be: bounds, and ways back inside them.

use crate::module::{ArrangeBounds, Module, Nozzle, Rect, Spray};

/// What orifices keep beyond spacing and keep-outs while a pattern is sought, m: rounding to a
/// micrometre moves each by less than 0.71 µm.
const SLACK_M: f64 = 2e-6;
/// Lengths nearer than this are the same, m.
const SAME_M: f64 = 1e-9;
/// Sweeps of pushing orifices apart before a place is given up.
const MOST_SWEEPS: usize = 600;

/// Where a nozzle stands and how much it sprays.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    /// Orifice, m.
    pub at_m: [f64; 2],
    /// Stand-off, m.
    pub standoff_m: f64,
    /// Flow over the clean flow of its type.
    pub flow_factor: f64,
}

/// The bounds of one case, nozzle by nozzle.
#[derive(Debug, Clone)]
pub(super) struct Rules {
    pub region: Rect,
    pub keep_out: Vec<Rect>,
    pub spacing_m: f64,
    pub standoff_m: Vec<[f64; 2]>,
    pub flow_factor: Vec<[f64; 2]>,
    /// Flow of each nozzle at a factor of 1, m³/s.
    pub clean_m3_s: Vec<f64>,
    /// Most flow of all together, m³/s.
    pub budget_m3_s: f64,
    /// Blocked nozzles stay where they are.
    pub fixed: Vec<bool>,
}

/// The nozzles of a correlated spray; none of a prescribed one.
pub(super) fn nozzles_of(module: &Module) -> &[Nozzle] {
    match &module.spray {
        Spray::Correlated(spray) => &spray.nozzles,
        Spray::Prescribed(_) => &[],
    }
}

/// The pattern of `module`.
pub(super) fn spots_of(module: &Module) -> Vec<Spot> {
    let spot =
        |n: &Nozzle| Spot { at_m: n.at_m, standoff_m: n.standoff_m, flow_factor: n.flow_factor };
    nozzles_of(module).iter().map(spot).collect()
}

/// `module` with another pattern.
pub(super) fn with_spots(module: &Module, spots: &[Spot]) -> Module {
    let mut other = module.clone();
    if let Spray::Correlated(spray) = &mut other.spray {
        for (nozzle, spot) in spray.nozzles.iter_mut().zip(spots) {
            nozzle.at_m = spot.at_m;
            nozzle.standoff_m = spot.standoff_m;
            nozzle.flow_factor = spot.flow_factor;
        }
    }
    other
}

fn distance_m(a: &Spot, b: &Spot) -> f64 {
    (a.at_m[0] - b.at_m[0]).hypot(a.at_m[1] - b.at_m[1])
}

impl Rules {
    pub fn new(module: &Module, bounds: &ArrangeBounds) -> Rules {
        let now = spots_of(module);
        let fixed: Vec<bool> = now.iter().map(|s| s.flow_factor == 0.0).collect();
        let clean_m3_s: Vec<f64> = nozzles_of(module).iter().map(|n| n.flow_m3_s).collect();
        let range = |k: usize, asked: Option<[f64; 2]>, now: f64| {
            asked.filter(|_| !fixed[k]).unwrap_or([now, now])
        };
        let spots = || now.iter().enumerate();
        let flow_now: f64 = now.iter().zip(&clean_m3_s).map(|(s, q)| s.flow_factor * q).sum();
        Rules {
            region: bounds.region,
            keep_out: bounds.keep_out.clone(),
            spacing_m: bounds.least_spacing_m.unwrap_or_else(|| least_spacing_m(&now)),
            standoff_m: spots().map(|(k, s)| range(k, bounds.standoff_m, s.standoff_m)).collect(),
            flow_factor: spots()
                .map(|(k, s)| range(k, bounds.flow_factor, s.flow_factor))
                .collect(),
            clean_m3_s,
            budget_m3_s: bounds.total_flow_m3_s.unwrap_or(flow_now),
            fixed,
        }
    }

    pub fn flow_m3_s(&self, spots: &[Spot]) -> f64 {
        spots.iter().zip(&self.clean_m3_s).map(|(s, q)| s.flow_factor * q).sum()
    }

    /// Every bound that `spots` breaks, in words; `names` are the nozzles'.
    pub fn broken(&self, spots: &[Spot], names: &[String]) -> Vec<String> {
        let mm = |m: f64| format!("{:.3}", m * 1e3);
        let mut broken = Vec::new();
        for (k, spot) in spots.iter().enumerate().filter(|(k, _)| !self.fixed[*k]) {
            let name = names.get(k).map_or("", String::as_str);
            let [x, y] = spot.at_m;
            let place = format!("{name} at {}; {} mm", mm(x), mm(y));
            let r = &self.region;
            let outside = x < r.x0_m - SAME_M
                || x > r.x1_m + SAME_M
                || y < r.y0_m - SAME_M
                || y > r.y1_m + SAME_M;
            if outside || !(x.is_finite() && y.is_finite()) {
                broken.push(format!("{place} is outside the region"));
            }
            if self.keep_out.iter().any(|area| depth_m(area, spot.at_m) > SAME_M) {
                broken.push(format!("{place} is inside a keep-out"));
            }
            let [low, high] = self.standoff_m[k];
            if !(low - SAME_M..=high + SAME_M).contains(&spot.standoff_m) {
                let standoff = mm(spot.standoff_m);
                broken.push(format!("{name}'s stand-off of {standoff} mm is out of its range"));
            }
            let [low, high] = self.flow_factor[k];
            if !(low - 1e-12..=high + 1e-12).contains(&spot.flow_factor) {
                broken.push(format!(
                    "{name}'s flow factor of {:.4} is out of its range",
                    spot.flow_factor
                ));
            }
            for (j, other) in spots.iter().enumerate() {
                let counts = j > k || self.fixed[j];
                let apart = distance_m(spot, other);
                if j != k && counts && apart < self.spacing_m - SAME_M {
                    let other = names.get(j).map_or("", String::as_str);
                    broken.push(format!("{name} and {other} are {} mm apart", mm(apart)));
                }
            }
        }
        let flow = self.flow_m3_s(spots);
        if flow > self.budget_m3_s * (1.0 + 1e-9) {
            broken.push(format!(
                "the nozzles take {:.4} mL/s of {:.4} mL/s",
                flow * 1e6,
                self.budget_m3_s * 1e6
            ));
        }
        broken
    }

    /// The nearest pattern found that keeps every bound (spacing and keep-outs with a little to
    /// spare); `None` where there is none to be found.
    pub fn repaired(&self, spots: &[Spot]) -> Option<Vec<Spot>> {
        let mut spots = spots.to_vec();
        for (k, spot) in spots.iter_mut().enumerate() {
            let [low, high] = self.standoff_m[k];
            spot.standoff_m = spot.standoff_m.max(low).min(high);
        }
        self.share_flow(&mut spots)?;
        for sweep in 0..MOST_SWEEPS {
            let mut moved = false;
            for k in 0..spots.len() {
                if !self.fixed[k] {
                    let free = self.freed(spots[k].at_m, sweep);
                    moved |= free != spots[k].at_m;
                    spots[k].at_m = free;
                }
            }
            moved |= self.push_apart(&mut spots);
            if !moved {
                return Some(spots);
            }
        }
        None
    }

    /// The point inside the region and outside keep-outs near `at_m`.
    fn freed(&self, at_m: [f64; 2], sweep: usize) -> [f64; 2] {
        let r = &self.region;
        let inside = |[x, y]: [f64; 2]| [x.max(r.x0_m).min(r.x1_m), y.max(r.y0_m).min(r.y1_m)];
        let at = inside(at_m);
        let Some(area) = self.keep_out.iter().find(|area| depth_m(area, at) > -0.5 * SLACK_M)
        else {
            return at;
        };
        // Ways out, nearest first; a way that leaves the region is none. After many sweeps the
        // second nearest is tried: the nearest may be hemmed in.
        let mut ways = [
            [area.x0_m - SLACK_M, at[1]],
            [area.x1_m + SLACK_M, at[1]],
            [at[0], area.y0_m - SLACK_M],
            [at[0], area.y1_m + SLACK_M],
        ]
        .into_iter()
        .filter(|way| inside(*way) == *way)
        .collect::<Vec<_>>();
        ways.sort_by(|a, b| {
            let far = |w: &[f64; 2]| (w[0] - at[0]).hypot(w[1] - at[1]);
            far(a).total_cmp(&far(b))
        });
        if ways.is_empty() {
            return at;
        }
        ways[(sweep / 40) % ways.len()]
    }

    /// Pushes apart orifices that are too near; whether any was.
    fn push_apart(&self, spots: &mut [Spot]) -> bool {
        if self.spacing_m <= 0.0 {
            return false;
        }
        let wanted = self.spacing_m + SLACK_M;
        let mut moved = false;
        for a in 0..spots.len() {
            for b in a + 1..spots.len() {
                let apart = distance_m(&spots[a], &spots[b]);
                if apart >= wanted - 0.25 * SLACK_M || (self.fixed[a] && self.fixed[b]) {
                    continue;
                }
                moved = true;
                let direction = if apart > SAME_M {
                    [0, 1].map(|i| (spots[b].at_m[i] - spots[a].at_m[i]) / apart)
                } else {
                    // Any way will do, but not the same for every pair.
                    let angle = 2.4 * (a * spots.len() + b) as f64;
                    [angle.cos(), angle.sin()]
                };
                let missing = wanted - apart;
                let (share_a, share_b) = match (self.fixed[a], self.fixed[b]) {
                    (true, _) => (0.0, 1.0),
                    (_, true) => (1.0, 0.0),
                    _ => (0.5, 0.5),
                };
                for i in 0..2 {
                    spots[a].at_m[i] -= share_a * missing * direction[i];
                    spots[b].at_m[i] += share_b * missing * direction[i];
                }
            }
        }
        moved
    }

    /// Moves flow factors into their ranges and, by the same amount for each flow, down until
    /// all together keep the budget. `None` where the lowest take more.
    fn share_flow(&self, spots: &mut [Spot]) -> Option<()> {
        let lowered = |by: f64| -> Vec<f64> {
            spots
                .iter()
                .zip(&self.flow_factor)
                .map(|(s, [low, high])| (s.flow_factor - by).max(*low).min(*high))
                .collect()
        };
        let total = |factors: &[f64]| -> f64 {
            factors.iter().zip(&self.clean_m3_s).map(|(f, q)| f * q).sum()
        };
        let allowed = self.budget_m3_s * (1.0 + 1e-10);
        let mut factors = lowered(0.0);
        if total(&factors) > allowed {
            let (mut low, mut high) = (0.0, 1.0);
            while total(&lowered(high)) > allowed {
                high *= 2.0;
                if high > 1e6 {
                    return None;
                }
            }
            for _ in 0..80 {
                let middle = 0.5 * (low + high);
                if total(&lowered(middle)) > allowed { low = middle } else { high = middle }
            }
            factors = lowered(high);
        }
        for (spot, factor) in spots.iter_mut().zip(factors) {
            spot.flow_factor = factor;
        }
        Some(())
    }

    /// The pattern as a case file states it: whole micrometres, ten-thousandths of flow; `None`
    /// where rounding would break a bound.
    pub fn rounded(&self, spots: &[Spot]) -> Option<Vec<Spot>> {
        let micrometres = |m: f64| (m * 1e6).round() / 1e6;
        // The same bits as a case read from the file: via picometres.
        let as_read = |m: f64| ((m * 1e12).round()) / 1e12;
        let rounded: Vec<Spot> = spots
            .iter()
            .enumerate()
            .map(|(k, spot)| {
                if self.fixed[k] {
                    return *spot;
                }
                let r = &self.region;
                let [x, y] = spot.at_m.map(micrometres);
                let within = |v: f64, [low, high]: [f64; 2], rounded: f64| {
                    if low == high { v } else { rounded.max(low).min(high) }
                };
                let factor = (spot.flow_factor * 1e4 + 1e-7).floor() / 1e4;
                Spot {
                    at_m: [as_read(x.max(r.x0_m).min(r.x1_m)), as_read(y.max(r.y0_m).min(r.y1_m))],
                    standoff_m: as_read(within(
                        spot.standoff_m,
                        self.standoff_m[k],
                        micrometres(spot.standoff_m),
                    )),
                    flow_factor: within(spot.flow_factor, self.flow_factor[k], factor),
                }
            })
            .collect();
        self.broken(&rounded, &[]).is_empty().then_some(rounded)
    }
}

/// How far inside a rectangle a point is, m; negative outside.
fn depth_m(area: &Rect, [x, y]: [f64; 2]) -> f64 {
    (x - area.x0_m).min(area.x1_m - x).min(y - area.y0_m).min(area.y1_m - y)
}

/// Least distance between two orifices, m; 0 for fewer than two.
fn least_spacing_m(spots: &[Spot]) -> f64 {
    let mut least = f64::INFINITY;
    for (k, a) in spots.iter().enumerate() {
        for b in &spots[k + 1..] {
            least = least.min(distance_m(a, b));
        }
    }
    if least.is_finite() { least } else { 0.0 }
}
