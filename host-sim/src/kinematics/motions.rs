//! The motions that each lock set leaves: null spaces, one lock at a time.

use num_traits::Zero;

use super::rows::{gear_rows, lock_row};
use crate::driveline::{Driveline, ShaftId};
use crate::exact::{Matrix, Q, Row, dot};

/// A basis of the motions of every lock set; the index is the bit pattern of closed locks.
///
/// Closing one more lock removes at most one motion, so each basis follows from the one with
/// its highest lock open: 256 lock sets cost 256 small eliminations and not 256 full ones.
pub(super) fn all_motions(d: &Driveline) -> Vec<Vec<Row>> {
    let order = column_order(d);
    let mut all = vec![echelon(gear_rows(d).null_space(), &order)];
    for lock in 0..d.locks.len() {
        let row = lock_row(d, lock);
        for lower in 0..1usize << lock {
            let closed = close(&all[lower], &row);
            all.push(echelon(closed, &order));
        }
    }
    all
}

/// The motions that remain when `row` times the speeds must be zero too.
fn close(basis: &[Row], row: &[Q]) -> Vec<Row> {
    let slips: Vec<Q> = basis.iter().map(|motion| dot(row, motion)).collect();
    let Some(pivot) = slips.iter().position(|slip| !slip.is_zero()) else {
        return basis.to_vec();
    };
    let rest = basis.iter().zip(&slips).enumerate().filter(|(i, _)| *i != pivot);
    rest.map(|(_, (motion, slip))| {
        let share = slip / &slips[pivot];
        motion.iter().zip(&basis[pivot]).map(|(x, p)| x - &share * p).collect()
    })
    .collect()
}

/// Output first, then the machines' shafts, then the others: the order in which speeds are
/// taken as the free ones, so that the first motion is "the output turns once".
fn column_order(d: &Driveline) -> Vec<ShaftId> {
    let wanted = [d.output.shaft].into_iter().chain(d.machines.iter().map(|m| m.shaft));
    let mut order = Vec::new();
    for shaft in wanted.chain(0..d.shafts.len()) {
        if !order.contains(&shaft) {
            order.push(shaft);
        }
    }
    order
}

/// The one reduced echelon form of a basis: the same whatever way led to it.
fn echelon(basis: Vec<Row>, order: &[ShaftId]) -> Vec<Row> {
    let shuffled = basis.iter().map(|m| order.iter().map(|&s| m[s].clone()).collect()).collect();
    let (reduced, _) = Matrix::new(order.len(), shuffled).reduced();
    let back = |row: &Row| {
        let mut motion = vec![Q::zero(); order.len()];
        for (value, &shaft) in row.iter().zip(order) {
            motion[shaft] = value.clone();
        }
        motion
    };
    reduced.rows().iter().map(back).collect()
}
