//! Junction temperatures as a field: every active face on the grid of the plane.

use ndarray::Array2;

use super::PlaneField;
use crate::conduction::Network;
use crate::conduction::faces::source_rises;
use crate::module::Module;
use crate::steady::GridSolution;

/// Temperature of the active faces in every cell of the plane, K; NaN where there is none.
///
/// Where a heater lies under a die, the die's face is shown. The values are those of this grid:
/// what [`Junction`](super::Junction) prints is extrapolated from several grids and may differ by
/// its uncertainty.
pub fn active_faces(module: &Module, solution: &GridSolution) -> PlaneField {
    let network = Network::new(module, &solution.mesh);
    let plane = &solution.mesh.plane;
    let mut values = Array2::from_elem((plane.ny(), plane.nx()), f64::NAN);
    // Sources are die in case order, then heaters: the later ones are painted first.
    for source in network.sources.iter().rev() {
        let rises = source_rises(
            &network,
            solution.factors.as_deref(),
            source,
            &solution.rise_K,
            &solution.wet,
        );
        let cells = source.cells;
        for (c, rise) in rises.iter().enumerate() {
            values[[cells.j0 + c / cells.nx(), cells.i0 + c % cells.nx()]] =
                module.coolant.inlet_K + rise;
        }
    }
    PlaneField { x_lines_m: plane.x_lines_m.clone(), y_lines_m: plane.y_lines_m.clone(), values }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::case::{read, starter};
    use crate::steady::{SteadyOptions, solve_keeping};

    #[test]
    fn active_faces_cover_their_footprints_and_hold_the_printed_range() {
        let text = starter().replace("accuracy_K = 0.1", "cell_mm = 1.0");
        let no_files = |name: &str| Err(format!("no {name}"));
        let module = read(&text, "case.toml", &no_files).expect("a case").module;
        let (result, solution) =
            solve_keeping(&module, &SteadyOptions::default(), &mut |_| {}).expect("a result");
        let field = active_faces(&module, &solution);
        for (die, junction) in module.die.iter().zip(&result.junctions) {
            let (mut area, mut sum, mut high) = (0.0, 0.0, f64::NEG_INFINITY);
            for ((j, i), &value) in field.values.indexed_iter() {
                let cell = solution.mesh.plane.cell(i, j);
                if die.rect.contains(&cell, 1e-12) {
                    area += cell.area_m2();
                    sum += cell.area_m2() * value;
                    high = high.max(value);
                }
            }
            assert!((area / die.rect.area_m2() - 1.0).abs() < 1e-9);
            assert!((sum / area - junction.mean_K).abs() < 1e-6 + junction.uncertainty_K);
            assert!((high - junction.max_K).abs() < 0.05 * (junction.max_K - junction.min_K));
        }
        let covered = field.values.iter().filter(|v| v.is_finite()).count();
        let footprints: usize = solution.mesh.islands.iter().map(|i| i.cells.len()).sum();
        assert_eq!(covered, footprints);
    }
}
