//! Every derivative against differences of full solves on the same grid.

use super::super::testing::{held, mesh_like, prescribed, solved, tight, with_nozzles};
use super::*;
use crate::conduction::SurfaceLaw;
use crate::library::Material;
use crate::module::PrescribedHtc;
use crate::spray::SurfaceCurve;
use crate::steady::{WetLaw, solve_with_law};
use std::sync::Arc;

/// Steps as shares of what is changed: wide enough for the rounding of solves, narrow enough for
/// central differences of fifth digits.
const STEP: f64 = 2e-4;

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
                    *curve = if curve.wetted_share == 0.0 {
                        SurfaceCurve::dry(curve.dry_htc_W_m2K * factor)
                    } else {
                        SurfaceCurve::wetted(
                            &curves.liquid,
                            curve.wetted_share,
                            curve.single_phase * factor,
                            curve.boiling * factor,
                            curve.critical_W_m2 * factor,
                            curve.dry_htc_W_m2K * factor,
                        )
                    };
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
        Parameter::NozzlePosition { .. } => 1e-3,
        Parameter::EdgeCoefficient => 50.0,
        Parameter::InletTemperature => 100.0,
        Parameter::BoardTemperature | Parameter::EdgeTemperature => 100.0,
        _ => entry.value.unwrap(),
    };
    STEP * typical
}

/// Largest error of any derivative against the difference of two full solves, as a share of the
/// difference; effects below a thousandth of the input's largest count by that.
fn compare(module: &Module, keep: impl Fn(&Parameter) -> bool) -> (f64, Cost) {
    let solution = solved(module);
    let result = sensitivity(module, &solution, &tight(), &mut |_, _| {}).unwrap();
    let network = Network::new(module, &solution.mesh);
    let read = readings(&network, &solution);
    let mut worst = 0.0f64;
    let mut compared = 0;
    for row in result.rows.iter().filter(|row| keep(&row.entry.parameter)) {
        let step = step_of(&row.entry);
        let [up, down] = [step, -step].map(|by| {
            let (other, again) = changed(module, &solution, &row.entry.parameter, by);
            super::super::resistance::read_again(&other, &again, &read)
        });
        let inlet = if row.entry.parameter == Parameter::InletTemperature { 1.0 } else { 0.0 };
        let slopes: Vec<[f64; 2]> = up
            .iter()
            .zip(&down)
            .map(|(u, d)| [0, 1].map(|k| (u[k] - d[k]) / (2.0 * step) + inlet))
            .collect();
        let scale = slopes.iter().flatten().fold(0.0f64, |m, s| m.max(s.abs()));
        assert!(scale > 0.0 || row.entry.of == "blocked", "{:?} does nothing", row.entry);
        for (slope, got) in slopes.iter().zip(&row.derivatives) {
            for (slope, got) in slope.iter().zip([got.max, got.mean]) {
                let error = (got - slope).abs() / slope.abs().max(1e-3 * scale);
                if error > 1e-5 {
                    println!(
                        "{:?} {}: {got} {slope} {error:.1e}",
                        row.entry.parameter, row.entry.of
                    );
                }
                worst = worst.max(error);
                compared += 1;
            }
        }
    }
    assert!(compared > 30, "{compared}");
    println!("{compared} derivatives, worst {worst:.1e}, {:?}", result.cost);
    (worst, result.cost)
}

#[test]
fn derivatives_of_a_linear_module_match_full_solves_at_two_solves_a_junction() {
    let module = held(prescribed());
    let (worst, cost) = compare(&module, |_| true);
    assert!(worst < 1e-5, "{worst}");
    assert_eq!(cost.solves, 2 * 4);
}

#[test]
fn derivatives_match_full_solves_where_conductivity_varies() {
    let (worst, cost) = compare(&prescribed(), |_| true);
    assert!(worst < 1e-5, "{worst}");
    println!("{cost:?}");
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
    let (worst, _) = compare(&module, smooth);
    assert!(worst < 1e-5, "{worst}");
}

#[test]
fn derivatives_to_nozzle_positions_match_full_solves() {
    let positions = |p: &Parameter| matches!(p, Parameter::NozzlePosition { .. });
    let (worst, _) = compare(&with_nozzles(), positions);
    assert!(worst < 1e-5, "{worst}");
}
