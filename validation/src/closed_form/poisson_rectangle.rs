//! Poisson's equation -∇²u = 1 on a rectangle, u = 0 on its edges: an evenly heated thin plate
//! with held edges, and the membrane of the torsion problem.
//!
//! With 2A the shorter and 2B the longer side:
//!
//! ```text
//! centre: A²/2 [1 - (32/π³) Σ (-1)^((n-1)/2) / (n³ cosh(nπB/2A))]     n odd
//! mean:   A²/3 [1 - (192/π⁵)(A/B) Σ tanh(nπB/2A) / n⁵]
//! ```
//!
//! # Source
//! Timoshenko & Goodier, Theory of Elasticity, 3rd ed. 1970, section 109 (from memory; the
//! self-test holds them against the printed table).

use std::f64::consts::PI;

fn halves(width: f64, height: f64) -> (f64, f64) {
    (0.5 * width.min(height), 0.5 * width.max(height))
}

/// u at the centre, m².
pub fn centre(width: f64, height: f64) -> f64 {
    let (a, b) = halves(width, height);
    let mut sum = 0.0;
    let mut sign = 1.0;
    for n in (1..400).step_by(2) {
        let n = n as f64;
        let argument = n * PI * b / (2.0 * a);
        if argument < 700.0 {
            sum += sign / (n.powi(3) * argument.cosh());
        }
        sign = -sign;
    }
    0.5 * a * a * (1.0 - 32.0 / PI.powi(3) * sum)
}

/// Mean of u over the rectangle, m².
pub fn mean(width: f64, height: f64) -> f64 {
    let (a, b) = halves(width, height);
    let sum: f64 = (1..4000)
        .step_by(2)
        .map(|n| (n as f64 * PI * b / (2.0 * a)).tanh() / (n as f64).powi(5))
        .sum();
    a * a / 3.0 * (1.0 - 192.0 / PI.powi(5) * a / b * sum)
}

/// Printed torsion constants k1 (J = k1 (2a)³ 2b) by side ratio b/a, Timoshenko & Goodier 1970,
/// section 109 (from memory). The mean of u is k1 (2a)² / 4.
pub const TORSION_CONSTANTS: [[f64; 2]; 8] = [
    [1.0, 0.1406],
    [1.2, 0.166],
    [1.5, 0.196],
    [2.0, 0.229],
    [2.5, 0.249],
    [3.0, 0.263],
    [4.0, 0.281],
    [5.0, 0.291],
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_unit_square_has_the_known_centre() {
        assert!((centre(1.0, 1.0) - 0.073671).abs() < 1e-6);
    }

    #[test]
    fn means_agree_with_the_printed_torsion_constants() {
        for [ratio, constant] in TORSION_CONSTANTS {
            let ours = 4.0 * mean(1.0, ratio);
            assert!((ours - constant).abs() <= 0.0006, "{ratio}: {ours} {constant}");
        }
    }

    #[test]
    fn a_long_strip_is_a_parabola() {
        assert!((centre(1.0, 20.0) - 0.125).abs() < 1e-9);
    }
}
