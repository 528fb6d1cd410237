//! Runs over time against closed forms, and against what any run must keep.

use std::f64::consts::PI;
use std::sync::Arc;

use super::conditions::System;
use super::ladder::Ladder;
use super::march::{Route, Run, Steps, march};
use super::*;
use crate::library::{Material, TemperatureLaw};
use crate::mesh::{Mesh, PlaneGrid, Slicing};
use crate::module::{
    BoardSide, Coolant, Cycle, CycleStart, Edge, Face, Heater, Layer, MeshControl, Module,
    PrescribedHtc, PrescribedSpray, Rect, Shape, Signal, Spray,
};
use crate::results::HeatBalance;
use crate::steady::{SteadyOptions, solve_on_mesh};
use crate::study::testing;

const INLET_K: f64 = 300.0;
const CONDUCTIVITY: f64 = 20.0;
const DENSITY: f64 = 4000.0;
const SPECIFIC_HEAT: f64 = 500.0;
const DIFFUSIVITY: f64 = CONDUCTIVITY / (DENSITY * SPECIFIC_HEAT);

/// A plate of one material with heaters on the given face, sprayed from above.
fn plate(size_m: [f64; 2], thickness_m: f64, htc: f64, face: Face, rects: &[Rect]) -> Module {
    let material = Arc::new(Material {
        name: "plate".to_owned(),
        conductivity_W_mK: [CONDUCTIVITY; 3],
        law: TemperatureLaw::Constant,
        density_kg_m3: Some(DENSITY),
        specific_heat_J_kgK: Some(SPECIFIC_HEAT),
        source: "stated by the test".to_owned(),
    });
    Module {
        title: "test".to_owned(),
        size_m,
        layers: vec![Layer { name: "plate".to_owned(), material, thickness_m, slices: None }],
        die: Vec::new(),
        heaters: rects
            .iter()
            .enumerate()
            .map(|(k, rect)| Heater {
                name: format!("H{k}"),
                layer: 0,
                face,
                rect: *rect,
                power_W: 0.0,
                limit_K: None,
            })
            .collect(),
        coolant: Coolant { fluid: None, inlet_K: INLET_K, pressure_Pa: 101_325.0 },
        spray: Spray::Prescribed(PrescribedSpray {
            base: PrescribedHtc::Uniform(htc),
            patches: Vec::new(),
        }),
        board: BoardSide {
            temperature_K: INLET_K,
            htc_W_m2K: 0.0,
            contacts: None,
            backing_plate: None,
        },
        edge: Edge { htc_W_m2K: 0.0, temperature_K: INLET_K },
        mesh: MeshControl { accuracy_K: 0.1, cell_m: None, max_cells: 400_000 },
    }
}

fn whole(size_m: [f64; 2]) -> Rect {
    Rect { x0_m: 0.0, y0_m: 0.0, x1_m: size_m[0], y1_m: size_m[1] }
}

/// A profile of constant values; sources have no power unless told otherwise.
fn constant(module: &Module, period_s: f64, start: CycleStart) -> Cycle {
    let sources = module.die.iter().map(|d| d.power_W);
    let powers = sources.chain(module.heaters.iter().map(|h| h.power_W));
    Cycle {
        period_s,
        repeats: 1,
        start,
        time_accuracy_K: 0.02,
        power_W: powers.map(|p| Signal::constant(p, period_s)).collect(),
        flow_factor: Signal::constant(1.0, period_s),
        htc_factor: Signal::constant(1.0, period_s),
        inlet_K: Signal::constant(module.coolant.inlet_K, period_s),
        snapshots_s: Vec::new(),
        dwell_above_K: None,
        ramp_window_s: 0.01 * period_s,
        coarsening: 1,
        step_response: Vec::new(),
    }
}

fn even(size_m: [f64; 2], cells: [usize; 2], slices: usize, module: &Module) -> Mesh {
    let lines = |k: usize| -> Arc<[f64]> {
        (0..=cells[k]).map(|i| size_m[k] * i as f64 / cells[k] as f64).collect()
    };
    let plane = PlaneGrid { x_lines_m: lines(0), y_lines_m: lines(1) };
    Mesh::new(module, plane, &Slicing { layers: vec![slices], die: Vec::new() })
}

