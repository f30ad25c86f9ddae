//! Small dense linear algebra in f64, used while a model or a starting state is made.
//!
//! Never called from a step: these functions allocate.

// Index loops are how the textbook states these factorisations.
#![allow(clippy::needless_range_loop)]

/// A dense matrix as rows.
pub(super) type Dense = Vec<Vec<f64>>;

/// A zero matrix.
pub(super) fn zeros(rows: usize, cols: usize) -> Dense {
    vec![vec![0.0; cols]; rows]
}

/// `a * b`.
pub(super) fn product(a: &Dense, b: &Dense) -> Dense {
    let inner = b.len();
    let cols = b.first().map_or(0, Vec::len);
    let mut c = zeros(a.len(), cols);
    for (row, out) in a.iter().zip(&mut c) {
        for k in 0..inner {
            for j in 0..cols {
                out[j] += row[k] * b[k][j];
            }
        }
    }
    c
}

/// The transpose.
pub(super) fn transposed(a: &Dense) -> Dense {
    let cols = a.first().map_or(0, Vec::len);
    (0..cols).map(|j| a.iter().map(|row| row[j]).collect()).collect()
}

/// Inverse of a symmetric positive definite matrix by Cholesky; `None` when it is not.
pub(super) fn inverse_spd(a: &Dense) -> Option<Dense> {
    let n = a.len();
    let mut l = zeros(n, n);
    for i in 0..n {
        for j in 0..=i {
            let mut sum = a[i][j];
            for k in 0..j {
                sum -= l[i][k] * l[j][k];
            }
            if i == j {
                if sum.is_nan() || sum <= 0.0 {
                    return None;
                }
                l[i][i] = sum.sqrt();
            } else {
                l[i][j] = sum / l[j][j];
            }
        }
    }
    let mut inverse = zeros(n, n);
    for col in 0..n {
        let mut y = vec![0.0; n];
        for i in 0..n {
            let mut sum = if i == col { 1.0 } else { 0.0 };
            for k in 0..i {
                sum -= l[i][k] * y[k];
            }
            y[i] = sum / l[i][i];
        }
        for i in (0..n).rev() {
            let mut sum = y[i];
            for k in i + 1..n {
                sum -= l[k][i] * inverse[k][col];
            }
            inverse[i][col] = sum / l[i][i];
        }
    }
    // Rounding leaves the two halves a little different; the mean keeps it symmetric.
    for i in 0..n {
        for j in 0..i {
            let mean = 0.5 * (inverse[i][j] + inverse[j][i]);
            inverse[i][j] = mean;
            inverse[j][i] = mean;
        }
    }
    Some(inverse)
}

/// `exp(-x)` for `x >= 0` from plain arithmetic, so that it is the same on every machine.
///
/// Taylor series of `x / 2^k` below 1/64, then squared k times; relative error below 1e-13 for
/// `x <= 50`, zero beyond 700.
pub(super) fn exp_neg(x: f64) -> f64 {
    if x > 700.0 {
        return 0.0;
    }
    let mut small = x;
    let mut squarings = 0;
    while small > 1.0 / 64.0 {
        small *= 0.5;
        squarings += 1;
    }
    let mut term = 1.0;
    let mut sum = 1.0;
    for k in 1..=9 {
        term *= -small / f64::from(k);
        sum += term;
    }
    for _ in 0..squarings {
        sum *= sum;
    }
    sum
}
