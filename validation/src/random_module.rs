//! Modules drawn at random from what packages look like: one to four layers, one to eight die of
//! any size, attach or none, blocks or a power map, heaters, patches, cooled edges.

use std::sync::Arc;

use sprayside_solver::library::{Material, TemperatureLaw, fluids};
use sprayside_solver::module::{
    ActiveFace, Attach, BoardSide, Coolant, CorrelatedSpray, Die, Edge, Face, GridMap, Heater,
    HtcPatch, Layer, MeshControl, Module, Nozzle, PowerBlock, PrescribedHtc, PrescribedSpray, Rect,
    Spray, Turn,
};

/// SplitMix64: small, seeded, the same everywhere. G. L. Steele, D. Lea, C. H. Flood, Fast
/// splittable pseudorandom number generators, OOPSLA 2014 (from memory).
pub struct Random(u64);

impl Random {
    /// A generator for one seed.
    pub fn new(seed: u64) -> Self {
        Random(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform in [0, 1).
    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    fn uniform(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Uniform in the logarithm.
    fn log_uniform(&mut self, low: f64, high: f64) -> f64 {
        self.uniform(low.ln(), high.ln()).exp()
    }

    fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    fn below(&mut self, n: usize) -> usize {
        ((self.unit() * n as f64) as usize).min(n - 1)
    }
}

/// On a grid of 10 µm, as drawings are.
fn drawn(length_m: f64) -> f64 {
    (length_m * 1e5).round() * 1e-5
}

fn material(conductivity: [f64; 3], law: TemperatureLaw) -> Arc<Material> {
    Arc::new(Material {
        name: "random".to_owned(),
        conductivity_W_mK: conductivity,
        law,
        density_kg_m3: None,
        specific_heat_J_kgK: None,
        source: "drawn at random".to_owned(),
    })
}

fn layer_material(random: &mut Random) -> Arc<Material> {
    let k = match random.below(6) {
        0 => [22.0; 3],
        1 => [170.0; 3],
        2 => [45.0, 45.0, 6.0],
        3 => [18.0, 18.0, 0.4],
        4 => [390.0; 3],
        _ => {
            let k = random.log_uniform(1.0, 200.0);
            [k, k * random.uniform(0.6, 1.0), k * random.log_uniform(0.1, 1.0)]
        }
    };
    material(k, TemperatureLaw::Constant)
}

fn rect_inside(random: &mut Random, outer: &Rect, share: [f64; 2]) -> Rect {
    let width = drawn(outer.width_m() * random.uniform(share[0], share[1]));
    let height = drawn(outer.height_m() * random.uniform(share[0], share[1]));
    let x0_m = outer.x0_m + drawn(random.unit() * (outer.width_m() - width));
    let y0_m = outer.y0_m + drawn(random.unit() * (outer.height_m() - height));
    Rect { x0_m, y0_m, x1_m: x0_m + width, y1_m: y0_m + height }
}

fn die(random: &mut Random, n: usize, rect: Rect) -> Die {
    let law = if random.chance(0.4) {
        TemperatureLaw::Power { exponent: 1.3, reference_K: 300.0 }
    } else {
        TemperatureLaw::Constant
    };
    let area_cm2 = rect.area_m2() * 1e4;
    let power_W = area_cm2 * random.log_uniform(3.0, 60.0);
    let mut blocks = Vec::new();
    let mut power_map = None;
    match random.below(4) {
        0 => {
            let block = rect_inside(random, &rect, [0.15, 0.5]);
            let share = block.area_m2() / rect.area_m2() * random.uniform(1.0, 3.5);
            blocks.push(PowerBlock {
                name: "block".to_owned(),
                rect: block,
                power_W: power_W * share.min(0.9),
            });
        }
        1 => {
            let (nx, ny) = (2 + random.below(6), 2 + random.below(6));
            let values = (0..nx * ny).map(|_| random.log_uniform(0.3, 3.0)).collect();
            power_map = Some(GridMap { rect, nx, ny, values });
        }
        _ => {}
    }
    Die {
        name: format!("D{n}"),
        type_name: "random".to_owned(),
        rect,
        turn: Turn::None,
        thickness_m: random.uniform(0.1e-3, 0.8e-3),
        material: material([random.uniform(100.0, 150.0); 3], law),
        active_face: if random.chance(0.75) { ActiveFace::Down } else { ActiveFace::Up },
        attach: random.chance(0.8).then(|| Attach {
            thickness_m: random.uniform(0.02e-3, 0.15e-3),
            material: material([random.log_uniform(0.5, 60.0); 3], TemperatureLaw::Constant),
        }),
        limit_K: None,
        power_W,
        blocks,
        power_map,
    }
}

/// The module of one seed.
pub fn random_module(seed: u64) -> Module {
    let random = &mut Random::new(seed);
    let size_m = [drawn(random.log_uniform(8e-3, 90e-3)), drawn(random.log_uniform(8e-3, 60e-3))];
    let outline = Rect { x0_m: 0.0, y0_m: 0.0, x1_m: size_m[0], y1_m: size_m[1] };
    let layers = (0..1 + random.below(4))
        .map(|n| Layer {
            name: format!("L{n}"),
            material: layer_material(random),
            thickness_m: random.log_uniform(0.05e-3, 2.5e-3),
            slices: None,
        })
        .collect::<Vec<Layer>>();
    let mut footprints: Vec<Rect> = Vec::new();
    let wanted = 1 + random.below(8);
    for _ in 0..200 {
        if footprints.len() == wanted {
            break;
        }
        let rect = rect_inside(random, &outline, [0.08, 0.45]);
        if rect.width_m() > 1e-3
            && rect.height_m() > 1e-3
            && footprints.iter().all(|other| !rect.overlaps(other, -0.2e-3))
        {
            footprints.push(rect);
        }
    }
    let die: Vec<Die> =
        footprints.into_iter().enumerate().map(|(n, rect)| die(random, n + 1, rect)).collect();
    let heaters = if die.is_empty() || random.chance(0.2) {
        let rect = rect_inside(random, &outline, [0.1, 0.4]);
        vec![Heater {
            name: "H1".to_owned(),
            layer: random.below(layers.len()),
            face: if random.chance(0.5) { Face::Top } else { Face::Bottom },
            rect,
            power_W: rect.area_m2() * 1e4 * random.log_uniform(1.0, 20.0),
            limit_K: None,
        }]
    } else {
        Vec::new()
    };
    let patches = (0..random.below(4))
        .map(|_| HtcPatch {
            rect: rect_inside(random, &outline, [0.1, 0.6]),
            htc_W_m2K: random.log_uniform(1000.0, 25_000.0),
        })
        .collect();
    Module {
        title: format!("random {seed}"),
        size_m,
        layers,
        die,
        heaters,
        coolant: Coolant { fluid: None, inlet_K: 298.15, pressure_Pa: 101_325.0 },
        spray: Spray::Prescribed(PrescribedSpray {
            base: PrescribedHtc::Uniform(random.log_uniform(2000.0, 20_000.0)),
            patches,
        }),
        board: BoardSide {
            temperature_K: random.uniform(293.0, 323.0),
            htc_W_m2K: random.log_uniform(5.0, 2000.0),
            contacts: None,
            backing_plate: None,
        },
        edge: Edge {
            htc_W_m2K: if random.chance(0.3) { random.log_uniform(10.0, 2000.0) } else { 0.0 },
            temperature_K: 308.15,
        },
        mesh: MeshControl { accuracy_K: 0.1, cell_m: None, max_cells: 3_000_000 },
    }
}

/// Nozzles above one source: one to three each way, aimed with a little error.
fn nozzles_above(random: &mut Random, name: &str, rect: &Rect, nozzles: &mut Vec<Nozzle>) {
    let rows = [rect.width_m(), rect.height_m()]
        .map(|length_m| ((length_m / random.uniform(5e-3, 12e-3)).ceil() as usize).clamp(1, 3));
    let standoff_m = random.uniform(5e-3, 12e-3);
    let cone_rad = random.uniform(30.0, 60.0_f64).to_radians();
    let flow_m3_s = random.log_uniform(0.3e-6, 1.5e-6);
    for j in 0..rows[1] {
        for i in 0..rows[0] {
            let along = |low: f64, length_m: f64, n: usize, of: usize, off: f64| {
                low + length_m * ((n as f64 + 0.5) / of as f64) + off
            };
            nozzles.push(Nozzle {
                name: format!("{name}-{i}-{j}"),
                type_name: "random".to_owned(),
                at_m: [
                    along(rect.x0_m, rect.width_m(), i, rows[0], random.uniform(-0.5e-3, 0.5e-3)),
                    along(rect.y0_m, rect.height_m(), j, rows[1], random.uniform(-0.5e-3, 0.5e-3)),
                ],
                standoff_m,
                tilt_rad: [0.0, random.uniform(0.0, 10.0_f64).to_radians()],
                cone_rad,
                orifice_m: 0.4e-3,
                flow_m3_s,
                pressure_drop_Pa: 2e5,
                flow_factor: 1.0,
            });
        }
    }
}

/// The module of one seed cooled by nozzles, single-phase or boiling, instead of stated
/// coefficients; powers as its liquid can carry away.
pub fn sprayed_module(seed: u64) -> Module {
    let mut module = random_module(seed);
    let random = &mut Random::new(seed ^ 0x5eed);
    let (fluid, powers) = match random.below(3) {
        0 => ("water", 1.5),
        1 => ("methanol", 0.8),
        _ => ("perfluorohexane", 0.3),
    };
    for die in &mut module.die {
        die.power_W *= powers;
        die.blocks.iter_mut().for_each(|block| block.power_W *= powers);
    }
    module.heaters.iter_mut().for_each(|heater| heater.power_W *= powers);
    let mut nozzles = Vec::new();
    let names = module.die.iter().map(|d| (&d.name, &d.rect));
    for (name, rect) in names.chain(module.heaters.iter().map(|h| (&h.name, &h.rect))) {
        nozzles_above(random, name, rect, &mut nozzles);
    }
    module.coolant.fluid = fluids::by_name(fluid).map(Arc::new);
    module.spray = Spray::Correlated(CorrelatedSpray {
        nozzles,
        unwetted_htc_W_m2K: random.log_uniform(50.0, 500.0),
        coefficient_factor: 1.0,
        exit_quality_max: 0.3,
        modules_in_system: 1,
        facility_water_rise_K: 10.0,
        room_air_rise_K: 15.0,
    });
    module
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_seed_gives_one_module_and_another_seed_another() {
        let (a, b) = (random_module(7301), random_module(7301));
        assert_eq!(format!("{a:?}"), format!("{b:?}"));
        assert_ne!(format!("{a:?}"), format!("{:?}", random_module(7302)));
    }

    #[test]
    fn modules_are_sound() {
        for seed in 7000..7300 {
            let module = random_module(seed);
            assert!(!module.die.is_empty() || !module.heaters.is_empty(), "{seed}");
            for (n, die) in module.die.iter().enumerate() {
                assert!(module.outline().contains(&die.rect, 1e-9), "{seed}: {die:?}");
                for other in &module.die[..n] {
                    assert!(!die.rect.overlaps(&other.rect, 1e-9), "{seed}");
                }
                for block in &die.blocks {
                    assert!(die.rect.contains(&block.rect, 1e-9), "{seed}: {die:?}");
                    assert!(block.power_W < die.power_W, "{seed}");
                }
            }
        }
    }
}
