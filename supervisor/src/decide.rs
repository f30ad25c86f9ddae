//! What to do next: a pure function of bits, request and state.
//!
//! No floating point, no clock: time comes as one call a tick. Everything it looks at
//! comes through [`Guards`], so that the compiled code can be explored exhaustively.

use crate::bits::Bits;
use crate::choose::{Choice, Route, choose, may_take, next_way, stuck_variant};
use crate::guards::Guards;
use crate::locks::Locks;
use crate::request::Request;
use crate::status::{Phase, Refusal};
use crate::table::{Action, EngineUse, Stuck, Table, WAYS};

/// What the machines are to do; [`crate::plan`] turns it into numbers.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Plan {
    /// No torque from anything.
    #[default]
    Cut,
    /// Push as well as this lock set allows.
    Coast,
    /// As the arrangement is meant to run.
    Arrangement(u8),
    /// As the step asks.
    Step(u16),
}

/// What `decide` wants in one tick.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Decision {
    /// Locks to be closed or kept closed.
    pub close: Bits,
    /// The lock to be filled to its kiss point, if any.
    pub prefill: Bits,
    /// What the machines do.
    pub plan: Plan,
    /// Whether the engine should run.
    pub engine_run: bool,
}

/// Memory of `decide`: integers and bits only.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Hash)]
pub struct State {
    pub(crate) locks: Locks,
    pub(crate) request: Request,
    pub(crate) phase: Phase,
    route: Option<Route>,
    /// Ticks in this phase.
    ticks: u16,
    /// Failed attempts at the present step.
    tries: u8,
    /// Ticks since an arrangement was reached.
    stay: u16,
    /// Ticks in a lock set that holds a machine.
    overlap: u16,
    /// Ticks for which no step may be taken.
    blocked: u16,
    pub(crate) refusal: Option<Refusal>,
    /// The refusal stands until the request changes.
    given_up: bool,
    engine_run: bool,
    /// A lock that is being filled.
    prefill: Bits,
}

impl State {
    /// Locks that count as closed.
    pub const fn held(&self) -> Bits {
        self.locks.held()
    }

    /// The arrangement that stands in this lock set, the accepted one first.
    pub(crate) fn arrangement<G: Guards>(&self, table: &Table, guards: &mut G) -> Option<u8> {
        if self.phase != Phase::Rest {
            return None;
        }
        let set = self.held();
        let goal = self.request.accepted();
        goal.filter(|&a| stands(table, guards, a, set)).or_else(|| {
            (0..table.arrangements.len() as u8).find(|&a| stands(table, guards, a, set))
        })
    }

    /// On the first tick: locks that are closed already and stay so.
    pub(crate) fn adopt(&mut self, locks: Bits) {
        self.locks.ordered = locks;
    }

    /// What the interlock let pass: a lock that was denied is not ordered.
    pub(crate) fn settle(&mut self, table: &Table, wanted: Bits, passed: Bits) {
        let denied = wanted.without(passed);
        for lock in denied.iter() {
            self.locks.order(lock, false);
        }
        if denied.is_empty() {
            return;
        }
        self.prefill = Bits::EMPTY;
        match self.phase {
            Phase::Prepare { step, .. } | Phase::Closing { step } => {
                let lock = table.step(step).map_or(0, |s| s.lock);
                self.failed(table, Refusal::Interlock { lock });
            }
            _ => self.enter(Phase::Settle),
        }
    }

    fn stuck(&self) -> Result<Stuck, Refusal> {
        stuck_variant(self.locks.stuck_open, self.locks.stuck_closed)
    }

    fn enter(&mut self, phase: Phase) {
        self.phase = phase;
        self.ticks = 0;
        if !matches!(phase, Phase::Prepare { .. }) {
            self.prefill = Bits::EMPTY;
        }
    }

    /// An attempt failed: wait, try again, then take the next way, then give up.
    fn failed(&mut self, table: &Table, refusal: Refusal) {
        self.tries = self.tries.saturating_add(1);
        self.refusal = Some(refusal);
        if self.tries >= table.timing.retries {
            self.tries = 0;
            if let (Some(route), Ok(stuck)) = (self.route, self.stuck()) {
                let way = next_way(table, route, stuck, self.held());
                self.route = Some(Route { way, ..route });
                self.given_up = self.given_up || usize::from(way) >= WAYS;
            }
        }
        self.enter(Phase::Settle);
    }
}

/// Whether `arrangement` stands when `set` is held.
fn stands<G: Guards>(table: &Table, guards: &mut G, arrangement: u8, set: Bits) -> bool {
    let Some(data) = table.arrangements.get(arrangement as usize) else { return false };
    data.closed == set && (data.engine != EngineUse::On || guards.engine_running())
}

/// Whether a standing arrangement is inside its road-speed window, or is the fallback itself.
fn fits<G: Guards>(table: &Table, guards: &mut G, set: Bits) -> bool {
    let fallback = table.set(set).fallback;
    (0..table.arrangements.len() as u8)
        .any(|a| stands(table, guards, a, set) && (a == fallback || guards.arrangement_may_stay(a)))
}

