//! What to do next: a pure function of bits, request and state.
//!
//! No floating point, no clock: time comes as one call a tick. Everything it looks at
//! comes through [`Guards`], so that the compiled code can be explored exhaustively.

mod bytes;
mod moves;
#[cfg(test)]
pub(crate) mod phase_table;
mod rest;
#[cfg(test)]
mod tests;

use crate::bits::{Bits, MAX_ARRANGEMENTS};
use crate::choose::{Route, next_way, stuck_variant};
use crate::guards::Guards;
use crate::locks::Locks;
use crate::request::Request;
use crate::status::{Phase, Refusal};
use crate::table::{Arrangement, EngineUse, Stuck, Table, WAYS};

/// What the machines are to do; `crate::plan` turns it into numbers.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Plan {
    /// No torque from anything.
    #[default]
    Cut,
    /// The same, and at once.
    Off,
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

/// A switch that claims again what it claimed before would have locks closed and let go for ever: after so
/// many times under one request none is closed any more.
pub(crate) const CLAIMS_MAX: u8 = 2;

/// Memory of `decide`: integers and bits only.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Hash)]
pub struct State {
    pub(crate) locks: Locks,
    pub(crate) request: Request,
    pub(crate) phase: Phase,
    route: Option<Route>,
    /// Ticks in this phase.
    ticks: u16,
    /// Ticks of preparing since the last lock action: an attempt that is broken off and taken
    /// up again does not get new time.
    spent: u16,
    /// Consecutive ticks in which the step under preparation may not be taken.
    doubt: u16,
    /// Failed attempts on this way.
    tries: u8,
    /// Ticks since an arrangement was reached.
    stay: u16,
    /// Ticks in a lock set that holds a machine.
    overlap: u16,
    /// Ticks in which no step could be taken, since the last lock action.
    blocked: u16,
    /// Ticks of waiting for the engine.
    engine_wait: u16,
    /// The arrangement that stood last, while no lock action has begun since.
    stood: Option<u8>,
    pub(crate) refusal: Option<Refusal>,
    /// The refusal stands until the request changes.
    given_up: bool,
    /// Locks that have been found stuck under this request, whether or not they moved in the end.
    found_stuck: Bits,
    /// How often under this request a lock was let go because of what a switch claimed, up to [`CLAIMS_MAX`].
    claims: u8,
    engine_run: bool,
    /// An attempt has just failed and nothing was lost: the locks that hold go on pushing while
    /// the others are waited for. Only the machines' plan looks at it.
    pub(crate) pushes: bool,
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
        goal.filter(|&a| stands(table, guards, a, set))
            .or_else(|| first_standing(table, guards, set))
    }

    /// On the first tick: locks that are closed already and stay so, and an engine that runs
    /// already and goes on. How long an overlap among them has stood nobody knows: it ends now.
    pub(crate) fn adopt(&mut self, table: &Table, locks: Bits, engine_runs: bool) {
        self.locks.ordered = locks;
        self.engine_run = engine_runs;
        if is_overlap(table, locks) {
            self.overlap = overlap_end(table);
        }
    }

    /// The phase.
    pub const fn phase(&self) -> Phase {
        self.phase
    }

    /// What is stated as the reason why the request is not fulfilled.
    pub const fn refusal(&self) -> Option<Refusal> {
        self.refusal
    }

    /// Whether the request has been given up: its refusal stands until another one.
    pub const fn gave_up(&self) -> bool {
        self.given_up
    }

    /// The request as accepted.
    pub const fn goal(&self) -> Option<u8> {
        self.request.accepted()
    }

    /// The arrangement that stood last, while no lock action has begun since.
    pub const fn stands(&self) -> Option<u8> {
        self.stood
    }

    /// Ticks in a lock set that holds a machine and is no arrangement.
    pub const fn overlap_ticks(&self) -> u16 {
        self.overlap
    }

    /// Failed attempts on the present way.
    pub const fn tries(&self) -> u8 {
        self.tries
    }

    /// Which of the table's ways is being followed.
    pub fn way(&self) -> Option<u8> {
        self.route.map(|route| route.way)
    }

    /// Belief about the locks.
    pub const fn locks(&self) -> &Locks {
        &self.locks
    }

    /// See [`crate::kernel::Kernel::canonical`]. Every counter is counted up before it is compared.
    pub(crate) fn make_canonical(&mut self, table: &Table) {
        let t = &table.timing;
        self.refusal = None;
        self.pushes = false;
        self.engine_run = false;
        self.prefill = Bits::EMPTY;
        self.ticks = match self.phase {
            Phase::Settle => self.ticks.min(t.retry_wait.saturating_sub(1)),
            Phase::Closing { step } => {
                let lock = table.step(step).and_then(|step| table.locks.get(step.lock as usize));
                self.ticks.min(lock.map_or(0, |lock| lock.close_timeout))
            }
            // Entering another phase starts it anew.
            Phase::Wake | Phase::Rest | Phase::Prepare { .. } | Phase::Opening { .. } => 0,
        };
        self.spent = self.spent.min(t.sync_timeout.max(t.unload_timeout));
        self.doubt = self.doubt.min(t.debounce);
        self.stay = self.stay.min(t.min_stay.saturating_sub(1));
        self.overlap = self.overlap.min(overlap_end(table));
        self.blocked = self.blocked.min(t.retry_wait.saturating_sub(1));
        self.engine_wait = self.engine_wait.min(t.engine_timeout.max(t.debounce));
        // Only an engine that stalls where it is needed is told from one that never ran.
        self.stood = self.stood.filter(|&a| {
            table.arrangements.get(a as usize).is_some_and(|a| a.engine == EngineUse::On)
        });
        self.locks.make_canonical(table);
        self.request.make_canonical(table);
    }

    /// What the interlock let pass: a lock that was denied is not ordered.
    pub(crate) fn settle(&mut self, table: &Table, wanted: Bits, passed: Bits) {
        let denied = wanted.without(passed);
        if denied.is_empty() {
            return;
        }
        for lock in denied.iter() {
            self.locks.order(lock, false);
        }
        self.prefill = Bits::EMPTY;
        let of_step = match self.phase {
            Phase::Prepare { step, .. } | Phase::Closing { step } => table.step(step),
            _ => None,
        };
        match of_step {
            Some(step) if denied.has(step.lock) => {
                self.failed(table, Refusal::Interlock { lock: step.lock });
            }
            // A lock that stood was let go to end a conflict.
            _ => {
                self.break_off(table);
                self.enter(Phase::Settle);
            }
        }
    }

    /// A lock that is just closing is not closed any further: it would go on beside another one that is
    /// let go, with nobody watching.
    fn break_off(&mut self, table: &Table) {
        if let Phase::Closing { step } = self.phase
            && let Some(step) = table.step(step)
        {
            self.locks.order(step.lock, false);
            self.enter(Phase::Settle);
        }
    }

    /// A lock action begins: what was counted towards it starts anew.
    fn begin(&mut self, phase: Phase, lock: u8, close: bool) {
        self.locks.order(lock, close);
        self.stood = None;
        self.spent = 0;
        self.enter(phase);
    }

    /// A lock action came to its end. Failed attempts still count: a way may lead back to the step that failed, and on
    /// to it again, for ever.
    fn done(&mut self) {
        self.blocked = 0;
        self.enter(Phase::Rest);
    }

    fn stuck(&self) -> Result<Stuck, Refusal> {
        stuck_variant(self.locks.stuck_open, self.locks.stuck_closed)
    }

    #[inline(never)]
    fn enter(&mut self, phase: Phase) {
        self.phase = phase;
        self.ticks = 0;
        self.doubt = 0;
        self.pushes = false;
        if !matches!(phase, Phase::Prepare { .. }) {
            self.prefill = Bits::EMPTY;
        }
    }

    fn new_goal(&mut self) {
        self.route = None;
        self.refusal = None;
        self.given_up = false;
        self.found_stuck = Bits::EMPTY;
        self.claims = 0;
        self.tries = 0;
        self.blocked = 0;
        self.engine_wait = 0;
        self.spent = 0;
    }

    /// Locks that no step closes under this request: each of them once a switch has claimed too often (SW-D1) that
    /// this must not be; and on the way to a fallback those that would be found stuck there again.
    fn barred(&self) -> Bits {
        match (self.claims >= CLAIMS_MAX, self.given_up) {
            (true, _) => Bits::ALL,
            (false, true) => self.found_stuck,
            (false, false) => Bits::EMPTY,
        }
    }

    /// A lock turned out to be stuck: the table's ways for that are others, from the first one. One that moves
    /// in the end, and is found stuck once more, would do so for ever: see [`State::barred`].
    fn stuck_found(&mut self, lock: u8, refusal: Refusal) {
        self.given_up |= !self.found_stuck.is_empty();
        self.found_stuck = self.found_stuck.with(lock, true);
        self.refusal = Some(refusal);
        self.route = None;
        self.tries = 0;
        self.spent = 0;
        self.enter(Phase::Settle);
    }

    /// An attempt failed: wait, try again, then take the next way, then give up.
    fn failed(&mut self, table: &Table, refusal: Refusal) {
        self.tries = self.tries.saturating_add(1);
        self.refusal = Some(refusal);
        self.spent = 0;
        if self.tries >= table.timing.retries {
            self.tries = 0;
            if let (Some(route), Ok(stuck)) = (self.route, self.stuck()) {
                let way = next_way(table, route, stuck, self.held());
                self.route = Some(Route { way, ..route });
                self.given_up = self.given_up || usize::from(way) >= WAYS;
            }
        }
        self.enter(Phase::Settle);
        self.pushes = true;
    }
}

