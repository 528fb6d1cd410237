//! What a cap off its place does.

use serde_json::json;
use sprayside_solver::study::offset::{Offset, Place, safe_radius};
use sprayside_solver::study::point::PointOutcome;
use sprayside_solver::study::points::Points;

use super::{Study, Told, json_figure};
use crate::case_file::CaseFile;
use crate::failure::Failure;
use crate::figures::significant;
use crate::maps::{self, Words};
use crate::summary::Solved;
use crate::text::{self, Side, Table};

/// Contour pictures drawn, one a height and tilt.
const MOST_PICTURES: usize = 24;

/// Places of the cap.
pub struct OffsetStudy<'a> {
    offset: Offset<'a>,
}

/// All offsets at one height and tilt.
struct Sheet {
    place: Place,
    xs: Vec<f64>,
    ys: Vec<f64>,
    /// Least margin to any limit, K, `j * xs.len() + i`; NaN without a solution.
    margin: Vec<f64>,
    /// The smaller of that and, where burn-out is nearer, a negative number.
    safe: Vec<f64>,
}

impl<'a> OffsetStudy<'a> {
    /// Of a case with nozzles.
    pub fn new(case: &'a CaseFile, places: &[Place]) -> Result<Self, Failure> {
        let offset =
            Offset::new(&case.case.module, places.to_vec()).ok_or_else(super::no_nozzles)?;
        Ok(OffsetStudy { offset })
    }

    fn sheets(&self, outcomes: &[PointOutcome]) -> Vec<Sheet> {
        let places = &self.offset.places;
        let distinct = |of: fn(&Place) -> f64| {
            let mut values: Vec<f64> = places.iter().map(of).collect();
            values.sort_by(f64::total_cmp);
            values.dedup();
            values
        };
        let (xs, ys) = (distinct(|p| p.dx_mm), distinct(|p| p.dy_mm));
        let mut sheets: Vec<Sheet> = Vec::new();
        let home = |p: &Place| Place { dx_mm: 0.0, dy_mm: 0.0, ..*p };
        for (place, outcome) in places.iter().zip(outcomes) {
            let at = home(place);
            let sheet = match sheets.iter().position(|sheet| sheet.place == at) {
                Some(known) => &mut sheets[known],
                None => {
                    let none = vec![f64::NAN; xs.len() * ys.len()];
                    let (xs, ys) = (xs.clone(), ys.clone());
                    sheets.push(Sheet { place: at, xs, ys, margin: none.clone(), safe: none });
                    let last = sheets.len() - 1;
                    &mut sheets[last]
                }
            };
            let find = |values: &[f64], v: f64| values.partition_point(|&w| w < v);
            let cell = find(&sheet.ys, place.dy_mm) * sheet.xs.len() + find(&sheet.xs, place.dx_mm);
            if let Ok(point) = outcome {
                let margin = point.least_margin_K().map_or(f64::INFINITY, |m| m.0);
                sheet.margin[cell] = margin;
                // Ten kelvin for a margin of burn-out: only the sign counts.
                let burn = point.sure_chf_margin().map_or(f64::INFINITY, |chf| 10.0 * (chf - 1.0));
                sheet.safe[cell] = margin.min(burn);
            }
        }
        sheets
    }
}

/// `raised 0.5 mm, tilted 1° about x`; empty at home.
fn in_words(place: &Place) -> String {
    let mut words = Vec::new();
    if place.raise_mm != 0.0 {
        let word = if place.raise_mm > 0.0 { "raised" } else { "lowered" };
        words.push(format!("{word} {} mm", significant(place.raise_mm.abs(), 4)));
    }
    for (angle, axis) in [(place.tilt_x_deg, "x"), (place.tilt_y_deg, "y")] {
        if angle != 0.0 {
            words.push(format!("tilted {}° about {axis}", significant(angle, 4)));
        }
    }
    words.join(", ")
}

