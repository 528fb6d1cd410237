//! Shared by the tests of this room.

use std::sync::Arc;

use crate::library::{FluidState, Material, TemperatureLaw, fluids};
use crate::module::{ActiveFace, Coolant, CorrelatedSpray, Die, Nozzle, Rect, Turn};

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

/// A correlated spray of these nozzles.
pub fn spray(nozzles: Vec<Nozzle>) -> CorrelatedSpray {
    CorrelatedSpray {
        nozzles,
        unwetted_htc_W_m2K: 200.0,
        coefficient_factor: 1.0,
        exit_quality_max: 0.3,
        modules_in_system: 1,
        facility_water_rise_K: 10.0,
        room_air_rise_K: 15.0,
    }
}

/// A built-in liquid at 1 atm.
pub fn coolant(name: &str, inlet_C: f64) -> Coolant {
    Coolant {
        fluid: fluids::by_name(name).map(Arc::new),
        inlet_K: inlet_C + 273.15,
        pressure_Pa: 101_325.0,
    }
}

/// A bare silicon die.
pub fn die(name: &str, centre_m: [f64; 2], size_m: [f64; 2], power_W: f64) -> Die {
    Die {
        name: name.to_owned(),
        type_name: "test".to_owned(),
        rect: Rect {
            x0_m: centre_m[0] - 0.5 * size_m[0],
            y0_m: centre_m[1] - 0.5 * size_m[1],
            x1_m: centre_m[0] + 0.5 * size_m[0],
            y1_m: centre_m[1] + 0.5 * size_m[1],
        },
        turn: Turn::None,
        thickness_m: 0.75e-3,
        material: Arc::new(Material {
            name: "silicon".to_owned(),
            conductivity_W_mK: [148.0; 3],
            law: TemperatureLaw::Constant,
            density_kg_m3: None,
            specific_heat_J_kgK: None,
            source: "test".to_owned(),
        }),
        active_face: ActiveFace::Down,
        attach: None,
        limit_K: None,
        power_W,
        blocks: Vec::new(),
        power_map: None,
    }
}