fn run_on(module: &Module, cycle: &Cycle, mesh: &Mesh) -> Result<TransientResult, TransientError> {
    let request =
        Request { module, cycle, steady_mesh: mesh, steady_max_K: None, sensors: &[], from: None };
    run(&request, TransientOptions::default(), &mut |_, _| ())
}

/// Roots of `z tan z = Bi`, by bisection between the poles.
fn roots(biot: f64, count: usize) -> Vec<f64> {
    (0..count)
        .map(|n| {
            let (mut low, mut high) = (n as f64 * PI, (n as f64 + 0.5) * PI - 1e-12);
            for _ in 0..200 {
                let middle = 0.5 * (low + high);
                if middle * middle.tan() < biot { low = middle } else { high = middle }
            }
            0.5 * (low + high)
        })
        .collect()
}

/// Plane wall, suddenly cooled: F. P. Incropera, D. P. DeWitt, Fundamentals of Heat and Mass
/// Transfer, section 5.5 and table 5.1 (from memory): at Bi = 1 the first root is 0.8603 and its
/// coefficient 1.1191; the one-term solution holds for Fo > 0.2.
#[test]
fn a_plane_wall_cools_as_the_series_and_the_handbooks_table_say() {
    let (size, thickness) = ([8e-3, 6e-3], 4e-3);
    let htc = CONDUCTIVITY / thickness;
    let module = plate(size, thickness, htc, Face::Bottom, &[whole(size)]);
    let start_K = 400.0;
    let unit_s = thickness * thickness / DIFFUSIVITY;
    let mut cycle = constant(&module, 2.0 * unit_s, CycleStart::Uniform(start_K));
    let fouriers = [0.05, 0.2, 0.5, 1.0, 2.0];
    cycle.snapshots_s = fouriers.iter().map(|fo| fo * unit_s).collect();
    let mesh = even(size, [3, 2], 64, &module);
    let result = run_on(&module, &cycle, &mesh).unwrap();
    let zeta = roots(1.0, 40);
    assert!((zeta[0] - 0.8603).abs() < 5e-5);
    for fo in fouriers {
        let record =
            result.run.records.iter().find(|r| (r.time_s - fo * unit_s).abs() < 1e-9 * unit_s);
        let theta = (record.unwrap().max_K[0] - INLET_K) / (start_K - INLET_K);
        let series: f64 = zeta
            .iter()
            .map(|z| 4.0 * z.sin() / (2.0 * z + (2.0 * z).sin()) * (-z * z * fo).exp())
            .sum();
        let allowed = (cycle.time_accuracy_K + result.space_error_K[0]) / (start_K - INLET_K);
        assert!((theta - series).abs() < allowed, "Fo {fo}: {theta} {series} {allowed}");
        assert!(allowed < 1e-3, "{allowed}");
        // One term is within two percent from Fo = 0.2 on, and soon as good as its digits.
        let table = 1.1191 * (-0.8603f64.powi(2) * fo).exp();
        let one_term = if fo < 0.2 {
            continue;
        } else if fo < 0.4 {
            0.02
        } else {
            2e-3
        };
        assert!((theta - table).abs() < allowed + one_term, "Fo {fo}: {theta} {table}");
    }
}

/// Semi-infinite solid under a flux from time 0, the same section 5.7 (from memory):
/// `T - T0 = 2 q (a t / pi)^(1/2) / k` on the surface.
#[test]
fn a_thick_body_warms_with_the_square_root_of_time() {
    let (size, thickness) = ([4e-3, 4e-3], 20e-3);
    let mut module = plate(size, thickness, 0.0, Face::Top, &[whole(size)]);
    let flux = 1e5;
    module.heaters[0].power_W = flux * size[0] * size[1];
    let cycle = constant(&module, 2.0, CycleStart::Uniform(INLET_K));
    let mesh = even(size, [2, 2], 200, &module);
    let result = run_on(&module, &cycle, &mesh).unwrap();
    let mut checked = 0;
    for record in result.run.records.iter().filter(|r| r.time_s > 0.02) {
        let exact = 2.0 * flux * (DIFFUSIVITY * record.time_s / PI).sqrt() / CONDUCTIVITY;
        let rise = record.max_K[0] - INLET_K;
        let allowed = cycle.time_accuracy_K + result.space_error_K[0];
        assert!((rise - exact).abs() < allowed, "{}: {rise} {exact} {allowed}", record.time_s);
        checked += 1;
    }
    assert!(checked > 5 && result.space_error_K[0] < 0.2, "{checked} {:?}", result.space_error_K);
}

