//! Critical heat flux: where the liquid no longer reaches the surface and it burns out.

use super::Status;
use crate::library::FluidState;

/// Source of [`estes_mudawar`].
pub const SOURCE: &str = "Estes and Mudawar, Int. J. Heat Mass Transfer 38 (1995) 2985-2996; Mudawar and Estes, J. Heat Transfer 118 (1996) 672-679";

/// How far it is confirmed.
pub const STATUS: Status = Status::FromMemory;

/// Range of its data (from memory).
pub const RANGE: &str = "full-cone sprays of perfluorinated liquids and water, flux 0.017 to 0.216 m/s, d32 about 110 to 250 um, subcooling to 30 K (80 K for water)";

/// Volumetric flux of the data, m/s (from memory).
pub const FLUX_M_S: [f64; 2] = [0.017, 0.216];

/// Drop diameters of the data, m (from memory).
pub const DROP_SIZES_M: [f64; 2] = [110e-6, 250e-6];

/// Factor band inside the range (common practice, no source; the papers' mean absolute error is
/// about 12.6 % from memory).
pub const BAND: [f64; 2] = [0.7, 1.3];

/// Factor band outside the range (common practice, no source): the one published point with
/// known conditions below the range is missed by a factor of 1.6 to 2.5.
pub const BAND_OUTSIDE: [f64; 2] = [0.4, 2.0];

/// Critical heat flux of a full-cone spray, W/m².
///
/// ```text
/// q'' / (rho_g h_fg Q'') = 2.3 (rho_l / rho_g)^0.3 (rho_l Q''² d32 / sigma)^(-0.35)
///                          [1 + 0.0019 rho_l cp_l dT_sub / (rho_g h_fg)]
/// ```
///
/// with dT_sub = T_sat - T_f (K) and properties at saturation (common practice), so that it
/// grows as Q''^0.30 d32^(-0.35). The papers tie Q'' to the edge of the impact area, where
/// burn-out starts (from memory); here it is the local flux of each cell. It says nothing of the
/// energy that the liquid can take: see [`energy_cap`].
///
/// Range: [`RANGE`]. Band: [`BAND`] and [`BAND_OUTSIDE`]. Source: [`SOURCE`], from memory.
pub fn estes_mudawar(
    saturated: &FluidState,
    flux_m_s: f64,
    drop_size_m: f64,
    subcooling_K: f64,
) -> f64 {
    flux_factor(flux_m_s, drop_size_m) * liquid_factor(saturated, subcooling_K)
}

/// The part of [`estes_mudawar`] that depends on the spray: `2.3 Q''^0.3 d32^(-0.35)`.
pub fn flux_factor(flux_m_s: f64, drop_size_m: f64) -> f64 {
    flux_factor_ln(flux_m_s.ln(), drop_size_m.ln())
}

/// [`flux_factor`] from the logarithms of its arguments, for many cells.
pub(super) fn flux_factor_ln(ln_flux: f64, ln_drop_size: f64) -> f64 {
    2.3 * (0.3 * ln_flux - 0.35 * ln_drop_size).exp()
}

/// The part of [`estes_mudawar`] that depends on the liquid.
pub fn liquid_factor(saturated: &FluidState, subcooling_K: f64) -> f64 {
    let ratio = saturated.density_liquid_kg_m3 / saturated.density_vapour_kg_m3;
    let jakob = ratio * saturated.specific_heat_J_kgK * subcooling_K / saturated.latent_heat_J_kg;
    saturated.density_vapour_kg_m3
        * saturated.latent_heat_J_kg
        * ratio.powf(0.3)
        * (saturated.density_liquid_kg_m3 / saturated.surface_tension_N_m).powf(-0.35)
        * (1.0 + 0.0019 * jakob)
}

/// The heat flux that evaporates all the liquid that lands, W/m²: no critical heat flux can be
/// higher.
///
/// ```text
/// q'' = rho_l Q'' (h_fg + cp_l dT_sub)
/// ```
pub fn energy_cap(
    density_liquid_kg_m3: f64,
    latent_heat_J_kg: f64,
    specific_heat_J_kgK: f64,
    flux_m_s: f64,
    subcooling_K: f64,
) -> f64 {
    density_liquid_kg_m3 * flux_m_s * (latent_heat_J_kg + specific_heat_J_kgK * subcooling_K)
}

/// Critical heat flux averaged over a square heater into which the circular footprint of one
/// nozzle is inscribed, W/m²: the form in which the 1996 paper states its results.
///
/// ```text
/// q''_m = (pi / 4) q''(f_e Qm''),   f_e = (1/2) (1 + cos g) cos g
/// ```
///
/// with Qm'' the mean flux over the footprint and g half the cone angle; the corners beyond the
/// circle (21.5 % of the square) are dry. A different question from the smallest local margin:
/// the two must not be mixed. Source: [`SOURCE`], derived from memory.
pub fn heater_mean(
    saturated: &FluidState,
    mean_flux_m_s: f64,
    drop_size_m: f64,
    subcooling_K: f64,
    half_cone_rad: f64,
) -> f64 {
    let edge = 0.5 * (1.0 + half_cone_rad.cos()) * half_cone_rad.cos();
    std::f64::consts::FRAC_PI_4
        * estes_mudawar(saturated, edge * mean_flux_m_s, drop_size_m, subcooling_K)
}

