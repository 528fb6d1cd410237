//! What every input does to every junction, from the influence of each junction's temperature.
//!
//! With l the influence of a reading J on the linearised network (see [`Linearised`]), T the
//! solution, D_a = sum over the cells of a part and their faces across axis a of
//! `g (T_c - T_f) (l_c - l_f)`, the derivatives are
//!
//! ```text
//! power on a face              sum of (share of the cell) l_f
//! conductivity along a, ln     -D_a
//! thickness of a part, ln      D_z - D_x - D_y - sum over its edges of h A l_f (T_f - T_edge)
//! coefficient, ln              -sum of h A l_f (T_f - T_outside)
//! temperature outside          sum of h A l_f
//! anything in the spray's law  -sum of A l_f dq
//! inlet temperature            1 - (board) - (edges) + (spray's law) + sum of B' l
//! ```
//!
//! the last because temperatures are counted from the inlet. One influence a reading serves all.

mod parameter;
pub(super) mod spray_terms;
#[cfg(test)]
mod tests;

pub use parameter::{Along, Entry, Parameter, Quantity, Step, entries};

use spray_terms::{NozzleChanges, inlet_change, nozzle_changes};

use super::linearised::{Cost, Linearised, Response};
use super::readings::{Readings, readings};
use crate::conduction::{FacePlace, Network};
use crate::mesh::IslandPart;
use crate::module::{Module, Spray};
use crate::results::{PlaneField, plane_field};
use crate::steady::{GridSolution, SteadyError, SteadyOptions};

/// Derivatives of one junction's readings to one input: K per SI unit, or K per relative change
/// where [`Quantity::relative`] says so.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Derivative {
    /// Of the highest temperature, at its hot spot.
    pub max: f64,
    /// Of the mean.
    pub mean: f64,
}

/// One input and what it does to every junction.
#[derive(Debug, Clone)]
pub struct Row {
    /// The input.
    pub entry: Entry,
    /// One entry a junction.
    pub derivatives: Vec<Derivative>,
}

impl Row {
    /// Change of a junction's highest and mean temperature for one step of
    /// [`Quantity::step`], K.
    pub fn per_step(&self, junction: usize) -> Derivative {
        let size = self.entry.parameter.quantity().step.size;
        let Derivative { max, mean } = self.derivatives[junction];
        Derivative { max: max * size, mean: mean * size }
    }
}

/// Sensitivities of every junction at a solution, exact derivatives on its grid.
///
/// Where two hot spots of a source are equally hot (a symmetric die), the derivative is that of
/// the first: a change that favours the other raises the highest temperature all the same.
#[derive(Debug, Clone)]
pub struct Sensitivity {
    /// Die in case order, then heaters.
    pub junctions: Vec<String>,
    /// One row an input.
    pub rows: Vec<Row>,
    /// Junction that the map is of: the hottest, or the one asked for.
    pub chief: usize,
    /// By how much that junction cools for one W/(m²·K) more on one square metre of spray
    /// side around each cell: K/(W/(m²·K))/m² = K²/W.
    pub cooling_K2_W: PlaneField,
    /// What the influences cost.
    pub cost: Cost,
}

/// The sensitivities of `module` at `solution`: two linear systems a junction, one for its
/// highest and one for its mean temperature.
/// The map is of junction `chief`, of the hottest where none is named.
///
/// # Errors
/// See [`SteadyError`].
pub fn sensitivity(
    module: &Module,
    solution: &GridSolution,
    options: &SteadyOptions,
    chief: Option<usize>,
    progress: &mut dyn FnMut(usize, usize),
) -> Result<Sensitivity, SteadyError> {
    let network = Network::new(module, &solution.mesh);
    let readings = readings(&network, solution);
    let linearised = Linearised::new(&network, solution);
    let solver = linearised.solver(options.relative_tolerance);
    let inputs = Inputs {
        readings: &readings,
        owner: owners(module, &network),
        nozzles: nozzle_changes(module, solution, options.band)?,
        inlet: inlet_change(module, solution, options.band)?,
    };
    let sheet_of = sheets_of_unknowns(&network);
    let mut rows: Vec<Row> = entries(module)
        .into_iter()
        .map(|entry| Row { entry, derivatives: Vec::with_capacity(readings.len()) })
        .collect();
    let hotter = |a: &usize, b: &usize| readings[*a].max_rise_K.total_cmp(&readings[*b].max_rise_K);
    let chief = chief.or_else(|| (0..readings.len()).max_by(hotter)).unwrap_or(0);
    let mut cooling_K2_W = plane_field(&network, std::iter::empty());
    let mut cost = Cost::default();
    for (j, reading) in readings.iter().enumerate() {
        let mut sums_of = |weights: &[f64]| -> Result<Sums, SteadyError> {
            let weights = network.on_face(j, weights);
            let response = solver.influence(&weights)?;
            cost.add(response.cost);
            Ok(Sums::new(&linearised, &sheet_of, response, &weights))
        };
        let (max, mean) = (sums_of(&reading.max_weights)?, sums_of(&reading.mean_weights)?);
        for row in &mut rows {
            let parameter = &row.entry.parameter;
            row.derivatives.push(Derivative {
                max: inputs.derivative(&linearised, &max, parameter),
                mean: inputs.derivative(&linearised, &mean, parameter),
            });
        }
        if j == chief {
            let values = max.wet.iter().zip(&solution.wet.rise_K).map(|(l, rise)| l * rise);
            cooling_K2_W = plane_field(&network, values);
        }
        progress(j + 1, readings.len());
    }
    Ok(Sensitivity {
        junctions: readings.iter().map(|r| r.name.clone()).collect(),
        rows,
        chief,
        cooling_K2_W,
        cost,
    })
}

