//! Heat transfer to a spray that does not boil.

use super::Status;
use crate::library::FluidState;

/// Source of [`rybicki_mudawar`].
pub const SOURCE: &str = "Rybicki and Mudawar, Int. J. Heat Mass Transfer 49 (2006) 5-16";

/// How far it is confirmed.
pub const STATUS: Status = Status::FromMemory;

/// Range of its data (from memory).
pub const RANGE: &str = "full-cone sprays of water and a perfluorinated liquid, up and down, flux about 0.017 to 0.216 m/s, d32 about 110 to 250 um";

/// Volumetric flux of the data, m/s (from memory).
pub const FLUX_M_S: [f64; 2] = [0.017, 0.216];

/// Drop diameters of the data, m (from memory).
pub const DROP_SIZES_M: [f64; 2] = [110e-6, 250e-6];

/// Factor band on the coefficient inside the range (common practice, no source; the paper's
/// mean absolute error is about 13 % from memory).
pub const BAND: [f64; 2] = [0.75, 1.25];

/// Factor band outside: what separates the three correlations of this file when they are
/// carried about a decade beyond the data.
pub const BAND_OUTSIDE: [f64; 2] = [1.0 / 1.6, 1.6];

/// Reynolds number of the spray, `Re = rho_l Q'' d32 / mu_l`, dimensionless.
pub fn reynolds(liquid: &FluidState, flux_m_s: f64, drop_size_m: f64) -> f64 {
    liquid.density_liquid_kg_m3 * flux_m_s * drop_size_m / liquid.viscosity_Pa_s
}

/// Coefficient of a non-boiling spray, W/(m²·K), referred to the liquid at the nozzle.
///
/// ```text
/// Nu = 4.70 Re^0.61 Pr^0.32,   Nu = h d32 / k_l,   Re = rho_l Q'' d32 / mu_l
/// q'' = h (T_s - T_f)
/// ```
///
/// with Q'' the local volumetric flux (m/s), d32 the Sauter mean diameter (m) and the liquid's
/// properties at the film temperature (T_s + T_f) / 2, not above saturation (common practice;
/// the source's own choice is unknown).
///
/// Range: [`RANGE`]. Band: [`BAND`] and [`BAND_OUTSIDE`]. Source: [`SOURCE`], from memory.
pub fn rybicki_mudawar(liquid: &FluidState, flux_m_s: f64, drop_size_m: f64) -> f64 {
    flux_factor(flux_m_s, drop_size_m) * liquid_factor(liquid)
}

/// The part of [`rybicki_mudawar`] that depends on the spray: `4.70 Q''^0.61 d32^(-0.39)`.
pub fn flux_factor(flux_m_s: f64, drop_size_m: f64) -> f64 {
    flux_factor_ln(flux_m_s.ln(), drop_size_m.ln())
}

/// [`flux_factor`] from the logarithms of its arguments, for many cells.
pub(super) fn flux_factor_ln(ln_flux: f64, ln_drop_size: f64) -> f64 {
    4.70 * (0.61 * ln_flux - 0.39 * ln_drop_size).exp()
}

/// The part of [`rybicki_mudawar`] that depends on the liquid:
/// `k (rho / mu)^0.61 (mu cp / k)^0.32`.
pub fn liquid_factor(liquid: &FluidState) -> f64 {
    liquid.conductivity_W_mK
        * (liquid.density_liquid_kg_m3 / liquid.viscosity_Pa_s).powf(0.61)
        * liquid.prandtl().powf(0.32)
}

/// An older correlation for water, W/(m²·K): a second view, not used in the solve.
///
/// ```text
/// Nu = 2.512 Re^0.76 Pr^0.56, groups as in [`rybicki_mudawar`]
/// ```
///
/// Range (from memory): water, Q'' 0.6e-3 to 10e-3 m/s, d32 about 0.4 to 2 mm.
/// Source: Mudawar and Valentine, J. Heat Treating 7 (1989) 107-121, from memory.
pub fn mudawar_valentine(liquid: &FluidState, flux_m_s: f64, drop_size_m: f64) -> f64 {
    let nusselt =
        2.512 * reynolds(liquid, flux_m_s, drop_size_m).powf(0.76) * liquid.prandtl().powf(0.56);
    nusselt * liquid.conductivity_W_mK / drop_size_m
}