/// Lumped capacity: `exp(-t h / (rho c d))`, the same section 5.1.
#[test]
fn a_thin_plate_cools_exponentially() {
    let (size, thickness, htc) = ([8e-3, 6e-3], 0.1e-3, 20.0);
    let module = plate(size, thickness, htc, Face::Bottom, &[whole(size)]);
    let constant_s = DENSITY * SPECIFIC_HEAT * thickness / htc;
    let cycle = constant(&module, 3.0 * constant_s, CycleStart::Uniform(400.0));
    let mesh = even(size, [3, 2], 2, &module);
    let result = run_on(&module, &cycle, &mesh).unwrap();
    for record in &result.run.records {
        let exact = 100.0 * (-record.time_s / constant_s).exp();
        // Half of Bi = 1e-4 is what the lump leaves out.
        let got = record.mean_K[0] - INLET_K;
        assert!((got - exact).abs() < cycle.time_accuracy_K + 0.01, "{got} {exact}");
    }
    let audit = &result.run.audit;
    let capacity = DENSITY * SPECIFIC_HEAT * thickness * size[0] * size[1];
    let lost = capacity * 100.0 * (1.0 - (-3.0f64).exp());
    assert!((audit.to_spray_J / lost - 1.0).abs() < 1e-3);
}

/// A thin plate whose left half is heated by a square wave. Each mode cos(n pi x / L) is a lump of
/// rate `l = (h + k d (n pi / L)²) / (rho c d)`; on for `a`, off for `b`, it swings between
/// `(1 - exp(-l a)) / (1 - exp(-l (a + b)))` of its steady height and that times `exp(-l b)` (textbook
/// solution of a linear equation with a periodic source).
#[test]
fn a_half_heated_plate_swings_as_its_modes_do_and_the_periodic_state_is_found_in_few_periods() {
    let (size, thickness, htc) = ([20e-3, 4e-3], 0.5e-3, 300.0);
    let left = Rect { x1_m: 0.5 * size[0], ..whole(size) };
    let module = plate(size, thickness, htc, Face::Bottom, &[left]);
    let (on, off) = (0.4, 0.9);
    let power = 6.0;
    let mut cycle = constant(&module, on + off, CycleStart::Periodic);
    cycle.power_W = vec![Signal::through(&[0.0, on], &[power, 0.0], Shape::Steps, on + off)];
    cycle.time_accuracy_K = 0.005;
    let mesh = even(size, [160, 1], 1, &module);
    let result = run_on(&module, &cycle, &mesh).unwrap();
    // Mean over the heated half of the one sheet, half of which stands before the spray.
    let htc = 1.0 / (1.0 / htc + 0.5 * thickness / CONDUCTIVITY);
    let flux = power / (0.5 * size[0] * size[1]);
    let per_area = DENSITY * SPECIFIC_HEAT * thickness;
    let mean_at = |share: &dyn Fn(f64) -> f64| -> f64 {
        (0..400)
            .map(|n| {
                let wave = n as f64 * PI / size[0];
                let rate = (htc + CONDUCTIVITY * thickness * wave * wave) / per_area;
                // Heat in the mode, times the mode's mean over the half.
                let half = 0.5 * size[0];
                let mean = if n == 0 { 1.0 } else { (wave * half).sin() / (wave * half) };
                let heat = flux * if n == 0 { 0.5 } else { mean };
                heat / (per_area * rate) * mean * share(rate)
            })
            .sum()
    };
    let high = mean_at(&|l| (-l * on).exp_m1() / (-l * (on + off)).exp_m1());
    let low = mean_at(&|l| (-l * on).exp_m1() / (-l * (on + off)).exp_m1() * (-l * off).exp());
    let records = &result.run.records;
    let last_off = records.last().unwrap().mean_K[0] - INLET_K;
    // The face is that much hotter than the sheet's middle while heat is released on it.
    let drop = flux * 0.5 * thickness / CONDUCTIVITY;
    let at_on = records.iter().filter(|r| (r.time_s - on).abs() < 1e-9).map(|r| r.mean_K[0]);
    let highest = at_on.fold(0.0, f64::max) - INLET_K - drop;
    let allowed = result.uncertainty_K(0);
    assert!(allowed < 0.05, "{allowed}");
    assert!((last_off - low).abs() < allowed, "{last_off} {low}");
    assert!((highest - high).abs() < allowed, "{highest} {high} {drop}");
    assert!(high - low > 5.0, "{high} {low}");
    let settled = result.settled.unwrap();
    // The slowest mode has 3.3 s, two and a half periods: plain running would take 20.
    assert!(
        settled.passes <= 8 && settled.change_K < 5e-5,
        "{} {}",
        settled.passes,
        settled.change_K
    );
    assert!((records[0].mean_K[0] - drop - records.last().unwrap().mean_K[0]).abs() < 1e-3);
}