/// Derivatives of other readings to some inputs: a row a reading, a column an input. A reading is
/// a weighted sum of temperatures of faces that are watched or release heat, its weights laid out
/// as [`Network::face_heats`] of `network`.
///
/// # Errors
/// See [`SteadyError`].
pub fn derivatives_of(
    network: &Network,
    solution: &GridSolution,
    options: &SteadyOptions,
    weights: &[Vec<Vec<f64>>],
    parameters: &[Parameter],
) -> Result<Vec<Vec<f64>>, SteadyError> {
    let module = network.module;
    let readings = readings(network, solution);
    let linearised = Linearised::new(network, solution);
    let solver = linearised.solver(options.relative_tolerance);
    let moves_nozzles = parameters
        .iter()
        .any(|p| matches!(p, Parameter::NozzleFlow { .. } | Parameter::NozzlePosition { .. }));
    let inputs = Inputs {
        readings: &readings,
        owner: owners(module, network),
        nozzles: if moves_nozzles {
            nozzle_changes(module, solution, options.band)?
        } else {
            Vec::new()
        },
        inlet: inlet_change(module, solution, options.band)?,
    };
    let sheet_of = sheets_of_unknowns(network);
    weights
        .iter()
        .map(|weights| {
            let response = solver.influence(weights)?;
            let sums = Sums::new(&linearised, &sheet_of, response, weights);
            Ok(parameters
                .iter()
                .map(|parameter| inputs.derivative(&linearised, &sums, parameter))
                .collect())
        })
        .collect()
}

/// Sheet of every unknown, counted through all blocks.
fn sheets_of_unknowns(network: &Network) -> Vec<u32> {
    let cells = network.boxes().flat_map(|(cells, _, sheets)| vec![cells.len(); sheets]);
    (0u32..).zip(cells).flat_map(|(sheet, cells)| vec![sheet; cells]).collect()
}

/// Patch that sets the coefficient of each cell of the plane; `None` where none lies.
fn owners(module: &Module, network: &Network) -> Vec<Option<usize>> {
    let plane = &network.mesh.plane;
    let mut owner = vec![None; plane.nx() * plane.ny()];
    if let Spray::Prescribed(spray) = &module.spray {
        for (k, patch) in spray.patches.iter().enumerate() {
            let range = plane.range_of(&patch.rect);
            for j in range.j0..range.j1 {
                owner[j * plane.nx() + range.i0..j * plane.nx() + range.i1].fill(Some(k));
            }
        }
    }
    owner
}

/// Sums of one influence from which every derivative follows.
struct Sums {
    /// D along x, y, z of every sheet of every block.
    products: Vec<Vec<[f64; 3]>>,
    /// Influence of the faces on which heat is released.
    faces: Vec<Vec<f64>>,
    /// Influence of the wet surface, cell by cell.
    wet: Vec<f64>,
    /// Sum of A l (T - T_outside) and of A l, over the board side.
    board: [f64; 2],
    /// The same over the edges of every sheet of the substrate.
    edges: Vec<[f64; 2]>,
    /// Sum of B' l: what warmer conductivities do.
    warmer: f64,
}

