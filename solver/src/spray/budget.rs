//! What the loop must carry: liquid in, vapour and liquid out, heat to the far side.

use super::SprayModel;
use crate::module::CorrelatedSpray;

/// Density of water at 20 °C, kg/m³, and its specific heat, J/(kg·K) (IAPWS-95).
const WATER: [f64; 2] = [998.2, 4184.4];

/// Density of air at 300 K and 1 atm, kg/m³, and its specific heat, J/(kg·K) (CoolProp).
const AIR: [f64; 2] = [1.177, 1006.0];

/// The liquid budget of one module, and of the system that it belongs to.
///
/// ```text
/// m = rho_f Q
/// x = (P / m - cp dT_sub) / h_fg
/// alpha = 1 / (1 + (1 - x)/x rho_g/rho_l)
/// m_min = P / (cp dT_sub + x_max h_fg)
/// ```
///
/// | symbol | meaning | unit |
/// |---|---|---|
/// | Q | flow of all nozzles | m³/s |
/// | rho_f | density of the liquid at the nozzles | kg/m³ |
/// | P | heat into the spray | W |
/// | cp | mean specific heat of the liquid from inlet to saturation | J/(kg·K) |
/// | dT_sub | subcooling | K |
/// | h_fg, rho_l, rho_g | latent heat and densities at saturation | J/kg, kg/m³ |
/// | x | exit quality: vapour's share of the mass; at most 1 | - |
/// | alpha | vapour's share of the volume if both move alike: an upper bound | - |
///
/// Mixed-mean values: liquid that misses the die counts as if it shared the heat. An energy
/// balance, textbook.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LiquidBudget {
    /// Heat into the spray, W.
    pub heat_W: f64,
    /// Flow of all nozzles, m³/s at the inlet temperature.
    pub flow_m3_s: f64,
    /// The same, kg/s.
    pub mass_flow_kg_s: f64,
    /// Share of the flow that lands on the module, 0 to 1.
    pub landed_share: f64,
    /// Share of the flow that lands on die, 0 to 1.
    pub on_die_share: f64,
    /// Heat that warms liquid, W.
    pub sensible_W: f64,
    /// Heat that makes vapour, W.
    pub latent_W: f64,
    /// Heat that the liquid cannot take even if all of it evaporates, W; 0 in a sound case.
    pub excess_W: f64,
    /// Exit quality, 0 to 1; 0 where the liquid leaves below saturation.
    pub exit_quality: f64,
    /// Temperature of what leaves, K: saturation where anything evaporates.
    pub outlet_K: f64,
    /// Vapour that leaves, m³/s.
    pub vapour_flow_m3_s: f64,
    /// Liquid that leaves, m³/s.
    pub liquid_return_m3_s: f64,
    /// Volume that leaves over volume that enters: why the return line is wider than the feed.
    pub volume_ratio: f64,
    /// Vapour's share of the volume that leaves, if both move alike.
    pub void_fraction: f64,
    /// Highest exit quality allowed.
    pub exit_quality_max: f64,
    /// Least flow that keeps it, m³/s at the inlet temperature.
    pub least_flow_m3_s: f64,
    /// Flow over the flow that would evaporate wholly; infinite without heat.
    pub oversupply: f64,
    /// Flow at which the liquid would take the heat without boiling, leaving at saturation,
    /// m³/s; `None` for a saturated feed.
    pub single_phase_flow_m3_s: Option<f64>,
    /// Power that the nozzles' pressure drop puts into the liquid, W.
    pub pumping_W: f64,
    /// Modules in the system.
    pub modules_in_system: usize,
    /// Flow of the system, m³/s.
    pub system_flow_m3_s: f64,
    /// Heat that the far side of the loop must reject, W: the heat into the spray and the
    /// pumping power of all modules.
    pub system_heat_W: f64,
    /// Facility water that takes it with the stated rise, m³/s.
    pub facility_water_m3_s: f64,
    /// Room air that takes it with the stated rise, m³/s.
    pub room_air_m3_s: f64,
}

