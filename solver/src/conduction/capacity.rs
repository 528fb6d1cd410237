//! What a network needs besides conductances when temperatures change: heat capacities, and
//! powers that follow time.

use super::Network;

impl Network<'_> {
    /// Heat capacity of every unknown, J/K:
    ///
    /// ```text
    /// C = rho c t A
    /// ```
    ///
    /// rho (kg/m³) and c (J/(kg·K)) of the sheet's material, t (m) its thickness, A (m²) the area
    /// of the cell. Faces have no capacity.
    ///
    /// # Errors
    /// The name of the first material whose density or specific heat is not known.
    pub fn capacities_J_K(&self) -> Result<Vec<f64>, String> {
        let mut capacities = Vec::with_capacity(self.unknowns());
        for block in &self.blocks {
            for sheet in &block.sheets {
                let material = &sheet.material;
                let (Some(density), Some(specific_heat)) =
                    (material.density_kg_m3, material.specific_heat_J_kgK)
                else {
                    return Err(material.name.clone());
                };
                let per_area = density * specific_heat * sheet.thickness_m;
                for j in block.cells.j0..block.cells.j1 {
                    for i in block.cells.i0..block.cells.i1 {
                        capacities.push(per_area * self.cell_area_m2(i, j));
                    }
                }
            }
        }
        Ok(capacities)
    }

    /// Heat of each source per watt of its power, one entry a cell of its face. A source without
    /// power spreads by its map if it has one, evenly else.
    pub fn heat_shapes(&self) -> Vec<Vec<f64>> {
        self.sources
            .iter()
            .enumerate()
            .map(|(s, source)| {
                let power: f64 = source.heat_W.iter().sum();
                if power > 0.0 {
                    return source.heat_W.iter().map(|heat| heat / power).collect();
                }
                if let Some(map) = self.module.die.get(s).and_then(|die| die.power_map.as_ref()) {
                    let cells = source.cells;
                    let shape: Vec<f64> = (cells.j0..cells.j1)
                        .flat_map(|j| (cells.i0..cells.i1).map(move |i| (i, j)))
                        .map(|(i, j)| map.integral_over(&self.mesh.plane.cell(i, j)))
                        .collect();
                    let total: f64 = shape.iter().sum();
                    return shape.iter().map(|share| share / total).collect();
                }
                let area = self.mesh.plane.area_m2(&source.cells);
                let cells = source.cells;
                (cells.j0..cells.j1)
                    .flat_map(|j| (cells.i0..cells.i1).map(move |i| (i, j)))
                    .map(|(i, j)| self.cell_area_m2(i, j) / area)
                    .collect()
            })
            .collect()
    }

    /// Gives every source another power, spread by the shapes of [`Network::heat_shapes`].
    ///
    /// # Panics
    /// Unless there is a shape and a power for each source.
    pub fn set_powers(&mut self, shapes: &[Vec<f64>], power_W: &[f64]) {
        assert_eq!(self.sources.len(), shapes.len(), "a shape for each source");
        assert_eq!(self.sources.len(), power_W.len(), "a power for each source");
        let sources = std::mem::take(&mut self.sources);
        for face in &mut self.face_heat {
            face.heat_W.fill(0.0);
        }
        for ((mut source, shape), power_W) in sources.into_iter().zip(shapes).zip(power_W) {
            for (heat, share) in source.heat_W.iter_mut().zip(shape) {
                *heat = power_W * share;
            }
            self.add_source(source);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::testing;

    #[test]
    fn capacities_add_up_to_those_of_the_parts_and_powers_to_what_was_set() {
        let module = testing::with_capacity(testing::prescribed());
        let mesh = testing::mesh(&module);
        let mut network = Network::new(&module, &mesh);
        let total: f64 = network.capacities_J_K().unwrap().iter().sum();
        let volumetric = |m: &crate::library::Material| {
            m.density_kg_m3.unwrap() * m.specific_heat_J_kgK.unwrap()
        };
        let area = module.size_m[0] * module.size_m[1];
        let mut expected: f64 =
            module.layers.iter().map(|l| volumetric(&l.material) * l.thickness_m * area).sum();
        for die in &module.die {
            let own = volumetric(&die.material) * die.thickness_m
                + die.attach.as_ref().map_or(0.0, |a| volumetric(&a.material) * a.thickness_m);
            expected += own * die.rect.area_m2();
        }
        assert!((total / expected - 1.0).abs() < 1e-12, "{total} {expected}");

        let shapes = network.heat_shapes();
        let powers: Vec<f64> = (0..shapes.len()).map(|k| 1.5 * k as f64).collect();
        let before: Vec<Vec<f64>> = network.sources.iter().map(|s| s.heat_W.clone()).collect();
        network.set_powers(&shapes, &powers);
        let sum: f64 = network.face_heat.iter().flat_map(|f| &f.heat_W).sum();
        assert!((sum - powers.iter().sum::<f64>()).abs() < 1e-12);
        let own: Vec<f64> = before.iter().map(|heat| heat.iter().sum()).collect();
        network.set_powers(&shapes, &own);
        for (source, before) in network.sources.iter().zip(&before) {
            for (now, then) in source.heat_W.iter().zip(before) {
                assert!((now - then).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn a_material_without_density_is_named() {
        let module = testing::prescribed();
        let mesh = testing::mesh(&module);
        assert_eq!(Network::new(&module, &mesh).capacities_J_K(), Err("lines".to_owned()));
    }
}
