//! One-dimensional slab of layers with heat released on any interface and a coefficient to a
//! medium on each side.
//!
//! Superposition of resistances: with R_b(i) the resistance from interface i down to the lower
//! medium, R_t(i) up to the upper medium and R = R_b(i) + R_t(i) (the same for every i),
//!
//! ```text
//! T_i = T_b + (T_t - T_b) R_b(i) / R + sum over j of q_j R_b(min(i, j)) R_t(max(i, j)) / R
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | q_j | heat released on interface j per area | W/m² |
//! | R | resistance per area, sum of 1/h and t/k | m²K/W |
//!
//! # Source
//! Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, sections 3.2 and 3.3.

/// A slab of layers, from the lower side up.
#[derive(Debug, Clone)]
pub struct Slab {
    /// Thickness, m, and through conductivity, W/(m·K), of each layer.
    pub layers: Vec<[f64; 2]>,
    /// Coefficient, W/(m²·K), and temperature, K, of the medium below.
    pub below: [f64; 2],
    /// Coefficient and temperature of the medium above.
    pub above: [f64; 2],
}

impl Slab {
    /// Temperatures of the `layers.len() + 1` interfaces, from the lower face up, K.
    ///
    /// `heat[i]` is released on interface i, W/m².
    ///
    /// # Panics
    /// Unless `heat` has one entry an interface.
    pub fn interface_temperatures(&self, heat: &[f64]) -> Vec<f64> {
        let n = self.layers.len() + 1;
        assert_eq!(heat.len(), n, "one heat an interface");
        // A side without exchange has an infinite resistance: work with the other side alone.
        if self.below[0] == 0.0 {
            let mirrored = Slab {
                layers: self.layers.iter().rev().copied().collect(),
                below: self.above,
                above: self.below,
            };
            let mirrored_heat: Vec<f64> = heat.iter().rev().copied().collect();
            let mut temperatures = mirrored.interface_temperatures(&mirrored_heat);
            temperatures.reverse();
            return temperatures;
        }
        let mut r_below = vec![1.0 / self.below[0]];
        for [thickness, conductivity] in &self.layers {
            r_below.push(r_below[r_below.len() - 1] + thickness / conductivity);
        }
        // Summed from the top as well, not taken as a difference: no cancellation.
        let mut r_above = vec![1.0 / self.above[0]; n];
        for (layer, [thickness, conductivity]) in self.layers.iter().enumerate().rev() {
            r_above[layer] = r_above[layer + 1] + thickness / conductivity;
        }
        let whole = r_below[n - 1] + r_above[n - 1];
        // With nothing above, all heat goes down.
        let share_down = |i: usize| if whole.is_finite() { r_above[i] / whole } else { 1.0 };
        (0..n)
            .map(|i| {
                let drive = (self.above[1] - self.below[1]) * r_below[i] / whole;
                let rise: f64 =
                    (0..n).map(|j| heat[j] * r_below[i.min(j)] * share_down(i.max(j))).sum();
                self.below[1] + drive + rise
            })
            .collect()
    }

    /// Heat to the medium above and below for the same sources, W/m².
    pub fn heat_to_media(&self, heat: &[f64]) -> [f64; 2] {
        let t = self.interface_temperatures(heat);
        [self.above[0] * (t[t.len() - 1] - self.above[1]), self.below[0] * (t[0] - self.below[1])]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn slab() -> Slab {
        Slab {
            layers: vec![[1e-3, 20.0], [0.1e-3, 0.5], [0.5e-3, 148.0]],
            below: [150.0, 313.15],
            above: [9000.0, 298.15],
        }
    }

    #[test]
    fn heat_in_equals_heat_out() {
        let heat = [1e3, 2e4, 4e5, 3e3];
        let [up, down] = slab().heat_to_media(&heat);
        let sum: f64 = heat.iter().sum();
        assert!((up + down - sum).abs() < 1e-9 * sum);
    }

    #[test]
    fn flux_is_continuous_through_every_interface() {
        let heat = [1e3, 2e4, 4e5, 3e3];
        let s = slab();
        let t = s.interface_temperatures(&heat);
        let [up, _] = s.heat_to_media(&heat);
        let mut flux = up - heat[3];
        for layer in (0..3).rev() {
            let [thickness, conductivity] = s.layers[layer];
            let conducted = conductivity * (t[layer] - t[layer + 1]) / thickness;
            assert!((conducted - flux).abs() < 1e-6 * flux.abs().max(1e3));
            flux -= heat[layer];
        }
    }

    #[test]
    fn an_insulated_side_is_the_limit_of_a_small_coefficient() {
        for side in 0..2 {
            let mut closed = slab();
            let mut nearly = slab();
            if side == 0 {
                closed.below[0] = 0.0;
                nearly.below[0] = 1e-9;
            } else {
                closed.above[0] = 0.0;
                nearly.above[0] = 1e-9;
            }
            let heat = [0.0, 0.0, 4e3, 0.0];
            let a = closed.interface_temperatures(&heat);
            let b = nearly.interface_temperatures(&heat);
            for (a, b) in a.iter().zip(&b) {
                assert!((a - b).abs() < 1e-6, "{a} {b}");
            }
        }
    }
}
