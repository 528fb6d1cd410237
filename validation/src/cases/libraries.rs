//! The same problems by general-purpose libraries with other methods.

use serde::Deserialize;

use super::{Family, Outcomes};
use crate::check::{Kind, Outcome};
use crate::reference::{Answer, Patch, Reference, ReferenceCase};
use crate::sources;
use crate::vehicle::{AMBIENT_K, solved, vehicle};
use sprayside_solver::module::Heater;
use sprayside_solver::module::{Face, HtcPatch, Rect, Spray};
use sprayside_solver::results::Junction;
use sprayside_solver::steady::SteadyError;

/// A committed file that does not parse is a broken checkout: say so in a failing check.
fn unreadable(family: &Family, what: &str, error: &serde_json::Error) -> Vec<Outcome> {
    vec![family.outcome(what, &format!("not readable: {error}"), "", [0.0, 0.0], [f64::NAN, 0.0])]
}

fn compare(
    family: &Family,
    case: &str,
    place: &str,
    answer: &Answer,
    junction: &Junction,
) -> [Outcome; 2] {
    [
        family.outcome(
            case,
            &format!("mean rise of {}", answer.name),
            place,
            [answer.mean_rise_K, answer.mean_accuracy_K],
            [junction.mean_K - AMBIENT_K, junction.uncertainty_K],
        ),
        family.outcome(
            case,
            &format!("highest rise of {}", answer.name),
            place,
            [answer.max_rise_K, answer.max_accuracy_K],
            [junction.max_K - AMBIENT_K, junction.uncertainty_K],
        ),
    ]
}

fn three_dimensional(family: &Family, text: &str) -> Outcomes {
    let reference: Reference = match serde_json::from_str(text) {
        Ok(reference) => reference,
        Err(error) => return Ok(unreadable(family, "reference vectors", &error)),
    };
    let mut outcomes = Vec::new();
    for case in &reference.cases {
        let result = solved(&case.module())?;
        let place = format!("{}, {}", reference.library, reference.script);
        for (answer, junction) in case.junctions.iter().zip(&result.junctions) {
            outcomes.extend(compare(family, &case.name, &place, answer, junction));
        }
    }
    Ok(outcomes)
}

/// Die islands, blocks, patches and heaters by quadratic finite elements.
pub fn finite_elements() -> Outcomes {
    const FAMILY: Family =
        Family { kind: Kind::OtherCode, source: &sources::SCIKIT_FEM, unit: "K" };
    three_dimensional(&FAMILY, include_str!("../../reference/finite_elements.json"))
}

/// The same by vertex-centred finite volumes and a sparse direct solver; one sheet by
/// cell-centred finite volumes in the plane.
pub fn finite_volumes() -> Outcomes {
    const FAMILY: Family = Family { kind: Kind::OtherCode, source: &sources::SCIPY, unit: "K" };
    let mut outcomes =
        three_dimensional(&FAMILY, include_str!("../../reference/finite_volumes.json"))?;
    outcomes.extend(one_sheet()?);
    Ok(outcomes)
}

#[derive(Debug, Deserialize)]
struct PlateFile {
    library: String,
    script: String,
    case: PlateCase,
    junctions: Vec<PlateAnswer>,
}

#[derive(Debug, Deserialize)]
struct PlateCase {
    name: String,
    size_m: [f64; 2],
    thickness_m: f64,
    conductivity_W_mK: [f64; 3],
    htc_below_W_m2K: f64,
    htc_above_W_m2K: f64,
    patches: Vec<Patch>,
    heaters: Vec<crate::reference::Block>,
}

#[derive(Debug, Deserialize)]
struct PlateAnswer {
    mean_rise_K: f64,
    max_rise_K: f64,
    mean_accuracy_K: f64,
    max_accuracy_K: f64,
}

fn rect([x0_m, y0_m, x1_m, y1_m]: [f64; 4]) -> Rect {
    Rect { x0_m, y0_m, x1_m, y1_m }
}

