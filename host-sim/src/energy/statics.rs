//! Steady torques of one lock set with mesh losses: linear equations, solved once.
//!
//! Unknown are the torque of every gear row and closed lock and that of every machine; known are
//! the torque at the output and the drags. A mesh takes a share of the power that goes through it
//! relative to its carrier, not of the power that goes in: in a split most of the power may pass
//! without meshing. Which way power goes decides between two shares, so that there are three
//! systems a mesh (driven, driving, no slip), all linear.

use super::MAX;
use crate::driveline::{Driveline, MachineKind};
use crate::exact::{self, Row};
use crate::kinematics::gear_rows;

/// Most gears whose losses are told apart.
pub(super) const MOST_MESHES: usize = 6;
/// Below this a torque or a speed counts as none.
const TINY: f64 = 1e-9;

/// A mesh: friction acts between `a` and `b` (the case when `None`).
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub(super) struct Mesh {
    pub(super) a: usize,
    pub(super) b: Option<usize>,
    /// Loss as a share of the power that goes in.
    pub(super) share: f64,
}

impl Mesh {
    pub(super) fn slip(&self, speed: &[f64; MAX]) -> f64 {
        speed[self.a] - self.b.map_or(0.0, |b| speed[b])
    }
}

/// The meshes in the order of the gear rows.
pub(super) fn meshes(d: &Driveline) -> Vec<Mesh> {
    let sets = d.planetaries.iter().map(|p| (p.sun, Some(p.carrier), p.mesh_efficiency));
    let pairs = d.gear_pairs.iter().map(|g| (g.a, None, g.mesh_efficiency));
    sets.chain(pairs).map(|(a, b, efficiency)| Mesh { a, b, share: 1.0 - efficiency }).collect()
}

/// Solved equations of one combination of mesh states.
#[derive(Clone, Debug)]
struct Solved {
    /// Of each unknown: its torque per torque on each shaft.
    per_shaft: Vec<[f64; MAX]>,
    /// Of each unknown: its torque per torque of each free machine.
    per_free: Vec<Vec<f64>>,
    /// Sums of shaft torques that must vanish: nothing can balance them.
    must_vanish: Vec<[f64; MAX]>,
}

/// The equations of one lock set.
#[derive(Clone, Debug)]
pub(super) struct Statics {
    meshes: Vec<Mesh>,
    /// Torque on the mesh's first shaft per unit of its gear row.
    lead: Vec<f64>,
    /// Unknowns: gear rows, locks, machines.
    locks: usize,
    pub(super) machines: Vec<usize>,
    /// Machines whose torque is free, as places in `machines`.
    pub(super) free: Vec<usize>,
    solved: Vec<Solved>,
}

/// Torques that answer a load.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Torques {
    /// Torque of each machine of the driveline.
    pub(super) machine: [f64; MAX],
    /// Torque of each closed lock in the order given.
    pub(super) lock: [f64; MAX],
    /// Loss of all meshes, W.
    pub(super) mesh_w: f64,
    /// Largest torque that nothing balances, Nm.
    pub(super) unbalanced_nm: f64,
}

impl Statics {
    /// Of the closed locks `locks` (rows over shafts), with these machines in use.
    pub(super) fn new(d: &Driveline, locks: &[Row], machines: &[usize]) -> Statics {
        let meshes = meshes(d);
        let gears: Vec<Vec<f64>> = gear_rows(d).rows().iter().map(floats).collect();
        // The engine last: its torque is the one to be left free.
        let mut machines = machines.to_vec();
        machines.sort_by_key(|&m| matches!(d.machines[m].kind, MachineKind::Engine(_)));
        let lead: Vec<f64> = meshes.iter().zip(&gears).map(|(m, g)| g[m.a]).collect();
        let rest: Vec<Vec<f64>> = locks
            .iter()
            .map(floats)
            .chain(machines.iter().map(|&m| unit(d.shafts.len(), d.machines[m].shaft)))
            .collect();
        let combos = 3usize.pow(meshes.len() as u32);
        let mut free = Vec::new();
        let solved = (0..combos)
            .map(|combo| {
                let columns: Vec<Vec<f64>> = (0..meshes.len())
                    .map(|i| with_friction(&gears[i], &meshes[i], lead[i], digit(combo, i)))
                    .chain(rest.iter().cloned())
                    .collect();
                let (one, left) = solve(&columns, d.shafts.len(), meshes.len() + locks.len());
                if combo == 0 {
                    free = left;
                }
                one
            })
            .collect();
        Statics { meshes, lead, locks: locks.len(), machines, free, solved }
    }

