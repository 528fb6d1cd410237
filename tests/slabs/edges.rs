//! Stacks with cooled side faces, in the two limits that have closed forms on every grid.

use crate::stack::{BOARD_K, INLET_K, assert_close, heater, module, tightly};

const SIZE_M: [f64; 2] = [7.3e-3, 4.1e-3];

#[test]
fn without_heat_everything_takes_the_temperature_of_board_and_edges() {
    for cell_m in [1.5e-3, 0.4e-3] {
        let layers = [(1.0e-3, [24.0, 20.0, 3.0]), (0.2e-3, [390.0; 3])];
        let mut module = module(SIZE_M, &layers, 350.0, 0.0);
        module.edge.htc_W_m2K = 2000.0;
        module.mesh.cell_m = Some(cell_m);
        module.heaters.push(heater(2, module.outline(), 0.0));
        let result = tightly(&module);
        for value in [result.junctions[0].max_K, result.junctions[0].min_K] {
            assert_close("no heat", value - INLET_K, BOARD_K - INLET_K, 1e-8, BOARD_K - INLET_K);
        }
        assert!(result.balance.to_edges_W.abs() < 1e-8, "{:?}", result.balance);
    }
}

/// With conductivity so high that the part is one temperature, heat leaves in proportion to
/// coefficient times area. The temperature differs from the lump by about
/// coefficient × length / conductivity, here 1e-5 of the rise; still higher conductivities leave
/// the sinks no digits beside the conductances.
#[test]
fn a_part_of_one_temperature_loses_heat_in_proportion_to_its_faces() {
    let conductivity = 1e6;
    let thickness = 3e-3;
    for cell_m in [1.5e-3, 0.4e-3] {
        let mut module = module(SIZE_M, &[(thickness, [conductivity; 3])], 300.0, 900.0);
        module.board.temperature_K = INLET_K;
        module.edge.temperature_K = INLET_K;
        module.edge.htc_W_m2K = 1500.0;
        module.mesh.cell_m = Some(cell_m);
        let power = 3.0;
        module.heaters.push(heater(1, module.outline(), power));
        let result = tightly(&module);
        let area = SIZE_M[0] * SIZE_M[1];
        let sides = 2.0 * (SIZE_M[0] + SIZE_M[1]) * thickness;
        let rise = power / (300.0 * area + 900.0 * area + 1500.0 * sides);
        assert_close("lump", result.junctions[0].max_K - INLET_K, rise, 1e-5, rise);
        assert_close("edges", result.balance.to_edges_W, 1500.0 * sides * rise, 1e-5, power);
        assert!(result.balance.imbalance_relative() < 1e-9, "{:?}", result.balance);
    }
}

#[test]
fn cooled_edges_lower_the_temperature_and_the_balance_still_closes() {
    let layers = [(1.0e-3, [24.0; 3])];
    let mut temperatures = Vec::new();
    for htc in [0.0, 200.0, 5000.0, 1e6] {
        let mut module = module(SIZE_M, &layers, 300.0, 4000.0);
        module.board.temperature_K = INLET_K;
        module.edge.temperature_K = INLET_K;
        module.edge.htc_W_m2K = htc;
        module.mesh.cell_m = Some(0.3e-3);
        module.heaters.push(heater(1, module.outline(), 5.0));
        let result = tightly(&module);
        assert!(result.balance.imbalance_relative() < 1e-9, "{:?}", result.balance);
        temperatures.push(result.junctions[0].mean_K);
    }
    assert!(temperatures.windows(2).all(|w| w[1] < w[0]), "{temperatures:?}");
}
