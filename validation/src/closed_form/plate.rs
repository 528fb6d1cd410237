//! Thin plate averaged over its thickness: rectangular sources, coefficients on both faces,
//! adiabatic edges.
//!
//! ```text
//! -k t ∇²θ + U θ = q(x, y),     U = U_top + U_bottom
//! ```
//!
//! with U_s = 1 / (1/h_s + t/(2k_z)) from the middle of the sheet to the medium on side s. Double
//! cosine series:
//!
//! ```text
//! θ = Σ ε_m ε_n (Q/ab) s_m s_n cos(λx) cos(δy) / (k_x t λ² + k_y t δ² + U)
//! ```
//!
//! with s the mean of the cosine over the source and ε_0 = 1, else 2. Heat released on the top
//! face splits by the two half-resistances: the share U_f/(U_f + 2k_z/t) never reaches the sheet,
//! and the face stands above the sheet by what the other share drops over half the thickness.
//!
//! # Source
//! Separation of variables, Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, chapter
//! 5; the splitting is resistances in series.

use std::f64::consts::PI;

use super::RectSource;

/// A plate of one sheet.
#[derive(Debug, Clone, Copy)]
pub struct Plate {
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
    /// Terms kept in each direction.
    pub terms: usize,
}

impl Plate {
    fn half_conductance(&self) -> f64 {
        2.0 * self.conductivity[2] / self.thickness
    }

    fn to_medium(self, htc: f64) -> f64 {
        if htc == 0.0 { 0.0 } else { 1.0 / (1.0 / htc + 1.0 / self.half_conductance()) }
    }

    /// Mean rise of the sheet over `target` when `power` enters the sheet itself in `source`, K.
    pub fn sheet_rise(&self, power: f64, source: &RectSource, target: &RectSource) -> f64 {
        let [a, b] = self.size;
        let [kx, ky, _] = self.conductivity;
        let loss = self.to_medium(self.htc_below) + self.to_medium(self.htc_above);
        let (sx, sy) = (source.means_along_x(a, self.terms), source.means_along_y(b, self.terms));
        let (tx, ty) = (target.means_along_x(a, self.terms), target.means_along_y(b, self.terms));
        let mut sum = 0.0;
        for m in 0..=self.terms {
            let lambda = m as f64 * PI / a;
            let mut row = 0.0;
            for n in 0..=self.terms {
                let delta = n as f64 * PI / b;
                let stiffness = self.thickness * (kx * lambda * lambda + ky * delta * delta) + loss;
                row += if n == 0 { 1.0 } else { 2.0 } * sy[n] * ty[n] / stiffness;
            }
            sum += if m == 0 { 1.0 } else { 2.0 } * sx[m] * tx[m] * row;
        }
        power / (a * b) * sum
    }

    /// Mean rise of the top face over `target`, a rectangle or point inside `source`, when
    /// `power` is released on the top face in `source`, K.
    pub fn top_face_rise(&self, power: f64, source: &RectSource, target: &RectSource) -> f64 {
        let inward = self.half_conductance();
        let share = inward / (inward + self.htc_above);
        let sheet = self.sheet_rise(power * share, source, target);
        let flux = power / (source.width * source.height);
        // The face node: h_above θ_f + inward (θ_f - θ_sheet) = flux.
        (flux + inward * sheet) / (inward + self.htc_above)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::closed_form::compound_channel::{ChannelLayer, CompoundChannel, Target};

    fn plate() -> Plate {
        Plate {
            size: [40e-3, 25e-3],
            thickness: 1e-3,
            conductivity: [22.0, 30.0, 22.0],
            htc_below: 100.0,
            htc_above: 3000.0,
            terms: 400,
        }
    }

    #[test]
    fn an_evenly_heated_plate_is_a_slab() {
        let p = plate();
        let whole = RectSource { x: 20e-3, y: 12.5e-3, width: 40e-3, height: 25e-3 };
        let r_below = 1.0 / 100.0 + 1e-3 / 22.0;
        let slab = 5.0 / 1e-3 / (3000.0 + 1.0 / r_below);
        assert!((p.top_face_rise(5.0, &whole, &whole) - slab).abs() < 1e-10 * slab);
    }

    #[test]
    fn a_plate_thin_against_the_source_agrees_with_the_full_series() {
        let p = Plate { thickness: 0.2e-3, conductivity: [100.0; 3], htc_above: 500.0, ..plate() };
        let full = CompoundChannel {
            size: p.size,
            layers: vec![ChannelLayer::isotropic(0.2e-3, 100.0)],
            htc_below: p.htc_below,
            htc_above: p.htc_above,
            terms: 400,
        };
        let source = RectSource { x: 15e-3, y: 11e-3, width: 12e-3, height: 9e-3 };
        let thin = p.top_face_rise(5.0, &source, &source);
        let thick = full.rises(5.0, 1, &source, &[Target { interface: 1, rect: source }])[0];
        assert!((thin - thick).abs() < 1e-3 * thick, "{thin} {thick}");
    }

    #[test]
    fn the_sheet_loses_what_it_gains() {
        let p = plate();
        let source = RectSource { x: 15e-3, y: 11e-3, width: 12e-3, height: 9e-3 };
        let whole = RectSource { x: 20e-3, y: 12.5e-3, width: 40e-3, height: 25e-3 };
        let loss = p.to_medium(p.htc_below) + p.to_medium(p.htc_above);
        let out = p.sheet_rise(5.0, &source, &whole) * loss * 1e-3;
        assert!((out - 5.0).abs() < 1e-10);
    }
}
