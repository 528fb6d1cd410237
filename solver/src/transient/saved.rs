//! The temperatures of all cells at one time with the cells they belong to: where another run may
//! start.

use std::sync::Arc;

use crate::mesh::{IslandPart, Mesh};
use crate::module::Module;
use crate::steady::interpolate;

/// Lines that lie so close are the same, m.
const SAME_LINE_M: f64 = 1e-12;
/// Thicknesses that differ by less than this share are the same.
const SAME_THICKNESS: f64 = 1e-9;

/// One block of cells: the substrate, or the island of a die.
#[derive(Debug, Clone, PartialEq)]
pub struct SavedBlock {
    /// First column and row of the plane's grid, and columns and rows.
    pub cells: [usize; 4],
    /// Thickness of each sheet, m, from below; those of an attach are negative, so that they are
    /// told from those of its die.
    pub sheets_m: Vec<f64>,
}

/// Temperatures of all cells at one time.
#[derive(Debug, Clone, PartialEq)]
pub struct SavedState {
    /// Lines of the plane's grid, m.
    pub x_lines_m: Vec<f64>,
    /// Likewise across y.
    pub y_lines_m: Vec<f64>,
    /// The substrate, then the islands of the die in case order.
    pub blocks: Vec<SavedBlock>,
    /// Block after block, sheet after sheet from below, row after row, K.
    pub temperature_K: Vec<f64>,
}

impl SavedState {
    /// The state with the rises `rise_K` above `inlet_K` on a mesh.
    pub fn of(mesh: &Mesh, inlet_K: f64, rise_K: &[f64]) -> SavedState {
        SavedState {
            x_lines_m: mesh.plane.x_lines_m.to_vec(),
            y_lines_m: mesh.plane.y_lines_m.to_vec(),
            blocks: blocks_of(mesh),
            temperature_K: rise_K.iter().map(|rise| inlet_K + rise).collect(),
        }
    }

    /// Rises above the inlet of `module` on `mesh`, which was thinned from `steady_mesh`: as they
    /// are where the state is of `mesh`, thinned likewise where it is of `steady_mesh`.
    ///
    /// # Errors
    /// Why the state is not one of this module on one of these meshes.
    pub fn rises_on(
        &self,
        module: &Module,
        mesh: &Mesh,
        steady_mesh: &Mesh,
    ) -> Result<Vec<f64>, String> {
        // A file may say anything.
        let count = self.blocks.iter().fold(0usize, |count, block| {
            let plane = block.cells[2].saturating_mul(block.cells[3]);
            count.saturating_add(plane.saturating_mul(block.sheets_m.len()))
        });
        if count != self.temperature_K.len() {
            return Err(format!(
                "it has {} temperatures for {count} cells",
                self.temperature_K.len()
            ));
        }
        if let Some(bad) = self.temperature_K.iter().find(|t| !(**t > 0.0 && t.is_finite())) {
            return Err(format!("one of its temperatures is {bad} K"));
        }
        let inlet_K = module.coolant.inlet_K;
        let rises: Vec<f64> = self.temperature_K.iter().map(|t| t - inlet_K).collect();
        if self.is_on(mesh) {
            return Ok(rises);
        }
        if self.is_on(steady_mesh) {
            return Ok(interpolate(steady_mesh, &rises, mesh));
        }
        Err(self.difference(module, mesh))
    }

    /// Whether these are the cells of `mesh`.
    fn is_on(&self, mesh: &Mesh) -> bool {
        let same_lines = |a: &[f64], b: &Arc<[f64]>| {
            a.len() == b.len() && a.iter().zip(b.iter()).all(|(a, b)| (a - b).abs() <= SAME_LINE_M)
        };
        let blocks = blocks_of(mesh);
        same_lines(&self.x_lines_m, &mesh.plane.x_lines_m)
            && same_lines(&self.y_lines_m, &mesh.plane.y_lines_m)
            && self.blocks.len() == blocks.len()
            && self.blocks.iter().zip(&blocks).all(|(a, b)| {
                a.cells == b.cells
                    && a.sheets_m.len() == b.sheets_m.len()
                    && a.sheets_m.iter().zip(&b.sheets_m).all(|(a, b)| same_thickness(*a, *b))
            })
    }

