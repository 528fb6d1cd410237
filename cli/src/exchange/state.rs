//! `state.npz`: the temperatures of all cells, for another run to start from.
//!
//! NumPy's archive of arrays: the lines of the grid in m, a row a block (the substrate, then the
//! die in case order) with its first column and row and its columns and rows, a row a sheet with
//! its block and thickness in m (below zero for an attach), and the temperatures in K, block after
//! block, sheet after sheet from the board side up, row after row.

use std::fs::File;
use std::io::{BufReader, Cursor};
use std::path::Path;

use ndarray::{Array1, Array2};
use ndarray_npy::{NpzReader, NpzWriter};
use sprayside_solver::transient::{SavedBlock, SavedState};

use crate::failure::Failure;

/// The state at the end of a run, or of a solve.
pub const STATE: &str = "state.npz";

/// The bytes of the file.
pub fn file(state: &SavedState) -> Result<Vec<u8>, String> {
    let cells: Vec<i64> =
        state.blocks.iter().flat_map(|block| block.cells.map(|n| n as i64)).collect();
    let sheets: Vec<f64> = state
        .blocks
        .iter()
        .enumerate()
        .flat_map(|(b, block)| block.sheets_m.iter().flat_map(move |t| [b as f64, *t]))
        .collect();
    let table = |error: ndarray::ShapeError| error.to_string();
    let cells = Array2::from_shape_vec((cells.len() / 4, 4), cells).map_err(table)?;
    let sheets = Array2::from_shape_vec((sheets.len() / 2, 2), sheets).map_err(table)?;
    let mut bytes = Cursor::new(Vec::new());
    let mut archive = NpzWriter::new(&mut bytes);
    let failed = |error: ndarray_npy::WriteNpzError| error.to_string();
    for (name, values) in [
        ("x_lines_m", &state.x_lines_m),
        ("y_lines_m", &state.y_lines_m),
        ("temperature_K", &state.temperature_K),
    ] {
        archive.add_array(name, &Array1::from(values.clone())).map_err(failed)?;
    }
    archive.add_array("block_cells", &cells).map_err(failed)?;
    archive.add_array("sheet_block_thickness_m", &sheets).map_err(failed)?;
    archive.finish().map_err(failed)?;
    Ok(bytes.into_inner())
}

/// The state in a folder of results, or in a file of its own.
pub fn read(from: &Path) -> Result<SavedState, Failure> {
    let path = if from.is_dir() { from.join(STATE) } else { from.to_owned() };
    let file = File::open(&path).map_err(|error| match error.kind() {
        std::io::ErrorKind::NotFound if from.is_dir() => Failure::File {
            headline: format!("{} holds no state to start from: no {STATE} in it", from.display()),
            help: Some(
                "`sprayside cycle` writes one, and so does `sprayside solve --save npy`".to_owned(),
            ),
        },
        _ => Failure::file("read", &path, &error),
    })?;
    parsed(file).map_err(|why| Failure::File {
        headline: format!("{} is not a saved state: {why}", path.display()),
        help: Some(format!(
            "name a folder of results with {STATE} in it, or a snapshot-*.npz of `sprayside cycle \
             --save-states`"
        )),
    })
}

fn parsed(file: File) -> Result<SavedState, String> {
    let failed = |error: ndarray_npy::ReadNpzError| error.to_string();
    let mut archive = NpzReader::new(BufReader::new(file)).map_err(failed)?;
    let mut line = |name: &str| -> Result<Vec<f64>, String> {
        let values: Array1<f64> =
            archive.by_name(name).map_err(|error| format!("{name}: {error}"))?;
        Ok(values.to_vec())
    };
    let [x_lines_m, y_lines_m, temperature_K] =
        [line("x_lines_m")?, line("y_lines_m")?, line("temperature_K")?];
    if x_lines_m.len() < 2 || y_lines_m.len() < 2 {
        return Err("it has no cells".to_owned());
    }
    let cells: Array2<i64> = archive.by_name("block_cells").map_err(failed)?;
    let sheets: Array2<f64> = archive.by_name("sheet_block_thickness_m").map_err(failed)?;
    if cells.ncols() != 4 || sheets.ncols() != 2 {
        return Err("its tables have other columns".to_owned());
    }
    let mut blocks = Vec::new();
    for (b, row) in cells.rows().into_iter().enumerate() {
        let mut four = [0; 4];
        for (to, n) in four.iter_mut().zip(row) {
            *to = usize::try_from(*n).map_err(|_| "a place below zero".to_owned())?;
        }
        let sheets_m: Vec<f64> =
            sheets.rows().into_iter().filter(|s| s[0] == b as f64).map(|s| s[1]).collect();
        blocks.push(SavedBlock { cells: four, sheets_m });
    }
    Ok(SavedState { x_lines_m, y_lines_m, blocks, temperature_K })
}