/// Runs `cycle` on the small mesh of the studies with `count` equal steps a stretch.
fn stepped(module: &Module, cycle: &Cycle, count: usize, residual: f64) -> Run {
    let mesh = testing::mesh(module);
    let options = TransientOptions { relative_residual: Some(residual) };
    let request =
        Request { module, cycle, steady_mesh: &mesh, steady_max_K: None, sensors: &[], from: None };
    equal_steps(&request, count, options).unwrap()
}

/// Boiling, conductivities that follow temperature, powers that ramp, a pump that slows down and
/// a warmer inlet.
fn eventful(module: &Module) -> Cycle {
    let mut cycle = constant(module, 3.0, CycleStart::Steady);
    for (k, power) in cycle.power_W.iter_mut().enumerate() {
        let full = power.mean();
        let factors = [0.5, 1.0 + 0.02 * k as f64, 0.2].map(|f| f * full);
        *power = Signal::through(&[0.0, 1.0, 2.0], &factors, Shape::Ramps, 3.0);
    }
    cycle.flow_factor = Signal::through(&[0.0, 1.5], &[1.0, 0.6], Shape::Ramps, 3.0);
    cycle.inlet_K = Signal::through(&[0.0, 2.5], &[298.15, 303.15], Shape::Ramps, 3.0);
    cycle
}

#[test]
fn halving_the_steps_quarters_the_error_with_boiling_and_varying_conductivity() {
    let module = testing::with_capacity(testing::with_nozzles());
    let cycle = eventful(&module);
    let ends: Vec<Vec<f64>> = [4, 8, 16, 32].map(|n| stepped(&module, &cycle, n, 1e-11).end).into();
    let changes: Vec<f64> = ends.windows(2).map(|pair| march::change(&pair[0], &pair[1])).collect();
    let orders: Vec<f64> = changes.windows(2).map(|c| (c[0] / c[1]).log2()).collect();
    assert!(changes[0] > 1e-4, "{changes:?}");
    assert!((orders[1] - 2.0).abs() < 0.15, "{changes:?} {orders:?}");
}

#[test]
fn heat_stored_is_heat_in_less_heat_out() {
    for module in [testing::prescribed(), testing::with_nozzles()] {
        let module = testing::with_capacity(module);
        let run = stepped(&module, &eventful(&module), 6, 1e-10);
        let audit = &run.audit;
        assert!(audit.imbalance_relative() < 1e-8, "{audit:?}");
        assert!(audit.in_J > 50.0 && audit.stored_J.abs() > 1.0, "{audit:?}");
        let mut broken = *audit;
        broken.to_board_J += 1e-6 * broken.in_J;
        assert!(broken.imbalance_relative() > 5e-7);
        let none: HeatBalance = HeatBalance::default();
        assert_eq!(none.imbalance_relative(), 0.0);
    }
}

#[test]
fn after_a_long_time_the_steady_state_is_reached_from_anywhere() {
    for module in [testing::prescribed(), testing::with_nozzles()] {
        let module = testing::with_capacity(module);
        let cycle = constant(&module, 4000.0, CycleStart::Uniform(340.0));
        let run = stepped(&module, &cycle, 40, 1e-12);
        let options = SteadyOptions { relative_tolerance: 1e-12, ..SteadyOptions::default() };
        let steady = solve_on_mesh(&module, testing::mesh(&module), None, &options).unwrap();
        let hottest = steady.rise_K.iter().copied().fold(0.0, f64::max);
        let apart = march::change(&run.end, &steady.rise_K);
        assert!(apart < 1e-8 * hottest, "{apart} {hottest}");
    }
}

