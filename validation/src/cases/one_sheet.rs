//! One sheet: the thickness-averaged plate, on fixed grids.
//!
//! These check the model of a single sheet itself, so that the solver's uncertainty (which counts
//! the sheets as an approximation) is set aside: the error of the plane is bounded by the change
//! from a grid of half the cells.

use super::{Family, Outcomes};
use crate::check::Kind;
use crate::closed_form::RectSource;
use crate::closed_form::plate::Plate;
use crate::sources;
use crate::vehicle::{AMBIENT_K, add_heater, solved, vehicle};
use sprayside_solver::results::Junction;
use sprayside_solver::steady::SteadyError;

/// The plate of these checks, coefficients on both faces.
pub const PLATE: Plate = Plate {
    size: [40e-3, 25e-3],
    thickness: 1e-3,
    conductivity: [22.0, 30.0, 22.0],
    htc_below: 100.0,
    htc_above: 3000.0,
    terms: 1500,
};

/// Off centre in both directions.
pub const SOURCE: RectSource = RectSource { x: 15e-3, y: 11e-3, width: 12e-3, height: 8e-3 };

/// Power of the source, W.
pub const POWER_W: f64 = 20.0;

/// The junction of the one-sheet plate on cells of at most `cell_m`.
///
/// # Errors
/// As the solver.
pub fn junction(cell_m: f64) -> Result<Junction, SteadyError> {
    let mut module = vehicle(
        PLATE.size,
        &[(PLATE.thickness, PLATE.conductivity)],
        PLATE.htc_below,
        PLATE.htc_above,
    );
    module.layers[0].slices = Some(1);
    module.mesh.cell_m = Some(cell_m);
    add_heater(&mut module, 1, &SOURCE, POWER_W);
    Ok(solved(&module)?.junctions[0].clone())
}

/// Mean and highest rise of the source's face.
pub fn plate_series() -> Outcomes {
    const FAMILY: Family =
        Family { kind: Kind::Analytic, source: &sources::SERIES_RESISTANCES, unit: "K" };
    let (coarse, fine) = (junction(0.5e-3)?, junction(0.25e-3)?);
    let mean = PLATE.top_face_rise(POWER_W, &SOURCE, &SOURCE);
    let [x, y] = fine.hot_spot_m;
    let there = PLATE.top_face_rise(POWER_W, &SOURCE, &RectSource::point(x, y));
    Ok(vec![
        FAMILY.outcome(
            "one sheet with coefficients on both faces",
            "mean rise of the source",
            "thickness-averaged double cosine series",
            [mean, 1e-6 * mean],
            [fine.mean_K - AMBIENT_K, (fine.mean_K - coarse.mean_K).abs()],
        ),
        FAMILY.outcome(
            "one sheet with coefficients on both faces",
            "highest rise, series at its place",
            "thickness-averaged double cosine series",
            [there, 1e-5 * there],
            [fine.max_K - AMBIENT_K, (fine.max_K - coarse.max_K).abs()],
        ),
    ])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mean_of_the_source_converges_at_second_order() {
        let expected = PLATE.top_face_rise(POWER_W, &SOURCE, &SOURCE);
        let errors: Vec<f64> = [1e-3, 0.5e-3, 0.25e-3]
            .iter()
            .map(|&cell| (junction(cell).unwrap().mean_K - AMBIENT_K - expected).abs())
            .collect();
        for pair in errors.windows(2) {
            let order = (pair[0] / pair[1]).log2();
            assert!((order - 2.0).abs() < 0.15, "order {order}, errors {errors:?}");
        }
        assert!(errors[2] < 1e-3 * expected, "last error {} K of {expected} K", errors[2]);
    }
}
