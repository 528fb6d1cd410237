//! Fits of modules whose true corrections are known.

use super::judgement::judge;
use super::least_squares::{Forward, Problem, minimise};
use super::model::SensorModel;
use super::*;
use crate::module::{Correction, Face, Module, Sensor, SensorError, SensorPlace};
use crate::results::SensorReading;
use crate::steady::SteadyOptions;
use crate::study::testing::{prescribed, solved, tight, with_nozzles};

/// Two sensors a die, and some on the layers.
fn sensors(module: &Module) -> Vec<Sensor> {
    let sensor = |name: String, place: SensorPlace, at_m: [f64; 2]| Sensor {
        name,
        place,
        at_m,
        error: SensorError::Stated(0.3),
        placement_m: 0.0,
    };
    let mut all = Vec::new();
    for (d, die) in module.die.iter().enumerate() {
        let [x, y] = die.rect.centre_m();
        let aside = [x + 0.3 * die.rect.width_m(), y - 0.2 * die.rect.height_m()];
        all.push(sensor(format!("J{d}"), SensorPlace::Junction { die: d }, aside));
        all.push(sensor(format!("B{d}"), SensorPlace::Back { die: d }, [x, y]));
    }
    let last = module.layers.len() - 1;
    for (k, share) in [0.1, 0.35, 0.6, 0.9].into_iter().enumerate() {
        let at_m = [share * module.size_m[0], (1.0 - share) * module.size_m[1]];
        let top = SensorPlace::Layer { layer: last, face: Face::Top };
        let bottom = SensorPlace::Layer { layer: 0, face: Face::Bottom };
        let between = SensorPlace::Layer { layer: 0, face: Face::Top };
        all.push(sensor(format!("T{k}"), top, at_m));
        all.push(sensor(format!("U{k}"), bottom, at_m));
        all.push(sensor(format!("M{k}"), between, at_m));
    }
    all
}

fn model<'a>(
    module: &'a Module,
    parameters: &[FitParameter],
    options: &'a SteadyOptions,
    progress: &'a mut dyn FnMut(usize),
) -> SensorModel<'a> {
    let solution = solved(module);
    SensorModel {
        module,
        sensors: sensors(module),
        mesh: solution.mesh,
        parameters: parameters.to_vec(),
        options,
        last: None,
        start: solution.rise_K,
        solves: 0,
        progress,
    }
}

#[test]
fn derivatives_are_those_of_full_solves() {
    let options = tight();
    // Where a cell nears critical heat flux, which no correction moves, its flux is no longer in
    // proportion to the factor; the derivative takes it to be.
    for (module, within) in [(prescribed(), 2e-5), (with_nozzles(), 1e-3)] {
        let mut silent = |_| ();
        let mut model = model(&module, &FitParameter::ALL, &options, &mut silent);
        let at = [0.05, -0.1, 0.2, 0.3];
        let derivatives = model.derivatives(&at).expect("derivatives");
        for k in 0..at.len() {
            let step = 1e-3;
            let mut shifted = |by: f64| {
                let mut p = at;
                p[k] += by;
                model.readings(&p).expect("readings")
            };
            let [up, down, up2, down2] = [step, -step, 2.0 * step, -2.0 * step].map(&mut shifted);
            let scale = derivatives.iter().map(|row| row[k].abs()).fold(0.0, f64::max);
            for i in 0..up.len() {
                // Fourth order: the curves of nozzles bend.
                let slope = (8.0 * (up[i] - down[i]) - (up2[i] - down2[i])) / (12.0 * step);
                let error = (derivatives[i][k] - slope).abs();
                assert!(
                    error < within * scale,
                    "{} {}: {} {slope}",
                    model.sensors[i].name,
                    FitParameter::ALL[k].word(),
                    derivatives[i][k]
                );
            }
        }
    }
}

/// Uniform numbers of a fixed sequence (Steele, Lea and Flood 2014, SplitMix64), and normal ones
/// from them (Box and Muller 1958).
struct Draws(u64);

impl Draws {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        let (radius, turn) = ((1.0 - self.uniform()).ln(), self.uniform());
        (-2.0 * radius).sqrt() * (std::f64::consts::TAU * turn).cos()
    }
}

/// The readings of a module near a point, by their derivatives there.
struct Tangent {
    at: Vec<f64>,
    readings: Vec<f64>,
    derivatives: Vec<Vec<f64>>,
}

impl Forward for Tangent {
    type Error = ();

    fn readings(&mut self, p: &[f64]) -> Result<Vec<f64>, ()> {
        let moved: Vec<f64> = p.iter().zip(&self.at).map(|(p, at)| p - at).collect();
        let change = |row: &Vec<f64>| row.iter().zip(&moved).map(|(d, m)| d * m).sum::<f64>();
        Ok(self.readings.iter().zip(&self.derivatives).map(|(r, row)| r + change(row)).collect())
    }

    fn derivatives(&mut self, _: &[f64]) -> Result<Vec<Vec<f64>>, ()> {
        Ok(self.derivatives.clone())
    }
}

