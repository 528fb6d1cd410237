//! The operators that the linear solver is measured on: a plate of 0.1 m by 0.1 m in n x n
//! equal cells with eight die on it, once as one sheet (family A), once as two sheets with
//! attach and die on top as islands (family B).
//!
//! Die (a, b), a in 0..4 and b in 0..2, has its centre at (12.5 + 25 a, 30 + 40 b) mm and
//! 15 x 15 mm where a + b is even, else 10 x 14 mm; a cell is in a die when its centre is.
//! An even die releases 100 W, an odd one 40 W. Coolant and board are at 0, edges adiabatic.

use sprayside_solver::conduction::{Block, Operator};

/// Side of the plate, m.
const SIDE_M: f64 = 0.1;
/// Coefficients, W/(m² K): spray on cells in a die, spray elsewhere, board.
const SPRAY_ON_DIE: f64 = 12_000.0;
const SPRAY_ELSEWHERE: f64 = 3_000.0;
const BOARD: f64 = 150.0;

/// One system to solve, and what is needed to read its answer.
pub struct Problem {
    pub name: String,
    pub operator: Operator,
    pub b: Vec<f64>,
    /// For each die in the order a = 0 with b = 0, 1, then a = 1: the unknowns that release
    /// its heat.
    pub die: Vec<Vec<usize>>,
    /// Conductance of each unknown to the coolant and to the board, W/K.
    pub to_coolant: Vec<f64>,
    pub to_board: Vec<f64>,
}

/// What the reference answers are stated in.
#[derive(Debug)]
pub struct Answer {
    pub maximum_K: f64,
    pub die_mean_K: Vec<f64>,
    pub to_coolant_W: f64,
    pub to_board_W: f64,
}

impl Problem {
    pub fn read(&self, x: &[f64]) -> Answer {
        let product = |g: &[f64]| g.iter().zip(x).map(|(g, x)| g * x).sum();
        Answer {
            maximum_K: x.iter().copied().fold(f64::NEG_INFINITY, f64::max),
            die_mean_K: self
                .die
                .iter()
                .map(|cells| cells.iter().map(|&c| x[c]).sum::<f64>() / cells.len() as f64)
                .collect(),
            to_coolant_W: product(&self.to_coolant),
            to_board_W: product(&self.to_board),
        }
    }
}

/// Columns and rows (i0, i1, j0, j1) of each die, and its power in W.
fn die(n: usize) -> Vec<([usize; 4], f64)> {
    let cell = SIDE_M / n as f64;
    // Cells whose centre (k + 1/2) cell lies within half a width of the die's centre.
    let inside = |centre: f64, width: f64| {
        let in_die = |k: &usize| ((*k as f64 + 0.5) * cell - centre).abs() < 0.5 * width;
        let first = (0..n).find(in_die).unwrap_or(0);
        let past = first + (first..n).take_while(in_die).count();
        (first, past)
    };
    let mut all = Vec::new();
    for a in 0..4 {
        for b in 0..2 {
            let even = (a + b) % 2 == 0;
            let (width, height, power) =
                if even { (15e-3, 15e-3, 100.0) } else { (10e-3, 14e-3, 40.0) };
            let (i0, i1) = inside((12.5 + 25.0 * a as f64) * 1e-3, width);
            let (j0, j1) = inside((30.0 + 40.0 * b as f64) * 1e-3, height);
            all.push(([i0, i1, j0, j1], power));
        }
    }
    all
}

/// One sheet: k t = 0.07 W/K outside die, 0.154 W/K inside, harmonic means at the faces.
pub fn family_a(n: usize) -> Problem {
    let area = (SIDE_M / n as f64).powi(2);
    let mut kt = vec![0.07; n * n];
    let mut spray = vec![SPRAY_ELSEWHERE * area; n * n];
    let mut b = vec![0.0; n * n];
    let mut cells_of = Vec::new();
    for ([i0, i1, j0, j1], power) in die(n) {
        let cells: Vec<usize> = (j0..j1).flat_map(|j| (i0..i1).map(move |i| j * n + i)).collect();
        for &c in &cells {
            kt[c] = 0.154;
            spray[c] = SPRAY_ON_DIE * area;
            b[c] = power / cells.len() as f64;
        }
        cells_of.push(cells);
    }
    let mut block = Block::zeros(0, 0, n, n, 1, false);
    let face = |a: f64, b: f64| 2.0 * a * b / (a + b);
    for j in 0..n {
        for i in 0..n {
            let c = j * n + i;
            if i + 1 < n {
                block.east[c] = face(kt[c], kt[c + 1]);
            }
            if j + 1 < n {
                block.north[c] = face(kt[c], kt[c + n]);
            }
            block.sink[c] = spray[c] + BOARD * area;
        }
    }
    let width = vec![SIDE_M / n as f64; n];
    Problem {
        name: format!("A {n}"),
        operator: Operator { dx_m: width.clone(), dy_m: width, blocks: vec![block] },
        b,
        die: cells_of,
        to_coolant: spray,
        to_board: vec![BOARD * area; n * n],
    }
}

