//! How much of a cone, and of the ellipse that it wets, lies in a rectangle: closed forms.
//!
//! The drops of a full-cone point source spread evenly over the solid angle of the cone, so the
//! flow that lands on any part of the plane is the solid angle of that part, inside the cone,
//! seen from the orifice. On the unit sphere around the orifice the cone is a cap and a straight
//! line of the plane is a great circle, so the part left of one line and below another is
//! bounded by arcs of two great circles and one small circle. The theorem of Gauss and Bonnet
//! gives its area:
//!
//! ```text
//! solid angle = 2 pi - sum of exterior angles - cos g × (azimuth of the cap's rim on it)
//! ```
//!
//! (great circles have no geodesic curvature; the rim has cot g over a length sin g per unit of
//! azimuth). A rectangle is the sum of four such quadrants with alternating signs, so a grid of
//! cells adds up to its outline to rounding.

use std::f64::consts::PI;

use super::footprint::Footprint;

/// A part of a footprint.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Part {
    /// Solid angle seen from the orifice, inside the cone, sr.
    pub solid_angle_sr: f64,
    /// Area inside the ellipse, m².
    pub area_m2: f64,
}

impl Part {
    fn plus(self, other: Part, sign: f64) -> Part {
        Part {
            solid_angle_sr: self.solid_angle_sr + sign * other.solid_angle_sr,
            area_m2: self.area_m2 + sign * other.area_m2,
        }
    }
}

/// Where a grid line passes the footprint, and the part on its lower side.
#[derive(Debug, Clone, Copy)]
pub enum Line {
    /// The whole footprint lies on the upper side.
    Before,
    /// The line cuts the footprint.
    Cuts(Cut),
    /// The whole footprint lies on the lower side.
    After,
}

/// A line that cuts the footprint. Angles in rad.
#[derive(Debug, Clone, Copy)]
pub struct Cut {
    /// Position from the foot, m.
    position: f64,
    /// The wetted interval along the line, from the foot, m.
    chord: [f64; 2],
    /// Exterior angle between the rim and the line's great circle.
    exterior: f64,
    /// Azimuth about the axis of the middle of the rim beyond the line.
    azimuth: f64,
    /// Half the azimuth of that rim.
    half_azimuth: f64,
    /// Signed distance of the line from the centre of the ellipse mapped to the unit circle.
    distance: f64,
    /// The part on the lower side.
    lower: Part,
}

/// Cuts grid lines and cells out of one footprint.
#[derive(Debug, Clone, Copy)]
pub struct Clipper<'a> {
    footprint: &'a Footprint,
    /// Unit vectors that span the plane across the axis: azimuth runs from the first to the
    /// second, counter-clockwise seen from above.
    across: [[f64; 3]; 2],
    /// The map from the unit circle to the ellipse: l11, l21, l22.
    map: [f64; 3],
    /// Length and direction of the row (l21, l22).
    row: [f64; 2],
    whole: Part,
}

impl<'a> Clipper<'a> {
    /// A clipper for `footprint`.
    pub fn new(footprint: &'a Footprint) -> Self {
        let a = footprint.axis;
        let length = (a[1] * a[1] + a[2] * a[2]).sqrt();
        let first = [length, -a[0] * a[1] / length, -a[0] * a[2] / length];
        let second = [
            -(a[1] * first[2] - a[2] * first[1]),
            -(a[2] * first[0] - a[0] * first[2]),
            -(a[0] * first[1] - a[1] * first[0]),
        ];
        let map = footprint.outline_map();
        Clipper {
            footprint,
            across: [first, second],
            map,
            row: [map[1].hypot(map[2]), map[2].atan2(map[1])],
            whole: Part {
                solid_angle_sr: footprint.solid_angle_sr(),
                area_m2: footprint.area_m2(),
            },
        }
    }

    /// The line `u = position` (from the foot, m); its lower side is the smaller u.
    pub fn line_u(&self, position: f64) -> Line {
        let range = self.footprint.range_u();
        let normal = [self.footprint.standoff_m, 0.0, position];
        let distance = (position - self.footprint.centre_from_foot()[0]) / self.map[0];
        self.line(position, range, normal, distance, self.footprint.interval_v(position))
    }

    /// The line `v = position` (from the foot, m); its lower side is the smaller v.
    pub fn line_v(&self, position: f64) -> Line {
        let range = self.footprint.range_v();
        let normal = [0.0, self.footprint.standoff_m, position];
        let distance = (position - self.footprint.centre_from_foot()[1]) / self.row[0];
        self.line(position, range, normal, distance, self.footprint.interval_u(position))
    }

