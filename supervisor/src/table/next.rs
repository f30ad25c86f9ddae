//! Looking things up in a table: the next step, or why there is none.

use super::{Limit, NO_STEP, Set, Step, Table};
use crate::bits::{Bits, MAX_ARRANGEMENTS, MAX_LOCKS};

#[cfg(test)]
mod tests;

/// Why there is no step towards an arrangement.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Why {
    /// The arrangement is reached.
    Arrived = 0,
    /// Every way passes through a forbidden lock set.
    Conflict = 1,
    /// Nothing can bring a slip to zero.
    NothingSynchronises = 2,
    /// A stuck lock is in the way.
    Stuck = 3,
    /// This lock set is impossible with this stuck lock.
    Impossible = 4,
    /// This way does not lead there; an earlier one may.
    NoOtherWay = 5,
}

impl Why {
    /// From the low byte of a [`Table::next`] entry.
    pub const fn from_code(code: u8) -> Why {
        match code {
            0 => Why::Arrived,
            2 => Why::NothingSynchronises,
            3 => Why::Stuck,
            4 => Why::Impossible,
            5 => Why::NoOtherWay,
            _ => Why::Conflict,
        }
    }
}

/// Which stuck lock the search reckoned with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stuck {
    /// None.
    None,
    /// This lock cannot close.
    Open(u8),
    /// This lock cannot open.
    Closed(u8),
}

/// The next steps from one lock set: a part of [`Table::next`], looked up once.
#[derive(Clone, Copy)]
pub(crate) struct NextSteps<'a> {
    next: &'a [u16],
    /// Place of the first way's first entry.
    first: usize,
    /// From one way to the next.
    stride: usize,
    arrangements: u8,
}

impl NextSteps<'_> {
    /// The next step towards `arrangement`.
    ///
    /// # Errors
    /// Why there is none.
    pub(crate) fn step(&self, way: u8, arrangement: u8) -> Result<u16, Why> {
        let way = self.stride.wrapping_mul(usize::from(way));
        let place = self.first.wrapping_add(way).wrapping_add(usize::from(arrangement));
        // An index out of range must not reach into a neighbouring row.
        match self.next.get(place).filter(|_| arrangement < self.arrangements) {
            Some(entry) if entry & NO_STEP == 0 => Ok(*entry),
            Some(entry) => Err(Why::from_code(*entry as u8)),
            None => Err(Why::Impossible),
        }
    }
}

impl Table<'_> {
    /// How many locks there are, at most [`MAX_LOCKS`].
    pub const fn lock_count(&self) -> u8 {
        let count = if self.locks.len() < MAX_LOCKS { self.locks.len() } else { MAX_LOCKS };
        count as u8
    }

    /// Ticks from the order until the slowest lock can be open.
    pub fn release_ticks_max(&self) -> u16 {
        self.locks.iter().take(MAX_LOCKS).map(|lock| lock.release_ticks).fold(0, u16::max)
    }

    /// How many stuck variants [`Table::next`] holds.
    pub const fn stuck_count(&self) -> usize {
        (self.lock_count() as usize) << 1 | 1
    }

    /// The next step from `set` towards `arrangement`.
    ///
    /// # Errors
    /// Why there is none.
    pub fn next_step(&self, way: u8, stuck: Stuck, set: Bits, arrangement: u8) -> Result<u16, Why> {
        self.next_steps(stuck, set).step(way, arrangement)
    }

    /// The next steps from `set` towards every arrangement by every way; none when an index is out
    /// of range.
    pub(crate) fn next_steps(&self, stuck: Stuck, set: Bits) -> NextSteps<'_> {
        let locks = self.lock_count();
        let (variant, lock) = match stuck {
            Stuck::None => (0, None),
            Stuck::Open(lock) => (lock.wrapping_add(1), Some(lock)),
            Stuck::Closed(lock) => (lock.wrapping_add(1).wrapping_add(locks), Some(lock)),
        };
        let (set, sets) = (usize::from(set.0), self.set_count());
        let in_range = set < sets && lock.is_none_or(|lock| lock < locks);
        let arrangements = self.arrangement_count();
        let row = usize::from(variant).wrapping_mul(sets).wrapping_add(set);
        NextSteps {
            next: if in_range { self.next } else { &[] },
            first: row.wrapping_mul(usize::from(arrangements)),
            stride: self.stuck_count().wrapping_mul(sets).wrapping_mul(usize::from(arrangements)),
            arrangements,
        }
    }

    /// How many lock sets there are.
    pub const fn set_count(&self) -> usize {
        1 << self.lock_count()
    }

    /// How many arrangements there are, at most [`MAX_ARRANGEMENTS`].
    pub const fn arrangement_count(&self) -> u8 {
        if self.arrangements.len() < MAX_ARRANGEMENTS {
            self.arrangements.len() as u8
        } else {
            MAX_ARRANGEMENTS as u8
        }
    }

    /// The step with this number; `None` when the table is inconsistent.
    pub fn step(&self, step: u16) -> Option<&Step> {
        self.steps.get(step as usize)
    }

    /// Whether `set` contains a forbidden lock set.
    pub fn forbids(&self, set: Bits) -> bool {
        self.conflicts.iter().any(|c| set.contains(c.locks))
    }

    /// The speed limits of a step.
    pub fn limits_of(&self, step: &Step) -> &[Limit] {
        let from = step.limits_from as usize;
        let to = from.saturating_add(usize::from(step.limits_count));
        self.limits.get(from..to).unwrap_or(&[])
    }

    /// What is known of `set`; out of range counts as not driving.
    pub fn set(&self, set: Bits) -> Set {
        self.sets.get(set.0 as usize).copied().unwrap_or(Set {
            drives: false,
            engine_joined: true,
            engine_geared: true,
            held_machines: Bits::EMPTY,
            fallback: u8::MAX,
        })
    }
}
