//! What each machine does while an arrangement stands: who pushes, who holds a free shaft's
//! speed, and at which speed.
//!
//! Free motions are held where the electric machines turn at small shares of their speed
//! limits: the least squares of speed per limit. That is a linear row over the output speed
//! and, where the engine is joined, over its speed (the pace).

use num_traits::Zero;
use supervisor::bits::MAX_MACHINES;
use supervisor::table as t;

use crate::driveline::{Arrangement, Driveline, EngineUse, MachineId, Role};
use crate::exact::{Matrix, Q, Row, from_f64, int, to_f64};
use crate::kinematics::Kinematics;

use super::motion::{electric_push, is_electric};
use super::rows::RPM;

/// How far inside its running range the engine is kept.
const ENGINE_ROOM: f64 = 0.05;

/// Duties of the machines in an arrangement, and the engine speed it runs at.
pub(super) fn duties(
    d: &Driveline,
    k: &Kinematics,
    arrangement: &Arrangement,
) -> ([t::Duty; MAX_MACHINES], t::Pace) {
    let set = k.set(arrangement.closed);
    let reads = |shaft: usize| -> Row { set.basis.iter().map(|n| n[shaft].clone()).collect() };
    let output = reads(d.output.shaft);
    let engine_shaft = d.engine().map(|(m, _)| d.machines[m].shaft);
    let joined = super::steps::engine_joined(d, k, arrangement.closed);
    let holders = speed_holders(d, k, arrangement, &reads, &output);
    // Speeds are expressed over: the output, the engine where it has a motion of its own.
    let mut given = vec![output.clone()];
    if let (true, Some(shaft)) = (joined, engine_shaft) {
        given.push(reads(shaft));
    }
    let paced = Matrix::new(set.mobility, given.clone()).rank() == 2;
    given.truncate(if paced { 2 } else { 1 });
    let rows = balanced_speeds(d, &given, &reads);
    let mut duties = [t::Duty::Unload; MAX_MACHINES];
    for (m, duty) in duties.iter_mut().enumerate().take(d.machines.len()) {
        *duty = match &rows {
            Some(rows) if holders.contains(&m) => {
                let pace = if paced { to_f64(&rows[m][1]) as f32 } else { 0.0 };
                t::Duty::Hold { per_output: to_f64(&rows[m][0]) as f32, per_pace: pace }
            }
            _ if is_idle(d, k, arrangement, m, joined) => t::Duty::Unload,
            _ => t::Duty::Free,
        };
    }
    let pace = if paced { engine_pace(d, arrangement, &given, &reads) } else { t::Pace::default() };
    (duties, pace)
}

/// Machines that hold a speed: as many as there are motions that the output does not
/// determine and a machine moves, the ones that push least first.
fn speed_holders(
    d: &Driveline,
    k: &Kinematics,
    arrangement: &Arrangement,
    reads: &dyn Fn(usize) -> Row,
    output: &Row,
) -> Vec<MachineId> {
    let shares = electric_push(d, k, arrangement.closed)
        .map_or_else(|| vec![0.0; d.machines.len()], |push| push.shares);
    let joined = super::steps::engine_joined(d, k, arrangement.closed);
    let mut order: Vec<MachineId> = (0..d.machines.len())
        .filter(|&m| is_electric(d, m) && !is_idle(d, k, arrangement, m, joined))
        .collect();
    let preference = |m: MachineId| match arrangement.roles.get(m).copied().flatten() {
        Some(Role::HoldsSpeed) => 0,
        Some(Role::Generates) => 1,
        None | Some(Role::Idle) => 2,
        Some(Role::Drives) => 3,
    };
    order.sort_by(|&a, &b| {
        (preference(a), shares[a].abs())
            .partial_cmp(&(preference(b), shares[b].abs()))
            .unwrap_or(std::cmp::Ordering::Equal)
    });
    let rank = |rows: Vec<Row>| Matrix::new(output.len(), rows).rank();
    let mut known = vec![output.clone()];
    let mut holders = Vec::new();
    for m in order {
        let mut with = known.clone();
        with.push(reads(d.machines[m].shaft));
        if rank(with.clone()) > rank(known.clone()) {
            known = with;
            holders.push(m);
        }
    }
    holders
}

