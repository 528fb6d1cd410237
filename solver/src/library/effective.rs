//! Effective conductivities of layers that are mixtures: bumps in underfill, laminates, via fields.
//!
//! Effective values describe a layer as a whole; near a single bump or via they do not hold.

use std::f64::consts::PI;

/// A square array of round bumps in a filler.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BumpArray {
    /// Bump diameter, m.
    pub diameter_m: f64,
    /// Pitch in both directions, m; at least the diameter.
    pub pitch_m: f64,
    /// Conductivity of the bumps, W/(m·K).
    pub bump_W_mK: f64,
    /// Conductivity of the filler, W/(m·K).
    pub filler_W_mK: f64,
}

impl BumpArray {
    /// Share of the area that is bump, `f = π d² / (4 p²)`.
    pub fn area_share(&self) -> f64 {
        PI * self.diameter_m.powi(2) / (4.0 * self.pitch_m.powi(2))
    }

    /// Conductivity through the layer, W/(m·K): bumps and filler side by side.
    ///
    /// ```text
    /// k_z = f k_b + (1 - f) k_f
    /// ```
    ///
    /// An upper bound: the constriction of heat in the solids above and below is not in it; see
    /// [`BumpArray::constriction_m2K_W`].
    ///
    /// # Source
    /// Rule of mixtures (Wiener's parallel bound).
    pub fn through_W_mK(&self) -> f64 {
        let share = self.area_share();
        share * self.bump_W_mK + (1.0 - share) * self.filler_W_mK
    }

    /// Conductivity in the plane of the layer, W/(m·K).
    ///
    /// ```text
    /// k_xy = k_f [1 + 2f / ((k_b + k_f) / (k_b - k_f) - f)]
    /// ```
    ///
    /// Cylinders in a square array, first order: good to a few per cent up to f = 0.5.
    ///
    /// # Source
    /// Rayleigh 1892, Phil. Mag. 34, 481-502, first term (formula from memory).
    pub fn in_plane_W_mK(&self) -> f64 {
        let (bump, filler, share) = (self.bump_W_mK, self.filler_W_mK, self.area_share());
        if bump == filler {
            return filler;
        }
        filler * (1.0 + 2.0 * share / ((bump + filler) / (bump - filler) - share))
    }

    /// Resistance per area of the constriction toward the bumps in one adjoining solid, m²·K/W.
    ///
    /// ```text
    /// R = (1 - e)^1.5 / (4 k a) per bump, e = a / b, b = p / √π, times p²
    /// ```
    ///
    /// with the bump radius a and the solid's conductivity k.
    ///
    /// # Source
    /// Cooper, Mikic & Yovanovich 1969, Int. J. Heat Mass Transfer 12, 279-300 (from memory).
    pub fn constriction_m2K_W(&self, solid_W_mK: f64) -> f64 {
        let radius = 0.5 * self.diameter_m;
        let ratio = radius * PI.sqrt() / self.pitch_m;
        (1.0 - ratio).max(0.0).powf(1.5) / (4.0 * solid_W_mK * radius) * self.pitch_m.powi(2)
    }
}

/// A ply of a laminate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ply {
    /// Thickness, m.
    pub thickness_m: f64,
    /// Conductivity in its plane, W/(m·K); weigh a metal ply by its coverage.
    pub in_plane_W_mK: f64,
    /// Conductivity through it, W/(m·K).
    pub through_W_mK: f64,
}

/// Conductivity of a stack of plies, in the plane and through it, W/(m·K).
///
/// ```text
/// in plane: Σ k_i t_i / Σ t_i        through: Σ t_i / Σ (t_i / k_i)
/// ```
///
/// Exact for uniform heat flow along either direction. Partly etched planes lie between the two.
///
/// # Source
/// Resistances in parallel and in series. That continuous planes dominate is found by
/// Graebner & Azar 1997, J. Heat Transfer 119, 401-405.
pub fn laminate_W_mK(plies: &[Ply]) -> (f64, f64) {
    let thickness: f64 = plies.iter().map(|ply| ply.thickness_m).sum();
    let conductance: f64 = plies.iter().map(|ply| ply.in_plane_W_mK * ply.thickness_m).sum();
    let resistance: f64 = plies.iter().map(|ply| ply.thickness_m / ply.through_W_mK).sum();
    (conductance / thickness, thickness / resistance)
}

