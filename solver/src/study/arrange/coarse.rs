//! The mesh of the study: that of a solve, coarser.

use crate::mesh::{IslandPart, Mesh, PlaneGrid, Slicing};
use crate::module::{Module, Rect};

/// The mesh is halved again while it has more unknowns than this.
const MOST_UNKNOWNS: usize = 60_000;
/// At most so often.
const MOST_HALVINGS: usize = 3;
/// Lines nearer than this are the same, m.
const SAME_M: f64 = 1e-9;

/// `mesh` at half its resolution, and halved again while it is large and the outlines allow it.
pub(super) fn study_mesh(module: &Module, mesh: &Mesh) -> Mesh {
    let mut coarse = mesh.clone();
    for _ in 0..MOST_HALVINGS {
        let Some(next) = halved(module, &coarse) else { break };
        coarse = next;
        if coarse.unknowns() <= MOST_UNKNOWNS {
            break;
        }
    }
    coarse
}

/// Every second line and half the sheets; `None` where an outline would lose its line.
fn halved(module: &Module, mesh: &Mesh) -> Option<Mesh> {
    let rects: Vec<Rect> = module
        .die
        .iter()
        .flat_map(|d| d.blocks.iter().map(|b| b.rect).chain([d.rect]))
        .chain(module.heaters.iter().map(|h| h.rect))
        .collect();
    let every_second = |lines: &[f64], axis: usize| -> Option<std::sync::Arc<[f64]>> {
        if lines.len().is_multiple_of(2) {
            return None;
        }
        let kept: Vec<f64> = lines.iter().copied().step_by(2).collect();
        let has = |edge: f64| {
            let at = kept.partition_point(|&line| line < edge - SAME_M);
            kept.get(at).is_some_and(|line| (line - edge).abs() <= SAME_M)
        };
        let edges = rects.iter().flat_map(|r| match axis {
            0 => [r.x0_m, r.x1_m],
            _ => [r.y0_m, r.y1_m],
        });
        edges.into_iter().all(has).then(|| kept.into())
    };
    let plane = PlaneGrid {
        x_lines_m: every_second(&mesh.plane.x_lines_m, 0)?,
        y_lines_m: every_second(&mesh.plane.y_lines_m, 1)?,
    };
    let half = |count: usize| if count.is_multiple_of(2) { count / 2 } else { count };
    let slicing = Slicing {
        layers: (0..module.layers.len())
            .map(|l| {
                let count = mesh.sheets.iter().filter(|s| s.layer == l).count();
                if module.layers[l].slices.is_some() { count } else { half(count) }
            })
            .collect(),
        die: mesh
            .islands
            .iter()
            .map(|island| {
                let count = |part: IslandPart| island.sheets.iter().filter(|s| s.0 == part).count();
                [half(count(IslandPart::Attach)), half(count(IslandPart::Die))]
            })
            .collect(),
    };
    Some(Mesh::new(module, plane, &slicing))
}