/// A correlation without a drop size, W/(m²·K): a second view, not used in the solve.
///
/// ```text
/// h = C rho_l cp_l Q''^(1/2) Pr^(-1/2),   C = 0.20 m^(1/2) s^(-1/2)
/// ```
///
/// Range (from memory): several nozzles, even coverage. Source: Shedd, Heat Transfer
/// Engineering 28 (2007) 87-92, from memory.
pub fn shedd(liquid: &FluidState, flux_m_s: f64) -> f64 {
    0.20 * liquid.density_liquid_kg_m3
        * liquid.specific_heat_J_kgK
        * (flux_m_s / liquid.prandtl()).sqrt()
}

#[cfg(test)]
mod tests {
    use super::super::testing::perfluorohexane_1atm;
    use super::*;
    use crate::library::fluids;

    #[test]
    fn worked_coefficients_of_perfluorohexane_are_reproduced() {
        let liquid = perfluorohexane_1atm();
        let re = reynolds(&liquid, 0.020, 150e-6);
        assert!((re - 11.150).abs() < 1e-3, "{re}");
        assert!((liquid.prandtl() - 7.449).abs() < 5e-4);
        let h = rybicki_mudawar(&liquid, 0.020, 150e-6);
        assert!((h - 16_236.0).abs() < 2.0, "{h}");
        let h = shedd(&liquid, 0.020);
        assert!((h - 17_960.0).abs() < 5.0, "{h}");
    }

    #[test]
    fn worked_nusselt_numbers_of_water_are_reproduced() {
        let water = FluidState {
            density_liquid_kg_m3: 998.2,
            viscosity_Pa_s: 1.0016e-3,
            specific_heat_J_kgK: 4184.4,
            conductivity_W_mK: 0.5980,
            ..perfluorohexane_1atm()
        };
        let nu = rybicki_mudawar(&water, 5e-3, 1e-3) * 1e-3 / 0.5980;
        assert!((nu - 23.34).abs() < 5e-3, "{nu}");
        let nu = mudawar_valentine(&water, 5e-3, 1e-3) * 1e-3 / 0.5980;
        assert!((nu - 25.33).abs() < 5e-3, "{nu}");
    }

    /// Worked with saturated properties at 1 atm (R-134a at 25 °C). The tables' last digit
    /// leaves 0.2 %.
    #[test]
    fn coefficients_of_the_built_in_liquids_are_the_worked_ones() {
        for (name, at_K, expected) in [
            ("water", 373.12, 104_761.0),
            ("methanol", 337.63, 32_309.0),
            ("R-134a", 298.15, 22_392.0),
            ("perfluorohexane", 330.27, 16_236.0),
            ("FK-5-1-12", 322.20, 14_235.0),
            ("methoxynonafluorobutane", 334.45, 15_947.0),
        ] {
            let (state, _) = fluids::by_name(name).unwrap().at(at_K);
            let h = rybicki_mudawar(&state, 0.020, 150e-6);
            // The worked value of the last rests on other estimates of its density (0.9 % lower)
            // and viscosity than the table.
            let within = if name == "methoxynonafluorobutane" { 2e-2 } else { 2e-3 };
            assert!((h / expected - 1.0).abs() < within, "{name}: {h}");
        }
    }

    #[test]
    fn outside_band_spans_the_three_correlations_a_decade_below_the_data() {
        let liquid = perfluorohexane_1atm();
        let (flux, drop) = (0.0017, 150e-6);
        let nominal = rybicki_mudawar(&liquid, flux, drop);
        for other in [mudawar_valentine(&liquid, flux, drop), shedd(&liquid, flux)] {
            let ratio = other / nominal;
            assert!(ratio > BAND_OUTSIDE[0] && ratio < BAND_OUTSIDE[1], "{ratio}");
        }
    }
}
