//! Thin plates held at their edges: the torsion table.

use super::{Family, Outcomes};
use crate::check::Kind;
use crate::closed_form::poisson_rectangle::{TORSION_CONSTANTS, centre};
use crate::sources;
use crate::vehicle::{AMBIENT_K, add_heater, solved, vehicle, whole};

/// Mean rise of an evenly heated thin plate held at its edges, as a torsion constant: with the
/// shorter side s, k1 = 4 k t θ_mean / (q s²).
pub fn torsion_table() -> Outcomes {
    const FAMILY: Family = Family { kind: Kind::Published, source: &sources::TORSION, unit: "-" };
    let mut outcomes = Vec::new();
    let (short, thickness, k) = (20e-3, 0.05e-3, 200.0);
    for [ratio, constant] in TORSION_CONSTANTS {
        let size = [ratio * short, short];
        let mut module = vehicle(size, &[(thickness, [k; 3])], 0.0, 0.0);
        module.edge.htc_W_m2K = 1e9;
        let flux = 20.0 * k * thickness / (0.07 * short * short);
        let power = flux * size[0] * size[1];
        add_heater(&mut module, 1, &whole(size), power);
        let result = solved(&module)?;
        let junction = &result.junctions[0];
        let scale = 4.0 * k * thickness / (flux * short * short);
        // The heated face stands q t / (3k) above the thickness mean.
        let through = flux * thickness / (3.0 * k);
        outcomes.push(FAMILY.outcome(
            &format!("thin plate held at its edges, sides 1 : {ratio}"),
            "mean rise as the torsion constant k1",
            "section 109, table",
            [constant, if ratio == 1.0 { 0.5e-4 } else { 0.6e-3 }],
            [scale * (junction.mean_K - AMBIENT_K - through), scale * junction.uncertainty_K],
        ));
        if ratio == 1.0 {
            let unit = k * thickness / (flux * short * short);
            outcomes.push(FAMILY.outcome(
                "thin plate held at its edges, sides 1 : 1",
                "centre of the unit square, -∇²u = 1",
                "section 109, series (0.073671)",
                [centre(1.0, 1.0), 1e-6],
                [
                    unit * (junction.max_K - AMBIENT_K - flux * thickness / (3.0 * k)),
                    unit * junction.uncertainty_K,
                ],
            ));
        }
    }
    Ok(outcomes)
}
