//! Choosing motions of a lock set: how a machine can move a slip, and what pushes the wheels.

use num_traits::{One, Zero};

use crate::driveline::{Driveline, LockId, MachineId, MachineKind};
use crate::exact::{Matrix, Q, Row, dot, from_f64, int, ratio, to_f64};
use crate::kinematics::{Kinematics, lock_row};

use super::rows::shaft_form;

/// Whether a machine is electric.
pub fn is_electric(d: &Driveline, machine: MachineId) -> bool {
    matches!(d.machines[machine].kind, MachineKind::Electric(_))
}

/// Solve for a motion of `basis` with the given values of the given forms; tries to keep the
/// optional forms at zero, in order. `None` when the required values are impossible.
fn motion_with(basis: &[Row], required: &[(Row, Q)], optional: &[Row]) -> Option<Constrained> {
    let on = |form: &Row| -> Row { basis.iter().map(|motion| dot(motion, form)).collect() };
    let mut rows: Vec<Row> = required.iter().map(|(form, _)| on(form)).collect();
    let mut values: Row = required.iter().map(|(_, value)| value.clone()).collect();
    let mut solution = Matrix::new(basis.len(), rows.clone()).solve(&values)?;
    for form in optional {
        rows.push(on(form));
        values.push(Q::zero());
        match Matrix::new(basis.len(), rows.clone()).solve(&values) {
            Some(better) => solution = better,
            None => {
                rows.pop();
                values.pop();
            }
        }
    }
    let combine = |x: &Row| -> Row {
        (0..basis.first().map_or(0, Vec::len))
            .map(|s| x.iter().zip(basis).fold(Q::zero(), |sum, (c, motion)| sum + c * &motion[s]))
            .collect()
    };
    let rest = Matrix::new(basis.len(), rows).null_space();
    Some(Constrained { motion: combine(&solution), still_free: rest.iter().map(combine).collect() })
}

struct Constrained {
    motion: Row,
    /// Motions that the constraints leave free.
    still_free: Vec<Row>,
}

/// How a machine moves the slip of a lock while the output and the other machines keep theirs.
#[derive(Clone, Debug, PartialEq)]
pub struct Synchroniser {
    /// The machine.
    pub machine: MachineId,
    /// Shaft speeds per unit of the machine's speed.
    pub motion: Row,
    /// Slip per unit of the machine's speed, never zero.
    pub slip_per_speed: Q,
}

/// Machines that can bring the slip of `lock` to zero in `set`, in machine order.
pub fn synchronisers(d: &Driveline, k: &Kinematics, set: u8, lock: LockId) -> Vec<Synchroniser> {
    let basis = &k.set(set).basis;
    let slip = lock_row(d, lock);
    let mut found = Vec::new();
    for machine in 0..d.machines.len() {
        let shaft = d.machines[machine].shaft;
        let required =
            [(shaft_form(d, d.output.shaft), Q::zero()), (shaft_form(d, shaft), Q::one())];
        let mut others: Vec<MachineId> = (0..d.machines.len()).filter(|&m| m != machine).collect();
        // The engine first: it is the slowest to move and must not be dragged about.
        others.sort_by_key(|&m| is_electric(d, m));
        let optional: Vec<Row> =
            others.iter().map(|&m| shaft_form(d, d.machines[m].shaft)).collect();
        let Some(solved) = motion_with(basis, &required, &optional) else { continue };
        let slip_per_speed = dot(&solved.motion, &slip);
        // A shaft that no machine holds must not have a say in the slip.
        let drifts = solved.still_free.iter().any(|motion| !dot(motion, &slip).is_zero());
        if !slip_per_speed.is_zero() && !drifts {
            found.push(Synchroniser { machine, motion: solved.motion, slip_per_speed });
        }
    }
    found
}

/// Torque shares of the electric machines that push the output in a lock set.
#[derive(Clone, Debug, PartialEq)]
pub struct Push {
    /// Machine torque per torque at the output, in machine order (the engine's is zero).
    pub shares: Vec<f64>,
}

/// How the electric machines push the output in `set` with every free motion in balance,
/// sharing so that the largest relative torque is small (least squares of torque per torque
/// limit). `None`: they cannot.
pub fn electric_push(d: &Driveline, k: &Kinematics, set: u8) -> Option<Push> {
    balance(
        d,
        &k.set(set).basis,
        &k.set(set).basis.iter().map(|n| n[d.output.shaft].clone()).collect::<Row>(),
    )
    .map(|shares| Push { shares })
}

