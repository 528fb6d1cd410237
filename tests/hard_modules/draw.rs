//! The draw: a case as text, so that the reader has its say too.

use std::fmt::Write;

/// SplitMix64 (Steele, Lea and Flood 2014, "Fast splittable pseudorandom number generators"): the
/// same on every machine.
struct Random(u64);

impl Random {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Equally likely in every decade.
    fn decades(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }

    fn chance(&mut self, share: f64) -> bool {
        self.unit() < share
    }

    fn one_of<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[(self.unit() * choices.len() as f64) as usize]
    }
}

/// Conductivities that a case may state, W/(m·K): nearly a million apart.
const CONDUCTIVITY: [f64; 2] = [0.005, 3000.0];

/// The case of a seed.
pub fn case(seed: u64) -> String {
    let mut random = Random(seed.wrapping_mul(0x2545_f491_4f6c_dd1d));
    let mut text = format!("title = \"hard {seed}\"\n");
    let length = random.decades(2.0, 300.0);
    let width = if random.chance(0.15) {
        length / random.between(5.0, 100.0)
    } else {
        length * random.between(0.3, 1.0)
    };
    let size = [length, width.max(1.0)];
    let _ = writeln!(text, "[module]\nsize_mm = [{}, {}]", size[0], size[1]);
    let edge = random.chance(0.3);
    if edge {
        let _ = writeln!(text, "edge_htc_W_m2K = {}", random.decades(1e-3, 1e5));
    }
    let layers = 1 + (random.unit() * 4.0) as usize;
    for layer in 0..layers {
        let _ = writeln!(
            text,
            "[[module.layer]]\nname = \"L{layer}\"\nmaterial = \"m{layer}\"\nthickness_mm = {}",
            random.decades(1e-3, 10.0)
        );
    }
    for layer in 0..layers + 2 {
        let [low, high] = CONDUCTIVITY;
        let through = random.decades(low, high);
        // At times far better in the plane than through, or the other way round.
        let plane = if random.chance(0.3) { random.decades(low, high) } else { through };
        let _ = writeln!(
            text,
            "[material.m{layer}]\nconductivity_W_mK = [{plane}, {plane}, {through}]"
        );
    }
    die(&mut random, &mut text, size, layers);
    coolers(&mut random, &mut text, edge);
    if random.chance(0.5) {
        let _ = writeln!(text, "[mesh]\ncell_mm = {}\nmax_cells = 60000", size[0] / 12.0);
    } else {
        let _ = writeln!(text, "[mesh]\naccuracy_K = 50\nmax_cells = 60000");
    }
    text
}

/// Die in the fields of a raster, slivers among them, and their types.
fn die(random: &mut Random, text: &mut String, size: [f64; 2], layers: usize) {
    let count = match random.unit() {
        u if u < 0.02 => 180 + (random.unit() * 121.0) as usize,
        u if u < 0.15 => 10 + (random.unit() * 40.0) as usize,
        _ => 1 + (random.unit() * 8.0) as usize,
    };
    let columns = ((count as f64 * size[0] / size[1]).sqrt().ceil() as usize).clamp(1, count);
    let rows = count.div_ceil(columns);
    let field = [size[0] / columns as f64, size[1] / rows as f64];
    // A large raster shares its lines, or the grid alone would be beyond any bound.
    let types = if count > 20 { 1 } else { 1 + (random.unit() * 3.0) as usize };
    let mut footprints = Vec::new();
    for kind in 0..types {
        let mut side = field.map(|f| (f * random.between(0.3, 0.95)).clamp(0.05, 200.0));
        if random.chance(0.15) {
            side[0] = (side[0] / random.decades(3.0, 1000.0)).max(0.05);
        }
        footprints.push([side[0].min(0.99 * field[0]), side[1].min(0.99 * field[1])]);
        let material = match random.unit() {
            u if u < 0.5 => "silicon".to_owned(),
            _ => format!("m{layers}"),
        };
        let face = random.one_of(&["up", "down"]);
        let _ = writeln!(
            text,
            "[die_type.t{kind}]\nsize_mm = [{}, {}]\nthickness_mm = {}\nmaterial = \"{material}\"\n\
             active_face = \"{face}\"",
            footprints[kind][0],
            footprints[kind][1],
            random.decades(0.005, 3.0)
        );
        if random.chance(0.6) {
            let _ = writeln!(
                text,
                "attach = {{ material = \"m{}\", thickness_mm = {} }}",
                layers + 1,
                random.decades(0.0005, 1.0)
            );
        }
    }
    for index in 0..count {
        let kind = index % types;
        let [w, h] = footprints[kind];
        let corner = [index % columns, index / columns];
        let mut jitter = |axis: usize, side: f64| {
            let room = field[axis] - side;
            let share = if count > 20 { 0.5 } else { random.between(0.02, 0.98) };
            corner[axis] as f64 * field[axis] + share * room + 0.5 * side
        };
        let at = [jitter(0, w), jitter(1, h)];
        let power = if random.chance(0.1) { 0.0 } else { random.decades(1e-3, 100.0) };
        let _ = writeln!(
            text,
            "[[die]]\nname = \"D{index}\"\ntype = \"t{kind}\"\nat_mm = [{}, {}]\npower_W = {power}",
            at[0], at[1]
        );
    }
}

/// Spray, board and inlet; now and then almost nothing cools.
fn coolers(random: &mut Random, text: &mut String, edge: bool) {
    let inlet = random.between(-40.0, 90.0);
    let (spray, board) = match random.unit() {
        // Almost insulated.
        u if u < 0.1 => (random.decades(1e-4, 1e-1), 0.0),
        u if u < 0.2 => (0.0, random.decades(1e-4, 1e7)),
        u if u < 0.25 && edge => (0.0, 0.0),
        _ => (random.decades(1e-2, 1e7), random.decades(1e-2, 1e7)),
    };
    let _ = writeln!(
        text,
        "[coolant]\ninlet_C = {inlet}\n[spray]\nmodel = \"prescribed\"\nhtc_W_m2K = {spray}\n\
         [board]\ntemperature_C = {}\nhtc_W_m2K = {board}",
        random.between(-40.0, 90.0)
    );
}
