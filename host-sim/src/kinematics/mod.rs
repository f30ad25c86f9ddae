//! Exact kinematics of every lock set: motions, held shafts, ratios, torque relations, verdicts.
//!
//! Everything here is linear and rational, so a lock set either holds a shaft or does not:
//! no tolerance decides. [`analyse`] is the one entry; it is a pure function of the
//! driveline's shafts, gears, locks, machines and output.

mod conflicts;
mod motions;
mod pressed;
mod rows;
mod simplex;
mod strength;
mod torque;
mod windows;
mod words;

use std::fmt;

use num_traits::Zero;

pub use conflicts::{Conflict, Overlap};
pub use pressed::{PressedLock, pressed_locks, pressed_locks_tested};
pub use rows::{gear_row_name, gear_rows, lock_row};
pub use simplex::is_feasible;
pub use strength::{Overload, overloads};
pub use torque::{LockTorque, Push, TorqueRelations};
pub use windows::{
    End, EndedBy, EngineLink, Limit, LimitKind, NoWindow, Window, engine_link, find_window,
    kmh_per_output_rpm, shaft_range, window_of, window_within, windows,
};
pub use words::and_list;

use crate::driveline::{Driveline, MachineId, MachineKind, ShaftId};
use crate::exact::{Q, Row};

/// Kinematics of all lock sets of one driveline.
#[derive(Clone, Debug, PartialEq)]
pub struct Kinematics {
    /// Number of shafts.
    pub shafts: usize,
    /// All lock sets; the index is the bit pattern of closed locks.
    pub sets: Vec<LockSet>,
    /// The smallest forbidden lock sets: every lock set that contains one is forbidden.
    pub conflicts: Vec<Conflict>,
    /// The smallest lock sets that hold an electric machine's shaft and are not forbidden.
    pub overlaps: Vec<Overlap>,
}

/// One lock set.
#[derive(Clone, Debug, PartialEq)]
pub struct LockSet {
    /// Closed locks, bit `i` is lock `i`.
    pub closed: u8,
    /// Number of independent motions.
    pub mobility: usize,
    /// The motions: `mobility` rows, one speed a shaft. Reduced echelon form with the output
    /// first, so the first row has the output at one and the others at zero (unless held).
    pub basis: Vec<Row>,
    /// Shafts at zero in every motion, in file order.
    pub held: Vec<ShaftId>,
    /// Speed of each shaft per speed of the output where the output alone determines it
    /// (held shafts 0, the output 1); all `None` when the output is held.
    pub per_output: Vec<Option<Q>>,
    /// Closed locks whose opening alone would free no motion.
    pub redundant: u8,
    /// The first that applies, see [`Verdict`].
    pub verdict: Verdict,
    /// The output's shaft is held.
    pub holds_output: bool,
    /// An engine's shaft is held.
    pub holds_engine: bool,
    /// Electric machines whose shaft is held, in file order.
    pub held_machines: Vec<MachineId>,
    /// No torques of the machines, engine included, hold a steady output torque with every
    /// free motion in balance.
    pub neutral: bool,
    /// The verdict's reason in plain words.
    pub reason: String,
    /// Steady torque relations.
    pub torque: TorqueRelations,
}

/// What a lock set is good for; the first that applies, in this order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    /// The output is held at zero: the wheels would lock.
    HoldsOutput,
    /// The engine is held at zero: it would stall.
    HoldsEngine,
    /// Nothing can push the output.
    Neutral,
    /// An electric machine is held: an overlap, harmless only at rest.
    HoldsMachine,
    /// At least one set of machines can push the output.
    Drives,
}

impl Verdict {
    /// The word used in tables and JSON.
    pub fn word(self) -> &'static str {
        match self {
            Verdict::HoldsOutput => "holds-output",
            Verdict::HoldsEngine => "holds-engine",
            Verdict::Neutral => "neutral",
            Verdict::HoldsMachine => "holds-machine",
            Verdict::Drives => "drives",
        }
    }

    /// Whether a lock set of this verdict may never be closed.
    pub fn is_forbidden(self) -> bool {
        matches!(self, Verdict::HoldsOutput | Verdict::HoldsEngine)
    }
}

/// The gears of this driveline hold its output with every lock open: it can never move.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GearsHoldOutput {
    /// The output's shaft.
    pub shaft: String,
    /// The gears that hold it, with their kind: "planetary set reduction".
    pub gears: Vec<String>,
}

