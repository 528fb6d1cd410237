//! A channel cooled through its side faces as well.

use super::{Family, Outcomes};
use crate::check::Kind;
use crate::closed_form::RectSource;
use crate::closed_form::edge_cooled_channel::EdgeCooledChannel;
use crate::sources;
use crate::vehicle::{AMBIENT_K, add_heater, solved, vehicle};

/// Weak and strong cooling of the four sides.
pub fn cooled_edges() -> Outcomes {
    const FAMILY: Family =
        Family { kind: Kind::Analytic, source: &sources::ROBIN_SERIES, unit: "K" };
    let mut outcomes = Vec::new();
    let source = RectSource { x: 8e-3, y: 9e-3, width: 7e-3, height: 5e-3 };
    for (htc_edge, power) in [(300.0, 12.0), (20_000.0, 20.0)] {
        let channel = EdgeCooledChannel {
            size: [24e-3, 16e-3],
            thickness: 2e-3,
            conductivity: [22.0, 22.0, 22.0],
            htc_below: 150.0,
            htc_above: 600.0,
            htc_edge,
            terms: 1500,
        };
        let mut module = vehicle(
            channel.size,
            &[(channel.thickness, channel.conductivity)],
            channel.htc_below,
            channel.htc_above,
        );
        module.edge.htc_W_m2K = htc_edge;
        add_heater(&mut module, 1, &source, power);
        let result = solved(&module)?;
        let junction = &result.junctions[0];
        let case = format!("cooled edges, {htc_edge} W/(m²·K)");
        let mean = channel.rise(power, &source, &source);
        outcomes.push(FAMILY.outcome(
            &case,
            "mean rise of the source",
            "double series of Robin eigenfunctions",
            [mean, 1e-5 * mean],
            [junction.mean_K - AMBIENT_K, junction.uncertainty_K],
        ));
        let [x, y] = junction.hot_spot_m;
        let there = channel.rise(power, &source, &RectSource::point(x, y));
        outcomes.push(FAMILY.outcome(
            &case,
            "highest rise, series at its place",
            "double series of Robin eigenfunctions",
            [there, 1e-4 * there],
            [junction.max_K - AMBIENT_K, junction.uncertainty_K],
        ));
    }
    Ok(outcomes)
}
