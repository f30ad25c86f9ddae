//! Every lock is known and nothing moves: arrive, choose a step, or say why not.

use super::{CLAIMS_MAX, Plan, State, any_stands, fits, stands};
use crate::bits::Bits;
use crate::choose::{Choice, Route, choose, not_barred};
use crate::guards::Guards;
use crate::status::{Phase, Refusal};
use crate::table::{Action, Arrangement, Conflict, EngineUse, NextSteps, Table, WAYS, Why};

/// Every lock is known: arrive, choose a step, or say why not.
pub(super) fn rest<G: Guards>(table: &Table, state: &mut State, guards: &mut G) -> Plan {
    let set = state.held();
    if !state.locks.all_known(table) {
        return look_again(table, state);
    }
    if let Some(conflict) = table.conflicts.iter().find(|c| set.contains(c.locks)) {
        return end_conflict(state, conflict);
    }
    let Some(route) = next_route(table, state, guards, set) else {
        return stay_plan(table, state, guards, set);
    };
    if stands(table, guards, route.target, set) {
        return stand(table, state, guards, route.target);
    }
    if table.arrangements.get(route.target as usize).is_some_and(|a| a.closed == set) {
        return wait_for_engine(table, state, guards, route, Plan::Arrangement(route.target));
    }
    let staying = state.stay < table.timing.min_stay && any_stands(table, guards, set);
    if state.route.is_none() && staying && !state.given_up {
        return stay_plan(table, state, guards, set);
    }
    if state.overlap > table.timing.overlap_max && !state.given_up {
        give_up(state, Refusal::OverlapTooLong);
        return stay_plan(table, state, guards, set);
    }
    if let Some(lock) = state.locks.switch.lowest() {
        return blocked(table, state, guards, set, Refusal::Switch { lock });
    }
    let arrangement = route.target;
    if !state.given_up && !guards.arrangement_in_window(arrangement) {
        return blocked(table, state, guards, set, Refusal::ArrangementSpeed { arrangement });
    }
    let choice = match state.stuck() {
        Ok(stuck) => choose(table, guards, route, stuck, set, state.barred()),
        Err(refusal) => Choice::Refused(refusal),
    };
    match choice {
        Choice::Step { step, way } => {
            state.route = Some(Route { way, ..route });
            state.engine_wait = 0;
            state.enter(Phase::Prepare { step, ready: 0 });
            Plan::Step(step)
        }
        Choice::WaitForEngine => {
            let plan = stay_plan(table, state, guards, set);
            wait_for_engine(table, state, guards, route, plan)
        }
        Choice::Refused(refusal) => blocked(table, state, guards, set, refusal),
    }
}

/// A lock is not known any more: wait until it is. Under way that counts towards the attempt: one that a
/// switch interrupts again and again, in ever so few ticks of preparing, must come to its time-out too.
fn look_again(table: &Table, state: &mut State) -> Plan {
    if state.route.is_some() {
        state.spent = state.spent.saturating_add(table.timing.retry_wait);
    }
    state.enter(Phase::Settle);
    Plan::Cut
}

/// The way to go on: towards the goal, or, once it has been given up, to a fallback.
fn next_route<G: Guards>(table: &Table, state: &State, guards: &mut G, set: Bits) -> Option<Route> {
    match state.request.accepted() {
        Some(target) if !state.given_up => {
            Some(state.route.filter(|r| r.target == target).unwrap_or(Route { target, way: 0 }))
        }
        goal if any_stands(table, guards, set) && fits(table, guards, set) => {
            // Nowhere to go; but say that it is reached.
            let reached = state.route.map(|r| r.target).or(goal);
            let reached = reached.filter(|&target| stands(table, guards, target, set));
            reached.map(|target| Route { target, way: 0 })
        }
        _ => state.route.or_else(|| fallback(table, state, set)),
    }
}

/// The arrangement to fall back to: the table's choice for this lock set, or, when a stuck lock
/// bars that, the first one that can be reached, those that need no engine before the others.
fn fallback(table: &Table, state: &State, set: Bits) -> Option<Route> {
    let next = table.next_steps(state.stuck().ok()?, set);
    let barred = state.barred();
    let at_first = |target: u8| leads(table, &next, barred, set, 0, target);
    let needs_engine = |target: u8| {
        table.arrangements.get(target as usize).is_none_or(|a| a.engine == EngineUse::On)
    };
    let all = 0..table.arrangement_count();
    // Where its first way begins with a lock that is barred, another one may lead to the table's choice.
    let chosen = Some(table.set(set).fallback);
    let choice =
        chosen.filter(|&t| (0..WAYS as u8).any(|way| leads(table, &next, barred, set, way, t)));
    let choice = choice.or_else(|| all.clone().find(|&t| !needs_engine(t) && at_first(t)));
    let target = choice.or_else(|| all.clone().find(|&t| at_first(t)))?;
    Some(Route { target, way: 0 })
}

