//! The cap of nozzles mounted off its place.
//!
//! The cap is a stiff plate. It is moved by dx and dy, raised, and tilted about the point over the
//! middle of the module at the mean height of its orifices: with R the turn by the angle a about
//! an axis of the plane, an orifice at r from that point moves to R r, and its axis turns with it.
//! A tilt about x swings the spray toward +y, as for a single nozzle, so that the cap's +y edge
//! rises.

use serde::{Deserialize, Serialize};

use super::points::Points;
use crate::module::{Module, Spray};

/// Where the cap is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the names say it, with their units")]
pub struct Place {
    pub dx_mm: f64,
    pub dy_mm: f64,
    pub raise_mm: f64,
    pub tilt_x_deg: f64,
    pub tilt_y_deg: f64,
}

/// The points of a study of the cap's place.
#[derive(Debug)]
pub struct Offset<'m> {
    module: &'m Module,
    /// In the order of the points.
    pub places: Vec<Place>,
}

impl<'m> Offset<'m> {
    /// `None` without nozzles.
    pub fn new(module: &'m Module, places: Vec<Place>) -> Option<Offset<'m>> {
        matches!(module.spray, Spray::Correlated(_)).then_some(Offset { module, places })
    }
}

impl Points for Offset<'_> {
    fn count(&self) -> usize {
        self.places.len()
    }

    fn module(&self, k: usize) -> Result<Module, String> {
        let module = moved(self.module, &self.places[k]);
        if let Spray::Correlated(spray) = &module.spray
            && let Some(nozzle) = spray.nozzles.iter().find(|n| n.standoff_m <= 0.0)
        {
            return Err(format!("nozzle {} would touch the module", nozzle.name));
        }
        Ok(module)
    }
}

/// `module` with its cap at `place`.
pub fn moved(module: &Module, place: &Place) -> Module {
    let mut moved = module.clone();
    let middle = module.outline().centre_m();
    if let Spray::Correlated(spray) = &mut moved.spray {
        let n = spray.nozzles.len().max(1) as f64;
        let height = spray.nozzles.iter().map(|nozzle| nozzle.standoff_m).sum::<f64>() / n;
        // Turning about x by the right hand lifts +y and swings -z toward +y.
        let (sin_x, cos_x) = place.tilt_x_deg.to_radians().sin_cos();
        let (sin_y, cos_y) = place.tilt_y_deg.to_radians().sin_cos();
        let turned = |[x, y, z]: [f64; 3]| {
            let [y, z] = [y * cos_x - z * sin_x, y * sin_x + z * cos_x];
            [x * cos_y + z * sin_y, y, z * cos_y - x * sin_y]
        };
        for nozzle in &mut spray.nozzles {
            if place.tilt_x_deg != 0.0 || place.tilt_y_deg != 0.0 {
                let from = [
                    nozzle.at_m[0] - middle[0],
                    nozzle.at_m[1] - middle[1],
                    nozzle.standoff_m - height,
                ];
                let [x, y, z] = turned(from);
                nozzle.at_m = [middle[0] + x, middle[1] + y];
                nozzle.standoff_m = height + z;
                let [x, y, z] = turned([-nozzle.tilt_rad[1].tan(), nozzle.tilt_rad[0].tan(), -1.0]);
                nozzle.tilt_rad = [(y / -z).atan(), -(x / -z).atan()];
            }
            nozzle.at_m[0] += place.dx_mm * 1e-3;
            nozzle.at_m[1] += place.dy_mm * 1e-3;
            nozzle.standoff_m += place.raise_mm * 1e-3;
        }
    }
    moved
}

/// Radius of the largest circle around no offset inside which `margin` stays above zero, on a grid
/// of offsets, and whether the grid ends before a margin does. Between the points of the grid the
/// margin is taken as linear along the edges of the two triangles of each box; a place without a
/// number counts as broken.
///
/// `margin[j * xs.len() + i]` belongs to `(xs[i], ys[j])`, both ascending.
pub fn safe_radius(xs: &[f64], ys: &[f64], margin: &[f64]) -> Option<(f64, bool)> {
    let nx = xs.len();
    let reach = [xs.first()?, xs.last()?, ys.first()?, ys.last()?];
    let reach = reach.iter().map(|v| v.abs()).fold(f64::INFINITY, f64::min);
    let at = |i: usize, j: usize| {
        let value = margin[j * nx + i];
        if value.is_nan() { f64::NEG_INFINITY } else { value }
    };
    let mut nearest = f64::INFINITY;
    let mut piece = |a: [f64; 2], b: [f64; 2]| nearest = nearest.min(distance(a, b));
    for j in 0..ys.len() {
        for i in 0..nx {
            if at(i, j) < 0.0 {
                piece([xs[i], ys[j]], [xs[i], ys[j]]);
            }
        }
    }
    for j in 1..ys.len() {
        for i in 1..nx {
            let corner = |i: usize, j: usize| ([xs[i], ys[j]], at(i, j));
            let [a, b, c, d] =
                [corner(i - 1, j - 1), corner(i, j - 1), corner(i - 1, j), corner(i, j)];
            for triangle in [[a, b, d], [a, c, d]] {
                let mut ends: Vec<[f64; 2]> = Vec::new();
                for (p, q) in [(0, 1), (1, 2), (2, 0)] {
                    let ((from, low), (to, high)) = (triangle[p], triangle[q]);
                    if (low < 0.0) == (high < 0.0) {
                        continue;
                    }
                    let share = low / (low - high);
                    // Beside a place without a solution nothing is taken for granted.
                    let share = if low == f64::NEG_INFINITY {
                        1.0
                    } else if high == f64::NEG_INFINITY {
                        0.0
                    } else {
                        share
                    };
                    ends.push([0, 1].map(|k| from[k] + share * (to[k] - from[k])));
                }
                if let [p, q] = ends[..] {
                    piece(p, q);
                }
            }
        }
    }
    Some(if nearest < reach { (nearest, false) } else { (reach, true) })
}

