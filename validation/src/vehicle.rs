//! Modules for checks, built in code: full-area layers, heaters on their faces, and plain
//! surroundings.

use std::sync::Arc;

use sprayside_solver::library::{Material, TemperatureLaw};
use sprayside_solver::module::{
    BoardSide, Coolant, Edge, Face, Heater, Layer, MeshControl, Module, PrescribedHtc,
    PrescribedSpray, Rect, Spray,
};
use sprayside_solver::results::SteadyResult;
use sprayside_solver::steady::{SteadyError, SteadyOptions, solve};

use crate::closed_form::RectSource;

/// Temperature of every medium unless a case says otherwise, K.
pub const AMBIENT_K: f64 = 298.15;

/// A material without a temperature law.
pub fn constant(conductivity: [f64; 3]) -> Arc<Material> {
    Arc::new(Material {
        name: "check material".to_owned(),
        conductivity_W_mK: conductivity,
        law: TemperatureLaw::Constant,
        density_kg_m3: None,
        specific_heat_J_kgK: None,
        source: "stated by the check".to_owned(),
    })
}

/// A test vehicle: `layers` are (thickness m, conductivity W/(m·K)) from the board side up; the
/// coefficients (W/(m²·K)) are to `AMBIENT_K` on both sides; edges are adiabatic.
pub fn vehicle(size_m: [f64; 2], layers: &[(f64, [f64; 3])], below: f64, above: f64) -> Module {
    Module {
        title: "check".to_owned(),
        size_m,
        layers: layers
            .iter()
            .enumerate()
            .map(|(k, &(thickness_m, conductivity))| Layer {
                name: format!("layer {}", k + 1),
                material: constant(conductivity),
                thickness_m,
                slices: None,
            })
            .collect(),
        die: Vec::new(),
        heaters: Vec::new(),
        coolant: Coolant { fluid: None, inlet_K: AMBIENT_K, pressure_Pa: 101_325.0 },
        spray: Spray::Prescribed(PrescribedSpray {
            base: PrescribedHtc::Uniform(above),
            patches: Vec::new(),
        }),
        board: BoardSide {
            temperature_K: AMBIENT_K,
            htc_W_m2K: below,
            contacts: None,
            backing_plate: None,
        },
        edge: Edge { htc_W_m2K: 0.0, temperature_K: AMBIENT_K },
        mesh: MeshControl { accuracy_K: 0.1, cell_m: None, max_cells: 400_000 },
    }
}

/// The rectangle of a source of the closed forms.
pub fn rect(source: &RectSource) -> Rect {
    Rect {
        x0_m: source.x - 0.5 * source.width,
        y0_m: source.y - 0.5 * source.height,
        x1_m: source.x + 0.5 * source.width,
        y1_m: source.y + 0.5 * source.height,
    }
}

/// A rectangle of the closed forms over the whole module.
pub fn whole(size_m: [f64; 2]) -> RectSource {
    RectSource { x: 0.5 * size_m[0], y: 0.5 * size_m[1], width: size_m[0], height: size_m[1] }
}

/// Adds a heater on interface `interface` (0 the lower face of the module).
pub fn add_heater(module: &mut Module, interface: usize, source: &RectSource, power_W: f64) {
    let (layer, face) = if interface == 0 { (0, Face::Bottom) } else { (interface - 1, Face::Top) };
    module.heaters.push(Heater {
        name: format!("H{}", module.heaters.len() + 1),
        layer,
        face,
        rect: rect(source),
        power_W,
        limit_K: None,
    });
}

/// Solves with the default options.
///
/// # Errors
/// As [`solve`].
pub fn solved(module: &Module) -> Result<SteadyResult, SteadyError> {
    solve(module, &SteadyOptions::default(), &mut |_| ())
}
