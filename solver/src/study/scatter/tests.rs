//! Samples of a module against what is known of it in closed form, and against a dense grid.

use statrs::distribution::{ContinuousCDF, Normal};

use super::statistics::Bounded;
use super::*;
use crate::module::Module;
use crate::steady::{SteadyOptions, solve_keeping};
use crate::study::point::{Lent, Nominal, PointOutcome};
use crate::study::points::{self, Points};
use crate::study::testing::{held, prescribed, with_nozzles};

/// A die over a whole plate with a heater under it: temperature varies through the thickness only.
const SLAB: &str = r#"
title = "slab"
[module]
size_mm = [12.0, 10.0]
[[module.layer]]
name = "plate"
material = "ceramic"
thickness_mm = 1.5
[material.ceramic]
conductivity_W_mK = 20.0
[material.chip]
conductivity_W_mK = 120.0
[material.glue]
conductivity_W_mK = 2.0
[die_type.wide]
size_mm = [12.0, 10.0]
thickness_mm = 0.7
material = "chip"
active_face = "down"
attach = { material = "glue", thickness_mm = 0.08 }
limit_C = 95.0
[[die]]
name = "D"
type = "wide"
at_mm = [6.0, 5.0]
power_W = 60.0
[[heater]]
name = "H"
on = "plate"
face = "bottom"
rect_mm = [0.0, 0.0, 12.0, 10.0]
power_W = 12.0
[coolant]
inlet_C = 25.0
[spray]
model = "prescribed"
htc_W_m2K = 9000.0
[board]
temperature_C = 40.0
htc_W_m2K = 800.0
[mesh]
cell_mm = 5.0
"#;

fn slab() -> Module {
    crate::case::read(SLAB, "slab.toml", &|_| Err("no files".to_owned())).expect("a case").module
}

/// Temperatures of die and heater of [`slab`]. Resistances in series, coolant - R1 - die - R2 -
/// heater - R3 - board (one-dimensional steady conduction as a circuit: F. P. Incropera and others,
/// Fundamentals of Heat and Mass Transfer, chapter 3).
fn closed_form(p_die: f64, p_heater: f64, inlet: f64, board: f64) -> [f64; 2] {
    let area = 12e-3 * 10e-3;
    let r1 = (1.0 / 9000.0 + 0.7e-3 / 120.0) / area;
    let r2 = (0.08e-3 / 2.0 + 1.5e-3 / 20.0) / area;
    let r3 = 1.0 / (800.0 * area);
    let [a, b, d] = [1.0 / r1 + 1.0 / r2, -1.0 / r2, 1.0 / r2 + 1.0 / r3];
    let [f, g] = [p_die + inlet / r1, p_heater + board / r3];
    let determinant = a * d - b * b;
    [(f * d - b * g) / determinant, (a * g - b * f) / determinant]
}

fn tolerance(
    quantity: Quantity,
    items: &[usize],
    distribution: Distribution,
    spread: Spread,
) -> Tolerance {
    let label = quantity.word().to_owned();
    Tolerance { label, quantity, items: items.to_vec(), common: true, distribution, spread }
}

fn outcomes(nominal: &Nominal, points: &dyn Points) -> Vec<PointOutcome> {
    let mut all: Vec<Option<PointOutcome>> = vec![None; points.count()];
    let wanted: Vec<usize> = (0..points.count()).collect();
    points::run(nominal, points, &wanted, &mut |k, outcome| {
        all[k] = Some(outcome);
        Ok::<(), ()>(())
    })
    .expect("no error");
    all.into_iter().map(|outcome| outcome.expect("every point")).collect()
}

#[track_caller]
fn holds(bounds: Bounded, truth: f64, of: &str) {
    let (low, high) = (bounds.low.expect("a bound"), bounds.high.expect("a bound"));
    assert!(low <= truth && truth <= high, "{of}: {truth} outside {low} to {high}");
}

#[test]
fn the_slab_is_the_closed_form() {
    let module = slab();
    let (result, _) =
        solve_keeping(&module, &SteadyOptions::default(), &mut |_| ()).expect("a steady state");
    for (junction, truth) in result.junctions.iter().zip(closed_form(60.0, 12.0, 298.15, 313.15)) {
        assert!((junction.max_K - truth).abs() < 1e-6, "{}: {truth}", junction.name);
        assert!((junction.mean_K - truth).abs() < 1e-6, "{}: {truth}", junction.name);
    }
}

