//! Eigenvalues of a small symmetric matrix.

/// Eigenvalues, ascending, and the eigenvector of each, by Jacobi's rotations: exact to rounding
/// for the handful of parameters of a fit.
///
/// # Source
/// Golub and Van Loan, Matrix Computations, section 8.5 (from memory).
pub(super) fn eigen(matrix: &[Vec<f64>]) -> (Vec<f64>, Vec<Vec<f64>>) {
    let n = matrix.len();
    let mut a = matrix.to_vec();
    let mut v: Vec<Vec<f64>> =
        (0..n).map(|i| (0..n).map(|j| f64::from(u8::from(i == j))).collect()).collect();
    for _ in 0..60 {
        let off: f64 =
            (0..n).flat_map(|i| (0..i).map(move |j| (i, j))).map(|(i, j)| a[i][j].powi(2)).sum();
        let all: f64 = a.iter().flatten().map(|x| x * x).sum();
        if off <= 1e-30 * all {
            break;
        }
        for p in 0..n {
            for q in p + 1..n {
                if a[p][q] == 0.0 {
                    continue;
                }
                let theta = (a[q][q] - a[p][p]) / (2.0 * a[p][q]);
                let t = theta.signum() / (theta.abs() + theta.hypot(1.0));
                let t = if theta == 0.0 { 1.0 } else { t };
                let c = 1.0 / t.hypot(1.0);
                let s = t * c;
                for k in 0..n {
                    let (kp, kq) = (a[k][p], a[k][q]);
                    (a[k][p], a[k][q]) = (c * kp - s * kq, s * kp + c * kq);
                }
                for k in 0..n {
                    let (pk, qk) = (a[p][k], a[q][k]);
                    (a[p][k], a[q][k]) = (c * pk - s * qk, s * pk + c * qk);
                }
                for row in &mut v {
                    let (kp, kq) = (row[p], row[q]);
                    (row[p], row[q]) = (c * kp - s * kq, s * kp + c * kq);
                }
            }
        }
    }
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|&i, &j| a[i][i].total_cmp(&a[j][j]));
    let values = order.iter().map(|&i| a[i][i]).collect();
    let vectors = order.iter().map(|&i| v.iter().map(|row| row[i]).collect()).collect();
    (values, vectors)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn eigenvectors_diagonalise_the_matrix() {
        let a = vec![vec![4.0, 1.0, -2.0], vec![1.0, 2.0, 0.5], vec![-2.0, 0.5, 3.0]];
        let (values, vectors) = eigen(&a);
        for (value, vector) in values.iter().zip(&vectors) {
            for (row, v) in a.iter().zip(vector) {
                let product: f64 = row.iter().zip(vector).map(|(a, x)| a * x).sum();
                assert!((product - value * v).abs() < 1e-12);
            }
        }
        assert!((values.iter().sum::<f64>() - 9.0).abs() < 1e-12);
    }

    #[test]
    fn equal_diagonals_are_no_trouble() {
        let (values, _) = eigen(&[vec![1.0, 0.5], vec![0.5, 1.0]]);
        assert!((values[0] - 0.5).abs() < 1e-14 && (values[1] - 1.5).abs() < 1e-14);
    }
}
