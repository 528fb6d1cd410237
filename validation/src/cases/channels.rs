//! Rectangular flux channels of one layer.

use super::{Family, Outcomes};
use sprayside_solver::results::Junction;

use crate::check::{Kind, Outcome};
use crate::closed_form::RectSource;
use crate::closed_form::flux_channel::FluxChannel;
use crate::closed_form::stretched_channel::StretchedChannel;
use crate::sources;
use crate::vehicle::{AMBIENT_K, add_heater, solved, vehicle};

const TERMS: usize = 1500;
/// Truncation of the double series at `TERMS`, relative: twice the change from half as many.
const TRUNCATION: f64 = 4e-6;

const ECCENTRIC: Family =
    Family { kind: Kind::Analytic, source: &sources::ECCENTRIC_CHANNEL, unit: "K" };

fn channel(htc: f64) -> FluxChannel {
    FluxChannel { a: 40e-3, b: 30e-3, thickness: 2e-3, conductivity: 22.0, htc, terms: TERMS }
}

fn module_of(channel: &FluxChannel) -> sprayside_solver::module::Module {
    vehicle(
        [channel.a, channel.b],
        &[(channel.thickness, [channel.conductivity; 3])],
        channel.htc,
        0.0,
    )
}

/// The mean rise of a source of `power` W against its series.
fn mean_of(
    channel: &FluxChannel,
    power: f64,
    source: &RectSource,
    case: &str,
    junction: &Junction,
) -> Outcome {
    let mean = channel.own_mean(power, source);
    ECCENTRIC.outcome(
        case,
        "mean rise of the source",
        "series for the mean",
        [mean, TRUNCATION * mean],
        [junction.mean_K - AMBIENT_K, junction.uncertainty_K],
    )
}

/// A central 10 × 8 mm source on 40 × 30 × 2 mm of 22 W/(m·K), Biot numbers h t/k 0.01 to 10.
pub fn central_sources() -> Outcomes {
    let mut outcomes = Vec::new();
    let source = RectSource { x: 20e-3, y: 15e-3, width: 10e-3, height: 8e-3 };
    for (biot, power) in [(0.01, 6.0), (0.1, 25.0), (1.0, 60.0), (10.0, 90.0)] {
        let channel = channel(biot * 22.0 / 2e-3);
        let mut module = module_of(&channel);
        add_heater(&mut module, 1, &source, power);
        let result = solved(&module)?;
        let junction = &result.junctions[0];
        let case = format!("central source on a channel, Bi {biot}");
        outcomes.push(mean_of(&channel, power, &source, &case, junction));
        let centre = channel.own_centre(power, &source);
        outcomes.push(ECCENTRIC.outcome(
            &case,
            "highest rise of the source",
            "series for the centre",
            [centre, TRUNCATION * centre],
            [junction.max_K - AMBIENT_K, junction.uncertainty_K],
        ));
    }
    Ok(outcomes)
}

/// A source off the centre and one in a corner.
pub fn eccentric_sources() -> Outcomes {
    let mut outcomes = Vec::new();
    for (name, source, biot, power) in [
        ("off-centre", RectSource { x: 11e-3, y: 19e-3, width: 7e-3, height: 5e-3 }, 0.1, 20.0),
        ("corner", RectSource { x: 3e-3, y: 2e-3, width: 6e-3, height: 4e-3 }, 1.0, 20.0),
    ] {
        let channel = channel(biot * 22.0 / 2e-3);
        let mut module = module_of(&channel);
        add_heater(&mut module, 1, &source, power);
        let result = solved(&module)?;
        let junction = &result.junctions[0];
        let case = format!("{name} source on a channel, Bi {biot}");
        outcomes.push(mean_of(&channel, power, &source, &case, junction));
        let [x, y] = junction.hot_spot_m;
        let there = channel.rise(power, &source, &RectSource::point(x, y));
        outcomes.push(ECCENTRIC.outcome(
            &case,
            "highest rise, series at its place",
            "field on the source's face",
            [there, 10.0 * TRUNCATION * there],
            [junction.max_K - AMBIENT_K, junction.uncertainty_K],
        ));
    }
    Ok(outcomes)
}

