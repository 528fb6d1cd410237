//! A solution carried to another mesh, as a first guess.

use rayon::prelude::*;

use crate::mesh::{IslandPart, Mesh};
use crate::pages::zeros;

/// For every new cell along one axis: two old cells and the weight of the second.
fn weights(old: &[f64], new: &[f64], old_from: usize, old_to: usize) -> Vec<(usize, usize, f64)> {
    let centre = |k: usize| 0.5 * (old[k] + old[k + 1]);
    new.windows(2)
        .map(|w| {
            let x = 0.5 * (w[0] + w[1]);
            let mut k = old_from;
            // Cells of an island never look outside it.
            let found = old[old_from..=old_to].partition_point(|&line| line <= x);
            if found > 0 {
                k = (old_from + found - 1).min(old_to - 1);
            }
            let (a, b) = if x < centre(k) {
                (k.saturating_sub(1).max(old_from), k)
            } else {
                (k, (k + 1).min(old_to - 1))
            };
            if a == b {
                (a, b, 0.0)
            } else {
                (a, b, ((x - centre(a)) / (centre(b) - centre(a))).clamp(0.0, 1.0))
            }
        })
        .collect()
}

/// Old sheet that holds the middle of each new one; sheets are (part, thickness) from below.
fn sheet_map<P: PartialEq + Copy>(old: &[(P, f64)], new: &[(P, f64)]) -> Vec<usize> {
    let mut map = Vec::with_capacity(new.len());
    for (k, &(part, thickness)) in new.iter().enumerate() {
        let below: f64 = new[..k].iter().filter(|s| s.0 == part).map(|s| s.1).sum();
        let middle = below + 0.5 * thickness;
        let mut reached = 0.0;
        let mut found = 0;
        for (o, &(old_part, old_thickness)) in old.iter().enumerate() {
            if old_part == part {
                found = o;
                reached += old_thickness;
                if reached >= middle {
                    break;
                }
            }
        }
        map.push(found);
    }
    map
}

/// The rises `rise_K` of the cells of `old` on the cells of `to`: bilinear in the plane, nearest
/// sheet through it.
pub(crate) fn interpolate(old: &Mesh, rise_K: &[f64], to: &Mesh) -> Vec<f64> {
    let substrate = |mesh: &Mesh| -> Vec<(usize, f64)> {
        mesh.sheets.iter().map(|s| (s.layer, s.thickness_m)).collect()
    };
    let island_sheets =
        |mesh: &Mesh, d: usize| -> Vec<(IslandPart, f64)> { mesh.islands[d].sheets.clone() };
    let mut out = zeros(to.unknowns());
    let mut rest = &mut out[..];
    let mut offset = 0;
    for b in 0..=to.islands.len() {
        let (old_cells, new_cells, map) = if b == 0 {
            let whole = |m: &Mesh| crate::mesh::CellRange {
                i0: 0,
                i1: m.plane.nx(),
                j0: 0,
                j1: m.plane.ny(),
            };
            (whole(old), whole(to), sheet_map(&substrate(old), &substrate(to)))
        } else {
            let d = b - 1;
            (
                old.islands[d].cells,
                to.islands[d].cells,
                sheet_map(&island_sheets(old, d), &island_sheets(to, d)),
            )
        };
        let old_sheets = if b == 0 { old.sheets.len() } else { old.islands[b - 1].sheets.len() };
        let wx = weights(
            &old.plane.x_lines_m,
            &to.plane.x_lines_m[new_cells.i0..=new_cells.i1],
            old_cells.i0,
            old_cells.i1,
        );
        let wy = weights(
            &old.plane.y_lines_m,
            &to.plane.y_lines_m[new_cells.j0..=new_cells.j1],
            old_cells.j0,
            old_cells.j1,
        );
        let nx = old_cells.nx();
        for &l in &map {
            let sheet = &rise_K[offset + l * old_cells.len()..][..old_cells.len()];
            let (own, after) = rest.split_at_mut(new_cells.len());
            rest = after;
            own.par_chunks_mut(wx.len()).zip(&wy).for_each(|(row, &(ja, jb, v))| {
                let low = &sheet[(ja - old_cells.j0) * nx..][..nx];
                let high = &sheet[(jb - old_cells.j0) * nx..][..nx];
                for (out, &(ia, ib, u)) in row.iter_mut().zip(&wx) {
                    let (a, b) = (ia - old_cells.i0, ib - old_cells.i0);
                    let bottom = low[a] + u * (low[b] - low[a]);
                    let top = high[a] + u * (high[b] - high[a]);
                    *out = bottom + v * (top - bottom);
                }
            });
        }
        offset += old_cells.len() * old_sheets;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::grids::GridFamily;
    use super::super::parts::all_doubled;
    use super::*;
    use crate::conduction::Network;
    use crate::module::Module;
    use crate::study::testing;

    /// A field on every cell from its centre, its block and its sheet.
    fn field(module: &Module, mesh: &Mesh, f: impl Fn([f64; 2], usize, usize) -> f64) -> Vec<f64> {
        let network = Network::new(module, mesh);
        let mut values = vec![f64::NAN; mesh.unknowns()];
        for (b, (cells, offset, sheets)) in network.boxes().enumerate() {
            for l in 0..sheets {
                for j in cells.j0..cells.j1 {
                    for i in cells.i0..cells.i1 {
                        let place = (l * cells.ny() + j - cells.j0) * cells.nx() + i - cells.i0;
                        values[offset + place] = f(mesh.plane.cell(i, j).centre_m(), b, l);
                    }
                }
            }
        }
        values
    }

    /// Centres of the first and the last of the cells `from..to`.
    fn ends(lines: &[f64], from: usize, to: usize) -> [f64; 2] {
        [0.5 * (lines[from] + lines[from + 1]), 0.5 * (lines[to - 1] + lines[to])]
    }

    #[test]
    fn a_straight_field_comes_across_and_stays_level_beyond_the_outer_centres() {
        let module = testing::prescribed();
        let old = testing::mesh(&module);
        let slicing = crate::mesh::Slicing {
            layers: vec![2, 1],
            die: (0..module.die.len()).map(|d| if d < 2 { [1, 2] } else { [1, 3] }).collect(),
        };
        let plane = GridFamily::even(&module, 0.37e-3).fine();
        let new = Mesh::new(&module, plane, &all_doubled(&slicing));
        let straight = |[x, y]: [f64; 2], b: usize, l: usize| {
            7.0 + 900.0 * x - 400.0 * y + 30.0 * b as f64 + 5.0 * l as f64
        };
        let known = field(&module, &old, straight);
        let expected = field(&module, &new, |[x, y], b, l| {
            let cells = match b {
                0 => [0, old.plane.nx(), 0, old.plane.ny()],
                b => {
                    let cells = old.islands[b - 1].cells;
                    [cells.i0, cells.i1, cells.j0, cells.j1]
                }
            };
            let [x0, x1] = ends(&old.plane.x_lines_m, cells[0], cells[1]);
            let [y0, y1] = ends(&old.plane.y_lines_m, cells[2], cells[3]);
            // Every sheet was cut in two.
            straight([x.clamp(x0, x1), y.clamp(y0, y1)], b, l / 2)
        });
        let carried = interpolate(&old, &known, &new);
        assert_eq!(carried.len(), expected.len());
        for (k, (carried, expected)) in carried.iter().zip(&expected).enumerate() {
            assert!((carried - expected).abs() < 1e-9, "{k}: {carried} {expected}");
        }
    }
}
