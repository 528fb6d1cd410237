//! Temperatures over time: wall, half space, lump and plate against their series; order in time;
//! what is left after a long time; and that no heat is lost.

use std::sync::Arc;

use sprayside_solver::library::Material;
use sprayside_solver::mesh::{Mesh, PlaneGrid, Slicing};
use sprayside_solver::module::{Cycle, CycleStart, Module, Shape, Signal};
use sprayside_solver::transient::{Request, TransientOptions, TransientResult, equal_steps, run};

use super::{Family, Outcomes};
use crate::check::Kind;
use crate::closed_form::RectSource;
use crate::closed_form::transients::{
    PulsedPlate, half_space_flux, plane_wall, ramped_lump, wall_coefficient, wall_roots,
};
use crate::sources;
use crate::vehicle::{AMBIENT_K, add_heater, constant, vehicle, whole};

const CONDUCTIVITY: f64 = 20.0;
const DENSITY: f64 = 4000.0;
const SPECIFIC_HEAT: f64 = 500.0;
const DIFFUSIVITY: f64 = CONDUCTIVITY / (DENSITY * SPECIFIC_HEAT);
/// First excess of bodies that cool, K.
const EXCESS_K: f64 = 100.0;

/// First root and coefficient of the plane wall by Biot number, as the handbook's table has them.
const WALL_TABLE: [(f64, f64, f64); 3] =
    [(0.1, 0.3111, 1.0161), (1.0, 0.8603, 1.1191), (10.0, 1.4289, 1.2620)];
/// Half of the last digit of that table.
const TABLE_DIGIT: f64 = 5e-5;

/// A plate cooled from above only, of layers that store heat.
fn plate(size_m: [f64; 2], thicknesses_m: &[f64], htc: f64) -> Module {
    let layers: Vec<(f64, [f64; 3])> =
        thicknesses_m.iter().map(|thickness| (*thickness, [CONDUCTIVITY; 3])).collect();
    let mut module = vehicle(size_m, &layers, 0.0, htc);
    for layer in &mut module.layers {
        layer.material = Arc::new(Material {
            density_kg_m3: Some(DENSITY),
            specific_heat_J_kgK: Some(SPECIFIC_HEAT),
            ..(*constant([CONDUCTIVITY; 3])).clone()
        });
    }
    module
}

fn even(size_m: [f64; 2], cells: [usize; 2], layers: &[usize], module: &Module) -> Mesh {
    let lines = |k: usize| -> Arc<[f64]> {
        (0..=cells[k]).map(|i| size_m[k] * i as f64 / cells[k] as f64).collect()
    };
    let plane = PlaneGrid { x_lines_m: lines(0), y_lines_m: lines(1) };
    Mesh::new(module, plane, &Slicing { layers: layers.to_vec(), die: Vec::new() })
}

/// A profile in which nothing changes.
fn still(module: &Module, period_s: f64, start: CycleStart, time_accuracy_K: f64) -> Cycle {
    Cycle {
        period_s,
        repeats: 1,
        start,
        time_accuracy_K,
        power_W: module
            .heaters
            .iter()
            .map(|heater| Signal::constant(heater.power_W, period_s))
            .collect(),
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

fn request<'a>(module: &'a Module, cycle: &'a Cycle, mesh: &'a Mesh) -> Request<'a> {
    Request { module, cycle, steady_mesh: mesh, steady_max_K: None, sensors: &[], from: None }
}

fn runs(
    module: &Module,
    cycle: &Cycle,
    mesh: &Mesh,
) -> Result<TransientResult, Box<dyn std::error::Error>> {
    Ok(run(&request(module, cycle, mesh), TransientOptions::default(), &mut |_, _| ())?)
}

/// Mean rise of a heater's face at a time that was asked for as a picture, K.
fn at(result: &TransientResult, source: usize, time_s: f64) -> f64 {
    let near = |record_s: f64| (record_s - time_s).abs() < 1e-9 * time_s;
    let record = result.run.records.iter().find(|record| near(record.time_s));
    record.map_or(f64::NAN, |record| record.mean_K[source] - AMBIENT_K)
}