/// Distance of a piece of line from the origin.
fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    let along = [b[0] - a[0], b[1] - a[1]];
    let square = along[0] * along[0] + along[1] * along[1];
    let share = if square > 0.0 {
        (-(a[0] * along[0] + a[1] * along[1]) / square).clamp(0.0, 1.0)
    } else {
        0.0
    };
    (a[0] + share * along[0]).hypot(a[1] + share * along[1])
}

#[cfg(test)]
mod tests {
    use super::super::testing::with_nozzles;
    use super::*;
    use crate::spray::Footprint;

    const HOME: Place =
        Place { dx_mm: 0.0, dy_mm: 0.0, raise_mm: 0.0, tilt_x_deg: 0.0, tilt_y_deg: 0.0 };

    fn nozzles(module: &Module) -> Vec<crate::module::Nozzle> {
        let Spray::Correlated(spray) = &module.spray else { panic!("nozzles") };
        spray.nozzles.clone()
    }

    #[test]
    fn no_offset_changes_nothing_and_a_shift_moves_every_foot() {
        let module = with_nozzles();
        assert_eq!(nozzles(&moved(&module, &HOME)), nozzles(&module));
        let place = Place { dx_mm: 0.5, dy_mm: -0.25, raise_mm: 1.0, ..HOME };
        for (a, b) in nozzles(&moved(&module, &place)).iter().zip(&nozzles(&module)) {
            assert!((a.at_m[0] - b.at_m[0] - 5e-4).abs() < 1e-15);
            assert!((a.at_m[1] - b.at_m[1] + 2.5e-4).abs() < 1e-15);
            assert!((a.standoff_m - b.standoff_m - 1e-3).abs() < 1e-15);
        }
    }

    /// A stiff cap keeps distances between orifices and angles between axes, and a tilt about x
    /// of an upright nozzle in the middle is the nozzle's own tilt about x.
    #[test]
    fn a_tilted_cap_stays_stiff_and_swings_like_a_nozzle() {
        let module = with_nozzles();
        let place = Place { tilt_x_deg: 3.0, tilt_y_deg: -2.0, ..HOME };
        let (before, after) = (nozzles(&module), nozzles(&moved(&module, &place)));
        let point = |n: &crate::module::Nozzle| [n.at_m[0], n.at_m[1], n.standoff_m];
        let axis = |n: &crate::module::Nozzle| Footprint::of(n).unwrap().axis;
        let apart =
            |a: [f64; 3], b: [f64; 3]| (0..3).map(|k| (a[k] - b[k]).powi(2)).sum::<f64>().sqrt();
        for a in 0..3 {
            for b in 0..3 {
                let [was, is] = [&before, &after].map(|n| apart(point(&n[a]), point(&n[b])));
                assert!((was - is).abs() < 1e-12);
                let [was, is] = [&before, &after].map(|n| apart(axis(&n[a]), axis(&n[b])));
                assert!((was - is).abs() < 1e-12);
            }
        }
        let mut single = module.clone();
        if let Spray::Correlated(spray) = &mut single.spray {
            spray.nozzles.truncate(1);
            spray.nozzles[0].at_m = module.outline().centre_m();
        }
        let tilted = nozzles(&moved(&single, &Place { tilt_x_deg: 4.0, ..HOME }));
        assert!((tilted[0].tilt_rad[0] - 4f64.to_radians()).abs() < 1e-14);
        assert!(tilted[0].tilt_rad[1].abs() < 1e-14);
        assert!((tilted[0].at_m[1] - single.outline().centre_m()[1]).abs() < 1e-15);
    }

    /// A cone of margin, 1 - r / 0.7: broken beyond 0.7 in every direction.
    #[test]
    fn the_safe_circle_ends_where_the_margin_does() {
        let xs: Vec<f64> = (-20..=20).map(|k| f64::from(k) * 0.05).collect();
        let cone: Vec<f64> =
            xs.iter().flat_map(|y| xs.iter().map(move |x| 1.0 - x.hypot(*y) / 0.7)).collect();
        let (radius, open) = safe_radius(&xs, &xs, &cone).unwrap();
        assert!((radius - 0.7).abs() < 0.002 && !open, "{radius}");
        let kept = vec![1.0; xs.len() * xs.len()];
        assert_eq!(safe_radius(&xs, &xs, &kept), Some((1.0, true)));
        let mut hole = kept.clone();
        hole[20 * 41 + 26] = f64::NAN;
        let (radius, _) = safe_radius(&xs, &xs, &hole).unwrap();
        assert!((radius - 0.25).abs() < 1e-9, "one box nearer than the hole: {radius}");
        assert_eq!(safe_radius(&xs, &xs, &vec![-1.0; xs.len() * xs.len()]), Some((0.0, false)));
    }
}
