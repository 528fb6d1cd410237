//! Which material, thickness and heat lies where on a mesh.
//!
//! A *face* is the plane between two sheets, or between a sheet and its surroundings. Faces of
//! a block are numbered from its lower side: face m lies below sheet m. Face 0 of an island is
//! the substrate's top face and always goes by that name.

use std::sync::Arc;

use rayon::prelude::*;

use super::operator::STRIP_CELLS;
use crate::library::Material;
use crate::mesh::{CellRange, IslandPart, Mesh};
use crate::module::{ActiveFace, Die, Face, Heater, Module};
use crate::pages::zeros;

/// One sheet of a block: its material and thickness.
#[derive(Debug, Clone)]
pub(super) struct SheetPart {
    pub material: Arc<Material>,
    pub thickness_m: f64,
}

impl SheetPart {
    /// From the sheet's middle to its face, at the material's reference temperature, W/(m² K).
    fn half_W_m2K(&self) -> f64 {
        2.0 * self.material.conductivity_W_mK[2] / self.thickness_m
    }
}

/// Sheets over a rectangle of cells.
#[derive(Debug, Clone)]
pub(super) struct BlockPart {
    pub cells: CellRange,
    pub sheets: Vec<SheetPart>,
    pub offset: usize,
}

impl BlockPart {
    /// Unknown of sheet l in the block's own column c.
    pub fn unknown(&self, l: usize, c: usize) -> usize {
        self.offset + l * self.cells.len() + c
    }
}

/// Heat released on one face of one block, W a cell.
#[derive(Debug, Clone)]
pub struct FaceHeat {
    /// 0 for the substrate, d + 1 for the island of die d.
    pub block: usize,
    /// Face number within the block.
    pub face: usize,
    /// W in each cell of the block, `j * nx + i` in the block's own numbering.
    pub heat_W: Vec<f64>,
}

/// The active face of one heat source.
#[derive(Debug, Clone)]
pub struct SourceFace {
    /// Block that holds the face.
    pub block: usize,
    /// Face number within the block.
    pub face: usize,
    /// Cells of the plane that the source covers.
    pub cells: CellRange,
    /// Heat of this source alone, W a cell of `cells`, row by row.
    pub heat_W: Vec<f64>,
}

/// A module laid on a mesh.
#[derive(Debug, Clone)]
pub struct Network<'m> {
    /// The part.
    pub module: &'m Module,
    /// Its cells.
    pub mesh: &'m Mesh,
    /// Die in case order, then heaters.
    pub sources: Vec<SourceFace>,
    pub(super) blocks: Vec<BlockPart>,
    /// Sum of all sources, one entry a face that releases heat.
    pub(super) face_heat: Vec<FaceHeat>,
    /// Block whose top is the wet surface of each cell of the plane.
    pub(super) top_block: Vec<u32>,
    pub(super) dx_m: Vec<f64>,
    pub(super) dy_m: Vec<f64>,
}

