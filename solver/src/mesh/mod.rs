//! Grid lines in the plane and slices through the thickness.
//!
//! Lines fall on every edge of every rectangle of the module, so that areas and powers are exact
//! at every resolution. Conductances are not made here: see [`crate::conduction`].

mod grid_lines;
mod plane;
mod slicing;

pub use grid_lines::{Density, edges_along, fill_interval, snapped_edges};
pub use plane::{CellRange, PlaneGrid};
pub use slicing::{Island, IslandPart, Sheet, Slicing, sheets_of_island, sheets_of_substrate};

use crate::module::Module;

/// The cells of one solve.
#[derive(Debug, Clone)]
pub struct Mesh {
    /// Grid of the plane.
    pub plane: PlaneGrid,
    /// Sheets of the substrate, from the board side up.
    pub sheets: Vec<Sheet>,
    /// One island a die, in the order of the case.
    pub islands: Vec<Island>,
}

impl Mesh {
    /// Lays islands and sheets over a plane grid whose lines contain every footprint edge.
    pub fn new(module: &Module, plane: PlaneGrid, slicing: &Slicing) -> Mesh {
        let islands = module
            .die
            .iter()
            .zip(&slicing.die)
            .map(|(die, counts)| Island {
                cells: plane.range_of(&die.rect),
                sheets: sheets_of_island(die, counts),
            })
            .collect();
        Mesh { sheets: sheets_of_substrate(module, slicing), islands, plane }
    }

    /// Number of unknowns.
    pub fn unknowns(&self) -> usize {
        let substrate = self.plane.nx() * self.plane.ny() * self.sheets.len();
        substrate + self.islands.iter().map(|i| i.cells.len() * i.sheets.len()).sum::<usize>()
    }
}
