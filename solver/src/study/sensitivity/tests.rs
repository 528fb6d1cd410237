//! Every derivative against differences of full solves on the same grid.

use super::super::testing::{held, mesh_like, prescribed, solved, tight, with_nozzles};
use super::*;
use crate::conduction::SurfaceLaw;
use crate::library::Material;
use crate::module::PrescribedHtc;
use crate::steady::{WetLaw, solve_with_law};
use std::sync::Arc;

/// Steps as shares of what is changed: wide enough for the rounding of solves, narrow enough for
/// central differences of fourth order.
const STEP: f64 = 1e-3;

fn scaled(material: &mut Arc<Material>, along: Along, factor: f64) {
    let k = &mut Arc::make_mut(material).conductivity_W_mK;
    if along != Along::Through {
        k[0] *= factor;
        k[1] *= factor;
    }
    if along != Along::Plane {
        k[2] *= factor;
    }
}

/// The solution with `parameter` changed by `by` (SI, or a share where it is relative).
fn changed(
    module: &Module,
    solution: &GridSolution,
    parameter: &Parameter,
    by: f64,
) -> (Module, GridSolution) {
    let mut other = module.clone();
    let mut over: Option<Box<dyn Fn(usize) -> bool>> = None;
    let network = Network::new(module, &solution.mesh);
    let nx = solution.mesh.plane.nx();
    match parameter {
        Parameter::Power { source } => match other.die.get_mut(*source) {
            Some(die) => {
                let factor = (die.power_W + by) / die.power_W;
                die.power_W *= factor;
                die.blocks.iter_mut().for_each(|b| b.power_W *= factor);
            }
            None => other.heaters[source - module.die.len()].power_W += by,
        },
        Parameter::BlockPower { die, block } => {
            other.die[*die].power_W += by;
            other.die[*die].blocks[*block].power_W += by;
        }
        Parameter::RestPower { die } => other.die[*die].power_W += by,
        Parameter::LayerThickness { layer } => other.layers[*layer].thickness_m += by,
        Parameter::AttachThickness { die } => {
            for &d in die {
                other.die[d].attach.as_mut().unwrap().thickness_m += by;
            }
        }
        Parameter::DieThickness { die } => {
            die.iter().for_each(|&d| other.die[d].thickness_m += by);
        }
        Parameter::LayerConductivity { layer, along } => {
            scaled(&mut other.layers[*layer].material, *along, 1.0 + by);
        }
        Parameter::AttachConductivity { material } => {
            for attach in other.die.iter_mut().filter_map(|d| d.attach.as_mut()) {
                if attach.material.name == *material {
                    scaled(&mut attach.material, Along::All, 1.0 + by);
                }
            }
        }
        Parameter::DieConductivity { material } => {
            for die in other.die.iter_mut().filter(|d| d.material.name == *material) {
                scaled(&mut die.material, Along::All, 1.0 + by);
            }
        }
        Parameter::SprayCoefficient => over = Some(Box::new(|_| true)),
        Parameter::SprayOver { die } => {
            let inside: Vec<bool> = (0..nx * solution.mesh.plane.ny())
                .map(|c| network.die_over(c % nx, c / nx).is_some_and(|d| die.contains(&d)))
                .collect();
            over = Some(Box::new(move |c| inside[c]));
        }
        Parameter::SprayBase => {
            let Spray::Prescribed(spray) = &mut other.spray else { unreachable!() };
            let PrescribedHtc::Uniform(htc) = &mut spray.base else { unreachable!() };
            *htc *= 1.0 + by;
        }
        Parameter::SprayPatch { patch } => {
            let Spray::Prescribed(spray) = &mut other.spray else { unreachable!() };
            spray.patches[*patch].htc_W_m2K *= 1.0 + by;
        }
        Parameter::InletTemperature => other.coolant.inlet_K += by,
        Parameter::NozzleFlow { nozzles } => {
            let Spray::Correlated(spray) = &mut other.spray else { unreachable!() };
            nozzles.iter().for_each(|&n| spray.nozzles[n].flow_m3_s *= 1.0 + by);
        }
        Parameter::NozzlePosition { nozzles, axis } => {
            let Spray::Correlated(spray) = &mut other.spray else { unreachable!() };
            for &n in nozzles {
                let nozzle = &mut spray.nozzles[n];
                match axis {
                    0 | 1 => nozzle.at_m[*axis] += by,
                    _ => nozzle.standoff_m += by,
                }
            }
        }
        Parameter::BoardCoefficient => other.board.htc_W_m2K *= 1.0 + by,
        Parameter::BoardTemperature => other.board.temperature_K += by,
        Parameter::EdgeCoefficient => other.edge.htc_W_m2K += by,
        Parameter::EdgeTemperature => other.edge.temperature_K += by,
    }
    let mesh = mesh_like(&other, &solution.mesh);
    let mut law = WetLaw::on(&other, &mesh.plane, tight().band).unwrap();
    if let Some(over) = over {
        law = scaled_law(law, &*over, 1.0 + by);
    }
    let again = solve_with_law(&other, mesh, law, Some(solution.rise_K.clone()), &tight()).unwrap();
    (other, again)
}

