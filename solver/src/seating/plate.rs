//! A thin rectangular plate under an even pressure, held along all four edges.

use std::f64::consts::PI;

use crate::module::PlateSupport;

/// Deflection and moments of a thin rectangular plate under an even pressure, without
/// dimensions.
///
/// ```text
/// w = deflection × q a⁴ / D,   D = E t³ / (12 (1 - nu²)),   M = moment × q a²,   stress = 6 M / t²
/// ```
///
/// with a the shorter side (m), q the pressure (Pa), t the thickness (m), E the elastic modulus
/// (Pa) and nu Poisson's ratio.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlateCoefficients {
    /// Of the deflection at the centre.
    pub deflection: f64,
    /// Of the bending moment at the centre across the shorter side (the larger of the two).
    pub centre_moment: f64,
    /// Of the bending moment at the middle of the longer edges, as a magnitude; 0 where the
    /// edges may turn.
    pub edge_moment: f64,
}

impl PlateCoefficients {
    /// The largest moment anywhere on the plate.
    pub fn largest_moment(&self) -> f64 {
        self.centre_moment.max(self.edge_moment)
    }
}

/// Coefficients of a plate whose longer side is `aspect` >= 1 times the shorter.
///
/// Simply supported: Lévy's series across the longer side, Timoshenko and Woinowsky-Krieger,
/// Theory of Plates and Shells, article 30; it converges as m⁻³ or faster. Clamped: the
/// polynomials that vanish with their slope along the edges and minimise the bending energy
/// (Ritz), ten even ones each way: the published tables to their last digit for aspects up to 3;
/// beyond 5 the coefficients of 5 stand, which are those of a long strip to 0.1 %.
///
/// The tests compare with the tables of the same book and of Roark's Formulas for Stress and
/// Strain (values from memory).
pub fn plate_coefficients(support: PlateSupport, aspect: f64, poisson: f64) -> PlateCoefficients {
    match support {
        PlateSupport::SimplySupported => simply_supported(aspect, poisson),
        PlateSupport::Clamped => clamped(aspect.min(5.0), poisson),
    }
}

/// Lévy's series at the centre: sides a along x, `aspect` a along y.
fn simply_supported(aspect: f64, poisson: f64) -> PlateCoefficients {
    let (mut deflection, mut moment_x) = (0.0, 0.0);
    for k in 0..200 {
        let m = f64::from(2 * k + 1);
        let sign = if k % 2 == 0 { 1.0 } else { -1.0 };
        let alpha = 0.5 * m * PI * aspect;
        let inverse_cosh = 1.0 / alpha.cosh();
        let turn = 0.5 * alpha * alpha.tanh() * inverse_cosh;
        // What the two far edges take from the strip's deflection: (alpha tanh + 2) / (2 cosh).
        let held = turn + inverse_cosh;
        deflection += sign * 4.0 / (PI * m).powi(5) * (1.0 - held);
        moment_x += sign * 4.0 / (PI * m).powi(3) * (1.0 - held + poisson * turn);
    }
    PlateCoefficients { deflection, centre_moment: moment_x, edge_moment: 0.0 }
}

/// Even functions each way.
const FUNCTIONS: usize = 10;

/// Gauss-Legendre points: exact for the products of the functions' second derivatives.
const POINTS: usize = 26;

/// Value, slope and curvature at a point of -1..1 of the function
/// `(1 - s²)² P_2n(s)`, P the Legendre polynomial.
fn shape(n: usize, s: f64) -> [f64; 3] {
    let [p, dp, ddp] = legendre(2 * n, s);
    let g = (1.0 - s * s) * (1.0 - s * s);
    let dg = -4.0 * s * (1.0 - s * s);
    let ddg = 12.0 * s * s - 4.0;
    [g * p, dg * p + g * dp, ddg * p + 2.0 * dg * dp + g * ddp]
}

/// Legendre polynomial of a degree with its first two derivatives.
fn legendre(degree: usize, s: f64) -> [f64; 3] {
    let mut before = [1.0, 0.0, 0.0];
    if degree == 0 {
        return before;
    }
    let mut here = [s, 1.0, 0.0];
    for k in 1..degree {
        let (a, b) = ((2 * k + 1) as f64 / (k + 1) as f64, k as f64 / (k + 1) as f64);
        let next = [
            a * s * here[0] - b * before[0],
            a * (here[0] + s * here[1]) - b * before[1],
            a * (2.0 * here[1] + s * here[2]) - b * before[2],
        ];
        before = here;
        here = next;
    }
    here
}

