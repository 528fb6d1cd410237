//! The fields of two folders of results, one less the other.

use std::fs::File;
use std::io::{BufReader, ErrorKind};
use std::path::Path;
use std::sync::Arc;

use ndarray::{Array1, Array2};
use ndarray_npy::NpzReader;
use serde::Serialize;
use sprayside_solver::module::Rect;
use sprayside_solver::results::PlaneField;

use crate::exchange::FIELDS;
use crate::figures::figure;
use crate::maps::{Outlined, Outlines, on_grid};

/// Lines that lie so close are one, m.
const SAME_LINE_M: f64 = 1e-9;
/// The fields that are compared: name in the archive, file of the map, in words.
const COMPARED: [(&str, &str, &str); 2] = [
    ("surface_K", "difference_surface.png", "surface temperature"),
    ("junction_K", "difference_junction.png", "junction temperature"),
];

/// The largest difference of a field.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct Largest {
    pub field: &'static str,
    pub difference_K: f64,
    pub at_mm: [f64; 2],
}

/// One field of B less that of A.
#[derive(Debug)]
pub struct FieldDifference {
    /// File of its map.
    pub file: &'static str,
    /// What it is, in words.
    pub what: &'static str,
    /// The difference, K, on the lines of both grids.
    pub field_K: PlaneField,
    /// Where it is largest; none where the two have no place in common.
    pub largest: Option<Largest>,
}

/// Every field that two results have in common.
#[derive(Debug)]
pub struct Difference {
    /// Title of A.
    title: String,
    /// Along x and y, m.
    size_m: [f64; 2],
    /// Names of the sources of A and where they are, m.
    parts: Vec<(String, Rect)>,
    /// The fields.
    pub fields: Vec<FieldDifference>,
}

/// The fields of one folder.
struct Fields {
    x_lines_m: Arc<[f64]>,
    y_lines_m: Arc<[f64]>,
    fields: Vec<Array2<f64>>,
    outlines: Vec<Rect>,
}

impl Difference {
    /// The difference of the fields in two folders; `names` are those of the sources of A.
    ///
    /// # Errors
    /// Why there is none, in words.
    pub fn of(a: &Path, b: &Path, title: &str, names: &[&str]) -> Result<Difference, String> {
        let (first, second) = (fields(a)?, fields(b)?);
        let size = |fields: &Fields| [last(&fields.x_lines_m), last(&fields.y_lines_m)];
        let (of_a, of_b) = (size(&first), size(&second));
        if of_a.iter().zip(&of_b).any(|(a, b)| (a - b).abs() > SAME_LINE_M) {
            let [ax, ay] = of_a.map(|v| v * 1e3);
            let [bx, by] = of_b.map(|v| v * 1e3);
            return Err(format!("A is {ax} by {ay} mm, B {bx} by {by} mm"));
        }
        let x_lines_m = union(&first.x_lines_m, &second.x_lines_m);
        let y_lines_m = union(&first.y_lines_m, &second.y_lines_m);
        let differences = COMPARED
            .iter()
            .zip(first.fields.iter().zip(&second.fields))
            .map(|(&(name, file, what), (a, b))| {
                let on = |fields: &Fields, values: &Array2<f64>| {
                    let field = PlaneField {
                        x_lines_m: Arc::clone(&fields.x_lines_m),
                        y_lines_m: Arc::clone(&fields.y_lines_m),
                        values: values.clone(),
                    };
                    on_grid(&field, &fields.outlines, &x_lines_m, &y_lines_m)
                };
                let values = on(&second, b) - on(&first, a);
                let largest = largest(name, &values, &x_lines_m, &y_lines_m);
                let field_K = PlaneField {
                    x_lines_m: Arc::clone(&x_lines_m),
                    y_lines_m: Arc::clone(&y_lines_m),
                    values,
                };
                FieldDifference { file, what, field_K, largest }
            })
            .collect();
        let names = names.iter().map(|name| (*name).to_owned());
        Ok(Difference {
            title: title.to_owned(),
            size_m: of_a,
            parts: names.zip(first.outlines).collect(),
            fields: differences,
        })
    }

    /// What the maps show beside the fields.
    pub fn outlines(&self) -> Outlines<'_> {
        Outlines {
            title: &self.title,
            size_m: self.size_m,
            parts: self
                .parts
                .iter()
                .map(|(name, rect)| Outlined { name, rect: *rect, is_die: true })
                .collect(),
        }
    }

    /// The largest difference of each field.
    pub fn largest(&self) -> Vec<Largest> {
        self.fields.iter().filter_map(|field| field.largest.clone()).collect()
    }
}

