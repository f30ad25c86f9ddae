//! What the machines can make a closed lock carry, against what it holds.
//!
//! Steady and without losses: every free motion is in balance, the wheels take whatever torque comes, and an electric
//! machine that the locks hold gives none, since in an overlap it gets no torque. What shafts that are sped up add is
//! not in here.

use num_traits::{Signed, Zero};

use super::simplex::{Outcome, maximise};
use super::{Kinematics, LockSet, LockTorque};
use crate::driveline::{Driveline, LockId, Machine, MachineKind};
use crate::exact::{Q, Row, from_f64, int};

/// A lock that slips, or whose teeth are beyond their strength, when the machines give all they have.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Overload {
    /// Closed locks.
    pub closed: u8,
    /// The lock.
    pub lock: LockId,
    /// The most that it may have to carry, Nm, by magnitude; more than its capacity.
    pub torque_nm: Q,
    /// Torque of each machine then, Nm, in file order.
    pub machines_nm: Row,
}

/// All of them in lock sets that are not forbidden, in order of the sets' patterns and then of the locks. Nothing is
/// said of locks without a capacity, of locks that share their torque in a way that rigid shafts do not determine, nor
/// where a machine turns whose torque is not stated.
pub fn overloads(d: &Driveline, k: &Kinematics) -> Vec<Overload> {
    let ranges: Vec<Option<(Q, Q)>> = d.machines.iter().map(range_nm).collect();
    let allowed = k.sets.iter().filter(|set| !set.verdict.is_forbidden());
    allowed.flat_map(|set| set.overloads(d, &ranges)).collect()
}

impl LockSet {
    fn overloads(&self, d: &Driveline, ranges: &[Option<(Q, Q)>]) -> Vec<Overload> {
        let Some((rows, limits)) = self.balance(d, ranges) else { return Vec::new() };
        let one = |lock: &LockTorque| {
            let capacity = d.locks[lock.lock].capacity_nm.and_then(from_f64)?;
            let (torque_nm, machines_nm) = most_nm(&rows, &limits, lock)?;
            let over = torque_nm > capacity;
            over.then_some(Overload {
                closed: self.closed,
                lock: lock.lock,
                torque_nm,
                machines_nm,
            })
        };
        self.torque.locks.iter().filter_map(one).collect()
    }

    /// `rows . torques <= limits`: what each machine gives, and balance along each motion in which the output
    /// stands; along the one in which it turns the wheels take what there is. `None` where a torque is not stated.
    fn balance(&self, d: &Driveline, ranges: &[Option<(Q, Q)>]) -> Option<(Vec<Row>, Row)> {
        let (mut rows, mut limits) = (Vec::new(), Row::new());
        let unit = |at: usize, value: i64| -> Row {
            (0..d.machines.len()).map(|m| int(if m == at { value } else { 0 })).collect()
        };
        for (m, range) in ranges.iter().enumerate() {
            let held = (Q::zero(), Q::zero());
            let (least, most) =
                if self.held_machines.contains(&m) { &held } else { range.as_ref()? };
            rows.extend([unit(m, 1), unit(m, -1)]);
            limits.extend([most.clone(), -least]);
        }
        for motion in self.basis.iter().filter(|motion| motion[d.output.shaft].is_zero()) {
            let power: Row = d.machines.iter().map(|m| motion[m.shaft].clone()).collect();
            rows.push(power.iter().map(|speed| -speed).collect());
            rows.push(power);
            limits.extend([Q::zero(), Q::zero()]);
        }
        Some((rows, limits))
    }
}

/// The largest magnitude of a lock's torque, and the machines' torques with which it is reached.
fn most_nm(rows: &[Row], limits: &[Q], lock: &LockTorque) -> Option<(Q, Row)> {
    // Where the output's torque has a say, brakes of the vehicle may add to it without end.
    if !lock.per_output.is_zero() {
        return None;
    }
    let most = |goal: &[Q]| match maximise(rows, limits, goal) {
        Outcome::Best { value, point, .. } => Some((value, point)),
        Outcome::Unbounded | Outcome::Nowhere { .. } => None,
    };
    let turned: Row = lock.per_machine.iter().map(|share| -share).collect();
    let (one, other) = (most(&lock.per_machine)?, most(&turned)?);
    Some(if other.0 > one.0 { other } else { one })
}

/// The least and the most torque of a machine, Nm; `None` where it is not stated.
fn range_nm(machine: &Machine) -> Option<(Q, Q)> {
    match &machine.kind {
        MachineKind::Electric(electric) => {
            let most = from_f64(electric.max_torque_nm?)?.abs();
            Some((-&most, most))
        }
        MachineKind::Engine(engine) => {
            let most = engine.torque_curve_rpm_nm.iter().map(|(_, nm)| *nm).reduce(f64::max)?;
            Some((-from_f64(engine.drag_nm)?.abs(), from_f64(most)?))
        }
    }
}