impl Study for OffsetStudy<'_> {
    fn points(&self) -> &dyn Points {
        &self.offset
    }

    fn columns(&self) -> Vec<String> {
        ["dx_mm", "dy_mm", "raise_mm", "tilt_x_deg", "tilt_y_deg"].map(str::to_owned).to_vec()
    }

    fn cells(&self, k: usize) -> Vec<String> {
        let p = &self.offset.places[k];
        [p.dx_mm, p.dy_mm, p.raise_mm, p.tilt_x_deg, p.tilt_y_deg].map(|v| v.to_string()).to_vec()
    }

    fn tell(&self, solved: &Solved, outcomes: &[PointOutcome]) -> Result<Told, Failure> {
        let sheets = self.sheets(outcomes);
        let mut files = Vec::new();
        let mut rows = Vec::new();
        let mut table = Table::new(vec![
            ("cap", "", Side::Left),
            ("largest safe circle", "mm", Side::Right),
            ("at home", "K", Side::Right),
            ("least margin", "K", Side::Right),
            ("at dx, dy", "mm", Side::Right),
            ("no solution", "points", Side::Right),
        ]);
        for (n, sheet) in sheets.iter().enumerate() {
            let is_plane = sheet.xs.len() > 1 && sheet.ys.len() > 1;
            let radius =
                if is_plane { safe_radius(&sheet.xs, &sheet.ys, &sheet.safe) } else { None };
            let nx = sheet.xs.len();
            let least = (0..sheet.margin.len())
                .filter(|&k| sheet.margin[k].is_finite())
                .min_by(|&a, &b| sheet.margin[a].total_cmp(&sheet.margin[b]));
            let home = (0..sheet.margin.len())
                .find(|&k| sheet.xs[k % nx] == 0.0 && sheet.ys[k / nx] == 0.0)
                .map(|k| sheet.margin[k])
                .filter(|margin| margin.is_finite());
            let cap = in_words(&sheet.place);
            let missing = sheet.margin.iter().filter(|m| m.is_nan()).count();
            table.row(
                vec![
                    if cap.is_empty() { "in place".to_owned() } else { cap.clone() },
                    radius.map_or(String::new(), |(r, open)| {
                        format!("{}{}", if open { "≥ " } else { "" }, significant(r, 3))
                    }),
                    home.map_or(String::new(), |m| format!("{m:.2}")),
                    least.map_or(String::new(), |k| format!("{:.2}", sheet.margin[k])),
                    least.map_or(String::new(), |k| {
                        let (x, y) = (sheet.xs[k % nx], sheet.ys[k / nx]);
                        format!("{}, {}", significant(x, 3), significant(y, 3))
                    }),
                    if missing > 0 { missing.to_string() } else { String::new() },
                ],
                None,
            );
            rows.push(json!({
                "raise_mm": sheet.place.raise_mm,
                "tilt_x_deg": sheet.place.tilt_x_deg,
                "tilt_y_deg": sheet.place.tilt_y_deg,
                "safe_radius_mm": json_figure(radius.map(|r| r.0)),
                "grid_ends_first": radius.map(|r| r.1),
                "home_margin_K": json_figure(home),
                "least_margin_K": json_figure(least.map(|k| sheet.margin[k])),
                "without_solution": missing,
            }));
            if is_plane && n < MOST_PICTURES && least.is_some() {
                let subtitle = match radius {
                    Some((r, true)) => format!(
                        "Every limit holds within {} mm, as far as was looked (circle)",
                        significant(r, 3)
                    ),
                    Some((r, false)) if r > 0.0 => format!(
                        "Circle: largest offset inside which every limit holds, {} mm",
                        significant(r, 3)
                    ),
                    _ => "A limit is broken with the cap in its place".to_owned(),
                };
                let words = Words {
                    file: if n == 0 {
                        "offset.png".to_owned()
                    } else {
                        format!("offset-{}.png", n + 1)
                    },
                    title: if cap.is_empty() {
                        "Least margin to a limit over offsets of the cap".to_owned()
                    } else {
                        format!("Least margin to a limit, cap {cap}")
                    },
                    module: solved.case.case.module.title.clone(),
                    subtitle,
                    across: "dx, mm".to_owned(),
                    up: "dy, mm".to_owned(),
                };
                let circle = radius.map(|r| r.0).filter(|r| *r > 0.0);
                let picture = maps::contour(&words, (&sheet.xs, &sheet.ys), &sheet.margin, circle)
                    .map_err(crate::commands::not_written)?;
                files.push((picture.file, picture.png));
            }
        }
        let told = format!(
            "{}\n{}  {}\n",
            text::styled(text::HEADING, "The cap off its place:"),
            table.text(),
            text::wrapped(
                "Margins count the numerical uncertainty. Inside the circle every limit and margin \
                 to burn-out holds, taken as straight between the points of the grid: a finer grid \
                 tells it better. Every point is in points.csv.",
                text::WIDTH - 2,
                "  "
            )
        );
        Ok(Told { files, section: json!({ "heights_and_tilts": rows }), text: told, broken: false })
    }
}
