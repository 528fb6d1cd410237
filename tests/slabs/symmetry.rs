//! Turned, mirrored and renamed modules; superposition; heat balance; bounds.

use sprayside_solver::module::{
    ActiveFace, GridMap, HtcPatch, Module, PowerBlock, PrescribedHtc, Rect, Spray,
};
use sprayside_solver::results::SteadyResult;

use crate::stack::{BOARD_K, INLET_K, assert_close, die, heater, module, tightly};

/// A module without any symmetry: three die, blocks, a power map, patches, a heater, orthotropic
/// layers, cooled edges.
fn lopsided() -> Module {
    let layers = [(0.8e-3, [16.0, 11.0, 0.6]), (1.0e-3, [45.0, 38.0, 20.0])];
    let mut module = module([22e-3, 15e-3], &layers, 220.0, 6000.0);
    module.edge.htc_W_m2K = 150.0;
    module.mesh.cell_m = Some(0.7e-3);
    let rect = |x0, y0, w, h| Rect { x0_m: x0, y0_m: y0, x1_m: x0 + w, y1_m: y0 + h };
    let silicon = (0.6e-3, [130.0, 130.0, 130.0]);
    let attach = Some((0.09e-3, [0.8, 0.8, 6.0]));
    let mut first = die("A", rect(2e-3, 2e-3, 6e-3, 5e-3), silicon, attach, ActiveFace::Down, 40.0);
    first.blocks.push(PowerBlock {
        name: "core".to_owned(),
        rect: rect(2.5e-3, 3e-3, 2e-3, 1.5e-3),
        power_W: 18.0,
    });
    let mut second =
        die("B", rect(11e-3, 7e-3, 8e-3, 6e-3), silicon, attach, ActiveFace::Down, 55.0);
    second.power_map = Some(GridMap {
        rect: second.rect,
        nx: 3,
        ny: 2,
        values: vec![1.0, 2.0, 4.0, 0.5, 3.0, 1.5],
    });
    let third = die("C", rect(12e-3, 1e-3, 3e-3, 4e-3), silicon, None, ActiveFace::Up, 9.0);
    module.die = vec![first, second, third];
    module.heaters.push(heater(1, rect(3e-3, 9e-3, 5e-3, 3e-3), 4.0));
    if let Spray::Prescribed(spray) = &mut module.spray {
        spray.base = PrescribedHtc::Uniform(6000.0);
        spray.patches.push(HtcPatch { rect: rect(1e-3, 1e-3, 8e-3, 7e-3), htc_W_m2K: 11_000.0 });
        spray.patches.push(HtcPatch { rect: rect(6e-3, 5e-3, 9e-3, 6e-3), htc_W_m2K: 3000.0 });
    }
    module
}

/// Applies a map of the plane to every rectangle, and to the values of the power map.
fn mapped(
    module: &Module,
    size_m: [f64; 2],
    swap_axes: bool,
    rect: impl Fn(&Rect) -> Rect,
    map_values: impl Fn(&GridMap) -> GridMap,
) -> Module {
    let mut out = module.clone();
    out.size_m = size_m;
    let turn_material = |material: &std::sync::Arc<sprayside_solver::library::Material>| {
        let mut turned = (**material).clone();
        if swap_axes {
            turned.conductivity_W_mK.swap(0, 1);
        }
        std::sync::Arc::new(turned)
    };
    for layer in &mut out.layers {
        layer.material = turn_material(&layer.material);
    }
    for die in &mut out.die {
        die.rect = rect(&die.rect);
        die.material = turn_material(&die.material);
        for block in &mut die.blocks {
            block.rect = rect(&block.rect);
        }
        if let Some(map) = &die.power_map {
            die.power_map = Some(GridMap { rect: die.rect, ..map_values(map) });
        }
    }
    for heater in &mut out.heaters {
        heater.rect = rect(&heater.rect);
    }
    if let Spray::Prescribed(spray) = &mut out.spray {
        for patch in &mut spray.patches {
            patch.rect = rect(&patch.rect);
        }
    }
    out
}

#[track_caller]
fn assert_same(what: &str, a: &SteadyResult, b: &SteadyResult) {
    for (p, q) in a.junctions.iter().zip(&b.junctions) {
        for (which, p_K, q_K) in
            [("max", p.max_K, q.max_K), ("mean", p.mean_K, q.mean_K), ("min", p.min_K, q.min_K)]
        {
            let what = format!("{what}: {which} of {}", p.name);
            assert_close(&what, p_K - INLET_K, q_K - INLET_K, 1e-9, p_K - INLET_K);
        }
        assert_close(
            &format!("{what}: heat to spray of {}", p.name),
            p.heat_to_spray_W,
            q.heat_to_spray_W,
            1e-9,
            p.power_W,
        );
    }
    let in_W = a.balance.in_W;
    assert_close(what, a.balance.to_board_W, b.balance.to_board_W, 1e-9, in_W);
    assert_close(what, a.balance.to_edges_W, b.balance.to_edges_W, 1e-9, in_W);
}

