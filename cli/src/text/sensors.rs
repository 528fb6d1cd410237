//! What the sensors should read, for people.

use super::table::{Side, Table};
use super::{HEADING, WIDTH, styled, wrapped};
use crate::figures::{decimals_for, rounded_up, significant};
use crate::tables::SensorRow;

/// Most rows; the rest is in the file.
const MOST_ROWS: usize = 40;

/// The table of predicted readings; nothing without sensors.
pub fn sensors(rows: &[SensorRow]) -> String {
    if rows.is_empty() {
        return String::new();
    }
    let mut table = Table::new(vec![
        ("sensor", "", Side::Left),
        ("on", "", Side::Left),
        ("face", "", Side::Left),
        ("predicted", "°C", Side::Right),
        ("limit of error", "K", Side::Right),
        ("placement", "K", Side::Right),
        ("type", "", Side::Left),
    ]);
    for row in rows.iter().take(MOST_ROWS) {
        let uncertainty_K = row.uncertainty_K.unwrap_or(f64::NAN);
        let decimals = decimals_for(uncertainty_K);
        table.row(
            vec![
                row.sensor.clone(),
                row.on.clone(),
                row.face.to_owned(),
                format!(
                    "{:.decimals$} ± {}",
                    row.predicted_C.unwrap_or(f64::NAN),
                    rounded_up(uncertainty_K, decimals)
                ),
                format!("± {}", significant(row.limit_of_error_K.unwrap_or(f64::NAN), 3)),
                match row.placement_K {
                    Some(placement_K) if placement_K > 0.0 => {
                        format!("± {}", significant(placement_K, 2))
                    }
                    _ => String::new(),
                },
                row.type_name.to_owned(),
            ],
            None,
        );
    }
    let more = match rows.len().saturating_sub(MOST_ROWS) {
        0 => String::new(),
        n => format!("  {n} more are in sensors.csv.\n"),
    };
    let note = "The uncertainty is the numerical one of the prediction; what the sensor itself and \
                its placement may be off stands beside it and is not in it.";
    format!(
        "\n{}\n{}{more}  {}\n",
        styled(HEADING, "What the sensors should read:"),
        table.text(),
        wrapped(note, WIDTH - 2, "  ")
    )
}
