//! Faces that are looked at though no heat is released on them.

use super::network::FaceHeat;
use super::{Network, SourceFace};

impl Network<'_> {
    /// Makes a face one of [`Network::face_heats`], with no heat unless some is there: its
    /// temperature can then be read off responses.
    pub fn watch(&mut self, block: usize, face: usize) {
        if self.heat_on(block, face).is_none() {
            let heat_W = vec![0.0; self.blocks[block].cells.len()];
            self.face_heat.push(FaceHeat { block, face, heat_W });
        }
    }

    /// Values of some cells of a watched face laid out as [`Network::face_heats`], zero elsewhere.
    ///
    /// # Panics
    /// If there are not as many values as cells.
    pub fn on_watched(&self, face: &SourceFace, values: &[f64]) -> Vec<Vec<f64>> {
        assert_eq!(values.len(), face.cells.len(), "one value a cell");
        let mut all: Vec<Vec<f64>> =
            self.face_heat.iter().map(|f| vec![0.0; f.heat_W.len()]).collect();
        let entry =
            self.face_heat.iter().position(|f| f.block == face.block && f.face == face.face);
        let block = self.blocks[face.block].cells;
        let mut values = values.iter();
        for j in face.cells.j0..face.cells.j1 {
            for i in face.cells.i0..face.cells.i1 {
                let c = (j - block.j0) * block.nx() + i - block.i0;
                if let (Some(entry), Some(&value)) = (entry, values.next()) {
                    all[entry][c] = value;
                }
            }
        }
        all
    }
}
