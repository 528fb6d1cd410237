//! Channels of several layers.

use super::{Family, Outcomes};
use crate::check::Kind;
use crate::closed_form::RectSource;
use crate::closed_form::compound_channel::{ChannelLayer, CompoundChannel, Target};
use crate::sources;
use crate::vehicle::{AMBIENT_K, add_heater, solved, vehicle};

const TERMS: usize = 1200;
/// Truncation of the double series at `TERMS`, relative.
const TRUNCATION: f64 = 2e-5;

fn module_of(channel: &CompoundChannel) -> sprayside_solver::module::Module {
    let layers: Vec<(f64, [f64; 3])> =
        channel.layers.iter().map(|l| (l.thickness, l.conductivity)).collect();
    vehicle(channel.size, &layers, channel.htc_below, channel.htc_above)
}

/// A spreader on a ceramic and a thin oxide on a conductor, cooled below.
pub fn two_layers() -> Outcomes {
    const FAMILY: Family =
        Family { kind: Kind::Analytic, source: &sources::COMPOUND_CHANNEL, unit: "K" };
    let mut outcomes = Vec::new();
    let source = RectSource { x: 12.5e-3, y: 10e-3, width: 6e-3, height: 5e-3 };
    for (name, lower, upper, htc, power) in [
        ("spreader 150 on 20 W/(m·K)", (1.5e-3, 20.0), (1.0e-3, 150.0), 3000.0, 30.0),
        ("film 2 on 180 W/(m·K)", (1.0e-3, 180.0), (0.1e-3, 2.0), 5000.0, 25.0),
    ] {
        let channel = CompoundChannel {
            size: [25e-3, 20e-3],
            layers: vec![
                ChannelLayer::isotropic(lower.0, lower.1),
                ChannelLayer::isotropic(upper.0, upper.1),
            ],
            htc_below: htc,
            htc_above: 0.0,
            terms: TERMS,
        };
        let mut module = module_of(&channel);
        add_heater(&mut module, 2, &source, power);
        let result = solved(&module)?;
        let junction = &result.junctions[0];
        let at = |rect| Target { interface: 2, rect };
        let expected = channel.rises(
            power,
            2,
            &source,
            &[at(source), at(RectSource::point(source.x, source.y))],
        );
        let case = format!("two layers, {name}");
        outcomes.push(FAMILY.outcome(
            &case,
            "mean rise of the source",
            "spreading function of two layers",
            [expected[0], TRUNCATION * expected[0]],
            [junction.mean_K - AMBIENT_K, junction.uncertainty_K],
        ));
        outcomes.push(FAMILY.outcome(
            &case,
            "highest rise of the source",
            "spreading function of two layers, centre",
            [expected[1], TRUNCATION * expected[1]],
            [junction.max_K - AMBIENT_K, junction.uncertainty_K],
        ));
    }
    Ok(outcomes)
}

/// Five orthotropic layers cooled on both sides, the source between two of them.
pub fn buried_source() -> Outcomes {
    const FAMILY: Family =
        Family { kind: Kind::Analytic, source: &sources::FOURIER_PACKAGE, unit: "K" };
    let mut outcomes = Vec::new();
    let layer = |thickness, conductivity| ChannelLayer { thickness, conductivity };
    let channel = CompoundChannel {
        size: [24e-3, 18e-3],
        layers: vec![
            layer(0.8e-3, [16.0, 16.0, 0.4]),
            layer(0.1e-3, [8.0, 8.0, 8.0]),
            layer(1.0e-3, [45.0, 45.0, 6.0]),
            layer(0.08e-3, [0.8, 0.8, 5.0]),
            layer(0.6e-3, [140.0, 140.0, 140.0]),
        ],
        htc_below: 120.0,
        htc_above: 9000.0,
        terms: TERMS,
    };
    let source = RectSource { x: 9e-3, y: 10e-3, width: 7e-3, height: 6e-3 };
    for on in [4, 2] {
        let power = if on == 4 { 60.0 } else { 20.0 };
        let mut module = module_of(&channel);
        add_heater(&mut module, on, &source, power);
        let result = solved(&module)?;
        let junction = &result.junctions[0];
        let case = format!("five layers, source on interface {on}, cooled on both sides");
        let [x, y] = junction.hot_spot_m;
        let at = |rect| Target { interface: on, rect };
        let expected =
            channel.rises(power, on, &source, &[at(source), at(RectSource::point(x, y))]);
        outcomes.push(FAMILY.outcome(
            &case,
            "mean rise of the source",
            "modal recursion",
            [expected[0], TRUNCATION * expected[0]],
            [junction.mean_K - AMBIENT_K, junction.uncertainty_K],
        ));
        outcomes.push(FAMILY.outcome(
            &case,
            "highest rise, series at its place",
            "modal recursion",
            [expected[1], TRUNCATION * expected[1]],
            [junction.max_K - AMBIENT_K, junction.uncertainty_K],
        ));
    }
    Ok(outcomes)
}

/// Five sources of different size and power on two layers.
pub fn five_sources() -> Outcomes {
    const FAMILY: Family =
        Family { kind: Kind::Analytic, source: &sources::FOURIER_PACKAGE, unit: "K" };
    let channel = CompoundChannel {
        size: [60e-3, 45e-3],
        layers: vec![ChannelLayer::isotropic(1.5e-3, 170.0), ChannelLayer::isotropic(0.3e-3, 60.0)],
        htc_below: 200.0,
        htc_above: 6000.0,
        terms: TERMS,
    };
    let sources_and_powers = [
        (RectSource { x: 10e-3, y: 12e-3, width: 12e-3, height: 9e-3 }, 70.0),
        (RectSource { x: 30e-3, y: 10e-3, width: 4e-3, height: 6e-3 }, 20.0),
        (RectSource { x: 48e-3, y: 14e-3, width: 10e-3, height: 10e-3 }, 50.0),
        (RectSource { x: 18e-3, y: 33e-3, width: 8e-3, height: 14e-3 }, 45.0),
        (RectSource { x: 45e-3, y: 35e-3, width: 14e-3, height: 5e-3 }, 15.0),
    ];
    let mut module = module_of(&channel);
    for (source, power) in &sources_and_powers {
        add_heater(&mut module, 2, source, *power);
    }
    let result = solved(&module)?;
    let targets: Vec<Target> =
        sources_and_powers.iter().map(|(rect, _)| Target { interface: 2, rect: *rect }).collect();
    let mut expected = [0.0; 5];
    for (source, power) in &sources_and_powers {
        for (sum, rise) in expected.iter_mut().zip(channel.rises(*power, 2, source, &targets)) {
            *sum += rise;
        }
    }
    Ok(result
        .junctions
        .iter()
        .zip(expected)
        .map(|(junction, expected)| {
            FAMILY.outcome(
                "five sources on two layers",
                &format!("mean rise of {}", junction.name),
                "superposition of the modal recursion",
                [expected, TRUNCATION * expected],
                [junction.mean_K - AMBIENT_K, junction.uncertainty_K],
            )
        })
        .collect())
}