#[test]
fn intervals_cover_the_truth_as_often_as_they_say() {
    let module = prescribed();
    let options = SteadyOptions::default();
    let mut silent = |_| ();
    let mut model = model(&module, &FitParameter::ALL, &options, &mut silent);
    let truth = [0.12, -0.25, 0.3, 0.4];
    let mut tangent = Tangent {
        at: truth.to_vec(),
        readings: model.readings(&truth).expect("readings"),
        derivatives: model.derivatives(&truth).expect("derivatives"),
    };
    let n = tangent.readings.len();
    let sigma = 0.2;
    let mut draws = Draws(20_261_125);
    let mut covered = [0usize; 4];
    let mut stated = [0usize; 4];
    let mut explained = 0;
    const DRAWS: usize = 200;
    for _ in 0..DRAWS {
        let problem = Problem {
            measured: tangent.readings.iter().map(|r| r + sigma * draws.normal()).collect(),
            sigma: vec![sigma; n],
            counts: vec![true; n],
            start: vec![0.0; 4],
            low: vec![-50.0; 4],
            high: vec![50.0; 4],
        };
        let minimum = minimise(&mut tangent, &problem).expect("a minimum");
        let judgement = judge(&problem, &minimum, 0.95);
        explained += usize::from(judgement.probability.is_some_and(|p| p > 0.05));
        // The intervals as they are told, and the bare ones: those of one draw in twenty are widened
        // by its own chi-square.
        for (k, truth) in truth.iter().enumerate() {
            let [low, high] = judgement.estimates[k].interval;
            stated[k] += usize::from((low..=high).contains(truth));
            let half = 1.959964 * judgement.covariance[k][k].sqrt();
            covered[k] += usize::from((judgement.estimates[k].value - truth).abs() <= half);
        }
    }
    for (k, covered) in covered.into_iter().zip(stated).enumerate() {
        for count in [covered.0, covered.1] {
            let share = count as f64 / DRAWS as f64;
            assert!((0.92..=0.98).contains(&share), "{}: {share}", FitParameter::ALL[k].word());
        }
    }
    let share = explained as f64 / DRAWS as f64;
    assert!((0.92..=0.98).contains(&share), "chi-square: {share}");
}

/// Readings of `module` as a correction would make them.
fn readings_of(module: &Module, correction: &Correction) -> Vec<f64> {
    let corrected = correction.apply(module);
    let options = tight();
    let mut silent = |_| ();
    let mut model = model(&corrected, &[FitParameter::SprayCoefficient], &options, &mut silent);
    model.readings(&[0.0]).expect("readings")
}

fn predictions(n: usize) -> Vec<SensorReading> {
    (0..n)
        .map(|_| SensorReading {
            temperature_K: 330.0,
            uncertainty_K: 0.01,
            limit_of_error_K: 0.3,
            placement_K: 0.0,
            limit_applies: true,
        })
        .collect()
}

fn options(parameters: &[FitParameter]) -> FitOptions {
    FitOptions {
        parameters: parameters.iter().map(|p| (*p, p.usual_bounds())).collect(),
        confidence: 0.95,
        input_relative: 0.1,
        leave_out: true,
        steady: SteadyOptions::default(),
    }
}

fn fitted(module: &Module, measured: &[f64], parameters: &[FitParameter]) -> Fit {
    let sensors = sensors(module);
    let readings: Vec<Measured> = measured
        .iter()
        .enumerate()
        .map(|(sensor, &reading_K)| Measured { sensor, reading_K, limit_of_error_K: None })
        .collect();
    let predicted = predictions(sensors.len());
    let options = options(parameters);
    fit(module, &sensors, &solved(module), &predicted, &readings, &options, &mut |_| ())
        .expect("a fit")
}

#[test]
fn corrections_are_recovered_from_exact_readings() {
    let truth = Correction {
        spray_coefficient: 1.15,
        attach_conductivity: 0.8,
        board_coefficient: 1.4,
        inlet_offset_K: 0.6,
    };
    for module in [prescribed(), with_nozzles()] {
        let fit = fitted(&module, &readings_of(&module, &truth), &FitParameter::ALL);
        assert!(fit.converged && fit.judgement.explains(), "{:?}", fit.judgement);
        let found = fit.correction;
        assert!((found.spray_coefficient / 1.15 - 1.0).abs() < 1e-4, "{found:?}");
        assert!((found.attach_conductivity / 0.8 - 1.0).abs() < 1e-3, "{found:?}");
        assert!((found.board_coefficient / 1.4 - 1.0).abs() < 1e-2, "{found:?}");
        assert!((found.inlet_offset_K - 0.6).abs() < 1e-2, "{found:?}");
        assert!(fit.sensors.iter().all(|sensor| !sensor.disagrees));
    }
}

