//! A coolant: saturation curve and the properties that the spray correlations need.

use std::fmt;

use super::monotone_cubic::{hermite, slopes};

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

impl FluidState {
    /// Prandtl number of the liquid, `Pr = mu cp / k`, dimensionless.
    pub fn prandtl(&self) -> f64 {
        self.viscosity_Pa_s * self.specific_heat_J_kgK / self.conductivity_W_mK
    }

    /// The values in the order of the fields, for checks and interpolation.
    fn values(&self) -> [f64; 9] {
        [
            self.temperature_K,
            self.pressure_Pa,
            self.density_liquid_kg_m3,
            self.density_vapour_kg_m3,
            self.latent_heat_J_kg,
            self.specific_heat_J_kgK,
            self.conductivity_W_mK,
            self.viscosity_Pa_s,
            self.surface_tension_N_m,
        ]
    }
}

/// A three-constant vapour pressure equation.
///
/// ```text
/// ln p = A - B / (T + C),   p in Pa, T in K
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VapourPressureFit {
    /// A, dimensionless (ln of Pa).
    pub a: f64,
    /// B, K.
    pub b_K: f64,
    /// C, K.
    pub c_K: f64,
    /// Temperatures over which the constants were fitted, K.
    pub range_K: [f64; 2],
}

impl VapourPressureFit {
    /// ln of the saturation pressure in Pa.
    pub fn ln_pressure(&self, temperature_K: f64) -> f64 {
        self.a - self.b_K / (temperature_K + self.c_K)
    }

    /// Saturation temperature, K, at `pressure_Pa` > 0.
    pub fn temperature_K(&self, pressure_Pa: f64) -> f64 {
        self.b_K / (self.a - pressure_Pa.ln()) - self.c_K
    }
}

/// A coolant: rows of a saturation table, ascending in temperature.
#[derive(Debug, Clone, PartialEq)]
pub struct Fluid {
    /// Name used in the case file.
    pub name: String,
    /// Saturated states, ascending in temperature and pressure; at least two.
    pub table: Vec<FluidState>,
    /// Where the values come from.
    pub source: String,
    /// A fitted vapour pressure curve; without it the table is interpolated.
    pub vapour_pressure: Option<VapourPressureFit>,
    /// What a person must know before using the liquid: heat, pressure, poison, law.
    pub cautions: Vec<String>,
}

/// Why a table cannot serve as a fluid. Row numbers count from 1.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum FluidTableError {
    /// Fewer than two rows.
    TooFewRows {
        /// Rows given.
        rows: usize,
    },
    /// A value is not finite or not greater than zero.
    NotPositive {
        /// Row.
        row: usize,
        /// Which property.
        property: &'static str,
        /// The value, SI.
        value: f64,
    },
    /// Temperature or saturation pressure does not rise from one row to the next.
    NotAscending {
        /// The later row.
        row: usize,
        /// Which property.
        property: &'static str,
        /// Its value there, SI.
        value: f64,
    },
}

impl fmt::Display for FluidTableError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            FluidTableError::TooFewRows { rows } => {
                write!(f, "a fluid table needs at least two rows; it has {rows}")
            }
            FluidTableError::NotPositive { row, property, value } => {
                write!(f, "row {row}: {property} must be greater than zero; it is {value}")
            }
            FluidTableError::NotAscending { row, property, value } => {
                write!(
                    f,
                    "row {row}: {property} must be greater than in the row before; it is {value}"
                )
            }
        }
    }
}

impl std::error::Error for FluidTableError {}

/// Names of the fields, in the order of [`FluidState::values`].
const PROPERTIES: [&str; 9] = [
    "temperature",
    "saturation pressure",
    "liquid density",
    "vapour density",
    "latent heat",
    "specific heat",
    "conductivity",
    "viscosity",
    "surface tension",
];

/// Whether a property follows `exp(-1/T)` more nearly than a polynomial: pressure, vapour
/// density and viscosity, which are interpolated as logarithms over the reciprocal temperature.
const EXPONENTIAL: [bool; 9] = [false, true, false, true, false, false, false, true, false];

impl Fluid {
    /// A fluid of the user's own from the rows of its saturation table.
    ///
    /// # Errors
    /// See [`FluidTableError`].
    pub fn from_table(
        name: impl Into<String>,
        table: Vec<FluidState>,
        source: impl Into<String>,
    ) -> Result<Self, FluidTableError> {
        if table.len() < 2 {
            return Err(FluidTableError::TooFewRows { rows: table.len() });
        }
        for (index, state) in table.iter().enumerate() {
            let values = state.values();
            for (value, property) in values.into_iter().zip(PROPERTIES) {
                if !(value.is_finite() && value > 0.0) {
                    return Err(FluidTableError::NotPositive { row: index + 1, property, value });
                }
            }
            // Temperature and pressure are the first two.
            for property in 0..2 {
                if index > 0 && values[property] <= table[index - 1].values()[property] {
                    return Err(FluidTableError::NotAscending {
                        row: index + 1,
                        property: PROPERTIES[property],
                        value: values[property],
                    });
                }
            }
        }
        Ok(Fluid {
            name: name.into(),
            table,
            source: source.into(),
            vapour_pressure: None,
            cautions: Vec::new(),
        })
    }

    /// First and last temperature of the table, K.
    pub fn range_K(&self) -> [f64; 2] {
        match (self.table.first(), self.table.last()) {
            (Some(first), Some(last)) => [first.temperature_K, last.temperature_K],
            _ => [f64::NAN; 2],
        }
    }

    /// First and last saturation pressure of the table, Pa.
    pub fn pressure_range_Pa(&self) -> [f64; 2] {
        let range = self.range_K();
        [self.saturation_pressure_Pa(range[0]), self.saturation_pressure_Pa(range[1])]
    }