/// The insulated face of a wall that cools, by the series and by the handbook's table.
pub fn wall() -> Outcomes {
    const SERIES: Family = Family { kind: Kind::Analytic, source: &sources::PLANE_WALL, unit: "K" };
    const TABLE: Family = Family { kind: Kind::Published, source: &sources::INCROPERA, unit: "K" };
    let (size, thickness) = ([8e-3, 6e-3], 4e-3);
    let unit_s = thickness * thickness / DIFFUSIVITY;
    let fouriers = [0.05, 0.2, 0.5, 1.0, 2.0];
    let mut outcomes = Vec::new();
    for (biot, root, coefficient) in WALL_TABLE {
        let mut module = plate(size, &[thickness], biot * CONDUCTIVITY / thickness);
        add_heater(&mut module, 0, &whole(size), 0.0);
        let start = CycleStart::Uniform(AMBIENT_K + EXCESS_K);
        let mut cycle = still(&module, 2.0 * unit_s, start, 0.02);
        cycle.snapshots_s = fouriers.iter().map(|fo| fo * unit_s).collect();
        let mesh = even(size, [3, 2], &[64], &module);
        let result = runs(&module, &cycle, &mesh)?;
        let known_K = result.uncertainty_K(0);
        for fo in fouriers {
            let got_K = at(&result, 0, fo * unit_s);
            let series_K = EXCESS_K * plane_wall(biot, fo);
            outcomes.push(SERIES.outcome(
                "plane wall that cools",
                &format!("insulated face, Bi {biot}, Fo {fo}"),
                "series of 60 terms",
                [series_K, 1e-9],
                [got_K, known_K],
            ));
            if fo < 1.0 {
                continue;
            }
            let table_K = EXCESS_K * coefficient * (-root * root * fo).exp();
            // What the last digits of root and coefficient leave open, and the second term.
            let second = wall_roots(biot, 2)[1];
            let left = table_K * TABLE_DIGIT * (2.0 * root * fo + 1.0 / coefficient)
                + EXCESS_K * wall_coefficient(second).abs() * (-second * second * fo).exp();
            outcomes.push(TABLE.outcome(
                "plane wall that cools",
                &format!("insulated face, Bi {biot}, Fo {fo}"),
                &format!("table 5.1: root {root}, coefficient {coefficient}; one term"),
                [table_K, left],
                [got_K, known_K],
            ));
        }
    }
    Ok(outcomes)
}

/// A thick body under a flux that is switched on: its surface and a face inside.
pub fn half_space() -> Outcomes {
    const FAMILY: Family =
        Family { kind: Kind::Analytic, source: &sources::SEMI_INFINITE, unit: "K" };
    let (size, depth, rest) = ([4e-3, 4e-3], 2e-3, 18e-3);
    let flux = 1e5;
    // From the board side up: the surface is the top.
    let mut module = plate(size, &[rest, depth], 0.0);
    add_heater(&mut module, 2, &whole(size), flux * size[0] * size[1]);
    add_heater(&mut module, 1, &whole(size), 0.0);
    let mut cycle = still(&module, 2.0, CycleStart::Uniform(AMBIENT_K), 0.01);
    let times = [0.1, 0.5, 2.0];
    cycle.snapshots_s = times.to_vec();
    let mesh = even(size, [2, 2], &[120, 60], &module);
    let result = runs(&module, &cycle, &mesh)?;
    let mut outcomes = Vec::new();
    for time_s in times {
        for (source, what, x) in [(0, "surface", 0.0), (1, "2 mm deep", depth)] {
            let exact = half_space_flux(flux, CONDUCTIVITY, DIFFUSIVITY, x, time_s);
            outcomes.push(FAMILY.outcome(
                "half space under a flux",
                &format!("{what}, {time_s} s"),
                "eq. 5.59, 10 W/cm² switched on",
                [exact, 1e-6],
                [at(&result, source, time_s), result.uncertainty_K(source)],
            ));
        }
    }
    Ok(outcomes)
}