/// Whole fits of the module itself, readings that disagree left out as the program leaves them out:
/// `cargo test -p sprayside_solver --lib -- --ignored two_hundred_whole_fits --nocapture`.
/// `intervals_cover_the_truth_as_often_as_they_say` does as many draws on the module's derivatives.
#[test]
#[ignore = "two hundred fits, each of several solves"]
#[allow(clippy::print_stdout, reason = "a long run tells its figures")]
fn two_hundred_whole_fits_cover_the_truth_as_often_as_they_say() {
    let module = prescribed();
    let truth = Correction {
        spray_coefficient: 1.15,
        attach_conductivity: 0.8,
        board_coefficient: 1.4,
        inlet_offset_K: 0.6,
    };
    let values = [1.15, 0.8, 1.4, 0.6];
    let exact = readings_of(&module, &truth);
    let nominal = solved(&module);
    let sensors = sensors(&module);
    let predicted = predictions(sensors.len());
    let options = options(&FitParameter::ALL);
    let mut draws = Draws(20_261_126);
    let mut covered = [0usize; 4];
    let mut left_out = 0;
    const DRAWS: usize = 200;
    for _ in 0..DRAWS {
        let mut measured = |(sensor, reading): (usize, &f64)| {
            let sigma = predicted[sensor].limit_of_error_K / 3f64.sqrt();
            let reading_K = reading + sigma * draws.normal();
            Measured { sensor, reading_K, limit_of_error_K: None }
        };
        let readings: Vec<Measured> = exact.iter().enumerate().map(&mut measured).collect();
        let fit = fit(&module, &sensors, &nominal, &predicted, &readings, &options, &mut |_| ())
            .expect("a fit");
        left_out += fit.sensors.iter().filter(|sensor| sensor.disagrees).count();
        for (k, value) in values.iter().enumerate() {
            let [low, high] = fit.value_of(k).1;
            covered[k] += usize::from((low..=high).contains(value));
        }
    }
    let shares = covered.map(|count| count as f64 / DRAWS as f64);
    println!("{:?}: {shares:?}, readings left out: {left_out}", FitParameter::ALL);
    assert!(shares.iter().all(|share| (0.92..=0.98).contains(share)), "{shares:?}");
    assert!(left_out < DRAWS * exact.len() / 100, "{left_out}");
}

#[test]
fn a_detached_sensor_is_named_and_harms_nothing() {
    let module = prescribed();
    let truth = Correction { spray_coefficient: 0.85, ..Correction::default() };
    let mut draws = Draws(7_011);
    let mut measured = readings_of(&module, &truth);
    measured.iter_mut().for_each(|reading| *reading += 0.15 * draws.normal());
    // Cooled by the spray: reads seven kelvin low.
    measured[3] -= 7.0;
    let parameters = [FitParameter::SprayCoefficient, FitParameter::InletOffset];
    let fit = fitted(&module, &measured, &parameters);
    let named: Vec<usize> = (0..fit.sensors.len()).filter(|&i| fit.sensors[i].disagrees).collect();
    assert_eq!(named, [3]);
    assert!(fit.judgement.explains(), "{:?}", fit.judgement);
    let (value, [low, high]) = fit.value_of(0);
    assert!(low < 0.85 && 0.85 < high, "{low} {value} {high}");
    assert!(fit.sensors[3].normalised.is_some_and(|w| w < -5.0));
}

#[test]
fn bounds_hold_and_say_so() {
    let module = prescribed();
    let truth = Correction { spray_coefficient: 0.5, ..Correction::default() };
    let measured = readings_of(&module, &truth);
    let sensors = sensors(&module);
    let readings: Vec<Measured> = measured
        .iter()
        .enumerate()
        .map(|(sensor, &reading_K)| Measured { sensor, reading_K, limit_of_error_K: None })
        .collect();
    let predicted = predictions(sensors.len());
    let mut options = options(&[FitParameter::SprayCoefficient]);
    options.parameters[0].1 = [0.8, 1.2];
    options.leave_out = false;
    let fit =
        fit(&module, &sensors, &solved(&module), &predicted, &readings, &options, &mut |_| ())
            .expect("a fit");
    assert!((fit.correction.spray_coefficient - 0.8).abs() < 1e-9);
    assert!(fit.judgement.estimates[0].held && !fit.judgement.explains());
}

#[test]
fn what_cannot_be_fitted_is_refused() {
    let mut module = prescribed();
    module.board.htc_W_m2K = 0.0;
    let sensors = sensors(&module);
    let predicted = predictions(sensors.len());
    let solution = solved(&module);
    let reading = Measured { sensor: 0, reading_K: 320.0, limit_of_error_K: None };
    let try_with = |parameters: &[FitParameter]| {
        let options = options(parameters);
        fit(&module, &sensors, &solution, &predicted, &[reading], &options, &mut |_| ())
    };
    let refused = try_with(&[FitParameter::BoardCoefficient]).expect_err("refused");
    assert!(refused.to_string().contains("the board takes no heat"));
    let two = [FitParameter::SprayCoefficient, FitParameter::InletOffset];
    let refused = try_with(&two).expect_err("refused");
    assert!(refused.to_string().contains("1 readings cannot determine 2 parameters"));
}