/// The law with the flux of some cells multiplied.
fn scaled_law(law: WetLaw, over: &dyn Fn(usize) -> bool, factor: f64) -> WetLaw {
    match law {
        WetLaw::Prescribed(mut law) => {
            for (c, htc) in law.htc_W_m2K.iter_mut().enumerate() {
                *htc *= if over(c) { factor } else { 1.0 };
            }
            WetLaw::Prescribed(law)
        }
        WetLaw::Correlated { field, mut curves } => {
            for (c, curve) in curves.curves.iter_mut().enumerate() {
                if over(c) {
                    curve.single_phase *= factor;
                    curve.boiling *= factor;
                    curve.critical_W_m2 *= factor;
                    curve.dry_htc_W_m2K *= factor;
                }
            }
            WetLaw::Correlated { field, curves }
        }
    }
}

fn step_of(entry: &Entry) -> f64 {
    let typical = match &entry.parameter {
        p if p.quantity().relative => 1.0,
        Parameter::Power { .. } | Parameter::BlockPower { .. } | Parameter::RestPower { .. } => {
            10.0
        }
        Parameter::NozzlePosition { .. } => 2e-4,
        // A hundredth of what a layer weighs needs a wider step to show.
        Parameter::AttachThickness { .. } => 10.0 * entry.value.unwrap(),
        Parameter::EdgeCoefficient => 50.0,
        Parameter::InletTemperature => 100.0,
        Parameter::BoardTemperature | Parameter::EdgeTemperature => 100.0,
        _ => entry.value.unwrap(),
    };
    STEP * typical
}

/// Holds every derivative that `keep` asks for against differences of full solves: within 1e-5
/// of the difference; effects below `floor` of the input's largest count by that.
fn compare(module: &Module, floor: f64, keep: impl Fn(&Parameter) -> bool) -> Cost {
    let solution = solved(module);
    let result = sensitivity(module, &solution, &tight(), None, &mut |_, _| {}).unwrap();
    let mut compared = 0;
    for row in result.rows.iter().filter(|row| keep(&row.entry.parameter)) {
        let step = step_of(&row.entry);
        let inlet = if row.entry.parameter == Parameter::InletTemperature { 1.0 } else { 0.0 };
        let read_at = |by: f64| {
            let (other, again) = changed(module, &solution, &row.entry.parameter, by);
            // The readings as they are reported: the hot spot goes where it will.
            let network = Network::new(&other, &again.mesh);
            let statistics = crate::results::face_statistics(&network, &again);
            statistics.iter().map(|s| [s.max_K, s.mean_K]).collect::<Vec<_>>()
        };
        let difference = |step: f64| -> Vec<[f64; 2]> {
            let (up, down) = (read_at(step), read_at(-step));
            let slope = |u: f64, d: f64| (u - d) / (2.0 * step) + inlet;
            up.iter().zip(&down).map(|(u, d)| [slope(u[0], d[0]), slope(u[1], d[1])]).collect()
        };
        let mut slopes = difference(step);
        // Outlines that touch grid lines leave no fourth derivative to nozzle positions.
        if !matches!(row.entry.parameter, Parameter::NozzlePosition { .. }) {
            for (slope, wide) in slopes.iter_mut().zip(difference(2.0 * step)) {
                *slope = [0, 1].map(|k| (4.0 * slope[k] - wide[k]) / 3.0);
            }
        }
        let scale = slopes.iter().flatten().fold(0.0f64, |m, s| m.max(s.abs()));
        assert!(scale > 0.0, "{:?} does nothing", row.entry);
        for (slope, got) in slopes.iter().zip(&row.derivatives) {
            for (slope, got) in slope.iter().zip([got.max, got.mean]) {
                let error = (got - slope).abs() / slope.abs().max(floor * scale);
                assert!(error < 1e-5, "{:?}: {got} {slope} {error:.1e}", row.entry);
                compared += 1;
            }
        }
    }
    assert!(compared >= 32, "{compared}");
    result.cost
}