/// A weighted sum of independent deviates has the weighted sums of their means and variances: a
/// standard deviation squared for the normal ones, w²/3 for a uniform one of half-width w, w²/6
/// for a triangular one (elementary integrals of their densities).
#[test]
fn samples_of_a_linear_module_have_its_mean_and_variance_for_thirty_seeds() {
    let module = slab();
    let tolerances = [
        tolerance(Quantity::Power, &[0], Distribution::Normal, Spread::Share(0.08)),
        tolerance(Quantity::Power, &[1], Distribution::Uniform, Spread::Share(0.25)),
        tolerance(Quantity::Inlet, &[0], Distribution::Triangular, Spread::Absolute(4.0)),
        tolerance(Quantity::BoardTemperature, &[0], Distribution::Normal, Spread::Absolute(3.0)),
    ];
    let (result, solution) =
        solve_keeping(&module, &SteadyOptions::default(), &mut |_| ()).expect("a steady state");
    let nominal = Nominal::new(&module, &result, &solution).expect("a nominal point");
    let at = |k: usize| {
        let step = |n: usize| if n == k { 1.0 } else { 0.0 };
        closed_form(60.0 + step(0), 12.0 + step(1), 298.15 + step(2), 313.15 + step(3))
    };
    let home = at(4);
    let spread = [60.0 * 0.08, 12.0 * 0.25, 4.0, 3.0];
    let variance_of_deviate = [1.0, 1.0 / 3.0, 1.0 / 6.0, 1.0];
    for seed in 1..=30 {
        let scatter = Scatter::new(&module, &tolerances, 256, seed);
        let outcomes = outcomes(&nominal, &scatter);
        for j in 0..2 {
            let told = scatter.of_junction(j, &outcomes);
            let parts: Vec<f64> = (0..4)
                .map(|k| (spread[k] * (at(k)[j] - home[j])).powi(2) * variance_of_deviate[k])
                .collect();
            let variance: f64 = parts.iter().sum();
            let [mean, of_variance] = told.moments.expect("moments");
            holds(mean, home[j], &format!("seed {seed}, junction {j}: mean"));
            holds(of_variance, variance, &format!("seed {seed}, junction {j}: variance"));
            let (shares, left) = told.shares.expect("shares");
            assert!(left < 1e-6, "a linear module leaves nothing: {left:e}");
            for (share, part) in shares.iter().zip(&parts) {
                let off = (share - part / variance).abs();
                assert!(off < 0.03, "seed {seed}, junction {j}: {shares:?}, {parts:?}");
            }
        }
    }
}

/// With normal deviates only, the distance to the limit is normal, and so the probability of
/// breaking it and every percentile are known.
#[test]
fn the_probability_of_breaking_a_limit_is_that_of_the_normal_distribution_for_thirty_seeds() {
    let mut module = slab();
    let tolerances = [
        tolerance(Quantity::Power, &[0], Distribution::Normal, Spread::Share(0.08)),
        tolerance(Quantity::Inlet, &[0], Distribution::Normal, Spread::Absolute(2.0)),
        tolerance(Quantity::Limit, &[0], Distribution::Normal, Spread::Absolute(1.5)),
    ];
    let home = closed_form(60.0, 12.0, 298.15, 313.15)[0];
    module.die[0].limit_K = Some(home + 5.0);
    let (result, solution) =
        solve_keeping(&module, &SteadyOptions::default(), &mut |_| ()).expect("a steady state");
    let nominal = Nominal::new(&module, &result, &solution).expect("a nominal point");
    let per_watt = closed_form(61.0, 12.0, 298.15, 313.15)[0] - home;
    let per_kelvin = closed_form(60.0, 12.0, 299.15, 313.15)[0] - home;
    let of_junction = (60.0 * 0.08 * per_watt).hypot(2.0 * per_kelvin);
    let normal = Normal::standard();
    let truth = normal.cdf(-5.0 / of_junction.hypot(1.5));
    assert!((0.01..0.3).contains(&truth), "{truth}");
    for seed in 1..=30 {
        let scatter = Scatter::new(&module, &tolerances, 512, seed);
        let outcomes = outcomes(&nominal, &scatter);
        let told = scatter.of_junction(0, &outcomes);
        holds(told.broken.expect("a limit"), truth, &format!("seed {seed}: probability"));
        for (bounded, p) in told.percentiles.iter().zip(junction::PERCENTILES) {
            let truth = home + of_junction * normal.inverse_cdf(p);
            holds(bounded.expect("a percentile"), truth, &format!("seed {seed}: percentile {p}"));
        }
    }
}

/// Points on a grid over the quantiles of two deviates.
struct Grid<'m> {
    module: &'m Module,
    tolerances: &'m [Tolerance; 2],
    across: usize,
}

