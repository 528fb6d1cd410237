//! Shared by the tests of this room.

use crate::library::FluidState;
use crate::module::Nozzle;

/// An upright nozzle.
pub fn nozzle(at_m: [f64; 2], standoff_m: f64, cone_deg: f64, flow_m3_s: f64) -> Nozzle {
    Nozzle {
        name: "N".to_owned(),
        type_name: "full-cone".to_owned(),
        at_m,
        standoff_m,
        tilt_rad: [0.0, 0.0],
        cone_rad: cone_deg.to_radians(),
        orifice_m: 0.4e-3,
        flow_m3_s,
        pressure_drop_Pa: 2e5,
        flow_factor: 1.0,
    }
}

/// Perfluorohexane at its normal boiling point, with the digits of the worked examples.
pub fn perfluorohexane_1atm() -> FluidState {
    FluidState {
        temperature_K: 330.27,
        pressure_Pa: 101_325.0,
        density_liquid_kg_m3: 1578.4,
        density_vapour_kg_m3: 13.304,
        latent_heat_J_kg: 84_477.0,
        specific_heat_J_kgK: 1098.0,
        conductivity_W_mK: 0.0626,
        viscosity_Pa_s: 4.247e-4,
        surface_tension_N_m: 8.20e-3,
    }
}

/// Water at its normal boiling point, with the digits of the worked examples.
pub fn water_1atm() -> FluidState {
    FluidState {
        temperature_K: 373.124,
        pressure_Pa: 101_325.0,
        density_liquid_kg_m3: 958.4,
        density_vapour_kg_m3: 0.5977,
        latent_heat_J_kg: 2.25647e6,
        specific_heat_J_kgK: 4215.6,
        conductivity_W_mK: 0.6772,
        viscosity_Pa_s: 2.817e-4,
        surface_tension_N_m: 0.05893,
    }
}
