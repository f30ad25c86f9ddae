//! The power path of an arrangement, and what a conflict holds, as highlights.
//!
//! Speeds are motions of the lock set; torques follow from the balance on every shaft, without
//! losses. Both come from the exact kinematics; only the shown example is floating point.

use super::highlight::{Flow, Highlight, ShaftState};
use super::parts::Part;
use crate::driveline::{Arrangement, Driveline, EngineUse, MachineKind, Role};
use crate::exact::to_f64;
use crate::kinematics::{Conflict, Kinematics, LockSet, and_list, gear_rows, lock_row, window_of};

/// Share of the largest power below which a part counts as carrying none.
const NOTHING: f64 = 0.005;

/// One steady operating point.
#[derive(Clone, Debug, PartialEq)]
pub struct Operation {
    /// Speed of each shaft, rpm.
    pub speed_rpm: Vec<f64>,
    /// Torque of each machine, Nm.
    pub machine_nm: Vec<f64>,
    /// Torque that the output gives to the wheels, Nm.
    pub output_nm: f64,
}

impl Operation {
    /// An example of an arrangement in the middle of its speed window: the engine, if it runs
    /// and is free, at the middle of its range, other free speeds as low as they can be for
    /// their limits; 100 Nm at the output by the machines that are meant to drive.
    pub fn example(d: &Driveline, k: &Kinematics, a: &Arrangement) -> Operation {
        let set = k.set(a.closed);
        let high = window_of(d, k, a.closed, a.engine).and_then(|w| {
            let end = |e: &crate::kinematics::End| e.output_rpm.as_ref().map(to_f64);
            Some((end(&w.low).unwrap_or(0.0).max(0.0) + end(&w.high)?) / 2.0)
        });
        let speed_rpm = speeds(d, set, a.engine, high.unwrap_or(1000.0));
        let output_nm = 100.0;
        let machine_nm = torques(d, set, a, &speed_rpm, output_nm);
        let drives = machine_nm.iter().any(|t| *t != 0.0);
        Operation { speed_rpm, machine_nm, output_nm: if drives { output_nm } else { 0.0 } }
    }
}

/// Least squares of `rows * x = right` with a little weight on small `x`.
fn least(rows: &[Vec<f64>], right: &[f64], count: usize) -> Vec<f64> {
    let mut m = vec![vec![0.0; count + 1]; count];
    for (row, r) in rows.iter().zip(right) {
        for i in 0..count {
            for j in 0..count {
                m[i][j] += row[i] * row[j];
            }
            m[i][count] += row[i] * r;
        }
    }
    let trace: f64 = (0..count).map(|i| m[i][i]).sum();
    for (i, row) in m.iter_mut().enumerate() {
        row[i] += 1e-10 * trace.max(1e-300);
    }
    // Symmetric and positive definite: no pivoting is needed.
    for i in 0..count {
        let pivot = m[i].clone();
        for (j, row) in m.iter_mut().enumerate() {
            if j != i {
                let factor = row[i] / pivot[i];
                row.iter_mut().zip(&pivot).for_each(|(a, b)| *a -= factor * b);
            }
        }
    }
    (0..count).map(|i| m[i][count] / m[i][i]).collect()
}

fn speeds(d: &Driveline, set: &LockSet, engine: EngineUse, output_rpm: f64) -> Vec<f64> {
    let basis: Vec<Vec<f64>> =
        set.basis.iter().map(|row| row.iter().map(to_f64).collect()).collect();
    let known = !set.holds_output && !basis.is_empty();
    let base: Vec<f64> = match known {
        true => basis[0].iter().map(|w| w * output_rpm).collect(),
        false => vec![0.0; d.shafts.len()],
    };
    let free = if known { &basis[1..] } else { &basis[..] };
    let mut rows = Vec::new();
    let mut right = Vec::new();
    let mut want = |shaft: usize, rpm: f64, weight: f64| {
        let scale = weight / d.shafts[shaft].max_rpm.unwrap_or(3000.0).max(1.0);
        rows.push(free.iter().map(|m| m[shaft] * scale).collect::<Vec<f64>>());
        right.push((rpm - base[shaft]) * scale);
    };
    (0..d.shafts.len()).for_each(|s| want(s, 0.0, 1.0));
    for machine in &d.machines {
        match &machine.kind {
            MachineKind::Engine(e) if engine != EngineUse::Off => {
                want(machine.shaft, (e.idle_rpm + e.max_rpm) / 2.0, 30.0);
            }
            _ => {}
        }
    }
    let shares = least(&rows, &right, free.len());
    (0..d.shafts.len())
        .map(|s| base[s] + free.iter().zip(&shares).map(|(m, c)| m[s] * c).sum::<f64>())
        .map(|rpm| if rpm.abs() < 0.05 { 0.0 } else { rpm })
        .collect()
}

