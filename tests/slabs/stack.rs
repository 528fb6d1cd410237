//! Modules built in code.

use std::sync::Arc;

use sprayside_solver::library::{Material, TemperatureLaw};
use sprayside_solver::module::{
    ActiveFace, Attach, BoardSide, Coolant, Die, Edge, Face, Heater, Layer, MeshControl, Module,
    PrescribedHtc, PrescribedSpray, Rect, Spray, Turn,
};
use sprayside_solver::results::SteadyResult;
use sprayside_solver::steady::{SteadyOptions, solve};

pub const INLET_K: f64 = 298.15;
pub const BOARD_K: f64 = 313.15;

/// A material without a temperature law, W/(m·K).
pub fn material(conductivity: [f64; 3]) -> Arc<Material> {
    Arc::new(Material {
        name: "test".to_owned(),
        conductivity_W_mK: conductivity,
        law: TemperatureLaw::Constant,
        density_kg_m3: None,
        specific_heat_J_kgK: None,
        source: "test".to_owned(),
    })
}

/// A substrate of `layers`, (thickness m, conductivity), from the board side up.
pub fn module(size_m: [f64; 2], layers: &[(f64, [f64; 3])], board: f64, spray: f64) -> Module {
    Module {
        title: "slab".to_owned(),
        size_m,
        layers: layers
            .iter()
            .enumerate()
            .map(|(n, &(thickness_m, k))| Layer {
                name: format!("layer{n}"),
                material: material(k),
                thickness_m,
                slices: None,
            })
            .collect(),
        die: Vec::new(),
        heaters: Vec::new(),
        coolant: Coolant { fluid: None, inlet_K: INLET_K, pressure_Pa: 101_325.0 },
        spray: Spray::Prescribed(PrescribedSpray {
            base: PrescribedHtc::Uniform(spray),
            patches: Vec::new(),
        }),
        board: BoardSide {
            temperature_K: BOARD_K,
            htc_W_m2K: board,
            contacts: None,
            backing_plate: None,
        },
        edge: Edge { htc_W_m2K: 0.0, temperature_K: BOARD_K },
        mesh: MeshControl { accuracy_K: 0.1, cell_m: None, max_cells: 4_000_000 },
    }
}

/// A heater on interface `interface`, 0 the lowest face of the substrate.
pub fn heater(interface: usize, rect: Rect, power_W: f64) -> Heater {
    let (layer, face) = if interface == 0 { (0, Face::Bottom) } else { (interface - 1, Face::Top) };
    Heater { name: format!("H{interface}"), layer, face, rect, power_W, limit_K: None }
}

/// A die with or without attach (thickness m, conductivity).
pub fn die(
    name: &str,
    rect: Rect,
    body: (f64, [f64; 3]),
    attach: Option<(f64, [f64; 3])>,
    active_face: ActiveFace,
    power_W: f64,
) -> Die {
    Die {
        name: name.to_owned(),
        type_name: "type".to_owned(),
        rect,
        turn: Turn::None,
        thickness_m: body.0,
        material: material(body.1),
        active_face,
        attach: attach.map(|(thickness_m, k)| Attach { material: material(k), thickness_m }),
        limit_K: None,
        power_W,
        blocks: Vec::new(),
        power_map: None,
    }
}

/// Solves tighter than the default: the closed forms are exact.
pub fn tightly(module: &Module) -> SteadyResult {
    let options = SteadyOptions { relative_tolerance: 1e-12, ..SteadyOptions::default() };
    solve(module, &options, &mut |_| ()).unwrap()
}

/// Asserts `|a - b| <= tolerance * scale` and says what was compared.
#[track_caller]
pub fn assert_close(what: &str, a: f64, b: f64, tolerance: f64, scale: f64) {
    assert!(
        (a - b).abs() <= tolerance * scale,
        "{what}: {a} against {b}, difference {:.3e}, allowed {:.3e}",
        a - b,
        tolerance * scale
    );
}