fn any_stands<G: Guards>(table: &Table, guards: &mut G, set: Bits) -> bool {
    (0..table.arrangements.len() as u8).any(|a| stands(table, guards, a, set))
}

/// One tick.
#[must_use = "a decision does nothing until the interlock has passed it"]
pub fn decide<G: Guards>(table: &Table, state: &mut State, guards: &mut G) -> Decision {
    let lost = state.locks.update(table, guards);
    let asked = guards.request();
    if state.request.update(table, asked) {
        state.route = None;
        state.refusal = None;
        state.given_up = false;
        state.tries = 0;
        state.blocked = 0;
        if matches!(state.phase, Phase::Prepare { .. }) {
            state.enter(Phase::Rest);
        }
    }
    state.ticks = state.ticks.saturating_add(1);
    state.stay = state.stay.saturating_add(1);
    if !lost.is_empty() {
        state.enter(Phase::Settle);
    }
    let set = state.held();
    let overlapping = !table.set(set).held_machines.is_empty()
        && !table.arrangements.iter().any(|a| a.closed == set);
    state.overlap = if overlapping { state.overlap.saturating_add(1) } else { 0 };
    let plan = match state.phase {
        Phase::Wake | Phase::Settle => settle(table, state),
        Phase::Rest => rest(table, state, guards),
        Phase::Prepare { step, ready } => prepare(table, state, guards, step, ready),
        Phase::Closing { step } => closing(table, state, guards, step),
        Phase::Opening { step } => opening(table, state, step),
    };
    engine(table, state, guards);
    Decision {
        close: state.locks.ordered,
        prefill: state.prefill.without(state.locks.ordered),
        plan,
        engine_run: state.engine_run,
    }
}

/// Wait, without torque, until every lock is known.
fn settle(table: &Table, state: &mut State) -> Plan {
    let waited = state.phase == Phase::Wake || state.ticks >= table.timing.retry_wait;
    if waited && state.locks.all_known(table) {
        state.enter(Phase::Rest);
    }
    Plan::Cut
}

