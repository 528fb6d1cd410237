//! `fields.npz`: NumPy's archive of arrays, `[row, column]`, the lowest row first.

use std::io::Cursor;

use ndarray::{Array1, arr2};
use ndarray_npy::NpzWriter;

use super::fields::Fields;

/// The bytes of the file.
pub fn file(fields: &Fields) -> Result<Vec<u8>, String> {
    let mut bytes = Cursor::new(Vec::new());
    let mut archive = NpzWriter::new(&mut bytes);
    for (name, lines) in [("x_lines_m", &fields.x_lines_m), ("y_lines_m", &fields.y_lines_m)] {
        archive.add_array(name, &Array1::from(lines.clone())).map_err(|error| error.to_string())?;
    }
    for field in &fields.all {
        archive.add_array(&field.name, &field.values).map_err(|error| error.to_string())?;
    }
    archive
        .add_array("source_rect_m", &arr2(&fields.outlines_m))
        .map_err(|error| error.to_string())?;
    archive.finish().map_err(|error| error.to_string())?;
    Ok(bytes.into_inner())
}
