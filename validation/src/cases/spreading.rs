//! Published constants of spreading resistance.

use super::{Family, Outcomes};
use crate::check::Kind;
use crate::closed_form::{RectSource, half_space};
use crate::sources;
use crate::vehicle::{AMBIENT_K, add_heater, solved, vehicle};

/// Square source on a square tube: ψ = k sqrt(A) R_spreading = 0.47320 - 0.62075 ε + 0.1198 ε³,
/// ε the ratio of sides.
pub fn square_on_square_tube() -> Outcomes {
    const FAMILY: Family =
        Family { kind: Kind::Published, source: &sources::SQUARE_TUBE, unit: "-" };
    let mut outcomes = Vec::new();
    let (tube, depth, k, htc) = (20e-3, 20e-3, 30.0, 1e6);
    for (ratio, power) in [(0.2f64, 10.0), (0.3, 16.0), (0.4, 25.0)] {
        let side = ratio * tube;
        let source = RectSource { x: 0.5 * tube, y: 0.5 * tube, width: side, height: side };
        let mut module = vehicle([tube, tube], &[(depth, [k; 3])], htc, 0.0);
        add_heater(&mut module, 1, &source, power);
        let result = solved(&module)?;
        let junction = &result.junctions[0];
        let through = power / (tube * tube) * (depth / k + 1.0 / htc);
        let to_psi = k * side / power;
        outcomes.push(FAMILY.outcome(
            &format!("square source on a square tube, side ratio {ratio}"),
            "k √A R of spreading, mean",
            "table of correlation coefficients, square on square",
            // The correlation itself leaves the series by 5e-6 at 0.2, 1.3e-4 at 0.4 (and 1.1e-3
            // at 0.6).
            [0.47320 - 0.62075 * ratio + 0.1198 * ratio.powi(3), 5e-4],
            [to_psi * (junction.mean_K - AMBIENT_K - through), to_psi * junction.uncertainty_K],
        ));
    }
    Ok(outcomes)
}

/// A small square on a large block: the half space, less the drop to the block's far faces.
pub fn half_space_square() -> Outcomes {
    const FAMILY: Family =
        Family { kind: Kind::Published, source: &sources::HALF_SPACE, unit: "-" };
    let (block, side, k, power, htc) = (40e-3, 2e-3, 120.0, 40.0, 1e7);
    let source = RectSource { x: 0.5 * block, y: 0.5 * block, width: side, height: side };
    let mut module = vehicle([block, block], &[(block, [k; 3])], htc, 0.0);
    add_heater(&mut module, 1, &source, power);
    let result = solved(&module)?;
    let junction = &result.junctions[0];
    // The difference of centre and mean does not know the far faces (they shift both alike, to
    // the fourth power of the side ratio).
    let to_psi = k * side / power;
    let expected =
        half_space::centre_rise(1.0, 1.0, 1.0, 1.0) - half_space::mean_rise(1.0, 1.0, 1.0, 1.0);
    Ok(vec![FAMILY.outcome(
        "2 mm square on a 40 mm block",
        "k √A (centre - mean) / Q",
        "0.5611 - 0.4732 for a square on a half space",
        [expected, 5e-4],
        [to_psi * (junction.max_K - junction.mean_K), 2.0 * to_psi * junction.uncertainty_K],
    )])
}
