//! Random operators of the shape that modules have: a substrate of a few sheets, islands of
//! die on a grid that is snapped to their edges and graded between them, with conductivities,
//! thicknesses and coefficients drawn over many decades.

use sprayside_solver::conduction::{Block, Operator};

/// SplitMix64 (Steele, Lea & Flood 2014, OOPSLA, "Fast splittable pseudorandom number
/// generators"): small, and the same on every machine.
pub struct Random(pub u64);

impl Random {
    pub fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Equally likely in every decade.
    pub fn decades(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }

    pub fn index(&mut self, low: usize, past: usize) -> usize {
        low + ((past - low) as f64 * self.unit()) as usize
    }
}

/// What to draw.
#[derive(Debug, Clone, Copy)]
pub struct Recipe {
    /// Most die; they stand in the fields of a square raster.
    pub die: usize,
    /// Largest cell, m; the plate is 0.1 m square.
    pub cell_m: f64,
    /// Growth of neighbouring cells away from an edge.
    pub growth: f64,
    /// Ratio of the largest to the smallest conductivity.
    pub contrast: f64,
    /// Range of the coefficients, W/(m² K).
    pub htc: (f64, f64),
    /// Share of die that are fifty times narrower than their field.
    pub slivers: f64,
}

const SIDE_M: f64 = 0.1;

/// Draws one system; heat is released in the top sheets of the die.
pub fn random_module(seed: u64, recipe: &Recipe) -> (Operator, Vec<f64>) {
    let mut random = Random(seed);
    let per_side = (recipe.die as f64).sqrt().ceil() as usize;
    let pitch = SIDE_M / per_side as f64;
    let mut rectangles = Vec::new();
    for field in 0..recipe.die {
        let (a, b) = (field / per_side, field % per_side);
        let mut width = random.between(0.3, 0.9) * pitch;
        let height = random.between(0.3, 0.9) * pitch;
        if random.unit() < recipe.slivers {
            width = 0.02 * pitch;
        }
        let x = a as f64 * pitch + random.between(0.0, pitch - width);
        let y = b as f64 * pitch + random.between(0.0, pitch - height);
        rectangles.push([x, x + width, y, y + height]);
    }
    let cuts = |k: usize| rectangles.iter().flat_map(|r| [r[k], r[k + 1]]).collect::<Vec<_>>();
    let dx = graded_widths(&cuts(0), recipe.cell_m, recipe.growth);
    let dy = graded_widths(&cuts(2), recipe.cell_m, recipe.growth);
    let (x, y) = (edges(&dx), edges(&dy));
    let sheets = |random: &mut Random, most: usize| {
        (0..random.index(1, most + 1))
            .map(|_| {
                let spread = recipe.contrast.sqrt();
                (random.decades(10.0 / spread, 10.0 * spread), random.decades(1e-4, 2e-3))
            })
            .collect::<Vec<_>>()
    };
    let substrate = sheets(&mut random, 4);
    let board = random.decades(recipe.htc.0, recipe.htc.1);
    let spray = random.decades(recipe.htc.0, recipe.htc.1);
    let whole = [0, dx.len(), 0, dy.len()];
    let mut base = block(&dx, &dy, whole, &substrate, None);
    let mut blocks = Vec::new();
    let mut b = vec![0.0; base.len()];
    let top = (substrate.len() - 1) * dx.len() * dy.len();
    let half = |(k, t): (f64, f64)| 0.5 * t / k;
    for j in 0..dy.len() {
        for i in 0..dx.len() {
            let c = j * dx.len() + i;
            base.sink[c] += dx[i] * dy[j] / (1.0 / board + half(substrate[0]));
            base.sink[top + c] +=
                dx[i] * dy[j] / (1.0 / spray + half(substrate[substrate.len() - 1]));
        }
    }
    for r in rectangles {
        let range = [nearest(&x, r[0]), nearest(&x, r[1]), nearest(&y, r[2]), nearest(&y, r[3])];
        let [i0, i1, j0, j1] = range;
        let stack = sheets(&mut random, 3);
        let spray = random.decades(recipe.htc.0, recipe.htc.1);
        let mut island = block(&dx, &dy, range, &stack, Some(substrate[substrate.len() - 1]));
        let plane = (i1 - i0) * (j1 - j0);
        let hot = (stack.len() - 1) * plane;
        for j in j0..j1 {
            for i in i0..i1 {
                let under = j * dx.len() + i;
                // The die covers what the substrate lost to the spray there.
                base.sink[top + under] = 0.0;
                if substrate.len() == 1 {
                    base.sink[under] = dx[i] * dy[j] / (1.0 / board + half(substrate[0]));
                }
                island.sink[hot + (j - j0) * (i1 - i0) + i - i0] =
                    dx[i] * dy[j] / (1.0 / spray + half(stack[stack.len() - 1]));
            }
        }
        b.extend(std::iter::repeat_n(0.0, hot));
        let power = random.between(1.0, 100.0);
        let area = (r[1] - r[0]) * (r[3] - r[2]);
        for j in j0..j1 {
            b.extend((i0..i1).map(|i| power * dx[i] * dy[j] / area));
        }
        blocks.push(island);
    }
    blocks.insert(0, base);
    (Operator { dx_m: dx, dy_m: dy, blocks }, b)
}