#[test]
fn derivatives_of_a_linear_module_match_full_solves_at_two_solves_a_junction() {
    let module = held(prescribed());
    let cost = compare(&module, 1e-3, |_| true);
    assert_eq!((cost.systems, cost.corrections), (2 * 6, 0));
}

#[test]
fn derivatives_match_full_solves_where_conductivity_varies() {
    let cost = compare(&prescribed(), 1e-3, |_| true);
    // Corrections cost a few iterations each: together less than a second solve.
    let linear = compare(&held(prescribed()), 0.1, |p| matches!(p, Parameter::Power { .. }));
    assert_eq!(cost.systems, 2 * 6);
    assert!(cost.iterations < 2 * linear.iterations, "{cost:?} {linear:?}");
}

#[test]
fn derivatives_match_full_solves_where_the_spray_boils() {
    let module = with_nozzles();
    let solution = solved(&module);
    let steepest = solution
        .wet
        .tangent
        .iter()
        .zip(&solution.wet.rise_K)
        .enumerate()
        .fold(0.0f64, |m, (c, (t, rise))| {
            m.max(t.slope_W_m2K * rise / solution.law.flux(c, *rise).0)
        });
    assert!(steepest > 2.0, "{steepest}: nothing boils");
    let smooth = |p: &Parameter| !matches!(p, Parameter::NozzlePosition { .. });
    compare(&module, 1e-3, smooth);
}

#[test]
fn derivatives_to_nozzle_positions_match_full_solves() {
    let positions = |p: &Parameter| matches!(p, Parameter::NozzlePosition { .. });
    compare(&with_nozzles(), 1e-2, positions);
}

#[test]
fn one_kelvin_more_all_around_is_one_kelvin_more_at_every_junction() {
    let module = held(prescribed());
    let result = sensitivity(&module, &solved(&module), &tight(), None, &mut |_, _| {}).unwrap();
    let around = |p: &Parameter| {
        matches!(
            p,
            Parameter::InletTemperature | Parameter::BoardTemperature | Parameter::EdgeTemperature
        )
    };
    for junction in 0..6 {
        let rows = result.rows.iter().filter(|row| around(&row.entry.parameter));
        let sum: f64 = rows.map(|row| row.derivatives[junction].max).sum();
        assert!((sum - 1.0).abs() < 1e-9, "{junction}: {sum}");
    }
}

/// Columns come from tangents, rows from influences: two ways through different equations.
#[test]
fn derivatives_to_powers_are_the_rows_of_the_resistance_matrix() {
    for module in [prescribed(), with_nozzles()] {
        let solution = solved(&module);
        let result = sensitivity(&module, &solution, &tight(), None, &mut |_, _| {}).unwrap();
        let matrix =
            super::super::resistance(&module, &solution, &tight(), &mut |_, _| {}).unwrap();
        for row in &result.rows {
            let Parameter::Power { source } = row.entry.parameter else { continue };
            for (i, got) in row.derivatives.iter().enumerate() {
                let scale = 1e-9 * matrix.max_K_W[[i, i]];
                assert!((got.max - matrix.max_K_W[[i, source]]).abs() < scale);
                assert!((got.mean - matrix.mean_K_W[[i, source]]).abs() < scale);
            }
        }
    }
}

