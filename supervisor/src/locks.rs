//! What is believed of each lock, from order, switch and speeds together.
//!
//! Neither the switch's word nor the order's is enough: slip is evidence too, and
//! where the switch and the speeds contradict each other, the speeds decide and
//! transitions stop. After a reset nothing is known.

use crate::bits::{Bits, MAX_LOCKS};
use crate::guards::Guards;
use crate::io::LockReport;
use crate::status::Faults;
use crate::table::{Lock, Table};

#[cfg(test)]
pub(crate) mod decision_table;
#[cfg(test)]
mod tests;

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
        let mut pressing = Bits::EMPTY;
        for (lock, data) in (0..table.lock_count()).zip(table.locks) {
            let there = !data.dog || self.ticks_since(lock) >= data.close_ticks;
            let may = self.ordered.has(lock) && there;
            pressing = pressing.with(lock, may);
        }
        pressing
    }

    /// Friction locks shown open whose switch has said closed for a debounce while the sides move
    /// apart: a lying switch, or plates that something presses and that still slip. A dog cannot
    /// be in while its sides move apart.
    pub(crate) fn claimed(&self, table: &Table) -> Bits {
        let mut claimed = Bits::EMPTY;
        for lock in self.open.and(self.switch).without(self.ordered).iter() {
            let dog = table.locks.get(lock as usize).is_none_or(|data| data.dog);
            claimed = claimed.with(lock, !dog);
        }
        claimed
    }

    /// Change the order of a lock; belief about its old state ends.
    pub(crate) fn order(&mut self, lock: u8, close: bool) {
        if self.ordered.has(lock) == close {
            return;
        }
        self.ordered = self.ordered.with(lock, close);
        self.closed = self.closed.with(lock, false);
        self.open = self.open.with(lock, false);
        self.restart(lock);
    }

    fn restart(&mut self, lock: u8) {
        if let Some(since) = self.since.get_mut(lock as usize) {
            *since = 0;
        }
        set(&mut self.count, lock, 0);
        set(&mut self.doubt, lock, 0);
    }

    /// Take in this tick's evidence. Returns the locks that opened by themselves just now.
    pub(crate) fn update<G: Guards>(&mut self, table: &Table, guards: &mut G) -> Bits {
        let mut lost = Bits::EMPTY;
        for since in self.since.iter_mut().take(usize::from(table.lock_count())) {
            *since = since.saturating_add(1);
        }
        let debounce = table.timing.debounce;
        for (lock, data) in (0..table.lock_count()).zip(table.locks) {
            if self.ordered.has(lock) {
                if self.update_ordered_closed(data, debounce, guards, lock) {
                    lost = lost.with(lock, true);
                }
            } else {
                self.update_ordered_open(data, debounce, guards, lock);
            }
        }
        lost
    }

    fn update_ordered_closed<G: Guards>(
        &mut self,
        data: &Lock,
        debounce: u16,
        g: &mut G,
        lock: u8,
    ) -> bool {
        let report = if data.has_switch { g.report(lock) } else { LockReport::Missing };
        if self.closed.has(lock) {
            let moving = g.slip_moving(lock);
            self.doubt_switch(lock, report == LockReport::Open && !moving, debounce);
            if self.evidence(lock, moving, debounce) {
                self.closed = self.closed.with(lock, false);
                if self.lost.has(lock) {
                    self.stuck_open = self.stuck_open.with(lock, true);
                }
                self.lost = self.lost.with(lock, true);
                self.ordered = self.ordered.with(lock, false);
                self.restart(lock);
                return true;
            }
            return false;
        }
        let shown = self.ticks_since(lock) >= data.close_ticks
            && (!data.has_switch || report == LockReport::Closed)
            && !g.slip_moving(lock)
            && g.slip_known(lock);
        if self.evidence(lock, shown, debounce) {
            self.closed = self.closed.with(lock, true);
            self.stuck_closed = self.stuck_closed.with(lock, false);
        }
        false
    }

    fn update_ordered_open<G: Guards>(&mut self, data: &Lock, debounce: u16, g: &mut G, lock: u8) {
        let report = if data.has_switch { g.report(lock) } else { LockReport::Missing };
        if self.open.has(lock) {
            // A switch that says closed while the sides move apart is lying; while they do
            // not, it may be right, and the lock no longer counts as open.
            let said_closed = report == LockReport::Closed;
            let moving = said_closed && g.slip_moving(lock);
            self.doubt_switch(lock, said_closed && moving, debounce);
            if self.evidence(lock, said_closed && !moving, debounce) {
                self.open = self.open.with(lock, false);
                self.restart(lock);
            }
            return;
        }
        let since = self.ticks_since(lock);
        let said_open = if data.has_switch { report == LockReport::Open } else { true };
        // The switch never says open: when its time is over, the speeds decide.
        let shown = since >= data.release_ticks
            && (said_open || (since >= data.release_timeout && g.slip_moving(lock)));
        if self.evidence(lock, shown, debounce) {
            self.open = self.open.with(lock, true);
            self.stuck_closed = self.stuck_closed.with(lock, false);
        } else if since > data.release_timeout.saturating_add(debounce) {
            self.stuck_closed = self.stuck_closed.with(lock, true);
        }
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

    /// Count consecutive ticks of `seen`; true when they reach `needed`.
    fn evidence(&mut self, lock: u8, seen: bool, needed: u16) -> bool {
        let count = if seen { get(&self.count, lock).saturating_add(1) } else { 0 };
        let reached = u16::from(count) >= needed && seen;
        set(&mut self.count, lock, if reached { 0 } else { count });
        reached
    }

    fn doubt_switch(&mut self, lock: u8, contradicts: bool, needed: u16) {
        let doubt = if contradicts { get(&self.doubt, lock).saturating_add(1) } else { 0 };
        set(&mut self.doubt, lock, doubt);
        if !contradicts {
            self.switch = self.switch.with(lock, false);
        } else if u16::from(doubt) >= needed {
            self.switch = self.switch.with(lock, true);
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
