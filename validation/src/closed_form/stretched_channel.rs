//! Orthotropic single-layer channel by stretched coordinates: an isotropic channel in disguise.
//!
//! Keep x, and put y' = y sqrt(kx/ky), z' = z sqrt(kx/kz). The equation becomes Laplace's with
//! k = kx. Equal flux through the stretched face asks for
//!
//! ```text
//! h' = h sqrt(kx / kz),      Q' = Q sqrt(kx/ky) sqrt(kx/kz)
//! ```
//!
//! (a flux q through the top is -kz dT/dz = -(kz sqrt(kx/kz)) dT/dz', so q' = q sqrt(kx/kz) with
//! conductivity kx; the area grows by sqrt(kx/ky)). Temperatures are unchanged.
//!
//! # Source
//! Muzychka, Yovanovich & Culham, J. Thermophysics and Heat Transfer 18 (2004) 45-51 (from
//! memory; the self-test compares it with the modal recursion of `compound_channel`).

use super::RectSource;
use super::flux_channel::FluxChannel;

/// An orthotropic channel with a coefficient below and a source on top.
#[derive(Debug, Clone, Copy)]
pub struct StretchedChannel {
    /// Length along x and y, m.
    pub size: [f64; 2],
    /// Thickness, m.
    pub thickness: f64,
    /// Conductivity along x, y, z, W/(m·K).
    pub conductivity: [f64; 3],
    /// Coefficient below, W/(m²·K).
    pub htc: f64,
    /// Terms kept in each direction.
    pub terms: usize,
}

impl StretchedChannel {
    /// Mean rise over `target` on the top face for `power` in `source`, K.
    pub fn rise(&self, power: f64, source: &RectSource, target: &RectSource) -> f64 {
        let [kx, ky, kz] = self.conductivity;
        let (stretch_y, stretch_z) = ((kx / ky).sqrt(), (kx / kz).sqrt());
        let stretched = |r: &RectSource| RectSource {
            x: r.x,
            y: r.y * stretch_y,
            width: r.width,
            height: r.height * stretch_y,
        };
        let channel = FluxChannel {
            a: self.size[0],
            b: self.size[1] * stretch_y,
            thickness: self.thickness * stretch_z,
            conductivity: kx,
            htc: self.htc * stretch_z,
            terms: self.terms,
        };
        channel.rise(power * stretch_y * stretch_z, &stretched(source), &stretched(target))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::closed_form::compound_channel::{ChannelLayer, CompoundChannel, Target};

    #[test]
    fn stretching_agrees_with_the_modal_recursion() {
        let conductivity = [60.0, 18.0, 5.0];
        let stretched = StretchedChannel {
            size: [30e-3, 22e-3],
            thickness: 1.6e-3,
            conductivity,
            htc: 1500.0,
            terms: 200,
        };
        let modal = CompoundChannel {
            size: [30e-3, 22e-3],
            layers: vec![ChannelLayer { thickness: 1.6e-3, conductivity }],
            htc_below: 1500.0,
            htc_above: 0.0,
            terms: 200,
        };
        let source = RectSource { x: 9e-3, y: 12e-3, width: 5e-3, height: 4e-3 };
        for target in [source, RectSource::point(20e-3, 5e-3)] {
            let ours = stretched.rise(6.0, &source, &target);
            let theirs = modal.rises(6.0, 1, &source, &[Target { interface: 1, rect: target }])[0];
            assert!((ours - theirs).abs() < 1e-10 * theirs, "{ours} {theirs}");
        }
    }
}
