//! Small dense least squares in order of priority.
//!
//! The drive controller asks for several things at once, and some matter more
//! than others: the mechanics must hold, a machine that synchronises must do so,
//! the wheels should get their torque, and what is left should cost little. Each
//! level is solved as least squares inside what the levels above leave free, so
//! no weights have to be balanced against each other. The whole solution is linear
//! in the right-hand sides, so it is found once and then applied as a matrix.

/// A dense matrix of f64, row by row.
#[derive(Clone, Debug, PartialEq)]
pub struct Dense {
    rows: usize,
    cols: usize,
    values: Vec<f64>,
}

impl Dense {
    /// A matrix of zeros.
    pub fn zeros(rows: usize, cols: usize) -> Dense {
        Dense { rows, cols, values: vec![0.0; rows * cols] }
    }

    /// The unit matrix.
    pub fn unit(size: usize) -> Dense {
        let mut m = Dense::zeros(size, size);
        for i in 0..size {
            m.set(i, i, 1.0);
        }
        m
    }

    /// A matrix of the given rows, each `cols` long; shorter rows are filled with zeros.
    pub fn from_rows(cols: usize, rows: &[Vec<f64>]) -> Dense {
        let mut m = Dense::zeros(rows.len(), cols);
        for (r, row) in rows.iter().enumerate() {
            for (c, &value) in row.iter().take(cols).enumerate() {
                m.set(r, c, value);
            }
        }
        m
    }

    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.rows
    }

    /// Number of columns.
    pub fn cols(&self) -> usize {
        self.cols
    }

    /// One entry.
    pub fn at(&self, row: usize, col: usize) -> f64 {
        self.values[row * self.cols + col]
    }

    /// Set one entry.
    pub fn set(&mut self, row: usize, col: usize, value: f64) {
        self.values[row * self.cols + col] = value;
    }

    /// One row.
    pub fn row(&self, row: usize) -> &[f64] {
        &self.values[row * self.cols..(row + 1) * self.cols]
    }

    /// All entries, row by row.
    pub fn values(&self) -> &[f64] {
        &self.values
    }

    /// The transpose.
    #[must_use]
    pub fn transposed(&self) -> Dense {
        let mut t = Dense::zeros(self.cols, self.rows);
        for r in 0..self.rows {
            for c in 0..self.cols {
                t.set(c, r, self.at(r, c));
            }
        }
        t
    }

    /// `self * other`.
    #[must_use]
    pub fn times(&self, other: &Dense) -> Dense {
        assert_eq!(self.cols, other.rows, "inner sizes agree");
        let mut product = Dense::zeros(self.rows, other.cols);
        for r in 0..self.rows {
            for c in 0..other.cols {
                let sum = (0..self.cols).map(|k| self.at(r, k) * other.at(k, c)).sum();
                product.set(r, c, sum);
            }
        }
        product
    }

    /// `self * x`.
    pub fn apply(&self, x: &[f64]) -> Vec<f64> {
        assert_eq!(self.cols, x.len(), "sizes agree");
        (0..self.rows).map(|r| dot(self.row(r), x)).collect()
    }

    /// `self + factor * other`.
    #[must_use]
    pub fn plus(&self, factor: f64, other: &Dense) -> Dense {
        assert_eq!((self.rows, self.cols), (other.rows, other.cols), "sizes agree");
        let values = self.values.iter().zip(&other.values).map(|(a, b)| a + factor * b).collect();
        Dense { rows: self.rows, cols: self.cols, values }
    }

    /// Every row divided by its length; rows of zeros stay.
    #[must_use]
    pub fn with_unit_rows(mut self) -> Dense {
        for r in 0..self.rows {
            let size = dot(self.row(r), self.row(r)).sqrt();
            for c in 0..self.cols {
                let value = self.at(r, c);
                self.set(r, c, if size > 0.0 { value / size } else { 0.0 });
            }
        }
        self
    }

    /// The largest absolute entry.
    pub fn max_abs(&self) -> f64 {
        self.values.iter().fold(0.0, |m, v| m.max(v.abs()))
    }

    /// Pseudo-inverse by one-sided Jacobi rotations; singular values at or below
    /// `floor` count as zero.
    #[must_use]
    pub fn pseudo_inverse(&self, floor: f64) -> Dense {
        if self.rows < self.cols {
            return self.transposed().pseudo_inverse(floor).transposed();
        }
        let (rotated, v) = self.orthogonal_columns();
        let mut inverse = Dense::zeros(self.cols, self.rows);
        for k in 0..self.cols {
            let square: f64 = (0..self.rows).map(|r| rotated.at(r, k) * rotated.at(r, k)).sum();
            if square.sqrt() <= floor {
                continue;
            }
            for c in 0..self.cols {
                for r in 0..self.rows {
                    let more = v.at(c, k) * rotated.at(r, k) / square;
                    inverse.set(c, r, inverse.at(c, r) + more);
                }
            }
        }
        inverse
    }

    /// `(U S, V)` with `self = U S V^T`: columns rotated until they are orthogonal.
    fn orthogonal_columns(&self) -> (Dense, Dense) {
        const SWEEPS: usize = 60;
        let mut u = self.clone();
        let mut v = Dense::unit(self.cols);
        for _ in 0..SWEEPS {
            let mut turned = false;
            for p in 0..self.cols {
                for q in p + 1..self.cols {
                    turned |= rotate(&mut u, &mut v, p, q);
                }
            }
            if !turned {
                break;
            }
        }
        (u, v)
    }
}

