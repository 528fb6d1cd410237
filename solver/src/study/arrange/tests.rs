//! Gradients against differences of solves, known optima, bounds that are never broken.

use proptest::prelude::*;

use super::evaluate::{Function, PER_NOZZLE};
use super::*;
use crate::module::Rect;
use crate::study::testing::{mesh, with_nozzles};

const PARTS: &str = r#"
title = "arrange"
[material.body]
conductivity_W_mK = 120.0
[die_type.logic]
size_mm = [8.0, 8.0]
thickness_mm = 0.6
material = "body"
active_face = "down"
attach = { material = "underfilled-bumps", thickness_mm = 0.08 }
limit_C = 120.0
[coolant]
fluid = "perfluorohexane"
inlet_C = 25.0
pressure_kPa = 101.325
[spray]
model = "correlated"
[nozzle_type.wide]
cone_deg = 50.0
orifice_mm = 0.40
flow_mL_s = 1.1
pressure_drop_kPa = 200.0
[board]
temperature_C = 40.0
htc_W_m2K = 100.0
[mesh]
cell_mm = 0.5
"#;

/// A module of a size with die of 8 mm and nozzles at centres, mm.
fn case(size: [f64; 2], die: &[([f64; 2], f64)], nozzles: &[[f64; 2]]) -> Module {
    let mut text = format!("{PARTS}\n[module]\nsize_mm = [{:?}, {:?}]\n", size[0], size[1]);
    text += "[[module.layer]]\nname = \"core\"\nmaterial = \"alumina-96\"\nthickness_mm = 1.0\n";
    for (k, ([x, y], power)) in die.iter().enumerate() {
        text += &format!(
            "[[die]]\nname = \"D{k}\"\ntype = \"logic\"\nat_mm = [{x:?}, {y:?}]\npower_W = {power:?}\n"
        );
    }
    for (k, [x, y]) in nozzles.iter().enumerate() {
        text += &format!(
            "[[nozzle]]\nname = \"N{k}\"\ntype = \"wide\"\nat_mm = [{x:?}, {y:?}]\nstandoff_mm = 9.0\n"
        );
    }
    crate::case::read(&text, "arrange.toml", &|_| Err("no files".to_owned()))
        .unwrap_or_else(|found| {
            panic!("{}", found.iter().map(|f| f.to_string()).collect::<String>())
        })
        .module
}

fn bounds(module: &Module) -> ArrangeBounds {
    ArrangeBounds { least_spacing_m: Some(3e-3), ..ArrangeBounds::within(module.outline()) }
}

fn quiet() -> ArrangeOptions {
    ArrangeOptions { starts: 1, rounds: 15, trade_off_points: 0, ..ArrangeOptions::default() }
}

fn arranged(module: &Module, bounds: &ArrangeBounds, options: &ArrangeOptions) -> Arranged {
    let (result, solution) =
        solve_keeping(module, &SteadyOptions::default(), &mut |_| {}).expect("a steady state");
    arrange(module, bounds, (&result, &solution), options, &|_, _, _| {}).expect("a pattern")
}

fn hottest_K(result: &SteadyResult) -> f64 {
    result.junctions.iter().map(|j| j.max_K).fold(0.0, f64::max)
}

fn evaluator(module: &Module, mesh: crate::mesh::Mesh, sources: usize) -> Evaluator<'_> {
    Evaluator {
        module,
        mesh,
        sharpness: Sharpness { hot_1_K: 3.0, load: 200.0 },
        offsets: Offsets { hot_K: vec![0.0; sources], load: vec![1.0; sources] },
    }
}

