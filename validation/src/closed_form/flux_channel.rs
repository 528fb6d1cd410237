//! Rectangular flux channel of one isotropic layer: an eccentric rectangular source on the top
//! face, the rest of that face and the sides adiabatic, a coefficient on the bottom face.
//!
//! With the channel a × b × t, the source c × d of power Q centred at (X, Y), λ = mπ/a,
//! δ = nπ/b, β = sqrt(λ² + δ²):
//!
//! ```text
//! θ(x, y) = A0 + Σ A_m cos(λx) + Σ A_n cos(δy) + ΣΣ A_mn cos(λx) cos(δy)      on the top face
//! A0   = Q / (ab) (t/k + 1/h)
//! A_m  = 2Q [sin(λ(2X+c)/2) - sin(λ(2X-c)/2)] / (a b c k λ² φ(λ))
//! A_n  = 2Q [sin(δ(2Y+d)/2) - sin(δ(2Y-d)/2)] / (a b d k δ² φ(δ))
//! A_mn = 16 Q cos(λX) sin(λc/2) cos(δY) sin(δd/2) / (a b c d k β λ δ φ(β))
//! φ(ζ) = [ζ sinh(ζt) + (h/k) cosh(ζt)] / [ζ cosh(ζt) + (h/k) sinh(ζt)]
//! ```
//!
//! The mean over another source j follows by integrating the cosines over it.
//!
//! # Source
//! Muzychka, Culham & Yovanovich, J. Electronic Packaging 125 (2003) 178-185 (from memory; the
//! self-tests compare it with the independent recursion of `compound_channel`).

use std::f64::consts::PI;

use super::RectSource;

/// A channel.
#[derive(Debug, Clone, Copy)]
pub struct FluxChannel {
    /// Length along x, m.
    pub a: f64,
    /// Length along y, m.
    pub b: f64,
    /// Thickness, m.
    pub thickness: f64,
    /// Conductivity, W/(m·K).
    pub conductivity: f64,
    /// Coefficient on the bottom face, W/(m²·K).
    pub htc: f64,
    /// Terms kept in each direction.
    pub terms: usize,
}

impl FluxChannel {
    /// Mean rise above the medium, on the top face over `target` (a point if it has no width),
    /// for `power` in `source`, K.
    pub fn rise(&self, power: f64, source: &RectSource, target: &RectSource) -> f64 {
        let (a, b, t, k, h) = (self.a, self.b, self.thickness, self.conductivity, self.htc);
        let (c, d, x, y) = (source.width, source.height, source.x, source.y);
        let phi = |zeta: f64| {
            // sinh and cosh divided by cosh: no overflow.
            let th = (zeta * t).tanh();
            (zeta * th + h / k) / (zeta + h / k * th)
        };
        let over_x = target.means_along_x(a, self.terms);
        let over_y = target.means_along_y(b, self.terms);
        let mut rise = power / (a * b) * (t / k + 1.0 / h);
        for m in 1..=self.terms {
            let lambda = m as f64 * PI / a;
            let coefficient = 2.0
                * power
                * ((lambda * (2.0 * x + c) / 2.0).sin() - (lambda * (2.0 * x - c) / 2.0).sin())
                / (a * b * c * k * lambda * lambda * phi(lambda));
            rise += coefficient * over_x[m];
        }
        for n in 1..=self.terms {
            let delta = n as f64 * PI / b;
            let coefficient = 2.0
                * power
                * ((delta * (2.0 * y + d) / 2.0).sin() - (delta * (2.0 * y - d) / 2.0).sin())
                / (a * b * d * k * delta * delta * phi(delta));
            rise += coefficient * over_y[n];
        }
        let along_y: Vec<[f64; 2]> = (1..=self.terms)
            .map(|n| {
                let delta = n as f64 * PI / b;
                [delta, (delta * y).cos() * (delta * d / 2.0).sin() / delta * over_y[n]]
            })
            .collect();
        for m in 1..=self.terms {
            let lambda = m as f64 * PI / a;
            let along_x = (lambda * x).cos() * (lambda * c / 2.0).sin() / lambda * over_x[m];
            let mut row = 0.0;
            for &[delta, factor] in &along_y {
                let beta = lambda.hypot(delta);
                row += factor / (beta * phi(beta));
            }
            rise += 16.0 * power / (a * b * c * d * k) * along_x * row;
        }
        rise
    }

    /// Mean rise of the source itself, K.
    pub fn own_mean(&self, power: f64, source: &RectSource) -> f64 {
        self.rise(power, source, source)
    }

    /// Rise at the centre of the source, K: its maximum if the source is central.
    pub fn own_centre(&self, power: f64, source: &RectSource) -> f64 {
        self.rise(power, source, &RectSource::point(source.x, source.y))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn channel() -> FluxChannel {
        FluxChannel {
            a: 40e-3,
            b: 30e-3,
            thickness: 2e-3,
            conductivity: 22.0,
            htc: 800.0,
            terms: 400,
        }
    }

    #[test]
    fn a_source_over_the_whole_face_is_a_slab() {
        let c = channel();
        let whole = RectSource { x: 20e-3, y: 15e-3, width: 40e-3, height: 30e-3 };
        let slab = 10.0 / 1.2e-3 * (2e-3 / 22.0 + 1.0 / 800.0);
        assert!((c.own_mean(10.0, &whole) - slab).abs() < 1e-9 * slab);
        assert!((c.own_centre(10.0, &whole) - slab).abs() < 1e-9 * slab);
    }

    #[test]
    fn influence_is_reciprocal() {
        let c = channel();
        let one = RectSource { x: 8e-3, y: 9e-3, width: 6e-3, height: 4e-3 };
        let two = RectSource { x: 29e-3, y: 18e-3, width: 3e-3, height: 10e-3 };
        let there = c.rise(5.0, &one, &two);
        let back = c.rise(5.0, &two, &one);
        assert!((there - back).abs() < 1e-10 * there);
    }

    #[test]
    fn a_small_source_on_a_thick_block_tends_to_the_half_space() {
        // Square source, side 1 mm, in the middle of a 60 mm block: the spreading part of the
        // resistance of the tube tends to that of the half space as the source shrinks.
        let c = FluxChannel {
            a: 60e-3,
            b: 60e-3,
            thickness: 60e-3,
            conductivity: 100.0,
            htc: 1e9,
            terms: 2400,
        };
        let s = RectSource { x: 30e-3, y: 30e-3, width: 1e-3, height: 1e-3 };
        let one_dimensional = 1.0 / 3.6e-3 * (60e-3 / 100.0 + 1e-9);
        let spreading = (c.own_mean(1.0, &s) - one_dimensional) * 100.0 * 1e-3;
        let half_space = super::super::half_space::mean_rise(1.0, 100.0, 1e-3, 1e-3) * 100.0 * 1e-3;
        // Negus, Yovanovich & Beck 1989: psi = 0.47320 - 0.62075 e for small e = side ratio.
        assert!(
            (spreading - (half_space - 0.62075 / 60.0)).abs() < 2e-4,
            "{spreading} {half_space}"
        );
    }
}