impl Sums {
    /// `sheet_of` says which sheet each unknown lies in, counted through all blocks.
    fn new(at: &Linearised, sheet_of: &[u32], response: Response, weights: &[Vec<f64>]) -> Sums {
        let network = at.network;
        let module = network.module;
        let inlet_K = module.coolant.inlet_K;
        let board_rise = module.board.temperature_K - inlet_K;
        let edge_rise = module.edge.temperature_K - inlet_K;
        let plane = &network.mesh.plane;
        let rises = &at.solution.rise_K;
        let l = &response.cells;
        let mut products = vec![[0.0; 3]; sheet_of.last().map_or(0, |&last| last as usize + 1)];
        let mut wet = vec![0.0; plane.nx() * plane.ny()];
        let mut board = [0.0; 2];
        let mut edges = vec![[0.0; 2]; network.mesh.sheets.len()];
        at.for_each_face(&mut |link, rise| {
            let at_face = link.balance(l, link.released_in(weights));
            for &(c, g) in link.sides.iter().flatten() {
                products[sheet_of[c] as usize][link.axis] +=
                    g * (rises[c] - rise) * (l[c] - at_face);
            }
            let outside = match link.place {
                FacePlace::Between => None,
                FacePlace::Wet { cell } => {
                    wet[cell] = at_face;
                    None
                }
                FacePlace::Board { area_m2 } => Some((&mut board, area_m2, board_rise)),
                FacePlace::Edge { sheet, area_m2 } => Some((&mut edges[sheet], area_m2, edge_rise)),
            };
            if let Some((sum, area_m2, outside_rise)) = outside {
                sum[0] += area_m2 * at_face * (rise - outside_rise);
                sum[1] += area_m2 * at_face;
            }
        });
        let warmer = if at.conductivity_varies() {
            at.conductivity_influence(l, weights).iter().sum()
        } else {
            0.0
        };
        let mut products = products.into_iter();
        let products = network
            .boxes()
            .map(|(_, _, sheets)| products.by_ref().take(sheets).collect())
            .collect();
        Sums { products, faces: response.faces, wet, board, edges, warmer }
    }

    /// `-sum of A l dq`.
    fn spray(&self, network: &Network, changes: &[(usize, f64)]) -> f64 {
        let nx = network.mesh.plane.nx();
        -changes
            .iter()
            .map(|&(c, dq)| network.cell_area_m2(c % nx, c / nx) * self.wet[c] * dq)
            .sum::<f64>()
    }
}

/// Derivative to ln thickness of a sheet with the products `d`, edges apart.
fn thicker(d: [f64; 3]) -> f64 {
    d[2] - d[0] - d[1]
}

/// What derivatives need beside an influence.
struct Inputs<'a> {
    readings: &'a [Readings],
    owner: Vec<Option<usize>>,
    nozzles: Vec<NozzleChanges>,
    inlet: Vec<(usize, f64)>,
}

