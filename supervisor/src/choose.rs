//! Which step to take next, or why none may be taken.

use crate::bits::Bits;
use crate::guards::Guards;
use crate::status::Refusal;
use crate::table::{Action, EngineNeed, Stuck, Table, WAYS, Why};

#[cfg(test)]
pub(crate) mod decision_table;

/// Where a transition stands: its target, and which way it has committed to.
///
/// A transition may only change to a later way, and along one way every step brings
/// the table's distance down: so the number of lock actions is bounded.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Hash)]
pub(crate) struct Route {
    pub(crate) target: u8,
    pub(crate) way: u8,
}

/// What came of looking for a step.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Choice {
    /// Take this step, on this way.
    Step { step: u16, way: u8 },
    /// The engine has to run first.
    WaitForEngine,
    /// None may be taken.
    Refused(Refusal),
}

/// The stuck lock that the table is asked to reckon with.
///
/// # Errors
/// More than one lock is stuck: the table holds no way for that.
pub(crate) fn stuck_variant(stuck_open: Bits, stuck_closed: Bits) -> Result<Stuck, Refusal> {
    match (stuck_open.lowest(), stuck_closed.lowest()) {
        (None, None) => Ok(Stuck::None),
        (Some(lock), None) if stuck_open.count() == 1 => Ok(Stuck::Open(lock)),
        (None, Some(lock)) if stuck_closed.count() == 1 => Ok(Stuck::Closed(lock)),
        _ => Err(Refusal::NoWay(Why::Stuck)),
    }
}

/// Look for a step from `set` along `route`: the first way whose step may be taken and closes no `barred` lock.
pub(crate) fn choose<G: Guards>(
    table: &Table,
    guards: &mut G,
    route: Route,
    stuck: Stuck,
    set: Bits,
    barred: Bits,
) -> Choice {
    let mut refused = None;
    let mut last = None;
    let next = table.next_steps(stuck, set);
    for way in route.way..WAYS as u8 {
        // Ways often share a step: the same guards give the same answer.
        let told = next.step(way, route.target);
        if last == Some(told) {
            continue;
        }
        last = Some(told);
        match usable(table, set, told) {
            Ok(step) => {
                match not_barred(table, barred, step).and_then(|()| may_take(table, guards, step)) {
                    Ok(()) => return Choice::Step { step, way },
                    Err(Refusal::EngineNotRunning) => return Choice::WaitForEngine,
                    Err(refusal) => refused = refused.or(Some(refusal)),
                }
            }
            Err(why) => refused = refused.or(Some(Refusal::NoWay(why))),
        }
    }
    Choice::Refused(refused.unwrap_or(Refusal::NoWay(Why::NoOtherWay)))
}

/// The next way after `route.way` whose step from `set` is another one.
#[inline(never)]
pub(crate) fn next_way(table: &Table, route: Route, stuck: Stuck, set: Bits) -> u8 {
    let next = table.next_steps(stuck, set);
    let failed = usable(table, set, next.step(route.way, route.target));
    let mut way = route.way.saturating_add(1);
    while usize::from(way) < WAYS {
        let other = usable(table, set, next.step(way, route.target));
        if other.is_ok() && other != failed {
            return way;
        }
        way = way.saturating_add(1);
    }
    way
}

/// The table's step, if it is one that can be taken from `set`: an inconsistent table must not
/// make the search go round in circles.
#[inline(never)]
fn usable(table: &Table, set: Bits, next: Result<u16, Why>) -> Result<u16, Why> {
    let number = next?;
    let fits = table.step(number).is_some_and(|step| {
        let moves = step.from.has(step.lock) != (step.action == Action::Close);
        step.from == set && step.lock < table.lock_count() && moves
    });
    if fits { Ok(number) } else { Err(Why::Impossible) }
}

/// Whether the step closes none of the `barred` locks.
///
/// # Errors
/// The lock that it would close.
#[inline]
pub(crate) fn not_barred(table: &Table, barred: Bits, number: u16) -> Result<(), Refusal> {
    // As nearly always.
    if barred.is_empty() {
        return Ok(());
    }
    match table.step(number) {
        Some(step) if step.action == Action::Close && barred.has(step.lock) => {
            Err(Refusal::Interlock { lock: step.lock })
        }
        _ => Ok(()),
    }
}

/// Whether this step may be begun (and, while it is being prepared, gone on with).
///
/// # Errors
/// The first reason that speaks against it.
pub(crate) fn may_take<G: Guards>(
    table: &Table,
    guards: &mut G,
    number: u16,
) -> Result<(), Refusal> {
    let Some(step) = table.step(number) else { return Err(Refusal::NoWay(Why::Impossible)) };
    if !guards.plausible(step.sensors) {
        return Err(Refusal::Sensors { step: number });
    }
    if step.engine == EngineNeed::Running && !guards.engine_running() {
        return Err(Refusal::EngineNotRunning);
    }
    if !guards.in_window(number) {
        return Err(Refusal::RoadSpeed { step: number });
    }
    if !guards.demand_within(number) {
        return Err(Refusal::Torque { step: number });
    }
    if step.action == Action::Open {
        return Ok(());
    }
    if !guards.target_allowed(number) {
        return Err(Refusal::TargetSpeed { step: number });
    }
    if !guards.cool(step.lock) {
        return Err(Refusal::Hot { lock: step.lock });
    }
    if !guards.calm() {
        return Err(Refusal::NotCalm);
    }
    Ok(())
}
