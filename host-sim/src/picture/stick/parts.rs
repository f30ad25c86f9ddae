//! What stands in a stick diagram: one column a part, with the places where shafts join it.

use crate::driveline::{Driveline, ShaftId};

/// A part that gets a column of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Part {
    /// Planetary set by index.
    Set(usize),
    /// Gear pair by index.
    Pair(usize),
    /// Brake or clutch by index.
    Lock(usize),
    /// Machine or engine by index.
    Machine(usize),
    /// The wheels.
    Output,
    /// A shaft that nothing joins.
    Loose(ShaftId),
}

/// Where within a column a shaft's vertical piece stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Slot {
    Left,
    Middle,
    Right,
}

/// Which member of its part a shaft is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Member {
    Sun,
    Ring,
    Carrier,
    /// First shaft of a pair or lock, or the only one.
    A,
    B,
}

/// A shaft joins a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Join {
    pub(super) shaft: ShaftId,
    pub(super) slot: Slot,
    pub(super) member: Member,
}

/// All parts of a driveline in file order.
pub(super) fn parts(d: &Driveline) -> Vec<Part> {
    let mut list: Vec<Part> = (0..d.machines.len()).map(Part::Machine).collect();
    list.extend((0..d.planetaries.len()).map(Part::Set));
    list.extend((0..d.gear_pairs.len()).map(Part::Pair));
    list.extend((0..d.locks.len()).map(Part::Lock));
    list.push(Part::Output);
    let outer = vec![false; d.shafts.len()];
    let used: Vec<ShaftId> = list
        .iter()
        .flat_map(|&part| joins(d, part, &outer, false))
        .map(|join| join.shaft)
        .collect();
    list.extend((0..d.shafts.len()).filter(|s| !used.contains(s)).map(Part::Loose));
    list
}

/// Name of a part as in the file.
pub(super) fn name(d: &Driveline, part: Part) -> &str {
    match part {
        Part::Set(i) => &d.planetaries[i].name,
        Part::Pair(i) => &d.gear_pairs[i].name,
        Part::Lock(i) => &d.locks[i].name,
        Part::Machine(i) => &d.machines[i].name,
        Part::Output => "wheels",
        Part::Loose(_) => "",
    }
}

/// Whether a set cannot be drawn with these sides: its sun away from the axis and its ring
/// towards it would cross each other.
pub(super) fn is_twisted(d: &Driveline, part: Part, outer: &[bool]) -> bool {
    match part {
        Part::Set(i) => outer[d.planetaries[i].sun] && !outer[d.planetaries[i].ring],
        _ => false,
    }
}

/// The shafts of a part with their slots. `outer[shaft]`: it runs outside of the gears;
/// `flip` exchanges left and right.
pub(super) fn joins(d: &Driveline, part: Part, outer: &[bool], flip: bool) -> Vec<Join> {
    let (near, far) = if flip { (Slot::Right, Slot::Left) } else { (Slot::Left, Slot::Right) };
    let join = |shaft, slot, member| Join { shaft, slot, member };
    match part {
        Part::Set(i) => {
            let p = &d.planetaries[i];
            let sun = if outer[p.sun] { far } else { Slot::Middle };
            let ring = if outer[p.ring] { Slot::Middle } else { far };
            vec![
                join(p.sun, sun, Member::Sun),
                join(p.ring, ring, Member::Ring),
                join(p.carrier, near, Member::Carrier),
            ]
        }
        Part::Pair(i) => {
            let g = &d.gear_pairs[i];
            vec![join(g.a, near, Member::A), join(g.b, far, Member::B)]
        }
        Part::Lock(i) => match (d.locks[i].a, d.locks[i].b) {
            (a, None) => vec![join(a, Slot::Middle, Member::A)],
            (a, Some(b)) if outer[a] != outer[b] => {
                vec![join(a, Slot::Middle, Member::A), join(b, Slot::Middle, Member::B)]
            }
            (a, Some(b)) => vec![join(a, near, Member::A), join(b, far, Member::B)],
        },
        Part::Machine(i) => vec![join(d.machines[i].shaft, Slot::Middle, Member::A)],
        Part::Output => vec![join(d.output.shaft, Slot::Middle, Member::A)],
        Part::Loose(shaft) => vec![join(shaft, Slot::Middle, Member::A)],
    }
}