fn last(lines: &[f64]) -> f64 {
    lines.last().copied().unwrap_or(0.0)
}

/// The lines of both.
fn union(a: &[f64], b: &[f64]) -> Arc<[f64]> {
    let mut lines: Vec<f64> = a.iter().chain(b).copied().collect();
    lines.sort_by(f64::total_cmp);
    lines.dedup_by(|later, earlier| *later - *earlier <= SAME_LINE_M);
    lines.into()
}

fn largest(
    field: &'static str,
    values: &Array2<f64>,
    x_lines_m: &[f64],
    y_lines_m: &[f64],
) -> Option<Largest> {
    let middle = |lines: &[f64], k: usize| 0.5e3 * (lines[k] + lines[k + 1]);
    values
        .indexed_iter()
        .filter(|(_, value)| value.is_finite())
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
        .and_then(|((j, i), value)| {
            Some(Largest {
                field,
                difference_K: figure(*value)?,
                at_mm: [figure(middle(x_lines_m, i))?, figure(middle(y_lines_m, j))?],
            })
        })
}

/// The fields that a folder holds.
fn fields(folder: &Path) -> Result<Fields, String> {
    let path = folder.join(FIELDS);
    let file = File::open(&path).map_err(|error| match error.kind() {
        ErrorKind::NotFound => format!(
            "{} holds no fields; solve it again with --save npy, which writes {FIELDS}",
            folder.display()
        ),
        _ => format!("cannot read {}: {error}", path.display()),
    })?;
    let unlike = |what: &dyn std::fmt::Display| format!("{}: {what}", path.display());
    let mut archive = NpzReader::new(BufReader::new(file)).map_err(|error| unlike(&error))?;
    let mut lines = |name: &str| -> Result<Arc<[f64]>, String> {
        let lines: Array1<f64> =
            archive.by_name(name).map_err(|error| unlike(&format!("{name}: {error}")))?;
        let rises = lines.len() >= 2 && lines.windows(2).into_iter().all(|w| w[1] > w[0]);
        if !rises {
            return Err(unlike(&format!("{name} does not rise")));
        }
        Ok(lines.iter().copied().collect())
    };
    let (x_lines_m, y_lines_m) = (lines("x_lines_m")?, lines("y_lines_m")?);
    let mut table = |name: &str| -> Result<Array2<f64>, String> {
        archive.by_name(name).map_err(|error| {
            unlike(&format!("{name}: {error}; solve the case again with --save npy"))
        })
    };
    let outlines = table("source_rect_m")?;
    if outlines.ncols() != 4 {
        return Err(unlike(&"source_rect_m has other columns"));
    }
    let shape = [y_lines_m.len() - 1, x_lines_m.len() - 1];
    let fields = COMPARED
        .iter()
        .map(|(name, ..)| {
            let field = table(name)?;
            if field.shape() != shape {
                return Err(unlike(&format!("{name} does not fit the lines")));
            }
            Ok(field)
        })
        .collect::<Result<_, String>>()?;
    let outlines = outlines
        .rows()
        .into_iter()
        .map(|row| Rect { x0_m: row[0], y0_m: row[1], x1_m: row[2], y1_m: row[3] })
        .collect();
    Ok(Fields { x_lines_m, y_lines_m, fields, outlines })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_field_of_another_grid_is_met_between_its_centres() {
        // x + 2 y on two grids: the difference of the two is rounding away from the rims.
        let field = |x: &[f64], y: &[f64]| {
            let middle = |l: &[f64], k: usize| 0.5 * (l[k] + l[k + 1]);
            let values = Array2::from_shape_fn((y.len() - 1, x.len() - 1), |(j, i)| {
                middle(x, i) + 2.0 * middle(y, j)
            });
            PlaneField { x_lines_m: x.into(), y_lines_m: y.into(), values }
        };
        let even: Vec<f64> = (0..=8).map(f64::from).collect();
        let graded = [0.0, 0.5, 1.5, 3.0, 5.0, 6.5, 8.0];
        let (a, b) = (field(&even, &even), field(&graded, &graded));
        let lines = union(&even, &graded);
        assert_eq!(lines.len(), 12);
        let difference = on_grid(&b, &[], &lines, &lines) - on_grid(&a, &[], &lines, &lines);
        let inner = difference.slice(ndarray::s![2..8, 2..8]);
        assert!(inner.iter().all(|d| d.abs() < 1e-12), "{inner}");
        let found = largest("x", &difference, &lines, &lines).expect("a difference");
        assert!(found.difference_K.abs() > 0.1);
    }
}
