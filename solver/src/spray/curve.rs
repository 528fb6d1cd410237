//! The heat flux of a cell as a function of its surface temperature: single phase, boiling and
//! burn-out joined to one rising, differentiable curve.

use std::sync::Arc;

use super::boiling;
use crate::library::monotone_cubic::{hermite, slopes};

/// Where the curve leaves the joined branches to bend below the critical heat flux: at this
/// share of it.
const KNEE: f64 = 0.95;

/// What all cells of one spray share: the liquid.
///
/// Single-phase flux is (spray factor) × g(rise), with the liquid's properties at the film
/// temperature inside g; see [`super::single_phase`].
#[derive(Debug, Clone, PartialEq)]
pub struct FilmTable {
    /// Width of the intervals of the table, K.
    step_K: f64,
    /// g at the nodes.
    value: Vec<f64>,
    /// dg / d(rise) at the nodes.
    slope: Vec<f64>,
}

/// Intervals of a film table.
const FILM_INTERVALS: usize = 64;

impl FilmTable {
    /// Tabulates `g(rise) = factor(rise) × rise` from 0 to `end_K`; `factor` should be constant
    /// from well below `end_K` on. The table is forced to rise (a running maximum), and beyond
    /// its ends g goes on straight, with no kink.
    pub fn new(end_K: f64, factor: impl Fn(f64) -> f64) -> Self {
        let step_K = end_K / FILM_INTERVALS as f64;
        let rise: Vec<f64> = (0..=FILM_INTERVALS).map(|k| k as f64 * step_K).collect();
        let mut value: Vec<f64> = rise.iter().map(|&r| factor(r) * r).collect();
        for k in 1..value.len() {
            value[k] = value[k].max(value[k - 1]);
        }
        let slope = slopes(&rise, &value);
        FilmTable { step_K, value, slope }
    }

    /// g and its derivative.
    pub fn at(&self, rise_K: f64) -> (f64, f64) {
        if rise_K <= 0.0 {
            return (self.slope[0] * rise_K, self.slope[0]);
        }
        let position = rise_K / self.step_K;
        if position >= FILM_INTERVALS as f64 {
            let last = self.slope[FILM_INTERVALS];
            let beyond = rise_K - self.step_K * FILM_INTERVALS as f64;
            return (self.value[FILM_INTERVALS] + last * beyond, last);
        }
        let k = position as usize;
        hermite(
            position - k as f64,
            self.step_K,
            [self.value[k], self.value[k + 1]],
            [self.slope[k], self.slope[k + 1]],
        )
    }
}

/// The boiling curve of one cell. Temperatures are rises above the liquid at the nozzle.
///
/// On the wetted share w of the cell, with r the rise of the surface and r_sat the subcooling:
///
/// ```text
/// q_sp = a g(r)                                  single phase
/// q_nb = b (r^5.75 - r_sat^5.75)  for r > r_sat, else 0
/// q_j  = (q_sp³ + q_nb³)^(1/3)                    joined
/// q    = q_j                                      while q_j <= 0.95 q_chf
/// q    = q_k + (q_chf - q_k) s / (1 + s)          beyond, s = q_j'(r_k) (r - r_k) / (q_chf - q_k)
/// ```
///
/// r_k is the rise at which q_j = q_k = 0.95 q_chf. On the dry share: q = h_dry r. Both add by area.
///
/// - Nothing boils below saturation: the boiling branch starts from zero at r_sat (the term
///   with r_sat takes off what the correlation, which counts from the nozzle temperature, would
///   have there; without subcooling it vanishes). The join makes the start differentiable.
/// - The curve rises everywhere and never exceeds the critical heat flux, which it approaches as
///   1/r: the Jacobian stays positive, and a cell that is asked for more than it can take grows
///   hot while its neighbours take the rest. A module that has nowhere to send the heat then
///   has no steady state, and its temperatures grow without bound.
/// - The margin of a cell is q_chf / q_j, which below the knee is critical heat flux over heat
///   flux. Where the surface is so hot that boiling would have to carry more than the critical
///   heat flux the cell is burnt out and its margin is r_b / r, below one, with r_b the rise at
///   which q_j = q_chf: critical heat flux over what the surface would give off with the
///   coefficient that it had at burn-out (q_j itself would shrink the figure out of all
///   proportion by its power of 5.75). What really happens beyond is film boiling, hotter
///   still; the curve does not follow it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurfaceCurve {
    /// w, wetted share of the cell, 0 to 1.
    pub wetted_share: f64,
    /// a, factor of the single-phase branch on the wetted part.
    pub single_phase: f64,
    /// b, factor of the boiling branch on the wetted part, W/(m²·K^5.75).
    pub boiling: f64,
    /// q_chf on the wetted part, W/m²; infinite where none is to be modelled.
    pub critical_W_m2: f64,
    /// h_dry, W/(m²·K).
    pub dry_htc_W_m2K: f64,
}