#[test]
fn the_bytes_do_not_depend_on_the_number_of_threads() {
    let module = testing::with_capacity(testing::with_nozzles());
    let mut cycle = eventful(&module);
    cycle.time_accuracy_K = 0.5;
    cycle.start = CycleStart::Periodic;
    let mesh = testing::mesh(&module);
    let of = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| run_on(&module, &cycle, &mesh).unwrap())
    };
    let (one, two) = (of(1), of(2));
    assert_eq!(one.run.plan, two.run.plan);
    let bits = |r: &TransientResult| r.run.end.iter().map(|x| x.to_bits()).collect::<Vec<_>>();
    assert_eq!(bits(&one), bits(&two));
    assert_eq!(one.time_error_K, two.time_error_K);
}

#[test]
fn steps_that_are_chosen_keep_the_accuracy_asked_for() {
    let module = testing::with_capacity(testing::prescribed());
    let mut cycle = constant(&module, 4.0, CycleStart::Steady);
    for power in &mut cycle.power_W {
        let full = power.mean();
        *power = Signal::through(&[0.0, 1.0], &[0.0, 2.0 * full], Shape::Steps, 4.0);
    }
    let mesh = testing::mesh(&module);
    let mut ends = Vec::new();
    for accuracy_K in [0.2, 0.02] {
        cycle.time_accuracy_K = accuracy_K;
        let result = run_on(&module, &cycle, &mesh).unwrap();
        assert!(result.time_error_K.iter().all(|e| *e <= accuracy_K), "{:?}", result.time_error_K);
        ends.push(result.run.records.last().unwrap().max_K.clone());
    }
    for (rough, close) in ends[0].iter().zip(&ends[1]) {
        assert!((rough - close).abs() < 0.22, "{rough} {close}");
    }
}

#[test]
fn a_spray_that_stops_ends_the_run_where_the_surface_runs_away() {
    let module = testing::with_capacity(testing::with_nozzles());
    let mut cycle = constant(&module, 4000.0, CycleStart::Steady);
    cycle.flow_factor = Signal::through(&[0.0, 1.0], &[1.0, 0.0], Shape::Steps, 4000.0);
    cycle.power_W[0] = Signal::through(&[0.0, 1.0], &[30.0, 3000.0], Shape::Steps, 4000.0);
    cycle.time_accuracy_K = 5.0;
    let mesh = testing::mesh(&module);
    let result = run_on(&module, &cycle, &mesh).unwrap();
    let at = result.run.ran_away_s.unwrap();
    assert!(at > 1.0 && at < 100.0, "{at}");
    assert_eq!(result.run.records.last().unwrap().time_s, at);
    cycle.start = CycleStart::Periodic;
    let outcome = run_on(&module, &cycle, &mesh);
    assert!(outcome.is_err());
}

#[test]
fn step_responses_follow_a_run_and_end_at_the_resistance() {
    let module = testing::with_capacity(testing::held(testing::prescribed()));
    let mesh = testing::mesh(&module);
    let base = constant(&module, 50.0, CycleStart::Steady);
    let responses = step_responses(&module, &base, &mesh, &[0, 2, 4], &mut |_, _| ()).unwrap();
    for response in &responses {
        let source = response.source;
        assert!(response.mean_K_W.windows(2).all(|w| w[1] >= w[0] * (1.0 - 1e-9)));
        assert!(response.doubt_K_W < 2e-3 * response.final_mean_K_W, "{response:?}");
        let last = response.mean_K_W.last().unwrap();
        assert!((last / response.final_mean_K_W - 1.0).abs() < 1e-3);
        // A small step on top of the operating point, stepped in time.
        let mut cycle = base.clone();
        cycle.time_accuracy_K = 2e-6;
        let full = base.power_W[source].mean();
        let small = 0.01;
        cycle.power_W[source] =
            Signal::through(&[0.0, 1e-4], &[full, full + small], Shape::Steps, 50.0);
        let mut system = System::new(
            &module,
            &mesh,
            &cycle,
            TransientOptions { relative_residual: Some(1e-12) },
        )
        .unwrap();
        let start = system.steady(&|signal| signal.value(0.0, 0.0)).unwrap().rise_K;
        let mut ladder = Ladder::default();
        let route = Route { repeats: 1, snapshots_s: &[], steps: Steps::Chosen(2e-7) };
        let mut heard = Vec::new();
        let run =
            march(&mut system, &mut ladder, start, route, None, &mut |s| heard.push(s)).unwrap();
        assert!(heard.is_sorted_by(|a, b| a < b) && heard.last() == Some(&50.0), "{heard:?}");
        let before = run.records[0].mean_K[source];
        let mut checked = 0;
        for (k, &time_s) in response.time_s.iter().enumerate() {
            let at = 1e-4 + time_s;
            let j = run.records.partition_point(|r| r.time_s < at);
            let Some(after) = run.records.get(j) else { continue };
            if time_s < 1e-3 {
                continue;
            }
            let first = &run.records[j - 1];
            let share = (at - first.time_s) / (after.time_s - first.time_s);
            let mean = first.mean_K[source] + share * (after.mean_K[source] - first.mean_K[source]);
            let got = (mean - before) / small;
            let allowed = 3e-3 * response.final_mean_K_W;
            assert!(
                (got - response.mean_K_W[k]).abs() < allowed,
                "{source} {time_s}: {got} {}",
                response.mean_K_W[k]
            );
            checked += 1;
        }
        // All that is late enough was compared, from where the sheets resolve the rise to its end.
        let late = response.time_s.iter().filter(|time_s| **time_s >= 1e-3).count();
        let reach = response.time_s[response.time_s.len() - 1] / response.time_s[0];
        assert!(checked == late && checked > 8 && reach > 9.0, "{checked} {late} {reach}");
    }
}