    fn line(
        &self,
        position: f64,
        range: [f64; 2],
        normal: [f64; 3],
        distance: f64,
        chord: Option<[f64; 2]>,
    ) -> Line {
        if position <= range[0] {
            return Line::Before;
        }
        if position >= range[1] {
            return Line::After;
        }
        let Some(chord) = chord else {
            // Within rounding of an end.
            return if distance < 0.0 { Line::Before } else { Line::After };
        };
        let (sin_g, cos_g) = (self.footprint.sin_half_cone, self.footprint.cos_half_cone);
        let length = dot(normal, normal).sqrt();
        // Sine of the angle from the axis to the line's great circle.
        let c = dot(self.footprint.axis, normal) / length;
        // Angle x between rim and great circle, inside; the azimuth of the lower rim follows
        // from it (right spherical triangle), so that rounding of x cancels in the solid angle
        // where the line almost touches.
        let x = (c / sin_g).clamp(-1.0, 1.0).acos();
        let rim = x.sin().atan2(cos_g * x.cos());
        let (exterior, half_azimuth) = (PI - x, PI - rim);
        let distance = distance.clamp(-1.0, 1.0);
        let lower = Part {
            solid_angle_sr: 2.0 * (x - cos_g * rim),
            area_m2: self.map[0]
                * self.map[2]
                * (PI - distance.acos() + distance * chord_half(distance)),
        };
        Line::Cuts(Cut {
            position,
            chord,
            exterior,
            azimuth: dot(self.across[1], normal).atan2(dot(self.across[0], normal)),
            half_azimuth,
            distance,
            lower,
        })
    }

    /// The part of the footprint on the lower side of both lines.
    pub fn quadrant(&self, line_u: &Line, line_v: &Line) -> Part {
        match (line_u, line_v) {
            (Line::Before, _) | (_, Line::Before) => Part::default(),
            (Line::After, Line::After) => self.whole,
            (Line::Cuts(cut), Line::After) | (Line::After, Line::Cuts(cut)) => cut.lower,
            (Line::Cuts(u), Line::Cuts(v)) => self.crossing(u, v),
        }
    }

    /// Two lines that both cut the footprint.
    fn crossing(&self, u: &Cut, v: &Cut) -> Part {
        if self.footprint.wets(u.position, v.position) {
            return self.corner_inside(u, v);
        }
        // The lines cross outside the ellipse: exactly one of the four quadrants is empty.
        let chord_is_below = v.position > 0.5 * (u.chord[0] + u.chord[1]);
        let chord_is_left = u.position > 0.5 * (v.chord[0] + v.chord[1]);
        match (chord_is_left, chord_is_below) {
            (true, true) => u.lower.plus(v.lower, 1.0).plus(self.whole, -1.0),
            (false, true) => u.lower,
            (true, false) => v.lower,
            (false, false) => Part::default(),
        }
    }

    /// The lines cross inside the ellipse: two straight sides and one arc.
    fn corner_inside(&self, u: &Cut, v: &Cut) -> Part {
        let height2 = self.footprint.standoff_m * self.footprint.standoff_m;
        let cos_corner = u.position * v.position
            / ((height2 + u.position * u.position) * (height2 + v.position * v.position)).sqrt();
        let mut between = (v.azimuth - u.azimuth).abs();
        if between > PI {
            between = 2.0 * PI - between;
        }
        let rim = 2.0 * PI - between - u.half_azimuth - v.half_azimuth;
        let solid_angle_sr = 2.0 * PI
            - cos_corner.acos()
            - u.exterior
            - v.exterior
            - self.footprint.cos_half_cone * rim;

        // The same figure on the plane, mapped to the unit circle: sector plus two triangles.
        let [l11, l21, l22] = self.map;
        let (sin_row, cos_row) = self.row[1].sin_cos();
        let sector = 2.0 * PI - self.row[1].abs() - u.distance.acos() - v.distance.acos();
        let corner = [u.distance, (v.distance * self.row[0] - l21 * u.distance) / l22];
        let below = [u.distance, -chord_half(u.distance)];
        let along = chord_half(v.distance);
        let left = [v.distance * cos_row - along * sin_row, v.distance * sin_row + along * cos_row];
        let area = 0.5 * (sector + cross(below, corner) + cross(corner, left));
        Part { solid_angle_sr, area_m2: l11 * l22 * area }
    }

    /// The part of the footprint inside the rectangle between two lines of each kind, never
    /// negative.
    pub fn rectangle(&self, u: [&Line; 2], v: [&Line; 2]) -> Part {
        let part = self
            .quadrant(u[1], v[1])
            .plus(self.quadrant(u[0], v[1]), -1.0)
            .plus(self.quadrant(u[1], v[0]), -1.0)
            .plus(self.quadrant(u[0], v[0]), 1.0);
        Part { solid_angle_sr: part.solid_angle_sr.max(0.0), area_m2: part.area_m2.max(0.0) }
    }
}