/// What the standard library's sum of nothing is: sums written out begin with it, so that they
/// come to the same bits.
pub(super) const EMPTY_SUM: f64 = -0.0;

/// Scalar product.
pub fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// Make columns `p` and `q` of `u` orthogonal; whether they were not.
fn rotate(u: &mut Dense, v: &mut Dense, p: usize, q: usize) -> bool {
    let (mut pp, mut qq, mut pq) = (0.0, 0.0, 0.0);
    for r in 0..u.rows {
        pp += u.at(r, p) * u.at(r, p);
        qq += u.at(r, q) * u.at(r, q);
        pq += u.at(r, p) * u.at(r, q);
    }
    if pq == 0.0 || pq * pq <= 1e-30 * pp * qq {
        return false;
    }
    let zeta = (qq - pp) / (2.0 * pq);
    let t = zeta.signum() / (zeta.abs() + (1.0 + zeta * zeta).sqrt());
    let c = 1.0 / (1.0 + t * t).sqrt();
    let s = c * t;
    for m in [u, v] {
        for r in 0..m.rows {
            let (x, y) = (m.at(r, p), m.at(r, q));
            m.set(r, p, c * x - s * y);
            m.set(r, q, s * x + c * y);
        }
    }
    true
}

/// One level: rows over the unknowns; its right-hand side comes later.
pub type Level = Dense;

/// The linear map from the stacked right-hand sides of `levels` (first level is the
/// most important) to the unknowns. What no level decides is zero.
pub fn prioritised(unknowns: usize, levels: &[Level]) -> Dense {
    let total: usize = levels.iter().map(Dense::rows).sum();
    let mut map = Dense::zeros(unknowns, total);
    let mut free = Dense::unit(unknowns);
    let mut first = 0;
    for level in levels {
        let inside = level.times(&free);
        // The floor looks at the level itself, not at what is left of it: rows that
        // upper levels use up leave rounding noise that must count as nothing.
        let inverse = inside.pseudo_inverse(1e-9 * level.max_abs().max(f64::MIN_POSITIVE));
        let mut missing = Dense::zeros(level.rows(), total).plus(-1.0, &level.times(&map));
        for r in 0..level.rows() {
            missing.set(r, first + r, missing.at(r, first + r) + 1.0);
        }
        map = map.plus(1.0, &free.times(&inverse).times(&missing));
        free = free.plus(-1.0, &inverse.times(&inside));
        first += level.rows();
    }
    map
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(a: &[f64], b: &[f64]) {
        assert_eq!(a.len(), b.len());
        for (x, y) in a.iter().zip(b) {
            assert!((x - y).abs() < 1e-9, "{a:?} is not {b:?}");
        }
    }

    #[test]
    fn pseudo_inverse_meets_the_four_penrose_conditions() {
        // Moore-Penrose conditions, R. Penrose 1955 (from memory).
        let cases = [
            vec![vec![1.0, 2.0], vec![3.0, 4.0], vec![5.0, 6.0]],
            vec![vec![1.0, 2.0, 3.0], vec![2.0, 4.0, 6.0]],
            vec![vec![0.0, 0.0], vec![0.0, 7.0]],
            vec![vec![1e3, 1.0], vec![1.0, 1e-3], vec![0.5, 2.0]],
        ];
        for rows in cases {
            let a = Dense::from_rows(rows[0].len(), &rows);
            let x = a.pseudo_inverse(1e-10);
            let scale = 1e-9 * a.max_abs().max(1.0);
            let axa = a.times(&x).times(&a).plus(-1.0, &a);
            let xax = x.times(&a).times(&x).plus(-1.0, &x);
            let ax = a.times(&x);
            let xa = x.times(&a);
            assert!(axa.max_abs() < scale && xax.max_abs() < scale);
            assert!(ax.plus(-1.0, &ax.transposed()).max_abs() < scale);
            assert!(xa.plus(-1.0, &xa.transposed()).max_abs() < scale);
        }
    }

    #[test]
    fn an_upper_level_is_never_bent_by_a_lower_one() {
        // x + y = 1 first; then x = 5; then y = 7 (impossible by then); rest zero.
        let map = prioritised(
            3,
            &[
                Dense::from_rows(3, &[vec![1.0, 1.0, 0.0]]),
                Dense::from_rows(3, &[vec![1.0, 0.0, 0.0]]),
                Dense::from_rows(3, &[vec![0.0, 1.0, 0.0]]),
            ],
        );
        close(&map.apply(&[1.0, 5.0, 7.0]), &[5.0, -4.0, 0.0]);
    }

    #[test]
    fn a_sum_written_out_begins_like_the_librarys() {
        let empty: f64 = [].iter().sum();
        assert_eq!(EMPTY_SUM.to_bits(), empty.to_bits());
    }

    #[test]
    fn contradictions_inside_a_level_are_averaged() {
        let map = prioritised(1, &[Dense::from_rows(1, &[vec![1.0], vec![1.0]])]);
        close(&map.apply(&[2.0, 4.0]), &[3.0]);
    }

    #[test]
    fn what_is_left_is_shared_with_the_least_norm() {
        let map = prioritised(2, &[Dense::from_rows(2, &[vec![3.0, 4.0]])]);
        close(&map.apply(&[25.0]), &[3.0, 4.0]);
    }
}