/// Whether the arrangement is where it is, or a step that may be begun leads on to it.
#[inline(never)]
fn leads(table: &Table, next: &NextSteps, barred: Bits, set: Bits, way: u8, target: u8) -> bool {
    let begins = |step: u16| not_barred(table, barred, step).is_ok();
    let to = |a: &Arrangement| a.closed == set || next.step(way, target).is_ok_and(begins);
    table.arrangements.get(target as usize).is_some_and(to)
}

/// The arrangement that is gone to stands.
fn stand<G: Guards>(table: &Table, state: &mut State, guards: &mut G, target: u8) -> Plan {
    // Locks that only would not open are no arrival: what failed so far still counts.
    if let Some(lock) = state.held().without(state.locks.closed).lowest() {
        state.refusal = state.refusal.or(Some(Refusal::NotOpened { lock }));
        return Plan::Arrangement(target);
    }
    let fits = guards.arrangement_may_stay(target);
    if fits || state.given_up {
        arrive(state, target, fits);
    } else {
        leave(table, state, target);
    }
    Plan::Arrangement(target)
}

fn arrive(state: &mut State, target: u8, fits: bool) {
    if state.route.is_some() {
        state.stay = 0;
        state.route = None;
    }
    state.stood = Some(target);
    state.tries = 0;
    state.blocked = 0;
    state.engine_wait = 0;
    state.spent = 0;
    // Even when it had been given up, and was reached as the fallback.
    if state.request.accepted() == Some(target) && fits {
        state.refusal = None;
        state.given_up = false;
    }
}

/// The arrangement stands, but the road speed has left its window: after a while it is left
/// for the fallback, before a shaft overspeeds or the engine is dragged below idle.
fn leave(table: &Table, state: &mut State, arrangement: u8) {
    state.blocked = state.blocked.saturating_add(1);
    if state.blocked >= table.timing.retry_wait {
        give_up(state, Refusal::ArrangementSpeed { arrangement });
    }
}

/// The engine has been asked to run and does not run yet; or it ran in this arrangement and
/// has stalled: then it is not waited for, so that it is released soon.
fn wait_for_engine<G: Guards>(
    table: &Table,
    state: &mut State,
    guards: &mut G,
    route: Route,
    plan: Plan,
) -> Plan {
    state.route = Some(route);
    state.engine_wait = state.engine_wait.saturating_add(1);
    let needs_engine = |a: u8| {
        table.arrangements.get(usize::from(a)).is_some_and(|data| data.engine == EngineUse::On)
    };
    // Where only a step needs it, it may never have run.
    let stalled = state.stood.filter(|&a| needs_engine(a)) == Some(route.target);
    let limit = if stalled { table.timing.debounce } else { table.timing.engine_timeout };
    if state.engine_wait > limit {
        give_up(state, Refusal::EngineNotRunning);
        return stay_plan(table, state, guards, state.held());
    }
    plan
}

/// No step may be taken now. After a while the reason is stated; in a lock set that is no
/// arrangement the goal is then given up for the fallback.
fn blocked<G: Guards>(
    table: &Table,
    state: &mut State,
    guards: &mut G,
    set: Bits,
    refusal: Refusal,
) -> Plan {
    state.blocked = state.blocked.saturating_add(1);
    // An overlap is no place to wait in.
    if state.blocked >= table.timing.retry_wait || state.overlap > 0 {
        let at_arrangement = any_stands(table, guards, set);
        if !state.given_up {
            state.refusal = Some(refusal);
        }
        if !at_arrangement && !state.given_up {
            give_up(state, refusal);
        }
    }
    stay_plan(table, state, guards, set)
}

#[inline(never)]
fn give_up(state: &mut State, refusal: Refusal) {
    state.refusal = Some(refusal);
    state.given_up = true;
    state.route = None;
    state.tries = 0;
    state.blocked = 0;
    state.engine_wait = 0;
    state.spent = 0;
}

/// What the machines do while nothing moves. An overlap that has lasted too long gets no torque:
/// the shaft that it holds must not be pressed against for ever. Nor does one that stands on a lock
/// that is only stuck: torque through it would tear it open.
fn stay_plan<G: Guards>(table: &Table, state: &State, guards: &mut G, set: Bits) -> Plan {
    match state.arrangement(table, guards) {
        Some(arrangement) => Plan::Arrangement(arrangement),
        None if state.overlap > 0 && !set.without(state.locks.ordered).is_empty() => Plan::Cut,
        None if table.set(set).drives && state.overlap <= table.timing.overlap_max => Plan::Coast,
        None => Plan::Cut,
    }
}

/// A forbidden lock set is held: let one of its locks go, loaded or not. When none of them is
/// ours to let go, all that is left is to take the torque away and to say so.
fn end_conflict(state: &mut State, conflict: &Conflict) -> Plan {
    match conflict.first_of(conflict.locks.and(state.locks.ordered)) {
        Some(lock) => state.locks.order(lock, false),
        None => state.refusal = Some(Refusal::NoWay(Why::Conflict)),
    }
    state.stood = None;
    state.enter(Phase::Settle);
    Plan::Cut
}