impl<'m> Network<'m> {
    /// Lays `module` on `mesh`.
    pub fn new(module: &'m Module, mesh: &'m Mesh) -> Network<'m> {
        let (nx, ny) = (mesh.plane.nx(), mesh.plane.ny());
        let plane = CellRange { i0: 0, i1: nx, j0: 0, j1: ny };
        let mut blocks = vec![BlockPart {
            cells: plane,
            sheets: mesh
                .sheets
                .iter()
                .map(|s| SheetPart {
                    material: module.layers[s.layer].material.clone(),
                    thickness_m: s.thickness_m,
                })
                .collect(),
            offset: 0,
        }];
        let mut top_block = vec![0u32; nx * ny];
        for (d, (island, die)) in mesh.islands.iter().zip(&module.die).enumerate() {
            let previous = &blocks[d];
            let offset = previous.offset + previous.cells.len() * previous.sheets.len();
            let material_of = |part: IslandPart| match (part, &die.attach) {
                (IslandPart::Attach, Some(attach)) => attach.material.clone(),
                _ => die.material.clone(),
            };
            blocks.push(BlockPart {
                cells: island.cells,
                sheets: island
                    .sheets
                    .iter()
                    .map(|&(part, thickness_m)| SheetPart {
                        material: material_of(part),
                        thickness_m,
                    })
                    .collect(),
                offset,
            });
            for j in island.cells.j0..island.cells.j1 {
                top_block[j * nx + island.cells.i0..j * nx + island.cells.i1].fill(d as u32 + 1);
            }
        }
        let mut network = Network {
            module,
            mesh,
            sources: Vec::new(),
            blocks,
            face_heat: Vec::new(),
            top_block,
            dx_m: mesh.plane.dx_m(),
            dy_m: mesh.plane.dy_m(),
        };
        for (d, die) in module.die.iter().enumerate() {
            let source = network.die_source(d, die);
            network.add_source(source);
        }
        for heater in &module.heaters {
            let source = network.heater_source(heater);
            network.add_source(source);
        }
        network
    }

    /// Number of unknowns.
    pub fn unknowns(&self) -> usize {
        let last = &self.blocks[self.blocks.len() - 1];
        last.offset + last.cells.len() * last.sheets.len()
    }

    /// Every block: its cells of the plane, its first unknown, its number of sheets.
    pub fn boxes(&self) -> impl Iterator<Item = (CellRange, usize, usize)> + '_ {
        self.blocks.iter().map(|b| (b.cells, b.offset, b.sheets.len()))
    }

    /// Area of cell (i, j) of the plane, m².
    pub fn cell_area_m2(&self, i: usize, j: usize) -> f64 {
        self.dx_m[i] * self.dy_m[j]
    }

    /// Whether any material's conductivity depends on temperature.
    pub fn conductivity_varies(&self) -> bool {
        self.blocks
            .iter()
            .flat_map(|b| &b.sheets)
            .any(|s| s.material.law != crate::library::TemperatureLaw::Constant)
    }

    /// Conductivity factor of every unknown at the temperatures `rise_K` above the inlet.
    pub fn conductivity_factors(&self, rise_K: &[f64]) -> Vec<f64> {
        let mut factors = zeros(rise_K.len());
        self.conductivity_factors_into(rise_K, &mut factors);
        factors
    }

    /// [`Network::conductivity_factors`] over the memory of former ones.
    pub fn conductivity_factors_into(&self, rise_K: &[f64], factors: &mut [f64]) {
        let inlet_K = self.module.coolant.inlet_K;
        let mut strips = Vec::new();
        let mut rest = factors;
        for block in &self.blocks {
            for (l, sheet) in block.sheets.iter().enumerate() {
                let (own, after) = rest.split_at_mut(block.cells.len());
                rest = after;
                let rises = &rise_K[block.unknown(l, 0)..][..own.len()];
                let of_sheet = rises.chunks(STRIP_CELLS).zip(own.chunks_mut(STRIP_CELLS));
                strips.extend(of_sheet.map(|(rises, own)| (&sheet.material, rises, own)));
            }
        }
        strips.into_par_iter().for_each(|(material, rises, factors)| {
            material.conductivity_factors(inlet_K, rises, factors);
        });
    }

    /// Column of a block over or under cell `p = j * nx + i` of the plane.
    pub(super) fn column_of(&self, block: &BlockPart, p: usize) -> usize {
        let (i, j) = (p % self.dx_m.len(), p / self.dx_m.len());
        (j - block.cells.j0) * block.cells.nx() + i - block.cells.i0
    }

    /// What is wet over cell (i, j): its block, the column within it, the highest unknown.
    pub(super) fn wet_top(&self, i: usize, j: usize) -> (usize, usize, usize) {
        let b = self.top_block[j * self.dx_m.len() + i] as usize;
        let block = &self.blocks[b];
        let c = (j - block.cells.j0) * block.cells.nx() + i - block.cells.i0;
        (b, c, block.unknown(block.sheets.len() - 1, c))
    }

    /// Die whose back is the wet surface of cell (i, j) of the plane, if one is.
    pub fn die_over(&self, i: usize, j: usize) -> Option<usize> {
        (self.top_block[j * self.dx_m.len() + i] as usize).checked_sub(1)
    }

    /// Unknown of the highest sheet over cell (i, j) of the plane.
    pub fn wet_top_unknown(&self, i: usize, j: usize) -> usize {
        self.wet_top(i, j).2
    }

    /// Area over half the sheet's through resistance, W/K: from the sheet's middle to its face.
    pub(super) fn half_W_K(
        &self,
        block: &BlockPart,
        l: usize,
        c: usize,
        area_m2: f64,
        factors: Option<&[f64]>,
    ) -> f64 {
        let sheet = &block.sheets[l];
        let factor = factors.map_or(1.0, |f| f[block.unknown(l, c)]);
        sheet.half_W_m2K() * area_m2 * factor
    }

    /// [`Network::half_W_K`] of all cells in the block's row j.
    pub(super) fn half_row_W_K(
        &self,
        block: &BlockPart,
        l: usize,
        j: usize,
        factors: Option<&[f64]>,
        row: &mut [f64],
    ) {
        let (i0, i1) = (block.cells.i0, block.cells.i1);
        let (half_W_m2K, dy_m) = (block.sheets[l].half_W_m2K(), self.dy_m[block.cells.j0 + j]);
        for (half, dx_m) in row.iter_mut().zip(&self.dx_m[i0..i1]) {
            *half = half_W_m2K * (dx_m * dy_m);
        }
        if let Some(factors) = factors {
            let first = block.unknown(l, j * (i1 - i0));
            for (half, factor) in row.iter_mut().zip(&factors[first..first + (i1 - i0)]) {
                *half *= factor;
            }
        }
    }

    fn die_source(&self, d: usize, die: &Die) -> SourceFace {
        let cells = self.mesh.islands[d].cells;
        let island = &self.mesh.islands[d];
        let (block, face) = match die.active_face {
            ActiveFace::Up => (d + 1, island.sheets.len()),
            ActiveFace::Down => {
                let attach =
                    island.sheets.iter().filter(|(part, _)| *part == IslandPart::Attach).count();
                if attach == 0 { (0, self.mesh.sheets.len()) } else { (d + 1, attach) }
            }
        };
        SourceFace { block, face, cells, heat_W: self.die_heat(die, cells) }
    }

    /// Heat of a die in each of its cells, W: the map's share, or blocks and the even rest.
    fn die_heat(&self, die: &Die, cells: CellRange) -> Vec<f64> {
        let mut heat = Vec::with_capacity(cells.len());
        if let Some(map) = &die.power_map {
            for j in cells.j0..cells.j1 {
                for i in cells.i0..cells.i1 {
                    heat.push(map.integral_over(&self.mesh.plane.cell(i, j)));
                }
            }
            let scale = die.power_W / heat.iter().sum::<f64>();
            heat.iter_mut().for_each(|heat| *heat *= scale);
            return heat;
        }
        // Areas are those of the cells: an edge that was snapped to its twin changes no power.
        let plane = &self.mesh.plane;
        let die_area = plane.area_m2(&cells);
        let block_area: f64 =
            die.blocks.iter().map(|b| plane.area_m2(&plane.range_of(&b.rect))).sum();
        let block_power: f64 = die.blocks.iter().map(|b| b.power_W).sum();
        let rest_area = die_area - block_area;
        // Blocks that tile the die leave no area to spread a rest on; the case reader has made
        // sure that they then carry all the power.
        let rest_flux =
            if rest_area > 1e-9 * die_area { (die.power_W - block_power) / rest_area } else { 0.0 };
        for j in cells.j0..cells.j1 {
            for i in cells.i0..cells.i1 {
                heat.push(rest_flux * self.cell_area_m2(i, j));
            }
        }
        for block in &die.blocks {
            let range = plane.range_of(&block.rect);
            let flux = block.power_W / plane.area_m2(&range);
            for j in range.j0..range.j1 {
                for i in range.i0..range.i1 {
                    heat[(j - cells.j0) * cells.nx() + i - cells.i0] =
                        flux * self.cell_area_m2(i, j);
                }
            }
        }
        heat
    }

    fn heater_source(&self, heater: &Heater) -> SourceFace {
        let boundary = heater.layer + usize::from(heater.face == Face::Top);
        let face = self.mesh.sheets.iter().filter(|s| s.layer < boundary).count();
        let cells = self.mesh.plane.range_of(&heater.rect);
        let flux = heater.power_W / self.mesh.plane.area_m2(&cells);
        let mut heat_W = Vec::with_capacity(cells.len());
        for j in cells.j0..cells.j1 {
            for i in cells.i0..cells.i1 {
                heat_W.push(flux * self.cell_area_m2(i, j));
            }
        }
        SourceFace { block: 0, face, cells, heat_W }
    }

    pub(super) fn add_source(&mut self, source: SourceFace) {
        let block = &self.blocks[source.block];
        let (block_cells, n) = (block.cells, block.cells.len());
        let found =
            self.face_heat.iter().position(|f| f.block == source.block && f.face == source.face);
        let k = found.unwrap_or_else(|| {
            self.face_heat.push(FaceHeat {
                block: source.block,
                face: source.face,
                heat_W: vec![0.0; n],
            });
            self.face_heat.len() - 1
        });
        let total = &mut self.face_heat[k].heat_W;
        let mut heat = source.heat_W.iter();
        for j in source.cells.j0..source.cells.j1 {
            for i in source.cells.i0..source.cells.i1 {
                let c = (j - block_cells.j0) * block_cells.nx() + i - block_cells.i0;
                total[c] += heat.next().copied().unwrap_or(0.0);
            }
        }
        self.sources.push(source);
    }

    /// Heat released on a face, if any is.
    pub(super) fn heat_on(&self, block: usize, face: usize) -> Option<&[f64]> {
        self.face_heat
            .iter()
            .find(|f| f.block == block && f.face == face)
            .map(|f| f.heat_W.as_slice())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::module::Rect;
    use crate::study::testing;

    #[test]
    fn every_cell_of_the_plane_knows_the_die_over_it() {
        let module = testing::prescribed();
        let mesh = testing::mesh(&module);
        let network = Network::new(&module, &mesh);
        let mut over = 0;
        for j in 0..mesh.plane.ny() {
            for i in 0..mesh.plane.nx() {
                let [x, y] = mesh.plane.cell(i, j).centre_m();
                let holds = |r: &Rect| r.x0_m < x && x < r.x1_m && r.y0_m < y && y < r.y1_m;
                let die = module.die.iter().position(|die| holds(&die.rect));
                assert_eq!(network.die_over(i, j), die);
                over += usize::from(die.is_some());
            }
        }
        let cells: usize = mesh.islands.iter().map(|island| island.cells.len()).sum();
        assert!(over == cells && cells > 0, "{over} {cells}");
    }

    /// The case reader lets die overlap by a nanometre: positions come rounded.
    #[test]
    fn die_that_overlap_by_rounding_share_no_cell_and_keep_their_power() {
        let mut module = testing::prescribed();
        let width = module.die[1].rect.width_m();
        let left = module.die[0].rect;
        let die = &mut module.die[1];
        let x0_m = left.x1_m - 0.9e-9;
        die.rect = Rect { x0_m, x1_m: x0_m + width, ..left };
        die.blocks.clear();
        die.power_map = None;
        module.die.truncate(2);
        let mesh = testing::mesh(&module);
        let [left, right] = [mesh.islands[0].cells, mesh.islands[1].cells];
        assert_eq!(left.i1, right.i0);
        let network = Network::new(&module, &mesh);
        let powers = module.die.iter().map(|d| d.power_W);
        for (source, power_W) in
            network.sources.iter().zip(powers.chain(module.heaters.iter().map(|h| h.power_W)))
        {
            let heat: f64 = source.heat_W.iter().sum();
            assert!((heat / power_W - 1.0).abs() < 1e-12, "{heat} {power_W}");
        }
    }
}