/// Whether `arrangement` stands when `set` is held.
fn stands<G: Guards>(table: &Table, guards: &mut G, arrangement: u8, set: Bits) -> bool {
    let data = table.arrangements.get(arrangement as usize);
    data.is_some_and(|data| is_met(data, guards, set))
}

/// Whether these locks and the engine are as the arrangement wants them.
fn is_met<G: Guards>(data: &Arrangement, guards: &mut G, set: Bits) -> bool {
    data.closed == set && (data.engine != EngineUse::On || guards.engine_running())
}

/// Whether a standing arrangement is inside its road-speed window, or is the fallback itself.
fn fits<G: Guards>(table: &Table, guards: &mut G, set: Bits) -> bool {
    let fallback = table.set(set).fallback;
    (0..MAX_ARRANGEMENTS as u8).zip(table.arrangements).any(|(a, data)| {
        is_met(data, guards, set) && (a == fallback || guards.arrangement_may_stay(a))
    })
}

/// The first arrangement that stands.
#[inline(never)]
fn first_standing<G: Guards>(table: &Table, guards: &mut G, set: Bits) -> Option<u8> {
    let mut all = (0..MAX_ARRANGEMENTS as u8).zip(table.arrangements);
    all.find(|(_, data)| is_met(data, guards, set)).map(|(a, _)| a)
}