impl LiquidBudget {
    /// The budget of a module that gives `heat_W` to the spray, of which the shares
    /// `landed_share` and `on_die_share` of the flow land on the module and on die.
    pub fn new(
        model: &SprayModel,
        spray: &CorrelatedSpray,
        heat_W: f64,
        landed_share: f64,
        on_die_share: f64,
    ) -> Self {
        let nozzle_flows = model.nozzles().iter().map(|n| n.flow_m3_s * n.flow_factor);
        // A sum of nothing would be minus zero.
        let flow_m3_s = nozzle_flows.clone().fold(0.0, |sum, q| sum + q);
        let pumping_W =
            nozzle_flows.zip(model.nozzles()).fold(0.0, |sum, (q, n)| sum + q * n.pressure_drop_Pa);
        let liquid = Stream {
            density_in_kg_m3: model.inlet.density_liquid_kg_m3,
            density_liquid_kg_m3: model.saturated.density_liquid_kg_m3,
            density_vapour_kg_m3: model.saturated.density_vapour_kg_m3,
            latent_heat_J_kg: model.saturated.latent_heat_J_kg,
            specific_heat_J_kgK: model.mean_specific_heat_J_kgK(),
            subcooling_K: model.subcooling_K,
        };
        let out = liquid.heated(flow_m3_s * liquid.density_in_kg_m3, heat_W);
        let modules = spray.modules_in_system as f64;
        let system_heat_W = modules * (heat_W + pumping_W);
        let far_side = |[density, specific_heat]: [f64; 2], rise_K: f64| {
            system_heat_W / (density * specific_heat * rise_K)
        };
        LiquidBudget {
            heat_W,
            flow_m3_s,
            mass_flow_kg_s: flow_m3_s * liquid.density_in_kg_m3,
            landed_share,
            on_die_share,
            sensible_W: out.sensible_W,
            latent_W: out.latent_W,
            excess_W: heat_W.max(0.0) - (out.sensible_W + out.latent_W).max(0.0),
            exit_quality: out.quality,
            outlet_K: model.inlet.temperature_K + out.rise_K,
            vapour_flow_m3_s: out.vapour_m3_s,
            liquid_return_m3_s: out.liquid_m3_s,
            volume_ratio: ratio(out.vapour_m3_s + out.liquid_m3_s, flow_m3_s),
            void_fraction: ratio(out.vapour_m3_s, out.vapour_m3_s + out.liquid_m3_s),
            exit_quality_max: spray.exit_quality_max,
            least_flow_m3_s: liquid.least_mass_flow_kg_s(heat_W, spray.exit_quality_max)
                / liquid.density_in_kg_m3,
            oversupply: flow_m3_s * liquid.density_in_kg_m3
                / liquid.least_mass_flow_kg_s(heat_W, 1.0),
            single_phase_flow_m3_s: (liquid.subcooling_K > 0.0)
                .then(|| liquid.least_mass_flow_kg_s(heat_W, 0.0) / liquid.density_in_kg_m3),
            pumping_W,
            modules_in_system: spray.modules_in_system,
            system_flow_m3_s: modules * flow_m3_s,
            system_heat_W,
            facility_water_m3_s: far_side(WATER, spray.facility_water_rise_K),
            room_air_m3_s: far_side(AIR, spray.room_air_rise_K),
        }
    }
}

/// `part / whole`, 0 where there is no whole: nothing flows.
fn ratio(part: f64, whole: f64) -> f64 {
    if whole == 0.0 { 0.0 } else { part / whole }
}

/// A liquid on its way through the module.
#[derive(Debug, Clone, Copy)]
struct Stream {
    density_in_kg_m3: f64,
    density_liquid_kg_m3: f64,
    density_vapour_kg_m3: f64,
    latent_heat_J_kg: f64,
    specific_heat_J_kgK: f64,
    subcooling_K: f64,
}

/// What leaves.
#[derive(Debug, Clone, Copy)]
struct Outlet {
    sensible_W: f64,
    latent_W: f64,
    quality: f64,
    rise_K: f64,
    vapour_m3_s: f64,
    liquid_m3_s: f64,
}

