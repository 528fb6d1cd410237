//! A stated coefficient on the cells of a grid.

use crate::conduction::surface::PrescribedLaw;
use crate::mesh::PlaneGrid;
use crate::module::{PrescribedHtc, PrescribedSpray};

/// The law `q = h rise` with h averaged over every cell (maps) or exact (patches, whose edges
/// are grid lines).
pub fn prescribed_law(spray: &PrescribedSpray, plane: &PlaneGrid) -> PrescribedLaw {
    let (nx, ny) = (plane.nx(), plane.ny());
    let mut htc_W_m2K = match &spray.base {
        PrescribedHtc::Uniform(htc) => vec![*htc; nx * ny],
        PrescribedHtc::Map(map) => (0..nx * ny)
            .map(|p| {
                let cell = plane.cell(p % nx, p / nx);
                map.integral_over(&cell) / cell.area_m2()
            })
            .collect(),
    };
    for patch in &spray.patches {
        let range = plane.range_of(&patch.rect);
        for j in range.j0..range.j1 {
            htc_W_m2K[j * nx + range.i0..j * nx + range.i1].fill(patch.htc_W_m2K);
        }
    }
    PrescribedLaw { htc_W_m2K }
}