/// Every lock is known: arrive, choose a step, or say why not.
fn rest<G: Guards>(table: &Table, state: &mut State, guards: &mut G) -> Plan {
    let set = state.held();
    if !state.locks.all_known(table) {
        state.enter(Phase::Settle);
        return Plan::Cut;
    }
    if table.forbids(set) {
        return end_conflict(table, state, set);
    }
    let Some(route) = next_route(table, state, guards, set) else {
        return stay_plan(table, state, guards, set);
    };
    if stands(table, guards, route.target, set) {
        if guards.arrangement_may_stay(route.target) || state.given_up {
            arrive(state, route.target);
        } else {
            leave(table, state, route.target);
        }
        return Plan::Arrangement(route.target);
    }
    if table.arrangements.get(route.target as usize).is_some_and(|a| a.closed == set) {
        return wait_for_engine(table, state, guards, route, Plan::Arrangement(route.target));
    }
    if state.route.is_none() && state.stay < table.timing.min_stay && !state.given_up {
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
        Ok(stuck) => choose(table, guards, route, stuck, set),
        Err(refusal) => Choice::Refused(refusal),
    };
    match choice {
        Choice::Step { step, way } => {
            state.route = Some(Route { way, ..route });
            state.blocked = 0;
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

/// The way to go on: towards the goal, or, once it has been given up, to the fallback.
fn next_route<G: Guards>(table: &Table, state: &State, guards: &mut G, set: Bits) -> Option<Route> {
    let at_arrangement = any_stands(table, guards, set);
    let goal = state.request.accepted();
    match goal {
        Some(target) if !state.given_up => {
            Some(state.route.filter(|r| r.target == target).unwrap_or(Route { target, way: 0 }))
        }
        _ if at_arrangement && fits(table, guards, set) => None,
        _ => {
            let target = table.set(set).fallback;
            let known = usize::from(target) < table.arrangements.len();
            let fresh = Route { target, way: 0 };
            known.then(|| state.route.filter(|r| r.target == target).unwrap_or(fresh))
        }
    }
}

fn arrive(state: &mut State, target: u8) {
    if state.route.is_some() {
        state.stay = 0;
        state.route = None;
    }
    state.tries = 0;
    state.blocked = 0;
    if state.request.accepted() == Some(target) && !state.given_up {
        state.refusal = None;
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

/// The engine has been asked to run and does not run yet.
fn wait_for_engine<G: Guards>(
    table: &Table,
    state: &mut State,
    guards: &mut G,
    route: Route,
    plan: Plan,
) -> Plan {
    state.route = Some(route);
    state.blocked = state.blocked.saturating_add(1);
    if state.blocked > table.timing.engine_timeout {
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
    if state.blocked >= table.timing.retry_wait {
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

fn give_up(state: &mut State, refusal: Refusal) {
    state.refusal = Some(refusal);
    state.given_up = true;
    state.route = None;
    state.tries = 0;
    state.blocked = 0;
}

/// What the machines do while nothing moves.
fn stay_plan<G: Guards>(table: &Table, state: &State, guards: &mut G, set: Bits) -> Plan {
    match state.arrangement(table, guards) {
        Some(arrangement) => Plan::Arrangement(arrangement),
        None if table.set(set).drives => Plan::Coast,
        None => Plan::Cut,
    }
}

/// A forbidden lock set is held: let one of its locks go, loaded or not.
fn end_conflict(table: &Table, state: &mut State, set: Bits) -> Plan {
    if let Some(conflict) = table.conflicts.iter().find(|c| set.contains(c.locks)) {
        let mine = conflict.locks.and(state.locks.ordered);
        let first = if mine.has(conflict.release_first) {
            Some(conflict.release_first)
        } else {
            mine.lowest()
        };
        if let Some(lock) = first {
            state.locks.order(lock, false);
        }
    }
    state.enter(Phase::Settle);
    Plan::Cut
}

fn prepare<G: Guards>(
    table: &Table,
    state: &mut State,
    guards: &mut G,
    number: u16,
    ready: u16,
) -> Plan {
    let Some(step) = table.step(number) else {
        state.enter(Phase::Rest);
        return Plan::Cut;
    };
    let too_long = state.overlap > table.timing.overlap_max && !state.given_up;
    if too_long || may_take(table, guards, number).is_err() || state.held() != step.from {
        // Nothing has moved yet: look again from where the locks are.
        state.enter(Phase::Rest);
        return Plan::Step(number);
    }
    let holds = match step.action {
        Action::Close => guards.slip(step.lock).ready() && guards.at_rest(step.rest),
        Action::Open => guards.unloaded(number),
    };
    let ready = if holds { ready.saturating_add(1) } else { 0 };
    state.phase = Phase::Prepare { step: number, ready };
    let dog = table.locks.get(step.lock as usize).is_none_or(|l| l.dog);
    let fill = step.action == Action::Close && !dog && ready > 0;
    state.prefill = if fill { Bits::one(step.lock) } else { Bits::EMPTY };
    if ready >= table.timing.dwell {
        let close = step.action == Action::Close;
        state.locks.order(step.lock, close);
        state.enter(if close {
            Phase::Closing { step: number }
        } else {
            Phase::Opening { step: number }
        });
        return Plan::Step(number);
    }
    let (limit, refusal) = match step.action {
        Action::Close => (table.timing.sync_timeout, Refusal::SyncTimeout { lock: step.lock }),
        Action::Open => (table.timing.unload_timeout, Refusal::UnloadTimeout { lock: step.lock }),
    };
    if state.ticks > limit {
        state.failed(table, refusal);
    }
    Plan::Step(number)
}

fn closing<G: Guards>(table: &Table, state: &mut State, guards: &mut G, number: u16) -> Plan {
    let Some(step) = table.step(number) else {
        state.enter(Phase::Settle);
        return Plan::Cut;
    };
    let lock = step.lock;
    if state.locks.closed.has(lock) {
        state.tries = 0;
        state.enter(Phase::Rest);
        return Plan::Step(number);
    }
    let slip = guards.slip(lock);
    let left = slip.known && !slip.within;
    let late = table.locks.get(lock as usize).is_none_or(|l| state.ticks > l.close_timeout);
    if left || late {
        state.locks.order(lock, false);
        if late && state.tries.saturating_add(1) >= table.timing.retries {
            state.locks.stuck_open = state.locks.stuck_open.with(lock, true);
        }
        state.failed(table, Refusal::NotClosed { lock });
    }
    Plan::Step(number)
}

fn opening(table: &Table, state: &mut State, number: u16) -> Plan {
    let Some(step) = table.step(number) else {
        state.enter(Phase::Settle);
        return Plan::Cut;
    };
    if state.locks.open.has(step.lock) {
        state.tries = 0;
        state.enter(Phase::Rest);
    } else if state.locks.stuck_closed.has(step.lock) {
        state.refusal = Some(Refusal::NotOpened { lock: step.lock });
        state.enter(Phase::Settle);
    }
    Plan::Step(number)
}

/// Whether the engine should run: started when the target wants it, stopped once it is not joined.
fn engine<G: Guards>(table: &Table, state: &mut State, guards: &mut G) {
    let target = match state.route {
        Some(route) => Some(route.target),
        None => state.arrangement(table, guards),
    };
    let Some(data) = target.and_then(|t| table.arrangements.get(t as usize)) else { return };
    match data.engine {
        EngineUse::On => state.engine_run = true,
        EngineUse::Off => {
            if !table.set(state.held()).engine_joined {
                state.engine_run = false;
            }
        }
        EngineUse::Either => {}
    }
}
