//! Steady torque relations of a lock set, by duality: the balance of torques along every motion.
//!
//! Rigid shafts without losses store and lose no power, so steady torques `T` on the
//! machines' shafts and `-D` on the output (`D` is what the wheels receive) are in balance
//! exactly when `sum(T_m * w_m) = D * w_out` holds in *every* motion `w` of the lock set
//! (virtual power). The torque of a closed lock appears when that lock is released in
//! thought: one motion more, along which its torque does work too.

use num_traits::Zero;

use crate::driveline::{Driveline, LockId, MachineId, MachineKind, ShaftId};
use crate::exact::{Matrix, Q, Row, dot};

/// Steady torques of one lock set; all ratios are Nm per Nm, without losses.
#[derive(Clone, Debug, PartialEq)]
pub struct TorqueRelations {
    /// For each machine, the torque that the wheels' side of the output receives per unit of
    /// its torque when it acts alone with every free motion in balance. `None`: it cannot act
    /// alone. Zero: its shaft is held, its torque ends in the locks.
    pub alone: Vec<Option<Q>>,
    /// The smallest sets of machines that can push the output together, fewest first.
    pub pushes: Vec<Push>,
    /// Torque of each closed lock that is not redundant, in file order. (A redundant lock
    /// shares its torque with others in a way that rigid shafts do not determine.)
    pub locks: Vec<LockTorque>,
}

/// Machines that push the output together; none of them can be left out.
#[derive(Clone, Debug, PartialEq)]
pub struct Push {
    /// The machines, in file order.
    pub machines: Vec<MachineId>,
    /// Torque of each of them per unit of torque at the output (never zero).
    pub per_output: Vec<Q>,
}

/// Torque that a closed lock exerts on its first side (its second side receives the opposite).
#[derive(Clone, Debug, PartialEq)]
pub struct LockTorque {
    /// The lock.
    pub lock: LockId,
    /// Lock torque per unit of each machine's torque. In balance many rows say the same;
    /// this one avoids the output, then the engine, whose torques are known least well.
    pub per_machine: Row,
    /// Lock torque per unit of torque at the output, on top of `per_machine` (zero unless
    /// the output is held).
    pub per_output: Q,
    /// Lock torque per unit of torque at the output when the output is pushed as in
    /// [`TorqueRelations::pushes`], same index; this does not depend on the choice of row.
    pub per_push: Vec<Q>,
}

/// The torque relations of the lock set `closed`, whose motions are `all[closed]`.
pub(super) fn relations(
    d: &Driveline,
    all: &[Vec<Row>],
    closed: usize,
    per_output: &[Option<Q>],
) -> TorqueRelations {
    let motions = &all[closed];
    let pushes = pushes(d, motions);
    let reference = Reference::new(d, motions);
    let locks = (0..d.locks.len())
        .filter(|&lock| closed >> lock & 1 == 1)
        .filter_map(|lock| lock_torque(d, &all[closed ^ 1 << lock], lock, &reference, &pushes))
        .collect();
    let alone = d.machines.iter().map(|m| per_output[m.shaft].clone()).collect();
    TorqueRelations { alone, pushes, locks }
}

/// The speed of `shaft` in each motion.
fn speeds(motions: &[Row], shaft: ShaftId) -> Row {
    motions.iter().map(|motion| motion[shaft].clone()).collect()
}

/// Torques of `machines` per unit of output torque with every motion in balance.
fn balance(d: &Driveline, motions: &[Row], machines: &[MachineId]) -> Option<Row> {
    let rows = machines.iter().map(|&m| speeds(motions, d.machines[m].shaft)).collect();
    Matrix::new(motions.len(), rows).combine_rows(&speeds(motions, d.output.shaft))
}

/// Whether no torques of the machines, engine included, can hold a steady output torque.
///
/// By virtual power: the output's speed is no combination of the machines' speeds exactly
/// when some motion turns the output while every machine stands. Along it the machines do
/// no work whatever their torque, so any torque at the output is out of balance.
pub(super) fn is_neutral(d: &Driveline, motions: &[Row]) -> bool {
    let everyone: Vec<MachineId> = (0..d.machines.len()).collect();
    balance(d, motions, &everyone).is_none()
}

