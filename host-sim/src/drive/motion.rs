//! Free motions of a lock set as plain numbers, for the drive controller.

use crate::drive::dense::{Dense, dot};
use crate::driveline::{Driveline, MachineKind};
use crate::exact::{self, Matrix};
use crate::kinematics::{gear_rows, lock_row};

/// What the drive controller needs to know of one lock set.
#[derive(Clone, Debug)]
pub struct Motion {
    /// One column a free motion: speed of each shaft (row) per unit of the motion.
    pub basis: Dense,
    /// Whether some free motion turns the engine's shaft together with another shaft.
    pub engine_joined: bool,
}

/// The exact rows that the gears and the closed locks of `set` put on the shaft speeds.
fn constraint_rows(driveline: &Driveline, set: u8) -> Matrix {
    let mut rows = gear_rows(driveline);
    for lock in (0..driveline.locks.len()).filter(|i| set >> i & 1 == 1) {
        rows.push(lock_row(driveline, lock));
    }
    rows
}

/// The same span by orthogonal vectors of length one (Gram and Schmidt, twice for rounding).
fn orthonormal(vectors: Vec<Vec<f64>>) -> Vec<Vec<f64>> {
    let mut basis: Vec<Vec<f64>> = Vec::new();
    for mut v in vectors {
        for _ in 0..2 {
            for b in &basis {
                let along = dot(&v, b);
                v.iter_mut().zip(b).for_each(|(x, y)| *x -= along * y);
            }
            let size = dot(&v, &v).sqrt();
            v.iter_mut().for_each(|x| *x /= size);
        }
        basis.push(v);
    }
    basis
}

/// The free motions of `set`.
pub fn motion(driveline: &Driveline, set: u8) -> Motion {
    let n = driveline.shafts.len();
    let rows = constraint_rows(driveline, set);
    let exact: Vec<Vec<f64>> =
        rows.null_space().iter().map(|v| v.iter().map(exact::to_f64).collect()).collect();
    let vectors = orthonormal(exact);
    let zero = exact::int(0);
    let engine_joined = driveline.machines.iter().any(|m| {
        matches!(m.kind, MachineKind::Engine(_)) && rows.rows().iter().any(|r| r[m.shaft] != zero)
    });
    Motion { basis: Dense::from_rows(n, &vectors).transposed(), engine_joined }
}

/// Shaft speeds that the gears and the locks of a set allow, as slow as possible beside a given
/// output speed (least squares over machine shafts).
#[derive(Clone, Debug)]
pub struct Calm {
    basis: Dense,
    map: Dense,
}

impl Calm {
    /// Those of a lock set.
    pub fn new(driveline: &Driveline, set: u8) -> Calm {
        let motion = motion(driveline, set);
        let free = motion.basis.cols();
        let row = |shaft: usize| vec![motion.basis.row(shaft).to_vec()];
        let machines: Vec<Vec<f64>> = driveline
            .machines
            .iter()
            .map(|m| {
                let limit = driveline.shafts[m.shaft].max_rpm.unwrap_or(6000.0);
                motion.basis.row(m.shaft).iter().map(|x| x / limit * 6000.0).collect()
            })
            .collect();
        let all: Vec<Vec<f64>> =
            (0..driveline.shafts.len()).map(|s| motion.basis.row(s).to_vec()).collect();
        let levels = [
            Dense::from_rows(free, &row(driveline.output.shaft)),
            Dense::from_rows(free, &machines),
            Dense::from_rows(free, &all),
        ];
        Calm { map: super::dense::prioritised(free, &levels), basis: motion.basis }
    }

    /// The speed of each shaft in rad/s with the output at `output_radps`.
    pub fn speeds(&self, output_radps: f64) -> Vec<f64> {
        let mut right = vec![0.0; self.map.cols()];
        right[0] = output_radps;
        self.basis.apply(&self.map.apply(&right))
    }
}