/// The liquid's part of every curve of one spray.
#[derive(Debug, Clone, PartialEq)]
pub struct Liquid {
    /// g.
    pub film: FilmTable,
    /// r_sat, K.
    pub subcooling_K: f64,
    /// r_sat^5.75.
    subcooling_power: f64,
}

impl Liquid {
    /// The liquid's part from the film table and the subcooling (K, >= 0).
    pub fn new(film: FilmTable, subcooling_K: f64) -> Self {
        Liquid { film, subcooling_K, subcooling_power: boiling::power(subcooling_K) }
    }
}

impl SurfaceCurve {
    /// A cell on which nothing lands.
    pub fn dry(htc_W_m2K: f64) -> Self {
        SurfaceCurve {
            wetted_share: 0.0,
            single_phase: 0.0,
            boiling: 0.0,
            critical_W_m2: f64::INFINITY,
            dry_htc_W_m2K: htc_W_m2K,
        }
    }

    /// Flux (W/m² of the whole cell) and its derivative (W/(m²·K)) at a surface `rise_K` above
    /// the liquid at the nozzle.
    pub fn flux(&self, liquid: &Liquid, rise_K: f64) -> (f64, f64) {
        let dry_share = 1.0 - self.wetted_share;
        let dry = dry_share * self.dry_htc_W_m2K;
        if self.wetted_share == 0.0 {
            return (dry * rise_K, dry);
        }
        let (q, slope) = self.wetted_flux(liquid, rise_K);
        (self.wetted_share * q + dry * rise_K, self.wetted_share * slope + dry)
    }

    /// Flux and derivative on the wetted part.
    fn wetted_flux(&self, liquid: &Liquid, rise_K: f64) -> (f64, f64) {
        let joined = self.joined(liquid, rise_K);
        if joined.0 <= KNEE * self.critical_W_m2 {
            return joined;
        }
        // Few cells come here, so the knee is looked for only now.
        let knee_K = self.rise_at_joined(liquid, KNEE * self.critical_W_m2).min(rise_K);
        let (knee_W_m2, knee_slope) = self.joined(liquid, knee_K);
        let room = self.critical_W_m2 - knee_W_m2;
        let left = 1.0 / (1.0 + knee_slope * (rise_K - knee_K) / room);
        (self.critical_W_m2 - room * left, knee_slope * left * left)
    }

    /// The joined branches, without regard to the critical heat flux, on the wetted part.
    fn joined(&self, liquid: &Liquid, rise_K: f64) -> (f64, f64) {
        let (g, g_slope) = liquid.film.at(rise_K);
        let (single, single_slope) = (self.single_phase * g, self.single_phase * g_slope);
        if rise_K <= liquid.subcooling_K || self.boiling == 0.0 {
            return (single, single_slope);
        }
        let power = boiling::power(rise_K);
        let boil = self.boiling * (power - liquid.subcooling_power);
        let boil_slope = self.boiling * boiling::EXPONENT * power / rise_K;
        // Scaled by the larger branch: cubes of fluxes leave the range of numbers early.
        let scale = single.max(boil);
        if scale <= 0.0 {
            return (0.0, single_slope.max(boil_slope));
        }
        let (s, b) = (single / scale, boil / scale);
        let root = (s * s * s + b * b * b).cbrt();
        (scale * root, (s * s * single_slope + b * b * boil_slope) / (root * root))
    }