#[test]
fn gradients_are_the_differences_of_solves() {
    let module = with_nozzles();
    let free = ArrangeBounds {
        standoff_m: Some([6e-3, 14e-3]),
        flow_factor: Some([0.5, 1.5]),
        ..ArrangeBounds::within(module.outline())
    };
    let rules = Rules::new(&module, &free);
    let n = module.die.len() + module.heaters.len();
    let evaluator = evaluator(&module, mesh(&module), n);
    let spots = spots_of(&module);
    let state = evaluator.solve(&rules, &spots, None).expect("a steady state");
    // A quarter of each die, and each die.
    let functions: Vec<Function> = [0, 1, 2]
        .into_iter()
        .flat_map(|k| [Function::Hot(5 * k), Function::Load(5 * k + 1), Function::Wetted(k)])
        .collect();
    let gradients = evaluator.gradients(&rules, &state, &functions).expect("gradients");
    let value = |state: &State, function: Function| match function {
        Function::Hot(part) => state.hot_parts_K[part],
        Function::Load(part) => state.load_parts[part],
        Function::Wetted(k) => state.wetted[k],
    };
    let mut compared = 0;
    for nozzle in 0..spots.len() {
        for which in 0..PER_NOZZLE {
            let step = if which == 3 { 2e-3 } else { 2e-6 };
            let at = |by: f64| {
                let mut moved = spots.clone();
                match which {
                    2 => moved[nozzle].standoff_m += by,
                    3 => moved[nozzle].flow_factor += by,
                    axis => moved[nozzle].at_m[axis] += by,
                }
                evaluator.solve(&rules, &moved, Some(&state)).expect("a steady state")
            };
            let (up, down) = (at(step), at(-step));
            for (function, gradient) in functions.iter().zip(&gradients) {
                let difference = (value(&up, *function) - value(&down, *function)) / (2.0 * step);
                let ours = gradient[nozzle * PER_NOZZLE + which];
                // A kelvin, a load of a thirtieth, a share of a hundredth a millimetre.
                let scale = match function {
                    Function::Hot(_) => 1e3,
                    Function::Load(_) => 30.0,
                    Function::Wetted(_) => 10.0,
                } * if which == 3 { 1e-3 } else { 1.0 };
                assert!(
                    (difference - ours).abs() < 0.01 * difference.abs() + 0.02 * scale,
                    "{function:?} nozzle {nozzle} variable {which}: {ours} against {difference}"
                );
                compared += usize::from(difference.abs() > 0.1 * scale);
            }
        }
    }
    assert!(compared > 20, "only {compared} are not small");
}

#[test]
fn one_nozzle_ends_over_the_middle_of_one_die() {
    let module = case([16.0, 16.0], &[([8.0, 8.0], 25.0)], &[[6.2, 9.1]]);
    let found = arranged(&module, &bounds(&module), &quiet());
    assert!(found.improved);
    let at = spots_of(&found.module)[0].at_m;
    assert!((at[0] - 8e-3).abs() < 0.1e-3 && (at[1] - 8e-3).abs() < 0.1e-3, "{at:?}");
}

#[test]
fn two_nozzles_over_two_equal_die_end_as_mirror_images() {
    let die = [([7.0, 8.0], 25.0), ([21.0, 8.0], 25.0)];
    let module = case([28.0, 16.0], &die, &[[8.4, 6.9], [20.1, 8.8]]);
    let found = arranged(&module, &bounds(&module), &quiet());
    let spots = spots_of(&found.module);
    let [a, b] = [spots[0].at_m, spots[1].at_m];
    assert!((a[0] + b[0] - 28e-3).abs() < 0.15e-3, "{a:?} {b:?}");
    assert!((a[1] - 8e-3).abs() < 0.1e-3 && (b[1] - 8e-3).abs() < 0.1e-3, "{a:?} {b:?}");
    let junctions = &found.result.junctions;
    assert!((junctions[0].max_K - junctions[1].max_K).abs() < 0.15);
}

#[test]
fn flow_goes_to_the_die_with_more_power_and_the_total_stays() {
    let die = [([7.0, 8.0], 34.0), ([21.0, 8.0], 18.0)];
    let module = case([28.0, 16.0], &die, &[[7.0, 8.0], [21.0, 8.0]]);
    let flows = ArrangeBounds { flow_factor: Some([0.5, 1.5]), ..bounds(&module) };
    let found = arranged(&module, &flows, &quiet());
    let spots = spots_of(&found.module);
    assert!(spots[0].flow_factor > 1.1 && spots[1].flow_factor < 0.9, "{spots:?}");
    assert!(spots[0].flow_factor + spots[1].flow_factor <= 2.0 + 1e-9);
}

