//! How often the body of each loop of the supervisor is carried out in a tick, at most, and why.
//!
//! An entry names a loop by a piece of its line in the source (of a loop that the compiler made,
//! to fill an array: by its function). The reasons are read from the source, not proven; what is
//! checked is that every loop of the machine code has an entry and every entry a loop, and that in
//! no recorded tick a loop goes round more often.

use supervisor::bits::MAX_MACHINES;
use supervisor::table::{Table, WAYS};

/// A loop of the source.
pub(crate) struct Entry {
    /// File below `supervisor/src`.
    pub(crate) file: &'static str,
    /// A piece of the line.
    pub(crate) text: &'static str,
    /// Only where it is inlined into this function; an entry with it goes before one without.
    pub(crate) within: Option<&'static str>,
    /// How often its body is carried out at most.
    pub(crate) times: fn(&Table) -> usize,
    pub(crate) why: Why,
}

/// Reasons.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Why {
    /// Once for each element of a part of the table or of an array, each way, each number of a
    /// range, each term of a sum: a constant of the table or of the source.
    Elements,
    /// Once for each member of a set of locks, machines or sensors, which may be any that the table has.
    /// That a set holds no others is an invariant of the supervisor: a table that names others is
    /// refused (`check.rs`), and reports, trace and orders are cut to those that it has.
    Members,
    /// Once for each member of a set that is given one.
    One,
}

const fn entry(
    file: &'static str,
    text: &'static str,
    times: fn(&Table) -> usize,
    why: Why,
) -> Entry {
    Entry { file, text, within: None, times, why }
}

const fn within(
    function: &'static str,
    file: &'static str,
    text: &'static str,
    times: fn(&Table) -> usize,
    why: Why,
) -> Entry {
    Entry { file, text, within: Some(function), times, why }
}

fn one(_: &Table) -> usize {
    1
}

fn three(_: &Table) -> usize {
    3
}

fn four(_: &Table) -> usize {
    4
}

fn eight(_: &Table) -> usize {
    8
}

fn machine_places(_: &Table) -> usize {
    MAX_MACHINES
}

fn ways(_: &Table) -> usize {
    WAYS
}

fn locks(table: &Table) -> usize {
    usize::from(table.lock_count())
}

fn machines(table: &Table) -> usize {
    table.rests.len()
}

fn sensors(table: &Table) -> usize {
    table.sensors.len()
}

fn parities(table: &Table) -> usize {
    table.parities.len()
}

fn conflicts(table: &Table) -> usize {
    table.conflicts.len()
}

fn overlaps(table: &Table) -> usize {
    table.overlaps.len()
}

fn arrangements(table: &Table) -> usize {
    table.arrangements.len()
}

fn steps(table: &Table) -> usize {
    table.steps.len()
}

/// Limits of the step that has most.
fn limits(table: &Table) -> usize {
    table.steps.iter().map(|step| usize::from(step.limits_count)).max().unwrap_or(0)
}