fn is_engine(d: &Driveline, machine: usize) -> bool {
    matches!(d.machines[machine].kind, MachineKind::Engine(_))
}

/// Whether a machine may be used at all in an arrangement.
fn usable(d: &Driveline, a: &Arrangement, machine: usize) -> bool {
    !(is_engine(d, machine) && a.engine == EngineUse::Off)
        && a.roles.get(machine) != Some(&Some(Role::Idle))
}

fn torques(
    d: &Driveline,
    set: &LockSet,
    a: &Arrangement,
    speed: &[f64],
    output_nm: f64,
) -> Vec<f64> {
    let mut torque = vec![0.0; d.machines.len()];
    let role = |m: usize| a.roles.get(m).copied().flatten();
    let drives = |m: usize| role(m) == Some(Role::Drives);
    let pushes =
        || set.torque.pushes.iter().filter(|p| p.machines.iter().all(|&m| usable(d, a, m)));
    let meant: Vec<_> = pushes().filter(|p| p.machines.iter().all(|&m| drives(m))).collect();
    let most_meant = pushes().max_by_key(|p| {
        let meant = p.machines.iter().filter(|&&m| drives(m)).count();
        // An engine that is meant to run is meant to push where it can.
        let fired = a.engine == EngineUse::On && p.machines.iter().any(|&m| is_engine(d, m));
        (meant, fired, usize::MAX - p.machines.len())
    });
    let used = if meant.is_empty() { most_meant.into_iter().collect() } else { meant };
    for push in &used {
        for (&m, share) in push.machines.iter().zip(&push.per_output) {
            torque[m] += to_f64(share) * output_nm / used.len() as f64;
        }
    }
    charge(d, set, a, speed, &mut torque);
    torque
}

/// An engine that does not push turns a generator, as much as the other machines draw.
fn charge(d: &Driveline, set: &LockSet, a: &Arrangement, speed: &[f64], torque: &mut [f64]) {
    let Some((engine, _)) = d.engine() else { return };
    if a.engine != EngineUse::On || torque[engine] != 0.0 {
        return;
    }
    let drawn: f64 = (0..torque.len()).map(|m| torque[m] * speed[d.machines[m].shaft]).sum();
    let e = d.machines[engine].shaft;
    let may = |m: &usize| {
        let role = a.roles.get(*m).copied().flatten();
        *m != engine && torque[*m] == 0.0 && matches!(role, None | Some(Role::Generates))
    };
    for generator in (0..torque.len()).filter(may).collect::<Vec<_>>() {
        // In balance along every motion: T_e w_e + T_g w_g = 0.
        let g = d.machines[generator].shaft;
        let pair = |m: &Vec<crate::exact::Q>| (to_f64(&m[e]), to_f64(&m[g]));
        let turned = |p: &(f64, f64)| *p != (0.0, 0.0);
        let pairs: Vec<(f64, f64)> = set.basis.iter().map(pair).filter(turned).collect();
        let Some(&(we, wg)) = pairs.first() else { continue };
        let balanced = pairs.iter().all(|p| (p.0 * wg - p.1 * we).abs() < 1e-9);
        if balanced && we != 0.0 && wg != 0.0 && speed[g].abs() > 1.0 {
            torque[generator] = -drawn / speed[g];
            torque[engine] = -torque[generator] * wg / we;
            return;
        }
    }
}