#[test]
fn least_liquid_keeps_the_limits_with_less() {
    let module = case([16.0, 16.0], &[([8.0, 8.0], 20.0)], &[[7.2, 8.5]]);
    let flows = ArrangeBounds {
        flow_factor: Some([0.3, 1.0]),
        least_chf_margin: Some(1.2),
        ..bounds(&module)
    };
    let options = ArrangeOptions { goal: Goal::Liquid, ..quiet() };
    let found = arranged(&module, &flows, &options);
    assert!(found.improved && found.conditions_hold);
    assert!(spots_of(&found.module)[0].flow_factor < 0.9, "{:?}", spots_of(&found.module));
    let junction = &found.result.junctions[0];
    assert!(junction.margin_K().is_some_and(|margin| margin >= 0.0));
    assert!(junction.chf_margin.is_some_and(|margin| margin >= 1.2));
}

#[test]
fn the_least_margin_grows_where_that_is_asked_for() {
    let module = case([16.0, 16.0], &[([8.0, 8.0], 25.0)], &[[6.0, 9.5]]);
    let options = ArrangeOptions { goal: Goal::Margin, ..quiet() };
    let (result, solution) =
        solve_keeping(&module, &SteadyOptions::default(), &mut |_| {}).expect("a steady state");
    let before = result.junctions[0].chf_margin.expect("a margin");
    let found = arrange(&module, &bounds(&module), (&result, &solution), &options, &|_, _, _| {})
        .expect("a pattern");
    let after = found.result.junctions[0].chf_margin.expect("a margin");
    assert!(after > 1.05 * before, "{before} to {after}");
}

/// The demo with two deliberate faults of its cap, on a coarse mesh: mended by more than 60 K,
/// within its bounds.
#[test]
fn the_old_cap_of_the_demo_is_mended_by_more_than_sixty_kelvin() {
    let text = include_str!("../../../../demo-data/correlator/old-cap.toml");
    let map = include_str!("../../../../demo-data/correlator/correlator_power.csv");
    let case =
        crate::case::read(text, "old-cap.toml", &|_| Ok(map.to_owned())).expect("a good case");
    let mut module = case.module;
    module.mesh.cell_m = Some(2e-3);
    let bounds = case.arrange.expect("bounds");
    let (result, solution) =
        solve_keeping(&module, &SteadyOptions::default(), &mut |_| {}).expect("a steady state");
    let options = ArrangeOptions { rounds: 12, ..quiet() };
    let found = arrange(&module, &bounds, (&result, &solution), &options, &|_, _, _| {})
        .expect("a pattern");
    let gained = hottest_K(&result) - hottest_K(&found.result);
    assert!(gained > 60.0, "{gained} K");
    let broken = broken_bounds(&found.module, &module, &bounds);
    assert!(broken.is_empty() && found.conditions_hold, "{broken:?}");
}

#[test]
fn one_and_two_threads_find_the_same_pattern_to_the_bit() {
    let die = [([7.0, 8.0], 30.0), ([21.0, 8.0], 22.0)];
    let module = case([28.0, 16.0], &die, &[[8.4, 6.9], [20.1, 8.8]]);
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads");
        let options = ArrangeOptions { starts: 3, rounds: 3, trade_off_points: 2, ..quiet() };
        pool.install(|| arranged(&module, &bounds(&module), &options))
    };
    let (one, two) = (on(1), on(2));
    assert_eq!(spots_of(&one.module), spots_of(&two.module));
    assert_eq!(hottest_K(&one.result), hottest_K(&two.result));
    assert_eq!(one.trade_off, two.trade_off);
    assert_eq!(one.effort, two.effort);
}

#[test]
fn a_pattern_that_has_no_room_is_said_to_have_none() {
    let module = case([16.0, 16.0], &[([8.0, 8.0], 25.0)], &[[6.0, 8.0], [10.0, 8.0]]);
    let narrow = ArrangeBounds {
        region: Rect { x0_m: 7e-3, y0_m: 7e-3, x1_m: 9e-3, y1_m: 9e-3 },
        least_spacing_m: Some(5e-3),
        ..ArrangeBounds::within(module.outline())
    };
    let (result, solution) =
        solve_keeping(&module, &SteadyOptions::default(), &mut |_| {}).expect("a steady state");
    let error = arrange(&module, &narrow, (&result, &solution), &quiet(), &|_, _, _| {});
    assert!(matches!(error, Err(ArrangeError::NoRoom)));
}

