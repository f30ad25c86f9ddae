//! Stories of `decide`: ticks in a row, told by guards that answer as they are told.

use super::{Decision, Plan, State, decide};
use crate::bits::Bits;
use crate::fixture::{APART, Owned, READY, Told, UNKNOWN, ticks};
use crate::io::LockReport::{Closed, Missing, Open};
use crate::status::{Phase, Refusal};
use crate::table::{EngineUse, Table, Why};

mod stuck;

const A: Bits = Bits::one(0);

/// A driveline that does what it is ordered, after its delays; faults are set on `told`.
struct World<'a> {
    table: Table<'a>,
    state: State,
    told: Told,
    age: [u16; 2],
    ordered: Bits,
    last: Decision,
    /// Lock actions so far.
    actions: u32,
    /// Locks that do not move any more.
    frozen: Bits,
    /// Locks that let go when they count as stuck already.
    late: Bits,
}

impl<'a> World<'a> {
    fn new(table: Table<'a>, request: Option<u8>) -> World<'a> {
        let told = Told { request, ..Told::default() };
        World {
            table,
            state: State::default(),
            told,
            age: [100; 2],
            ordered: Bits::EMPTY,
            last: Decision::default(),
            actions: 0,
            frozen: Bits::EMPTY,
            late: Bits::EMPTY,
        }
    }

    fn tick(&mut self) -> Decision {
        self.last = decide(&self.table, &mut self.state, &mut self.told);
        for lock in 0..2u8 {
            let i = usize::from(lock);
            let close = self.last.close.has(lock);
            if close != self.ordered.has(lock) {
                self.ordered = self.ordered.with(lock, close);
                self.age[i] = 0;
                self.actions += 1;
            }
            self.age[i] = self.age[i].saturating_add(1);
            let data = &self.table.locks[i];
            let due = match (close, self.late.has(lock)) {
                (true, _) => data.close_ticks,
                (false, false) => data.release_ticks,
                (false, true) => data.release_timeout + self.table.timing.debounce + 3,
            };
            if self.age[i] >= due && !self.frozen.has(lock) {
                self.told.report[i] = if close { Closed } else { Open };
            }
        }
        self.last
    }

    fn run(&mut self, ticks: u32) {
        for _ in 0..ticks {
            let _ = self.tick();
        }
    }

    fn until(&mut self, what: &str, done: impl Fn(&State) -> bool) -> u32 {
        for n in 0..2000 {
            if done(&self.state) {
                return n;
            }
            let _ = self.tick();
        }
        panic!("never: {what}; {:?}", self.state);
    }
}

fn arrived(world: &mut World, arrangement: u8) {
    world.until("arrives", |s| s.stood == Some(arrangement) && s.phase == Phase::Rest);
}

#[test]
fn from_all_open_to_each_arrangement_and_back() {
    let owned = Owned::new();
    let mut world = World::new(owned.table(), Some(0));
    arrived(&mut world, 0);
    assert_eq!((world.state.held(), world.actions), (A, 1));
    for target in [1, 0, 1] {
        world.told.request = Some(target);
        world.until("leaves", |s| s.stood != Some(1 - target));
        arrived(&mut world, target);
        assert_eq!(world.state.held(), Bits::one(target));
        assert_eq!(world.state.refusal, None);
    }
    assert_eq!(world.actions, 7, "two actions a transition, none wasted");
}

#[test]
fn the_shortest_stay_holds_in_an_arrangement_and_not_on_the_way() {
    let owned = Owned::new();
    let mut world = World::new(owned.table(), Some(0));
    arrived(&mut world, 0);
    world.told.request = Some(1);
    let waited = world.until("prepares", |s| matches!(s.phase, Phase::Prepare { .. }));
    assert!(waited >= u32::from(owned.timing.min_stay), "{waited}");
    world.until("opens", |s| matches!(s.phase, Phase::Opening { .. }));
    // A change of mind in mid-transition: no stay between the arrangements.
    world.told.request = Some(0);
    world.until("is open", |s| s.held().is_empty() && s.phase == Phase::Rest);
    let waited = world.until("turns back", |s| matches!(s.phase, Phase::Prepare { .. }));
    assert!(waited <= u32::from(owned.timing.request_dwell), "{waited}");
    arrived(&mut world, 0);
}

#[test]
fn a_lock_that_opens_by_itself_cuts_torque_and_is_not_pressed_at_slip() {
    let owned = Owned::new();
    let mut world = World::new(owned.table(), Some(0));
    arrived(&mut world, 0);
    world.told.slip[0] = APART;
    world.run(u32::from(owned.timing.debounce));
    assert_eq!((world.last.plan, world.last.close), (Plan::Cut, Bits::EMPTY));
    assert!(world.state.locks.lost.has(0));
    // It stays apart: nothing is pressed, and in the end the reason is told.
    world.run(400);
    assert_eq!(world.actions, 2);
    assert_eq!(world.state.refusal, Some(Refusal::SyncTimeout { lock: 0 }));
    // With the slip gone and a new request it closes once more; lost again, it is stuck open.
    world.told.slip[0] = READY;
    world.told.request = None;
    world.run(10);
    world.told.request = Some(0);
    arrived(&mut world, 0);
    world.told.slip[0] = APART;
    world.run(10);
    assert!(world.state.locks.stuck_open.has(0));
    world.told.slip[0] = READY;
    world.run(400);
    assert_eq!(world.actions, 5, "a lock that was lost twice is not tried again");
    assert_eq!(world.state.held(), Bits::one(1), "the other arrangement still drives");
}

#[test]
fn a_switch_stuck_open_is_opened_again_and_counted() {
    let owned = Owned::new();
    let mut world = World::new(owned.table(), Some(0));
    world.frozen = A;
    world.run(600);
    // Two attempts, each closed and opened: then it counts as stuck open, and the arrangement
    // that can do without it is taken.
    assert_eq!(world.actions, 5);
    assert!(world.state.locks.stuck_open.has(0));
    assert!(world.state.refusal.is_some());
    assert_eq!(world.last.close, Bits::one(1));
}

#[test]
fn a_dropout_while_closing_neither_shows_it_closed_nor_stuck() {
    let owned = Owned::new();
    let mut world = World::new(owned.table(), Some(0));
    for _ in 0..owned.timing.retries {
        world.until("closing", |s| matches!(s.phase, Phase::Closing { .. }));
        world.told.slip[0] = UNKNOWN;
        world.until("gives the attempt up", |s| s.phase == Phase::Settle);
        assert!(!world.state.locks.closed.has(0));
        world.told.slip[0] = READY;
    }
    assert!(world.state.locks.stuck_open.is_empty());
}

/// The goal was given up, and the fallback led to it all the same: then nothing is refused.
#[test]
fn a_goal_that_is_reached_after_all_is_reached() {
    let owned = Owned::new();
    let mut world = World::new(owned.table(), Some(0));
    world.told.calm = false;
    world.until("gives up", |s| s.given_up);
    assert_eq!(world.state.refusal, Some(Refusal::NotCalm));
    world.told.calm = true;
    arrived(&mut world, 0);
    world.run(3);
    assert_eq!((world.state.refusal, world.state.given_up), (None, false));
}

#[test]
fn a_flickering_guard_ends_in_a_stated_refusal() {
    let owned = Owned::new();
    for period in [2, 5, 7, 30] {
        let mut world = World::new(owned.table(), Some(0));
        for n in 0..ticks(4000) {
            world.told.calm = n % period != 0;
            world.told.slip[0].steady = n % 2 == 0;
            let _ = world.tick();
        }
        assert!(world.state.refusal.is_some(), "period {period}: {:?}", world.state);
        assert_eq!(world.actions, 0);
    }
}

/// The switch of a lock that the step does not move: its ticks of preparing alone are too few.
#[test]
fn a_step_that_a_switch_interrupts_again_and_again_ends_in_a_stated_refusal() {
    let owned = Owned::new();
    let mut table = owned.table();
    table.timing.sync_timeout = ticks(400) as u16;
    let mut world = World::new(table, Some(0));
    world.told.slip[0] = APART;
    world.frozen = Bits::one(1);
    let mut interrupted = 0;
    while world.state.refusal.is_none() {
        world.until("prepares", |s| matches!(s.phase, Phase::Prepare { .. }));
        world.told.report[1] = Closed;
        world.until("is interrupted", |s| !matches!(s.phase, Phase::Prepare { .. }));
        let _ = world.tick();
        world.told.report[1] = Open;
        interrupted += 1;
    }
    assert_eq!(world.state.refusal, Some(Refusal::SyncTimeout { lock: 0 }));
    let waited = (interrupted - 1) * u32::from(table.timing.retry_wait);
    assert!(waited <= u32::from(table.timing.sync_timeout), "{interrupted} times");
    assert_eq!(world.actions, 0);
}

#[test]
fn a_closing_is_let_go_when_another_lock_is_lost() {
    let mut owned = Owned::new();
    owned.conflicts.clear();
    owned.arrangements[1].closed = Bits(3);
    owned.steps[1].from = A;
    for entry in owned.next.iter_mut() {
        *entry = if *entry == 0 { 1 } else { *entry };
    }
    let mut world = World::new(owned.table(), Some(0));
    arrived(&mut world, 0);
    world.told.request = Some(1);
    world.until("closing", |s| s.phase == Phase::Closing { step: 1 });
    world.frozen = Bits(3);
    world.told.slip[0] = APART;
    world.told.slip[1] = APART;
    world.run(u32::from(owned.locks[1].close_timeout) + 10);
    assert_eq!(world.last.close, Bits::EMPTY, "nobody watched it, so it is let go");
}

#[test]
fn a_stalled_engine_is_released_at_once_and_a_starting_one_waited_for() {
    let mut owned = Owned::new();
    owned.arrangements[1].engine = EngineUse::On;
    owned.sets[2].fallback = 0;
    let mut world = World::new(owned.table(), Some(1));
    world.told.engine_running = false;
    world.run(40);
    assert_eq!(world.state.refusal, None, "a starting engine gets its time");
    world.told.engine_running = true;
    arrived(&mut world, 1);
    world.told.engine_running = false;
    let ticks = world.until("lets go", |s| !s.locks.ordered.has(1));
    let reaction = owned.timing.debounce + owned.timing.dwell + 3;
    assert!(ticks <= u32::from(reaction), "{ticks} > {reaction}");
    assert_eq!(world.state.refusal, Some(Refusal::EngineNotRunning));
    world.until("falls back", |s| s.held() == A && s.phase == Phase::Rest);
    assert!(!world.last.engine_run, "not joined any more, and not wanted");
}

#[test]
fn an_engine_that_never_starts_is_given_up() {
    let mut owned = Owned::new();
    owned.arrangements[1].engine = EngineUse::On;
    let mut world = World::new(owned.table(), Some(1));
    world.told.engine_running = false;
    world.until("closed", |s| s.locks.closed.has(1));
    world.run(u32::from(owned.timing.engine_timeout) + 10);
    assert_eq!(world.state.refusal, Some(Refusal::EngineNotRunning));
}

#[test]
fn two_stuck_locks_end_in_a_refusal() {
    let owned = Owned::new();
    let mut world = World::new(owned.table(), Some(1));
    arrived(&mut world, 1);
    world.state.locks.stuck_open = A;
    world.frozen = Bits(3);
    world.told.request = Some(0);
    world.run(500);
    assert!(world.state.refusal.is_some());
    let before = world.actions;
    world.run(2000);
    assert_eq!(world.actions, before, "no livelock");
}

#[test]
fn a_conflict_that_nobody_can_end_is_told() {
    let owned = Owned::new();
    let mut world = World::new(owned.table(), Some(0));
    world.frozen = Bits(3);
    world.told.report = [Closed; 8];
    world.run(100);
    assert_eq!(world.state.refusal, Some(Refusal::NoWay(Why::Conflict)));
    assert_eq!((world.last.close, world.last.plan), (Bits::EMPTY, Plan::Cut));
}

#[test]
fn a_missing_switch_at_standstill_counts_as_stuck_until_it_speaks() {
    let owned = Owned::new();
    let mut world = World::new(owned.table(), Some(0));
    world.frozen = Bits::one(1);
    world.told.report[1] = Missing;
    world.run(200);
    assert_eq!(world.last.close, Bits::EMPTY, "lock 0 conflicts with a lock that may be closed");
    world.told.report[1] = Open;
    world.told.request = None;
    world.run(10);
    world.told.request = Some(0);
    arrived(&mut world, 0);
}

/// An inconsistent table: the step under way does not exist. Nothing pushes, and every lock has
/// to be shown again.
#[test]
fn a_step_that_does_not_exist_is_broken_off() {
    let owned = Owned::new();
    let phases = [
        (Phase::Prepare { step: 99, ready: 2 }, Phase::Rest),
        (Phase::Closing { step: 99 }, Phase::Settle),
        (Phase::Opening { step: 99 }, Phase::Settle),
    ];
    for (phase, next) in phases {
        let mut world = World::new(owned.table(), Some(0));
        arrived(&mut world, 0);
        world.state.enter(phase);
        let _ = world.tick();
        assert_eq!((world.state.phase, world.last.plan), (next, Plan::Cut));
        assert_eq!(world.state.locks.ordered, A, "no lock moves");
        arrived(&mut world, 0);
    }
    assert!(!super::stands(&owned.table(), &mut Told::default(), 2, A), "no such arrangement");
}

/// The road speed leaves the arrangement's window: after the wait it is left for the fallback,
/// which is not left in its turn.
#[test]
fn outside_its_window_an_arrangement_is_left_for_the_fallback() {
    let mut owned = Owned::new();
    owned.sets[2].fallback = 0;
    let mut world = World::new(owned.table(), Some(1));
    arrived(&mut world, 1);
    world.run(50);
    world.told.arrangement_in_window = false;
    let waited = world.until("gives up", |s| s.given_up);
    assert_eq!(waited, u32::from(owned.timing.retry_wait));
    let refusal = Some(Refusal::ArrangementSpeed { arrangement: 1 });
    assert_eq!(world.state.refusal, refusal);
    arrived(&mut world, 0);
    let actions = world.actions;
    world.run(300);
    assert_eq!((world.state.stood, world.state.refusal), (Some(0), refusal));
    assert_eq!(world.actions, actions);
    // Back inside, the request has to be made anew.
    world.told.arrangement_in_window = true;
    world.run(300);
    assert_eq!(world.state.stood, Some(0));
    world.told.request = None;
    world.run(10);
    world.told.request = Some(1);
    arrived(&mut world, 1);
    assert_eq!(world.state.refusal, None);
}

/// A goal that was given up and is then reached as the fallback, outside its own window, is not
/// taken for fulfilled.
#[test]
fn a_fallback_outside_the_window_is_no_fulfilment() {
    let owned = Owned::new();
    let mut world = World::new(owned.table(), Some(0));
    world.told.calm = false;
    world.until("gives up", |s| s.given_up);
    (world.told.calm, world.told.arrangement_in_window) = (true, false);
    arrived(&mut world, 0);
    world.run(100);
    assert_eq!((world.state.held(), world.state.stood), (A, Some(0)));
    assert_eq!((world.state.refusal, world.state.given_up), (Some(Refusal::NotCalm), true));
}

/// After a goal has been given up, an arrangement that does not fit the road speed is no place
/// to stay in, not even for the shortest stay.
#[test]
fn on_the_way_to_a_fallback_there_is_no_shortest_stay() {
    let mut owned = Owned::new();
    owned.sets[2].fallback = 0;
    owned.timing.min_stay = 1000;
    let mut world = World::new(owned.table(), Some(1));
    arrived(&mut world, 1);
    world.told.arrangement_in_window = false;
    world.until("gives up", |s| s.given_up);
    assert!(world.state.stay < 1000);
    let waited = world.until("prepares", |s| matches!(s.phase, Phase::Prepare { .. }));
    assert_eq!(waited, 1);
}

/// After a reset the work begins as soon as every lock is known, and not before.
#[test]
fn waking_takes_as_long_as_the_locks() {
    let mut owned = Owned::new();
    owned.timing.retry_wait = 1000;
    let mut world = World::new(owned.table(), None);
    world.told.report[1] = Missing;
    world.frozen = Bits::one(1);
    for _ in 0..owned.locks[1].release_timeout {
        let _ = world.tick();
        assert_eq!((world.state.phase, world.last.plan), (Phase::Wake, Plan::Cut));
    }
    world.told.report[1] = Open;
    let waited = world.until("rests", |s| s.phase == Phase::Rest);
    assert_eq!(waited, u32::from(owned.timing.debounce));
}

/// After a failed attempt it waits, even when every lock is known all the time; meanwhile the
/// locks that hold push on, if they can and nothing was lost.
#[test]
fn a_failed_attempt_is_followed_by_a_wait() {
    let owned = Owned::new();
    let wait = u32::from(owned.timing.retry_wait);
    let mut world = World::new(owned.table(), Some(0));
    arrived(&mut world, 0);
    world.told.request = Some(1);
    world.told.unloaded = false;
    world.until("fails", |s| s.phase == Phase::Settle);
    for n in 1..=wait {
        assert_eq!(world.state.phase, Phase::Settle, "{n}");
        assert_eq!(world.tick().plan, Plan::Coast, "lock 0 still drives");
    }
    assert_eq!(world.state.phase, Phase::Rest);
    // The same in a lock set that drives nothing.
    let mut world = World::new(owned.table(), Some(0));
    world.told.slip[0].steady = false;
    world.until("fails", |s| s.phase == Phase::Settle);
    assert_eq!(world.tick().plan, Plan::Cut);
    // And after anything else than a failed attempt.
    let mut world = World::new(owned.table(), Some(0));
    arrived(&mut world, 0);
    world.state.enter(Phase::Settle);
    assert_eq!(world.tick().plan, Plan::Cut);
}

/// A closing that nobody watches is let go when the sides come apart, or when it is late.
#[test]
fn an_unwatched_closing_is_let_go() {
    let owned = Owned::new();
    let closing = || {
        let mut world = World::new(owned.table(), None);
        world.until("rests", |s| s.phase == Phase::Rest);
        world.frozen = A;
        world.state.locks.order(0, true);
        world.state.enter(Phase::Settle);
        world
    };
    let mut world = closing();
    world.told.slip[0] = APART;
    assert_eq!(world.tick().close, Bits::EMPTY);
    let mut world = closing();
    for _ in 0..owned.locks[0].close_timeout {
        assert_eq!(world.tick().close, A);
    }
    assert_eq!(world.tick().close, Bits::EMPTY);
}

/// The interlock let go of a lock that stood while a step for another was under way: no attempt
/// has failed, but every lock has to be known again, and a closing under way is broken off. Denied its
/// own lock, the attempt has.
#[test]
fn what_the_interlock_denies() {
    let owned = Owned::new();
    let table = owned.table();
    for (denied, refusal, tries) in
        [(Bits::one(1), None, 0), (A, Some(Refusal::Interlock { lock: 0 }), 1)]
    {
        for phase in [Phase::Prepare { step: 3, ready: 2 }, Phase::Closing { step: 3 }] {
            let mut state = State::default();
            state.locks.ordered = Bits(3);
            state.phase = phase;
            state.prefill = A;
            state.settle(&table, Bits(3), Bits(3));
            assert_eq!(state.phase, phase, "nothing was denied");
            state.settle(&table, Bits(3), Bits(3).without(denied));
            assert_eq!((state.phase, state.refusal), (Phase::Settle, refusal));
            assert_eq!((state.tries, state.prefill), (tries, Bits::EMPTY));
            let broken_off = matches!(phase, Phase::Closing { .. });
            let left = if broken_off { Bits::EMPTY } else { A };
            assert_eq!(state.locks.ordered, if denied == A { Bits::one(1) } else { left });
        }
    }
}

/// A change of mind while a lock is filled ends the filling in the same tick.
#[test]
fn a_new_goal_empties_the_lock() {
    let mut owned = Owned::new();
    owned.timing.dwell = 40;
    let mut world = World::new(owned.table(), Some(0));
    world.until("fills", |s| !s.prefill.is_empty());
    assert_eq!(world.last.prefill, A);
    world.told.request = None;
    for _ in 1..owned.timing.request_dwell {
        assert_eq!(world.tick().prefill, A);
    }
    assert_eq!(world.tick().prefill, Bits::EMPTY);
}

/// A closing that comes apart is neither pressed nor filled any more.
#[test]
fn a_failed_closing_leaves_the_lock_empty() {
    let owned = Owned::new();
    let mut world = World::new(owned.table(), Some(0));
    world.until("closes", |s| matches!(s.phase, Phase::Closing { .. }));
    world.told.slip[0] = APART;
    let failed = world.tick();
    assert_eq!(world.state.phase, Phase::Settle);
    assert_eq!((failed.close, failed.prefill), (Bits::EMPTY, Bits::EMPTY));
}

/// When a step has failed as often as it may be tried, the next way is taken.
#[test]
fn the_next_way_after_the_last_attempt() {
    let mut owned = Owned::new();
    // From all open to arrangement 0: way 0 closes lock 0, way 1 begins with lock 1.
    let per_way = owned.next.len() / 3;
    owned.next[per_way] = 1;
    let mut world = World::new(owned.table(), Some(0));
    world.told.slip[0].steady = false;
    for n in 1..=owned.timing.retries {
        world.until("prepares", |s| matches!(s.phase, Phase::Prepare { step: 3, .. }));
        assert_eq!(world.state.way(), Some(0));
        world.until("fails", |s| s.phase == Phase::Settle);
        assert_eq!(world.state.tries(), n % owned.timing.retries);
    }
    world.until("prepares", |s| matches!(s.phase, Phase::Prepare { .. }));
    assert!(matches!(world.state.phase, Phase::Prepare { step: 1, .. }), "{:?}", world.state.phase);
    assert_eq!((world.state.way(), world.state.given_up), (Some(1), false));
    assert_eq!(State::default().way(), None);
}

/// Nothing is asked: an arrangement inside its window stays, and so does the fallback outside.
#[test]
fn with_nothing_asked_it_stays_where_it_may() {
    let mut owned = Owned::new();
    owned.sets[2].fallback = 0;
    for (arrangement, inside) in [(1, true), (0, true), (0, false)] {
        let mut world = World::new(owned.table(), Some(arrangement));
        arrived(&mut world, arrangement);
        world.told.request = None;
        world.told.arrangement_in_window = inside;
        let actions = world.actions;
        world.run(300);
        assert_eq!((world.state.stood, world.actions), (Some(arrangement), actions));
        assert_eq!((world.state.goal(), world.state.refusal()), (None, None));
        assert_eq!(world.last.plan, Plan::Arrangement(arrangement));
    }
    // Outside its window an arrangement that nobody asks for is left.
    let mut world = World::new(owned.table(), Some(1));
    arrived(&mut world, 1);
    world.told.request = None;
    world.run(10);
    world.told.may_stay = false;
    world.until("leaves", |s| s.held() == A && s.phase == Phase::Rest);
    world.run(100);
    assert_eq!((world.state.held(), world.last.plan), (A, Plan::Arrangement(0)));
}

/// An overlap is counted in a lock set that holds a machine and is no arrangement.
#[test]
fn only_an_overlap_on_the_way_is_counted() {
    for (held, machines, named, counted) in [
        (Bits(3), Bits(1), Bits(2), true),
        (Bits(3), Bits::EMPTY, Bits(2), false),
        (Bits(3), Bits(1), Bits(3), false),
        (Bits(1), Bits(1), Bits(2), false),
    ] {
        let mut owned = Owned::new();
        owned.conflicts.clear();
        owned.arrangements[1].closed = named;
        owned.sets[usize::from(held.0)].held_machines = machines;
        let mut world = World::new(owned.table(), None);
        (world.ordered, world.frozen) = (held, Bits(3));
        let locks = &mut world.state.locks;
        (locks.ordered, locks.closed, locks.open) = (held, held, Bits(3).without(held));
        world.told.report =
            [Closed, if held.has(1) { Closed } else { Open }].repeat(4).try_into().unwrap();
        world.state.enter(Phase::Settle);
        for n in 1..=4u16 {
            let _ = world.tick();
            assert_eq!(world.state.locks.shown_open(), Bits(3).without(held));
            assert_eq!(
                world.state.overlap_ticks(),
                if counted { n } else { 0 },
                "{held:?} {machines:?}"
            );
        }
    }
}

/// The engine is started for where it is needed, stopped where it is not wanted and no longer
/// joined, and otherwise left as it is.
#[test]
fn the_engine_runs_where_it_is_wanted() {
    for (engine, joined, before, after) in [
        (EngineUse::On, false, false, true),
        (EngineUse::On, true, true, true),
        (EngineUse::Off, false, true, false),
        (EngineUse::Off, true, true, true),
        (EngineUse::Off, true, false, false),
        (EngineUse::Either, false, true, true),
        (EngineUse::Either, false, false, false),
    ] {
        let mut owned = Owned::new();
        owned.arrangements[0].engine = engine;
        owned.sets.iter_mut().for_each(|set| set.engine_joined = joined);
        let mut world = World::new(owned.table(), Some(0));
        world.state.engine_run = before;
        arrived(&mut world, 0);
        assert_eq!(world.last.engine_run, after, "{engine:?} {joined}");
        // The same where nothing is asked any more.
        world.told.request = None;
        world.state.engine_run = before;
        world.run(20);
        assert_eq!(world.last.engine_run, after, "{engine:?} {joined}");
    }
    // No target, nothing stands: it goes on as it is.
    let owned = Owned::new();
    let mut world = World::new(owned.table(), None);
    world.state.engine_run = true;
    assert!(world.tick().engine_run);
}