/// A square field of plated, unfilled vias in a dielectric.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ViaField {
    /// Drill diameter, m.
    pub diameter_m: f64,
    /// Thickness of the plating, m.
    pub plating_m: f64,
    /// Pitch, m.
    pub pitch_m: f64,
    /// Conductivity of the plating, W/(m·K).
    pub metal_W_mK: f64,
    /// Conductivity of the dielectric through the board, W/(m·K).
    pub dielectric_W_mK: f64,
}

impl ViaField {
    /// Share of the area that is plating, `f = π [D² - (D - 2t)²] / (4 p²)`.
    pub fn metal_share(&self) -> f64 {
        let bore = self.diameter_m - 2.0 * self.plating_m;
        PI * (self.diameter_m.powi(2) - bore.powi(2)) / (4.0 * self.pitch_m.powi(2))
    }

    /// Conductivity through the board, W/(m·K); the bores count as dielectric.
    ///
    /// ```text
    /// k_z = f k_metal + (1 - f) k_dielectric
    /// ```
    ///
    /// # Source
    /// Rule of mixtures (Wiener's parallel bound).
    pub fn through_W_mK(&self) -> f64 {
        let share = self.metal_share();
        share * self.metal_W_mK + (1.0 - share) * self.dielectric_W_mK
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(value: f64, expected: f64, relative: f64) {
        assert!((value / expected - 1.0).abs() < relative, "{value} is not {expected}");
    }

    /// Worked by hand with the formulas above: diameter 100 µm, pitch 200 µm, 50 and 0.5 W/(m·K).
    #[test]
    fn a_bump_array_has_its_worked_values() {
        let bumps =
            BumpArray { diameter_m: 100e-6, pitch_m: 200e-6, bump_W_mK: 50.0, filler_W_mK: 0.5 };
        close(bumps.area_share(), 0.196350, 1e-5);
        close(bumps.through_W_mK(), 10.2193, 1e-5);
        close(80e-6 / bumps.through_W_mK() * 1e6, 7.828, 1e-4);
        close(bumps.in_plane_W_mK(), 0.73833, 1e-5);
        close(bumps.constriction_m2K_W(140.0) * 1e6, 0.594, 1e-3);
    }

    #[test]
    fn bumps_of_filler_change_nothing() {
        let bumps = BumpArray { diameter_m: 1e-4, pitch_m: 2e-4, bump_W_mK: 2.0, filler_W_mK: 2.0 };
        close(bumps.in_plane_W_mK(), 2.0, 1e-12);
        close(bumps.through_W_mK(), 2.0, 1e-12);
    }

    /// Bounds of a two-phase mixture that any valid effective conductivity obeys
    /// (Wiener 1912: series and parallel; Hashin & Shtrikman 1962 in two dimensions is Rayleigh's
    /// first order with the filler as matrix).
    #[test]
    fn the_in_plane_value_lies_between_the_series_and_parallel_bounds() {
        for share in [0.05, 0.2, 0.5] {
            let pitch = 1.0;
            let bumps = BumpArray {
                diameter_m: (4.0f64 * share / PI).sqrt(),
                pitch_m: pitch,
                bump_W_mK: 50.0,
                filler_W_mK: 0.5,
            };
            let series = 1.0 / (share / 50.0 + (1.0 - share) / 0.5);
            assert!(bumps.in_plane_W_mK() > series);
            assert!(bumps.in_plane_W_mK() < bumps.through_W_mK());
        }
    }

    /// Worked by hand: 1.6 mm in all, two full copper planes of 35 µm (398 W/(m·K)) in FR-4
    /// (0.81 in plane, 0.29 through).
    #[test]
    fn a_laminate_with_two_planes_has_its_worked_values() {
        let copper = Ply { thickness_m: 35e-6, in_plane_W_mK: 398.0, through_W_mK: 398.0 };
        let resin = Ply { thickness_m: 1.53e-3, in_plane_W_mK: 0.81, through_W_mK: 0.29 };
        let (in_plane, through) = laminate_W_mK(&[copper, resin, copper]);
        close(in_plane, 18.187, 1e-4);
        close(through, 0.30326, 1e-4);
    }

    /// Worked by hand: drill 0.3 mm, plating 25 µm, pitch 1 mm, 398 and 0.29 W/(m·K).
    #[test]
    fn a_via_field_has_its_worked_values() {
        let vias = ViaField {
            diameter_m: 0.3e-3,
            plating_m: 25e-6,
            pitch_m: 1e-3,
            metal_W_mK: 398.0,
            dielectric_W_mK: 0.29,
        };
        close(vias.metal_share(), 0.0215984, 1e-5);
        close(vias.through_W_mK(), 8.8799, 1e-4);
    }
}