/// Sheets of family B as (conductivity W/(m K), thickness m): the substrate's from the board
/// side up, then attach and die.
const SUBSTRATE: [(f64, f64); 2] = [(20.0, 2e-3), (60.0, 0.5e-3)];
const ISLAND: [(f64, f64); 2] = [(2.0, 0.1e-3), (120.0, 0.7e-3)];

/// Four sheets, the upper two under die only; heat released in the last.
pub fn family_b(n: usize) -> Problem {
    let area = (SIDE_M / n as f64).powi(2);
    let half = |(k, t): (f64, f64)| 0.5 * t / k;
    let between = |a, b| area / (half(a) + half(b));
    let to_outside = |htc: f64, sheet| area / (1.0 / htc + half(sheet));
    let all_die = die(n);
    let mut base = Block::zeros(0, 0, n, n, 2, false);
    fill_sheets(&mut base, &SUBSTRATE);
    for c in 0..n * n {
        base.up[c] = between(SUBSTRATE[0], SUBSTRATE[1]);
    }
    let mut to_board = vec![0.0; 2 * n * n];
    let mut to_coolant = vec![0.0; 2 * n * n];
    to_board[..n * n].fill(to_outside(BOARD, SUBSTRATE[0]));
    to_coolant[n * n..].fill(to_outside(SPRAY_ELSEWHERE, SUBSTRATE[1]));
    for &([i0, i1, j0, j1], _) in &all_die {
        for j in j0..j1 {
            to_coolant[n * n + j * n + i0..n * n + j * n + i1].fill(0.0);
        }
    }
    let mut b = vec![0.0; 2 * n * n];
    let mut blocks = vec![base];
    let mut cells_of = Vec::new();
    for ([i0, i1, j0, j1], power) in all_die {
        let (nx, ny) = (i1 - i0, j1 - j0);
        let plane = nx * ny;
        let mut island = Block::zeros(i0, j0, nx, ny, 2, true);
        fill_sheets(&mut island, &ISLAND);
        island.up[..plane].fill(between(ISLAND[0], ISLAND[1]));
        island.seat.fill(between(SUBSTRATE[1], ISLAND[0]));
        blocks.push(island);
        let hot = b.len() + plane;
        b.extend(std::iter::repeat_n(0.0, plane));
        b.extend(std::iter::repeat_n(power / plane as f64, plane));
        to_board.extend(std::iter::repeat_n(0.0, 2 * plane));
        to_coolant.extend(std::iter::repeat_n(0.0, plane));
        to_coolant.extend(std::iter::repeat_n(to_outside(SPRAY_ON_DIE, ISLAND[1]), plane));
        cells_of.push((hot..hot + plane).collect());
    }
    let mut at = 0;
    for block in &mut blocks {
        for sink in &mut block.sink {
            *sink = to_coolant[at] + to_board[at];
            at += 1;
        }
    }
    let width = vec![SIDE_M / n as f64; n];
    Problem {
        name: format!("B {n}"),
        operator: Operator { dx_m: width.clone(), dy_m: width, blocks },
        b,
        die: cells_of,
        to_coolant,
        to_board,
    }
}

/// Links in the plane between equal square cells: k t.
fn fill_sheets(block: &mut Block, sheets: &[(f64, f64)]) {
    let (nx, ny) = (block.nx, block.ny);
    for (l, (k, t)) in sheets.iter().enumerate() {
        for j in 0..ny {
            for i in 0..nx {
                let c = (l * ny + j) * nx + i;
                if i + 1 < nx {
                    block.east[c] = k * t;
                }
                if j + 1 < ny {
                    block.north[c] = k * t;
                }
            }
        }
    }
}
