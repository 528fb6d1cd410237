//! Stack × source interface × Biot number × resolution: agreement with the closed form to 1e-8 of
//! the rise.

use sprayside_solver::module::ActiveFace;

use crate::closed_form::Slab;
use crate::stack::{BOARD_K, INLET_K, assert_close, die, heater, module, tightly};

type Stratum = (f64, [f64; 3]);

/// Relative agreement asked for.
const AGREEMENT: f64 = 1e-8;
const SIZE_M: [f64; 2] = [7.3e-3, 4.1e-3];
const FLUX_W_M2: f64 = 2.3e5;

fn iso(thickness: f64, k: f64) -> Stratum {
    (thickness, [k; 3])
}

/// Three stacks: one ceramic, a laminate of orthotropic layers, thick against thin.
fn stacks() -> Vec<(&'static str, Vec<Stratum>)> {
    vec![
        ("ceramic", vec![iso(1.0e-3, 24.0)]),
        (
            "laminate",
            vec![
                (0.4e-3, [18.0, 12.0, 0.3]),
                (35e-6, [398.0, 398.0, 398.0]),
                (0.8e-3, [0.9, 1.1, 0.35]),
            ],
        ),
        (
            "thick on thin",
            vec![iso(20e-6, 0.2), iso(12e-3, 390.0), iso(5e-6, 1.4), iso(0.6e-3, 148.0)],
        ),
    ]
}

/// Coefficients that give the whole stack the Biot number `biot` on the wet side (and a tenth of
/// it on the dry side).
fn coefficients(layers: &[Stratum], biot: f64) -> [f64; 2] {
    let resistance: f64 = layers.iter().map(|(t, k)| t / k[2]).sum();
    [0.1 * biot / resistance, biot / resistance]
}

fn slab(layers: &[Stratum], [board, spray]: [f64; 2]) -> Slab {
    Slab {
        layers: layers.iter().map(|(t, k)| [*t, k[2]]).collect(),
        below: [board, BOARD_K],
        above: [spray, INLET_K],
    }
}

/// Heater on every interface of `layers` in turn, on cells of at most `cell_m`, each layer cut
/// into `slices`.
fn check_heaters(name: &str, layers: &[Stratum], biot: f64, cell_m: f64, slices: Option<usize>) {
    let [board, spray] = coefficients(layers, biot);
    for interface in 0..=layers.len() {
        let mut module = module(SIZE_M, layers, board, spray);
        module.mesh.cell_m = Some(cell_m);
        for layer in &mut module.layers {
            layer.slices = slices;
        }
        module.heaters.push(heater(interface, module.outline(), FLUX_W_M2 * SIZE_M[0] * SIZE_M[1]));
        let mut heat = vec![0.0; layers.len() + 1];
        heat[interface] = FLUX_W_M2;
        let slab = slab(layers, [board, spray]);
        let expected = slab.interface_temperatures(&heat);
        let [to_spray, to_board] = slab.heat_to_media(&heat);
        let result = tightly(&module);
        let junction = &result.junctions[0];
        let what = format!("{name}, Bi {biot:e}, interface {interface}, cells {cell_m:e} m");
        let scale = (expected[interface] - INLET_K).abs();
        for (which, value) in
            [("max", junction.max_K), ("mean", junction.mean_K), ("min", junction.min_K)]
        {
            assert_close(
                &format!("{what}, {which}"),
                value - INLET_K,
                expected[interface] - INLET_K,
                AGREEMENT,
                scale,
            );
        }
        let top = expected[layers.len()];
        assert_close(
            &format!("{what}, wet surface"),
            result.surface_K.values[[0, 0]] - INLET_K,
            top - INLET_K,
            AGREEMENT,
            scale,
        );
        let area = SIZE_M[0] * SIZE_M[1];
        let heat_scale = FLUX_W_M2.max(to_spray.abs()) * area;
        assert_close(
            &format!("{what}, to spray"),
            result.balance.to_spray_W,
            to_spray * area,
            AGREEMENT,
            heat_scale,
        );
        assert_close(
            &format!("{what}, to board"),
            result.balance.to_board_W,
            to_board * area,
            AGREEMENT,
            heat_scale,
        );
        assert!(result.balance.imbalance_relative() < 1e-9, "{what}: {:?}", result.balance);
    }
}

#[test]
fn heaters_on_every_interface_agree_from_biot_1e_4_to_1e4() {
    for (name, layers) in stacks() {
        for biot in [1e-4, 1e-2, 1.0, 1e2, 1e4] {
            check_heaters(name, &layers, biot, 0.9e-3, None);
        }
    }
}

#[test]
fn agreement_does_not_depend_on_the_resolution() {
    for (name, layers) in stacks() {
        for (cell_m, slices) in [(4e-3, Some(1)), (0.7e-3, Some(3)), (0.23e-3, Some(2))] {
            check_heaters(name, &layers, 0.3, cell_m, slices);
        }
    }
}

