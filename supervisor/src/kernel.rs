//! Decision and interlock of one tick together: all that decides, and nothing that measures.
//!
//! The board feeds it measured bits, an exhaustive search feeds it every combination: it is
//! the same compiled code. It asks only for the bits that it needs.

use crate::bits::{Bits, MAX_LOCKS};
use crate::decide::{Decision, State, decide};
use crate::guards::Guards;
use crate::interlock::{Seen, Watch, pass};
use crate::io::{LockOrder, LockReport};
use crate::table::Table;

#[cfg(test)]
mod tests;

/// Memory of the decision and of the interlock.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Hash)]
pub struct Kernel {
    /// Memory of the decision.
    pub(crate) state: State,
    /// The interlock's own memory.
    pub(crate) watch: Watch,
}

/// What one tick of the kernel gives.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[must_use = "orders that are not carried out leave the driveline as it was"]
pub struct Ruling {
    /// What the decision wants.
    pub decision: Decision,
    /// What the interlock looked at.
    pub seen: Seen,
    /// Locks that may be closed, kept closed or filled.
    pub passed: Bits,
    /// Of these, the closings.
    pub granted: Bits,
    /// Locks that the interlock let go to end a conflict.
    pub let_go: Bits,
}

impl Ruling {
    /// The order of each lock.
    pub fn lock_orders(&self) -> [LockOrder; MAX_LOCKS] {
        core::array::from_fn(|i| match i as u8 {
            lock if self.granted.has(lock) => LockOrder::Close,
            lock if self.passed.has(lock) => LockOrder::Prefill,
            _ => LockOrder::Open,
        })
    }
}

impl Kernel {
    /// Memory of the decision.
    pub const fn state(&self) -> &State {
        &self.state
    }

    /// The interlock's memory.
    pub const fn watch(&self) -> &Watch {
        &self.watch
    }

    /// Make counters that have passed every value they are compared with stand still, and drop
    /// what is never read: two memories that behave alike from now on become equal. For
    /// exhaustive search; a board has no need of it.
    pub fn settle_counters(&mut self, table: &Table) {
        self.state.settle_counters(table);
        self.watch.settle_counters(table);
    }

    /// The same without what is stated as a refusal and without what only the machines' plan
    /// looks at: neither has a say in what the locks are ordered.
    #[must_use]
    pub fn without_statement(mut self) -> Kernel {
        self.state.refusal = None;
        self.state.pushes = false;
        self
    }

    /// One tick.
    pub fn step<G: Guards>(&mut self, table: &Table, guards: &mut G) -> Ruling {
        self.step_with(table, guards, decide)
    }

    /// One tick in which these orders stand in for the decision: to see what the interlock
    /// does by itself.
    pub fn step_wanting<G: Guards>(
        &mut self,
        table: &Table,
        guards: &mut G,
        close: Bits,
        prefill: Bits,
    ) -> Ruling {
        let wanted = Decision { close, prefill, ..Decision::default() };
        self.step_with(table, guards, |_, state, _| {
            *state = State::default();
            wanted
        })
    }

    fn step_with<G: Guards>(
        &mut self,
        table: &Table,
        guards: &mut G,
        decide: impl FnOnce(&Table, &mut State, &mut G) -> Decision,
    ) -> Ruling {
        let all = Bits::first(table.lock_count());
        let mut reports = [LockReport::Missing; MAX_LOCKS];
        for (slot, lock) in reports.iter_mut().zip(all.iter()) {
            *slot = guards.report(lock);
        }
        let says = |what: LockReport| {
            let bit =
                |bits: Bits, (i, report): (usize, &LockReport)| bits.with(i as u8, *report == what);
            reports.iter().enumerate().fold(Bits::EMPTY, bit).and(all)
        };
        let (said_closed, said_open) = (says(LockReport::Closed), says(LockReport::Open));
        if self.watch.is_asleep() {
            let held = not_moving(guards, said_closed);
            let doubtful = all.without(said_open).without(moving(guards, all.without(said_open)));
            let adopted = Watch::adopt(table, held, doubtful);
            self.watch.wake(adopted);
            let engine_runs = guards.engine_running();
            self.state.adopt(adopted, engine_runs);
        }
        let granted = self.watch.granted();
        let maybe_closed = self.watch.possibly_closed(table, &reports);
        let decision = decide(table, &mut self.state, guards);
        let wanted = decision.close.or(decision.prefill);
        let new = wanted.without(granted);
        let seen = Seen {
            wanted,
            granted,
            maybe_closed,
            surely_held: not_moving(guards, said_closed.or(granted)),
            releasing: self.watch.releasing(table),
            ready: filter(new, |lock| guards.slip_ready(lock)),
            at_rest: machines_at_rest(table, guards, new),
        };
        let passed = pass(table, &seen);
        self.state.settle(table, wanted, passed);
        let granted_now = passed.and(decision.close);
        let filled = passed.without(granted_now);
        // Only a lock without a switch needs to be seen moving.
        let blind =
            filter(all, |lock| table.locks.get(lock as usize).is_some_and(|data| !data.has_switch));
        let apart = moving(guards, blind);
        self.watch.remember(table, granted_now, filled, apart);
        Ruling {
            decision,
            seen,
            passed,
            granted: granted_now,
            let_go: wanted.and(granted).without(passed),
        }
    }
}

/// The members for which `keep` holds.
fn filter(members: Bits, mut keep: impl FnMut(u8) -> bool) -> Bits {
    let mut kept = Bits::EMPTY;
    for lock in members.iter() {
        kept = kept.with(lock, keep(lock));
    }
    kept
}

fn moving<G: Guards>(guards: &mut G, locks: Bits) -> Bits {
    filter(locks, |lock| guards.slip_moving(lock))
}

fn not_moving<G: Guards>(guards: &mut G, locks: Bits) -> Bits {
    filter(locks, |lock| guards.slip_known(lock) && !guards.slip_moving(lock))
}

/// Machines at rest among those that closing one of `new` could hold.
fn machines_at_rest<G: Guards>(table: &Table, guards: &mut G, new: Bits) -> Bits {
    let mut held = Bits::EMPTY;
    for overlap in table.overlaps {
        if !overlap.locks.and(new).is_empty() {
            held = held.or(overlap.machines);
        }
    }
    filter(held, |machine| guards.at_rest(Bits::one(machine)))
}
