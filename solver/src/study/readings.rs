//! What is read off each source's active face, and how its watts lie on it.

use crate::conduction::Network;
use crate::results::{face_statistics, peak_weights};
use crate::steady::GridSolution;

/// The readings of one source, as weights on the cells of its active face, row by row.
#[derive(Debug, Clone)]
pub struct Readings {
    /// Name of the die or heater.
    pub name: String,
    /// Highest temperature in the solution, K above the inlet.
    pub max_rise_K: f64,
    /// Mean temperature, K above the inlet.
    pub mean_rise_K: f64,
    /// Where the highest lies, m.
    pub at_m: [f64; 2],
    /// Weights whose sum of products is the highest temperature. Where the hot spot moves with a
    /// small change its temperature does not, to first order: the weights hold.
    pub max_weights: Vec<f64>,
    /// Weights of the area mean.
    pub mean_weights: Vec<f64>,
    /// Share of each cell in a watt of the source.
    pub pattern: Vec<f64>,
    /// Whether a watt lies evenly over the face: then mean over the face and watt on the face
    /// are the same weights, and mean resistances are symmetric.
    pub even: bool,
}

/// The readings of every source, die in case order, then heaters.
pub fn readings(network: &Network, solution: &GridSolution) -> Vec<Readings> {
    let module = network.module;
    let names = module.die.iter().map(|d| &d.name).chain(module.heaters.iter().map(|h| &h.name));
    let statistics = face_statistics(network, solution);
    names
        .zip(&network.sources)
        .zip(statistics)
        .enumerate()
        .map(|(k, ((name, source), s))| {
            let nx = source.cells.nx();
            let areas: Vec<f64> = (0..source.cells.len())
                .map(|c| network.cell_area_m2(source.cells.i0 + c % nx, source.cells.j0 + c / nx))
                .collect();
            let area: f64 = areas.iter().sum();
            let mean_weights: Vec<f64> = areas.iter().map(|a| a / area).collect();
            let pattern = pattern(network, k, &mean_weights);
            let even = pattern.iter().zip(&mean_weights).all(|(p, m)| (p - m).abs() <= 1e-9 * m);
            Readings {
                name: name.clone(),
                max_rise_K: s.max_K,
                mean_rise_K: s.mean_K,
                at_m: s.at_m,
                max_weights: peak_weights(network, source, &s),
                mean_weights,
                pattern,
                even,
            }
        })
        .collect()
}

/// How a watt more lies on the face: as the watts that are there do; on a source without power
/// as its map says, or evenly.
fn pattern(network: &Network, source: usize, even: &[f64]) -> Vec<f64> {
    let heat = &network.sources[source].heat_W;
    let power: f64 = heat.iter().sum();
    if power > 0.0 {
        return heat.iter().map(|q| q / power).collect();
    }
    let cells = network.sources[source].cells;
    match network.module.die.get(source).and_then(|die| die.power_map.as_ref()) {
        None => even.to_vec(),
        Some(map) => {
            let total = map.total();
            (0..cells.len())
                .map(|c| {
                    let (i, j) = (cells.i0 + c % cells.nx(), cells.j0 + c / cells.nx());
                    map.integral_over(&network.mesh.plane.cell(i, j)) / total
                })
                .collect()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{prescribed, solved, symmetric, with_nozzles};
    use super::*;
    use crate::conduction::faces::source_rises;

    #[test]
    fn weighted_sums_are_the_reported_temperatures() {
        for module in [prescribed(), with_nozzles(), symmetric()] {
            let solution = solved(&module);
            let network = Network::new(&module, &solution.mesh);
            for (reading, source) in readings(&network, &solution).iter().zip(&network.sources) {
                let factors = solution.factors.as_deref();
                let rises =
                    source_rises(&network, factors, source, &solution.rise_K, &solution.wet);
                let sum = |weights: &[f64]| -> f64 {
                    rises.iter().zip(weights).map(|(r, w)| r * w).sum()
                };
                let name = &reading.name;
                assert!((sum(&reading.max_weights) - reading.max_rise_K).abs() < 1e-10, "{name}");
                assert!((sum(&reading.mean_weights) - reading.mean_rise_K).abs() < 1e-10, "{name}");
                assert!((reading.pattern.iter().sum::<f64>() - 1.0).abs() < 1e-12, "{name}");
            }
        }
    }

    #[test]
    fn watts_of_a_source_without_power_lie_evenly_or_as_its_map_says() {
        let mut module = prescribed();
        module.die[1].power_W = 0.0;
        module.die[2].power_W = 0.0;
        let rect = module.die[2].rect;
        let values = vec![1.0, 0.0];
        module.die[2].power_map = Some(crate::module::GridMap { rect, nx: 2, ny: 1, values });
        let solution = solved(&module);
        let network = Network::new(&module, &solution.mesh);
        let all = readings(&network, &solution);
        assert!(all[1].even && !all[0].even && !all[2].even);
        let cells = network.sources[2].cells;
        let middle = rect.centre_m()[0];
        for (c, share) in all[2].pattern.iter().enumerate() {
            let cell =
                network.mesh.plane.cell(cells.i0 + c % cells.nx(), cells.j0 + c / cells.nx());
            if cell.x0_m >= middle - 1e-12 {
                assert!(share.abs() < 1e-15);
            } else if cell.x1_m <= middle + 1e-12 {
                assert!((share - 2.0 * cell.area_m2() / rect.area_m2()).abs() < 1e-12);
            }
        }
    }
}
