//! The cone of one nozzle and the ellipse that it wets on the plane of the module.

use crate::module::Nozzle;

use super::SprayError;

/// A full cone from a point above the plane.
///
/// Lengths are measured from the foot of the orifice: u = x - x0 and v = y - y0; a point of the
/// plane seen from the orifice is p = (u, v, -H). With the unit axis a, half the cone angle g
/// and the angle t between axis and normal (t + g < 90°), the plane is wetted where
///
/// ```text
/// a·p >= cos g |p|
/// ```
///
/// which is an ellipse; for t = 0 a circle of radius H tan g.
///
/// # Tilt
/// An untilted axis points straight down, along -z. Each tilt is the angle of the axis against
/// -z as it appears in the view along that coordinate axis, counted by the right-hand rule: a
/// positive tilt about x swings the spray toward +y, a positive tilt about y swings it toward
/// -x. Both together give the axis
///
/// ```text
/// (-tan(tilt_y), tan(tilt_x), -1) / sqrt(1 + tan²(tilt_x) + tan²(tilt_y))
/// ```
///
/// so that it meets the plane at (x0 - H tan(tilt_y), y0 + H tan(tilt_x)), in whatever order the
/// two are thought to happen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Footprint {
    /// Foot of the orifice, m.
    pub foot_m: [f64; 2],
    /// H, orifice above the plane, m.
    pub standoff_m: f64,
    /// Unit vector from the orifice along the axis; the third component is negative.
    pub axis: [f64; 3],
    /// cos g.
    pub cos_half_cone: f64,
    /// sin g.
    pub sin_half_cone: f64,
    /// Quadratic form of the ellipse, m11, m12, m22: `(w - c)ᵀ M (w - c) <= k`.
    form: [f64; 3],
    /// c, centre of the ellipse from the foot, m.
    centre: [f64; 2],
    /// k, m².
    level_m2: f64,
}

