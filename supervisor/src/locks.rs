//! What is believed of each lock, from order, switch and speeds together.
//!
//! Neither the switch's word nor the order's is enough: slip is evidence too, and
//! where the switch and the speeds contradict each other, the speeds decide and
//! transitions stop. After a reset nothing is known.

use crate::bits::{Bits, MAX_LOCKS};
use crate::guards::Guards;
use crate::io::Reports;
use crate::status::Faults;
use crate::table::Table;

#[cfg(test)]
pub(crate) mod decision_table;
#[cfg(test)]
mod tests;

/// What this tick says of the locks that are on their way.
#[derive(Default)]
struct Way {
    /// They are where they are ordered to be.
    there: Bits,
    /// Ordered open, and their time is over.
    late: Bits,
}

/// Belief about every lock. Integers and bits only.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Hash)]
pub struct Locks {
    /// Ordered closed, and granted by the interlock.
    pub(crate) ordered: Bits,
    /// Shown closed by the order, the switch and the speeds.
    pub(crate) closed: Bits,
    /// Shown open.
    pub(crate) open: Bits,
    /// Would not close; latched until reset.
    pub(crate) stuck_open: Bits,
    /// Would not open; ends when it is shown open.
    pub(crate) stuck_closed: Bits,
    /// Switch contradicts the speeds.
    pub(crate) switch: Bits,
    /// Opened by itself once; the second time it counts as stuck open.
    pub(crate) lost: Bits,
    /// Ticks since the order changed.
    pub(crate) since: [u16; MAX_LOCKS],
    /// Consecutive ticks of evidence for a change of belief.
    count: [u8; MAX_LOCKS],
    /// Consecutive ticks of a switch that contradicts the speeds.
    doubt: [u8; MAX_LOCKS],
}

impl Locks {
    /// Locks that count as closed: shown closed, or would not open.
    pub const fn held(&self) -> Bits {
        self.closed.or(self.stuck_closed)
    }

    /// Locks shown open.
    pub const fn shown_open(&self) -> Bits {
        self.open
    }

    /// What is held against each lock.
    pub const fn faults(&self) -> Faults {
        Faults {
            stuck_open: self.stuck_open,
            stuck_closed: self.stuck_closed,
            switch: self.switch,
            lost: self.lost,
            sensors: Bits::EMPTY,
            racing: Bits::EMPTY,
        }
    }

    /// Whether every lock of the table is shown closed, shown open or known to be stuck closed.
    pub(crate) fn all_known(&self, table: &Table) -> bool {
        self.held().or(self.open).contains(Bits::first(table.lock_count()))
    }

    /// Locks ordered closed that may press, whether or not that is shown: plates from the order on,
    /// because they are filled before it; teeth when their way is over.
    pub(crate) fn may_press(&self, table: &Table) -> Bits {
        self.ordered.filter(|lock| match table.locks.get(usize::from(lock)) {
            Some(data) => !data.dog || self.ticks_since(lock) >= data.close_ticks,
            None => false,
        })
    }

    /// Friction locks shown open whose switch has said closed for a debounce while the sides move
    /// apart: a lying switch, or plates that something presses and that still slip. A dog cannot
    /// be in while its sides move apart.
    pub(crate) fn claimed(&self, table: &Table) -> Bits {
        let said = self.open.and(self.switch).without(self.ordered);
        said.filter(|lock| table.locks.get(usize::from(lock)).is_some_and(|data| !data.dog))
    }

    /// Change the order of a lock; belief about its old state ends.
    #[inline(never)]
    pub(crate) fn order(&mut self, lock: u8, close: bool) {
        if self.ordered.has(lock) == close {
            return;
        }
        self.ordered = self.ordered.with(lock, close);
        self.closed = self.closed.with(lock, false);
        self.open = self.open.with(lock, false);
        self.restart(Bits::one(lock));
    }