#[test]
fn a_mirrored_module_has_the_mirrored_answer() {
    let module = lopsided();
    let width = module.size_m[0];
    let mirror = |r: &Rect| Rect { x0_m: width - r.x1_m, x1_m: width - r.x0_m, ..*r };
    let mirrored = mapped(&module, module.size_m, false, mirror, |map| {
        let mut values = map.values.clone();
        values.chunks_mut(map.nx).for_each(<[f64]>::reverse);
        GridMap { values, ..map.clone() }
    });
    let (a, b) = (tightly(&module), tightly(&mirrored));
    assert_same("mirrored", &a, &b);
    for (p, q) in a.junctions.iter().zip(&b.junctions) {
        assert_close("hot spot", p.hot_spot_m[0], width - q.hot_spot_m[0], 1e-9, width);
    }
}

#[test]
fn a_module_turned_by_a_quarter_has_the_turned_answer() {
    let module = lopsided();
    let height = module.size_m[1];
    // (x, y) goes to (height - y, x).
    let turn = |r: &Rect| Rect {
        x0_m: height - r.y1_m,
        x1_m: height - r.y0_m,
        y0_m: r.x0_m,
        y1_m: r.x1_m,
    };
    let turned = mapped(&module, [module.size_m[1], module.size_m[0]], true, turn, |map| {
        let mut values = Vec::new();
        for new_j in 0..map.nx {
            for new_i in 0..map.ny {
                values.push(map.values[(map.ny - 1 - new_i) * map.nx + new_j]);
            }
        }
        GridMap { nx: map.ny, ny: map.nx, values, ..map.clone() }
    });
    assert_same("turned", &tightly(&module), &tightly(&turned));
}

#[test]
fn names_and_order_change_nothing() {
    let module = lopsided();
    let mut renamed = module.clone();
    renamed.die.reverse();
    for (n, die) in renamed.die.iter_mut().enumerate() {
        die.name = format!("zz{n}");
    }
    for layer in &mut renamed.layers {
        layer.name = format!("{}-renamed", layer.name);
    }
    let a = tightly(&module);
    let mut b = tightly(&renamed);
    b.junctions[..3].reverse();
    assert_same("renamed", &a, &b);
}

#[test]
fn the_rises_of_two_powers_add_up() {
    let mut module = lopsided();
    // Without power the part has the temperature field of its surroundings: take that away.
    module.board.temperature_K = INLET_K;
    module.edge.temperature_K = INLET_K;
    let with_powers = |scale: [f64; 4]| {
        let mut powered = module.clone();
        for (die, s) in powered.die.iter_mut().zip(scale) {
            die.power_W *= s;
            for block in &mut die.blocks {
                block.power_W *= s;
            }
        }
        powered.heaters[0].power_W *= scale[3];
        tightly(&powered)
    };
    let first = with_powers([1.0, 0.0, 0.0, 0.3]);
    let second = with_powers([0.0, 1.0, 1.0, 0.7]);
    let both = with_powers([1.0; 4]);
    for k in 0..4 {
        let sum = (first.junctions[k].mean_K - INLET_K) + (second.junctions[k].mean_K - INLET_K);
        let whole = both.junctions[k].mean_K - INLET_K;
        assert_close(&both.junctions[k].name, sum, whole, 1e-9, whole);
    }
    let doubled = with_powers([2.0; 4]);
    for (one, two) in both.junctions.iter().zip(&doubled.junctions) {
        let rise = one.max_K - INLET_K;
        assert_close(&one.name, two.max_K - INLET_K, 2.0 * rise, 1e-9, rise);
    }
}

#[test]
fn heat_in_equals_heat_out_on_every_grid() {
    for cell in [Some(2e-3), Some(0.5e-3), None] {
        let mut module = lopsided();
        module.mesh.cell_m = cell;
        module.mesh.accuracy_K = 1.0;
        let result = tightly(&module);
        assert!(result.balance.imbalance_relative() < 1e-9, "{cell:?}: {:?}", result.balance);
        assert_close("power", result.balance.in_W, 108.0, 1e-12, 108.0);
    }
}

#[test]
fn without_power_no_temperature_leaves_the_range_of_the_surroundings() {
    let mut module = lopsided();
    for die in &mut module.die {
        die.power_W = 0.0;
        die.blocks.clear();
        die.power_map = None;
    }
    module.heaters[0].power_W = 0.0;
    module.edge.temperature_K = 303.0;
    let result = tightly(&module);
    for sheet in &result.sheets {
        for &t in sheet.temperature_K.values.iter().filter(|t| t.is_finite()) {
            assert!((INLET_K - 1e-9..=BOARD_K + 1e-9).contains(&t), "{}: {t} K", sheet.name);
        }
    }
}
