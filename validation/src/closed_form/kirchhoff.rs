//! Conductivity that falls as a power of temperature: the Kirchhoff transform.
//!
//! ```text
//! k(T) = k0 (T/T0)^(-n)
//! U(T) = ∫ k dT / k0 = T0^n (T^(1-n) - Tc^(1-n)) / (1 - n)       (n ≠ 1)
//! ```
//!
//! obeys Laplace's equation with constant k0, so that a body with one face held at Tc and given
//! fluxes elsewhere has the linear rise U, and T follows by inversion. For a slab:
//!
//! ```text
//! q = k0 T0^n (Th^(1-n) - Tc^(1-n)) / ((1 - n) L)
//! ```
//!
//! # Source
//! Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, section 2.16 (from memory).

/// A power law.
#[derive(Debug, Clone, Copy)]
pub struct PowerLaw {
    /// Conductivity at `reference`, W/(m·K).
    pub conductivity: f64,
    /// T0, K.
    pub reference: f64,
    /// n, not 1.
    pub exponent: f64,
}

impl PowerLaw {
    /// The temperature whose transformed rise above `cold` is `linear_rise`, K: the rise of the
    /// same body with constant conductivity `conductivity`.
    pub fn temperature(&self, cold: f64, linear_rise: f64) -> f64 {
        let p = 1.0 - self.exponent;
        (cold.powf(p) + p * linear_rise * self.reference.powf(-self.exponent)).powf(1.0 / p)
    }

    /// Flux through a slab between two temperatures, W/m².
    pub fn slab_flux(&self, hot: f64, cold: f64, thickness: f64) -> f64 {
        let p = 1.0 - self.exponent;
        self.conductivity * self.reference.powf(self.exponent) * (hot.powf(p) - cold.powf(p))
            / (p * thickness)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SILICON: PowerLaw = PowerLaw { conductivity: 148.0, reference: 300.0, exponent: 1.3 };

    #[test]
    fn slab_flux_agrees_with_numerical_integration() {
        let (cold, hot, n) = (330.0, 350.0, 20000);
        let mean: f64 = (0..n)
            .map(|i| {
                let t: f64 = cold + (hot - cold) * (i as f64 + 0.5) / n as f64;
                148.0 * (t / 300.0).powf(-1.3)
            })
            .sum::<f64>()
            / n as f64;
        let expected = mean * (hot - cold) / 0.5e-3;
        assert!((SILICON.slab_flux(hot, cold, 0.5e-3) - expected).abs() < 1e-8 * expected);
    }

    #[test]
    fn the_inverse_gives_back_the_hot_face() {
        let flux = SILICON.slab_flux(410.0, 330.0, 0.5e-3);
        let linear_rise = flux * 0.5e-3 / 148.0;
        assert!((SILICON.temperature(330.0, linear_rise) - 410.0).abs() < 1e-9);
    }
}
