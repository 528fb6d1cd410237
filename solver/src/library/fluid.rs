//! A coolant: saturation curve and the properties that the spray correlations need.

/// Properties of a saturated coolant at one temperature. SI units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FluidState {
    /// Temperature, K.
    pub temperature_K: f64,
    /// Saturation pressure, Pa.
    pub pressure_Pa: f64,
    /// Density of the liquid, kg/m³.
    pub density_liquid_kg_m3: f64,
    /// Density of the vapour, kg/m³.
    pub density_vapour_kg_m3: f64,
    /// Latent heat of vaporisation, J/kg.
    pub latent_heat_J_kg: f64,
    /// Specific heat of the liquid, J/(kg·K).
    pub specific_heat_J_kgK: f64,
    /// Conductivity of the liquid, W/(m·K).
    pub conductivity_W_mK: f64,
    /// Dynamic viscosity of the liquid, Pa·s.
    pub viscosity_Pa_s: f64,
    /// Surface tension, N/m.
    pub surface_tension_N_m: f64,
}

/// A coolant: rows of a saturation table, ascending in temperature.
#[derive(Debug, Clone, PartialEq)]
pub struct Fluid {
    /// Name used in the case file.
    pub name: String,
    /// Saturated states, ascending in temperature; at least two.
    pub table: Vec<FluidState>,
    /// Where the values come from.
    pub source: String,
}
