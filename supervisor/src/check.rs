//! Whether a table is one that this supervisor can work with.
//!
//! The host builds consistent tables. The board checks again: flash ages, and a table of
//! another layout or another driveline's half must never reach an actuator.

use crate::bits::{Bits, MAX_ARRANGEMENTS, MAX_LOCKS, MAX_MACHINES, MAX_SENSORS};
use crate::hash::table_hash;
use crate::table::{Arrangement, Duty, Lock, SpeedRow, Step, StepDuty, TABLE_FORMAT, Table, WAYS};

#[cfg(test)]
mod tests;

/// What is wrong with a table; the first fault found.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum TableFault {
    /// It is of another layout version.
    Format,
    /// Too many locks, sensors, machines or arrangements, none at all, or a part of the wrong length.
    Size,
    /// A period or a time-out is zero or longer than the counters hold.
    Timing,
    /// The output or a sensor: a value is no number, or a row reads a sensor that it does not name.
    Sensors,
    /// A lock: a value is no number, or a row reads a sensor that it does not name.
    Lock(u8),
    /// A rest test or a parity relation: as for a lock.
    Relation,
    /// A conflict or an overlap names a lock or a machine that does not exist.
    Conflict,
    /// An arrangement: a lock that does not exist, a forbidden lock set, or a value that is no number.
    Arrangement(u8),
    /// A step: a lock that does not exist or does not move, missing limits, or a value that is no number.
    Step(u16),
    /// The content does not match the stored hash.
    Hash,
}

/// Everything but the hash and [`Table::next`] (whose entries are checked where they are used).
///
/// # Errors
/// The first fault found.
pub fn check(table: &Table) -> Result<(), TableFault> {
    require(table.format == TABLE_FORMAT, TableFault::Format)?;
    require(sizes(table), TableFault::Size)?;
    require(timing(table), TableFault::Timing)?;
    require(sensors(table), TableFault::Sensors)?;
    for (i, lock) in table.locks.iter().enumerate() {
        require(lock_is_sound(table, lock), TableFault::Lock(i as u8))?;
    }
    let rests = table.rests.iter().all(|r| row(table, &r.row, r.sensors) && number(r.max));
    let parities = table.parities.iter().all(|p| row(table, &p.row, p.sensors) && number(p.max));
    require(rests && parities, TableFault::Relation)?;
    require(conflicts(table), TableFault::Conflict)?;
    for (i, arrangement) in table.arrangements.iter().enumerate() {
        require(arrangement_is_sound(table, arrangement), TableFault::Arrangement(i as u8))?;
    }
    for (i, step) in table.steps.iter().enumerate() {
        require(step_is_sound(table, step), TableFault::Step(i as u16))?;
    }
    Ok(())
}

/// Everything that [`check`] looks at, and the stored hash over the whole content. It reads
/// every byte: for the start of a firmware, not for a tick.
///
/// # Errors
/// The first fault found.
pub fn check_all(table: &Table) -> Result<(), TableFault> {
    check(table)?;
    require(table_hash(table) == table.hash, TableFault::Hash)
}

fn require(holds: bool, fault: TableFault) -> Result<(), TableFault> {
    if holds { Ok(()) } else { Err(fault) }
}

fn number(x: f32) -> bool {
    x.abs() <= f32::MAX
}

fn numbers(values: &[f32]) -> bool {
    values.iter().all(|&x| number(x))
}

/// A limit may be infinite, but must be comparable.
fn comparable(x: f32) -> bool {
    !x.is_nan()
}

/// A row of numbers that reads only the sensors it names.
fn row(table: &Table, row: &SpeedRow, named: Bits) -> bool {
    let exists = Bits::first(table.sensors.len() as u8).contains(named);
    let only_named = (0u8..8).zip(row).all(|(i, &c)| named.has(i) || c == 0.0);
    exists && only_named && numbers(row)
}