/// Torques `u` of the electric machines with `sum(u_m * n_m) = wanted(n)` for every motion
/// `n`, of least weighted norm; `None` when there are none.
fn balance(d: &Driveline, basis: &[Row], wanted: &[Q]) -> Option<Vec<f64>> {
    let electric: Vec<MachineId> = (0..d.machines.len()).filter(|&m| is_electric(d, m)).collect();
    let weight = |m: MachineId| match &d.machines[m].kind {
        MachineKind::Electric(e) => {
            e.max_torque_nm.and_then(from_f64).filter(|q| !q.is_zero()).unwrap_or_else(Q::one)
        }
        MachineKind::Engine(_) => Q::zero(),
    };
    // u = W W A' y with A W W A' y = wanted: the least norm of u weighted by 1/limit.
    let a: Vec<Row> = basis
        .iter()
        .map(|n| electric.iter().map(|&m| n[d.machines[m].shaft].clone()).collect())
        .collect();
    let scaled: Vec<Row> = a
        .iter()
        .map(|row| row.iter().zip(&electric).map(|(x, &m)| x * weight(m) * weight(m)).collect())
        .collect();
    let gram: Vec<Row> =
        a.iter().map(|row| scaled.iter().map(|other| dot(row, other)).collect()).collect();
    let y = Matrix::new(basis.len(), gram).solve(wanted)?;
    let mut shares = vec![0.0; d.machines.len()];
    for (i, &m) in electric.iter().enumerate() {
        let sum = y.iter().zip(&scaled).fold(Q::zero(), |sum, (c, row)| sum + c * &row[i]);
        shares[m] = to_f64(&sum);
    }
    Some(shares)
}

/// Whether the electric machines can spin `motion` up in `set` and push the output undisturbed.
pub(super) fn sync_keeps_push(d: &Driveline, k: &Kinematics, set: u8, motion: &[Q]) -> bool {
    let basis = &k.set(set).basis;
    if electric_push(d, k, set).is_none() {
        return false;
    }
    let inertias: Row = d.shafts.iter().map(inertia).collect();
    let wanted: Row = basis
        .iter()
        .map(|n| {
            n.iter().zip(motion).zip(&inertias).fold(Q::zero(), |sum, ((a, b), i)| sum + a * b * i)
        })
        .collect();
    balance(d, basis, &wanted).is_some()
}

/// A shaft's inertia; where the file gives none, a small stand-in that only serves to weigh
/// motions against each other.
pub(super) fn inertia(shaft: &crate::driveline::Shaft) -> Q {
    // As the decimal that was written: its binary fraction would have a denominator of 17 digits,
    // and every sum after it too.
    let decimal = |kg_m2: f64| ratio((kg_m2 * 1e9).round() as i64, 1_000_000_000);
    let given = shaft.inertia_kg_m2.filter(|&i| i > 1e-6 && i < 1e6).map(decimal);
    given.or_else(|| shaft.inertia_kg_m2.and_then(from_f64)).unwrap_or_else(|| ratio(1, 20))
}

/// The motion whose torque balance shows the load of `lock` when it is to be opened from
/// `set`: one rad/s of slip, the output at rest, and no share in the motions that `set` leaves
/// free (so that their accelerations do not show). `None`: opening it frees no such motion.
pub(super) fn load_motion(d: &Driveline, k: &Kinematics, set: u8, lock: LockId) -> Option<Row> {
    let after = k.set(set & !(1 << lock));
    let required = [(lock_row(d, lock), int(1)), (shaft_form(d, d.output.shaft), Q::zero())];
    let start = motion_with(&after.basis, &required, &[])?;
    // Take out the motions that stay free, by Gram-Schmidt in the metric of the inertias.
    let inertias: Row = d.shafts.iter().map(inertia).collect();
    let inner = |a: &Row, b: &Row| {
        a.iter().zip(b).zip(&inertias).fold(Q::zero(), |sum, ((x, y), i)| sum + x * y * i)
    };
    let mut free: Vec<Row> = Vec::new();
    for motion in &start.still_free {
        let mut orthogonal = motion.clone();
        for other in &free {
            let share = inner(&orthogonal, other) / inner(other, other);
            for (x, y) in orthogonal.iter_mut().zip(other) {
                *x -= &share * y;
            }
        }
        if !inner(&orthogonal, &orthogonal).is_zero() {
            free.push(orthogonal);
        }
    }
    let mut result = start.motion;
    for other in &free {
        let share = inner(&result, other) / inner(other, other);
        for (x, y) in result.iter_mut().zip(other) {
            *x -= &share * y;
        }
    }
    Some(result)
}