/// Links of a block of uniform sheets (conductivity, thickness), and its seat on `under`.
fn block(
    dx: &[f64],
    dy: &[f64],
    [i0, i1, j0, j1]: [usize; 4],
    sheets: &[(f64, f64)],
    under: Option<(f64, f64)>,
) -> Block {
    let half = |(k, t): (f64, f64)| 0.5 * t / k;
    let (nx, ny) = (i1 - i0, j1 - j0);
    let mut block = Block::zeros(i0, j0, nx, ny, sheets.len(), under.is_some());
    for (l, &(k, t)) in sheets.iter().enumerate() {
        for j in 0..ny {
            for i in 0..nx {
                let c = (l * ny + j) * nx + i;
                let (gi, gj) = (i0 + i, j0 + j);
                if i + 1 < nx {
                    block.east[c] = k * t * dy[gj] / (0.5 * (dx[gi] + dx[gi + 1]));
                }
                if j + 1 < ny {
                    block.north[c] = k * t * dx[gi] / (0.5 * (dy[gj] + dy[gj + 1]));
                }
                let area = dx[gi] * dy[gj];
                if l + 1 < sheets.len() {
                    block.up[c] = area / (half((k, t)) + half(sheets[l + 1]));
                }
                if let (0, Some(under)) = (l, under) {
                    block.seat[c] = area / (half((k, t)) + half(under));
                }
            }
        }
    }
    block
}

fn edges(widths: &[f64]) -> Vec<f64> {
    let mut all = vec![0.0];
    for w in widths {
        all.push(all[all.len() - 1] + w);
    }
    all
}

fn nearest(edges: &[f64], at: f64) -> usize {
    let past = edges.partition_point(|&e| e < at);
    if past == 0 || (past < edges.len() && edges[past] - at < at - edges[past - 1]) {
        past
    } else {
        past - 1
    }
}

/// Cell widths of an axis cut at `cuts`: `largest` at most, each at most `growth` times its
/// neighbour within a gap.
pub fn graded_widths(cuts: &[f64], largest: f64, growth: f64) -> Vec<f64> {
    let mut lines = cuts.to_vec();
    lines.extend([0.0, SIDE_M]);
    lines.sort_by(f64::total_cmp);
    lines.dedup_by(|a, b| *a - *b < 1e-9);
    let gaps: Vec<f64> = lines.windows(2).map(|w| w[1] - w[0]).collect();
    let mut widths = Vec::new();
    for (k, &gap) in gaps.iter().enumerate() {
        // Start from the neighbouring gap's width where that is narrower than this one.
        let from = |neighbour: Option<&f64>| {
            neighbour.map_or(largest, |n| n.min(largest) * growth).min(largest).min(gap)
        };
        let mut left = from(if k > 0 { gaps.get(k - 1) } else { None });
        let mut right = from(gaps.get(k + 1));
        let (mut head, mut tail) = (Vec::new(), Vec::new());
        let mut rest = gap;
        while rest > 0.0 {
            let width = left.min(right);
            if width >= 0.999 * largest || rest <= 1.5 * width {
                let count = (rest / width).round().max(1.0);
                head.extend(std::iter::repeat_n(rest / count, count as usize));
                rest = 0.0;
            } else if left <= right {
                head.push(left);
                rest -= left;
                left = (left * growth).min(largest);
            } else {
                tail.push(right);
                rest -= right;
                right = (right * growth).min(largest);
            }
        }
        widths.extend(head);
        widths.extend(tail.into_iter().rev());
    }
    widths
}