#[test]
fn two_runs_one_after_the_other_are_one_run() {
    let module = testing::with_capacity(testing::with_nozzles());
    let mut cycle = eventful(&module);
    cycle.time_accuracy_K = 0.05;
    let mesh = testing::mesh(&module);
    cycle.repeats = 2;
    let whole = run_on(&module, &cycle, &mesh).unwrap();
    cycle.repeats = 1;
    let first = run_on(&module, &cycle, &mesh).unwrap();
    let state = first.saved(&module, &first.run.end);
    let go_on = |module: &Module, mesh: &Mesh| {
        let request = Request {
            module,
            cycle: &cycle,
            steady_mesh: mesh,
            steady_max_K: None,
            sensors: &[],
            from: Some(&state),
        };
        run(&request, TransientOptions::default(), &mut |_, _| ())
    };
    let second = go_on(&module, &mesh).unwrap();
    // It has begun where the first has ended.
    let given = state.rises_on(&module, &mesh, &mesh).unwrap();
    assert!(march::change(&given, &first.run.end) < 1e-10);
    let allowed = |s: usize| {
        [&whole, &first, &second].iter().map(|result| result.time_error_K[s]).sum::<f64>()
    };
    let at_end = |result: &TransientResult, s: usize| result.run.records.last().unwrap().max_K[s];
    for s in 0..cycle.power_W.len() {
        let apart = (at_end(&whole, s) - at_end(&second, s)).abs();
        assert!(apart < allowed(s) && allowed(s) < 0.16, "{s}: {apart} {}", allowed(s));
    }
    // From the steady state the second period would end elsewhere.
    let change_K = march::change(&first.run.end, &second.run.end);
    assert!(change_K > 0.3, "{change_K}");
    let thinner = coarsened(&module, &mesh, 2);
    assert!(matches!(go_on(&module, &thinner), Err(TransientError::OtherState(_))));
}

/// The residual that is tied to the accuracy in time leaves no heat unaccounted for.
#[test]
fn steps_solved_no_better_than_needed_lose_no_heat() {
    let module = testing::with_capacity(testing::with_nozzles());
    let mut cycle = eventful(&module);
    cycle.time_accuracy_K = 0.5;
    let mesh = testing::mesh(&module);
    let result = run_on(&module, &cycle, &mesh).unwrap();
    let audit = &result.run.audit;
    assert!(audit.imbalance_relative() < 1e-8, "{audit:?}");
    // And the temperatures are those of steps solved to the last digit.
    let mut system =
        System::new(&module, &mesh, &cycle, TransientOptions { relative_residual: Some(1e-11) })
            .unwrap();
    let start = system.steady(&|signal| signal.value(0.0, 0.0)).unwrap().rise_K;
    let mut ladder = Ladder::default();
    let steps = Steps::Replayed(&result.run.plan, 1);
    let route = Route { repeats: 1, snapshots_s: &[], steps };
    let exact = march(&mut system, &mut ladder, start, route, None, &mut |_| ()).unwrap();
    let apart = march::change(&exact.end, &result.run.end);
    assert!(apart < 2e-3 * cycle.time_accuracy_K, "{apart}");
}
