//! Bodies that warm and cool: plane wall, half space, lump, and a plate under a square wave.

use std::f64::consts::PI;

/// Roots of `z tan z = Bi`, one between each pair of poles, by bisection.
pub fn wall_roots(biot: f64, count: usize) -> Vec<f64> {
    (0..count)
        .map(|n| {
            let (mut low, mut high) = (n as f64 * PI, (n as f64 + 0.5) * PI - 1e-12);
            for _ in 0..200 {
                let middle = 0.5 * (low + high);
                if middle * middle.tan() < biot { low = middle } else { high = middle }
            }
            0.5 * (low + high)
        })
        .collect()
}

/// Coefficient of a root in the series of the plane wall, `4 sin z / (2 z + sin 2 z)`.
pub fn wall_coefficient(root: f64) -> f64 {
    4.0 * root.sin() / (2.0 * root + (2.0 * root).sin())
}

/// Plane wall at one temperature, cooled from time 0 on one face, insulated on the other: excess
/// of the insulated face over the medium, of the first excess.
///
///     theta = sum C_n exp(-z_n^2 Fo),  z_n tan z_n = Bi
pub fn plane_wall(biot: f64, fourier: f64) -> f64 {
    wall_roots(biot, 60).iter().map(|z| wall_coefficient(*z) * (-z * z * fourier).exp()).sum()
}

/// Complementary error function by its power series, for arguments up to 3.
pub fn erfc(z: f64) -> f64 {
    let mut term = z;
    let mut sum = z;
    for n in 1..200 {
        term *= -z * z / n as f64;
        sum += term / (2 * n + 1) as f64;
    }
    1.0 - 2.0 / PI.sqrt() * sum
}

/// Half space under a steady flux q from time 0: rise at depth x.
///
///     2 q/k (a t/pi)^(1/2) exp(-x^2/(4 a t)) - q x/k erfc(x/(2 (a t)^(1/2)))
pub fn half_space_flux(flux: f64, conductivity: f64, diffusivity: f64, x: f64, time: f64) -> f64 {
    let at = diffusivity * time;
    2.0 * flux / conductivity * (at / PI).sqrt() * (-x * x / (4.0 * at)).exp()
        - flux * x / conductivity * erfc(x / (2.0 * at.sqrt()))
}

/// A thin plate with a square wave of heat over its left half, in the state that comes back.
#[derive(Debug, Clone, Copy)]
pub struct PulsedPlate {
    /// Length, m; the half of it is heated.
    pub length: f64,
    /// Conductivity times thickness, W/K.
    pub conductance: f64,
    /// Heat capacity per area, J/(m²·K).
    pub capacity: f64,
    /// Coefficient to the medium, W/(m²·K).
    pub htc: f64,
    /// Flux on the heated half while it is on, W/m².
    pub flux: f64,
    /// Time on and off, s.
    pub on: f64,
    /// Time off, s.
    pub off: f64,
}

impl PulsedPlate {
    /// Mean rise of the heated half at the end of the time on and at that of the time off, K.
    ///
    /// Each mode cos(n pi x/L) is a lump of rate `l = (h + k d (n pi/L)^2)/(rho c d)`; it swings
    /// between `(1 - exp(-l on))/(1 - exp(-l (on + off)))` of its steady height and that times
    /// `exp(-l off)`.
    pub fn mean_at_ends(&self) -> [f64; 2] {
        let mut ends = [0.0; 2];
        for n in 0..2000 {
            let wave = n as f64 * PI / self.length;
            let rate = (self.htc + self.conductance * wave * wave) / self.capacity;
            let half = 0.5 * self.length;
            let mean = if n == 0 { 1.0 } else { (wave * half).sin() / (wave * half) };
            let heat = self.flux * if n == 0 { 0.5 } else { mean };
            let steady = heat / (self.capacity * rate) * mean;
            let high = (-rate * self.on).exp_m1() / (-rate * (self.on + self.off)).exp_m1();
            ends[0] += steady * high;
            ends[1] += steady * high * (-rate * self.off).exp();
        }
        ends
    }
}

/// A lump of time constant T under a flux that rises from 0 as `b t`: rise at time t, for a
/// coefficient h.
///
///     b/h (t - T (1 - exp(-t/T)))
pub fn ramped_lump(flux_rate: f64, htc: f64, constant: f64, time: f64) -> f64 {
    flux_rate / htc * (time + constant * (-time / constant).exp_m1())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_wall_starts_at_one_and_tends_to_its_lump() {
        assert!((plane_wall(1.0, 0.003) - 1.0).abs() < 1e-6);
        let lump = (-1e-3 * 500.0f64).exp();
        assert!((plane_wall(1e-3, 500.0) / lump - 1.0).abs() < 1e-3);
    }

    /// Values of the function as every table has them.
    #[test]
    fn the_error_function_is_that_of_the_tables() {
        for (z, value) in [(0.0, 1.0), (0.5, 0.479_500_1), (1.0, 0.157_299_2), (2.0, 0.004_677_7)] {
            assert!((erfc(z) - value).abs() < 1e-7, "{z}");
        }
    }

    #[test]
    fn the_half_space_takes_up_the_heat_that_it_is_given() {
        let (flux, k, a, time) = (2.0, 3.0, 0.5, 0.7);
        let step = 1e-3;
        let stored: f64 = (0..6000)
            .map(|i| half_space_flux(flux, k, a, (i as f64 + 0.5) * step, time))
            .take_while(|rise| *rise > 1e-12)
            .sum::<f64>()
            * step
            * k
            / a;
        assert!((stored / (flux * time) - 1.0).abs() < 1e-4, "{stored}");
    }

    #[test]
    fn a_plate_that_is_always_on_is_steady() {
        let plate = PulsedPlate {
            length: 0.02,
            conductance: 1e9,
            capacity: 1000.0,
            htc: 300.0,
            flux: 6e4,
            on: 1.0,
            off: 0.0,
        };
        // So well conducting that it is one lump: half the flux over the coefficient.
        for end in plate.mean_at_ends() {
            assert!((end - 100.0).abs() < 1e-3, "{end}");
        }
    }

    #[test]
    fn a_ramped_lump_follows_its_equation() {
        let (b, h, constant) = (50.0, 20.0, 1.3);
        let at = |t: f64| ramped_lump(b, h, constant, t);
        for t in [0.2, 1.0, 4.0] {
            let slope = (at(t + 1e-5) - at(t - 1e-5)) / 2e-5;
            assert!((constant * slope + at(t) - b * t / h).abs() < 1e-6);
        }
    }
}