/// An older correlation for water, W/m²: a second view, not used in the solve. Outside its own
/// range it disagrees with [`estes_mudawar`] by a factor of two.
///
/// ```text
/// q'' / (rho_g h_fg Q'') = 122.4 [1 + 0.0118 (rho_g / rho_l)^(1/4) rho_l cp_l dT_sub / (rho_g h_fg)]
///                          [sigma / (rho_l Q''² d32)]^0.198
/// ```
///
/// Source: Mudawar and Valentine, J. Heat Treating 7 (1989) 107-121, from memory.
pub fn mudawar_valentine(
    saturated: &FluidState,
    flux_m_s: f64,
    drop_size_m: f64,
    subcooling_K: f64,
) -> f64 {
    let ratio = saturated.density_liquid_kg_m3 / saturated.density_vapour_kg_m3;
    let jakob = ratio * saturated.specific_heat_J_kgK * subcooling_K / saturated.latent_heat_J_kg;
    let weber = saturated.density_liquid_kg_m3 * flux_m_s * flux_m_s * drop_size_m
        / saturated.surface_tension_N_m;
    122.4
        * saturated.density_vapour_kg_m3
        * saturated.latent_heat_J_kg
        * flux_m_s
        * (1.0 + 0.0118 * ratio.powf(-0.25) * jakob)
        * weber.powf(-0.198)
}

/// Critical heat flux of a saturated pool, W/m², for scale.
///
/// ```text
/// q'' = 0.131 rho_g^(1/2) h_fg [g sigma (rho_l - rho_g)]^(1/4),   g = 9.80665 m/s²
/// ```
///
/// Source: Zuber 1959, as in textbooks of heat transfer.
pub fn zuber_pool(saturated: &FluidState) -> f64 {
    let buoyancy = 9.80665
        * saturated.surface_tension_N_m
        * (saturated.density_liquid_kg_m3 - saturated.density_vapour_kg_m3);
    0.131 * saturated.density_vapour_kg_m3.sqrt() * saturated.latent_heat_J_kg * buoyancy.powf(0.25)
}

#[cfg(test)]
mod tests {
    use super::super::testing::{perfluorohexane_1atm, water_1atm};
    use super::*;
    use crate::library::fluids;

    const W_CM2: f64 = 1e4;

    #[test]
    fn worked_critical_heat_fluxes_of_perfluorohexane_are_reproduced() {
        let liquid = perfluorohexane_1atm();
        let saturated = estes_mudawar(&liquid, 0.020, 150e-6, 0.0);
        assert!((saturated / W_CM2 - 103.24).abs() < 6e-3, "{saturated}");
        let subcooled = estes_mudawar(&liquid, 0.020, 150e-6, 30.0);
        assert!((subcooled / saturated - 1.08790).abs() < 1e-5);
        assert!((subcooled / W_CM2 - 112.32).abs() < 6e-3, "{subcooled}");
        let cap = energy_cap(1578.4, 84_477.0, 1098.0, 0.020, 0.0);
        assert!((saturated / cap - 0.3871).abs() < 1e-4);
        let cap = energy_cap(1578.4, 84_477.0, 1098.0, 0.020, 30.0);
        assert!((subcooled / cap - 0.3030).abs() < 1e-4);
        assert!((zuber_pool(&liquid) / W_CM2 - 13.52).abs() < 6e-3);
    }

    #[test]
    fn worked_heater_mean_is_reproduced() {
        let liquid = perfluorohexane_1atm();
        let half_cone = 27.5f64.to_radians();
        let mean = heater_mean(&liquid, 0.047365, 78.61e-6, 0.0, half_cone);
        assert!((mean / W_CM2 - 124.82).abs() < 0.02, "{mean}");
        let watts = mean * 12.7e-3 * 12.7e-3;
        assert!((watts - 201.3).abs() < 0.05, "{watts}");
        let latent = energy_cap(1578.4, 84_477.0, 0.0, 6e-6, 0.0);
        assert!((latent - 800.0).abs() < 0.1, "{latent}");
    }

    #[test]
    fn correlation_breaks_the_energy_cap_below_the_worked_flux() {
        let liquid = perfluorohexane_1atm();
        let ratio = |flux: f64| {
            estes_mudawar(&liquid, flux, 150e-6, 0.0)
                / energy_cap(1578.4, 84_477.0, 1098.0, flux, 0.0)
        };
        assert!(ratio(5.14e-3) > 1.0 && ratio(5.16e-3) < 1.0);
        let (r134a, _) = fluids::by_name("R-134a").unwrap().at(298.15);
        let chf = estes_mudawar(&r134a, 0.020, 150e-6, 0.0);
        assert!((chf / W_CM2 - 407.0).abs() < 1.0, "{chf}");
    }

    #[test]
    fn worked_values_of_water_and_their_disagreement_are_reproduced() {
        let water = water_1atm();
        let new = estes_mudawar(&water, 0.020, 150e-6, 0.0) / W_CM2;
        let old = mudawar_valentine(&water, 0.020, 150e-6, 0.0) / W_CM2;
        assert!((new - 642.6).abs() < 0.1, "{new}");
        assert!((old - 1303.0).abs() < 1.0, "{old}");
        assert!((zuber_pool(&water) / W_CM2 - 110.85).abs() < 0.02);
    }

    /// Worked at 0.020 m/s and 150 µm; the tables' last digits leave 0.2 %.
    #[test]
    fn worked_values_of_other_liquids_are_reproduced() {
        for (name, at_K, expected, within) in [
            ("methanol", 337.63, 351.0, 0.003),
            ("FK-5-1-12", 322.20, 105.8, 0.003),
            ("methoxynonafluorobutane", 334.45, 117.8, 0.006),
        ] {
            let (state, _) = fluids::by_name(name).unwrap().at(at_K);
            let chf = estes_mudawar(&state, 0.020, 150e-6, 0.0) / W_CM2;
            assert!((chf / expected - 1.0).abs() < within, "{name}: {chf}");
        }
    }
}