/// Power of every part into every shaft it joins, Nm x rpm.
fn flows(d: &Driveline, closed: u8, at: &Operation) -> Vec<Flow> {
    let mut parts: Vec<Part> = (0..d.planetaries.len()).map(Part::Set).collect();
    parts.extend((0..d.gear_pairs.len()).map(Part::Pair));
    let mut rows: Vec<Vec<f64>> =
        gear_rows(d).rows().iter().map(|row| row.iter().map(to_f64).collect()).collect();
    for lock in (0..d.locks.len()).filter(|l| closed >> l & 1 == 1) {
        parts.push(Part::Lock(lock));
        rows.push(lock_row(d, lock).iter().map(to_f64).collect());
    }
    let mut outer = vec![0.0; d.shafts.len()];
    let mut list = Vec::new();
    for (m, machine) in d.machines.iter().enumerate() {
        outer[machine.shaft] += at.machine_nm[m];
        let power = at.machine_nm[m] * at.speed_rpm[machine.shaft];
        list.push(Flow { part: Part::Machine(m), shaft: machine.shaft, power });
    }
    let out = d.output.shaft;
    outer[out] -= at.output_nm;
    list.push(Flow { part: Part::Output, shaft: out, power: -at.output_nm * at.speed_rpm[out] });
    // On every shaft the torques of gears and locks answer those from outside.
    let columns: Vec<Vec<f64>> =
        (0..d.shafts.len()).map(|s| rows.iter().map(|row| row[s]).collect()).collect();
    let right: Vec<f64> = outer.iter().map(|t| -t).collect();
    let answer = least(&columns, &right, rows.len());
    for ((part, row), torque) in parts.iter().zip(&rows).zip(answer) {
        for (shaft, share) in row.iter().enumerate().filter(|(_, share)| **share != 0.0) {
            list.push(Flow { part: *part, shaft, power: torque * share * at.speed_rpm[shaft] });
        }
    }
    let most = list.iter().map(|f| f.power.abs()).fold(0.0, f64::max);
    list.retain(|f| f.power.abs() > NOTHING * most);
    list
}

/// The power path of an arrangement at an operating point.
pub fn arrangement(d: &Driveline, k: &Kinematics, a: &Arrangement, at: &Operation) -> Highlight {
    let set = k.set(a.closed);
    let flows = flows(d, a.closed, at);
    let state = |s: usize| match () {
        () if set.held.contains(&s) => ShaftState::Held,
        () if flows.iter().any(|f| f.shaft == s) => ShaftState::Power,
        () if set.per_output[s].is_some() => ShaftState::Idle,
        () => ShaftState::Free,
    };
    let note = |s: usize| match set.held.contains(&s) {
        true => "stands".to_string(),
        false => format!("{:.0} rpm", at.speed_rpm[s]).replace('-', "\u{2212}"),
    };
    let through = (at.output_nm * at.speed_rpm[d.output.shaft]).abs();
    let machine = |m: usize| {
        let power = at.machine_nm[m] * at.speed_rpm[d.machines[m].shaft];
        let used = flows.iter().any(|f| f.part == Part::Machine(m));
        if used && through > 0.0 {
            format!("{:+.0} %", 100.0 * power / through).replace('-', "\u{2212}")
        } else if at.machine_nm[m] != 0.0 {
            "holds".to_string()
        } else {
            String::new()
        }
    };
    let closed = d.lock_names(a.closed);
    let locks = match closed.is_empty() {
        true => "all locks open".to_string(),
        false => format!("closed: {}", and_list(&closed)),
    };
    let free = match set.mobility {
        0 => "nothing can turn",
        1 => "every speed follows from the output's",
        _ => "some speeds are free; shown is an example",
    };
    Highlight {
        title: format!("{}: {}", d.name, a.name),
        subtitle: format!("{locks}; {free}; power in % of what reaches the wheels, no losses"),
        closed: a.closed,
        alarm_locks: 0,
        shafts: (0..d.shafts.len()).map(state).collect(),
        shaft_notes: (0..d.shafts.len()).map(note).collect(),
        machine_notes: (0..d.machines.len()).map(machine).collect(),
        output_note: if through > 0.0 { "100 %".to_string() } else { "no push".to_string() },
        flows,
    }
}

/// A smallest forbidden lock set: its locks closed, what they hold marked.
pub fn conflict(d: &Driveline, k: &Kinematics, c: &Conflict) -> Highlight {
    let set = k.set(c.locks);
    let state = |s: usize| match () {
        () if c.holds.contains(&s) => ShaftState::Alarm,
        () if set.held.contains(&s) => ShaftState::Held,
        () => ShaftState::Plain,
    };
    let note = |s: usize| match state(s) {
        ShaftState::Alarm => "must turn, held".to_string(),
        ShaftState::Held => "held".to_string(),
        _ => String::new(),
    };
    Highlight {
        title: format!("{}: never {} together", d.name, and_list(&d.lock_names(c.locks))),
        subtitle: c.reason.clone(),
        closed: c.locks,
        alarm_locks: c.locks,
        shafts: (0..d.shafts.len()).map(state).collect(),
        shaft_notes: (0..d.shafts.len()).map(note).collect(),
        ..Highlight::default()
    }
}