impl Points for Grid<'_> {
    fn count(&self) -> usize {
        self.across * self.across
    }

    fn module(&self, k: usize) -> Result<Module, String> {
        let mut module = self.module.clone();
        for (tolerance, n) in self.tolerances.iter().zip([k % self.across, k / self.across]) {
            let u = (n as f64 + 0.5) / self.across as f64;
            tolerance.apply(&mut module, &[tolerance.distribution.deviate(u)]);
        }
        Ok(module)
    }
}

/// Boiling under nozzles whose flow scatters together, on a die whose power does.
#[test]
fn samples_of_a_boiling_module_agree_with_a_dense_grid() {
    let mut module = with_nozzles();
    module.die.truncate(1);
    module.heaters.clear();
    module.mesh.cell_m = Some(3e-3);
    let tolerances = [
        tolerance(Quantity::NozzleFlow, &[0, 1, 2], Distribution::Normal, Spread::Share(0.12)),
        tolerance(Quantity::Power, &[0], Distribution::Lognormal, Spread::Share(0.15)),
    ];
    let (result, solution) =
        solve_keeping(&module, &SteadyOptions::default(), &mut |_| {}).expect("a steady state");
    // About one sample in six is hotter.
    module.die[0].limit_K = Some(result.junctions[0].max_K + 4.0);
    let nominal = Nominal::new(&module, &result, &solution).expect("a nominal point");
    let grid = Grid { module: &module, tolerances: &tolerances, across: 20 };
    let dense: Vec<_> = outcomes(&nominal, &grid)
        .iter()
        .map(|outcome| outcome.as_ref().expect("a steady state").junctions[0])
        .collect();
    let n = dense.len() as f64;
    let mean = dense.iter().map(|j| j.max_K).sum::<f64>() / n;
    let variance = dense.iter().map(|j| (j.max_K - mean).powi(2)).sum::<f64>() / n;
    let limit_K = module.die[0].limit_K.expect("a limit");
    let broken = dense
        .iter()
        .filter(|j| j.max_K > limit_K || j.chf_margin.is_some_and(|margin| margin < 1.0))
        .count() as f64
        / n;
    assert!((0.05..0.95).contains(&broken), "{broken}");
    let scatter = Scatter::new(&module, &tolerances, 256, 5);
    let told = scatter.of_junction(0, &outcomes(&nominal, &scatter));
    let [of_mean, of_variance] = told.moments.expect("moments");
    holds(of_mean, mean, "mean");
    holds(of_variance, variance, "variance");
    holds(told.broken.expect("a limit"), broken, "probability");
    // Evenly spread samples are far better than their bounds, which are for independent ones.
    assert!((of_mean.value - mean).abs() < 0.03 * variance.sqrt(), "{of_mean:?}, {mean}");
    let (shares, left) = told.shares.expect("shares");
    assert!(left > 1e-4 && left < 0.1, "the boiling curve bends: {left:e}");
    assert!((shares.iter().sum::<f64>() + left - 1.0).abs() < 1e-12);
}

/// Powers and inlet of a linear module: the guess is the superposition, the solve has next to
/// nothing left to do and ends where it does without a guess.
#[test]
fn guesses_of_a_linear_module_are_its_superposition() {
    let mut module = held(prescribed());
    module.mesh.cell_m = Some(1.5e-3);
    let sources: Vec<usize> = (0..module.die.len() + module.heaters.len()).collect();
    let mut powers = tolerance(Quantity::Power, &sources, Distribution::Normal, Spread::Share(0.1));
    powers.common = false;
    let tolerances =
        [powers, tolerance(Quantity::Inlet, &[0], Distribution::Uniform, Spread::Absolute(4.0))];
    let (result, solution) =
        solve_keeping(&module, &SteadyOptions::default(), &mut |_| {}).expect("a steady state");
    let nominal = Nominal::new(&module, &result, &solution).expect("a nominal point");
    let scatter = Scatter::new(&module, &tolerances, 40, 9);
    for (k, outcome) in outcomes(&nominal, &scatter).iter().enumerate() {
        let guessed = outcome.as_ref().expect("a steady state");
        assert!(guessed.iterations <= 2, "sample {k}: {} iterations", guessed.iterations);
        let changed = scatter.module(k).expect("a module");
        let plain = nominal.point(&changed, None, &mut Lent::default()).expect("a steady state");
        assert!(plain.iterations > 4);
        for (a, b) in guessed.junctions.iter().zip(&plain.junctions) {
            assert!((a.max_K - b.max_K).abs() < 1e-5, "sample {k}: {} {}", a.max_K, b.max_K);
        }
    }
}
