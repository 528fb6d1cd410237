//! The board side as a press: the force of the contact field and the plate that carries it.
//!
//! Plate formulas, not a structural analysis: frame, bolts, holes, ribs and the substrate itself
//! are not here.

mod plate;

pub use plate::{PlateCoefficients, plate_coefficients};

use crate::module::{BackingPlate, BoardSide, ContactField, PlateSupport};

/// Seating force, and what it does to the backing plate.
#[derive(Debug, Clone, PartialEq)]
pub struct Seating {
    /// Contacts.
    pub contacts: usize,
    /// Coefficient of the contacts together over the module's area, W/(m²·K).
    pub htc_W_m2K: f64,
    /// Force of all contacts, N, where that of one is stated.
    pub force_N: Option<f64>,
    /// That force over the module's area, Pa.
    pub mean_pressure_Pa: Option<f64>,
    /// The plate, where it and the force are described.
    pub plate: Option<PlateBending>,
    /// Assumptions that are strained.
    pub warnings: Vec<String>,
}

/// A backing plate under the seating force.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlateBending {
    /// Even pressure that was assumed over the whole free span, Pa.
    pub pressure_Pa: f64,
    /// Flexural rigidity, N·m.
    pub rigidity_N_m: f64,
    /// Deflection at the centre, m.
    pub deflection_m: f64,
    /// Largest bending stress, Pa: at the centre, or at the middle of the longer edges where
    /// they are clamped.
    pub stress_Pa: f64,
    /// Yield strength over that stress, where stated.
    pub yield_margin: Option<f64>,
    /// Allowed flatness over the deflection, where stated: below one the contacts at the centre
    /// lose travel that they do not have.
    pub flatness_margin: Option<f64>,
}

/// Coefficient of a field of contacts over an area, W/(m²·K).
pub fn contact_htc_W_m2K(field: &ContactField, area_m2: f64) -> f64 {
    field.contacts as f64 * field.conductance_per_contact_W_K / area_m2
}

/// What the contact field of `board` does under a module of `size_m`; `None` without contacts.
pub fn seating(board: &BoardSide, size_m: [f64; 2]) -> Option<Seating> {
    let field = board.contacts.as_ref()?;
    let area_m2 = size_m[0] * size_m[1];
    let force_N = field.force_per_contact_N.map(|force| force * field.contacts as f64);
    let mean_pressure_Pa = force_N.map(|force| force / area_m2);
    let mut warnings = Vec::new();
    let plate = match (&board.backing_plate, mean_pressure_Pa) {
        (Some(plate), Some(pressure)) => {
            let bending = plate_bending(plate, pressure, field.flatness_m);
            warn(plate, &bending, size_m, &mut warnings);
            Some(bending)
        }
        (Some(_), None) => {
            warnings.push(
                "the backing plate is described, but not the force of a contact: its deflection is unknown".to_owned(),
            );
            None
        }
        (None, _) => None,
    };
    Some(Seating {
        contacts: field.contacts,
        htc_W_m2K: contact_htc_W_m2K(field, area_m2),
        force_N,
        mean_pressure_Pa,
        plate,
        warnings,
    })
}

/// Deflection and stress of a plate under an even pressure over its whole free span.
///
/// The contacts' mean pressure is taken over the span: exact where the module covers it, on the
/// safe side where the span is the larger of the two. Coefficients: [`plate_coefficients`].
pub fn plate_bending(
    plate: &BackingPlate,
    pressure_Pa: f64,
    flatness_m: Option<f64>,
) -> PlateBending {
    let short = plate.span_m[0].min(plate.span_m[1]);
    let long = plate.span_m[0].max(plate.span_m[1]);
    let coefficients = plate_coefficients(plate.support, long / short, plate.poisson);
    let t = plate.thickness_m;
    let rigidity_N_m =
        plate.elastic_modulus_Pa * t.powi(3) / (12.0 * (1.0 - plate.poisson * plate.poisson));
    let deflection_m = coefficients.deflection * pressure_Pa * short.powi(4) / rigidity_N_m;
    let stress_Pa = 6.0 * coefficients.largest_moment() * pressure_Pa * short * short / (t * t);
    PlateBending {
        pressure_Pa,
        rigidity_N_m,
        deflection_m,
        stress_Pa,
        yield_margin: plate.yield_Pa.map(|strength| strength / stress_Pa),
        flatness_margin: flatness_m.map(|flatness| flatness / deflection_m),
    }
}

