//! One precomputed constrained-acceleration matrix for each set of sticking contacts.
//!
//! For a set S the torques that keep every slip of S at zero are `-L b`, with `b` the slip
//! accelerations without them. Contacts that depend on others (redundant locks) are found in
//! exact rationals; what the equations leave open is shared by the weights (least weighted
//! norm), so that L is well conditioned for every set.

use super::MAX_CONTACTS;
use super::dense::{self, Dense};
use crate::exact::{Q, Row};
use num_traits::Zero;

/// The matrices of all sets, in order of the set's bit pattern.
#[derive(Clone, Debug, PartialEq, Default)]
pub(super) struct ContactTable {
    sets: Vec<Square>,
}

/// A row and a column for each contact; zero where there is none.
pub(super) type Square = [[f64; MAX_CONTACTS]; MAX_CONTACTS];

impl ContactTable {
    /// The matrices for contacts with these exact rows (in minimal coordinates), this mobility
    /// `A M^-1 A'` and these sharing weights; `None` when an independent set is singular in f64.
    pub(super) fn build(rows: &[Row], mobility: &Dense, weights: &[f64]) -> Option<ContactTable> {
        let n = rows.len();
        let sets = 1usize << n;
        let mut values = vec![[[0.0; MAX_CONTACTS]; MAX_CONTACTS]; sets];
        let mut echelons: Vec<Echelon> = vec![Echelon::default()];
        for set in 1..sets {
            let top = usize::BITS as usize - 1 - set.leading_zeros() as usize;
            let echelon = echelons[set & !(1 << top)].with(top, &rows[top]);
            let matrix = set_matrix(set, &echelon.members, mobility, weights)?;
            for (to, row) in values[set].iter_mut().zip(&matrix) {
                to[..n].copy_from_slice(row);
            }
            echelons.push(echelon);
        }
        Some(ContactTable { sets: values })
    }

    /// The matrix of `set`.
    #[inline]
    pub(super) fn of(&self, set: usize) -> &Square {
        &self.sets[set]
    }
}

/// An independent part of a set, in exact echelon form.
#[derive(Clone, Default)]
struct Echelon {
    members: Vec<usize>,
    rows: Vec<(usize, Row)>,
}

impl Echelon {
    /// This with one more contact, which joins the members only if it is independent of them.
    fn with(&self, index: usize, row: &Row) -> Echelon {
        let mut reduced = row.clone();
        for (pivot, lead) in &self.rows {
            if !reduced[*pivot].is_zero() {
                let factor: Q = &reduced[*pivot] / &lead[*pivot];
                for (value, l) in reduced.iter_mut().zip(lead) {
                    *value -= &factor * l;
                }
            }
        }
        let mut next = self.clone();
        if let Some(pivot) = reduced.iter().position(|x| !x.is_zero()) {
            next.rows.push((pivot, reduced));
            next.members.push(index);
        }
        next
    }
}

/// `D C (C' D C)^-1 W_RR^-1`, placed in a full matrix: rows of the set, columns of its
/// independent members R; `C` gives every member from R.
fn set_matrix(set: usize, base: &[usize], mobility: &Dense, weights: &[f64]) -> Option<Dense> {
    let n = weights.len();
    let all: Vec<usize> = (0..n).filter(|i| set >> i & 1 == 1).collect();
    let mut out = dense::zeros(n, n);
    if base.is_empty() {
        return Some(out);
    }
    let pick = |rows: &[usize], cols: &[usize]| -> Dense {
        rows.iter().map(|&i| cols.iter().map(|&j| mobility[i][j]).collect()).collect()
    };
    let inverse = dense::inverse_spd(&pick(base, base))?;
    let small = if all.len() == base.len() {
        inverse
    } else {
        let c = dense::product(&pick(&all, base), &inverse);
        let mut dc = c.clone();
        let scale = all.iter().map(|&i| weights[i]).fold(0.0, f64::max);
        for (row, &i) in dc.iter_mut().zip(&all) {
            row.iter_mut().for_each(|x| *x *= weights[i] / scale);
        }
        let middle = dense::inverse_spd(&dense::product(&dense::transposed(&c), &dc))?;
        dense::product(&dense::product(&dc, &middle), &inverse)
    };
    for (row, &i) in small.iter().zip(&all) {
        for (value, &j) in row.iter().zip(base) {
            out[i][j] = *value;
        }
    }
    Some(out)
}
