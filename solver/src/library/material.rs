//! A solid: conductivity with its temperature law, density and specific heat.

/// Temperatures that share one evaluation of the power law.
const NEAR: usize = 16;
/// Relative distance up to which the series is used, and its terms: the first one left out is
/// below rounding for exponents up to 3.
const SERIES_REACH: f64 = 0.01;
const SERIES_TERMS: usize = 9;

/// How conductivity falls with temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TemperatureLaw {
    /// `k(T) = k`.
    Constant,
    /// `k(T) = k (T / T0)^(-n)`, T in kelvin, k stated at T0 = `reference_K`.
    Power {
        /// n, dimensionless.
        exponent: f64,
        /// T0, K.
        reference_K: f64,
    },
}

/// A solid as the solver uses it. SI units.
#[derive(Debug, Clone, PartialEq)]
pub struct Material {
    /// Name used in the case file.
    pub name: String,
    /// Conductivity along x, y and z at the law's reference temperature, W/(m·K). Each > 0.
    pub conductivity_W_mK: [f64; 3],
    /// Temperature law, the same for the three directions.
    pub law: TemperatureLaw,
    /// Density, kg/m³; needed for time-dependent runs only.
    pub density_kg_m3: Option<f64>,
    /// Specific heat, J/(kg·K); needed for time-dependent runs only.
    pub specific_heat_J_kgK: Option<f64>,
    /// Where the values come from, for the printed record.
    pub source: String,
}

impl Material {
    /// The factor by which every conductivity is multiplied at `temperature_K`.
    ///
    /// ```text
    /// f(T) = (T / T0)^(-n), or 1 for a constant law
    /// ```
    pub fn conductivity_factor(&self, temperature_K: f64) -> f64 {
        match self.law {
            TemperatureLaw::Constant => 1.0,
            TemperatureLaw::Power { exponent, reference_K } => {
                (temperature_K / reference_K).powf(-exponent)
            }
        }
    }

    /// [`Material::conductivity_factor`] at the temperatures `origin_K + rises_K`, none taken below 1 K:
    /// below that no power law means anything, and an iterate that strays there must not make the
    /// factor infinite.
    ///
    /// Neighbours differ little, so the power is taken once for `NEAR` of them, and the others follow
    /// by the binomial series around it:
    ///
    /// ```text
    /// f(T) = f(Tm) (1 + u)^(-n)        u = (T - Tm) / Tm
    /// ```
    ///
    /// # Panics
    /// If there are not as many factors as rises.
    pub fn conductivity_factors(&self, origin_K: f64, rises_K: &[f64], factors: &mut [f64]) {
        assert_eq!(rises_K.len(), factors.len(), "one factor for each rise");
        let TemperatureLaw::Power { exponent, .. } = self.law else { return factors.fill(1.0) };
        let mut series = [1.0; SERIES_TERMS];
        for k in 1..SERIES_TERMS {
            series[k] = series[k - 1] * (-exponent - (k as f64 - 1.0)) / k as f64;
        }
        for (rises_K, factors) in rises_K.chunks(NEAR).zip(factors.chunks_mut(NEAR)) {
            let middle_K = origin_K + rises_K[rises_K.len() / 2];
            let relative = |rise: f64| (origin_K + rise - middle_K) / middle_K;
            let is_near = |rise: &f64| relative(*rise).abs() <= SERIES_REACH;
            if middle_K > 1.1 && rises_K.iter().all(is_near) {
                let at_middle = self.conductivity_factor(middle_K);
                let scale = 1.0 / middle_K;
                for (factor, rise) in factors.iter_mut().zip(rises_K) {
                    let u = (origin_K + rise - middle_K) * scale;
                    *factor = at_middle * series.iter().rev().fold(0.0, |sum, c| sum * u + c);
                }
            } else {
                for (factor, rise) in factors.iter_mut().zip(rises_K) {
                    *factor = self.conductivity_factor((origin_K + rise).max(1.0));
                }
            }
        }
    }

    /// Relative change of every conductivity with temperature at `temperature_K`, 1/K.
    ///
    /// ```text
    /// (dk/dT) / k = -n / T, or 0 for a constant law
    /// ```
    pub fn conductivity_slope_1_K(&self, temperature_K: f64) -> f64 {
        match self.law {
            TemperatureLaw::Constant => 0.0,
            TemperatureLaw::Power { exponent, .. } => -exponent / temperature_K,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn factors_of_many_temperatures_are_those_of_each() {
        for exponent in [-0.5, 0.3, 1.3, 3.0] {
            let material = Material {
                name: "silicon".to_owned(),
                conductivity_W_mK: [148.0; 3],
                law: TemperatureLaw::Power { exponent, reference_K: 300.0 },
                density_kg_m3: None,
                specific_heat_J_kgK: None,
                source: String::new(),
            };
            // Smooth, at the series' reach, with jumps, and below absolute zero.
            let rises: Vec<f64> = (0..100)
                .map(|k| 40.0 + 0.4 * f64::from(k))
                .chain((0..16).map(|k| 3.3 * f64::from(k % 2)))
                .chain((0..16).map(|k| if k == 7 { 900.0 } else { 10.0 }))
                .chain([-400.0, -299.5, 0.0])
                .collect();
            let mut factors = vec![f64::NAN; rises.len()];
            material.conductivity_factors(293.0, &rises, &mut factors);
            for (factor, rise) in factors.iter().zip(&rises) {
                let expected = material.conductivity_factor((293.0 + rise).max(1.0));
                assert!((factor / expected - 1.0).abs() < 1e-14, "{rise}: {factor} {expected}");
            }
        }
    }
}
