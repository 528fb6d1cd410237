//! What the spray takes from one cell of the wet side, as a function of its surface temperature.

/// Heat flux into the spray, W/m², linear in the surface's rise above the coolant inlet:
/// `q = constant + slope * rise`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct AffineFlux {
    /// Flux at zero rise, W/m².
    pub constant_W_m2: f64,
    /// Slope, W/(m²·K), >= 0.
    pub slope_W_m2K: f64,
}

/// Flux law of every cell of the wet side.
pub trait SurfaceLaw: Sync {
    /// Whether the flux is exactly `slope * rise` with a fixed slope: one solve is enough.
    fn is_linear(&self) -> bool;

    /// Flux (W/m²) and its slope (W/(m²·K), >= 0) in cell `c = j * nx + i` at a surface
    /// `rise_K` above the coolant inlet. The flux never falls with the rise.
    fn flux(&self, c: usize, rise_K: f64) -> (f64, f64);
}

/// A stated coefficient in every cell: `q = h * rise`.
#[derive(Debug, Clone, PartialEq)]
pub struct PrescribedLaw {
    /// Coefficient of each cell, W/(m²·K).
    pub htc_W_m2K: Vec<f64>,
}

impl SurfaceLaw for PrescribedLaw {
    fn is_linear(&self) -> bool {
        true
    }

    fn flux(&self, c: usize, rise_K: f64) -> (f64, f64) {
        let h = self.htc_W_m2K[c];
        (h * rise_K, h)
    }
}

/// Surface rise at which conduction from the cell plus face heat equals the flux taken away:
///
/// ```text
/// half (cell_rise - rise) + heat = area q(rise)
/// ```
///
/// with `half` (W/K) the conductance from the cell's middle to its face and `heat` (W) what is
/// released on the face. The left side falls and the right side never falls with the rise, so
/// there is exactly one root; Newton is kept inside a bracket that always holds it. Returns the
/// rise and the tangent of the flux there.
pub fn surface_balance(
    law: &dyn SurfaceLaw,
    c: usize,
    cell_rise_K: f64,
    half_W_K: f64,
    heat_W: f64,
    area_m2: f64,
    start_K: f64,
) -> (f64, AffineFlux) {
    let mismatch = |rise: f64| {
        let (q, slope) = law.flux(c, rise);
        (area_m2 * q - heat_W - half_W_K * (cell_rise_K - rise), q, slope)
    };
    // With no flux at all the face sits at the rise where conduction carries the heat away.
    let adiabatic = cell_rise_K + heat_W / half_W_K;
    let mut low = f64::NEG_INFINITY;
    let mut high = f64::INFINITY;
    let mut rise = if start_K.is_finite() { start_K } else { adiabatic };
    let mut tangent = AffineFlux::default();
    for _ in 0..100 {
        let (gap, q, slope) = mismatch(rise);
        tangent = AffineFlux { constant_W_m2: q - slope * rise, slope_W_m2K: slope };
        if gap > 0.0 {
            high = high.min(rise);
        } else {
            low = low.max(rise);
        }
        let step = gap / (area_m2 * slope + half_W_K);
        let mut next = rise - step;
        if !(next > low && next < high) && low.is_finite() && high.is_finite() {
            next = 0.5 * (low + high);
        }
        if (next - rise).abs() <= 1e-13 * (1.0 + rise.abs()) {
            break;
        }
        rise = next;
    }
    (rise, tangent)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// q = 100 r below 10 K, then 5000 times as steep: a kink that plain Newton oscillates on.
    struct Kink;
    impl SurfaceLaw for Kink {
        fn is_linear(&self) -> bool {
            false
        }
        fn flux(&self, _: usize, rise: f64) -> (f64, f64) {
            if rise < 10.0 { (100.0 * rise, 100.0) } else { (1000.0 + 5e5 * (rise - 10.0), 5e5) }
        }
    }

    #[test]
    fn balance_holds_on_both_sides_of_a_kink() {
        for cell_rise in [1.0, 9.0, 10.1, 50.0, 400.0] {
            for heat in [0.0, 2.0] {
                let (rise, tangent) = surface_balance(&Kink, 0, cell_rise, 0.5, heat, 1e-4, 0.0);
                let (q, slope) = Kink.flux(0, rise);
                let gap = 0.5 * (cell_rise - rise) + heat - 1e-4 * q;
                assert!(gap.abs() < 1e-9, "gap {gap} at {cell_rise} K");
                assert_eq!(tangent.slope_W_m2K, slope);
                assert!((tangent.constant_W_m2 + slope * rise - q).abs() < 1e-6);
            }
        }
    }
}