fn sizes(table: &Table) -> bool {
    let entries = WAYS
        .checked_mul(table.stuck_count())
        .and_then(|n| n.checked_mul(table.set_count()))
        .and_then(|n| n.checked_mul(table.arrangements.len()));
    (1..=MAX_LOCKS).contains(&table.locks.len())
        && (1..=MAX_SENSORS).contains(&table.sensors.len())
        && (1..=MAX_MACHINES).contains(&table.rests.len())
        && (1..=MAX_ARRANGEMENTS).contains(&table.arrangements.len())
        && table.sets.len() == table.set_count()
        && table.steps.len() < usize::from(crate::table::NO_STEP)
        && entries == Some(table.next.len())
        && table.engine.is_none_or(|m| usize::from(m) < table.rests.len())
}

fn timing(table: &Table) -> bool {
    let t = &table.timing;
    number(t.tick_s)
        && t.tick_s > 0.0
        && t.dwell > 0
        && t.request_dwell > 0
        && t.retry_wait > 0
        && t.rate_ticks > 0
        && t.retries > 0
        && (1..=u16::from(u8::MAX)).contains(&t.debounce)
}

fn sensors(table: &Table) -> bool {
    row(table, &table.output_row, table.output_sensors)
        && number(table.engine_min)
        && number(table.output_rate_max)
        && table
            .sensors
            .iter()
            .all(|s| number(s.range) && number(s.allowed.min) && number(s.allowed.max))
}

fn lock_is_sound(table: &Table, lock: &Lock) -> bool {
    let values = [lock.slip_max, lock.begin_max, lock.moving_min, lock.rate_max];
    let heats = [lock.heat_k_per_radps_tick, lock.drag_k_per_radps_tick];
    let heat = [heats[0], heats[1], lock.cooling_ticks, lock.rise_max_k];
    row(table, &lock.slip_row, lock.sensors)
        && !lock.sensors.is_empty()
        && numbers(&values)
        && lock.moving_min >= 0.0
        && lock.begin_max <= lock.slip_max
        && numbers(&heat)
        && heat.iter().all(|&x| x >= 0.0)
}

fn conflicts(table: &Table) -> bool {
    let locks = Bits::first(table.lock_count());
    let machines = Bits::first(table.rests.len() as u8);
    let sound = |set: Bits| !set.is_empty() && locks.contains(set);
    table.conflicts.iter().all(|c| sound(c.locks) && c.locks.has(c.release_first))
        && table.overlaps.iter().all(|o| sound(o.locks) && machines.contains(o.machines))
}

fn arrangement_is_sound(table: &Table, arrangement: &Arrangement) -> bool {
    let duties = arrangement.duties.iter().all(|duty| match *duty {
        Duty::Free | Duty::Unload => true,
        Duty::Hold { per_output, per_pace } => numbers(&[per_output, per_pace]),
    });
    let pace = arrangement.pace;
    let (window, keep) = (arrangement.window, arrangement.keep);
    Bits::first(table.lock_count()).contains(arrangement.closed)
        && !table.forbids(arrangement.closed)
        && duties
        && numbers(&[pace.per_output, pace.min, pace.max])
        && [window.min, window.max, keep.min, keep.max].into_iter().all(comparable)
}

fn step_is_sound(table: &Table, step: &Step) -> bool {
    let duties = step.duties.iter().all(|duty| match *duty {
        StepDuty::Free | StepDuty::Unload | StepDuty::Sync => true,
        StepDuty::Take { share } => number(share),
    });
    let limits = table.limits_of(step);
    let limits_sound = limits.len() == usize::from(step.limits_count)
        && limits
            .iter()
            .all(|l| row(table, &l.row, step.sensors) && comparable(l.min) && comparable(l.max));
    let closes = step.action == crate::table::Action::Close;
    let ends = [step.target_min, step.target_max, step.load_max, step.demand_max];
    Bits::first(table.lock_count()).contains(step.from)
        && step.lock < table.lock_count()
        && step.from.has(step.lock) != closes
        && duties
        && row(table, &step.target_row, step.sensors)
        && number(step.target_offset)
        && numbers(&step.load_row)
        && ends.iter().all(|&x| comparable(x))
        && comparable(step.window.min)
        && comparable(step.window.max)
        && Bits::first(table.rests.len() as u8).contains(step.rest)
        && limits_sound
}
