//! VTK XML rectilinear grids (`.vtr`): cell data, binary inside the XML.
//!
//! Every array is base64 of its length in bytes (64 bits) and its values, little end first.
//!
//! # Source
//! Kitware, VTK File Formats, section "XML File Formats", RectilinearGrid, inline binary data.

use std::fmt::Write;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use sprayside_solver::mesh::Mesh;

use super::fields::Fields;
use crate::summary::Solved;

/// The fields of the plane, all at z = 0.
pub fn surface(fields: &Fields) -> Vec<u8> {
    let arrays: Vec<(String, Values)> = fields
        .all
        .iter()
        .map(|field| (field.name.clone(), Values::Reals(field.values.iter().copied().collect())))
        .collect();
    grid([&fields.x_lines_m, &fields.y_lines_m, &[0.0]], &arrays)
}

/// The module in space: the temperature of every sheet in its place, and which part it is. Above
/// the substrate the planes are those of all die together; where no die is, there is no number.
pub fn module(solved: &Solved) -> Vec<u8> {
    let mesh = &solved.solution.mesh;
    let inlet_K = solved.case.case.module.coolant.inlet_K;
    let z_lines = z_lines(mesh);
    let (nx, ny, nz) = (mesh.plane.nx(), mesh.plane.ny(), z_lines.len() - 1);
    let mut temperature_K = vec![f64::NAN; nx * ny * nz];
    let mut part = vec![-1i32; nx * ny * nz];
    let rise_K = &solved.solution.rise_K;
    let layers = solved.case.case.module.layers.len() as i32;
    for (l, sheet) in mesh.sheets.iter().enumerate() {
        for p in 0..nx * ny {
            temperature_K[l * nx * ny + p] = inlet_K + rise_K[l * nx * ny + p];
            part[l * nx * ny + p] = sheet.layer as i32;
        }
    }
    let mut offset = mesh.sheets.len() * nx * ny;
    let top = z_lines[mesh.sheets.len()];
    for (d, island) in mesh.islands.iter().enumerate() {
        let cells = island.cells;
        let mut low = top;
        for (l, (_, thickness_m)) in island.sheets.iter().enumerate() {
            let high = low + thickness_m;
            for k in mesh.sheets.len()..nz {
                let middle = 0.5 * (z_lines[k] + z_lines[k + 1]);
                if middle <= low || middle >= high {
                    continue;
                }
                for c in 0..cells.len() {
                    let p = (cells.j0 + c / cells.nx()) * nx + cells.i0 + c % cells.nx();
                    temperature_K[k * nx * ny + p] = inlet_K + rise_K[offset + l * cells.len() + c];
                    part[k * nx * ny + p] = layers + d as i32;
                }
            }
            low = high;
        }
        offset += island.sheets.len() * cells.len();
    }
    let arrays = [
        ("temperature_K".to_owned(), Values::Reals(temperature_K)),
        ("part_layers_then_die".to_owned(), Values::Integers(part)),
    ];
    grid([&mesh.plane.x_lines_m, &mesh.plane.y_lines_m, &z_lines], &arrays)
}

/// Planes between sheets, from the board side up, m; those of all islands above the substrate.
fn z_lines(mesh: &Mesh) -> Vec<f64> {
    let mut lines = vec![0.0];
    for sheet in &mesh.sheets {
        lines.push(lines[lines.len() - 1] + sheet.thickness_m);
    }
    let top = lines[lines.len() - 1];
    let mut above = Vec::new();
    for island in &mesh.islands {
        let mut z = top;
        for (_, thickness_m) in &island.sheets {
            z += thickness_m;
            above.push(z);
        }
    }
    above.sort_by(f64::total_cmp);
    // Planes that are meant to be one differ by rounding at most.
    above.dedup_by(|b, a| *b - *a < 1e-12);
    lines.extend(above);
    lines
}

enum Values {
    Reals(Vec<f64>),
    Integers(Vec<i32>),
}

fn grid(lines_m: [&[f64]; 3], arrays: &[(String, Values)]) -> Vec<u8> {
    let [nx, ny, nz] = lines_m.map(|lines| lines.len() - 1);
    let extent = format!("0 {nx} 0 {ny} 0 {nz}");
    let mut text = format!(
        "<?xml version=\"1.0\"?>\n<VTKFile type=\"RectilinearGrid\" version=\"1.0\" \
         byte_order=\"LittleEndian\" header_type=\"UInt64\">\n<RectilinearGrid \
         WholeExtent=\"{extent}\">\n<Piece Extent=\"{extent}\">\n<CellData>\n"
    );
    for (name, values) in arrays {
        array(&mut text, name, values);
    }
    text.push_str("</CellData>\n<Coordinates>\n");
    for (name, lines) in ["x_m", "y_m", "z_m"].iter().zip(lines_m) {
        array(&mut text, name, &Values::Reals(lines.to_vec()));
    }
    text.push_str("</Coordinates>\n</Piece>\n</RectilinearGrid>\n</VTKFile>\n");
    text.into_bytes()
}

fn array(text: &mut String, name: &str, values: &Values) {
    let (kind, bytes): (_, Vec<u8>) = match values {
        Values::Reals(values) => ("Float64", values.iter().flat_map(|v| v.to_le_bytes()).collect()),
        Values::Integers(values) => {
            ("Int32", values.iter().flat_map(|v| v.to_le_bytes()).collect())
        }
    };
    let mut all = (bytes.len() as u64).to_le_bytes().to_vec();
    all.extend(bytes);
    let name = name.replace('&', "&amp;").replace('<', "&lt;").replace('"', "&quot;");
    let _ = writeln!(
        text,
        "<DataArray type=\"{kind}\" Name=\"{name}\" format=\"binary\">{}</DataArray>",
        STANDARD.encode(&all)
    );
}

#[cfg(test)]
mod tests {
    use super::*;
    use sprayside_solver::mesh::{CellRange, Island, IslandPart, PlaneGrid, Sheet};

    #[test]
    fn planes_of_all_islands_stand_above_the_substrate_once() {
        let cells = CellRange { i0: 0, i1: 1, j0: 0, j1: 1 };
        let island = |thicknesses: &[f64]| Island {
            cells,
            sheets: thicknesses.iter().map(|t| (IslandPart::Die, *t)).collect(),
        };
        let mesh = Mesh {
            plane: PlaneGrid { x_lines_m: [0.0, 1.0].into(), y_lines_m: [0.0, 1.0].into() },
            sheets: vec![Sheet { layer: 0, slice: 0, thickness_m: 0.001 }],
            islands: vec![island(&[0.0001, 0.0005]), island(&[0.0001, 0.0003])],
        };
        let lines = z_lines(&mesh);
        let expected = [0.0, 0.001, 0.0011, 0.0014, 0.0016];
        assert_eq!(lines.len(), expected.len());
        assert!(lines.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-15), "{lines:?}");
    }
}
