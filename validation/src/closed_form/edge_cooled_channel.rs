//! Channel of one layer that loses heat through its side faces as well as its top and bottom:
//! eigenfunctions with convection at both ends.
//!
//! On 0 <= x <= a with -k dθ/dx = ±h_e θ at the ends, seen from the middle ξ = x - a/2 and with
//! H = h_e/k:
//!
//! ```text
//! even: cos(λξ),  λ tan(λa/2) = H,       λa/2 in (nπ, nπ + π/2)
//! odd:  sin(λξ),  λ cot(λa/2) = -H,      λa/2 in (nπ + π/2, (n + 1)π)
//! norms: a/2 ± sin(λa) / (2λ)
//! ```
//!
//! Through the thickness each mode is the one-layer recursion of `compound_channel`, with
//! β² = (kx λ² + ky δ²)/kz.
//!
//! # Source
//! Özışık, Heat Conduction, 2nd ed. 1993, table 2-2, case 1 (convection at both ends; from
//! memory). Roots by bisection; the self-tests check the limits of no and of perfect edge cooling.

use super::RectSource;

/// A channel of one layer with four cooled sides.
#[derive(Debug, Clone, Copy)]
pub struct EdgeCooledChannel {
    /// Length along x and y, m.
    pub size: [f64; 2],
    /// Thickness, m.
    pub thickness: f64,
    /// Conductivity along x, y, z, W/(m·K).
    pub conductivity: [f64; 3],
    /// Coefficient on the lower face, W/(m²·K).
    pub htc_below: f64,
    /// Coefficient on the upper face, W/(m²·K).
    pub htc_above: f64,
    /// Coefficient on the four sides, W/(m²·K); > 0.
    pub htc_edge: f64,
    /// Modes kept in each direction.
    pub terms: usize,
}

/// One eigenfunction with its mean over source and target.
struct Mode {
    square: f64,
    norm: f64,
    source: f64,
    target: f64,
}

fn modes(
    length: f64,
    biot_per_length: f64,
    terms: usize,
    source: [f64; 2],
    target: [f64; 2],
) -> Vec<Mode> {
    use std::f64::consts::{FRAC_PI_2, PI};
    (0..terms)
        .map(|n| {
            let even = n % 2 == 0;
            let low = (n / 2) as f64 * PI + if even { 0.0 } else { FRAC_PI_2 };
            // With u = λa/2: even  u sin u - (H a/2) cos u = 0; odd  u cos u + (H a/2) sin u = 0.
            let biot = 0.5 * biot_per_length * length;
            let function = |u: f64| {
                if even { u * u.sin() - biot * u.cos() } else { u * u.cos() + biot * u.sin() }
            };
            let (mut left, mut right) = (low, low + FRAC_PI_2);
            let sign = function(left);
            for _ in 0..200 {
                let middle = 0.5 * (left + right);
                if (function(middle) > 0.0) == (sign > 0.0) {
                    left = middle;
                } else {
                    right = middle;
                }
            }
            let lambda = (left + right) / length;
            let mean = |[centre, width]: [f64; 2]| {
                let xi = centre - 0.5 * length;
                let half = 0.5 * lambda * width;
                let shape = if half == 0.0 { 1.0 } else { half.sin() / half };
                shape * if even { (lambda * xi).cos() } else { (lambda * xi).sin() }
            };
            let swing = (lambda * length).sin() / (2.0 * lambda);
            Mode {
                square: lambda * lambda,
                norm: 0.5 * length + if even { swing } else { -swing },
                source: mean(source),
                target: mean(target),
            }
        })
        .collect()
}

impl EdgeCooledChannel {
    /// Mean rise over `target` on the top face for `power` on the top face in `source`, K.
    pub fn rise(&self, power: f64, source: &RectSource, target: &RectSource) -> f64 {
        let [kx, ky, kz] = self.conductivity;
        let along_x = modes(
            self.size[0],
            self.htc_edge / kx,
            self.terms,
            [source.x, source.width],
            [target.x, target.width],
        );
        let along_y = modes(
            self.size[1],
            self.htc_edge / ky,
            self.terms,
            [source.y, source.height],
            [target.y, target.height],
        );
        let mut sum = 0.0;
        for x in &along_x {
            let mut row = 0.0;
            for y in &along_y {
                let beta = ((kx * x.square + ky * y.square) / kz).sqrt();
                let c = kz * beta;
                let th = (beta * self.thickness).tanh();
                let down = c * (self.htc_below + c * th) / (c + self.htc_below * th);
                row += y.source * y.target / y.norm / (down + self.htc_above);
            }
            sum += x.source * x.target / x.norm * row;
        }
        power * sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::closed_form::compound_channel::{ChannelLayer, CompoundChannel, Target};
    use crate::closed_form::poisson_rectangle;

    #[test]
    fn hardly_cooled_edges_agree_with_adiabatic_ones() {
        let cooled = EdgeCooledChannel {
            size: [20e-3, 14e-3],
            thickness: 1e-3,
            conductivity: [22.0, 35.0, 10.0],
            htc_below: 400.0,
            htc_above: 2000.0,
            htc_edge: 1e-7,
            terms: 300,
        };
        let closed = CompoundChannel {
            size: [20e-3, 14e-3],
            layers: vec![ChannelLayer { thickness: 1e-3, conductivity: [22.0, 35.0, 10.0] }],
            htc_below: 400.0,
            htc_above: 2000.0,
            terms: 299,
        };
        let source = RectSource { x: 7e-3, y: 8e-3, width: 5e-3, height: 4e-3 };
        let other = RectSource { x: 15e-3, y: 4e-3, width: 2e-3, height: 3e-3 };
        for target in [source, other] {
            let a = cooled.rise(9.0, &source, &target);
            let b = closed.rises(9.0, 1, &source, &[Target { interface: 1, rect: target }])[0];
            assert!((a - b).abs() < 1e-7 * b, "{a} {b}");
        }
    }

    #[test]
    fn a_thin_sheet_held_at_its_edges_obeys_poissons_equation() {
        let (a, b, t, k) = (30e-3, 20e-3, 0.01e-3, 100.0);
        let held = EdgeCooledChannel {
            size: [a, b],
            thickness: t,
            conductivity: [k; 3],
            htc_below: 0.0,
            htc_above: 0.0,
            htc_edge: 1e12,
            terms: 400,
        };
        let whole = RectSource { x: a / 2.0, y: b / 2.0, width: a, height: b };
        let mean = held.rise(2.0, &whole, &whole);
        let expected = poisson_rectangle::mean(a, b) * 2.0 / (a * b) / (k * t);
        assert!((mean - expected).abs() < 1e-5 * expected, "{mean} {expected}");
    }
}
