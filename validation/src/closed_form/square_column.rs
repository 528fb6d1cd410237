//! Long square column, one side held at 20 °C and three at 0 °C.
//!
//! On 0 <= x, z <= 1 with the hot side at z = 1:
//!
//! ```text
//! T = 20 Σ (4/(nπ)) sin(nπx) sinh(nπz) / sinh(nπ)       n odd
//! ```
//!
//! # Source
//! Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, section 5.2; the printed table is
//! case 1 of the validation annex of ISO 10211.

use std::f64::consts::PI;

/// Temperature at (x, z) in side lengths, °C.
pub fn temperature(x: f64, z: f64) -> f64 {
    (1..400)
        .step_by(2)
        .map(|n| {
            let wave = n as f64 * PI;
            let ratio = (wave * (z - 1.0)).exp() * (1.0 - (-2.0 * wave * z).exp())
                / (1.0 - (-2.0 * wave).exp());
            80.0 / wave * (wave * x).sin() * ratio
        })
        .sum()
}

/// The 28 printed temperatures, °C, to 0.1 K: rows from the hot side down at z = 7/8 .. 1/8,
/// columns at x = 1/8 .. 4/8 (from memory; the self-test holds them against the series).
pub const PRINTED: [[f64; 4]; 7] = [
    [9.7, 13.4, 14.7, 15.1],
    [5.3, 8.6, 10.3, 10.8],
    [3.2, 5.6, 7.0, 7.5],
    [2.0, 3.6, 4.7, 5.0],
    [1.3, 2.3, 3.0, 3.2],
    [0.7, 1.4, 1.8, 1.9],
    [0.3, 0.6, 0.8, 0.9],
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_series_agrees_with_every_printed_value() {
        for (row, values) in PRINTED.iter().enumerate() {
            for (column, printed) in values.iter().enumerate() {
                let ours = temperature((column + 1) as f64 / 8.0, (7 - row) as f64 / 8.0);
                assert!((ours - printed).abs() < 0.05 + 1e-3, "{row} {column}: {ours} {printed}");
            }
        }
    }

    #[test]
    fn the_middle_is_a_quarter_of_the_hot_side() {
        assert!((temperature(0.5, 0.5) - 5.0).abs() < 1e-12);
    }
}
