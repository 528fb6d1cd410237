//! A module built in code, solved, read, and held against the resistances that one can add up by
//! hand: a start for a regression suite.
//!
//! Run it with `cargo run --release -p sprayside_solver --example build_in_code`.

#![allow(clippy::print_stdout, reason = "an example tells what it found")]

use std::error::Error;
use std::sync::Arc;

use sprayside_solver::library::{Material, TemperatureLaw, solids};
use sprayside_solver::module::{
    ActiveFace, Attach, BoardSide, Coolant, Die, Edge, Layer, MeshControl, Module, PrescribedHtc,
    PrescribedSpray, Rect, Spray, Turn,
};
use sprayside_solver::steady::{SteadyOptions, solve};

const ZERO_C_IN_K: f64 = 273.15;
const SIDE_M: f64 = 12e-3;
const POWER_W: f64 = 60.0;
const HTC_W_M2K: f64 = 9000.0;

/// One die that covers its substrate wholly: heat can only go straight up or straight down, so the
/// answer is known.
fn module() -> Result<Module, Box<dyn Error>> {
    let solid = |name: &str| -> Result<_, Box<dyn Error>> {
        Ok(Arc::new(solids::by_name(name).ok_or(format!("no solid {name}"))?))
    };
    // Silicon's conductivity follows temperature, which a sum by hand does not.
    let constant = Arc::new(Material {
        name: "test silicon".to_owned(),
        conductivity_W_mK: [120.0; 3],
        law: TemperatureLaw::Constant,
        density_kg_m3: None,
        specific_heat_J_kgK: None,
        source: "stated".to_owned(),
    });
    let whole = Rect { x0_m: 0.0, y0_m: 0.0, x1_m: SIDE_M, y1_m: SIDE_M };
    Ok(Module {
        title: "A die as large as its substrate".to_owned(),
        size_m: [SIDE_M, SIDE_M],
        layers: vec![Layer {
            name: "core".to_owned(),
            material: solid("alumina-96")?,
            thickness_m: 1.0e-3,
            slices: None,
        }],
        die: vec![Die {
            name: "P0".to_owned(),
            type_name: "processor".to_owned(),
            rect: whole,
            turn: Turn::None,
            thickness_m: 0.7e-3,
            material: constant,
            active_face: ActiveFace::Down,
            attach: Some(Attach { material: solid("underfilled-bumps")?, thickness_m: 80e-6 }),
            limit_K: Some(ZERO_C_IN_K + 600.0),
            power_W: POWER_W,
            blocks: Vec::new(),
            power_map: None,
        }],
        heaters: Vec::new(),
        coolant: Coolant { fluid: None, inlet_K: ZERO_C_IN_K + 25.0, pressure_Pa: 101_325.0 },
        spray: Spray::Prescribed(PrescribedSpray {
            base: PrescribedHtc::Uniform(HTC_W_M2K),
            patches: Vec::new(),
        }),
        board: BoardSide {
            temperature_K: ZERO_C_IN_K + 25.0,
            htc_W_m2K: 0.0,
            contacts: None,
            backing_plate: None,
        },
        edge: Edge { htc_W_m2K: 0.0, temperature_K: ZERO_C_IN_K + 25.0 },
        mesh: MeshControl { accuracy_K: 0.05, cell_m: None, max_cells: 4_000_000 },
    })
}

fn main() -> Result<(), Box<dyn Error>> {
    let module = module()?;
    let result = solve(&module, &SteadyOptions::default(), &mut |_| {})?;
    let junction = &result.junctions[0];
    let celsius = junction.max_K - ZERO_C_IN_K;
    println!("{}: {celsius:.3} ± {:.3} °C", junction.name, junction.uncertainty_K);
    println!("verdict: {}", junction.verdict().word());
    println!(
        "heat: {:.3} W in, {:.3} W to the spray, imbalance {:.1e}",
        result.balance.in_W,
        result.balance.to_spray_W,
        result.balance.imbalance_relative()
    );

    // By hand: the flux goes up through the die and into the spray, and nowhere else.
    let die = &module.die[0];
    let flux_W_m2 = POWER_W / die.rect.area_m2();
    let by_hand =
        flux_W_m2 * (die.thickness_m / die.material.conductivity_W_mK[2] + 1.0 / HTC_W_M2K);
    let rise_K = junction.max_K - module.coolant.inlet_K;
    println!("rise above the inlet: {rise_K:.4} K, by hand {by_hand:.4} K");
    if (rise_K - by_hand).abs() > junction.uncertainty_K + 1e-6 * by_hand {
        return Err("the solver and the sum of resistances disagree".into());
    }
    Ok(())
}