impl Stream {
    /// The stream after it has taken `heat_W`.
    fn heated(&self, mass_flow_kg_s: f64, heat_W: f64) -> Outlet {
        let to_saturation_W = mass_flow_kg_s * self.specific_heat_J_kgK * self.subcooling_K;
        let sensible_W = heat_W.min(to_saturation_W);
        let latent_W = (heat_W - sensible_W).clamp(0.0, mass_flow_kg_s * self.latent_heat_J_kg);
        if mass_flow_kg_s == 0.0 {
            return Outlet {
                sensible_W: 0.0,
                latent_W: 0.0,
                quality: 0.0,
                rise_K: 0.0,
                vapour_m3_s: 0.0,
                liquid_m3_s: 0.0,
            };
        }
        let quality = latent_W / (mass_flow_kg_s * self.latent_heat_J_kg);
        let rise_K = sensible_W / (mass_flow_kg_s * self.specific_heat_J_kgK);
        // Density between inlet and saturation, straight in the rise.
        let share = if self.subcooling_K > 0.0 { rise_K / self.subcooling_K } else { 1.0 };
        let density =
            self.density_in_kg_m3 + share * (self.density_liquid_kg_m3 - self.density_in_kg_m3);
        Outlet {
            sensible_W,
            latent_W,
            quality,
            rise_K,
            vapour_m3_s: mass_flow_kg_s * quality / self.density_vapour_kg_m3,
            liquid_m3_s: mass_flow_kg_s * (1.0 - quality) / density,
        }
    }