impl Footprint {
    /// The footprint of `nozzle`.
    ///
    /// # Errors
    /// Where the stand-off or the cone is not greater than zero, or the cone does not close on
    /// the plane.
    pub fn of(nozzle: &Nozzle) -> Result<Self, SprayError> {
        let refuse = |quantity: &'static str, value: f64| SprayError::NozzleQuantity {
            nozzle: nozzle.name.clone(),
            quantity,
            value,
        };
        if !(nozzle.standoff_m.is_finite() && nozzle.standoff_m > 0.0) {
            return Err(refuse("stand-off (m)", nozzle.standoff_m));
        }
        if !(nozzle.cone_rad.is_finite() && nozzle.cone_rad > 0.0) {
            return Err(refuse("cone angle (rad)", nozzle.cone_rad));
        }
        let slope = [-nozzle.tilt_rad[1].tan(), nozzle.tilt_rad[0].tan()];
        let tilt = slope[0].hypot(slope[1]).atan();
        let half_cone = 0.5 * nozzle.cone_rad;
        let upright = nozzle.tilt_rad.iter().all(|t| t.abs() < std::f64::consts::FRAC_PI_2);
        // A margin of a microradian keeps the ellipse finite.
        if !upright || tilt + half_cone > std::f64::consts::FRAC_PI_2 - 1e-6 {
            return Err(SprayError::ConeMissesPlane {
                nozzle: nozzle.name.clone(),
                tilt_rad: tilt,
                half_cone_rad: half_cone,
            });
        }
        let height = nozzle.standoff_m;
        let down = 1.0 / (1.0 + slope[0] * slope[0] + slope[1] * slope[1]).sqrt();
        let axis = [slope[0] * down, slope[1] * down, -down];
        let (sin_g, cos_g) = half_cone.sin_cos();
        let cos2 = cos_g * cos_g;
        // cos²g |p|² - (a·p)² = wᵀ M w + 2 d·w + c0 <= 0
        let form = [cos2 - axis[0] * axis[0], -axis[0] * axis[1], cos2 - axis[1] * axis[1]];
        let d = [-axis[0] * down * height, -axis[1] * down * height];
        let c0 = (cos2 - down * down) * height * height;
        let det = form[0] * form[2] - form[1] * form[1];
        let centre =
            [(-d[0] * form[2] + d[1] * form[1]) / det, (d[0] * form[1] - d[1] * form[0]) / det];
        let level_m2 = -(d[0] * centre[0] + d[1] * centre[1]) - c0;
        Ok(Footprint {
            foot_m: nozzle.at_m,
            standoff_m: height,
            axis,
            cos_half_cone: cos_g,
            sin_half_cone: sin_g,
            form,
            centre,
            level_m2,
        })
    }

    /// Solid angle of the whole cone, `2 pi (1 - cos g)`, sr.
    pub fn solid_angle_sr(&self) -> f64 {
        // 1 - cos g = sin²g / (1 + cos g) keeps its digits for narrow cones.
        2.0 * std::f64::consts::PI * self.sin_half_cone * self.sin_half_cone
            / (1.0 + self.cos_half_cone)
    }

    /// Centre of the ellipse in module coordinates, m.
    pub fn centre_m(&self) -> [f64; 2] {
        [self.foot_m[0] + self.centre[0], self.foot_m[1] + self.centre[1]]
    }

    /// Area of the ellipse, m².
    pub fn area_m2(&self) -> f64 {
        std::f64::consts::PI * self.level_m2 / self.determinant().sqrt()
    }

    /// Semi-axes, longer first, m, and the direction of the longer one against x, rad.
    pub fn semi_axes_m(&self) -> ([f64; 2], f64) {
        let mean = 0.5 * (self.form[0] + self.form[2]);
        let half_difference = 0.5 * (self.form[0] - self.form[2]);
        let radius = half_difference.hypot(self.form[1]);
        // The longer semi-axis belongs to the smaller eigenvalue.
        let axes =
            [(self.level_m2 / (mean - radius)).sqrt(), (self.level_m2 / (mean + radius)).sqrt()];
        let direction =
            if radius == 0.0 { 0.0 } else { 0.5 * (-self.form[1]).atan2(-half_difference) };
        (axes, direction)
    }

    /// `n` points of the outline, counter-clockwise, module coordinates, m: for drawings.
    pub fn outline_m(&self, n: usize) -> Vec<[f64; 2]> {
        let ([long, short], direction) = self.semi_axes_m();
        let (sin_d, cos_d) = direction.sin_cos();
        let [x, y] = self.centre_m();
        (0..n)
            .map(|k| {
                let (sin_t, cos_t) = (2.0 * std::f64::consts::PI * k as f64 / n as f64).sin_cos();
                [
                    x + long * cos_t * cos_d - short * sin_t * sin_d,
                    y + long * cos_t * sin_d + short * sin_t * cos_d,
                ]
            })
            .collect()
    }

    /// Whether the point (u, v) from the foot is wetted.
    pub(super) fn wets(&self, u: f64, v: f64) -> bool {
        let (du, dv) = (u - self.centre[0], v - self.centre[1]);
        self.form[0] * du * du + 2.0 * self.form[1] * du * dv + self.form[2] * dv * dv
            <= self.level_m2
    }

    /// The wetted interval of u on the line v, if the line meets the ellipse.
    pub(super) fn interval_u(&self, v: f64) -> Option<[f64; 2]> {
        interval(self.form[0], self.form[1], self.form[2], self.level_m2, self.centre, v)
    }

    /// The wetted interval of v on the line u, if the line meets the ellipse.
    pub(super) fn interval_v(&self, u: f64) -> Option<[f64; 2]> {
        let centre = [self.centre[1], self.centre[0]];
        interval(self.form[2], self.form[1], self.form[0], self.level_m2, centre, u)
    }

    /// Smallest and largest u of the ellipse.
    pub(super) fn range_u(&self) -> [f64; 2] {
        let half = (self.level_m2 * self.form[2] / self.determinant()).sqrt();
        [self.centre[0] - half, self.centre[0] + half]
    }

    /// Smallest and largest v of the ellipse.
    pub(super) fn range_v(&self) -> [f64; 2] {
        let half = (self.level_m2 * self.form[0] / self.determinant()).sqrt();
        [self.centre[1] - half, self.centre[1] + half]
    }

    /// v at the smallest and at the largest u.
    pub(super) fn v_at_range_u(&self) -> [f64; 2] {
        let half = (self.level_m2 * self.form[2] / self.determinant()).sqrt();
        let shift = -self.form[1] / self.form[2] * half;
        [self.centre[1] - shift, self.centre[1] + shift]
    }

    /// The lower triangular map L with `w = centre + L (cos s, sin s)` on the outline: l11, l21,
    /// l22.
    pub(super) fn outline_map(&self) -> [f64; 3] {
        // L Lᵀ = k M⁻¹
        let det = self.determinant();
        let l11 = (self.level_m2 * self.form[2] / det).sqrt();
        let l21 = -self.level_m2 * self.form[1] / det / l11;
        let l22 = (self.level_m2 / self.form[2]).sqrt();
        [l11, l21, l22]
    }

    /// Centre of the ellipse from the foot, m.
    pub(super) fn centre_from_foot(&self) -> [f64; 2] {
        self.centre
    }

    fn determinant(&self) -> f64 {
        self.form[0] * self.form[2] - self.form[1] * self.form[1]
    }
}

