//! Sheets through the thickness: how many each layer, attach and die is cut into, and where.

use super::CellRange;
use crate::module::{ActiveFace, Die, Face, Module};

/// First slice over last slice, for parts that heat enters through one face: the thin slices
/// lie at that face. Chosen so that the error of a concentrated source falls fastest for a given
/// number of slices among the ratios tried (1, 2, 4, 8).
const GRADING: f64 = 4.0;

/// One numerical sheet of the substrate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sheet {
    /// Layer that it is cut from.
    pub layer: usize,
    /// Number of the slice within the layer, from the board side.
    pub slice: usize,
    /// Thickness, m.
    pub thickness_m: f64,
}

/// What a sheet of an island is cut from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum IslandPart {
    /// The attach.
    Attach,
    /// The die.
    Die,
}

/// The cells of one die.
#[derive(Debug, Clone, PartialEq)]
pub struct Island {
    /// Columns and rows of the plane's grid under the footprint.
    pub cells: CellRange,
    /// Part and thickness (m) of each sheet, from the seat up.
    pub sheets: Vec<(IslandPart, f64)>,
}

/// How many sheets each part is cut into.
#[derive(Debug, Clone, PartialEq)]
pub struct Slicing {
    /// One count a substrate layer.
    pub layers: Vec<usize>,
    /// Attach and die counts, one pair a die.
    pub die: Vec<[usize; 2]>,
}

impl Slicing {
    /// The stated counts of the case, 1 where it states none.
    pub fn coarsest(module: &Module) -> Slicing {
        Slicing {
            layers: module.layers.iter().map(|l| l.slices.unwrap_or(1)).collect(),
            die: vec![[1, 1]; module.die.len()],
        }
    }
}

/// Where heat enters a layer: through its top, its bottom, or both, none.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Entry {
    Top,
    Bottom,
    Even,
}

fn entry_of_layer(module: &Module, layer: usize) -> Entry {
    // Heat from die comes from above; heaters say themselves.
    let mut top = !module.die.is_empty();
    let mut bottom = false;
    for heater in &module.heaters {
        let interface = heater.layer + usize::from(heater.face == Face::Top);
        if interface > layer {
            top = true;
        } else {
            bottom = true;
        }
    }
    match (top, bottom) {
        (true, false) => Entry::Top,
        (false, true) => Entry::Bottom,
        _ => Entry::Even,
    }
}

/// Thicknesses of `count` slices of `thickness_m`, from the lower face up.
fn slices(thickness_m: f64, count: usize, entry: Entry) -> Vec<f64> {
    // z(s) = (e^{as} - 1)/(e^a - 1) on equal steps of s: doubling the count nests.
    let a = GRADING.ln();
    let fraction = |s: f64| match entry {
        Entry::Even => s,
        Entry::Bottom => (a * s).exp_m1() / a.exp_m1(),
        Entry::Top => 1.0 - (a * (1.0 - s)).exp_m1() / a.exp_m1(),
    };
    (0..count)
        .map(|k| {
            let (low, high) = (k as f64 / count as f64, (k + 1) as f64 / count as f64);
            thickness_m * (fraction(high) - fraction(low))
        })
        .collect()
}

/// Sheets of the substrate from the board side up. Layers whose count the case states are cut
/// evenly; the others toward the face that heat enters through.
pub fn sheets_of_substrate(module: &Module, slicing: &Slicing) -> Vec<Sheet> {
    let mut sheets = Vec::new();
    for (layer, part) in module.layers.iter().enumerate() {
        let entry = if part.slices.is_some() { Entry::Even } else { entry_of_layer(module, layer) };
        for (slice, thickness_m) in
            slices(part.thickness_m, slicing.layers[layer], entry).into_iter().enumerate()
        {
            sheets.push(Sheet { layer, slice, thickness_m });
        }
    }
    sheets
}

/// Sheets of one die's island from the seat up; `counts` are those of attach and die.
pub fn sheets_of_island(die: &Die, counts: &[usize; 2]) -> Vec<(IslandPart, f64)> {
    let mut sheets = Vec::new();
    let (attach_entry, die_entry) = match die.active_face {
        ActiveFace::Down => (Entry::Top, Entry::Bottom),
        ActiveFace::Up => (Entry::Top, Entry::Top),
    };
    if let Some(attach) = &die.attach {
        for t in slices(attach.thickness_m, counts[0], attach_entry) {
            sheets.push((IslandPart::Attach, t));
        }
    }
    for t in slices(die.thickness_m, counts[1], die_entry) {
        sheets.push((IslandPart::Die, t));
    }
    sheets
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slices_fill_the_thickness_and_doubling_nests() {
        for entry in [Entry::Even, Entry::Top, Entry::Bottom] {
            let coarse = slices(1.6e-3, 3, entry);
            let fine = slices(1.6e-3, 6, entry);
            assert!((coarse.iter().sum::<f64>() - 1.6e-3).abs() < 1e-18);
            for (k, t) in coarse.iter().enumerate() {
                assert!((t - fine[2 * k] - fine[2 * k + 1]).abs() < 1e-18);
            }
        }
    }

    #[test]
    fn thin_slices_lie_where_heat_enters() {
        let top = slices(1.0, 4, Entry::Top);
        assert!(top[3] < top[0]);
        let bottom = slices(1.0, 4, Entry::Bottom);
        assert!(bottom[0] < bottom[3]);
    }
}
