//! The built-in coolants against general-purpose property libraries, between their rows.

use serde::Deserialize;
use sprayside_solver::library::{FluidState, fluids};

use crate::check::{Check, Kind, Outcome};
use crate::sources::Source;

/// The library of equations of state.
pub const COOLPROP: Source = Source {
    short: "CoolProp, thermo",
    full: "CoolProp 8.0.0 (equations of state and, for water, methanol and R-134a, transport) and \
           thermo 0.6.1 (other transport), run by validation/reference/coolants.py",
    from_memory: false,
};

/// An independent formulation for water.
pub const IF97: Source = Source {
    short: "IAPWS-IF97",
    full: "IAPWS Industrial Formulation 1997 for water and steam as in the Python package iapws \
           1.5.5, run by validation/reference/coolants.py",
    from_memory: false,
};

/// What the committed JSON holds.
#[derive(Debug, Deserialize)]
struct Reference {
    sets: Vec<ReferenceSet>,
}

/// One fluid by one library.
#[derive(Debug, Deserialize)]
struct ReferenceSet {
    fluid: String,
    library: String,
    rows: Vec<[f64; 9]>,
}

/// A property: name, unit, its value, and how far a table that is read by interpolation may lie
/// from the library, relative: the accuracy that the equations of state and correlations claim
/// for themselves (typically: pressure 0.2 to 0.5 %, liquid density 0.1 to 0.3 %, vapour density
/// and latent heat 0.5 %, specific heat 1 %, conductivity and viscosity 2 to 3 %, surface
/// tension 1 to 2 %).
struct Property {
    name: &'static str,
    unit: &'static str,
    value: fn(&FluidState) -> f64,
    within: f64,
}

const PROPERTIES: [Property; 8] = [
    Property { name: "saturation pressure", unit: "Pa", value: |s| s.pressure_Pa, within: 0.004 },
    Property {
        name: "liquid density",
        unit: "kg/m³",
        value: |s| s.density_liquid_kg_m3,
        within: 0.002,
    },
    Property {
        name: "vapour density",
        unit: "kg/m³",
        value: |s| s.density_vapour_kg_m3,
        within: 0.005,
    },
    Property { name: "latent heat", unit: "J/kg", value: |s| s.latent_heat_J_kg, within: 0.005 },
    Property {
        name: "specific heat",
        unit: "J/(kg·K)",
        value: |s| s.specific_heat_J_kgK,
        within: 0.01,
    },
    Property {
        name: "conductivity",
        unit: "W/(m·K)",
        value: |s| s.conductivity_W_mK,
        within: 0.02,
    },
    Property { name: "viscosity", unit: "Pa·s", value: |s| s.viscosity_Pa_s, within: 0.02 },
    Property {
        name: "surface tension",
        unit: "N/m",
        value: |s| s.surface_tension_N_m,
        within: 0.01,
    },
];

/// One row a fluid, library and property, at the temperature where they differ most.
///
/// # Panics
/// If the committed reference file is not what its script writes.
pub fn properties() -> Vec<Outcome> {
    let reference: Reference =
        serde_json::from_str(include_str!("../reference/coolants.json")).expect("committed JSON");
    let mut outcomes = Vec::new();
    for set in &reference.sets {
        let fluid = fluids::by_name(&set.fluid).expect("a built-in coolant");
        let source = if set.library.starts_with("iapws") { &IF97 } else { &COOLPROP };
        for (index, property) in PROPERTIES.iter().enumerate() {
            let worst = set
                .rows
                .iter()
                .map(|row| (row[0], row[index + 1], (property.value)(&fluid.at(row[0]).0)))
                .max_by(|a, b| (a.2 / a.1 - 1.0).abs().total_cmp(&(b.2 / b.1 - 1.0).abs()));
            let Some((temperature_K, expect, computed)) = worst else { continue };
            outcomes.push(Outcome {
                check: Check {
                    case: format!("saturated {}", set.fluid),
                    what: format!("{}, worst of {} temperatures", property.name, set.rows.len()),
                    expect,
                    within: property.within * expect,
                    unit: property.unit,
                    kind: Kind::OtherCode,
                    source,
                    place: format!("{}, {:.1} °C", set.library, temperature_K - 273.15),
                },
                computed,
                uncertainty: 0.0,
            });
        }
    }
    outcomes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_property_of_every_library_fluid_is_within_the_librarys_own_accuracy() {
        let outcomes = properties();
        assert_eq!(outcomes.len(), 6 * PROPERTIES.len());
        for outcome in outcomes {
            assert!(
                outcome.holds(),
                "{} {} ({}): {} is not {}, {:.2} % off",
                outcome.check.case,
                outcome.check.what,
                outcome.check.place,
                outcome.computed,
                outcome.check.expect,
                100.0 * (outcome.computed / outcome.check.expect - 1.0)
            );
        }
    }
}