    /// `P / (cp dT_sub + x_max h_fg)`, kg/s.
    fn least_mass_flow_kg_s(&self, heat_W: f64, quality_max: f64) -> f64 {
        heat_W
            / (self.specific_heat_J_kgK * self.subcooling_K + quality_max * self.latent_heat_J_kg)
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{coolant, nozzle, spray};
    use super::*;

    /// Perfluorohexane from 25 °C at 1 atm with the digits of the worked example.
    const WORKED: Stream = Stream {
        density_in_kg_m3: 1675.9,
        density_liquid_kg_m3: 1578.4,
        density_vapour_kg_m3: 13.304,
        latent_heat_J_kg: 84_477.0,
        specific_heat_J_kgK: 1072.5,
        subcooling_K: 57.12 - 25.0,
    };

    #[test]
    fn worked_loop_of_one_kilowatt_is_reproduced() {
        let least = WORKED.least_mass_flow_kg_s(1000.0, 0.3);
        assert!((least - 0.0167247).abs() < 5e-7, "{least}");
        assert!((least / 1675.9 * 6e4 - 0.5988).abs() < 5e-5);
        let full = WORKED.least_mass_flow_kg_s(1000.0, 1.0);
        assert!((full - 0.0084086).abs() < 5e-7, "{full}");
        assert!((least / full - 1.9890).abs() < 5e-5);
        let out = WORKED.heated(least, 1000.0);
        assert!((out.quality - 0.3).abs() < 1e-12);
        assert!((out.vapour_m3_s - 3.7714e-4).abs() < 5e-8);
        let void = out.vapour_m3_s / (out.vapour_m3_s + out.liquid_m3_s);
        assert!((void - 0.98071).abs() < 5e-6, "{void}");
    }

    #[test]
    fn sensible_and_latent_heat_add_up_and_the_excess_is_told() {
        let nozzles = vec![nozzle([0.01, 0.01], 0.01, 55.0, 1e-6)];
        let spray = spray(nozzles);
        let model = SprayModel::new(&spray, &coolant("perfluorohexane", 25.0)).unwrap();
        for heat in [10.0, 80.0, 150.0, 400.0] {
            let budget = LiquidBudget::new(&model, &spray, heat, 0.9, 0.5);
            let sum = budget.sensible_W + budget.latent_W + budget.excess_W;
            assert!((sum / heat - 1.0).abs() < 1e-12);
            assert!((budget.excess_W > 0.0) == (heat > 300.0), "{budget:?}");
            assert!((budget.exit_quality > 0.0) == (heat > 60.0));
            assert!(budget.outlet_K <= model.saturated.temperature_K + 1e-9);
        }
        let budget = LiquidBudget::new(&model, &spray, 100.0, 0.9, 0.5);
        // Mass is kept: vapour and liquid out are the liquid in.
        let out = budget.vapour_flow_m3_s * model.saturated.density_vapour_kg_m3
            + budget.liquid_return_m3_s * model.saturated.density_liquid_kg_m3;
        assert!((out / budget.mass_flow_kg_s - 1.0).abs() < 1e-12);
        assert!(budget.volume_ratio > 20.0);
        assert!((budget.pumping_W - 0.2).abs() < 1e-12);
        // 100.2 W over 10 K of water: 0.1437 L/min; over 15 K of air: 5.64 L/s.
        assert!((budget.facility_water_m3_s * 6e4 - 0.14394).abs() < 1e-4);
        assert!((budget.room_air_m3_s * 1e3 - 5.641).abs() < 1e-3);
    }

    /// Facts of the trade: common practice, no source. Sixteen US gallons a minute of
    /// perfluorohexane for 64 modules of 560 W leave with a quality well below one; flooding the
    /// same machine with liquid that may warm by a few kelvin takes about ten times the flow
    /// that boils with a usual quality.
    #[test]
    fn usual_system_flow_leaves_with_a_quality_well_below_one() {
        let flow = 16.0 * 3.785_411_784e-3 / 60.0 / 64.0;
        let mut spray = spray(vec![nozzle([0.01, 0.01], 0.01, 55.0, flow)]);
        spray.modules_in_system = 64;
        let model = SprayModel::new(&spray, &coolant("perfluorohexane", 25.0)).unwrap();
        let budget = LiquidBudget::new(&model, &spray, 560.0, 1.0, 1.0);
        assert!((budget.system_flow_m3_s * 6e4 - 60.57).abs() < 0.01, "16 gal/min in L/min");
        assert!(budget.exit_quality < 0.1);
        // A third less subcooling and twice the power still leave well below one.
        let warm = SprayModel::new(&spray, &coolant("perfluorohexane", 35.0)).unwrap();
        let budget = LiquidBudget::new(&warm, &spray, 1120.0, 1.0, 1.0);
        assert!(budget.exit_quality > 0.0 && budget.exit_quality < 0.5, "{budget:?}");
        // Boiling to a quality of 0.3 takes 60 kJ/kg; liquid that warms by 5.5 K takes 5.9.
        let boiling = WORKED.least_mass_flow_kg_s(560.0, 0.3);
        let flooding = 560.0 / (WORKED.specific_heat_J_kgK * 5.5);
        let ratio = flooding / boiling;
        assert!(ratio > 5.0 && ratio < 20.0, "{ratio}");
    }

    /// Worked by hand: vapour at 45 °C under 101.325 kPa in all leaves 35.43 kPa to the gas.
    #[test]
    fn gas_takes_the_pressure_that_the_vapour_leaves() {
        let fluid = coolant("perfluorohexane", 25.0).fluid.unwrap();
        let gas = 101_325.0 - fluid.saturation_pressure_Pa(45.0 + 273.15);
        assert!((gas / 1e3 - 35.43).abs() < 0.02, "{gas}");
    }

    #[test]
    fn no_flow_takes_no_heat() {
        let mut blocked = nozzle([0.01, 0.01], 0.01, 55.0, 1e-6);
        blocked.flow_factor = 0.0;
        let spray = spray(vec![blocked]);
        let model = SprayModel::new(&spray, &coolant("water", 25.0)).unwrap();
        let budget = LiquidBudget::new(&model, &spray, 50.0, 0.0, 0.0);
        assert_eq!(budget.excess_W, 50.0);
        assert_eq!([budget.exit_quality, budget.volume_ratio, budget.void_fraction], [0.0; 3]);
    }
}
