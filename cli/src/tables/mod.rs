//! The rows that go to CSV and to JSON, with the units in their names.

mod arrange;
mod coverage;
mod cycle;
mod fit;
mod hot_spots;
mod junctions;
mod levels;
mod qualification;
mod sensors;
mod wide;

pub use arrange::{BeforeAfterRow, NozzleRow, TradeOffRow};
pub use coverage::{CoverageRow, DryPatchRow};
pub use cycle::{CycleRow, history_csv, step_response_csv};
pub use fit::{FitRow, FitSensorRow};
pub use hot_spots::HotSpotRow;
pub use junctions::JunctionRow;
#[cfg(test)]
pub use junctions::tests as testing;
pub use levels::LevelRow;
pub use qualification::QualificationRow;
pub use sensors::SensorRow;
pub use wide::{matrix_csv, sensitivity_csv};

use serde::Serialize;

/// Rows as CSV with a header: UTF-8, commas, decimal points, empty cells where there is no meaning.
pub fn csv<Row: Serialize>(header: &[&str], rows: &[Row]) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::WriterBuilder::new().has_headers(false).from_writer(Vec::new());
    writer.write_record(header)?;
    for row in rows {
        writer.serialize(row)?;
    }
    writer.into_inner().map_err(|error| error.into_error().into())
}