fn any_stands<G: Guards>(table: &Table, guards: &mut G, set: Bits) -> bool {
    first_standing(table, guards, set).is_some()
}

/// One tick.
#[inline(never)]
#[must_use = "a decision does nothing until the interlock has passed it"]
pub fn decide<G: Guards>(table: &Table, state: &mut State, guards: &mut G) -> Decision {
    take_in(table, state, guards);
    let set = state.held();
    // A lock that may press by now counts: it may never be shown closed.
    let pressed = set.or(state.locks.may_press(table));
    let overlapping = count_overlap(table, state, pressed);
    let joined = overlapping && table.set(pressed).engine_joined;
    // A lock that would not open ends it no more: another one does.
    let lasts = overlapping && !set.and(state.locks.stuck_closed).is_empty();
    let claimed = state.locks.claimed(table);
    let barred = rest::barred_by(table, claimed, pressed);
    let plan = match state.phase {
        Phase::Rest | Phase::Prepare { .. } | Phase::Closing { .. } | Phase::Settle
            if barred.is_some() =>
        {
            rest::end_claim(table, state, claimed, barred.unwrap_or_default())
        }
        // No step joins the engine to an overlap: a fault did, and it is not waited for.
        Phase::Rest | Phase::Settle | Phase::Prepare { .. } | Phase::Closing { .. }
            if joined || lasts =>
        {
            rest::end_overlap(table, state, pressed)
        }
        Phase::Wake | Phase::Rest | Phase::Settle | Phase::Prepare { .. }
            if state.overlap > overlap_end(table) =>
        {
            rest::end_overlap(table, state, pressed)
        }
        // Nor does an engine wait until its lock is shown closed, as after a reset.
        Phase::Wake
        | Phase::Rest
        | Phase::Settle
        | Phase::Prepare { .. }
        | Phase::Closing { .. }
        | Phase::Opening { .. }
            if table.set(pressed).engine_joined && guards.engine_endangered() =>
        {
            rest::release_engine(table, state, pressed)
        }
        Phase::Wake | Phase::Settle => moves::settle(table, state, guards),
        Phase::Rest => rest::rest(table, state, guards),
        Phase::Prepare { step, ready } => moves::prepare(table, state, guards, step, ready),
        Phase::Closing { step } => moves::closing(table, state, guards, step),
        Phase::Opening { step } => moves::opening(table, state, step),
    };
    engine(table, state, guards);
    Decision {
        close: state.locks.ordered,
        prefill: state.prefill.without(state.locks.ordered),
        plan,
        engine_run: state.engine_run,
    }
}

/// What this tick tells of the locks and of the request; and that it has come.
fn take_in<G: Guards>(table: &Table, state: &mut State, guards: &mut G) {
    let lost = state.locks.update(table, guards);
    let asked = guards.request();
    if state.request.update(table, asked) {
        state.new_goal();
        if matches!(state.phase, Phase::Prepare { .. }) {
            state.enter(Phase::Rest);
        }
    }
    state.ticks = state.ticks.saturating_add(1);
    state.stay = state.stay.saturating_add(1);
    if !lost.is_empty() {
        // What was closing relied on them.
        state.break_off(table);
        state.stood = None;
        state.enter(Phase::Settle);
    }
}

/// Whether locks overlap that may press, counted. An overlap that was found after a reset counts while
/// its locks are ordered.
fn count_overlap(table: &Table, state: &mut State, pressed: Bits) -> bool {
    let ordered = if state.overlap > 0 { state.locks.ordered } else { Bits::EMPTY };
    let found = state.held().or(ordered);
    let overlapping = is_overlap(table, pressed) || is_overlap(table, found);
    state.overlap = if overlapping { state.overlap.saturating_add(1) } else { 0 };
    overlapping
}

/// Whether these locks hold a machine and are no arrangement.
fn is_overlap(table: &Table, locks: Bits) -> bool {
    !table.set(locks).held_machines.is_empty()
        && !table.arrangements.iter().any(|a| a.closed == locks)
}

/// An overlap that has lasted too long gets no torque, and when that has had time to work, one of
/// its locks is let go, loaded or not: after this many ticks.
pub const fn overlap_end(table: &Table) -> u16 {
    table.timing.overlap_max.saturating_add(table.timing.dwell)
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
