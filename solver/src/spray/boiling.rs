//! Nucleate boiling under a spray.

use super::Status;
use crate::library::FluidState;

/// Source of [`rybicki_mudawar`].
pub const SOURCE: &str = "Rybicki and Mudawar, Int. J. Heat Mass Transfer 49 (2006) 5-16";

/// How far it is confirmed.
pub const STATUS: Status = Status::FromMemory;

/// Range of its data (from memory).
pub const RANGE: &str = "full-cone sprays of water and a perfluorinated liquid, flux about 0.017 to 0.216 m/s, d32 about 110 to 250 um";

/// Factor band on the flux at a given surface temperature (common practice, no source): about
/// 13 % on the temperature difference.
pub const BAND: [f64; 2] = [0.5, 2.0];

/// Factor band outside the range (common practice, no source).
pub const BAND_OUTSIDE: [f64; 2] = [0.25, 4.0];

/// The exponent of the temperature difference.
pub const EXPONENT: f64 = 5.75;

/// Heat flux of nucleate boiling, W/m², at a surface `rise_K` = T_s - T_f above the liquid *at
/// the nozzle*.
///
/// ```text
/// q'' d32 / (mu_l h_fg) = 4.79e-3 (rho_l / rho_g)^2.5 (rho_l Q''² d32 / sigma)^0.35
///                         (cp_l (T_s - T_f) / h_fg)^5.75
/// ```
///
/// Properties at saturation (common practice; the source's own choice is unknown). The exponent
/// makes it sensitive: 3 % in cp / h_fg is 18 % in the flux. It counts from the nozzle
/// temperature, so that a strongly subcooled spray would seem to boil below saturation:
/// [`super::SurfaceCurve`] suppresses that.
///
/// Range: [`RANGE`]. Band: [`BAND`]. Source: [`SOURCE`], from memory.
pub fn rybicki_mudawar(
    saturated: &FluidState,
    flux_m_s: f64,
    drop_size_m: f64,
    rise_K: f64,
) -> f64 {
    flux_factor(flux_m_s, drop_size_m) * liquid_factor(saturated) * power(rise_K)
}

/// The part of [`rybicki_mudawar`] that depends on the spray: `4.79e-3 Q''^0.7 d32^(-0.65)`.
pub fn flux_factor(flux_m_s: f64, drop_size_m: f64) -> f64 {
    flux_factor_ln(flux_m_s.ln(), drop_size_m.ln())
}

/// [`flux_factor`] from the logarithms of its arguments, for many cells.
pub(super) fn flux_factor_ln(ln_flux: f64, ln_drop_size: f64) -> f64 {
    4.79e-3 * (0.7 * ln_flux - 0.65 * ln_drop_size).exp()
}

/// The part of [`rybicki_mudawar`] that depends on the liquid:
/// `mu h_fg (rho_l / rho_g)^2.5 (rho_l / sigma)^0.35 (cp / h_fg)^5.75`.
pub fn liquid_factor(saturated: &FluidState) -> f64 {
    saturated.viscosity_Pa_s
        * saturated.latent_heat_J_kg
        * (saturated.density_liquid_kg_m3 / saturated.density_vapour_kg_m3).powf(2.5)
        * (saturated.density_liquid_kg_m3 / saturated.surface_tension_N_m).powf(0.35)
        * (saturated.specific_heat_J_kgK / saturated.latent_heat_J_kg).powf(EXPONENT)
}

/// `x^5.75` for x >= 0, as `x^6 / x^(1/4)`: two square roots instead of a general power.
pub fn power(x: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    let cube = x * x * x;
    cube * cube / x.sqrt().sqrt()
}

/// An older correlation for water, W/m²: a second view, not used in the solve.
///
/// ```text
/// q'' = 1.87e-5 (T_s - T_f)^5.55   (the constant carries units)
/// ```
///
/// Source: Mudawar and Valentine, J. Heat Treating 7 (1989) 107-121, from memory.
pub fn mudawar_valentine(rise_K: f64) -> f64 {
    1.87e-5 * rise_K.powf(5.55)
}

/// Rise above the nozzle temperature at which boiling of water sets in, K: a second view.
///
/// ```text
/// dT = 13.43 Re^0.167 Pr^0.123 (k_l / d32)^0.220   (the constant carries units)
/// ```
///
/// Source: Mudawar and Valentine, J. Heat Treating 7 (1989) 107-121, from memory.
pub fn mudawar_valentine_onset_K(liquid: &FluidState, flux_m_s: f64, drop_size_m: f64) -> f64 {
    13.43
        * super::single_phase::reynolds(liquid, flux_m_s, drop_size_m).powf(0.167)
        * liquid.prandtl().powf(0.123)
        * (liquid.conductivity_W_mK / drop_size_m).powf(0.220)
}

#[cfg(test)]
mod tests {
    use super::super::single_phase;
    use super::super::testing::perfluorohexane_1atm;
    use super::*;

    #[test]
    fn worked_fluxes_of_perfluorohexane_are_reproduced() {
        let liquid = perfluorohexane_1atm();
        for (rise, expected) in
            [(30.0, 1.6395e5), (35.0, 3.9779e5), (40.0, 8.5725e5), (45.0, 1.6875e6)]
        {
            let q = rybicki_mudawar(&liquid, 0.020, 150e-6, rise);
            assert!((q / expected - 1.0).abs() < 1e-4, "{rise} K: {q}");
        }
    }

    #[test]
    fn branches_cross_where_the_worked_example_says() {
        let liquid = perfluorohexane_1atm();
        let single = single_phase::rybicki_mudawar(&liquid, 0.020, 150e-6);
        // h dT = K dT^5.75
        let k = rybicki_mudawar(&liquid, 0.020, 150e-6, 1.0);
        let rise = (single / k).powf(1.0 / (EXPONENT - 1.0));
        assert!((rise - 37.729).abs() < 1e-3, "{rise}");
        assert!((single * rise / 6.1258e5 - 1.0).abs() < 1e-4);
    }

    /// Water at 20 °C, 5e-3 m/s, 1 mm: the onset formula gives 91.08 K, the crossing of the
    /// older paper's two branches 90.76 K; at 100 K its boiling flux is 2.354e6 W/m².
    #[test]
    fn the_older_trio_for_water_is_consistent() {
        let water = FluidState {
            density_liquid_kg_m3: 998.2,
            viscosity_Pa_s: 1.0016e-3,
            specific_heat_J_kgK: 4184.4,
            conductivity_W_mK: 0.5980,
            ..perfluorohexane_1atm()
        };
        let onset = mudawar_valentine_onset_K(&water, 5e-3, 1e-3);
        assert!((onset - 91.08).abs() < 0.01, "{onset}");
        let single = single_phase::mudawar_valentine(&water, 5e-3, 1e-3);
        let crossing = (single / 1.87e-5f64).powf(1.0 / 4.55);
        assert!((crossing - 90.76).abs() < 0.02, "{crossing}");
        assert!((mudawar_valentine(100.0) / 2.354e6 - 1.0).abs() < 5e-4);
    }

    #[test]
    fn power_by_square_roots_is_the_power() {
        for x in [1e-3, 0.7, 3.0, 41.5, 300.0] {
            assert!((power(x) / x.powf(5.75) - 1.0).abs() < 1e-14);
        }
        assert_eq!(power(-2.0), 0.0);
    }
}
