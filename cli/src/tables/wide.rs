//! Tables with a column a junction: resistances and sensitivities.

use ndarray::Array2;
use sprayside_solver::study::Sensitivity;
use sprayside_solver::study::sensitivity::Derivative;

use crate::figures::figure;

/// A matrix with the names of rows and columns: `junction,` and a column a source of heat.
pub fn matrix_csv(names: &[String], values: &Array2<f64>) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let head = std::iter::once("junction").chain(names.iter().map(String::as_str));
    writer.write_record(head)?;
    for (name, row) in names.iter().zip(values.rows()) {
        let cells = row.iter().map(|value| cell(Some(*value)));
        writer.write_record(std::iter::once(name.clone()).chain(cells))?;
    }
    writer.into_inner().map_err(|error| error.into_error().into())
}

/// Columns of a table of sensitivities before those of the junctions.
pub const SENSITIVITY_HEADER: [&str; 5] = ["input", "of", "value", "unit", "step"];

/// A row an input, a column a junction: kelvin for a step of the input. `of` chooses which
/// reading.
pub fn sensitivity_csv(
    result: &Sensitivity,
    of: fn(Derivative) -> f64,
) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let names = result.junctions.iter().map(String::as_str);
    writer.write_record(SENSITIVITY_HEADER.into_iter().chain(names))?;
    for row in &result.rows {
        let quantity = row.entry.parameter.quantity();
        let fixed = [
            quantity.word.to_owned(),
            row.entry.of.clone(),
            cell(row.entry.value_in_unit()),
            quantity.unit.to_owned(),
            quantity.step.words.to_owned(),
        ];
        let gains = (0..result.junctions.len()).map(|k| cell(Some(of(row.per_step(k)))));
        writer.write_record(fixed.into_iter().chain(gains))?;
    }
    writer.into_inner().map_err(|error| error.into_error().into())
}

/// A number as CSV has it; empty where there is none.
fn cell(value: Option<f64>) -> String {
    value.and_then(figure).map_or(String::new(), |value| value.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_matrix_has_its_names_on_both_sides() {
        let names = ["A".to_owned(), "B, 2".to_owned()];
        let values = ndarray::array![[0.5, 1.0 / 3.0], [0.0, 2.0]];
        let text = String::from_utf8(matrix_csv(&names, &values).expect("csv")).expect("UTF-8");
        assert_eq!(text, "junction,A,\"B, 2\"\nA,0.5,0.3333333333\n\"B, 2\",0,2\n");
    }
}
