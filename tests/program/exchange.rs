//! `--save`: the same fields in every form, in their places.

use std::io::Read;

use ndarray::Array2;
use ndarray_npy::NpzReader;

use crate::harness::Room;

/// The numbers of a column of `cells.csv`; NaN where a cell is empty.
fn column(text: &str, name: &str) -> Vec<f64> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let at = reader.headers().expect("a header").iter().position(|h| h == name);
    let at = at.unwrap_or_else(|| panic!("no column {name}"));
    reader
        .records()
        .map(|row| match &row.expect("a row")[at] {
            "" => f64::NAN,
            value => value.parse().expect("a number"),
        })
        .collect()
}

/// The reals of an array of a VTK file.
fn vtk_array(text: &str, name: &str) -> Vec<f64> {
    use base64::Engine;
    let start = text.find(&format!("Name=\"{name}\" format=\"binary\">")).expect("the array");
    let body = &text[start..start + text[start..].find("</DataArray>").expect("its end")];
    let encoded = &body[body.find('>').expect("a tag") + 1..];
    let bytes = base64::engine::general_purpose::STANDARD.decode(encoded).expect("base64");
    let length = u64::from_le_bytes(bytes[..8].try_into().expect("eight bytes")) as usize;
    assert_eq!(length, bytes.len() - 8);
    bytes[8..].chunks_exact(8).map(|b| f64::from_le_bytes(b.try_into().expect("8"))).collect()
}

fn same(a: &[f64], b: &[f64], within: f64) {
    assert_eq!(a.len(), b.len());
    for (a, b) in a.iter().zip(b) {
        assert!((a.is_nan() && b.is_nan()) || (a - b).abs() <= within, "{a} {b}");
    }
}

#[test]
fn the_fields_are_the_same_in_every_form() {
    let room = Room::with_case();
    room.run(&["solve", "case.toml", "--save", "npy,vtk,csv,mtx"]).ends_with(0);
    let file = std::fs::File::open(room.join("case.out/fields.npz")).expect("an archive");
    let mut archive = NpzReader::new(file).expect("an archive");
    let mut field = |name: &str| -> Array2<f64> { archive.by_name(name).expect(name) };
    let (surface, die) = (field("surface_K"), field("sheet_die_K"));
    let cells = room.read("case.out/cells.csv");
    let kelvin =
        |name: &str| -> Vec<f64> { column(&cells, name).iter().map(|t| t + 273.15).collect() };
    let flat = |field: &Array2<f64>| -> Vec<f64> { field.iter().copied().collect() };
    same(&flat(&surface), &kelvin("surface_C"), 1e-7);
    same(&flat(&die), &kelvin("sheet_die_C"), 1e-7);
    let vtk = room.read("case.out/surface.vtr");
    same(&flat(&surface), &vtk_array(&vtk, "surface_K"), 0.0);
    // The middle of the die, at 8 mm and 8 mm, is the hottest cell, and is where it belongs.
    let (x, y) = (column(&cells, "x_mm"), column(&cells, "y_mm"));
    let hottest = (0..x.len()).max_by(|&a, &b| {
        let value = |k: usize| surface.as_slice().expect("in order")[k];
        value(a).total_cmp(&value(b))
    });
    let hottest = hottest.expect("cells");
    assert!((x[hottest] - 8.0).abs() <= 0.6 && (y[hottest] - 8.0).abs() <= 0.6);
    // In space: the lowest plane is the lowest sheet, the last one the top of the die.
    let space = room.read("case.out/module.vtr");
    let temperature = vtk_array(&space, "temperature_K");
    let z = vtk_array(&space, "z_m");
    assert!((z[z.len() - 1] - (1.0 + 0.08 + 0.6) * 1e-3).abs() < 1e-12, "{z:?}");
    let plane = surface.len();
    assert_eq!(temperature.len(), plane * (z.len() - 1));
    same(&temperature[..plane], &flat(&field("sheet_plate_K")), 1e-9);
    let top = &temperature[temperature.len() - plane..];
    same(top, &flat(&die), 1e-9);
}

#[test]
fn the_system_that_is_saved_is_fulfilled_by_the_rise_that_is_saved() {
    let room = Room::with_case();
    room.run(&["solve", "case.toml", "--save", "mtx"]).ends_with(0);
    let vector = |name: &str| -> Vec<f64> {
        room.read(&format!("case.out/{name}"))
            .lines()
            .filter(|line| !line.starts_with('%'))
            .skip(1)
            .map(|line| line.trim().parse().expect("a number"))
            .collect()
    };
    let (b, x) = (vector("rhs.mtx"), vector("rise.mtx"));
    let mut product = vec![0.0; b.len()];
    let mut entries = 0;
    for line in room.read("case.out/operator.mtx").lines().skip(2) {
        let words: Vec<&str> = line.split_whitespace().collect();
        let [i, j] = [0, 1].map(|k| words[k].parse::<usize>().expect("an index") - 1);
        let value: f64 = words[2].parse().expect("a value");
        product[i] += value * x[j];
        if i != j {
            product[j] += value * x[i];
        }
        entries += 1;
    }
    assert!(entries > b.len());
    let norm = |v: &[f64]| v.iter().map(|v| v * v).sum::<f64>().sqrt();
    let residual: Vec<f64> = product.iter().zip(&b).map(|(p, b)| p - b).collect();
    assert!(norm(&residual) < 1e-8 * norm(&b), "{}", norm(&residual) / norm(&b));
}

#[test]
fn an_unknown_form_is_refused_with_those_that_there_are() {
    let room = Room::with_case();
    room.run(&["solve", "case.toml", "--save", "xls"])
        .ends_with(2)
        .complains_of("[possible values: npy, vtk, csv, mtx]");
    let mut archive = Vec::new();
    room.run(&["solve", "case.toml", "--save", "npy"]).ends_with(0);
    std::fs::File::open(room.join("case.out/fields.npz"))
        .and_then(|mut file| file.read_to_end(&mut archive))
        .expect("an archive");
    assert!(archive.starts_with(b"PK"));
}