impl fmt::Display for GearsHoldOutput {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "the gears alone hold the output shaft {} at zero with every lock open: {}; \
             check which shafts they join and their ratios",
            self.shaft,
            and_list(&self.gears)
        )
    }
}

impl std::error::Error for GearsHoldOutput {}

impl Kinematics {
    /// The lock set with exactly these locks closed.
    pub fn set(&self, closed: u8) -> &LockSet {
        &self.sets[usize::from(closed)]
    }

    /// Whether `closed` holds the output or an engine.
    pub fn is_forbidden(&self, closed: u8) -> bool {
        self.set(closed).verdict.is_forbidden()
    }
}

/// Kinematics of all `2^n` lock sets.
///
/// # Errors
/// [`GearsHoldOutput`] when the output cannot turn even with every lock open.
pub fn analyse(d: &Driveline) -> Result<Kinematics, GearsHoldOutput> {
    let all = motions::all_motions(d);
    let held_masks: Vec<u32> = all.iter().map(|motions| held_mask(d, motions)).collect();
    if held_masks[0] >> d.output.shaft & 1 == 1 {
        let gears = words::gears_that_hold(d, d.output.shaft);
        return Err(GearsHoldOutput { shaft: d.shafts[d.output.shaft].name.clone(), gears });
    }
    let sets: Vec<LockSet> =
        (0..all.len()).map(|closed| lock_set(d, &all, &held_masks, closed)).collect();
    let conflicts = conflicts::conflicts(d, &sets);
    let overlaps = conflicts::overlaps(d, &sets);
    Ok(Kinematics { shafts: d.shafts.len(), sets, conflicts, overlaps })
}

/// Bit `s` set: shaft `s` is at zero in every motion.
fn held_mask(d: &Driveline, motions: &[Row]) -> u32 {
    let held = |&shaft: &ShaftId| motions.iter().all(|motion| motion[shaft].is_zero());
    (0..d.shafts.len()).filter(held).fold(0, |mask, shaft| mask | 1 << shaft)
}

fn lock_set(d: &Driveline, all: &[Vec<Row>], held_masks: &[u32], closed: usize) -> LockSet {
    let basis = all[closed].clone();
    let is_held = |shaft: ShaftId| held_masks[closed] >> shaft & 1 == 1;
    let per_output = per_output(d, &basis);
    let machines = |engine: bool| {
        let of_kind =
            move |m: &MachineId| matches!(d.machines[*m].kind, MachineKind::Engine(_)) == engine;
        let held = move |m: &MachineId| is_held(d.machines[*m].shaft);
        (0..d.machines.len()).filter(of_kind).filter(held).collect::<Vec<_>>()
    };
    let holds_output = is_held(d.output.shaft);
    let holds_engine = !machines(true).is_empty();
    let held_machines = machines(false);
    let neutral = torque::is_neutral(d, &basis);
    let redundant = (0..d.locks.len())
        .filter(|&l| closed >> l & 1 == 1 && all[closed ^ 1 << l].len() == basis.len())
        .fold(0u8, |mask, l| mask | 1 << l);
    let verdict = match () {
        () if holds_output => Verdict::HoldsOutput,
        () if holds_engine => Verdict::HoldsEngine,
        () if neutral => Verdict::Neutral,
        () if !held_machines.is_empty() => Verdict::HoldsMachine,
        () => Verdict::Drives,
    };
    let torque = torque::relations(d, all, closed, &per_output);
    let mut set = LockSet {
        closed: closed as u8,
        mobility: basis.len(),
        basis,
        held: (0..d.shafts.len()).filter(|&s| is_held(s)).collect(),
        per_output,
        redundant,
        verdict,
        holds_output,
        holds_engine,
        held_machines,
        neutral,
        reason: String::new(),
        torque,
    };
    set.reason = words::verdict(d, &set, |shaft| conflicts::holders(held_masks, closed, shaft));
    set
}

/// Speed of each shaft per speed of the output; relies on the echelon form of the basis.
fn per_output(d: &Driveline, basis: &[Row]) -> Vec<Option<Q>> {
    let Some((first, others)) = basis.split_first().filter(|(f, _)| !f[d.output.shaft].is_zero())
    else {
        return vec![None; d.shafts.len()];
    };
    let tied = |shaft: ShaftId| others.iter().all(|motion| motion[shaft].is_zero());
    (0..d.shafts.len()).map(|s| tied(s).then(|| first[s].clone())).collect()
}
