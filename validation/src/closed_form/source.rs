//! A rectangle in the plane, and its cosine coefficients on a plate with adiabatic edges.

use std::f64::consts::PI;

/// A rectangle given by its centre and widths, m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RectSource {
    /// Centre along x.
    pub x: f64,
    /// Centre along y.
    pub y: f64,
    /// Width along x; 0 makes a point.
    pub width: f64,
    /// Width along y; 0 makes a point.
    pub height: f64,
}

impl RectSource {
    /// A point of the plane.
    pub fn point(x: f64, y: f64) -> Self {
        RectSource { x, y, width: 0.0, height: 0.0 }
    }

    /// Mean of cos(m π x / length) over the rectangle's extent along x, for m = 0..=modes.
    ///
    /// ```text
    /// (1/c) ∫ cos(λ x) dx = cos(λ X) sin(λ c / 2) / (λ c / 2),    λ = m π / a
    /// ```
    pub fn means_along_x(&self, length: f64, modes: usize) -> Vec<f64> {
        cosine_means(self.x, self.width, length, modes)
    }

    /// The same along y.
    pub fn means_along_y(&self, length: f64, modes: usize) -> Vec<f64> {
        cosine_means(self.y, self.height, length, modes)
    }
}

fn cosine_means(centre: f64, width: f64, length: f64, modes: usize) -> Vec<f64> {
    (0..=modes)
        .map(|m| {
            let wave = m as f64 * PI / length;
            let half = 0.5 * wave * width;
            let shape = if half == 0.0 { 1.0 } else { half.sin() / half };
            (wave * centre).cos() * shape
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mean_of_a_cosine_over_the_whole_length_vanishes() {
        let whole = RectSource { x: 0.5, y: 0.5, width: 1.0, height: 1.0 };
        let means = whole.means_along_x(1.0, 5);
        assert_eq!(means[0], 1.0);
        for mean in &means[1..] {
            assert!(mean.abs() < 1e-15);
        }
    }

    #[test]
    fn the_mean_agrees_with_a_midpoint_sum() {
        let part = RectSource { x: 0.37, y: 0.0, width: 0.22, height: 0.0 };
        let means = part.means_along_x(1.3, 4);
        let n = 2000;
        for m in 0..=4 {
            let sum: f64 = (0..n)
                .map(|i| {
                    let x = 0.26 + 0.22 * (i as f64 + 0.5) / n as f64;
                    (m as f64 * PI * x / 1.3).cos()
                })
                .sum();
            assert!((means[m] - sum / n as f64).abs() < 1e-7);
        }
    }
}