    /// The rise at which the joined branches carry `target_W_m2` > 0, to about 1e-8.
    ///
    /// The joined curve is (nearly) convex, so that Newton's method from above closes in from
    /// above; a bracket guards what a made-up liquid may do to it.
    fn rise_at_joined(&self, liquid: &Liquid, target_W_m2: f64) -> f64 {
        let (mut low, mut high) = (0.0, f64::INFINITY);
        let mut rise = self.first_guess(liquid, target_W_m2);
        for _ in 0..100 {
            let (q, slope) = self.joined(liquid, rise);
            let miss = q - target_W_m2;
            if miss > 0.0 {
                high = rise;
            } else {
                low = rise;
            }
            let next = rise - miss / slope;
            rise = if next >= low && next <= high {
                next
            } else if high.is_finite() {
                0.5 * (low + high)
            } else {
                2.0 * rise
            };
            // The step just taken squares the error that is left.
            let closed = high.is_finite() && high - low <= 1e-12 * high;
            if miss.abs() <= 1e-4 * target_W_m2 || closed {
                break;
            }
        }
        rise
    }

    /// A rise near which the joined branches carry `target_W_m2`.
    fn first_guess(&self, liquid: &Liquid, target_W_m2: f64) -> f64 {
        let (at_saturation, slope) = self.joined(liquid, liquid.subcooling_K);
        if self.boiling == 0.0 || at_saturation >= target_W_m2 {
            // Single phase alone.
            return liquid.subcooling_K + (target_W_m2 - at_saturation) / slope;
        }
        // Where boiling alone carries the target; then what is left to boiling there.
        let rise = |boil: f64| {
            (boil / self.boiling + liquid.subcooling_power).powf(1.0 / boiling::EXPONENT)
        };
        let high = rise(target_W_m2);
        let single = self.single_phase * liquid.film.at(high).0 / target_W_m2;
        if single < 0.9 {
            rise(target_W_m2 * (1.0 - single * single * single).cbrt())
        } else {
            high.min(target_W_m2 / self.single_phase / liquid.film.slope[0])
        }
    }

    /// Margin to burn-out of the wetted part, see the type: below one the cell is burnt out.
    /// `None` where nothing lands or the surface is not warmer than the liquid.
    pub fn critical_margin(&self, liquid: &Liquid, rise_K: f64) -> Option<f64> {
        if self.wetted_share == 0.0 || !self.critical_W_m2.is_finite() || rise_K <= 0.0 {
            return None;
        }
        let (q, _) = self.joined(liquid, rise_K);
        if q <= 0.0 {
            None
        } else if q <= self.critical_W_m2 {
            Some(self.critical_W_m2 / q)
        } else {
            Some(self.rise_at_joined(liquid, self.critical_W_m2).min(rise_K) / rise_K)
        }
    }

    /// Integral of the flux over the rise from 0 to `rise_K`, W·K/m²: what a minimising line
    /// search adds up. Gauss quadrature between the joints of the curve, good to about 1e-9.
    pub fn energy(&self, liquid: &Liquid, rise_K: f64) -> f64 {
        let film_end = liquid.film.step_K * FILM_INTERVALS as f64;
        let knee_K = if self.wetted_share > 0.0 && self.critical_W_m2.is_finite() {
            self.rise_at_joined(liquid, KNEE * self.critical_W_m2)
        } else {
            rise_K
        };
        let mut ends = [0.0, liquid.subcooling_K, film_end, knee_K, rise_K];
        if rise_K <= 0.0 {
            // One straight piece below the liquid's temperature.
            return 0.5 * rise_K * self.flux(liquid, rise_K).0;
        }
        for end in &mut ends {
            *end = end.clamp(0.0, rise_K);
        }
        ends.sort_by(f64::total_cmp);
        let mut sum = 0.0;
        for piece in ends.windows(2) {
            if piece[1] > piece[0] {
                sum += self.gauss(liquid, piece[0], piece[1]);
            }
        }
        sum
    }

    /// Eight-point Gauss-Legendre on halves of a piece.
    fn gauss(&self, liquid: &Liquid, low: f64, high: f64) -> f64 {
        /// Positive abscissae and weights, Abramowitz and Stegun, table 25.4.
        const POINTS: [(f64, f64); 4] = [
            (0.183_434_642_495_650, 0.362_683_783_378_362),
            (0.525_532_409_916_329, 0.313_706_645_877_887),
            (0.796_666_477_413_627, 0.222_381_034_453_374),
            (0.960_289_856_497_536, 0.101_228_536_290_376),
        ];
        let pieces = 8;
        let width = (high - low) / f64::from(pieces);
        let mut sum = 0.0;
        for piece in 0..pieces {
            let middle = low + (f64::from(piece) + 0.5) * width;
            for (x, weight) in POINTS {
                let offset = 0.5 * width * x;
                sum += weight
                    * (self.flux(liquid, middle - offset).0 + self.flux(liquid, middle + offset).0);
            }
        }
        0.5 * width * sum
    }
}