/// A thin plate that cools as one lump, and the heat that it gives off.
pub fn lump() -> Outcomes {
    const FAMILY: Family = Family { kind: Kind::Analytic, source: &sources::LUMP, unit: "K" };
    const HEAT: Family = Family { kind: Kind::Analytic, source: &sources::LUMP, unit: "J" };
    let (size, thickness, htc) = ([8e-3, 6e-3], 0.1e-3, 20.0);
    let mut module = plate(size, &[thickness], htc);
    add_heater(&mut module, 0, &whole(size), 0.0);
    let constant_s = DENSITY * SPECIFIC_HEAT * thickness / htc;
    let start = CycleStart::Uniform(AMBIENT_K + EXCESS_K);
    let mut cycle = still(&module, 3.0 * constant_s, start, 0.01);
    let times = [0.5, 1.0, 3.0];
    cycle.snapshots_s = times.iter().map(|t| t * constant_s).collect();
    let mesh = even(size, [3, 2], &[2], &module);
    let result = runs(&module, &cycle, &mesh)?;
    // What a lump leaves out is of the order of the Biot number.
    let left = EXCESS_K * htc * thickness / CONDUCTIVITY;
    let mut outcomes: Vec<_> = times
        .iter()
        .map(|t| {
            FAMILY.outcome(
                "lumped capacity",
                &format!("excess after {t} time constants, Bi 0.0001"),
                "eq. 5.6, exponential",
                [EXCESS_K * (-t).exp(), left],
                [at(&result, 0, t * constant_s), result.uncertainty_K(0)],
            )
        })
        .collect();
    let capacity = DENSITY * SPECIFIC_HEAT * thickness * size[0] * size[1];
    outcomes.push(HEAT.outcome(
        "lumped capacity",
        "heat given off in 3 time constants",
        "eq. 5.8a",
        [capacity * EXCESS_K * -(-3.0f64).exp_m1(), capacity * left],
        [result.run.audit.to_spray_J, capacity * result.uncertainty_K(0)],
    ));
    Ok(outcomes)
}

/// A half-heated plate under a square wave in the state that comes back; and that no heat is lost.
pub fn square_wave() -> Outcomes {
    const FAMILY: Family =
        Family { kind: Kind::Analytic, source: &sources::PERIODIC_MODES, unit: "K" };
    const ENERGY: Family = Family { kind: Kind::Analytic, source: &sources::FIRST_LAW, unit: "" };
    let (size, thickness, htc) = ([20e-3, 4e-3], 0.5e-3, 300.0);
    let (on, off, power_W) = (0.4, 0.9, 6.0);
    let mut module = plate(size, &[thickness], htc);
    let left =
        RectSource { x: 0.25 * size[0], y: 0.5 * size[1], width: 0.5 * size[0], height: size[1] };
    add_heater(&mut module, 0, &left, power_W);
    let mut cycle = still(&module, on + off, CycleStart::Periodic, 0.005);
    cycle.power_W = vec![Signal::through(&[0.0, on], &[power_W, 0.0], Shape::Steps, on + off)];
    let mesh = even(size, [160, 1], &[1], &module);
    let result = runs(&module, &cycle, &mesh)?;
    let flux = power_W / (0.5 * size[0] * size[1]);
    let series = PulsedPlate {
        length: size[0],
        conductance: CONDUCTIVITY * thickness,
        capacity: DENSITY * SPECIFIC_HEAT * thickness,
        // Half of the one sheet stands before the spray.
        htc: 1.0 / (1.0 / htc + 0.5 * thickness / CONDUCTIVITY),
        flux,
        on,
        off,
    };
    let [high, low] = series.mean_at_ends();
    // The face is that much hotter than the middle of its sheet while heat is released on it.
    let drop = flux * 0.5 * thickness / CONDUCTIVITY;
    let records = &result.run.records;
    let near = |time_s: f64, at_s: f64| (time_s - at_s).abs() < 1e-9;
    let highest = records
        .iter()
        .filter(|record| near(record.time_s, on))
        .map(|record| record.mean_K[0] - AMBIENT_K)
        .fold(f64::NAN, f64::max);
    let lowest = records.last().map_or(f64::NAN, |record| record.mean_K[0] - AMBIENT_K);
    let known_K = result.uncertainty_K(0);
    let case = "half-heated plate under a square wave";
    let place = "modes cos(n pi x / L), 2000 terms";
    Ok(vec![
        FAMILY.outcome(case, "end of the time on", place, [high + drop, 1e-4], [highest, known_K]),
        FAMILY.outcome(case, "end of the time off", place, [low, 1e-4], [lowest, known_K]),
        FAMILY.outcome(
            case,
            "periodic swing",
            place,
            [high + drop - low, 1e-4],
            [highest - lowest, known_K],
        ),
        ENERGY.outcome(
            case,
            "heat stored less heat in plus heat out, of the largest of them",
            "energy is conserved",
            [0.0, 1e-8],
            [result.run.audit.imbalance_relative(), 0.0],
        ),
    ])
}