    /// What differs, the coarsest thing first.
    fn difference(&self, module: &Module, mesh: &Mesh) -> String {
        let last = |lines: &[f64]| 1e3 * lines.last().copied().unwrap_or(0.0);
        let [width, height] = [last(&self.x_lines_m), last(&self.y_lines_m)];
        let here = module.size_m.map(|size| 1e3 * size);
        if (width - here[0]).abs() > 1e-6 || (height - here[1]).abs() > 1e-6 {
            return format!(
                "its module is {width} by {height} mm, that of the case {} by {} mm",
                here[0], here[1]
            );
        }
        let die = self.blocks.len().saturating_sub(1);
        if die != module.die.len() {
            return format!("its module has {die} die, that of the case {}", module.die.len());
        }
        let blocks = blocks_of(mesh);
        for (k, (there, here)) in self.blocks.iter().zip(&blocks).enumerate() {
            let name = match k.checked_sub(1) {
                None => "the substrate".to_owned(),
                Some(d) => format!("die {}", module.die[d].name),
            };
            let place = |lines: [&[f64]; 2], cells: &[usize; 4]| -> Option<[f64; 4]> {
                let [i, j, nx, ny] = *cells;
                let line = |axis: usize, k: usize| lines[axis].get(k).copied();
                Some([
                    line(0, i)?,
                    line(1, j)?,
                    line(0, i.saturating_add(nx))?,
                    line(1, j.saturating_add(ny))?,
                ])
            };
            let own = place([&self.x_lines_m, &self.y_lines_m], &there.cells);
            let now = place([&mesh.plane.x_lines_m, &mesh.plane.y_lines_m], &here.cells);
            let moved = match (own, now) {
                (Some(own), Some(now)) => own.iter().zip(&now).any(|(a, b)| (a - b).abs() > 1e-9),
                _ => true,
            };
            if moved {
                return format!("{name} stands elsewhere, or has another size");
            }
            for sign in [1.0, -1.0] {
                let thickness = |block: &SavedBlock| -> f64 {
                    block.sheets_m.iter().filter(|t| **t * sign > 0.0).sum()
                };
                if !same_thickness(thickness(there), thickness(here)) {
                    return format!("{name} has another thickness");
                }
            }
        }
        format!(
            "the module is the same, but not the mesh: {} by {} cells there, {} by {} here",
            self.x_lines_m.len() - 1,
            self.y_lines_m.len() - 1,
            mesh.plane.nx(),
            mesh.plane.ny()
        )
    }
}

fn same_thickness(a: f64, b: f64) -> bool {
    (a - b).abs() <= SAME_THICKNESS * a.abs().max(b.abs())
}

fn blocks_of(mesh: &Mesh) -> Vec<SavedBlock> {
    let substrate = SavedBlock {
        cells: [0, 0, mesh.plane.nx(), mesh.plane.ny()],
        sheets_m: mesh.sheets.iter().map(|sheet| sheet.thickness_m).collect(),
    };
    let islands = mesh.islands.iter().map(|island| SavedBlock {
        cells: [island.cells.i0, island.cells.j0, island.cells.nx(), island.cells.ny()],
        sheets_m: island
            .sheets
            .iter()
            .map(|(part, thickness)| match part {
                IslandPart::Attach => -thickness,
                IslandPart::Die => *thickness,
            })
            .collect(),
    });
    std::iter::once(substrate).chain(islands).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::testing;
    use crate::transient::coarsened;

    #[test]
    fn a_state_fits_its_own_mesh_and_the_one_that_was_thinned_from_it_and_no_other() {
        let module = testing::prescribed();
        let mesh = testing::mesh(&module);
        let thin = coarsened(&module, &mesh, 2);
        let rises: Vec<f64> =
            (0..mesh.unknowns()).map(|k| 20.0 + (0.01 * k as f64).sin()).collect();
        let state = SavedState::of(&mesh, 300.0, &rises);
        let mut warmer = module.clone();
        warmer.coolant.inlet_K = 310.0;
        let on = state.rises_on(&warmer, &mesh, &mesh).unwrap();
        assert!(on.iter().zip(&rises).all(|(a, b)| (a + 10.0 - b).abs() < 1e-10));
        let on = state.rises_on(&warmer, &thin, &mesh).unwrap();
        assert_eq!(on.len(), thin.unknowns());
        assert!(on.iter().all(|rise| (rise - 10.0).abs() < 1.01));

        let refused = |state: &SavedState, module: &Module, mesh: &Mesh| {
            state.rises_on(module, mesh, mesh).unwrap_err()
        };
        assert!(refused(&state, &module, &thin).contains("not the mesh"));
        let mut larger = module.clone();
        larger.size_m[0] *= 2.0;
        assert!(refused(&state, &larger, &thin).contains("that of the case"));
        let mut fewer = module.clone();
        fewer.die.pop();
        let bare = testing::mesh(&fewer);
        assert!(refused(&state, &fewer, &bare).contains(" die, that of the case"));
        let mut moved = module.clone();
        moved.die[0].rect.x1_m -= 0.5e-3;
        let other = testing::mesh(&moved);
        assert!(refused(&state, &moved, &other).contains("stands elsewhere"));
        let mut thicker = module.clone();
        thicker.layers[0].thickness_m *= 1.5;
        let other = testing::mesh(&thicker);
        assert!(refused(&state, &thicker, &other).contains("the substrate has another thickness"));
        let mut broken = state.clone();
        broken.temperature_K[3] = f64::NAN;
        assert!(refused(&broken, &module, &mesh).contains("NaN"));
        broken.temperature_K.pop();
        assert!(refused(&broken, &module, &mesh).contains("temperatures for"));
    }
}