/// The forbidden lock set, or the overlap that is no arrangement, that the locks which may press
/// would complete with one that a switch claims to be closed; and the lock of it that goes first.
pub(super) fn barred_by(table: &Table, claimed: Bits, pressed: Bits) -> Option<(Bits, Option<u8>)> {
    if claimed.is_empty() {
        return None;
    }
    let with = pressed.or(claimed);
    let completed = |locks: Bits| with.contains(locks) && !locks.and(claimed).is_empty();
    let conflict = table.conflicts.iter().find(|c| completed(c.locks));
    if let Some(conflict) = conflict {
        return Some((conflict.locks, conflict.first_of(conflict.locks.and(pressed))));
    }
    let meant = table.arrangements.iter().any(|a| a.closed == with);
    let overlap = table.overlaps.iter().find(|o| !meant && completed(o.locks));
    overlap.map(|o| (o.locks, o.locks.and(pressed).lowest()))
}

/// A switch says of an open lock that it is closed while its sides move apart. It may lie; or a
/// fault presses plates that still slip. No speed tells one from the other, so what must not be
/// closed together with it is let go.
pub(super) fn end_claim(
    table: &Table,
    state: &mut State,
    claimed: Bits,
    barred: (Bits, Option<u8>),
) -> Plan {
    // What was to be filled is not, whether or not there is a lock to let go.
    state.prefill = Bits::EMPTY;
    // SW-D1
    if let Some(lock) = claimed.and(barred.0).lowest() {
        give_up(state, Refusal::Switch { lock });
    }
    state.break_off(table);
    let ours = barred.1.filter(|&lock| state.locks.ordered.has(lock));
    if let Some(lock) = ours.or(barred.0.and(state.locks.ordered).lowest()) {
        state.locks.order(lock, false);
        state.claims = state.claims.saturating_add(1).min(CLAIMS_MAX);
        state.stood = None;
        state.enter(Phase::Settle);
    }
    Plan::Cut
}

/// The engine is being dragged down, driven too fast or turned backwards: let the lock go that joins it,
/// loaded or not.
pub(super) fn release_engine(table: &Table, state: &mut State, set: Bits) -> Plan {
    // What was to be filled is not, whether or not there is a lock to let go.
    state.prefill = Bits::EMPTY;
    // SW-D3
    if let Some(lock) = frees_engine(table, state, set) {
        give_up(state, Refusal::EngineNotRunning);
        state.locks.order(lock, false);
        state.stood = None;
        state.enter(Phase::Settle);
    }
    Plan::Off
}

/// The lock of ours that the engine turns alone without; when that one has not let go in time, or
/// a fault presses it, the lock without which the engine and the wheels do not push each other. Where no single
/// one is that, they go one after the other, plates first: teeth may not come out under the load.
fn frees_engine(table: &Table, state: &State, set: Bits) -> Option<u8> {
    let ours = set.and(state.locks.ordered);
    let without = |lock: u8| table.set(set.with(lock, false));
    let alone = ours.iter().find(|&lock| !without(lock).engine_joined);
    if alone.is_some() || !table.set(set).engine_geared {
        return alone;
    }
    let apart = ours.iter().find(|&lock| !without(lock).engine_geared);
    let is_dog = |lock: u8| table.locks.get(usize::from(lock)).is_some_and(|data| data.dog);
    apart.or_else(|| ours.iter().find(|&lock| !is_dog(lock))).or(ours.lowest())
}

/// An overlap has lasted too long, or would: let the lock go that leads to the fallback, or another of its
/// locks that is ours to let go, whether or not it was ever shown closed.
pub(super) fn end_overlap(table: &Table, state: &mut State, pressed: Bits) -> Plan {
    let set = state.held();
    // What was to be filled is not, whether or not there is a lock to let go.
    state.prefill = Bits::EMPTY;
    // With a lock that is only stuck, another way may still lead to the goal.
    if !state.given_up && set.and(state.locks.stuck_closed).is_empty() {
        give_up(state, Refusal::OverlapTooLong);
    }
    let back = fallback(table, state, set).zip(state.stuck().ok());
    let step = back.and_then(|(route, stuck)| {
        let number = table.next_step(0, stuck, set, route.target).ok()?;
        table.step(number).filter(|step| step.action == Action::Open && step.from == set)
    });
    let maybe = pressed.or(state.locks.ordered);
    // SW-D2
    let held = table.overlaps.iter().find(|o| maybe.contains(o.locks)).map(|o| o.locks);
    let ours = held.unwrap_or(pressed).and(state.locks.ordered);
    let lock = step.map(|step| step.lock).filter(|&lock| ours.has(lock)).or(ours.lowest());
    if let Some(lock) = lock {
        state.locks.order(lock, false);
        state.stood = None;
        state.enter(Phase::Settle);
    }
    Plan::Cut
}

#[cfg(test)]
mod tests;