    fn restart(&mut self, locks: Bits) {
        for lock in locks.iter() {
            if let Some(since) = self.since.get_mut(lock as usize) {
                *since = 0;
            }
            set(&mut self.count, lock, 0);
            set(&mut self.doubt, lock, 0);
        }
    }

    /// Take in this tick's evidence. Returns the locks that opened by themselves just now.
    #[inline(never)]
    pub(crate) fn update<G: Guards>(&mut self, table: &Table, guards: &mut G) -> Bits {
        for (since, _) in self.since.iter_mut().zip(table.locks) {
            *since = since.saturating_add(1);
        }
        let debounce = table.timing.debounce;
        let reports = guards.reports(table);
        let stands = self.ordered.and(self.closed);
        let free = self.open.without(self.ordered);
        // A lock that stands is lost when its sides move apart; a switch that says open while they
        // do not is lying. When nobody knows whether they do it may be right.
        let slipping = guards.moving(stands);
        let denied = stands.and(reports.open).without(slipping);
        let lies = guards.still(denied);
        let (leaving, denied) = (slipping.or(denied.without(lies)), lies);
        // A switch that says closed while the sides move apart is lying; while they do not, it may
        // be right, and the lock no longer counts as open.
        let claimed = free.and(reports.closed);
        let apart = guards.moving(claimed);
        self.doubt_switches(stands.or(free), denied.or(apart), debounce);
        let way = self.on_their_way(table, guards, &reports, stands.or(free));
        let seen = leaving.or(claimed.without(apart)).or(way.there);
        let reached = self.evidence(table, seen);
        let there = reached.and(way.there);
        self.closed = self.closed.or(there.and(self.ordered));
        self.open = self.open.or(there.without(self.ordered));
        self.stuck_closed = self.stuck_closed.or(way.late).without(there);
        self.open = self.open.without(reached.and(claimed));
        self.restart(reached.and(claimed));
        let lost = reached.and(leaving);
        self.lose(lost);
        lost
    }

    /// Locks that opened by themselves.
    fn lose(&mut self, lost: Bits) {
        self.closed = self.closed.without(lost);
        self.ordered = self.ordered.without(lost);
        self.stuck_open = self.stuck_open.or(self.lost.and(lost));
        self.lost = self.lost.or(lost);
        self.restart(lost);
    }

    /// The locks that are not (or no longer) where they are ordered to be: all but the `settled`.
    fn on_their_way<G: Guards>(
        &self,
        table: &Table,
        g: &mut G,
        reports: &Reports,
        settled: Bits,
    ) -> Way {
        let mut way = Way::default();
        for lock in Bits::first(table.lock_count()).without(settled).iter() {
            let Some(data) = table.locks.get(usize::from(lock)) else { continue };
            let since = self.ticks_since(lock);
            let there = if self.ordered.has(lock) {
                let said_closed = reports.closed.has(lock) || !data.has_switch;
                since >= data.close_ticks
                    && said_closed
                    && !g.slip_moving(lock)
                    && g.slip_known(lock)
            } else {
                let late = since > data.release_timeout.saturating_add(table.timing.debounce);
                way.late = way.late.with(lock, late);
                // The switch never says open: when its time is over, the speeds decide.
                let said_open = reports.open.has(lock) || !data.has_switch;
                since >= data.release_ticks
                    && (said_open || (since >= data.release_timeout && g.slip_moving(lock)))
            };
            way.there = way.there.with(lock, there);
        }
        way
    }

    /// See [`crate::kernel::Kernel::canonical`]. Every counter is counted up before it is compared.
    pub(crate) fn make_canonical(&mut self, table: &Table) {
        let debounce = table.timing.debounce;
        for (i, (since, data)) in self.since.iter_mut().zip(table.locks).enumerate() {
            let lock = i as u8;
            let ordered = self.ordered.has(lock);
            // What is shown starts the count anew when it ends.
            let shown = if ordered { self.closed.has(lock) } else { self.open.has(lock) };
            let longest = match (shown, ordered) {
                (true, _) => 0,
                (false, true) => data.close_ticks.saturating_sub(1).max(data.close_timeout),
                (false, false) => data.release_timeout.saturating_add(debounce),
            };
            *since = (*since).min(longest);
        }
        let most = debounce.saturating_sub(1).min(u16::from(u8::MAX)) as u8;
        for doubt in &mut self.doubt {
            *doubt = (*doubt).min(most);
        }
    }