    /// The saturated state at `temperature_K`, and whether the table reaches that far.
    ///
    /// Monotone cubics between the rows: pressure, vapour density and viscosity as logarithms
    /// over -1/T, in which they are nearly straight; the other properties over T. Outside the
    /// table the properties of its end are held (a straight continuation would sooner or later
    /// turn negative) and only the pressure goes on, see [`Self::saturation_pressure_Pa`].
    pub fn at(&self, temperature_K: f64) -> (FluidState, bool) {
        let range = self.range_K();
        let in_range = (range[0]..=range[1]).contains(&temperature_K);
        let held = temperature_K.clamp(range[0], range[1]);
        let value = |property: usize| self.interpolate(property, held);
        (
            FluidState {
                temperature_K,
                pressure_Pa: self.saturation_pressure_Pa(temperature_K),
                density_liquid_kg_m3: value(2),
                density_vapour_kg_m3: value(3),
                latent_heat_J_kg: value(4),
                specific_heat_J_kgK: value(5),
                conductivity_W_mK: value(6),
                viscosity_Pa_s: value(7),
                surface_tension_N_m: value(8),
            },
            in_range,
        )
    }

    /// Saturation pressure, Pa, at `temperature_K` > 0.
    ///
    /// The fitted equation inside its range, where there is one. Elsewhere the table, as ln p
    /// over -1/T (straight for a constant heat of vaporisation, Clausius and Clapeyron), shifted
    /// so that it joins the fit without a step; beyond the table the end slope goes on.
    pub fn saturation_pressure_Pa(&self, temperature_K: f64) -> f64 {
        self.ln_saturation_pressure(temperature_K).exp()
    }

    /// Saturation temperature, K, at `pressure_Pa` > 0: the inverse of
    /// [`Self::saturation_pressure_Pa`].
    pub fn saturation_temperature_K(&self, pressure_Pa: f64) -> f64 {
        let target = pressure_Pa.ln();
        if let Some(fit) = self.vapour_pressure {
            let temperature = fit.temperature_K(pressure_Pa);
            if (fit.range_K[0]..=fit.range_K[1]).contains(&temperature) {
                return temperature;
            }
        }
        // ln p rises with T, nearly straight over -1/T: bracket, then false position on -1/T
        // kept safe by bisection.
        let range = self.range_K();
        let (mut low, mut high) = (0.3 * range[0], 3.0 * range[1]);
        let mut guess = 0.5 * (range[0] + range[1]);
        for _ in 0..200 {
            let miss = self.ln_saturation_pressure(guess) - target;
            if miss > 0.0 {
                high = guess;
            } else {
                low = guess;
            }
            // Newton with the slope of a small step; bisection where it leaves the bracket.
            let step = 1e-4 * guess;
            let slope = (self.ln_saturation_pressure(guess + step)
                - self.ln_saturation_pressure(guess - step))
                / (2.0 * step);
            let next = guess - miss / slope;
            let next = if next > low && next < high { next } else { 0.5 * (low + high) };
            if (next - guess).abs() <= 1e-12 * guess {
                return next;
            }
            guess = next;
        }
        guess
    }

    /// ln of the saturation pressure in Pa; see [`Self::saturation_pressure_Pa`].
    fn ln_saturation_pressure(&self, temperature_K: f64) -> f64 {
        match self.vapour_pressure {
            None => self.ln_table_pressure(temperature_K),
            Some(fit) => {
                let near = temperature_K.clamp(fit.range_K[0], fit.range_K[1]);
                if near == temperature_K {
                    fit.ln_pressure(temperature_K)
                } else {
                    self.ln_table_pressure(temperature_K) + fit.ln_pressure(near)
                        - self.ln_table_pressure(near)
                }
            }
        }
    }

    /// ln of the pressure of the table, continued straight over -1/T beyond its ends.
    fn ln_table_pressure(&self, temperature_K: f64) -> f64 {
        let (value, slope, held) = self.cubic(1, temperature_K);
        value + slope * (-1.0 / temperature_K - held)
    }

    /// A property at a temperature inside the table.
    fn interpolate(&self, property: usize, temperature_K: f64) -> f64 {
        let (value, _, _) = self.cubic(property, temperature_K);
        if EXPONENTIAL[property] { value.exp() } else { value }
    }

    /// Value and slope in the property's own coordinates, and the abscissa at which they were
    /// taken (held at the end of the table).
    fn cubic(&self, property: usize, temperature_K: f64) -> (f64, f64, f64) {
        let last = self.table.len() - 1;
        let exponential = EXPONENTIAL[property];
        let abscissa = |t: f64| if exponential { -1.0 / t } else { t };
        let upper =
            self.table.partition_point(|row| row.temperature_K <= temperature_K).clamp(1, last);
        // Slopes at the two ends of the interval depend on one further row on either side.
        let first = upper.saturating_sub(2);
        let rows = &self.table[first..=(upper + 1).min(last)];
        let x: Vec<f64> = rows.iter().map(|row| abscissa(row.temperature_K)).collect();
        let y: Vec<f64> = rows
            .iter()
            .map(|row| {
                let value = row.values()[property];
                if exponential { value.ln() } else { value }
            })
            .collect();
        let slope = slopes(&x, &y);
        let i = upper - 1 - first;
        let at = abscissa(temperature_K).clamp(x[i], x[i + 1]);
        let width = x[i + 1] - x[i];
        let (value, derivative) =
            hermite((at - x[i]) / width, width, [y[i], y[i + 1]], [slope[i], slope[i + 1]]);
        (value, derivative, at)
    }
}
