//! Small modules for the tests of this room: every kind of part, no symmetry.
//!
//! No source is hottest just between two cells: there the reported maximum goes over from one
//! parabola to the next with a small step, and has no derivative to compare with.

use std::sync::Arc;

use crate::library::TemperatureLaw;
use crate::mesh::{Mesh, PlaneGrid, Slicing, edges_along, snapped_edges};
use crate::module::{Module, Rect, Spray};
use crate::steady::{GridSolution, SteadyOptions, solve_on_mesh};

const PARTS: &str = r#"
title = "study"
[module]
size_mm = [30.0, 22.0]
edge_htc_W_m2K = 60.0
edge_temperature_C = 33.0
[[module.layer]]
name = "core"
material = "alumina-96"
thickness_mm = 1.2
[[module.layer]]
name = "wiring"
material = "lines"
thickness_mm = 0.15
[material.lines]
conductivity_W_mK = [38.0, 21.0, 1.2]
[die_type.logic]
size_mm = [8.0, 6.0]
thickness_mm = 0.7
material = "silicon"
active_face = "down"
attach = { material = "underfilled-bumps", thickness_mm = 0.08 }
limit_C = 85.0
[die_type.amplifier]
size_mm = [5.0, 4.0]
thickness_mm = 0.3
material = "silicon"
active_face = "up"
[[die]]
name = "L0"
type = "logic"
at_mm = [7.0, 6.5]
power_W = 30.0
[[die.block]]
name = "multipliers"
rect_mm = [1.0, 1.0, 3.0, 4.0]
power_W = 16.0
[[die]]
name = "L1"
type = "logic"
at_mm = [21.0, 7.0]
turn_deg = 90
power_W = 22.0
[[die]]
name = "A"
type = "amplifier"
at_mm = [13.0, 16.0]
power_W = 9.0
[[heater]]
name = "strip"
on = "core"
face = "top"
rect_mm = [19.0, 14.0, 8.0, 3.0]
power_W = 5.0
[[heater]]
name = "window"
on = "wiring"
face = "top"
rect_mm = [1.5, 15.0, 4.0, 2.6]
power_W = 2.0
[[heater]]
name = "pad"
on = "core"
face = "bottom"
rect_mm = [22.0, 18.0, 5.0, 3.0]
power_W = 3.0
[coolant]
fluid = "perfluorohexane"
inlet_C = 25.0
pressure_kPa = 101.325
[board]
temperature_C = 40.0
htc_W_m2K = 240.0
"#;

const PRESCRIBED: &str = r#"
[spray]
model = "prescribed"
htc_W_m2K = 3000.0
[[spray.patch]]
over = "logic"
htc_W_m2K = 9000.0
[[spray.patch]]
rect_mm = [5.0, 5.0, 12.0, 12.0]
htc_W_m2K = 7000.0
"#;

const NOZZLES: &str = r#"
[spray]
model = "correlated"
[nozzle_type.wide]
cone_deg = 50.0
orifice_mm = 0.40
flow_mL_s = 1.1
pressure_drop_kPa = 200.0
[nozzle_type.narrow]
cone_deg = 42.0
orifice_mm = 0.30
flow_mL_s = 0.6
pressure_drop_kPa = 240.0
[[nozzle]]
name = "N0"
type = "wide"
at_mm = [7.3, 6.1]
standoff_mm = 8.0
[[nozzle]]
name = "N1"
type = "wide"
at_mm = [20.6, 7.4]
standoff_mm = 9.0
tilt_deg = [4.0, -6.0]
[[nozzle]]
name = "N2"
type = "narrow"
at_mm = [13.4, 15.2]
standoff_mm = 8.0
"#;

fn read(text: &str) -> Module {
    crate::case::read(text, "study.toml", &|_| Err("no files".to_owned()))
        .unwrap_or_else(|findings| {
            panic!("{}", findings.iter().map(|f| f.to_string()).collect::<String>())
        })
        .module
}

/// Stated coefficients, conductivities that vary where the library's do.
pub fn prescribed() -> Module {
    read(&format!("{PARTS}{PRESCRIBED}"))
}

/// Nozzles and boiling curves.
pub fn with_nozzles() -> Module {
    read(&format!("{PARTS}{NOZZLES}"))
}

/// One evenly heated die in the middle of everything: hottest between equal cells.
pub fn symmetric() -> Module {
    let mut module = prescribed();
    module.die.truncate(1);
    module.die[0].blocks.clear();
    module.heaters.clear();
    let [x, y] = module.die[0].rect.centre_m();
    module.size_m = [2.0 * x, 2.0 * y];
    if let Spray::Prescribed(spray) = &mut module.spray {
        spray.patches.clear();
    }
    module
}

/// The same module with every conductivity held at its reference.
pub fn held(mut module: Module) -> Module {
    let hold = |material: &mut Arc<crate::library::Material>| {
        Arc::make_mut(material).law = TemperatureLaw::Constant;
    };
    for die in &mut module.die {
        hold(&mut die.material);
        if let Some(attach) = &mut die.attach {
            hold(&mut attach.material);
        }
    }
    module.layers.iter_mut().for_each(|l| hold(&mut l.material));
    module
}

fn slicing(module: &Module) -> Slicing {
    let die = (0..module.die.len()).map(|d| if d < 2 { [1, 2] } else { [1, 3] }).collect();
    Slicing { layers: vec![2, 1], die }
}

/// A coarse, uneven mesh of `module` with some parts sliced; it follows the thicknesses.
pub fn mesh(module: &Module) -> Mesh {
    let mut rects: Vec<Rect> = module.die.iter().map(|d| d.rect).collect();
    rects.extend(module.die.iter().flat_map(|d| d.blocks.iter().map(|b| b.rect)));
    rects.extend(module.heaters.iter().map(|h| h.rect));
    if let Spray::Prescribed(spray) = &module.spray {
        rects.extend(spray.patches.iter().map(|p| p.rect));
    }
    let lines = |axis: usize| -> Arc<[f64]> {
        let edges = snapped_edges(module.size_m[axis], edges_along(axis, &rects));
        let mut lines = vec![0.0];
        for pair in edges.windows(2) {
            let pieces = ((pair[1] - pair[0]) / 0.9e-3).ceil();
            lines.extend(
                (1..=pieces as usize).map(|k| pair[0] + (pair[1] - pair[0]) * k as f64 / pieces),
            );
        }
        lines.into()
    };
    let plane = PlaneGrid { x_lines_m: lines(0), y_lines_m: lines(1) };
    Mesh::new(module, plane, &slicing(module))
}

/// A mesh like `like` for a module that differs from its own in thicknesses only.
pub fn mesh_like(module: &Module, like: &Mesh) -> Mesh {
    Mesh::new(module, like.plane.clone(), &slicing(module))
}

/// Options tight enough for differences of solves.
pub fn tight() -> SteadyOptions {
    SteadyOptions { relative_tolerance: 1e-12, ..SteadyOptions::default() }
}

/// A tight solve on [`mesh`].
pub fn solved(module: &Module) -> GridSolution {
    solve_on_mesh(module, mesh(module), None, &tight()).expect("a steady state")
}

/// The same module with density and specific heat for every material.
pub fn with_capacity(mut module: Module) -> Module {
    for layer in &mut module.layers {
        let material = Arc::make_mut(&mut layer.material);
        material.density_kg_m3.get_or_insert(2300.0);
        material.specific_heat_J_kgK.get_or_insert(850.0);
    }
    module
}