/// Solutions of `m11 du² + 2 m12 du dv + m22 dv² <= k` for u at a given v.
fn interval(m11: f64, m12: f64, m22: f64, k: f64, centre: [f64; 2], v: f64) -> Option<[f64; 2]> {
    let dv = v - centre[1];
    let middle = centre[0] - m12 / m11 * dv;
    let square = (k - (m22 - m12 * m12 / m11) * dv * dv) / m11;
    (square >= 0.0).then(|| {
        let half = square.sqrt();
        [middle - half, middle + half]
    })
}

#[cfg(test)]
mod tests {
    use super::super::testing::nozzle;
    use super::*;

    /// Derived by hand for an axis 20° from the normal: ends at H tan(20° ± 27.5°).
    #[test]
    fn tilted_cone_wets_the_ellipse_of_the_worked_example() {
        let mut tilted = nozzle([0.0, 0.0], 0.012, 55.0, 6e-6);
        // Toward +x: a negative tilt about y.
        tilted.tilt_rad = [0.0, -20f64.to_radians()];
        let footprint = Footprint::of(&tilted).unwrap();
        let ([long, short], direction) = footprint.semi_axes_m();
        assert!((long - 7.3378e-3).abs() < 5e-8);
        assert!((short - 6.7703e-3).abs() < 5e-8);
        assert!(direction.abs() < 1e-9);
        assert!((footprint.centre_m()[0] - 5.7579e-3).abs() < 5e-8);
        assert!(footprint.centre_m()[1].abs() < 1e-15);
        assert!((footprint.area_m2() - 156.07e-6).abs() < 5e-9);
        let ends = footprint.range_u();
        assert!((ends[0] + 1.5798e-3).abs() < 5e-8 && (ends[1] - 13.0957e-3).abs() < 5e-8);
    }

    #[test]
    fn positive_tilts_swing_the_spray_by_the_right_hand_rule() {
        let mut about_x = nozzle([0.01, 0.02], 0.010, 40.0, 1e-6);
        about_x.tilt_rad = [10f64.to_radians(), 0.0];
        let centre = Footprint::of(&about_x).unwrap().centre_m();
        assert!(centre[1] > 0.021 && (centre[0] - 0.01).abs() < 1e-12);
        let mut about_y = nozzle([0.01, 0.02], 0.010, 40.0, 1e-6);
        about_y.tilt_rad = [0.0, 10f64.to_radians()];
        let centre = Footprint::of(&about_y).unwrap().centre_m();
        assert!(centre[0] < 0.009 && (centre[1] - 0.02).abs() < 1e-12);
    }

    #[test]
    fn outline_points_lie_at_half_the_cone_angle_from_the_axis() {
        let mut both = nozzle([0.01, 0.02], 0.009, 50.0, 1e-6);
        both.tilt_rad = [12f64.to_radians(), -17f64.to_radians()];
        let footprint = Footprint::of(&both).unwrap();
        for [x, y] in footprint.outline_m(37) {
            let p = [x - 0.01, y - 0.02, -0.009];
            let length = (p[0] * p[0] + p[1] * p[1] + p[2] * p[2]).sqrt();
            let cos: f64 = p.iter().zip(&footprint.axis).map(|(a, b)| a * b).sum::<f64>() / length;
            assert!((cos - 25f64.to_radians().cos()).abs() < 1e-12);
        }
        // Lines through the extreme points only touch.
        let [low, high] = footprint.range_v();
        let touch = footprint.interval_u(high - 1e-12).unwrap();
        assert!(touch[1] - touch[0] < 1e-6);
        assert!(footprint.interval_u(high + 1e-9).is_none());
        assert!(footprint.interval_u(low - 1e-9).is_none());
        let [left, right] = footprint.v_at_range_u();
        let [u0, u1] = footprint.range_u();
        assert!((footprint.interval_u(left).unwrap()[0] - u0).abs() < 1e-12);
        assert!((footprint.interval_u(right).unwrap()[1] - u1).abs() < 1e-12);
    }

    #[test]
    fn a_cone_that_does_not_close_on_the_module_is_refused() {
        let mut flat = nozzle([0.0, 0.0], 0.01, 80.0, 1e-6);
        flat.tilt_rad = [0.0, 50f64.to_radians()];
        let message = Footprint::of(&flat).unwrap_err().to_string();
        assert!(message.contains("50.0 degrees with half a cone of 40.0 degrees"), "{message}");
        let message = Footprint::of(&nozzle([0.0, 0.0], 0.0, 80.0, 1e-6)).unwrap_err().to_string();
        assert!(message.contains("stand-off"), "{message}");
    }
}
