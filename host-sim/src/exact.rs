//! Exact rational linear algebra: rank and classification need no tolerance.
//!
//! Matrices here are small (at most 16 shafts, 8 locks and the gears), so
//! arbitrary-precision rationals and plain Gauss-Jordan are fast enough.

use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::{One, ToPrimitive, Zero};

/// An exact rational number.
pub type Q = BigRational;

/// `n` as a rational.
pub fn int(n: i64) -> Q {
    Q::from_integer(BigInt::from(n))
}

/// `n/d` as a rational; `d` must not be zero.
pub fn ratio(n: i64, d: i64) -> Q {
    Q::new(BigInt::from(n), BigInt::from(d))
}

/// The nearest f64.
pub fn to_f64(q: &Q) -> f64 {
    q.to_f64().unwrap_or(f64::NAN)
}

/// The exact value of a finite f64 (its binary fraction).
pub fn from_f64(x: f64) -> Option<Q> {
    Q::from_float(x)
}

/// "p/q", or the integer alone.
pub fn text(q: &Q) -> String {
    if q.is_integer() { q.numer().to_string() } else { format!("{}/{}", q.numer(), q.denom()) }
}

/// A vector of rationals.
pub type Row = Vec<Q>;

/// A dense matrix of rationals, row by row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Matrix {
    cols: usize,
    rows: Vec<Row>,
}

impl Matrix {
    /// A matrix of the given rows, each `cols` long.
    pub fn new(cols: usize, rows: Vec<Row>) -> Matrix {
        assert!(rows.iter().all(|r| r.len() == cols), "every row has {cols} entries");
        Matrix { cols, rows }
    }

    /// Number of columns.
    pub fn cols(&self) -> usize {
        self.cols
    }

    /// The rows.
    pub fn rows(&self) -> &[Row] {
        &self.rows
    }

    /// Add a row at the end.
    pub fn push(&mut self, row: Row) {
        assert_eq!(row.len(), self.cols);
        self.rows.push(row);
    }

    /// The transpose.
    pub fn transposed(&self) -> Matrix {
        let rows =
            (0..self.cols).map(|c| self.rows.iter().map(|r| r[c].clone()).collect()).collect();
        Matrix { cols: self.rows.len(), rows }
    }

    /// Reduced row echelon form without zero rows, and its pivot columns.
    pub fn reduced(&self) -> (Matrix, Vec<usize>) {
        let mut rows = self.rows.clone();
        let mut pivots = Vec::new();
        let mut top = 0;
        for col in 0..self.cols {
            let Some(found) = (top..rows.len()).find(|&r| !rows[r][col].is_zero()) else {
                continue;
            };
            rows.swap(top, found);
            let scale = rows[top][col].clone();
            for value in &mut rows[top] {
                *value /= scale.clone();
            }
            let lead = rows[top].clone();
            for (r, row) in rows.iter_mut().enumerate() {
                if r != top && !row[col].is_zero() {
                    let factor = row[col].clone();
                    for (value, l) in row.iter_mut().zip(&lead) {
                        *value -= &factor * l;
                    }
                }
            }
            pivots.push(col);
            top += 1;
        }
        rows.truncate(top);
        (Matrix { cols: self.cols, rows }, pivots)
    }

    /// Rank.
    pub fn rank(&self) -> usize {
        self.reduced().1.len()
    }

    /// A basis of the null space `{x : A x = 0}`, one vector a free column.
    pub fn null_space(&self) -> Vec<Row> {
        let (reduced, pivots) = self.reduced();
        let free: Vec<usize> = (0..self.cols).filter(|c| !pivots.contains(c)).collect();
        free.iter()
            .map(|&f| {
                let mut x = vec![Q::zero(); self.cols];
                x[f] = Q::one();
                for (row, &p) in reduced.rows.iter().zip(&pivots) {
                    x[p] = -row[f].clone();
                }
                x
            })
            .collect()
    }

    /// One solution of `A x = b` (free unknowns at zero), or `None` when there is none.
    pub fn solve(&self, b: &[Q]) -> Option<Row> {
        assert_eq!(b.len(), self.rows.len());
        let rows = self
            .rows
            .iter()
            .zip(b)
            .map(|(row, rhs)| row.iter().cloned().chain([rhs.clone()]).collect())
            .collect();
        let (reduced, pivots) = Matrix { cols: self.cols + 1, rows }.reduced();
        if pivots.last() == Some(&self.cols) {
            return None;
        }
        let mut x = vec![Q::zero(); self.cols];
        for (row, &p) in reduced.rows.iter().zip(&pivots) {
            x[p] = row[self.cols].clone();
        }
        Some(x)
    }

    /// Coefficients `y` with `y A = target`, or `None` when `target` is not in the row space.
    pub fn combine_rows(&self, target: &[Q]) -> Option<Row> {
        self.transposed().solve(target)
    }
}

/// Scalar product.
pub fn dot(a: &[Q], b: &[Q]) -> Q {
    assert_eq!(a.len(), b.len());
    a.iter().zip(b).fold(Q::zero(), |sum, (x, y)| sum + x * y)
}