fn pushes(d: &Driveline, motions: &[Row]) -> Vec<Push> {
    if motions.iter().all(|motion| motion[d.output.shaft].is_zero()) {
        return Vec::new();
    }
    let mut sets: Vec<u32> = (1..1u32 << d.machines.len()).collect();
    sets.sort_by_key(|set| (set.count_ones(), *set));
    let mut found: Vec<(u32, Push)> = Vec::new();
    for set in sets {
        if found.iter().any(|(smaller, _)| set & smaller == *smaller) {
            continue;
        }
        let machines: Vec<MachineId> =
            (0..d.machines.len()).filter(|m| set >> m & 1 == 1).collect();
        if let Some(per_output) = balance(d, motions, &machines) {
            found.push((set, Push { machines, per_output }));
        }
    }
    found.into_iter().map(|(_, push)| push).collect()
}

/// Torques do the same work along motions that differ by a motion of the lock set itself;
/// this reduces a motion so that the least well known torques drop out first.
struct Reference {
    shafts: Vec<ShaftId>,
    rows: Matrix,
    pivots: Vec<usize>,
}

impl Reference {
    fn new(d: &Driveline, motions: &[Row]) -> Reference {
        let is_engine = |m: &MachineId| matches!(d.machines[*m].kind, MachineKind::Engine(_));
        let ids = || (0..d.machines.len()).rev();
        let ordered = ids().filter(is_engine).chain(ids().filter(|m| !is_engine(m)));
        let shafts: Vec<ShaftId> =
            [d.output.shaft].into_iter().chain(ordered.map(|m| d.machines[m].shaft)).collect();
        let rows = motions.iter().map(|motion| pick(motion, &shafts)).collect();
        let (rows, pivots) = Matrix::new(shafts.len(), rows).reduced();
        Reference { shafts, rows, pivots }
    }

    /// Speeds of the output and of the machines (in the order of `shafts`), reduced.
    fn reduce(&self, motion: &Row) -> Row {
        let mut picked = pick(motion, &self.shafts);
        for (row, &pivot) in self.rows.rows().iter().zip(&self.pivots) {
            let factor = picked[pivot].clone();
            for (value, r) in picked.iter_mut().zip(row) {
                *value -= &factor * r;
            }
        }
        picked
    }
}

fn pick(motion: &Row, shafts: &[ShaftId]) -> Row {
    shafts.iter().map(|&s| motion[s].clone()).collect()
}

/// Torque of `lock` by its virtual release; `None` when it is redundant (nothing slips).
fn lock_torque(
    d: &Driveline,
    released: &[Row],
    lock: LockId,
    reference: &Reference,
    pushes: &[Push],
) -> Option<LockTorque> {
    let slip_row = super::rows::lock_row(d, lock);
    let (slip, motion) = released
        .iter()
        .map(|motion| (dot(&slip_row, motion), motion))
        .find(|(slip, _)| !slip.is_zero())?;
    let per_slip: Row = motion.iter().map(|speed| speed / &slip).collect();
    let reduced = reference.reduce(&per_slip);
    // Reduced speeds belong to shafts; machines on one shaft share them.
    let speed_of = |shaft: ShaftId| {
        let at = reference.shafts.iter().position(|&s| s == shaft);
        at.map_or_else(Q::zero, |at| reduced[at].clone())
    };
    // Balance along it: lock * 1 + sum(machine * speed) - output * speed = 0.
    let per_machine: Row = d.machines.iter().map(|m| -speed_of(m.shaft)).collect();
    let per_output = speed_of(d.output.shaft);
    let per_push = pushes
        .iter()
        .map(|push| {
            let shares = push.machines.iter().zip(&push.per_output);
            shares.fold(per_output.clone(), |sum, (&m, share)| sum + &per_machine[m] * share)
        })
        .collect();
    Some(LockTorque { lock, per_machine, per_output, per_push })
}
