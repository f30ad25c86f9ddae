//! The smallest lock sets that hold what must turn, and those that hold an electric machine.

use super::{LockSet, words};
use crate::driveline::{Driveline, MachineId, MachineKind, ShaftId};

/// A smallest forbidden lock set: opening any one of its locks frees what it holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Conflict {
    /// The locks, bit `i` is lock `i`; zero when the gears alone hold an engine.
    pub locks: u8,
    /// The shafts that must turn and are held: the output's, engines'.
    pub holds: Vec<ShaftId>,
    /// The output is held; otherwise only an engine is.
    pub output: bool,
    /// In plain words.
    pub reason: String,
}

/// A smallest lock set, not forbidden, that holds an electric machine's shaft.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Overlap {
    /// The locks, bit `i` is lock `i`; zero when the gears alone hold the machine.
    pub locks: u8,
    /// The machines that no smaller lock set within this one holds.
    pub machines: Vec<MachineId>,
    /// In plain words.
    pub reason: String,
}

/// Every smallest forbidden lock set, in order of bit pattern.
///
/// Holding is upward closed (one more closed lock only removes motions), so a set is
/// smallest when opening any single lock of it is enough.
pub(super) fn conflicts(d: &Driveline, sets: &[LockSet]) -> Vec<Conflict> {
    let forbidden = |closed: usize| sets[closed].verdict.is_forbidden();
    let smallest = |closed: &usize| {
        forbidden(*closed) && smaller_by_one(*closed).all(|smaller| !forbidden(smaller))
    };
    (0..sets.len()).filter(smallest).map(|closed| conflict(d, &sets[closed])).collect()
}

fn conflict(d: &Driveline, set: &LockSet) -> Conflict {
    let engines = d.machines.iter().filter(|m| matches!(m.kind, MachineKind::Engine(_)));
    let mut holds: Vec<ShaftId> = Vec::new();
    for shaft in [d.output.shaft].into_iter().chain(engines.map(|m| m.shaft)) {
        if set.held.contains(&shaft) && !holds.contains(&shaft) {
            holds.push(shaft);
        }
    }
    let reason = words::conflict(d, set.closed, &holds);
    Conflict { locks: set.closed, holds, output: set.holds_output, reason }
}

/// Every smallest lock set that holds an electric machine and is not forbidden, in order of
/// bit pattern; smallest for at least one machine.
pub(super) fn overlaps(d: &Driveline, sets: &[LockSet]) -> Vec<Overlap> {
    let newly_held = |closed: usize| -> Vec<MachineId> {
        let held_before =
            |m: &MachineId| smaller_by_one(closed).any(|s| sets[s].held_machines.contains(m));
        sets[closed].held_machines.iter().copied().filter(|m| !held_before(m)).collect()
    };
    (0..sets.len())
        .filter(|&closed| !sets[closed].verdict.is_forbidden())
        .map(|closed| (closed as u8, newly_held(closed)))
        .filter(|(_, machines)| !machines.is_empty())
        .map(|(locks, machines)| {
            let reason = words::overlap(d, locks, &machines);
            Overlap { locks, machines, reason }
        })
        .collect()
}

/// The lock sets with one closed lock fewer.
fn smaller_by_one(closed: usize) -> impl Iterator<Item = usize> {
    (0..u8::BITS as usize).filter(move |l| closed >> l & 1 == 1).map(move |l| closed ^ 1 << l)
}

/// A smallest subset of `closed` that already holds `shaft` (first by count, then by pattern).
pub(super) fn holders(held_masks: &[u32], closed: usize, shaft: ShaftId) -> u8 {
    let subsets = (0..=closed).filter(|s| s & !closed == 0);
    let holding = subsets.filter(|&s| held_masks[s] >> shaft & 1 == 1);
    holding.min_by_key(|s| (s.count_ones(), *s)).unwrap_or(closed) as u8
}
