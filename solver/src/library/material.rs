//! A solid: conductivity with its temperature law, density and specific heat.

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