    /// Belief about one lock as bytes: seven bits, ticks since the order changed (little end
    /// first), ticks of evidence, ticks of doubt.
    pub(crate) fn to_bytes(self, lock: u8) -> [u8; 5] {
        let flags = (0u8..)
            .zip(self.beliefs())
            .fold(Bits::EMPTY, |bits, (i, set)| bits.with(i, set.has(lock)));
        let [low, high] = self.ticks_since(lock).to_le_bytes();
        [flags.0, low, high, get(&self.count, lock), get(&self.doubt, lock)]
    }

    /// The same back into its place.
    pub(crate) fn take_bytes(&mut self, lock: u8, bytes: [u8; 5]) {
        let [flags, low, high, count, doubt] = bytes;
        let has = |i: u8| Bits(flags).has(i);
        self.ordered = self.ordered.with(lock, has(0));
        self.closed = self.closed.with(lock, has(1));
        self.open = self.open.with(lock, has(2));
        self.stuck_open = self.stuck_open.with(lock, has(3));
        self.stuck_closed = self.stuck_closed.with(lock, has(4));
        self.switch = self.switch.with(lock, has(5));
        self.lost = self.lost.with(lock, has(6));
        if let Some(since) = self.since.get_mut(lock as usize) {
            *since = u16::from_le_bytes([low, high]);
        }
        set(&mut self.count, lock, count);
        set(&mut self.doubt, lock, doubt);
    }

    const fn beliefs(&self) -> [Bits; 7] {
        [
            self.ordered,
            self.closed,
            self.open,
            self.stuck_open,
            self.stuck_closed,
            self.switch,
            self.lost,
        ]
    }

    pub(crate) fn ticks_since(&self, lock: u8) -> u16 {
        self.since.get(lock as usize).copied().unwrap_or(0)
    }

    /// Count consecutive ticks of evidence: which locks' counts reach `needed`. They start anew.
    fn evidence(&mut self, table: &Table, seen: Bits) -> Bits {
        let mut reached = Bits::EMPTY;
        // Most of the time there is nothing to count.
        if seen.is_empty() && self.count == [0; MAX_LOCKS] {
            return reached;
        }
        for (lock, (count, _)) in (0u8..8).zip(self.count.iter_mut().zip(table.locks)) {
            let now = if seen.has(lock) { count.saturating_add(1) } else { 0 };
            let enough = now > 0 && u16::from(now) >= table.timing.debounce;
            *count = if enough { 0 } else { now };
            reached = reached.or(if enough { Bits::one(lock) } else { Bits::EMPTY });
        }
        reached
    }

    /// Count consecutive ticks in which the switch of a lock `contradicts` the speeds. Of locks
    /// that are on their way nothing is said.
    fn doubt_switches(&mut self, settled: Bits, contradicts: Bits, needed: u16) {
        self.switch = self.switch.without(settled.without(contradicts));
        if contradicts.is_empty() && self.doubt == [0; MAX_LOCKS] {
            return;
        }
        for lock in settled.iter() {
            let doubt =
                if contradicts.has(lock) { get(&self.doubt, lock).saturating_add(1) } else { 0 };
            set(&mut self.doubt, lock, doubt);
            if doubt > 0 && u16::from(doubt) >= needed {
                self.switch = self.switch.or(Bits::one(lock));
            }
        }
    }
}

fn get(counts: &[u8; MAX_LOCKS], lock: u8) -> u8 {
    counts.get(lock as usize).copied().unwrap_or(0)
}

fn set(counts: &mut [u8; MAX_LOCKS], lock: u8, value: u8) {
    if let Some(count) = counts.get_mut(lock as usize) {
        *count = value;
    }
}
