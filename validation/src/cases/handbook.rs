//! Worked examples of textbooks.

use super::{Family, Outcomes};
use crate::check::Kind;
use crate::closed_form::RectSource;
use crate::sources;
use crate::vehicle::{AMBIENT_K, add_heater, solved, vehicle, whole};
use sprayside_solver::results::{PlaneField, SteadyResult};

/// Coefficient that holds a face at the temperature of its medium, W/(m²·K).
const HELD: f64 = 1e9;
const ZERO_C: f64 = 273.15;

/// Area integral of a field where x > `from_m`, value·m².
fn integral_beyond(field: &PlaneField, from_m: f64) -> f64 {
    let mut sum = 0.0;
    for (j, y) in field.y_lines_m.windows(2).enumerate() {
        for (i, x) in field.x_lines_m.windows(2).enumerate() {
            let width = x[1] - x[0].max(from_m);
            if width > 0.0 {
                sum += field.values[[j, i]] * width * (y[1] - y[0]);
            }
        }
    }
    sum
}

/// Value at x, linear between cell centres of the lowest row.
fn along_x(field: &PlaneField, x_m: f64) -> f64 {
    let centres: Vec<f64> = field.x_lines_m.windows(2).map(|w| 0.5 * (w[0] + w[1])).collect();
    let i = centres.partition_point(|&c| c <= x_m).clamp(1, centres.len() - 1);
    let weight = (x_m - centres[i - 1]) / (centres[i] - centres[i - 1]);
    field.values[[0, i - 1]] * (1.0 - weight) + field.values[[0, i]] * weight
}

/// Flux through a slab without sources, W/m².
fn flux(result: &SteadyResult, area_m2: f64) -> f64 {
    result.balance.to_board_W / area_m2
}

/// Incropera & DeWitt: furnace wall, chip on a substrate, very long rods.
pub fn incropera() -> Outcomes {
    const TEMPERATURE: Family =
        Family { kind: Kind::Published, source: &sources::INCROPERA, unit: "°C" };
    const FLUX: Family =
        Family { kind: Kind::Published, source: &sources::INCROPERA, unit: "W/m²" };
    const HEAT: Family = Family { kind: Kind::Published, source: &sources::INCROPERA, unit: "W" };
    let mut outcomes = Vec::new();

    let size = [1.2, 0.5];
    let mut wall = vehicle(size, &[(0.15, [1.7; 3])], HELD, HELD);
    wall.coolant.inlet_K = 1400.0;
    wall.board.temperature_K = 1150.0;
    let result = solved(&wall)?;
    outcomes.push(FLUX.outcome(
        "furnace wall of fireclay brick",
        "heat flux",
        "example 1.1 (from memory)",
        [2833.0, 0.5],
        [flux(&result, size[0] * size[1]), 1e-6],
    ));

    // 10 mm chip, 0.9e-4 m²K/W of epoxy joint, 8 mm of aluminium, air on both sides.
    let size = [10e-3, 10e-3];
    let joint = 0.02e-3;
    let mut chip = vehicle(size, &[(8e-3, [239.0; 3]), (joint, [joint / 0.9e-4; 3])], 100.0, 100.0);
    add_heater(&mut chip, 2, &whole(size), 1e4 * size[0] * size[1]);
    let junction = solved(&chip)?.junctions[0].clone();
    outcomes.push(TEMPERATURE.outcome(
        "silicon chip glued to an aluminium substrate",
        "chip temperature",
        "example 3.2 (statement seen, printed result from memory)",
        [75.3, 0.05],
        [junction.max_K - ZERO_C, junction.uncertainty_K],
    ));

    // A rod of diameter D and a plate of thickness D/2 have the same perimeter over area; the
    // plate's width is then that of the same area. Base at 100 °C, air at 25 °C, 100 W/(m²·K).
    let diameter = 5e-3;
    let thickness = 0.5 * diameter;
    let width = std::f64::consts::FRAC_PI_4 * diameter * diameter / thickness;
    for (name, conductivity, length, printed) in [
        ("copper", 398.0, 0.60, 8.3),
        ("2024 aluminium", 180.0, 0.40, 5.6),
        ("AISI 316 steel", 14.0, 0.12, 1.6),
    ] {
        let base = 20e-3;
        let size = [base + length, width];
        let mut fin = vehicle(size, &[(thickness, [conductivity; 3])], 100.0, 100.0);
        let heated = RectSource { x: 2.5e-3, y: 0.5 * width, width: 5e-3, height: width };
        add_heater(&mut fin, 1, &heated, 2.0 * printed);
        fin.mesh.accuracy_K = 0.5;
        let result = solved(&fin)?;
        // Far enough from the heated end for the temperature to be even over the section, the
        // rest is a rod again; its heat scales with its base temperature.
        let rise = along_x(&result.surface_K, base) - AMBIENT_K;
        let through = 2.0 * integral_beyond(&result.spray_flux_W_m2, base);
        let heat = through * 75.0 / rise;
        outcomes.push(HEAT.outcome(
            &format!("very long {name} rod, 5 mm"),
            "heat loss, base at 100 °C",
            "example 3.8 (from memory)",
            [printed, 0.05],
            [heat, heat * result.junctions[0].uncertainty_K / rise],
        ));
    }
    Ok(outcomes)
}

