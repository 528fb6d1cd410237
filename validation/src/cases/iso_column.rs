//! The half square column of ISO 10211, lying on its side: x across, z up, y along.

use super::{Family, Outcomes};
use crate::check::Kind;
use crate::closed_form::square_column::PRINTED;
use crate::sources;
use crate::vehicle::{solved, vehicle};
use sprayside_solver::results::PlaneField;

/// Sheets through each eighth of the column: odd, so that the middle one is centred on a row.
const SHEETS_PER_ROW: usize = 5;

/// Temperature at x in the middle row of a sheet, linear between cell centres, K.
fn at(field: &PlaneField, x_m: f64) -> f64 {
    let j = field.y_lines_m.len() / 2;
    let centres: Vec<f64> = field.x_lines_m.windows(2).map(|w| 0.5 * (w[0] + w[1])).collect();
    let i = centres.partition_point(|&c| c <= x_m).clamp(1, centres.len() - 1);
    let weight = (x_m - centres[i - 1]) / (centres[i] - centres[i - 1]);
    let (low, high) = (field.values[[j, i - 1]], field.values[[j, i]]);
    low + weight * (high - low)
}

/// All 28 temperatures of the table; the standard allows 0.1 K.
pub fn half_square_column() -> Outcomes {
    const FAMILY: Family =
        Family { kind: Kind::Published, source: &sources::ISO_10211, unit: "°C" };
    // Four sides long: the cooled ends lower the middle by a few millikelvin only.
    let (side, length, held) = (8e-3, 32e-3, 1e9);
    let eighth = side / 8.0;
    let layers: Vec<(f64, [f64; 3])> = std::iter::once(0.5 * eighth)
        .chain(std::iter::repeat_n(eighth, 7))
        .chain(std::iter::once(0.5 * eighth))
        .map(|t| (t, [1.0; 3]))
        .collect();
    let mut module = vehicle([side, length], &layers, held, held);
    for layer in &mut module.layers {
        layer.slices = Some(SHEETS_PER_ROW);
    }
    // 20 °C above, 0 °C below and at the sides.
    module.coolant.inlet_K = 293.15;
    module.board.temperature_K = 273.15;
    module.edge.htc_W_m2K = held;
    module.edge.temperature_K = 273.15;
    module.mesh.cell_m = Some(side / 40.0);
    let result = solved(&module)?;
    let mut outcomes = Vec::new();
    for (row, values) in PRINTED.iter().enumerate() {
        // Row 0 is z = 7/8: layer 7; its middle sheet.
        let sheet = (7 - row) * SHEETS_PER_ROW + SHEETS_PER_ROW / 2;
        for (column, printed) in values.iter().enumerate() {
            let x = (column + 1) as f64 * eighth;
            outcomes.push(FAMILY.outcome(
                "half square column",
                &format!("temperature at x = {}/8, z = {}/8", column + 1, 7 - row),
                "case 1, 28 points, 0.1 K allowed",
                [*printed, 0.1],
                [at(&result.sheets[sheet].temperature_K, x) - 273.15, 0.0],
            ));
        }
    }
    Ok(outcomes)
}