/// Half the chord of the unit circle at a distance from its centre.
fn chord_half(distance: f64) -> f64 {
    ((1.0 - distance) * (1.0 + distance)).sqrt()
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn cross(a: [f64; 2], b: [f64; 2]) -> f64 {
    a[0] * b[1] - a[1] * b[0]
}

#[cfg(test)]
mod tests {
    use super::super::testing::nozzle;
    use super::*;

    fn tilted(tilt_deg: [f64; 2], cone_deg: f64) -> Footprint {
        let mut nozzle = nozzle([0.0, 0.0], 0.01, cone_deg, 1e-6);
        nozzle.tilt_rad = [tilt_deg[0].to_radians(), tilt_deg[1].to_radians()];
        Footprint::of(&nozzle).unwrap()
    }

    /// Midpoint sums over fine strips of v with the exact antiderivative in u.
    fn by_strips(f: &Footprint, u: [f64; 2], v: [f64; 2]) -> Part {
        let n = 40_000;
        let step = (v[1] - v[0]) / f64::from(n);
        let h = f.standoff_m;
        let mut sum = Part::default();
        for k in 0..n {
            let y = v[0] + (f64::from(k) + 0.5) * step;
            let Some([a, b]) = f.interval_u(y) else { continue };
            let (a, b) = (a.max(u[0]), b.min(u[1]));
            if a < b {
                let primitive = |x: f64| h * x / ((h * h + y * y) * (h * h + x * x + y * y).sqrt());
                sum.solid_angle_sr += step * (primitive(b) - primitive(a));
                sum.area_m2 += step * (b - a);
            }
        }
        sum
    }

    #[test]
    fn rectangles_in_any_position_agree_with_fine_strips() {
        for footprint in [
            tilted([0.0, 0.0], 55.0),
            tilted([15.0, -20.0], 60.0),
            tilted([-35.0, 10.0], 70.0),
            tilted([3.0, 30.0], 20.0),
        ] {
            let [u0, u1] = footprint.range_u();
            let [v0, v1] = footprint.range_v();
            let at = |range: [f64; 2], share: f64| range[0] + share * (range[1] - range[0]);
            let clipper = Clipper::new(&footprint);
            let shares = [-0.2, 0.03, 0.21, 0.48, 0.77, 0.96, 1.3];
            for (i, &a) in shares.iter().enumerate() {
                for &b in &shares[i + 1..] {
                    for (j, &c) in shares.iter().enumerate() {
                        for &d in &shares[j + 1..] {
                            let u = [at([u0, u1], a), at([u0, u1], b)];
                            let v = [at([v0, v1], c), at([v0, v1], d)];
                            let lines_u = u.map(|x| clipper.line_u(x));
                            let lines_v = v.map(|x| clipper.line_v(x));
                            let got = clipper
                                .rectangle([&lines_u[0], &lines_u[1]], [&lines_v[0], &lines_v[1]]);
                            // Strips are expensive: a third of the positions is plenty.
                            if (i + 2 * j) % 3 != 0 {
                                continue;
                            }
                            let expected = by_strips(&footprint, u, v);
                            let whole = clipper.whole;
                            assert!(
                                (got.solid_angle_sr - expected.solid_angle_sr).abs()
                                    < 1e-6 * whole.solid_angle_sr,
                                "u {a}..{b}, v {c}..{d}: {got:?} {expected:?}"
                            );
                            assert!(
                                (got.area_m2 - expected.area_m2).abs() < 1e-6 * whole.area_m2,
                                "u {a}..{b}, v {c}..{d}: {got:?} {expected:?}"
                            );
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn rectangle_inside_the_cone_has_the_solid_angle_of_the_rectangle() {
        let footprint = tilted([8.0, 5.0], 60.0);
        let clipper = Clipper::new(&footprint);
        let h = footprint.standoff_m;
        let corner = |u: f64, v: f64| (u * v / (h * (h * h + u * u + v * v).sqrt())).atan();
        let (u, v) = ([-0.0011, 0.0007], [-0.0003, 0.0016]);
        let exact =
            corner(u[1], v[1]) - corner(u[0], v[1]) - corner(u[1], v[0]) + corner(u[0], v[0]);
        let (lu, lv) = (u.map(|x| clipper.line_u(x)), v.map(|x| clipper.line_v(x)));
        let got = clipper.rectangle([&lu[0], &lu[1]], [&lv[0], &lv[1]]);
        assert!((got.solid_angle_sr - exact).abs() < 1e-14, "{got:?} {exact}");
        assert!((got.area_m2 - 0.0018 * 0.0019).abs() < 1e-18);
    }

    #[test]
    fn lines_that_only_touch_give_nothing_and_everything() {
        let footprint = tilted([0.0, 0.0], 55.0);
        let clipper = Clipper::new(&footprint);
        let radius = 0.01 * 27.5f64.to_radians().tan();
        for off in [-1e-15, 0.0, 1e-15] {
            let left = clipper.line_u(-radius + off);
            let right = clipper.line_u(radius + off);
            let top = clipper.line_v(1.0);
            assert!(clipper.quadrant(&left, &top).solid_angle_sr.abs() < 1e-13);
            let nearly = clipper.quadrant(&right, &top).solid_angle_sr;
            assert!((nearly - footprint.solid_angle_sr()).abs() < 1e-13);
        }
    }
}