/// Abscissae and weights of Gauss and Legendre.
fn gauss_legendre(n: usize) -> Vec<(f64, f64)> {
    (0..n)
        .map(|i| {
            let mut x = (PI * (i as f64 + 0.75) / (n as f64 + 0.5)).cos();
            for _ in 0..8 {
                let [p, dp, _] = legendre(n, x);
                x -= p / dp;
            }
            let dp = legendre(n, x)[1];
            (x, 2.0 / ((1.0 - x * x) * dp * dp))
        })
        .collect()
}

/// Ritz: minimises `(1/2) ∫ (∇²w)² - ∫ w` over w = sum c_ij X_i(x) X_j(y), sides 1 and `aspect`.
fn clamped(aspect: f64, poisson: f64) -> PlateCoefficients {
    // One-dimensional integrals over -1..1: of X, X X, X'' X'' and X X''.
    let points = gauss_legendre(POINTS);
    let mut load = [0.0; FUNCTIONS];
    let mut mass = [[0.0; FUNCTIONS]; FUNCTIONS];
    let mut bend = [[0.0; FUNCTIONS]; FUNCTIONS];
    let mut mixed = [[0.0; FUNCTIONS]; FUNCTIONS];
    for (s, weight) in points {
        let shapes: [[f64; 3]; FUNCTIONS] = std::array::from_fn(|n| shape(n, s));
        for i in 0..FUNCTIONS {
            load[i] += weight * shapes[i][0];
            for j in 0..FUNCTIONS {
                mass[i][j] += weight * shapes[i][0] * shapes[j][0];
                bend[i][j] += weight * shapes[i][2] * shapes[j][2];
                mixed[i][j] += weight * shapes[i][0] * shapes[j][2];
            }
        }
    }
    // x = s / 2 and y = aspect s / 2: second derivatives gain 4 and 4 / aspect²; the common
    // factor of the area cancels.
    let (cx, cy) = (4.0, 4.0 / (aspect * aspect));
    let n = FUNCTIONS * FUNCTIONS;
    let mut matrix = vec![0.0; n * n];
    let mut rhs = vec![0.0; n];
    for i in 0..FUNCTIONS {
        for j in 0..FUNCTIONS {
            let row = i * FUNCTIONS + j;
            rhs[row] = load[i] * load[j];
            for p in 0..FUNCTIONS {
                for q in 0..FUNCTIONS {
                    matrix[row * n + p * FUNCTIONS + q] = cx * cx * bend[i][p] * mass[j][q]
                        + cy * cy * mass[i][p] * bend[j][q]
                        + cx * cy * (mixed[i][p] * mixed[q][j] + mixed[p][i] * mixed[j][q]);
                }
            }
        }
    }
    solve_positive(&mut matrix, &mut rhs);
    // Deflection and second derivatives in units of q a⁴ / D and q a² / D.
    let at = |s: f64, t: f64| {
        let (mut w, mut wxx, mut wyy) = (0.0, 0.0, 0.0);
        for i in 0..FUNCTIONS {
            for j in 0..FUNCTIONS {
                let c = rhs[i * FUNCTIONS + j];
                let (x, y) = (shape(i, s), shape(j, t));
                w += c * x[0] * y[0];
                wxx += c * cx * x[2] * y[0];
                wyy += c * cy * x[0] * y[2];
            }
        }
        [w, wxx, wyy]
    };
    let centre = at(0.0, 0.0);
    let edge = at(1.0, 0.0);
    PlateCoefficients {
        deflection: centre[0],
        centre_moment: -(centre[1] + poisson * centre[2]),
        edge_moment: edge[1].abs(),
    }
}

