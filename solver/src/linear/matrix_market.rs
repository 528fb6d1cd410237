//! The assembled system as text that other programs read: Matrix Market.
//!
//! # Source
//! R. F. Boisvert, R. Pozo, K. A. Remington, The Matrix Market exchange formats: initial design,
//! NISTIR 5935, 1996: `coordinate real symmetric` (lower triangle, one-based) and `array real
//! general` (one column).

use std::fmt::Write;

use sprs::CsMat;

/// A symmetric matrix in Matrix Market coordinate form: the lower triangle, one-based, with
/// enough digits to read back the same bits.
///
/// The upper triangle is taken to mirror the lower one and is not looked at.
pub fn matrix_market(matrix: &CsMat<f64>) -> String {
    let lower = || matrix.iter().filter(|(_, (row, column))| column <= row);
    let mut text = String::from("%%MatrixMarket matrix coordinate real symmetric\n");
    // Writing to a String cannot fail.
    let _ = writeln!(text, "{} {} {}", matrix.rows(), matrix.cols(), lower().count());
    for (value, (row, column)) in lower() {
        let _ = writeln!(text, "{} {} {value:e}", row + 1, column + 1);
    }
    text
}

/// A vector in Matrix Market array form.
pub fn vector_market(vector: &[f64]) -> String {
    let mut text = String::from("%%MatrixMarket matrix array real general\n");
    let _ = writeln!(text, "{} 1", vector.len());
    for value in vector {
        let _ = writeln!(text, "{value:e}");
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use sprs::TriMat;

    #[test]
    fn lower_triangle_is_written_one_based_and_reads_back_to_the_same_bits() {
        let third = 1.0 / 3.0;
        let mut triplets = TriMat::new((3, 3));
        for (row, column, value) in
            [(0, 0, 2.0), (1, 0, -third), (0, 1, -third), (1, 1, 4.0), (2, 2, 1e-300)]
        {
            triplets.add_triplet(row, column, value);
        }
        let text = matrix_market(&triplets.to_csr());
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines[0], "%%MatrixMarket matrix coordinate real symmetric");
        assert_eq!(lines[1], "3 3 4");
        let entries: Vec<(usize, usize, f64)> = lines[2..]
            .iter()
            .map(|line| {
                let parts: Vec<&str> = line.split(' ').collect();
                (parts[0].parse().unwrap(), parts[1].parse().unwrap(), parts[2].parse().unwrap())
            })
            .collect();
        assert_eq!(entries, vec![(1, 1, 2.0), (2, 1, -third), (2, 2, 4.0), (3, 3, 1e-300)]);
    }

    #[test]
    fn vector_has_one_value_a_line() {
        assert_eq!(
            vector_market(&[0.5, -2.0]),
            "%%MatrixMarket matrix array real general\n2 1\n5e-1\n-2e0\n"
        );
    }
}