/// A machine that neither pushes nor is joined to a running engine has nothing to do.
fn is_idle(
    d: &Driveline,
    k: &Kinematics,
    arrangement: &Arrangement,
    machine: MachineId,
    joined: bool,
) -> bool {
    if let Some(role) = arrangement.roles.get(machine).copied().flatten() {
        return role == Role::Idle;
    }
    if !is_electric(d, machine) {
        return arrangement.engine == EngineUse::Off || !joined;
    }
    let set = k.set(arrangement.closed);
    let shaft = d.machines[machine].shaft;
    if set.held.contains(&shaft) {
        return true;
    }
    // It moves nothing else that matters: with it moving, the output and all other machines can stand.
    let rows: Vec<Row> = d
        .machines
        .iter()
        .enumerate()
        .filter(|(m, _)| *m != machine)
        .map(|(_, other)| other.shaft)
        .chain([d.output.shaft])
        .map(|s| set.basis.iter().map(|n| n[s].clone()).collect())
        .collect();
    let alone = Matrix::new(set.mobility, rows).null_space();
    let turns_alone = alone.iter().any(|x| {
        let speed = x.iter().zip(&set.basis).fold(int(0), |sum, (c, n)| sum + c * &n[shaft]);
        !speed.is_zero()
    });
    let push = electric_push(d, k, arrangement.closed);
    turns_alone && push.is_none_or(|p| p.shares[machine] == 0.0)
}

/// Each machine's speed as a row over the given speeds, by least squares of the electric
/// machines' speeds per limit. `None` where no machine has a say.
fn balanced_speeds(d: &Driveline, given: &[Row], reads: &dyn Fn(usize) -> Row) -> Option<Vec<Row>> {
    let mobility = given[0].len();
    let electric: Vec<(Row, Q)> = (0..d.machines.len())
        .filter(|&m| is_electric(d, m))
        .map(|m| {
            let shaft = d.machines[m].shaft;
            let limit = d.shafts[shaft].max_rpm.and_then(from_f64).unwrap_or_else(|| int(1000));
            (reads(shaft), int(1) / (&limit * &limit))
        })
        .collect();
    // Stationary point of sum(weight x speed^2) under "given = value": x = H^+ with multipliers.
    let size = mobility + given.len();
    let mut rows = vec![vec![int(0); size]; size];
    for (read, weight) in &electric {
        for i in 0..mobility {
            for j in 0..mobility {
                rows[i][j] += &read[i] * &read[j] * weight;
            }
        }
    }
    for (g, form) in given.iter().enumerate() {
        for i in 0..mobility {
            rows[i][mobility + g] = form[i].clone();
            rows[mobility + g][i] = form[i].clone();
        }
    }
    let system = Matrix::new(size, rows);
    let columns: Option<Vec<Row>> = (0..given.len())
        .map(|g| {
            let mut rhs = vec![int(0); size];
            rhs[mobility + g] = int(1);
            system.solve(&rhs)
        })
        .collect();
    let columns = columns?;
    let rows = (0..d.machines.len())
        .map(|m| {
            let read = reads(d.machines[m].shaft);
            columns.iter().map(|x| crate::exact::dot(&read, &x[..mobility])).collect()
        })
        .collect();
    Some(rows)
}

/// Engine speed per output speed where the electric machines turn easiest, and its range.
fn engine_pace(
    d: &Driveline,
    arrangement: &Arrangement,
    given: &[Row],
    reads: &dyn Fn(usize) -> Row,
) -> t::Pace {
    let Some((machine, engine)) = d.engine() else { return t::Pace::default() };
    let alone = balanced_speeds(d, &given[..1], reads);
    let per_output = alone.map_or(0.0, |rows| to_f64(&rows[machine][0]));
    if arrangement.engine == EngineUse::Off {
        return t::Pace::default();
    }
    t::Pace {
        per_output: per_output as f32,
        min: (engine.idle_rpm * (1.0 + ENGINE_ROOM) * RPM) as f32,
        max: (engine.max_rpm * (1.0 - ENGINE_ROOM) * RPM) as f32,
    }
}