/// The map against the table: the coefficient of a die is the integral of the map over it.
#[test]
fn map_of_cooling_adds_up_to_the_effect_of_a_coefficient() {
    let module = held(prescribed());
    let solution = solved(&module);
    let result = sensitivity(&module, &solution, &tight(), None, &mut |_, _| {}).unwrap();
    let network = Network::new(&module, &solution.mesh);
    let Some(law) = (match &solution.law {
        WetLaw::Prescribed(law) => Some(law),
        WetLaw::Correlated { .. } => None,
    }) else {
        panic!("stated coefficients")
    };
    for row in &result.rows {
        let Parameter::SprayOver { die } = &row.entry.parameter else { continue };
        let nx = solution.mesh.plane.nx();
        let sum: f64 = (0..nx * solution.mesh.plane.ny())
            .filter(|c| network.die_over(c % nx, c / nx).is_some_and(|d| die.contains(&d)))
            .map(|c| {
                let (i, j) = (c % nx, c / nx);
                result.cooling_K2_W.values[[j, i]] * network.cell_area_m2(i, j) * law.htc_W_m2K[c]
            })
            .sum();
        let derivative = row.derivatives[result.chief].max;
        assert!((sum / -derivative - 1.0).abs() < 1e-9, "{}: {sum} {derivative}", row.entry.of);
    }
    let hottest = &network.sources[result.chief].cells;
    let ((j, i), _) =
        result.cooling_K2_W.values.indexed_iter().max_by(|a, b| a.1.total_cmp(b.1)).unwrap();
    assert!((hottest.i0..hottest.i1).contains(&i) && (hottest.j0..hottest.j1).contains(&j));
}

/// One slab between spray and board, heated on its lower face: every derivative by hand.
#[test]
fn derivatives_of_a_slab_are_those_of_resistances_in_series() {
    let text = r#"
title = "slab"
[module]
size_mm = [20.0, 20.0]
[[module.layer]]
name = "slab"
material = "stone"
thickness_mm = 2.0
[material.stone]
conductivity_W_mK = 3.0
[[heater]]
name = "under"
on = "slab"
face = "bottom"
rect_mm = [0.0, 0.0, 20.0, 20.0]
power_W = 40.0
[coolant]
inlet_C = 20.0
[spray]
model = "prescribed"
htc_W_m2K = 5000.0
[board]
temperature_C = 30.0
htc_W_m2K = 100.0
"#;
    let module = crate::case::read(text, "slab.toml", &|_| Err(String::new())).unwrap().module;
    let plane = crate::mesh::PlaneGrid {
        x_lines_m: [0.0, 0.008, 0.02].into(),
        y_lines_m: [0.0, 0.013, 0.02].into(),
    };
    let slicing = crate::mesh::Slicing { layers: vec![3], die: Vec::new() };
    let mesh = crate::mesh::Mesh::new(&module, plane, &slicing);
    let solution = crate::steady::solve_on_mesh(&module, mesh, None, &tight()).unwrap();
    let result = sensitivity(&module, &solution, &tight(), None, &mut |_, _| {}).unwrap();
    // Heater face: q = (T - T_in) / r + h_b (T - T_b), r = t / k + 1 / h.
    let (area, q, t, k, h, h_b, dT_b) = (4e-4, 1e5, 2e-3, 3.0, 5000.0, 100.0, 10.0);
    let r: f64 = t / k + 1.0 / h;
    let y: f64 = 1.0 / r + h_b;
    let rise = (q + h_b * dT_b) / y;
    // d rise / d r = rise / (r² y)
    let per_r = rise / (r * r * y);
    for row in &result.rows {
        let expected = match &row.entry.parameter {
            Parameter::Power { .. } => 1.0 / (area * y),
            Parameter::LayerThickness { .. } => per_r / k,
            Parameter::LayerConductivity { along: Along::Plane, .. } => 0.0,
            Parameter::LayerConductivity { .. } => -per_r * t / k,
            Parameter::SprayCoefficient => -per_r / h,
            Parameter::InletTemperature => 1.0 - h_b / y,
            Parameter::BoardTemperature => h_b / y,
            Parameter::BoardCoefficient => h_b * (dT_b - rise) / y,
            Parameter::EdgeTemperature => 0.0,
            // Adiabatic so far: the derivative is a mean over the side faces, see the full
            // solves.
            Parameter::EdgeCoefficient => continue,
            other => panic!("{other:?}"),
        };
        for got in [row.derivatives[0].max, row.derivatives[0].mean] {
            let error = (got - expected).abs() / expected.abs().max(1e-4);
            assert!(error < 1e-8, "{:?}: {got} {expected}", row.entry);
        }
    }
    let widths = |lines: [f64; 3]| [lines[1] - lines[0], lines[2] - lines[1]];
    let (dx, dy) = (widths([0.0, 0.008, 0.02]), widths([0.0, 0.013, 0.02]));
    let everywhere: f64 =
        result.cooling_K2_W.values.indexed_iter().map(|((j, i), v)| v * dx[i] * dy[j]).sum();
    assert!((everywhere / (per_r / (h * h)) - 1.0).abs() < 1e-8, "{everywhere}");
}
