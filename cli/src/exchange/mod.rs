//! The fields of a solve for other programs: NumPy, VTK, CSV, Matrix Market.
//!
//! Everything in SI units but the CSV, which has those of the other tables; units stand in every
//! name. [`mod@fields`] lists what there is; each other file writes one form.

mod cells;
mod fields;
mod npz;
pub mod state;
mod system;
mod vtr;

use clap::ValueEnum;
use sprayside_solver::transient::SavedState;

use crate::failure::Failure;
use crate::summary::Solved;

use fields::fields;

/// The table of all cells.
pub const CELLS: &str = "cells.csv";
/// The archive of the fields.
pub const FIELDS: &str = "fields.npz";

/// A form that other programs read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum SaveForm {
    /// fields.npz: NumPy arrays of every field with the lines of the grid; state.npz: all cells, for
    /// `cycle --from`
    Npy,
    /// surface.vtr and module.vtr: VTK XML rectilinear grids, in the plane and in space
    Vtk,
    /// cells.csv: a row a cell of the plane
    Csv,
    /// operator.mtx, rhs.mtx, rise.mtx: the system of equations as Matrix Market
    Mtx,
}

/// The files of the forms asked for, each form once.
pub fn files(solved: &Solved, forms: &[SaveForm]) -> Result<Vec<(String, Vec<u8>)>, Failure> {
    let asked = |form| forms.contains(&form);
    let mut files = Vec::new();
    let failed = |error: String| Failure::File {
        headline: format!("cannot put the results into an exchange file: {error}"),
        help: None,
    };
    let all = fields(solved);
    if asked(SaveForm::Npy) {
        files.push((FIELDS.to_owned(), npz::file(&all).map_err(failed)?));
        let solution = solved.solution;
        let inlet_K = solved.case.case.module.coolant.inlet_K;
        let state = SavedState::of(&solution.mesh, inlet_K, &solution.rise_K);
        files.push((state::STATE.to_owned(), state::file(&state).map_err(failed)?));
    }
    if asked(SaveForm::Vtk) {
        files.push(("surface.vtr".to_owned(), vtr::surface(&all)));
        files.push(("module.vtr".to_owned(), vtr::module(solved)));
    }
    if asked(SaveForm::Csv) {
        files.push((CELLS.to_owned(), cells::file(&all)));
    }
    if asked(SaveForm::Mtx) {
        files.extend(system::files(solved));
    }
    Ok(files)
}
