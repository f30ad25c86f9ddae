//! Decision and interlock of one tick together: all that decides, and nothing that measures.
//!
//! The board feeds it measured bits, an exhaustive search feeds it every combination: it is
//! the same compiled code. It asks only for the bits that it needs.

mod bytes;

pub use bytes::KernelBytes;

use crate::bits::{Bits, MAX_LOCKS};
use crate::decide::{Decision, State, decide};
use crate::guards::Guards;
use crate::interlock::{Seen, Watch, pass};
use crate::io::LockOrder;
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
        let mut orders = [LockOrder::Open; MAX_LOCKS];
        for lock in self.passed.iter() {
            if let Some(order) = orders.get_mut(usize::from(lock)) {
                let close = self.granted.has(lock);
                *order = if close { LockOrder::Close } else { LockOrder::Prefill };
            }
        }
        orders
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

    /// What a reset leaves: no belief, and of the interlock's memory what was kept, if anything.
    pub fn after_reset(kept: Option<Watch>) -> Kernel {
        Kernel { watch: kept.unwrap_or_default().asleep(), state: State::default() }
    }

    /// A memory that orders the same locks from now on, whatever is answered: counters that
    /// have passed every value they are compared with stand still, and what nothing reads before
    /// it is written again is dropped, as is what only the machines' plan or a statement looks
    /// at. Memories that behave alike become equal. For exhaustive search; a board has no need
    /// of it.
    #[must_use]
    pub fn canonical(mut self, table: &Table) -> Kernel {
        self.state.make_canonical(table);
        self.watch.make_canonical(table);
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
        let ruling = self.step_with(table, guards, |_, _, _| wanted);
        // No decision, no memory of one.
        self.state = State::default();
        ruling
    }

    fn step_with<G: Guards>(
        &mut self,
        table: &Table,
        guards: &mut G,
        decide: impl FnOnce(&Table, &mut State, &mut G) -> Decision,
    ) -> Ruling {
        let reports = guards.reports(table);
        // Locks without a switch.
        let blind = Bits::first(table.lock_count()).without(reports.switched);
        if self.watch.is_asleep() {
            let held = guards.still(self.watch.granted().and(reports.closed.or(blind)));
            let kept = self.watch.wake(table, held);
            let engine_runs = guards.engine_running();
            self.state.adopt(table, kept, engine_runs);
        }
        let granted = self.watch.granted();
        let maybe_closed = self.watch.possibly_closed(table, &reports);
        let decision = decide(table, &mut self.state, guards);
        let wanted = decision.close.or(decision.prefill);
        let new = wanted.without(granted);
        let maybe_held = reports.closed.or(granted);
        // Slips that the gate looks at only when more than one closing is wanted, or that no
        // conflict is about, are not asked for.
        let alone = if new.count() == 1 { new } else { Bits::EMPTY };
        let ready = alone.filter(|lock| guards.slip_ready(lock));
        let surely_held = guards.still(in_conflicts(table, maybe_held));
        // Nor what is being let go, when no conflict is held.
        let releasing =
            if surely_held.is_empty() { Bits::EMPTY } else { self.watch.releasing(table) };
        let seen = Seen {
            wanted,
            granted,
            maybe_closed,
            surely_held,
            releasing,
            ready,
            at_rest: machines_at_rest(table, guards, ready, maybe_closed.or(granted).or(new)),
        };
        let passed = pass(table, &seen);
        self.state.settle(table, wanted, passed);
        let granted_now = passed.and(decision.close);
        let filled = passed.without(granted_now);
        // Only a lock without a switch needs to be seen moving.
        let apart = guards.moving(blind);
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

/// The members of forbidden lock sets that lie within `held`.
fn in_conflicts(table: &Table, held: Bits) -> Bits {
    table
        .conflicts
        .iter()
        .filter(|c| held.contains(c.locks))
        .fold(Bits::EMPTY, |b, c| b.or(c.locks))
}

/// Machines at rest among those that closing one of `new` would hold, with the locks `with`.
fn machines_at_rest<G: Guards>(table: &Table, guards: &mut G, new: Bits, with: Bits) -> Bits {
    let mut held = Bits::EMPTY;
    // Most of the time nothing is about to close.
    if new.is_empty() {
        return held;
    }
    for overlap in table.overlaps {
        if !overlap.locks.and(new).is_empty() && with.contains(overlap.locks) {
            held = held.or(overlap.machines);
        }
    }
    held.filter(|machine| guards.at_rest(Bits::one(machine)))
}