#[test]
fn the_refined_default_agrees_and_admits_no_more_than_rounding() {
    for (name, layers) in stacks() {
        let [board, spray] = coefficients(&layers, 0.5);
        let mut module = module(SIZE_M, &layers, board, spray);
        let interface = layers.len();
        module.heaters.push(heater(interface, module.outline(), FLUX_W_M2 * SIZE_M[0] * SIZE_M[1]));
        let mut heat = vec![0.0; layers.len() + 1];
        heat[interface] = FLUX_W_M2;
        let expected = slab(&layers, [board, spray]).interface_temperatures(&heat)[interface];
        let junction = &tightly(&module).junctions[0];
        assert_close(
            name,
            junction.max_K - INLET_K,
            expected - INLET_K,
            AGREEMENT,
            expected - INLET_K,
        );
        assert!(
            junction.uncertainty_K <= 1e-4 * (expected - INLET_K),
            "{}",
            junction.uncertainty_K
        );
    }
}

/// A die over the whole module is a slab too: body and attach are its upper layers.
fn check_die(active_face: ActiveFace, attach: Option<Stratum>, biot: f64, cell_m: f64) {
    let body = (0.75e-3, [120.0, 140.0, 148.0]);
    let substrate = vec![(1.6e-3, [45.0, 30.0, 6.0]), iso(0.2e-3, 17.0)];
    let mut strata = substrate.clone();
    strata.extend(attach);
    let joint = strata.len();
    strata.push(body);
    let [board, spray] = coefficients(&strata, biot);
    let mut module = module(SIZE_M, &substrate, board, spray);
    module.mesh.cell_m = Some(cell_m);
    let power = FLUX_W_M2 * SIZE_M[0] * SIZE_M[1];
    module.die.push(die("C0", module.outline(), body, attach, active_face, power));
    let interface = if active_face == ActiveFace::Up { strata.len() } else { joint };
    let mut heat = vec![0.0; strata.len() + 1];
    heat[interface] = FLUX_W_M2;
    let slab = slab(&strata, [board, spray]);
    let expected = slab.interface_temperatures(&heat)[interface] - INLET_K;
    let result = tightly(&module);
    let what = format!("{active_face:?}, attach {attach:?}, Bi {biot:e}, cells {cell_m:e} m");
    for value in [result.junctions[0].max_K, result.junctions[0].mean_K, result.junctions[0].min_K]
    {
        assert_close(&what, value - INLET_K, expected, AGREEMENT, expected.abs());
    }
    let to_spray = slab.heat_to_media(&heat)[0] * SIZE_M[0] * SIZE_M[1];
    assert_close(
        &what,
        result.junctions[0].heat_to_spray_W,
        to_spray,
        AGREEMENT,
        power.max(to_spray.abs()),
    );
    assert!(result.balance.imbalance_relative() < 1e-9, "{what}: {:?}", result.balance);
}

#[test]
fn die_over_the_whole_module_agree_with_either_face_active() {
    for active_face in [ActiveFace::Down, ActiveFace::Up] {
        for attach in [None, Some((0.08e-3, [0.8, 0.8, 2.5]))] {
            for biot in [1e-4, 1e-2, 1.0, 1e2, 1e4] {
                check_die(active_face, attach, biot, 0.9e-3);
            }
            check_die(active_face, attach, 0.2, 0.31e-3);
        }
    }
}

#[test]
fn heaters_and_die_add_up_in_one_stack() {
    let body = iso(0.5e-3, 148.0);
    let attach = iso(0.1e-3, 1.5);
    let substrate = vec![iso(1.0e-3, 24.0), iso(0.5e-3, 170.0)];
    let mut module = module(SIZE_M, &substrate, 400.0, 7000.0);
    module.mesh.cell_m = Some(0.8e-3);
    let area = SIZE_M[0] * SIZE_M[1];
    let outline = module.outline();
    module.die.push(die("C0", outline, body, Some(attach), ActiveFace::Down, 9e4 * area));
    module.heaters.push(heater(0, outline, 1e4 * area));
    module.heaters.push(heater(1, outline, 3e4 * area));
    module.heaters.push(heater(2, outline, 2e4 * area));
    let strata = [substrate[0], substrate[1], attach, body];
    let expected =
        slab(&strata, [400.0, 7000.0]).interface_temperatures(&[1e4, 3e4, 2e4, 9e4, 0.0]);
    let result = tightly(&module);
    for (junction, interface) in result.junctions.iter().zip([3, 0, 1, 2]) {
        let rise = expected[interface] - INLET_K;
        assert_close(&junction.name, junction.max_K - INLET_K, rise, AGREEMENT, rise);
    }
}

#[test]
fn one_insulated_side_agrees_as_well() {
    let layers = vec![iso(1.0e-3, 24.0), iso(0.3e-3, 2.0)];
    for [board, spray] in [[0.0, 5000.0], [900.0, 0.0]] {
        for interface in 0..=2 {
            let mut module = module(SIZE_M, &layers, board, spray);
            module.mesh.cell_m = Some(0.8e-3);
            module.heaters.push(heater(
                interface,
                module.outline(),
                FLUX_W_M2 * SIZE_M[0] * SIZE_M[1],
            ));
            let mut heat = vec![0.0; 3];
            heat[interface] = FLUX_W_M2;
            let expected =
                slab(&layers, [board, spray]).interface_temperatures(&heat)[interface] - INLET_K;
            let junction = &tightly(&module).junctions[0];
            assert_close(
                &format!("board {board}, spray {spray}, interface {interface}"),
                junction.max_K - INLET_K,
                expected,
                AGREEMENT,
                expected,
            );
        }
    }
}