fn warn(
    plate: &BackingPlate,
    bending: &PlateBending,
    size_m: [f64; 2],
    warnings: &mut Vec<String>,
) {
    let short = plate.span_m[0].min(plate.span_m[1]);
    if plate.thickness_m > 0.1 * short {
        warnings.push(format!(
            "backing plate of {:.2} mm on a span of {:.1} mm: thicker than a tenth of its span, shear adds to the deflection",
            plate.thickness_m * 1e3,
            short * 1e3
        ));
    }
    if bending.deflection_m > 0.5 * plate.thickness_m {
        warnings.push(format!(
            "backing plate bends by {:.3} mm, more than half its thickness: the formula of small deflections overstates it",
            bending.deflection_m * 1e3
        ));
    }
    let smaller = |span: f64, size: f64| span < size * (1.0 - 1e-9);
    let turned = plate.span_m[0].min(plate.span_m[1]) < size_m[0].min(size_m[1]) * (1.0 - 1e-9);
    if smaller(plate.span_m[0], size_m[0]) || smaller(plate.span_m[1], size_m[1]) || turned {
        warnings.push(format!(
            "backing plate spans {:.1} x {:.1} mm, less than the module of {:.1} x {:.1} mm: what lies beyond the span is taken to be carried by its frame",
            plate.span_m[0] * 1e3,
            plate.span_m[1] * 1e3,
            size_m[0] * 1e3,
            size_m[1] * 1e3
        ));
    }
    if bending.yield_margin.is_some_and(|margin| margin < 1.0) {
        warnings.push(format!(
            "backing plate of {}: a bending stress of {:.0} MPa is above its yield strength; a plate that gives way under spring load can hurt: prove it before use",
            plate.material,
            bending.stress_Pa / 1e6
        ));
    }
    if bending.flatness_margin.is_some_and(|margin| margin < 1.0) {
        let held = match plate.support {
            PlateSupport::SimplySupported => "simply supported",
            PlateSupport::Clamped => "clamped",
        };
        warnings.push(format!(
            "backing plate, {held}, bends by {:.3} mm, more than the contacts allow",
            bending.deflection_m * 1e3
        ));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn board(force_N: Option<f64>, plate: Option<BackingPlate>) -> BoardSide {
        BoardSide {
            temperature_K: 313.15,
            htc_W_m2K: 0.0,
            contacts: Some(ContactField {
                contacts: 3800,
                conductance_per_contact_W_K: 0.0009,
                force_per_contact_N: force_N,
                flatness_m: Some(0.05e-3),
            }),
            backing_plate: plate,
        }
    }

    fn steel(thickness_m: f64, support: PlateSupport) -> BackingPlate {
        BackingPlate {
            span_m: [0.1, 0.1],
            thickness_m,
            elastic_modulus_Pa: 200e9,
            poisson: 0.3,
            yield_Pa: Some(250e6),
            material: "steel".to_owned(),
            support,
        }
    }

    /// A fact of the trade (common practice, no source): 3,800 contacts at 40 gram-force press
    /// with about 335 pounds-force. Standard gravity 9.80665 m/s², one pound-force 4.4482216 N.
    #[test]
    fn usual_contact_field_presses_with_335_pounds_force() {
        let force = 40e-3 * 9.80665;
        let seating = seating(&board(Some(force), None), [0.1, 0.1]).unwrap();
        let total = seating.force_N.unwrap();
        assert!((total / 4.448_221_6 - 335.0).abs() < 0.5, "{total}");
        assert!((seating.mean_pressure_Pa.unwrap() - total / 0.01).abs() < 1e-9);
        assert!((seating.htc_W_m2K - 342.0).abs() < 1e-9);
    }

    /// By hand: 149.06 kPa on 100 × 100 × 6 mm of steel, D = 3956 N·m.
    #[test]
    fn square_plates_bend_by_the_handbook_formula() {
        let force = 40e-3 * 9.80665;
        let bend = |support| {
            seating(&board(Some(force), Some(steel(6e-3, support))), [0.1, 0.1])
                .unwrap()
                .plate
                .unwrap()
        };
        let free = bend(PlateSupport::SimplySupported);
        assert!((free.rigidity_N_m - 3956.04).abs() < 0.01);
        let expected = 0.0444 * free.pressure_Pa * 1e-4 / (200e9 * 2.16e-7);
        assert!((free.deflection_m / expected - 1.0).abs() < 2e-3);
        let expected = 0.2874 * free.pressure_Pa * 1e-2 / 3.6e-5;
        assert!((free.stress_Pa / expected - 1.0).abs() < 2e-3);
        assert!((free.yield_margin.unwrap() - 250e6 / free.stress_Pa).abs() < 1e-9);
        let held = bend(PlateSupport::Clamped);
        assert!((free.deflection_m / held.deflection_m - 0.00406 / 0.00126).abs() < 0.03);
        assert!((held.flatness_margin.unwrap() - 0.05e-3 / held.deflection_m).abs() < 1e-9);
    }

    #[test]
    fn strained_assumptions_are_told() {
        let thin = seating(
            &board(Some(0.4), Some(steel(1.0e-3, PlateSupport::SimplySupported))),
            [0.12, 0.1],
        )
        .unwrap();
        let text = thin.warnings.join("\n");
        for part in [
            "half its thickness",
            "yield strength",
            "more than the contacts allow",
            "less than the module",
        ] {
            assert!(text.contains(part), "{part} is missing in {text}");
        }
        let thick =
            seating(&board(Some(0.4), Some(steel(12e-3, PlateSupport::Clamped))), [0.1, 0.1])
                .unwrap();
        assert_eq!(thick.warnings.len(), 1);
        assert!(thick.warnings[0].contains("tenth of its span"));
        let unknown =
            seating(&board(None, Some(steel(6e-3, PlateSupport::Clamped))), [0.1, 0.1]).unwrap();
        assert!(unknown.plate.is_none() && unknown.warnings[0].contains("not the force"));
    }
}
