//! What a mesh is laid on: modules that agree in it have a place on one mesh.

use crate::mesh::{IslandPart, Mesh, Slicing};
use crate::module::{Module, Rect, Spray};

/// The counts of sheets that a mesh has.
pub(super) fn slicing_of(module: &Module, mesh: &Mesh) -> Slicing {
    let in_layer = |layer: usize| mesh.sheets.iter().filter(|s| s.layer == layer).count();
    let in_part = |sheets: &[(IslandPart, f64)], part: IslandPart| {
        sheets.iter().filter(|(p, _)| *p == part).count().max(1)
    };
    Slicing {
        layers: (0..module.layers.len()).map(in_layer).collect(),
        die: mesh
            .islands
            .iter()
            .map(|i| [IslandPart::Attach, IslandPart::Die].map(|part| in_part(&i.sheets, part)))
            .collect(),
    }
}

/// What a mesh is laid on.
#[derive(Debug, PartialEq)]
pub(super) struct Outlines {
    size_m: [f64; 2],
    rects: Vec<Rect>,
    slices: Vec<Option<usize>>,
    /// Whether each die has an attach, and which face releases its heat.
    die: Vec<(bool, crate::module::ActiveFace)>,
    heaters: Vec<(usize, crate::module::Face)>,
    cell_m: Option<f64>,
    accuracy_K: f64,
}

impl Outlines {
    pub(super) fn of(module: &Module) -> Outlines {
        let mut rects: Vec<Rect> = module.die.iter().map(|d| d.rect).collect();
        rects.extend(module.die.iter().flat_map(|d| d.blocks.iter().map(|b| b.rect)));
        rects.extend(module.heaters.iter().map(|h| h.rect));
        if let Spray::Prescribed(spray) = &module.spray {
            rects.extend(spray.patches.iter().map(|p| p.rect));
        }
        Outlines {
            size_m: module.size_m,
            rects,
            slices: module.layers.iter().map(|l| l.slices).collect(),
            die: module.die.iter().map(|d| (d.attach.is_some(), d.active_face)).collect(),
            heaters: module.heaters.iter().map(|h| (h.layer, h.face)).collect(),
            cell_m: module.mesh.cell_m,
            accuracy_K: module.mesh.accuracy_K,
        }
    }

    pub(super) fn same(&self, other: &Outlines) -> bool {
        self == other
    }
}