fn one_sheet() -> Outcomes {
    const FAMILY: Family = Family { kind: Kind::OtherCode, source: &sources::FIPY, unit: "K" };
    let file: PlateFile =
        match serde_json::from_str(include_str!("../../reference/plate_fipy.json")) {
            Ok(file) => file,
            Err(error) => return Ok(unreadable(&FAMILY, "reference vectors", &error)),
        };
    let case = &file.case;
    let on_cells = |cell_m: f64| -> Result<Vec<Junction>, SteadyError> {
        let mut module = vehicle(
            case.size_m,
            &[(case.thickness_m, case.conductivity_W_mK)],
            case.htc_below_W_m2K,
            case.htc_above_W_m2K,
        );
        module.layers[0].slices = Some(1);
        module.mesh.cell_m = Some(cell_m);
        module.heaters = case
            .heaters
            .iter()
            .enumerate()
            .map(|(n, h)| Heater {
                name: format!("H{}", n + 1),
                layer: 0,
                face: Face::Top,
                rect: rect(h.rect_m),
                power_W: h.power_W,
                limit_K: None,
            })
            .collect();
        if let Spray::Prescribed(spray) = &mut module.spray {
            spray.patches = case
                .patches
                .iter()
                .map(|p| HtcPatch { rect: rect(p.rect_m), htc_W_m2K: p.htc_W_m2K })
                .collect();
        }
        Ok(solved(&module)?.junctions)
    };
    // One sheet is the model under test here: only the plane's own error counts.
    let (coarse, fine) = (on_cells(0.4e-3)?, on_cells(0.2e-3)?);
    let place = format!("{}, {}", file.library, file.script);
    let mut outcomes = Vec::new();
    for ((answer, coarse), fine) in file.junctions.iter().zip(&coarse).zip(fine) {
        let plane = (fine.max_K - coarse.max_K).abs().max((fine.mean_K - coarse.mean_K).abs());
        let answer = Answer {
            name: fine.name.clone(),
            mean_rise_K: answer.mean_rise_K,
            max_rise_K: answer.max_rise_K,
            mean_accuracy_K: answer.mean_accuracy_K,
            max_accuracy_K: answer.max_accuracy_K,
        };
        let junction = Junction { uncertainty_K: plane, ..fine };
        outcomes.extend(compare(&FAMILY, &case.name, &place, &answer, &junction));
    }
    Ok(outcomes)
}

/// The assembled matrix of a module with die, patches and blocks, solved by faer's sparse
/// Cholesky factorisation: the largest difference of any unknown.
pub fn sparse_direct() -> Outcomes {
    const FAMILY: Family = Family { kind: Kind::OtherCode, source: &sources::FAER, unit: "K" };
    let reference: Reference =
        match serde_json::from_str(include_str!("../../reference/finite_elements.json")) {
            Ok(reference) => reference,
            Err(error) => return Ok(unreadable(&FAMILY, "reference vectors", &error)),
        };
    let mut outcomes = Vec::new();
    for case in &reference.cases {
        let (largest_rise, difference) = direct_difference(case)?;
        outcomes.push(FAMILY.outcome(
            &case.name,
            "largest difference of any unknown, same matrix",
            "sparse Cholesky factorisation of the assembled matrix",
            [0.0, 1e-8 * largest_rise],
            [difference, 0.0],
        ));
    }
    Ok(outcomes)
}

fn direct_difference(case: &ReferenceCase) -> Result<(f64, f64), SteadyError> {
    let system = crate::system::system(&case.module(), 0.8e-3)?;
    let direct = crate::system::direct_solution(&system);
    let largest = system.solution.iter().fold(0.0f64, |m, v| m.max(v.abs()));
    let difference = system
        .solution
        .iter()
        .zip(&direct)
        .map(|(a, b)| (a - b).abs())
        .fold(0.0, |m: f64, d| if d.is_nan() { d } else { m.max(d) });
    Ok((largest, difference))
}
