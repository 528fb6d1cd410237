//! Conductivity that falls with temperature, against the Kirchhoff transform.

use std::sync::Arc;

use super::{Family, Outcomes};
use crate::check::Kind;
use crate::closed_form::RectSource;
use crate::closed_form::flux_channel::FluxChannel;
use crate::closed_form::kirchhoff::PowerLaw;
use crate::sources;
use crate::vehicle::{add_heater, solved, vehicle, whole};
use sprayside_solver::library::{Material, TemperatureLaw};
use sprayside_solver::module::Module;

const LAW: PowerLaw = PowerLaw { conductivity: 148.0, reference: 300.0, exponent: 1.3 };

fn with_law(mut module: Module) -> Module {
    let constant = module.layers[0].material.clone();
    module.layers[0].material = Arc::new(Material {
        law: TemperatureLaw::Power { exponent: LAW.exponent, reference_K: LAW.reference },
        ..(*constant).clone()
    });
    module
}

/// A slab and a flux channel of k = 148 (T/300 K)^-1.3 W/(m·K) whose lower face is held.
pub fn silicon() -> Outcomes {
    const FAMILY: Family = Family { kind: Kind::Analytic, source: &sources::KIRCHHOFF, unit: "K" };
    let mut outcomes = Vec::new();
    let (size, held, cold) = ([12e-3, 9e-3], 1e9, 330.0);
    for (thickness, flux) in [(0.5e-3, 5.0332e6), (2e-3, 6.0e6)] {
        let mut module = with_law(vehicle(size, &[(thickness, [LAW.conductivity; 3])], held, 0.0));
        module.board.temperature_K = cold;
        add_heater(&mut module, 1, &whole(size), flux * size[0] * size[1]);
        let result = solved(&module)?;
        let junction = &result.junctions[0];
        let face = cold + flux / held;
        outcomes.push(FAMILY.outcome(
            &format!("slab of {} mm with k(T), {:.3e} W/m²", thickness * 1e3, flux),
            "hot face",
            "transform of a power law",
            [LAW.temperature(face, flux * thickness / LAW.conductivity), 1e-6],
            [junction.max_K, junction.uncertainty_K],
        ));
    }
    let (thickness, power) = (1e-3, 120.0);
    let channel = FluxChannel {
        a: size[0],
        b: size[1],
        thickness,
        conductivity: LAW.conductivity,
        htc: held,
        terms: 1500,
    };
    let source = RectSource { x: 6e-3, y: 4.5e-3, width: 3e-3, height: 3e-3 };
    let mut module = with_law(vehicle(size, &[(thickness, [LAW.conductivity; 3])], held, 0.0));
    module.board.temperature_K = cold;
    add_heater(&mut module, 1, &source, power);
    let result = solved(&module)?;
    let junction = &result.junctions[0];
    let linear = channel.own_centre(power, &source);
    // The transform is exact for a held face; here the film of 1e9 W/(m²·K) drops some mK.
    let film = power / (source.width * source.height) / held;
    // The linear rise is that of a body whose conductivity at the cold face is k(cold).
    let at_cold = LAW.temperature(cold, linear);
    outcomes.push(FAMILY.outcome(
        "3 mm source on 1 mm with k(T), lower face held",
        "highest junction temperature",
        "transform applied to the flux channel",
        [at_cold, 2.0 * film + 1e-4],
        [junction.max_K, junction.uncertainty_K],
    ));
    Ok(outcomes)
}
