//! The linear equations of a driveline: one row a planetary set, gear pair or lock.

use num_traits::{One, Zero};

use crate::driveline::{Driveline, LockId, Planet};
use crate::exact::{Matrix, Q, Row, int};

/// One row a planetary set, then one row a gear pair, in file order; each row times the
/// shaft speeds is zero in every motion that the gears allow.
///
/// Willis: the planets see the sun and the ring relative to the carrier, so
/// `Zs*(ws-wc) = -Zr*(wr-wc)` with single planets, and the sign turns with a meshing pair.
pub fn gear_rows(d: &Driveline) -> Matrix {
    let mut rows = Matrix::new(d.shafts.len(), Vec::new());
    for p in &d.planetaries {
        let sun = int(i64::from(p.sun_teeth));
        let ring = match p.planet {
            Planet::Single => int(i64::from(p.ring_teeth)),
            Planet::Double => -int(i64::from(p.ring_teeth)),
        };
        let mut row = vec![Q::zero(); d.shafts.len()];
        // Two members may sit on one shaft (a blocked set): coefficients add up.
        row[p.carrier] -= &sun + &ring;
        row[p.sun] += sun;
        row[p.ring] += ring;
        rows.push(row);
    }
    for g in &d.gear_pairs {
        let mut row = vec![Q::zero(); d.shafts.len()];
        row[g.a] += Q::one();
        row[g.b] -= &g.ratio;
        rows.push(row);
    }
    rows
}

/// Name of a row of [`gear_rows`], with the kind of gear: "planetary set reduction".
pub fn gear_row_name(d: &Driveline, row: usize) -> String {
    match d.planetaries.get(row) {
        Some(p) => format!("planetary set {}", p.name),
        None => format!("gear pair {}", d.gear_pairs[row - d.planetaries.len()].name),
    }
}

/// The slip of a lock as a row over shaft speeds: first side minus second side (the case is zero).
pub fn lock_row(d: &Driveline, lock: LockId) -> Row {
    let mut row = vec![Q::zero(); d.shafts.len()];
    row[d.locks[lock].a] += Q::one();
    if let Some(b) = d.locks[lock].b {
        row[b] -= Q::one();
    }
    row
}