/// Random bounds and random patterns: what comes back keeps every bound, rounded too.
fn random_bounds() -> impl Strategy<Value = (ArrangeBounds, Vec<Spot>)> {
    let spot = (-5e-3..35e-3, -5e-3..25e-3, 5e-3..16e-3, 0.2..1.8).prop_map(|(x, y, h, f)| Spot {
        at_m: [x, y],
        standoff_m: h,
        flow_factor: f,
    });
    let area = (0.0..24e-3, 0.0..16e-3, 0.5e-3..5e-3, 0.5e-3..5e-3).prop_map(|(x, y, w, h)| Rect {
        x0_m: x,
        y0_m: y,
        x1_m: x + w,
        y1_m: y + h,
    });
    let range = |low: f64, high: f64| {
        (low..high, low..high).prop_map(|(a, b)| [f64::min(a, b), f64::max(a, b)])
    };
    (
        proptest::collection::vec(spot, 6),
        proptest::collection::vec(area, 0..3),
        0.0..6e-3,
        range(6e-3, 14e-3),
        range(0.4, 1.6),
        2.0..9.0,
        (0.0..6e-3, 0.0..5e-3, 12e-3..24e-3, 9e-3..17e-3),
    )
        .prop_map(|(spots, keep_out, spacing, standoff, factor, total, (x, y, w, h))| {
            let region = Rect { x0_m: x, y0_m: y, x1_m: x + w, y1_m: y + h };
            let bounds = ArrangeBounds {
                keep_out,
                least_spacing_m: Some(spacing),
                standoff_m: Some(standoff),
                flow_factor: Some(factor),
                total_flow_m3_s: Some(total * 1e-6),
                ..ArrangeBounds::within(region)
            };
            (bounds, spots)
        })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

    #[test]
    fn no_repaired_or_rounded_pattern_breaks_a_bound((bounds, spots) in random_bounds()) {
        let die = [([7.0, 8.0], 30.0), ([21.0, 8.0], 22.0)];
        let places: Vec<[f64; 2]> = (0..6).map(|k| [4.0 + 4.0 * f64::from(k), 8.0]).collect();
        let module = case([30.0, 20.0], &die, &places);
        let rules = Rules::new(&module, &bounds);
        let names = vec![String::new(); 6];
        if let Some(repaired) = rules.repaired(&spots) {
            let broken = rules.broken(&repaired, &names);
            prop_assert!(broken.is_empty(), "{broken:?}");
            if let Some(rounded) = rules.rounded(&repaired) {
                let broken = rules.broken(&rounded, &names);
                prop_assert!(broken.is_empty(), "{broken:?}");
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 6, max_shrink_iters: 0, ..ProptestConfig::default() })]

    /// The whole study, on a coarse mesh: a pattern that keeps the bounds, or none.
    #[test]
    fn no_pattern_found_breaks_a_bound((bounds, _) in random_bounds()) {
        let die = [([7.0, 8.0], 20.0), ([21.0, 8.0], 14.0)];
        let places: Vec<[f64; 2]> = (0..6).map(|k| [4.0 + 4.0 * f64::from(k), 8.0]).collect();
        let mut module = case([30.0, 20.0], &die, &places);
        module.mesh.cell_m = Some(2e-3);
        let (result, solution) = solve_keeping(&module, &SteadyOptions::default(), &mut |_| {})
            .expect("a steady state");
        let options = ArrangeOptions { rounds: 3, starts: 2, ..quiet() };
        match arrange(&module, &bounds, (&result, &solution), &options, &|_, _, _| {}) {
            Ok(found) => {
                let broken = broken_bounds(&found.module, &module, &bounds);
                prop_assert!(broken.is_empty(), "{broken:?}");
            }
            Err(ArrangeError::NoRoom) => {}
            // A bound on the liquid can leave too little of it.
            Err(ArrangeError::Steady(SteadyError::BurnOut { .. })) => {}
            Err(error) => prop_assert!(false, "{error}"),
        }
    }
}
