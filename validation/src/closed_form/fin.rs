//! Plate fin heated over a strip at one end, its far end adiabatic.
//!
//! Averaged over the thickness, with m² = h_sum / (k t), strip 0 <= x <= s heated by q'' (per
//! area) and length L:
//!
//! ```text
//! strip:  θ = q''/h_sum [1 - sinh(m(L - s)) cosh(mx) / sinh(mL)]
//! beyond: θ = q''/h_sum sinh(ms) cosh(m(L - x)) / sinh(mL)
//! ```
//!
//! # Source
//! The fin equation, Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, 5th ed. 2002,
//! section 3.6; the two-part solution is matched here in value and slope (self-test).

/// A fin.
#[derive(Debug, Clone, Copy)]
pub struct Fin {
    /// Length, m.
    pub length: f64,
    /// Thickness, m.
    pub thickness: f64,
    /// Conductivity, W/(m·K).
    pub conductivity: f64,
    /// Coefficients of both faces added, W/(m²·K).
    pub htc_sum: f64,
    /// Heated length at x = 0, m.
    pub strip: f64,
}

impl Fin {
    /// m, 1/m.
    pub fn parameter(&self) -> f64 {
        (self.htc_sum / (self.conductivity * self.thickness)).sqrt()
    }

    /// Rise at x, K, for `flux` W/m² over the strip.
    pub fn rise(&self, flux: f64, x: f64) -> f64 {
        let m = self.parameter();
        let (l, s) = (self.length, self.strip);
        // Ratios of hyperbolic functions through exponentials: no overflow for long fins.
        let over_sinh = |sinh_of: f64, cosh_of: f64| {
            // sinh(p) cosh(q) / sinh(mL) with p + q <= mL
            let (p, q, whole) = (sinh_of, cosh_of, m * l);
            0.5 * ((p + q - whole).exp() + (p - q - whole).exp()
                - (-p + q - whole).exp()
                - (-p - q - whole).exp())
                / (1.0 - (-2.0 * whole).exp())
        };
        let inside = x < s;
        let shape = if inside {
            1.0 - over_sinh(m * (l - s), m * x)
        } else {
            over_sinh(m * s, m * (l - x))
        };
        flux / self.htc_sum * shape
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FIN: Fin =
        Fin { length: 60e-3, thickness: 2e-3, conductivity: 180.0, htc_sum: 90.0, strip: 6e-3 };

    #[test]
    fn value_and_slope_match_where_the_strip_ends() {
        let d = 1e-7;
        let left = FIN.rise(1e4, FIN.strip - d);
        let right = FIN.rise(1e4, FIN.strip + d);
        assert!((left - right).abs() < 1e-4);
        let slope_left = (FIN.rise(1e4, FIN.strip - d) - FIN.rise(1e4, FIN.strip - 2.0 * d)) / d;
        let slope_right = (FIN.rise(1e4, FIN.strip + 2.0 * d) - FIN.rise(1e4, FIN.strip + d)) / d;
        assert!((slope_left - slope_right).abs() < 1e-2 * slope_left.abs());
    }

    #[test]
    fn all_heat_leaves_through_the_faces() {
        let n = 40000;
        let out: f64 =
            (0..n).map(|i| FIN.rise(1e4, FIN.length * (i as f64 + 0.5) / n as f64)).sum::<f64>()
                * FIN.length
                / n as f64
                * FIN.htc_sum;
        assert!((out - 1e4 * FIN.strip).abs() < 1e-5 * out);
    }

    #[test]
    fn beyond_a_short_strip_the_rise_falls_as_in_the_textbook() {
        // θ/θ_b = cosh m(L - x) / cosh mL with an adiabatic tip.
        let m = FIN.parameter();
        let l = FIN.length - FIN.strip;
        let ratio = FIN.rise(1e4, 30e-3) / FIN.rise(1e4, FIN.strip);
        let expected = (m * (FIN.length - 30e-3)).cosh() / (m * l).cosh();
        assert!((ratio - expected).abs() < 1e-12);
    }
}