/// Çengel: single- and double-pane windows of 0.8 m × 1.5 m, 20 °C in, -10 °C out.
pub fn cengel() -> Outcomes {
    const HEAT: Family = Family { kind: Kind::Published, source: &sources::CENGEL, unit: "W" };
    const TEMPERATURE: Family =
        Family { kind: Kind::Published, source: &sources::CENGEL, unit: "°C" };
    let size = [1.5, 0.8];
    let mut outcomes = Vec::new();
    for (name, place, layers, printed_heat, heat_rounding, printed_face) in [
        (
            "single-pane window",
            "example 3-2 (from memory)",
            vec![(8e-3, [0.78; 3])],
            266.0,
            0.5,
            -2.2,
        ),
        (
            "double-pane window",
            "example 3-3 (from memory)",
            vec![(4e-3, [0.78; 3]), (10e-3, [0.026; 3]), (4e-3, [0.78; 3])],
            69.2,
            0.05,
            14.2,
        ),
    ] {
        // The room is on the spray side.
        let mut window = vehicle(size, &layers, 40.0, 10.0);
        window.coolant.inlet_K = 20.0 + ZERO_C;
        window.board.temperature_K = -10.0 + ZERO_C;
        let result = solved(&window)?;
        outcomes.push(HEAT.outcome(
            name,
            "heat loss",
            place,
            [printed_heat, heat_rounding],
            [result.balance.to_board_W, 1e-6],
        ));
        outcomes.push(TEMPERATURE.outcome(
            name,
            "inner face",
            place,
            [printed_face, 0.05],
            [result.surface_K.values[[0, 0]] - ZERO_C, 1e-6],
        ));
    }
    Ok(outcomes)
}

/// Holman: rock wool that cuts the loss of a brick and plaster wall by 80 %.
pub fn holman() -> Outcomes {
    const FAMILY: Family = Family { kind: Kind::Published, source: &sources::HOLMAN, unit: "-" };
    let size = [2.0, 1.0];
    let (brick, plaster) = ((0.1016, [0.7; 3]), (0.0381, [0.48; 3]));
    let mut losses = Vec::new();
    for layers in [vec![brick, plaster], vec![brick, plaster, (0.0584, [0.065; 3])]] {
        let mut wall = vehicle(size, &layers, HELD, HELD);
        wall.coolant.inlet_K = 295.0;
        wall.board.temperature_K = 265.0;
        losses.push(flux(&solved(&wall)?, size[0] * size[1]));
    }
    Ok(vec![FAMILY.outcome(
        "brick and plaster wall with 0.0584 m of rock wool",
        "loss with over loss without insulation",
        "example 2-1 (from memory)",
        // The printed thickness is rounded to 0.1 mm: 0.05 mm is 0.7e-4 of the ratio.
        [0.2, 2e-4],
        [losses[1] / losses[0], 1e-8],
    )])
}

/// Lienhard: a slab of lead; copper between two sheets of stainless steel.
pub fn lienhard() -> Outcomes {
    const FLUX: Family =
        Family { kind: Kind::Published, source: &sources::LIENHARD, unit: "kW/m²" };
    let mut outcomes = Vec::new();
    let size = [0.8, 0.5];
    let steel = (2e-3, [17.0; 3]);
    for (name, place, layers, hot, cold, printed, rounding) in [
        (
            "slab of lead",
            "example 1.1 (from memory)",
            vec![(0.03, [35.0; 3])],
            110.0,
            50.0,
            70.0,
            0.05,
        ),
        (
            "copper between sheets of stainless steel",
            "example 1.2 (from memory)",
            vec![steel, (3e-3, [372.0; 3]), steel],
            400.0,
            100.0,
            1233.0,
            0.5,
        ),
    ] {
        let mut wall = vehicle(size, &layers, HELD, HELD);
        wall.coolant.inlet_K = hot + ZERO_C;
        wall.board.temperature_K = cold + ZERO_C;
        let result = solved(&wall)?;
        outcomes.push(FLUX.outcome(
            name,
            "heat flux",
            place,
            [printed, rounding],
            [1e-3 * flux(&result, size[0] * size[1]), 1e-6],
        ));
    }
    Ok(outcomes)
}
