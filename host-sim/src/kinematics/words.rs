//! Verdicts and conflicts in plain words.

use super::rows::{gear_row_name, gear_rows, lock_row};
use super::torque::TorqueRelations;
use super::{LockSet, Verdict};
use crate::driveline::{Driveline, MachineId, MachineKind, ShaftId};
use crate::exact::{Q, text};
use num_traits::{One, Zero};

/// "a", "a and b", "a, b and c".
pub fn and_list<S: AsRef<str>>(names: &[S]) -> String {
    match names {
        [] => String::new(),
        [one] => one.as_ref().to_string(),
        [head @ .., last] => {
            let head: Vec<&str> = head.iter().map(AsRef::as_ref).collect();
            format!("{} and {}", head.join(", "), last.as_ref())
        }
    }
}

/// Gears that take part when the locks of `closed` hold `shaft`; they are named so that a
/// reader can retrace why.
fn gears_between(d: &Driveline, closed: u8, shaft: ShaftId) -> Vec<String> {
    let gears = gear_rows(d);
    let count = gears.rows().len();
    let mut rows = gears;
    for lock in (0..d.locks.len()).filter(|&l| closed >> l & 1 == 1) {
        rows.push(lock_row(d, lock));
    }
    let mut target = vec![Q::zero(); d.shafts.len()];
    target[shaft] = Q::one();
    let Some(shares) = rows.combine_rows(&target) else { return Vec::new() };
    (0..count).filter(|&g| !shares[g].is_zero()).map(|g| gear_row_name(d, g)).collect()
}

/// The gears by name that alone hold `shaft`.
pub(super) fn gears_that_hold(d: &Driveline, shaft: ShaftId) -> Vec<String> {
    gears_between(d, 0, shaft)
}

/// What a person calls the shafts that must turn: "the output", "the engine".
fn must_turn_names(d: &Driveline, shafts: &[ShaftId]) -> Vec<String> {
    let engines = d.machines.iter().filter(|m| matches!(m.kind, MachineKind::Engine(_)));
    let several = engines.count() > 1;
    let name = |&shaft: &ShaftId| {
        if shaft == d.output.shaft {
            return "the output".to_string();
        }
        let engine = d
            .machines
            .iter()
            .find(|m| m.shaft == shaft && matches!(m.kind, MachineKind::Engine(_)));
        match engine {
            Some(m) if several => format!("the engine {}", m.name),
            _ => "the engine".to_string(),
        }
    };
    shafts.iter().map(name).collect()
}

/// Why the locks `locks` together hold `what` (in words) on `shafts`.
fn holding(d: &Driveline, locks: u8, shafts: &[ShaftId], what: &str) -> String {
    let mut gears: Vec<String> = Vec::new();
    for &shaft in shafts {
        for gear in gears_between(d, locks, shaft) {
            if !gears.contains(&gear) {
                gears.push(gear);
            }
        }
    }
    let through = match gears.is_empty() {
        true => String::new(),
        false => format!(" through {}", and_list(&gears)),
    };
    if locks == 0 {
        return format!("the gears alone hold {what} at zero{through}");
    }
    // Locks on the held shaft itself are what joins it; the others are what holds it.
    let touches = |lock: &usize| {
        shafts.contains(&d.locks[*lock].a) || d.locks[*lock].b.is_some_and(|b| shafts.contains(&b))
    };
    let (near, far): (Vec<usize>, Vec<usize>) =
        (0..d.locks.len()).filter(|&l| locks >> l & 1 == 1).partition(touches);
    let names = |ids: &[usize]| {
        and_list(&ids.iter().map(|&l| d.locks[l].name.as_str()).collect::<Vec<_>>())
    };
    if near.is_empty() || far.is_empty() {
        let all = and_list(&d.lock_names(locks));
        let together = if locks.count_ones() > 1 { " together" } else { "" };
        return format!("closing {all}{together} holds {what} at zero{through}");
    }
    let verb = if near.len() == 1 { "is" } else { "are" };
    let (far, near) = (names(&far), names(&near));
    format!("closing {far} while {near} {verb} closed holds {what} at zero{through}")
}

/// Reason of a conflict.
pub(super) fn conflict(d: &Driveline, locks: u8, shafts: &[ShaftId]) -> String {
    holding(d, locks, shafts, &and_list(&must_turn_names(d, shafts)))
}

/// Reason of an overlap.
pub(super) fn overlap(d: &Driveline, locks: u8, machines: &[MachineId]) -> String {
    let mut shafts: Vec<ShaftId> = machines.iter().map(|&m| d.machines[m].shaft).collect();
    shafts.dedup();
    let names: Vec<String> =
        machines.iter().map(|&m| format!("machine {}", d.machines[m].name)).collect();
    let hold = holding(d, locks, &shafts, &and_list(&names));
    format!("{hold}: only while that shaft is at rest, and only for a moment")
}

/// Reason of a lock set's verdict. `holders(shaft)` is a smallest subset of the closed locks
/// that already holds that shaft.
pub(super) fn verdict(d: &Driveline, set: &LockSet, holders: impl Fn(ShaftId) -> u8) -> String {
    let held = |shaft: ShaftId| {
        let locks = holders(shaft);
        let by = match locks {
            0 => "the gears alone".to_string(),
            _ => and_list(&d.lock_names(locks)),
        };
        format!("{} is held at zero by {by}", d.shafts[shaft].name)
    };
    match set.verdict {
        Verdict::HoldsOutput => format!("the output {}", held(d.output.shaft)),
        Verdict::HoldsEngine => {
            let engine = d
                .machines
                .iter()
                .find(|m| matches!(m.kind, MachineKind::Engine(_)) && set.held.contains(&m.shaft));
            engine.map_or_else(String::new, |m| format!("the engine's shaft {}", held(m.shaft)))
        }
        Verdict::Neutral if d.machines.is_empty() => {
            "there is no machine to push the output".into()
        }
        Verdict::Neutral => {
            "nothing can push the output: it can turn while every machine stands still".into()
        }
        Verdict::HoldsMachine => {
            let parts: Vec<String> = set
                .held_machines
                .iter()
                .map(|&m| {
                    format!("machine {}'s shaft {}", d.machines[m].name, held(d.machines[m].shaft))
                })
                .collect();
            parts.join("; ")
        }
        Verdict::Drives => drives(d, &set.torque),
    }
}

/// "traction pushes the output, 16/5 Nm per Nm; ..."
fn drives(d: &Driveline, torque: &TorqueRelations) -> String {
    let part = |push: &super::Push| {
        let names: Vec<&str> = push.machines.iter().map(|&m| d.machines[m].name.as_str()).collect();
        match push.per_output.as_slice() {
            [share] => {
                format!("{} alone with {} times its torque", names[0], text(&(Q::one() / share)))
            }
            _ => format!("{} together", and_list(&names)),
        }
    };
    let parts: Vec<String> = torque.pushes.iter().map(part).collect();
    format!("the output is pushed by {}", parts.join(", or by "))
}