/// Loops of a tick.
pub(crate) const TICK: &[Entry] = &[
    entry("bits.rs", "for index in self.iter()", eight, Why::Elements),
    entry("choose.rs", "for way in route.way..WAYS as u8", ways, Why::Elements),
    entry("choose.rs", "while usize::from(way) < WAYS", ways, Why::Elements),
    entry("decide.rs", "all.find(|(_, data)| is_met(", arrangements, Why::Elements),
    entry("decide.rs", ".zip(table.arrangements).any(", arrangements, Why::Elements),
    entry("decide.rs", "!table.arrangements.iter().any(", arrangements, Why::Elements),
    entry("decide.rs", "for lock in denied.iter()", locks, Why::Members),
    entry("decide/moves.rs", "for lock in state.locks.ordered.without(", locks, Why::Members),
    entry("decide/rest.rs", "(0..WAYS as u8).any(|way|", ways, Why::Elements),
    entry("decide/rest.rs", "!needs_engine(t) && at_first(t)", arrangements, Why::Elements),
    entry("decide/rest.rs", "all.clone().find(|&t| at_first(t))", arrangements, Why::Elements),
    entry("decide/rest.rs", "find(|c| completed(c.locks))", conflicts, Why::Elements),
    entry("decide/rest.rs", "any(|a| a.closed == with)", arrangements, Why::Elements),
    entry("decide/rest.rs", "find(|o| !meant && completed(o.locks))", overlaps, Why::Elements),
    entry("decide/rest.rs", "find(|o| maybe.contains(o.locks))", overlaps, Why::Elements),
    entry("decide/rest.rs", "find(|&lock| !without(lock).engine_joined)", locks, Why::Members),
    entry("decide/rest.rs", "find(|&lock| !without(lock).engine_geared)", locks, Why::Members),
    entry("decide/rest.rs", "find(|&lock| !is_dog(lock))", locks, Why::Members),
    entry("decide/rest.rs", "find(|c| set.contains(c.locks))", conflicts, Why::Elements),
    // The exponential of micromath sums four terms.
    entry("heat.rs", "F32Ext::exp(-share)", four, Why::Elements),
    entry("heat.rs", "for lock in working.iter()", locks, Why::Members),
    entry("interlock.rs", "for conflict in table.conflicts", conflicts, Why::Elements),
    entry("interlock.rs", "table.conflicts.iter().any(", conflicts, Why::Elements),
    entry("interlock.rs", "table.overlaps.iter().fold(", overlaps, Why::Elements),
    entry("interlock.rs", "table.overlaps.iter().any(", overlaps, Why::Elements),
    entry("interlock.rs", "open.filter(|lock| !self.is_younger(", locks, Why::Members),
    entry("interlock.rs", "locks.without(self.granted).filter(", locks, Why::Members),
    entry(
        "interlock.rs",
        "(0..table.lock_count()).zip(&mut self.open_ticks)",
        locks,
        Why::Elements,
    ),
    entry("kernel.rs", "fold(Bits::EMPTY, |b, c| b.or(c.locks))", conflicts, Why::Elements),
    entry("kernel.rs", "for lock in self.passed.iter()", locks, Why::Members),
    entry("kernel.rs", "for overlap in table.overlaps", overlaps, Why::Elements),
    entry("kernel.rs", "held.filter(|machine| guards.at_rest(", machines, Why::Members),
    entry("kernel.rs", "alone.filter(|lock| guards.slip_ready(", one, Why::One),
    entry("locks.rs", "said.filter(|lock|", locks, Why::Members),
    entry("locks.rs", "for lock in settled.iter()", locks, Why::Members),
    entry("locks.rs", "(0u8..8).zip(self.count.iter_mut().zip(table.locks))", locks, Why::Elements),
    entry("locks.rs", "self.ordered.filter(|lock|", locks, Why::Members),
    entry("locks.rs", "for lock in Bits::first(table.lock_count())", locks, Why::Elements),
    within("order", "locks.rs", "for lock in locks.iter()", one, Why::One),
    entry("locks.rs", "for lock in locks.iter()", locks, Why::Members),
    entry("locks.rs", "self.since.iter_mut().zip(table.locks)", locks, Why::Elements),
    within("machines_at_rest", "observe.rs", "machines.iter().all(", one, Why::One),
    entry("observe.rs", "machines.iter().all(", machines, Why::Members),
    entry("observe.rs", "for parity in table.parities", parities, Why::Elements),
    entry("observe.rs", "for ((lock, report), told) in locks", locks, Why::Elements),
    entry("observe.rs", "in told.zip(places)", sensors, Why::Elements),
    entry("observe.rs", "sensors.filter(|sensor|", sensors, Why::Members),
    entry("observe.rs", "all(|limit| inside(", limits, Why::Elements),
    entry("observe.rs", "step.load_row.iter().zip(", machine_places, Why::Elements),
    entry("observe/engine.rs", "(0u8..).zip(self.table.rests)", machines, Why::Elements),
    entry("observe/engine.rs", "self.table.parities.iter().any(", parities, Why::Elements),
    entry("plan.rs", "data.duties.iter().any(", machine_places, Why::Elements),
    entry("plan.rs", "orders.iter_mut().zip(&data.duties)", machine_places, Why::Elements),
    entry("plan.rs", "table.rests.iter().zip(orders)", machines, Why::Elements),
    entry("plan.rs", "fn machine_orders(", machine_places, Why::Elements),
    entry("plan.rs", "orders.iter_mut().zip(&step.duties)", machine_places, Why::Elements),
    entry("race.rs", "fn all_off(", machine_places, Why::Elements),
    entry("stray.rs", "syncs.find(", machine_places, Why::Elements),
    entry("supervisor.rs", "fn go(", machine_places, Why::Elements),
    entry("table/next.rs", "self.conflicts.iter().any(", conflicts, Why::Elements),
    entry("table/next.rs", "self.locks.iter().take(MAX_LOCKS)", locks, Why::Elements),
    entry("unseen.rs", "zip(table.rests).zip(orders)", machines, Why::Elements),
];

/// Loops of the check of the table, which the first tick after a reset carries out as well.
pub(crate) const CHECK: &[Entry] = &[
    entry("check.rs", "arrangement.duties.iter().all(", machine_places, Why::Elements),
    entry("check.rs", "into_iter().all(comparable)", four, Why::Elements),
    entry("check.rs", "in table.locks.iter().enumerate()", locks, Why::Elements),
    entry("check.rs", "table.rests.iter().all(", machines, Why::Elements),
    entry("check.rs", "table.parities.iter().all(", parities, Why::Elements),
    entry("check.rs", "in table.arrangements.iter().enumerate()", arrangements, Why::Elements),
    entry("check.rs", "in table.steps.iter().enumerate()", steps, Why::Elements),
    entry("check.rs", "table.conflicts.iter().all(", conflicts, Why::Elements),
    entry("check.rs", "table.overlaps.iter().all(", overlaps, Why::Elements),
    entry("check.rs", "heat.iter().all(", four, Why::Elements),
    within("lock_is_sound", "check.rs", "values.iter().all(", four, Why::Elements),
    within("arrangement_is_sound", "check.rs", "values.iter().all(", three, Why::Elements),
    within("step_is_sound", "check.rs", "values.iter().all(", machine_places, Why::Elements),
    entry("check.rs", "values.iter().all(", eight, Why::Elements),
    entry("check.rs", "(0u8..8).zip(row).all(", eight, Why::Elements),
    entry("check.rs", ".all(|s| number(s.range)", sensors, Why::Elements),
    entry("check.rs", "step.duties.iter().all(", machine_places, Why::Elements),
    entry("check.rs", ".all(|l| row(table,", limits, Why::Elements),
    entry("check.rs", "ends.iter().all(", four, Why::Elements),
];
