//! How many unknowns an accuracy takes: the refinement of the program against uniform refinement,
//! which halves every cell of the plane and doubles every part's sheets, on one case file.
//!
//! ```text
//! cargo run --release -p sprayside_validation --bin unknowns [CASE.toml]
//! ```
//!
//! Writes `validation/unknowns.md`; the case is the correlator unless another is named. Errors
//! are the largest of any junction's maximum or mean against a solve at a sixth of the finest
//! accuracy listed.

use std::fmt::Write as _;
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;

use sprayside_solver::case;
use sprayside_solver::conduction::Network;
use sprayside_solver::mesh::{Mesh, PlaneGrid, Slicing, edges_along, snapped_edges};
use sprayside_solver::module::{Module, Rect};
use sprayside_solver::results::face_statistics;
use sprayside_solver::steady::{SteadyOptions, solve, solve_on_mesh};

const ACCURACIES_K: [f64; 5] = [1.0, 0.5, 0.2, 0.1, 0.05];
/// Widest cells of the uniform grids, m; sheets of every part 1, 2, 4, ...
const FIRST_CELL_M: f64 = 4e-3;
const MOST_UNKNOWNS: usize = 12_000_000;

/// Maximum and mean of every source, K.
type Temperatures = Vec<[f64; 2]>;

fn adapted(
    module: &Module,
    accuracy_K: f64,
) -> Result<(usize, f64, Temperatures), Box<dyn std::error::Error>> {
    let mut module = module.clone();
    module.mesh.accuracy_K = accuracy_K;
    module.mesh.max_cells = MOST_UNKNOWNS;
    let result = solve(&module, &SteadyOptions::default(), &mut |_| ())?;
    let stated = result.junctions.iter().map(|j| j.uncertainty_K).fold(0.0, f64::max);
    Ok((result.unknowns, stated, result.junctions.iter().map(|j| [j.max_K, j.mean_K]).collect()))
}

/// Lines no further apart than `cell_m`, on every outline.
fn even_lines(module: &Module, axis: usize, cell_m: f64) -> Arc<[f64]> {
    let rects: Vec<Rect> = module
        .die
        .iter()
        .flat_map(|d| std::iter::once(d.rect).chain(d.blocks.iter().map(|b| b.rect)))
        .chain(module.heaters.iter().map(|h| h.rect))
        .collect();
    let edges = snapped_edges(module.size_m[axis], edges_along(axis, &rects));
    let mut lines = vec![edges[0]];
    for pair in edges.windows(2) {
        let pieces = ((pair[1] - pair[0]) / cell_m).ceil().max(1.0);
        for k in 1..=pieces as usize {
            lines.push(pair[0] + (pair[1] - pair[0]) * k as f64 / pieces);
        }
    }
    lines.into()
}

fn uniform(
    module: &Module,
    level: u32,
) -> Result<Option<(usize, Temperatures)>, Box<dyn std::error::Error>> {
    let cell_m = FIRST_CELL_M / f64::from(1 << level);
    let plane = PlaneGrid {
        x_lines_m: even_lines(module, 0, cell_m),
        y_lines_m: even_lines(module, 1, cell_m),
    };
    let sheets = 1 << level;
    let slicing = Slicing {
        layers: vec![sheets; module.layers.len()],
        die: vec![[sheets; 2]; module.die.len()],
    };
    let mesh = Mesh::new(module, plane, &slicing);
    if mesh.unknowns() > MOST_UNKNOWNS {
        return Ok(None);
    }
    let solution = solve_on_mesh(module, mesh, None, &SteadyOptions::default())?;
    let statistics = face_statistics(&Network::new(module, &solution.mesh), &solution);
    let inlet_K = module.coolant.inlet_K;
    let temperatures = statistics.iter().map(|s| [inlet_K + s.max_K, inlet_K + s.mean_K]).collect();
    Ok(Some((solution.mesh.unknowns(), temperatures)))
}

fn worst(found: &Temperatures, reference: &Temperatures) -> f64 {
    found
        .iter()
        .zip(reference)
        .flat_map(|(a, b)| [(a[0] - b[0]).abs(), (a[1] - b[1]).abs()])
        .fold(0.0, f64::max)
}

fn run() -> Result<(), Box<dyn std::error::Error>> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let named = std::env::args().nth(1);
    let path = named
        .as_ref()
        .map_or_else(|| root.join("demo-data/correlator/module.toml"), |p| Path::new(p).to_owned());
    let beside = path.parent().unwrap_or(Path::new(".")).to_owned();
    let text = std::fs::read_to_string(&path)?;
    let case = case::read(&text, &path.display().to_string(), &|file: &str| {
        std::fs::read_to_string(beside.join(file)).map_err(|error| error.to_string())
    })
    .map_err(|errors| format!("{} errors in the case", errors.len()))?;
    let module = case.module;
    let (cells, stated, reference) = adapted(&module, ACCURACIES_K[4] / 6.0)?;
    let mut page = format!(
        "# Unknowns against error\n\nMade by `cargo run --release -p sprayside_validation --bin unknowns` for {}. Errors are the\nlargest of any junction's maximum or mean, against a solve of {cells} unknowns that states\n{stated:.3} K for itself.\n\n| refinement | unknowns | stated K | error K |\n|---|---:|---:|---:|\n",
        named.as_deref().unwrap_or("demo-data/correlator/module.toml")
    );
    let mut at_default = None;
    for accuracy_K in ACCURACIES_K {
        let (unknowns, stated, found) = adapted(&module, accuracy_K)?;
        if accuracy_K == 0.1 {
            at_default = Some(unknowns);
        }
        writeln!(
            page,
            "| to {accuracy_K} K | {unknowns} | {stated:.3} | {:.4} |",
            worst(&found, &reference)
        )?;
    }
    let mut levels: Vec<(f64, f64)> = Vec::new();
    for level in 0.. {
        let Some((unknowns, found)) = uniform(&module, level)? else { break };
        let error = worst(&found, &reference);
        levels.push((unknowns as f64, error));
        writeln!(
            page,
            "| uniform, cells of {} mm, {} sheets a part | {unknowns} | | {error:.4} |",
            FIRST_CELL_M * 1e3 / f64::from(1 << level),
            1 << level
        )?;
    }
    if let (Some(&[(n1, e1), (n2, e2)]), Some(adapted)) = (levels.last_chunk(), at_default) {
        // error = C unknowns^-slope through the last two levels.
        let slope = (e1 / e2).ln() / (n2 / n1).ln();
        let needed = n2 * (e2 / 0.1).powf(1.0 / slope);
        writeln!(
            page,
            "\nCarried on from the last two levels, uniform refinement reaches an error of 0.1 K with about\n{:.1} million unknowns: {:.0} times those of the refinement that states 0.1 K.",
            needed / 1e6,
            needed / adapted as f64
        )?;
    }
    std::fs::write(Path::new(env!("CARGO_MANIFEST_DIR")).join("unknowns.md"), &page)?;
    std::io::Write::write_all(&mut std::io::stdout(), page.as_bytes())?;
    Ok(())
}

fn main() -> ExitCode {
    match run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            let _ = std::io::Write::write_all(
                &mut std::io::stderr(),
                format!("unknowns: {error}\n").as_bytes(),
            );
            ExitCode::FAILURE
        }
    }
}
