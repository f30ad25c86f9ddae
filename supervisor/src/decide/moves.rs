//! A lock action under way: prepared, ordered, shown; or waiting until every lock is known.

use super::{Plan, State, any_stands};
use crate::bits::Bits;
use crate::choose::may_take;
use crate::guards::Guards;
use crate::status::{Phase, Refusal};
use crate::table::{Action, Step, Table};

/// Wait until every lock is known.
pub(super) fn settle<G: Guards>(table: &Table, state: &mut State, guards: &mut G) -> Plan {
    // A lock whose closing nobody watches any more (after a reset, after another lock was lost)
    // is let go when it does not come to be shown closed.
    for lock in state.locks.ordered.without(state.locks.closed).iter() {
        if has_left(guards, lock) || is_late(table, lock, state.locks.ticks_since(lock)) {
            state.locks.order(lock, false);
        }
    }
    let plan = settle_plan(table, state);
    let waited = state.phase == Phase::Wake || state.ticks >= table.timing.retry_wait;
    if waited && state.locks.all_known(table) {
        state.enter(Phase::Rest);
    }
    plan
}

/// No torque, but for a failed attempt that lost nothing: the lock set that pushed the wheels
/// before goes on pushing them. Nor any at once while the engine's lock lets go: until it has, the
/// engine is dragged by what the machines still give.
fn settle_plan(table: &Table, state: &State) -> Plan {
    if state.pushes && table.set(state.held()).drives {
        Plan::Coast
    } else if state.given_up && state.refusal == Some(Refusal::EngineNotRunning) {
        Plan::Off
    } else {
        Plan::Cut
    }
}

/// Whether the sides of a closing lock have come apart again.
fn has_left<G: Guards>(guards: &mut G, lock: u8) -> bool {
    guards.slip_moving(lock) && !guards.slip_within(lock)
}

fn is_late(table: &Table, lock: u8, ticks: u16) -> bool {
    table.locks.get(lock as usize).is_none_or(|data| ticks > data.close_timeout)
}

/// Synchronise or unload until the guards have held for the dwell.
pub(super) fn prepare<G: Guards>(
    table: &Table,
    state: &mut State,
    guards: &mut G,
    number: u16,
    ready: u16,
) -> Plan {
    let step = match table.step(number) {
        Some(step) if state.held() == step.from && state.locks.all_known(table) => step,
        _ => {
            // The locks are no longer where this step begins: look again from where they are.
            state.enter(Phase::Rest);
            return Plan::Cut;
        }
    };
    let verdict = may_go_on(table, state, guards, number);
    state.doubt = if verdict.is_ok() { 0 } else { state.doubt.saturating_add(1) };
    if state.doubt > table.timing.debounce || overlap_over(table, state) {
        if any_stands(table, guards, step.from) {
            // Nothing presses: the next attempt gets its full time.
            state.spent = 0;
        }
        state.enter(Phase::Rest);
        return Plan::Step(number);
    }
    let holds = verdict.is_ok() && guards_hold(guards, number, step);
    let ready = if holds { ready.saturating_add(1) } else { 0 };
    state.phase = Phase::Prepare { step: number, ready };
    let close = step.action == Action::Close;
    let dog = table.locks.get(step.lock as usize).is_none_or(|data| data.dog);
    // Filled from the middle of the dwell on: guards that flicker do not work the valve.
    let fill = close && !dog && holds && ready.saturating_mul(2) >= table.timing.dwell;
    state.prefill = if fill { Bits::one(step.lock) } else { Bits::EMPTY };
    if ready >= table.timing.dwell {
        let next =
            if close { Phase::Closing { step: number } } else { Phase::Opening { step: number } };
        state.begin(next, step.lock, close);
        return Plan::Step(number);
    }
    state.spent = state.spent.saturating_add(1);
    let (limit, late) = if close {
        (table.timing.sync_timeout, Refusal::SyncTimeout { lock: step.lock })
    } else {
        (table.timing.unload_timeout, Refusal::UnloadTimeout { lock: step.lock })
    };
    if state.spent > limit {
        state.failed(table, verdict.err().unwrap_or(late));
    }
    Plan::Step(number)
}

fn overlap_over(table: &Table, state: &State) -> bool {
    state.overlap > table.timing.overlap_max && !state.given_up
}

fn may_go_on<G: Guards>(
    table: &Table,
    state: &State,
    guards: &mut G,
    number: u16,
) -> Result<(), Refusal> {
    match state.locks.switch.lowest() {
        Some(lock) => Err(Refusal::Switch { lock }),
        None => may_take(table, guards, number),
    }
}

fn guards_hold<G: Guards>(guards: &mut G, number: u16, step: &Step) -> bool {
    match step.action {
        Action::Close => guards.slip_ready(step.lock) && guards.at_rest(step.rest),
        Action::Open => guards.unloaded(number),
    }
}

/// A lock has been ordered closed: wait until it is shown closed.
pub(super) fn closing<G: Guards>(
    table: &Table,
    state: &mut State,
    guards: &mut G,
    number: u16,
) -> Plan {
    let Some(step) = table.step(number) else {
        state.enter(Phase::Settle);
        return Plan::Cut;
    };
    let lock = step.lock;
    if state.locks.closed.has(lock) {
        state.done();
        return Plan::Step(number);
    }
    // Plates are filled for longer than a slip stays what it was when it was last seen.
    state.doubt = if guards.slip_known(lock) { 0 } else { state.doubt.saturating_add(1) };
    let blind = state.doubt > table.timing.debounce;
    // With it, or while it closes, an overlap has lasted long enough: that says nothing of the lock.
    let overlapped = state.overlap > table.timing.overlap_max;
    let late = is_late(table, lock, state.ticks);
    // A shaft that the lock is about to hold has begun to turn before the lock holds it.
    let turned = |guards: &mut G| !guards.at_rest(step.rest);
    if late || overlapped || blind || has_left(guards, lock) || turned(guards) {
        state.locks.order(lock, false);
        // Only what was late says something of the lock.
        let refusal = match (blind, late, overlapped) {
            (true, ..) => Refusal::Sensors { step: number },
            (_, true, _) => Refusal::NotClosed { lock },
            (_, _, true) => Refusal::OverlapTooLong,
            _ => Refusal::SyncTimeout { lock },
        };
        // Without its slip nobody knows whether it would have closed.
        let last = state.tries.saturating_add(1) >= table.timing.retries;
        if late && last && guards.slip_known(lock) {
            state.locks.stuck_open = state.locks.stuck_open.with(lock, true);
            state.stuck_found(lock, refusal);
        } else {
            state.failed(table, refusal);
        }
    }
    Plan::Step(number)
}

/// A lock has been ordered open: wait until it is shown open.
pub(super) fn opening(table: &Table, state: &mut State, number: u16) -> Plan {
    let Some(step) = table.step(number) else {
        state.enter(Phase::Settle);
        return Plan::Cut;
    };
    if state.locks.open.has(step.lock) {
        state.done();
    } else if state.locks.stuck_closed.has(step.lock) {
        state.stuck_found(step.lock, Refusal::NotOpened { lock: step.lock });
    }
    Plan::Step(number)
}
