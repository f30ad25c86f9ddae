//! Plates that a fault presses against teeth: lock sets that then stay closed, since no lock of them comes out
//! under load.

use serde_json::{Value, json};

use crate::driveline::{Driveline, LockId, LockKind};
use crate::kinematics::{Kinematics, and_list};
use crate::text::paragraph;

/// Plates that complete a lock set with dogs alone.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Against {
    /// The lock with plates.
    plates: LockId,
    /// The dogs, as a lock set.
    dogs: u8,
    /// The whole set is forbidden; else it holds an electric machine.
    forbidden: bool,
}

/// All of them: the forbidden sets first, each in order of the locks.
pub(super) fn against_teeth(d: &Driveline, k: &Kinematics) -> Vec<Against> {
    let sets = k.conflicts.iter().map(|c| (c.locks, true));
    let sets = sets.chain(k.overlaps.iter().map(|o| (o.locks, false)));
    let is_dog = |lock: &LockId| matches!(d.locks[*lock].kind, LockKind::Dog(_));
    sets.filter_map(|(locks, forbidden)| {
        let (dogs, plates): (Vec<LockId>, Vec<LockId>) =
            (0..d.locks.len()).filter(|lock| locks >> lock & 1 == 1).partition(is_dog);
        match plates[..] {
            [plates] if !dogs.is_empty() => {
                Some(Against { plates, dogs: locks & !(1 << plates), forbidden })
            }
            _ => None,
        }
    })
    .collect()
}

/// Empty when there is none.
pub(super) fn text(d: &Driveline, k: &Kinematics, width: usize) -> String {
    let all = against_teeth(d, k);
    if all.is_empty() {
        return String::new();
    }
    let mut out = paragraph(
        "Plates against teeth: when a fault presses these plates, the locks beside them are all dogs. Teeth may \
         not come out under that load, so that the set stays closed, whatever the supervisor lets go: make one \
         of the dogs plates, or bar the lock by other means",
        0,
        width,
    );
    for one in all {
        let (plates, dogs) = (&d.locks[one.plates].name, and_list(&d.lock_names(one.dogs)));
        let what = match one.forbidden {
            true => "a forbidden lock set",
            false => "holds an electric machine",
        };
        out += &paragraph(&format!("{plates} against {dogs}: {what}"), 2, width);
    }
    out
}

/// For programs.
pub(super) fn value(d: &Driveline, k: &Kinematics) -> Vec<Value> {
    let one = |a: Against| {
        json!({
            "plates": d.locks[a.plates].name,
            "dogs": d.lock_names(a.dogs),
            "forbidden": a.forbidden,
        })
    };
    against_teeth(d, k).into_iter().map(one).collect()
}