impl Inputs<'_> {
    fn derivative(&self, at: &Linearised, sums: &Sums, parameter: &Parameter) -> f64 {
        let network = at.network;
        let (module, mesh) = (network.module, network.mesh);
        let (board, edge) = (&module.board, &module.edge);
        let edges = sums.edges.iter().fold([0.0; 2], |s, e| [s[0] + e[0], s[1] + e[1]]);
        match parameter {
            Parameter::Power { source } => {
                self.watt_on(at, sums, *source, &self.readings[*source].pattern)
            }
            Parameter::BlockPower { die, block } => {
                let rect = &module.die[*die].blocks[*block].rect;
                let covered = self.cells_of_die(network, *die, |i, j| {
                    rect.contains(&mesh.plane.cell(i, j), 1e-9 * module.size_m[0])
                });
                self.watt_on(at, sums, *die, &covered)
            }
            Parameter::RestPower { die } => {
                let blocks = &module.die[*die].blocks;
                let left = self.cells_of_die(network, *die, |i, j| {
                    let cell = mesh.plane.cell(i, j);
                    !blocks.iter().any(|b| b.rect.contains(&cell, 1e-9 * module.size_m[0]))
                });
                self.watt_on(at, sums, *die, &left)
            }
            Parameter::LayerThickness { layer } => {
                let of_sheet =
                    |(l, d): (usize, &[f64; 3])| thicker(*d) - edge.htc_W_m2K * sums.edges[l][0];
                let sheets = sums.products[0].iter().enumerate();
                let total: f64 =
                    sheets.filter(|(l, _)| mesh.sheets[*l].layer == *layer).map(of_sheet).sum();
                total / module.layers[*layer].thickness_m
            }
            Parameter::AttachThickness { die } => die
                .iter()
                .filter_map(|&d| {
                    let attach = module.die[d].attach.as_ref()?;
                    let sum = in_island(at, sums, d, IslandPart::Attach, &thicker);
                    Some(sum / attach.thickness_m)
                })
                .sum(),
            Parameter::DieThickness { die } => die
                .iter()
                .map(|&d| {
                    in_island(at, sums, d, IslandPart::Die, &thicker) / module.die[d].thickness_m
                })
                .sum(),
            Parameter::LayerConductivity { layer, along } => {
                let sheets = sums.products[0].iter().enumerate();
                -sheets
                    .filter(|(l, _)| mesh.sheets[*l].layer == *layer)
                    .map(|(_, d)| match along {
                        Along::All => d[0] + d[1] + d[2],
                        Along::Plane => d[0] + d[1],
                        Along::Through => d[2],
                    })
                    .sum::<f64>()
            }
            Parameter::AttachConductivity { material } => (0..module.die.len())
                .filter(|&d| {
                    module.die[d].attach.as_ref().is_some_and(|a| a.material.name == *material)
                })
                .map(|d| in_island(at, sums, d, IslandPart::Attach, &better))
                .sum(),
            Parameter::DieConductivity { material } => (0..module.die.len())
                .filter(|&d| module.die[d].material.name == *material)
                .map(|d| in_island(at, sums, d, IslandPart::Die, &better))
                .sum(),
            Parameter::SprayCoefficient => self.spray_where(at, sums, |_| true),
            Parameter::SprayBase => self.spray_where(at, sums, |c| self.owner[c].is_none()),
            Parameter::SprayPatch { patch } => {
                self.spray_where(at, sums, |c| self.owner[c] == Some(*patch))
            }
            Parameter::SprayOver { die } => {
                let nx = mesh.plane.nx();
                self.spray_where(at, sums, |c| {
                    network.die_over(c % nx, c / nx).is_some_and(|d| die.contains(&d))
                })
            }
            Parameter::InletTemperature => {
                1.0 - board.htc_W_m2K * sums.board[1] - edge.htc_W_m2K * edges[1]
                    + sums.spray(network, &self.inlet)
                    + sums.warmer
            }
            Parameter::NozzleFlow { nozzles } => {
                nozzles.iter().map(|&n| sums.spray(network, &self.nozzles[n].flow)).sum()
            }
            Parameter::NozzlePosition { nozzles, axis } => {
                nozzles.iter().map(|&n| sums.spray(network, &self.nozzles[n].position[*axis])).sum()
            }
            Parameter::BoardCoefficient => -board.htc_W_m2K * sums.board[0],
            Parameter::BoardTemperature => board.htc_W_m2K * sums.board[1],
            Parameter::EdgeCoefficient => -edges[0],
            Parameter::EdgeTemperature => edge.htc_W_m2K * edges[1],
        }
    }

    /// A watt spread over a source's cells as `shares` say.
    fn watt_on(&self, at: &Linearised, sums: &Sums, source: usize, shares: &[f64]) -> f64 {
        let (entry, columns) = at.network.source_columns(source);
        columns.iter().zip(shares).map(|(&c, share)| sums.faces[entry][c] * share).sum()
    }

    /// Even shares over the cells of a die that `keep` holds for.
    fn cells_of_die(
        &self,
        network: &Network,
        die: usize,
        keep: impl Fn(usize, usize) -> bool,
    ) -> Vec<f64> {
        let cells = network.sources[die].cells;
        let areas: Vec<f64> = (0..cells.len())
            .map(|c| {
                let (i, j) = (cells.i0 + c % cells.nx(), cells.j0 + c / cells.nx());
                if keep(i, j) { network.cell_area_m2(i, j) } else { 0.0 }
            })
            .collect();
        let total: f64 = areas.iter().sum();
        areas.iter().map(|a| a / total).collect()
    }

    /// Relative change of the flux in the cells that `keep` holds for.
    fn spray_where(&self, at: &Linearised, sums: &Sums, keep: impl Fn(usize) -> bool) -> f64 {
        let flux = at.solution.wet.flux_W_m2.iter().copied().enumerate();
        let changes: Vec<(usize, f64)> = flux.filter(|(c, _)| keep(*c)).collect();
        sums.spray(at.network, &changes)
    }
}

/// Derivative to ln conductivity of a sheet with the products `d`.
fn better(d: [f64; 3]) -> f64 {
    -d[0] - d[1] - d[2]
}

/// Sum of `of_sheet` over the sheets of one part of die `d`.
fn in_island(
    at: &Linearised,
    sums: &Sums,
    d: usize,
    part: IslandPart,
    of_sheet: &dyn Fn([f64; 3]) -> f64,
) -> f64 {
    let sheets = &at.network.mesh.islands[d].sheets;
    sheets
        .iter()
        .zip(&sums.products[d + 1])
        .filter(|(sheet, _)| sheet.0 == part)
        .map(|(_, products)| of_sheet(*products))
        .sum()
}