    /// The torques under these outer torques on the shafts; `free` are those of free machines.
    pub(super) fn torques(
        &self,
        speed: &[f64; MAX],
        outer: &[f64; MAX],
        free: &[f64],
        shafts: usize,
    ) -> Torques {
        let mut combo = 0;
        let mut gear = [0.0; MAX];
        for _ in 0..4 {
            for (i, value) in gear.iter_mut().enumerate().take(self.meshes.len()) {
                *value = self.unknown(combo, i, outer, free, shafts);
            }
            let next = self.combo(&gear, speed);
            if next == combo {
                break;
            }
            combo = next;
        }
        let mut out = Torques::default();
        for (i, mesh) in self.meshes.iter().enumerate() {
            let share = friction_share(mesh.share, digit(combo, i));
            let gear = self.unknown(combo, i, outer, free, shafts);
            out.mesh_w += share * gear * self.lead[i] * mesh.slip(speed);
        }
        let first = self.meshes.len();
        for l in 0..self.locks {
            out.lock[l] = self.unknown(combo, first + l, outer, free, shafts);
        }
        for (i, &m) in self.machines.iter().enumerate() {
            out.machine[m] = self.unknown(combo, first + self.locks + i, outer, free, shafts);
        }
        for row in &self.solved[combo].must_vanish {
            let sum = row.iter().zip(outer).take(shafts).fold(0.0, |s, (r, t)| s + r * t);
            out.unbalanced_nm = sum.abs().max(out.unbalanced_nm);
        }
        out
    }

    fn unknown(
        &self,
        combo: usize,
        i: usize,
        outer: &[f64; MAX],
        free: &[f64],
        shafts: usize,
    ) -> f64 {
        let solved = &self.solved[combo];
        let known: f64 = solved.per_shaft[i][..shafts].iter().zip(outer).map(|(a, b)| a * b).sum();
        known + solved.per_free[i].iter().zip(free).map(|(a, b)| a * b).sum::<f64>()
    }

    /// Which way power goes through each mesh.
    fn combo(&self, gear: &[f64; MAX], speed: &[f64; MAX]) -> usize {
        let mut combo = 0;
        for (i, mesh) in self.meshes.iter().enumerate().rev() {
            let power = gear[i] * self.lead[i] * mesh.slip(speed);
            let state = if power > TINY {
                1
            } else if power < -TINY {
                2
            } else {
                0
            };
            combo = combo * 3 + state;
        }
        combo
    }
}

fn digit(combo: usize, i: usize) -> usize {
    combo / 3usize.pow(i as u32) % 3
}

/// Friction as a share of the torque that the gear puts on the first shaft. A share of the power
/// that goes in: when the first shaft drives, its own torque is what goes in.
fn friction_share(share: f64, state: usize) -> f64 {
    match state {
        1 => share,
        2 => -share / (1.0 - share),
        _ => 0.0,
    }
}

/// A gear's torques on all shafts with its friction.
fn with_friction(gear: &[f64], mesh: &Mesh, lead: f64, state: usize) -> Vec<f64> {
    let mut column = gear.to_vec();
    let nm = friction_share(mesh.share, state) * lead;
    column[mesh.a] -= nm;
    if let Some(b) = mesh.b {
        column[b] += nm;
    }
    column
}

fn floats(row: &Row) -> Vec<f64> {
    row.iter().map(exact::to_f64).collect()
}

fn unit(n: usize, at: usize) -> Vec<f64> {
    (0..n).map(|i| if i == at { 1.0 } else { 0.0 }).collect()
}

/// Solve `columns x = -outer` by elimination, columns in order; what is left without a pivot is
/// free when it is a machine (from `bound` on), and none when it is a gear or a lock.
fn solve(columns: &[Vec<f64>], shafts: usize, bound: usize) -> (Solved, Vec<usize>) {
    let n = columns.len();
    // Each row: the unknowns, then what the outer torques on each shaft do.
    let mut rows: Vec<Vec<f64>> = (0..shafts)
        .map(|s| columns.iter().map(|c| c[s]).chain(unit(shafts, s)).collect())
        .collect();
    let mut pivots = Vec::new();
    for column in 0..n {
        let at = pivots.len();
        let best =
            (at..shafts).max_by(|&a, &b| rows[a][column].abs().total_cmp(&rows[b][column].abs()));
        let Some(best) = best.filter(|&r| rows[r][column].abs() > TINY) else { continue };
        rows.swap(at, best);
        let lead = rows[at][column];
        rows[at].iter_mut().for_each(|x| *x /= lead);
        let pivot = rows[at].clone();
        for (r, row) in rows.iter_mut().enumerate() {
            let factor = row[column];
            if r != at && factor != 0.0 {
                row.iter_mut().zip(&pivot).for_each(|(x, p)| *x -= factor * p);
            }
        }
        pivots.push(column);
    }
    let free: Vec<usize> = (bound..n).filter(|c| !pivots.contains(c)).collect();
    let mut solved = Solved {
        per_shaft: vec![[0.0; MAX]; n],
        per_free: vec![vec![0.0; free.len()]; n],
        must_vanish: Vec::new(),
    };
    for (row, &column) in rows.iter().zip(&pivots) {
        for s in 0..shafts {
            solved.per_shaft[column][s] = -row[n + s];
        }
        solved.per_free[column] = free.iter().map(|&f| -row[f]).collect();
    }
    for (k, &f) in free.iter().enumerate() {
        solved.per_free[f][k] = 1.0;
    }
    for row in &rows[pivots.len()..] {
        let mut sum = [0.0; MAX];
        sum[..shafts].copy_from_slice(&row[n..]);
        solved.must_vanish.push(sum);
    }
    (solved, free.iter().map(|f| f - bound).collect())
}
