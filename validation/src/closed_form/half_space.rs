//! Half space heated evenly over a rectangle of its otherwise adiabatic surface.
//!
//! With power Q over 2a × 2b:
//!
//! ```text
//! centre:  θ = Q / (2π k a b) [a asinh(b/a) + b asinh(a/b)]
//! mean:    θ = Q / (2π k a b) [a asinh(b/a) + b asinh(a/b) + (a³ + b³ - (a² + b²)^(3/2)) / (3 a b)]
//! ```
//!
//! For a square of area A: centre 0.5611 Q/(k√A), mean 0.4732 Q/(k√A).
//!
//! # Source
//! Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, section 10.5 (from memory; the
//! self-test integrates 1/(2πkr) numerically).

use std::f64::consts::PI;

/// Rise at the centre of a `width` × `height` rectangle, K.
pub fn centre_rise(power: f64, conductivity: f64, width: f64, height: f64) -> f64 {
    let (a, b) = (0.5 * width, 0.5 * height);
    scale(power, conductivity, a, b) * (a * (b / a).asinh() + b * (a / b).asinh())
}

/// Mean rise over a `width` × `height` rectangle, K.
pub fn mean_rise(power: f64, conductivity: f64, width: f64, height: f64) -> f64 {
    let (a, b) = (0.5 * width, 0.5 * height);
    let edge_loss = (a.powi(3) + b.powi(3) - (a * a + b * b).powf(1.5)) / (3.0 * a * b);
    centre_rise(power, conductivity, width, height) + scale(power, conductivity, a, b) * edge_loss
}

fn scale(power: f64, conductivity: f64, a: f64, b: f64) -> f64 {
    power / (2.0 * PI * conductivity * a * b)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_square_has_the_known_constants() {
        assert!((centre_rise(1.0, 1.0, 1.0, 1.0) - 0.5611).abs() < 5e-5);
        assert!((mean_rise(1.0, 1.0, 1.0, 1.0) - 0.4732).abs() < 5e-5);
    }

    #[test]
    fn an_oblong_agrees_with_numerical_integration_of_point_sources() {
        // Mean over the rectangle of the potential of the rectangle, both sampled on grids that
        // never coincide: 1/r is integrable, so the sum converges.
        let (w, h) = (3.0, 1.0);
        let (n, m) = (60, 20);
        let mut mean = 0.0;
        let mut centre = 0.0;
        for i in 0..n {
            for j in 0..m {
                let x = (i as f64 + 0.5) * w / n as f64;
                let y = (j as f64 + 0.5) * h / m as f64;
                centre += 1.0 / (x - 0.5 * w).hypot(y - 0.5 * h);
                for p in 0..n {
                    for q in 0..m {
                        if (p, q) != (i, j) {
                            let dx = (p as f64 + 0.5) * w / n as f64 - x;
                            let dy = (q as f64 + 0.5) * h / m as f64 - y;
                            mean += 1.0 / dx.hypot(dy);
                        }
                    }
                }
            }
        }
        let cells = (n * m) as f64;
        let centre = centre / cells / (2.0 * PI);
        let mean = mean / cells / cells / (2.0 * PI);
        assert!((centre - centre_rise(1.0, 1.0, w, h)).abs() < 0.02 * centre);
        // The self term left out is the mean of 1/r over one square cell, 4 asinh(1) / side.
        let own = 4.0 * 1f64.asinh() / (w / n as f64) / cells / (2.0 * PI);
        assert!((mean + own - mean_rise(1.0, 1.0, w, h)).abs() < 0.005 * mean, "{}", mean + own);
    }
}