/// What one source does to another that has no power, both ways.
pub fn influence() -> Outcomes {
    let mut outcomes = Vec::new();
    let channel = channel(0.1 * 22.0 / 2e-3);
    let one = RectSource { x: 9e-3, y: 10e-3, width: 6e-3, height: 8e-3 };
    let two = RectSource { x: 27e-3, y: 18e-3, width: 10e-3, height: 5e-3 };
    for (case, powers, target) in [
        ("influence of source 1 on source 2", [40.0, 0.0], 1),
        ("influence of source 2 on source 1", [0.0, 40.0], 0),
    ] {
        let mut module = module_of(&channel);
        add_heater(&mut module, 1, &one, powers[0]);
        add_heater(&mut module, 1, &two, powers[1]);
        let result = solved(&module)?;
        let junction = &result.junctions[target];
        let mean = channel.rise(40.0, &one, &two);
        outcomes.push(ECCENTRIC.outcome(
            case,
            "mean rise of the unpowered source",
            "influence coefficient",
            [mean, TRUNCATION * mean],
            [junction.mean_K - AMBIENT_K, junction.uncertainty_K],
        ));
    }
    Ok(outcomes)
}

/// Orthotropic layers against stretched coordinates: a wired ceramic and a laminate.
pub fn orthotropic() -> Outcomes {
    const FAMILY: Family =
        Family { kind: Kind::Analytic, source: &sources::ORTHOTROPIC_CHANNEL, unit: "K" };
    let mut outcomes = Vec::new();
    let source = RectSource { x: 13e-3, y: 9e-3, width: 8e-3, height: 6e-3 };
    for (name, thickness, conductivity, htc, power) in [
        ("60/18/5 W/(m·K) ceramic", 1.6e-3, [60.0, 18.0, 5.0], 1500.0, 20.0),
        ("18/18/0.3 W/(m·K) laminate", 1.6e-3, [18.0, 18.0, 0.3], 1500.0, 4.0),
        ("2/40/20 W/(m·K) layer", 1.0e-3, [2.0, 40.0, 20.0], 800.0, 6.0),
    ] {
        let stretched =
            StretchedChannel { size: [30e-3, 22e-3], thickness, conductivity, htc, terms: TERMS };
        let mut module = vehicle(stretched.size, &[(thickness, conductivity)], htc, 0.0);
        add_heater(&mut module, 1, &source, power);
        let result = solved(&module)?;
        let junction = &result.junctions[0];
        let mean = stretched.rise(power, &source, &source);
        outcomes.push(FAMILY.outcome(
            &format!("orthotropic channel, {name}"),
            "mean rise of the source",
            "stretched coordinates",
            [mean, 5.0 * TRUNCATION * mean],
            [junction.mean_K - AMBIENT_K, junction.uncertainty_K],
        ));
        let [x, y] = junction.hot_spot_m;
        let there = stretched.rise(power, &source, &RectSource::point(x, y));
        outcomes.push(FAMILY.outcome(
            &format!("orthotropic channel, {name}"),
            "highest rise, series at its place",
            "stretched coordinates",
            [there, 20.0 * TRUNCATION * there],
            [junction.max_K - AMBIENT_K, junction.uncertainty_K],
        ));
    }
    Ok(outcomes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_stated_truncation_covers_the_change_from_half_as_many_terms() {
        let source = RectSource { x: 3e-3, y: 2e-3, width: 6e-3, height: 4e-3 };
        let full = channel(1100.0);
        let half = FluxChannel { terms: TERMS / 2, ..full };
        let (a, b) = (full.own_mean(1.0, &source), half.own_mean(1.0, &source));
        assert!((a - b).abs() * 2.0 < TRUNCATION * a, "{}", (a - b).abs() / a);
        let point = RectSource::point(2.1e-3, 1.3e-3);
        let (a, b) = (full.rise(1.0, &source, &point), half.rise(1.0, &source, &point));
        assert!((a - b).abs() * 2.0 < 10.0 * TRUNCATION * a, "{}", (a - b).abs() / a);
    }
}