/// Observed order in time on a lump under a ramp, and the state after a long time.
pub fn order_and_limit() -> Outcomes {
    const ORDER: Family = Family { kind: Kind::Analytic, source: &sources::TR_BDF2, unit: "" };
    const LIMIT: Family =
        Family { kind: Kind::Analytic, source: &sources::SERIES_RESISTANCES, unit: "K" };
    const ENERGY: Family = Family { kind: Kind::Analytic, source: &sources::FIRST_LAW, unit: "" };
    let exactly = TransientOptions { relative_residual: Some(1e-12) };
    let (size, thickness, htc) = ([8e-3, 6e-3], 0.5e-3, 2000.0);
    let mut module = plate(size, &[thickness], htc);
    add_heater(&mut module, 0, &whole(size), 0.0);
    let half = 0.5 * thickness / CONDUCTIVITY;
    let sheet_htc = 1.0 / (1.0 / htc + half);
    let constant_s = DENSITY * SPECIFIC_HEAT * thickness / sheet_htc;
    let end_s = 2.0 * constant_s;
    let flux = 5e4;
    let mut cycle = still(&module, end_s, CycleStart::Uniform(AMBIENT_K), 0.1);
    let power_W = flux * size[0] * size[1];
    cycle.power_W = vec![Signal::through(&[0.0, end_s], &[0.0, power_W], Shape::Ramps, end_s)];
    let mesh = even(size, [3, 2], &[1], &module);
    // The face stands half a sheet before the middle.
    let exact = ramped_lump(flux / end_s, sheet_htc, constant_s, end_s) + flux * half;
    let mut errors = Vec::new();
    for count in [8, 16, 32, 64] {
        let run = equal_steps(&request(&module, &cycle, &mesh), count, exactly)?;
        let last = run.records.last().map_or(f64::NAN, |record| record.mean_K[0] - AMBIENT_K);
        errors.push((last - exact).abs());
    }
    let order = (errors[2] / errors[3]).log2();

    // A slab that is heated below and cooled above, long after.
    let thickness = 4e-3;
    let mut slab = plate(size, &[thickness], htc);
    add_heater(&mut slab, 0, &whole(size), power_W);
    let mesh = even(size, [3, 2], &[16], &slab);
    let long_s = 400.0 * thickness * thickness / DIFFUSIVITY;
    let constant_power = still(&slab, long_s, CycleStart::Uniform(AMBIENT_K + 60.0), 0.1);
    let run = equal_steps(&request(&slab, &constant_power, &mesh), 40, exactly)?;
    let last = run.records.last().map_or(f64::NAN, |record| record.max_K[0] - AMBIENT_K);
    let steady = flux * (1.0 / htc + thickness / CONDUCTIVITY);
    Ok(vec![
        ORDER.outcome(
            "lump under a ramp of heat",
            "observed order in time, 32 and 64 steps",
            "the scheme is of second order",
            [2.0, 0.1],
            [order, 0.0],
        ),
        LIMIT.outcome(
            "slab, 400 diffusion times after its heat is switched on",
            "heated face",
            "resistances in series; a hundred millionth of it",
            [steady, 1e-8 * steady],
            [last, 0.0],
        ),
        ENERGY.outcome(
            "slab, 400 diffusion times after its heat is switched on",
            "heat stored less heat in plus heat out, of the largest of them",
            "energy is conserved",
            [0.0, 1e-8],
            [run.audit.imbalance_relative(), 0.0],
        ),
    ])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The remembered table against the equation that it tabulates.
    #[test]
    fn the_remembered_table_has_the_roots_of_its_equation() {
        for (biot, root, coefficient) in WALL_TABLE {
            let exact = wall_roots(biot, 1)[0];
            assert!((root - exact).abs() <= TABLE_DIGIT, "{biot}: {root} {exact}");
            assert!((coefficient - wall_coefficient(exact)).abs() <= TABLE_DIGIT, "{biot}");
        }
    }

    #[test]
    fn every_check_holds() {
        for family in [wall, half_space, lump, square_wave, order_and_limit] {
            for outcome in family().expect("a run") {
                assert!(
                    outcome.holds(),
                    "{} {}: {} is not {} within {} + {}",
                    outcome.check.case,
                    outcome.check.what,
                    outcome.computed,
                    outcome.check.expect,
                    outcome.uncertainty,
                    outcome.check.within
                );
            }
        }
    }

    /// The uncertainties are small enough to say something.
    #[test]
    fn nothing_holds_because_it_is_badly_known() {
        for family in [wall, half_space, lump, square_wave] {
            for outcome in family().expect("a run") {
                let allowed = outcome.uncertainty + outcome.check.within;
                assert!(
                    allowed < 0.02 * outcome.check.expect.abs().max(5.0),
                    "{} {}: {allowed}",
                    outcome.check.case,
                    outcome.check.what
                );
            }
        }
    }
}