/// The boiling curves of all cells of a grid; cell `(i, j)` is entry `j * nx + i`.
#[derive(Debug, Clone)]
pub struct CellCurves {
    /// The liquid.
    pub liquid: Arc<Liquid>,
    /// One entry a cell.
    pub curves: Vec<SurfaceCurve>,
}

impl CellCurves {
    /// Flux (W/m²) and its derivative (W/(m²·K)) of a cell; see [`SurfaceCurve::flux`].
    pub fn flux(&self, cell: usize, rise_K: f64) -> (f64, f64) {
        self.curves[cell].flux(&self.liquid, rise_K)
    }

    /// Critical heat flux over local heat flux; see [`SurfaceCurve::critical_margin`].
    pub fn critical_margin(&self, cell: usize, rise_K: f64) -> Option<f64> {
        self.curves[cell].critical_margin(&self.liquid, rise_K)
    }

    /// Integral of the flux of a cell from 0 to `rise_K`, W·K/m².
    pub fn energy(&self, cell: usize, rise_K: f64) -> f64 {
        self.curves[cell].energy(&self.liquid, rise_K)
    }
}

impl crate::conduction::SurfaceLaw for CellCurves {
    fn is_linear(&self) -> bool {
        false
    }

    fn flux(&self, c: usize, rise_K: f64) -> (f64, f64) {
        CellCurves::flux(self, c, rise_K)
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::perfluorohexane_1atm;
    use super::super::{critical_heat_flux, single_phase};
    use super::*;

    /// Perfluorohexane at 1 atm, 0.020 m/s, 150 µm, constant properties.
    fn worked(subcooling_K: f64, share: f64) -> (Liquid, SurfaceCurve) {
        let state = perfluorohexane_1atm();
        let liquid = Liquid::new(
            FilmTable::new((4.0 * subcooling_K).max(1.0), |_| single_phase::liquid_factor(&state)),
            subcooling_K,
        );
        let curve = SurfaceCurve {
            wetted_share: share,
            single_phase: single_phase::flux_factor(0.020, 150e-6),
            boiling: boiling::flux_factor(0.020, 150e-6) * boiling::liquid_factor(&state),
            critical_W_m2: critical_heat_flux::estes_mudawar(&state, 0.020, 150e-6, subcooling_K),
            dry_htc_W_m2K: 200.0,
        };
        (liquid, curve)
    }

    /// Worked by hand: the branches cross at 37.729 K and 6.1258e5 W/m², where the smooth join
    /// lies 2^(1/3) higher, at 7.7180e5.
    #[test]
    fn join_at_the_crossing_is_the_worked_value() {
        let (liquid, curve) = worked(0.0, 1.0);
        let (q, _) = curve.flux(&liquid, 37.729);
        assert!((q / 7.7180e5 - 1.0).abs() < 2e-4, "{q}");
    }

    #[test]
    fn curve_rises_stays_below_the_critical_heat_flux_and_matches_its_derivative() {
        for subcooling in [0.0, 5.0, 32.0] {
            for share in [1.0, 0.4] {
                let (liquid, curve) = worked(subcooling, share);
                let mut before = f64::NEG_INFINITY;
                for k in 0..6000 {
                    let rise = -20.0 + 0.05 * f64::from(k) + 0.0123;
                    let (q, slope) = curve.flux(&liquid, rise);
                    assert!(q > before, "{rise} K: {q} after {before}");
                    assert!(slope > 0.0);
                    let wetted = (q - (1.0 - share) * 200.0 * rise) / share;
                    assert!(wetted <= curve.critical_W_m2);
                    let h = 1e-4;
                    let numeric = (curve.flux(&liquid, rise + h).0
                        - curve.flux(&liquid, rise - h).0)
                        / (2.0 * h);
                    // A joint of the curve inside the difference costs its curvature jump.
                    assert!((numeric / slope - 1.0).abs() < 1e-3, "{rise}: {numeric} {slope}");
                    before = q;
                }
                let far = curve.flux(&liquid, 1e7);
                assert!(far.1 > 0.0 && far.0.is_finite());
            }
        }
    }

    #[test]
    fn nothing_boils_below_saturation() {
        let (liquid, curve) = worked(30.0, 1.0);
        let h = single_phase::rybicki_mudawar(&perfluorohexane_1atm(), 0.020, 150e-6);
        for rise in [-10.0, 1.0, 15.0, 29.999] {
            let (q, _) = curve.flux(&liquid, rise);
            assert!((q / (h * rise) - 1.0).abs() < 1e-12, "{rise}");
        }
        assert!(curve.flux(&liquid, 34.0).0 > 1.005 * h * 34.0);
    }

    #[test]
    fn without_boiling_and_limit_the_curve_is_the_stated_coefficient() {
        let liquid = Liquid::new(FilmTable::new(40.0, |_| 3.0), 1e9);
        let curve = SurfaceCurve {
            wetted_share: 1.0,
            single_phase: 4000.0,
            boiling: 0.0,
            critical_W_m2: f64::INFINITY,
            dry_htc_W_m2K: 0.0,
        };
        for rise in [-7.0, 0.0, 0.3, 12.7, 39.9, 40.0, 55.0, 1000.0] {
            let (q, slope) = curve.flux(&liquid, rise);
            assert!((q - 12_000.0 * rise).abs() <= 1e-12 * 12_000.0 * rise.abs());
            assert!((slope - 12_000.0).abs() < 1e-8);
        }
    }

    #[test]
    fn margin_falls_below_one_exactly_where_boiling_would_pass_the_critical_heat_flux() {
        let (liquid, curve) = worked(0.0, 1.0);
        let burn_out = curve.rise_at_joined(&liquid, curve.critical_W_m2);
        assert!(curve.critical_margin(&liquid, burn_out - 0.01).unwrap() > 1.0);
        assert!(curve.critical_margin(&liquid, burn_out + 0.01).unwrap() < 1.0);
        // Below the knee it is critical heat flux over heat flux.
        let (q, _) = curve.flux(&liquid, 30.0);
        let margin = curve.critical_margin(&liquid, 30.0).unwrap();
        assert!((margin - curve.critical_W_m2 / q).abs() < 1e-12);
        // Beyond, it falls gently and without a step.
        let margin = curve.critical_margin(&liquid, 2.0 * burn_out).unwrap();
        assert!((margin - 0.5).abs() < 1e-6);
        let step = curve.critical_margin(&liquid, burn_out + 1e-6).unwrap();
        assert!((step - 1.0).abs() < 1e-6);
        assert!(SurfaceCurve::dry(100.0).critical_margin(&liquid, 30.0).is_none());
    }

    #[test]
    fn energy_is_the_integral_of_the_flux() {
        let (liquid, curve) = worked(12.0, 0.7);
        for (low, high) in [(-5.0, 3.0), (3.0, 20.0), (20.0, 45.0), (40.0, 90.0)] {
            let n = 200_000;
            let step = (high - low) / f64::from(n);
            let sum: f64 = (0..n)
                .map(|k| step * curve.flux(&liquid, low + (f64::from(k) + 0.5) * step).0)
                .sum();
            let difference = curve.energy(&liquid, high) - curve.energy(&liquid, low);
            assert!((difference / sum - 1.0).abs() < 1e-8, "{low}..{high}: {difference} {sum}");
        }
    }

    #[test]
    fn rise_at_a_flux_is_found_on_every_part_of_the_curve() {
        for subcooling in [0.0, 0.3, 12.0, 60.0] {
            let (liquid, curve) = worked(subcooling, 1.0);
            let mut no_boiling = curve;
            no_boiling.boiling = 0.0;
            for curve in [curve, no_boiling] {
                for k in 0..60 {
                    let target = 10.0 * 1.3f64.powi(k);
                    let rise = curve.rise_at_joined(&liquid, target);
                    // A near start is what makes Newton's method cheap.
                    let guess = curve.first_guess(&liquid, target);
                    assert!(
                        (guess / rise - 1.0).abs() < 0.25,
                        "{subcooling} K, {target}: {guess} {rise}"
                    );
                    let (q, _) = curve.joined(&liquid, rise);
                    assert!((q / target - 1.0).abs() < 1e-7, "{subcooling} K, {target}: {q}");
                }
            }
        }
    }

    /// `g` falls where a made-up liquid's factor collapses: the table must not follow.
    #[test]
    fn film_table_never_falls() {
        let film = FilmTable::new(10.0, |rise| if rise < 5.0 { 1.0 } else { 0.2 });
        let mut before = -1.0;
        for k in 0..2000 {
            let (g, slope) = film.at(0.01 * f64::from(k));
            assert!(g >= before && slope >= 0.0);
            before = g;
        }
    }
}