/// Solves a symmetric positive definite system in place by Cholesky's factorisation.
fn solve_positive(matrix: &mut [f64], rhs: &mut [f64]) {
    let n = rhs.len();
    for j in 0..n {
        for i in j..n {
            let dot: f64 = (0..j).map(|k| matrix[i * n + k] * matrix[j * n + k]).sum();
            let value = matrix[i * n + j] - dot;
            matrix[i * n + j] = if i == j {
                value.max(f64::MIN_POSITIVE).sqrt()
            } else {
                value / matrix[j * n + j]
            };
        }
        let dot: f64 = (0..j).map(|k| matrix[j * n + k] * rhs[k]).sum();
        rhs[j] = (rhs[j] - dot) / matrix[j * n + j];
    }
    for j in (0..n).rev() {
        let dot: f64 = (j + 1..n).map(|k| matrix[k * n + j] * rhs[k]).sum();
        rhs[j] = (rhs[j] - dot) / matrix[j * n + j];
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Timoshenko and Woinowsky-Krieger, 2nd edition, table 8, nu = 0.3 (from memory).
    #[test]
    fn simply_supported_plates_bend_as_the_published_table_says() {
        for (aspect, deflection, moment) in [
            (1.0, 0.00406, 0.0479),
            (1.2, 0.00564, 0.0627),
            (1.5, 0.00772, 0.0812),
            (2.0, 0.01013, 0.1017),
            (3.0, 0.01223, 0.1189),
            (5.0, 0.01297, 0.1246),
            (50.0, 0.01302, 0.1250),
        ] {
            let c = plate_coefficients(PlateSupport::SimplySupported, aspect, 0.3);
            assert!((c.deflection - deflection).abs() < 1.1e-5, "{aspect}: {c:?}");
            assert!((c.centre_moment - moment).abs() < 6e-5, "{aspect}: {c:?}");
            assert_eq!(c.edge_moment, 0.0);
        }
    }

    /// Timoshenko and Woinowsky-Krieger, 2nd edition, table 35, nu = 0.3 (from memory).
    #[test]
    fn clamped_plates_bend_as_the_published_table_says() {
        for (aspect, deflection, edge, centre) in [
            (1.0, 0.00126, 0.0513, 0.0231),
            (1.2, 0.00172, 0.0639, 0.0299),
            (1.5, 0.00220, 0.0757, 0.0368),
            (2.0, 0.00254, 0.0829, 0.0412),
        ] {
            let c = plate_coefficients(PlateSupport::Clamped, aspect, 0.3);
            assert!((c.deflection - deflection).abs() < 1.1e-5, "{aspect}: {c:?}");
            assert!((c.edge_moment - edge).abs() < 1.1e-4, "{aspect}: {c:?}");
            // The table's own series was short: its 0.0231 of the square is 0.02291 today.
            assert!((c.centre_moment - centre).abs() < 2.1e-4, "{aspect}: {c:?}");
        }
        // Taylor and Govindjee, Commun. Numer. Meth. Eng. 20 (2004) 757-765 (from memory).
        let square = plate_coefficients(PlateSupport::Clamped, 1.0, 0.3);
        assert!((square.deflection - 0.001_265_319).abs() < 1e-9, "{square:?}");
    }

    /// Roark's Formulas for Stress and Strain, rectangular plate, all edges fixed or simply
    /// supported, uniform load, nu = 0.3 (from memory): stress beta q b²/t², deflection
    /// alpha q b⁴/(E t³).
    #[test]
    fn stress_and_deflection_factors_are_those_of_the_handbook() {
        let factors = |support, aspect| {
            let c = plate_coefficients(support, aspect, 0.3);
            (6.0 * c.largest_moment(), 12.0 * (1.0 - 0.09) * c.deflection)
        };
        for (aspect, beta, alpha) in [
            (1.0, 0.3078, 0.0138),
            (1.4, 0.4356, 0.0226),
            (1.8, 0.4872, 0.0267),
            (2.0, 0.4974, 0.0277),
        ] {
            let (b, a) = factors(PlateSupport::Clamped, aspect);
            assert!(
                (b / beta - 1.0).abs() < 3e-3 && (a / alpha - 1.0).abs() < 5e-3,
                "{aspect}: {b} {a}"
            );
        }
        for (aspect, beta, alpha) in [
            (1.0, 0.2874, 0.0444),
            (1.4, 0.4530, 0.0770),
            (1.8, 0.5688, 0.1017),
            (2.0, 0.6102, 0.1110),
        ] {
            let (b, a) = factors(PlateSupport::SimplySupported, aspect);
            assert!(
                (b / beta - 1.0).abs() < 3e-3 && (a / alpha - 1.0).abs() < 5e-3,
                "{aspect}: {b} {a}"
            );
        }
    }

    /// A long plate bends as a strip: q a⁴ / (384 D) and q a² / 12 clamped.
    #[test]
    fn long_clamped_plate_is_a_built_in_strip() {
        let c = plate_coefficients(PlateSupport::Clamped, 40.0, 0.3);
        assert!((c.deflection * 384.0 - 1.0).abs() < 2e-3, "{c:?}");
        assert!((c.edge_moment * 12.0 - 1.0).abs() < 2e-3, "{c:?}");
        assert!((c.centre_moment * 24.0 - 1.0).abs() < 6e-3, "{c:?}");
    }
}
