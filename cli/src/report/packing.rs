//! A field of the plane as a short text: quantised, predicted from its neighbours, deflated.
//!
//! Every value becomes a count `q` of steps above the lowest, 0 where there is no value. From
//! each count the guess `left + lower - lower left` (0 outside) is taken off; what remains, as a
//! 16-bit number that wraps around, is folded so that small numbers of both signs are small
//! (0, -1, 1, -2, ... become 0, 1, 2, 3, ...). First all low bytes, then all high bytes, through
//! zlib and base64. The page's script turns it back, exactly up to half a step.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use flate2::Compression;
use flate2::write::ZlibEncoder;
use ndarray::Array2;
use std::io::{self, Write};

/// Steps between the lowest and the highest value: finer than any readout shows.
const STEPS: f64 = 16_000.0;

/// A packed field.
#[derive(Debug, Clone)]
pub struct Packed {
    /// Value of count 1.
    pub low: f64,
    /// Value of one count.
    pub step: f64,
    /// Highest value.
    pub high: f64,
    /// The text.
    pub text: String,
}

/// Packs a field whose first row is the lowest; `None` where no cell has a value.
pub fn pack(values: &Array2<f64>) -> io::Result<Option<Packed>> {
    let (low, high) = values
        .iter()
        .filter(|value| value.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &v| (low.min(v), high.max(v)));
    if low > high {
        return Ok(None);
    }
    let step = if high > low { (high - low) / STEPS } else { 1.0 };
    let count = |value: f64| {
        if value.is_finite() { ((value - low) / step).round() as u16 + 1 } else { 0 }
    };
    let counts = values.map(|value| count(*value));
    let (ny, nx) = counts.dim();
    let mut bytes = vec![0u8; 2 * nx * ny];
    let (lower_bytes, upper_bytes) = bytes.split_at_mut(nx * ny);
    for j in 0..ny {
        for i in 0..nx {
            let at = |back_j: usize, back_i: usize| {
                if j < back_j || i < back_i { 0u16 } else { counts[[j - back_j, i - back_i]] }
            };
            let guess = at(0, 1).wrapping_add(at(1, 0)).wrapping_sub(at(1, 1));
            let [lower, upper] = folded(at(0, 0).wrapping_sub(guess)).to_le_bytes();
            lower_bytes[j * nx + i] = lower;
            upper_bytes[j * nx + i] = upper;
        }
    }
    Ok(Some(Packed { low, step, high, text: deflated(&bytes)? }))
}

/// 0, -1, 1, -2, ... as 0, 1, 2, 3, ...
fn folded(difference: u16) -> u16 {
    let signed = difference as i16;
    ((signed << 1) ^ (signed >> 15)) as u16
}

/// Bytes through zlib and base64.
fn deflated(bytes: &[u8]) -> io::Result<String> {
    let mut encoder = ZlibEncoder::new(Vec::with_capacity(bytes.len() / 4), Compression::new(4));
    encoder.write_all(bytes)?;
    Ok(STANDARD.encode(encoder.finish()?))
}

/// Bytes as base64.
pub fn base64(bytes: &[u8]) -> String {
    STANDARD.encode(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Read;

    /// What the page's script does.
    fn unpacked(packed: &Packed, nx: usize, ny: usize) -> Array2<f64> {
        let zlib = STANDARD.decode(&packed.text).expect("base64");
        let mut bytes = Vec::new();
        flate2::read::ZlibDecoder::new(&zlib[..]).read_to_end(&mut bytes).expect("zlib");
        let mut counts = Array2::<u16>::zeros((ny, nx));
        for j in 0..ny {
            for i in 0..nx {
                let n = j * nx + i;
                let z = u16::from_le_bytes([bytes[n], bytes[nx * ny + n]]);
                let difference = (z >> 1) ^ (0u16.wrapping_sub(z & 1));
                let left = if i > 0 { counts[[j, i - 1]] } else { 0 };
                let lower = if j > 0 { counts[[j - 1, i]] } else { 0 };
                let corner = if i > 0 && j > 0 { counts[[j - 1, i - 1]] } else { 0 };
                counts[[j, i]] =
                    difference.wrapping_add(left).wrapping_add(lower).wrapping_sub(corner);
            }
        }
        counts.map(|&q| if q == 0 { f64::NAN } else { packed.low + packed.step * f64::from(q - 1) })
    }

    #[test]
    fn a_field_comes_back_to_half_a_step_and_gaps_stay_gaps() {
        let values = Array2::from_shape_fn((37, 53), |(j, i)| {
            if (i + 2 * j) % 11 == 0 {
                f64::NAN
            } else {
                20.0 + 60.0 * ((i as f64) * 0.13).sin() * ((j as f64) * 0.07).cos()
            }
        });
        let packed = pack(&values).expect("packed").expect("values");
        for (before, after) in values.iter().zip(unpacked(&packed, 53, 37).iter()) {
            if before.is_nan() {
                assert!(after.is_nan());
            } else {
                assert!((before - after).abs() <= 0.5 * packed.step + 1e-9, "{before} {after}");
            }
        }
    }

    #[test]
    fn a_flat_field_and_an_empty_one_have_their_answers() {
        let flat = pack(&Array2::from_elem((3, 4), 7.5)).expect("packed").expect("values");
        assert!(unpacked(&flat, 4, 3).iter().all(|v| *v == 7.5));
        assert!(pack(&Array2::from_elem((3, 4), f64::NAN)).expect("packed").is_none());
    }

    #[test]
    fn smooth_fields_take_about_a_byte_a_cell() {
        let values = Array2::from_shape_fn((200, 300), |(j, i)| {
            let (x, y) = (i as f64 / 300.0 - 0.4, j as f64 / 200.0 - 0.6);
            40.0 + 50.0 * (-6.0 * (x * x + y * y)).exp()
        });
        let packed = pack(&values).expect("packed").expect("values");
        assert!(packed.text.len() < 60_000, "{}", packed.text.len());
    }
}
