//! Where to go from here: which way, which fallback, and what the machines do meanwhile.

use super::{end_overlap, fallback, frees_engine, next_route, release_engine, rest, stay_plan};
use crate::bits::Bits;
use crate::choose::Route;
use crate::decide::{Decision, Plan, State, decide, overlap_end};
use crate::fixture::{Owned, Told};
use crate::io::LockReport;
use crate::status::{Phase, Refusal};
use crate::table::{Action, EngineUse, NO_STEP, Overlap, WAYS, Why};

mod again;
mod claims;

const A: Bits = Bits::one(0);
const B: Bits = Bits::one(1);
const NONE: Bits = Bits::EMPTY;

/// At rest with this lock set shown, and this goal accepted.
fn at(owned: &Owned, held: Bits, goal: Option<u8>) -> State {
    let mut state = State { phase: Phase::Rest, ..State::default() };
    state.locks.ordered = held;
    state.locks.closed = held;
    state.locks.open = Bits(3).without(held);
    state.stay = owned.timing.min_stay;
    for _ in 0..owned.timing.request_dwell {
        state.request.update(&owned.table(), goal);
    }
    state
}

fn route(target: u8, way: u8) -> Option<Route> {
    Some(Route { target, way })
}

/// The way that a step is on is kept: a transition never goes back to an earlier one.
#[test]
fn the_way_is_remembered() {
    let mut owned = Owned::new();
    let per_way = owned.next.len() / 3;
    owned.next[0] = NO_STEP | Why::NothingSynchronises as u16;
    owned.next[per_way] = 3;
    let table = owned.table();
    let mut state = at(&owned, NONE, Some(0));
    assert_eq!(rest(&table, &mut state, &mut Told::default()), Plan::Step(3));
    assert_eq!((state.route, state.phase), (route(0, 1), Phase::Prepare { step: 3, ready: 0 }));
    // And it is that of the goal, not of an earlier goal.
    let mut told = Told::default();
    assert_eq!(next_route(&table, &state, &mut told, NONE), route(0, 1));
    let mut other = at(&owned, NONE, Some(1));
    other.route = state.route;
    assert_eq!(next_route(&table, &other, &mut told, NONE), route(1, 0));
}

/// Nothing asked: what stands inside its window, or is the fallback itself, is no place to leave;
/// anything else is left for the fallback.
#[test]
fn where_to_go_when_nothing_is_asked() {
    let mut owned = Owned::new();
    owned.sets[2].fallback = 0;
    let table = owned.table();
    let next = |held: Bits, inside: bool, on_its_way: Option<Route>| {
        let mut state = at(&owned, held, None);
        state.route = on_its_way;
        let mut told = Told { arrangement_in_window: inside, ..Told::default() };
        next_route(&table, &state, &mut told, held)
    };
    assert_eq!(next(B, true, None), None);
    assert_eq!(next(A, false, None), None, "the fallback itself");
    assert_eq!(next(B, false, None), route(0, 0));
    assert_eq!(next(NONE, true, None), route(0, 0));
    assert_eq!(next(NONE, true, route(1, 2)), route(1, 2), "on its way it goes on");
    assert_eq!(next(B, true, route(1, 2)), route(1, 0), "arrived: to be told");
}

/// The table's choice when a way leads there; otherwise the first that can be reached, one that
/// needs no engine before the others.
#[test]
fn fallbacks_in_order() {
    let mut owned = Owned::new();
    let of = |owned: &Owned, held: Bits, stuck_open: Bits, stuck_closed: Bits| {
        let mut state = at(owned, held, None);
        (state.locks.stuck_open, state.locks.stuck_closed) = (stuck_open, stuck_closed);
        fallback(&owned.table(), &state, held).map(|r| (r.target, r.way))
    };
    assert_eq!(of(&owned, NONE, NONE, NONE), Some((0, 0)));
    assert_eq!(of(&owned, NONE, A, NONE), Some((1, 0)), "lock 0 does not close");
    owned.sets[2].fallback = 0;
    assert_eq!(of(&owned, B, NONE, NONE), Some((0, 0)));
    assert_eq!(of(&owned, B, NONE, B), Some((1, 0)), "lock 1 does not open: it stays");
    assert_eq!(of(&owned, NONE, Bits(3), NONE), None, "two stuck locks have no ways");
    // A lock that was found stuck again and again is closed for none, on no way.
    let of_found = |owned: &Owned, found_stuck: Bits| {
        let state = State { given_up: true, found_stuck, ..at(owned, NONE, None) };
        fallback(&owned.table(), &state, NONE).map(|r| (r.target, r.way))
    };
    let per_way = owned.next.len() / WAYS;
    assert_eq!(of_found(&owned, A), Some((1, 0)));
    assert_eq!(of_found(&owned, Bits(3)), None);
    owned.next[2 * per_way] = 1;
    assert_eq!(of_found(&owned, A), Some((0, 0)), "its last way begins with the other lock");
    owned.next[2 * per_way] = NO_STEP | Why::NoOtherWay as u16;
    owned.sets[0].fallback = 255;
    assert_eq!(of(&owned, NONE, NONE, NONE), Some((0, 0)));
    owned.arrangements[0].engine = EngineUse::On;
    assert_eq!(of(&owned, NONE, NONE, NONE), Some((1, 0)));
    owned.arrangements[1].engine = EngineUse::On;
    assert_eq!(of(&owned, NONE, NONE, NONE), Some((0, 0)));
    owned.next.fill(NO_STEP | Why::Conflict as u16);
    assert_eq!(of(&owned, NONE, NONE, NONE), None);
}

/// What stands is run; a lock set that drives pushes on, but not against an overlap that has
/// lasted too long.
#[test]
fn what_the_machines_do_meanwhile() {
    let owned = Owned::new();
    let table = owned.table();
    let most = owned.timing.overlap_max;
    let plan = |held: Bits, engine_set_drives: bool, overlap: u16, phase: Phase| {
        let mut state = at(&owned, held, None);
        (state.overlap, state.phase) = (overlap, phase);
        state.locks.ordered = A;
        let set = if engine_set_drives { A } else { NONE };
        stay_plan(&table, &state, &mut Told::default(), set)
    };
    assert_eq!(plan(B, true, 0, Phase::Rest), Plan::Arrangement(1));
    assert_eq!(plan(B, false, most + 1, Phase::Rest), Plan::Arrangement(1));
    assert_eq!(plan(B, true, 0, Phase::Settle), Plan::Coast, "stands only at rest");
    assert_eq!(plan(NONE, true, most, Phase::Rest), Plan::Coast);
    assert_eq!(plan(NONE, true, most + 1, Phase::Rest), Plan::Cut);
    assert_eq!(plan(NONE, false, 0, Phase::Rest), Plan::Cut);
    assert_eq!(plan(NONE, false, most + 1, Phase::Rest), Plan::Cut);
    // Through a lock that is only stuck torque goes on, unless it has a part in an overlap.
    for (overlap, want) in [(0, Plan::Coast), (1, Plan::Cut), (most, Plan::Cut)] {
        let mut state = at(&owned, NONE, None);
        (state.overlap, state.locks.ordered) = (overlap, B);
        assert_eq!(stay_plan(&table, &state, &mut Told::default(), A), want, "{overlap}");
        state.locks.ordered = A;
        assert_eq!(stay_plan(&table, &state, &mut Told::default(), A), Plan::Coast, "{overlap}");
    }
}

/// The engine gets its time and not a tick more; one that stalls where it stood gets the debounce.
#[test]
fn the_engine_is_waited_for_as_long_as_it_may_take() {
    let mut owned = Owned::new();
    owned.arrangements[1].engine = EngineUse::On;
    owned.sets[2].drives = true;
    let table = owned.table();
    let mut told = Told { engine_running: false, ..Told::default() };
    for (stood, limit) in [
        (None, owned.timing.engine_timeout),
        (Some(0), owned.timing.engine_timeout),
        (Some(1), owned.timing.debounce),
    ] {
        let mut state = at(&owned, B, Some(1));
        state.stood = stood;
        for n in 1..=limit {
            assert_eq!(rest(&table, &mut state, &mut told), Plan::Arrangement(1), "{stood:?} {n}");
            assert_eq!((state.engine_wait, state.given_up), (n, false));
        }
        assert_eq!(rest(&table, &mut state, &mut told), Plan::Coast);
        assert_eq!((state.refusal, state.given_up), (Some(Refusal::EngineNotRunning), true));
    }
}

/// A reason is stated once it has stood for the wait; the goal is then given up where no
/// arrangement stands, and kept where one does.
#[test]
fn a_reason_is_told_after_the_wait() {
    let owned = Owned::new();
    let table = owned.table();
    for (held, goal, given_up) in [(NONE, 0, true), (A, 1, false)] {
        let mut state = at(&owned, held, Some(goal));
        let mut told = Told { demand_within: false, ..Told::default() };
        for n in 1..owned.timing.retry_wait {
            rest(&table, &mut state, &mut told);
            assert_eq!((state.refusal, state.blocked), (None, n));
        }
        rest(&table, &mut state, &mut told);
        assert!(matches!(state.refusal, Some(Refusal::Torque { .. })), "{:?}", state.refusal);
        assert_eq!(state.given_up, given_up);
        // Given up, a second reason on the way to the fallback does not replace the first.
        let first = state.refusal;
        told = Told { plausible: false, ..Told::default() };
        for _ in 0..2 * owned.timing.retry_wait {
            rest(&table, &mut state, &mut told);
        }
        assert_eq!(state.refusal == first, given_up);
    }
}

/// Both locks together hold machine 0, and no arrangement has them both.
fn with_overlap() -> Owned {
    let mut owned = Owned::new();
    owned.conflicts.clear();
    owned.overlaps.push(Overlap { locks: Bits(3), machines: Bits(1) });
    owned.sets[3].held_machines = Bits(1);
    owned
}

/// The lock that leads to the fallback goes first, if it is ours; otherwise another of the overlap;
/// where none is ours, nothing can be done but to say so.
#[test]
fn an_overlap_is_ended_by_the_lock_that_leads_back() {
    let mut owned = with_overlap();
    // From both locks, lock 1 is opened towards arrangement 0, and lock 0 towards arrangement 1.
    owned.steps.push(crate::fixture::step(Bits(3), 1, Action::Open));
    owned.steps.push(crate::fixture::step(Bits(3), 0, Action::Open));
    // A closing that begins there, and an opening that begins elsewhere.
    owned.steps.push(crate::fixture::step(Bits(3), 1, Action::Close));
    let both = 3 * owned.arrangements.len();
    let too_long = Some(Refusal::OverlapTooLong);
    for (fallback, step, ordered, want) in [
        (0, 4, Bits(3), A),
        (1, 5, Bits(3), B),
        (0, 4, A, NONE),
        (0, 4, B, NONE),
        (1, 5, B, NONE),
        (0, 4, NONE, NONE),
        (255, NO_STEP | Why::Conflict as u16, Bits(3), B),
        (0, 6, Bits(3), B),
        (0, 2, Bits(3), B),
        (0, 99, Bits(3), B),
    ] {
        owned.sets[3].fallback = fallback;
        owned.next[both..both + 2].fill(step);
        let table = owned.table();
        let mut state = at(&owned, Bits(3), Some(0));
        state.locks.ordered = ordered;
        (state.stood, state.route) = (Some(0), route(0, 0));
        assert_eq!(end_overlap(&table, &mut state, Bits(3)), Plan::Cut);
        assert_eq!(state.locks.ordered, want, "{fallback} {step} {ordered:?}");
        assert_eq!((state.refusal, state.given_up, state.route), (too_long, true, None));
        let acted = ordered != want;
        assert_eq!(state.phase, if acted { Phase::Settle } else { Phase::Rest });
        assert_eq!(state.stood.is_none(), acted);
    }
}

/// With a lock stuck closed, the ways around it count; with two of them there is none. What was
/// given up before keeps its reason.
#[test]
fn an_overlap_with_a_stuck_lock_is_ended_by_the_other() {
    let mut owned = with_overlap();
    owned.steps.push(crate::fixture::step(Bits(3), 1, Action::Open));
    owned.sets[3].fallback = 0;
    owned.next[3 * 2] = 4;
    let table = owned.table();
    for (stuck, ordered, want) in [(A, B, NONE), (B, A, NONE), (Bits(3), Bits(3), B)] {
        let mut state = at(&owned, Bits(3), Some(0));
        (state.locks.stuck_closed, state.locks.ordered) = (stuck, ordered);
        state.locks.closed = ordered;
        (state.given_up, state.refusal) = (true, Some(Refusal::NotCalm));
        assert_eq!(end_overlap(&table, &mut state, Bits(3)), Plan::Cut);
        assert_eq!(state.locks.ordered, want, "{stuck:?}");
        assert_eq!(state.refusal, Some(Refusal::NotCalm));
    }
}

/// A lock that presses and is never shown closed is let go as well; one that has no part in the
/// overlap is not.
#[test]
fn what_presses_unshown_ends_with_the_overlap() {
    let owned = with_overlap();
    let table = owned.table();
    let mut state = at(&owned, A, Some(0));
    (state.locks.stuck_closed, state.locks.closed, state.locks.open) = (A, NONE, NONE);
    state.locks.ordered = B;
    end_overlap(&table, &mut state, Bits(3));
    assert_eq!(state.locks.ordered, NONE);
    let mut owned = with_overlap();
    owned.overlaps[0].locks = B;
    let mut state = at(&owned, Bits(3), Some(0));
    end_overlap(&owned.table(), &mut state, Bits(3));
    assert_eq!(state.locks.ordered, A, "lock 0 has no part in it");
    // No minimal set is known: any lock that is ours.
    owned.overlaps.clear();
    let mut state = at(&owned, Bits(3), Some(0));
    end_overlap(&owned.table(), &mut state, Bits(3));
    assert_eq!(state.locks.ordered, B);
}

/// Of those that hold, the lock that joins the engine is let go; when none is ours, the torque is
/// cut and that is all.
#[test]
fn a_dragged_engine_is_released() {
    let mut owned = Owned::new();
    for (joined, ordered, want) in [
        ([false, false, true, true], Bits(3), A),
        ([false, true, false, true], Bits(3), B),
        // Either of them frees it: the first.
        ([false, false, false, true], Bits(3), B),
        // Only both together would.
        ([false, true, true, true], Bits(3), Bits(3)),
        ([false, false, true, true], A, A),
        ([false, false, true, true], NONE, NONE),
    ] {
        owned.sets.iter_mut().zip(joined).for_each(|(set, joined)| set.engine_joined = joined);
        let table = owned.table();
        let mut state = at(&owned, Bits(3), Some(0));
        state.locks.ordered = ordered;
        (state.stood, state.route) = (Some(0), route(0, 0));
        assert_eq!(release_engine(&table, &mut state, Bits(3)), Plan::Off);
        assert_eq!(state.locks.ordered, want, "{joined:?} {ordered:?}");
        let acted = ordered != want;
        let (phase, stood) = if acted { (Phase::Settle, None) } else { (Phase::Rest, Some(0)) };
        assert_eq!((state.phase, state.stood, state.given_up), (phase, stood, acted));
        assert_eq!(state.refusal, acted.then_some(Refusal::EngineNotRunning));
    }
}

fn ticks(owned: &Owned, state: &mut State, told: &mut Told, most: u16) -> (u16, Decision) {
    let ordered = state.locks.ordered;
    for n in 1..=most {
        let decision = decide(&owned.table(), state, told);
        if state.locks.ordered != ordered {
            return (n, decision);
        }
    }
    (most + 1, Decision::default())
}

/// Counted from when both locks press, in every phase that does not move a lock by itself: the
/// first tick past the end lets one go, and not one before.
#[test]
fn an_overlap_ends_in_its_tick() {
    let mut owned = with_overlap();
    owned.timing.sync_timeout = 1000;
    // Longer than this looks.
    owned.timing.request_dwell = 60;
    owned.timing.overlap_max = 5;
    let end = overlap_end(&owned.table());
    assert_eq!(end, 5 + owned.timing.dwell);
    for phase in [Phase::Wake, Phase::Rest, Phase::Settle, Phase::Prepare { step: 1, ready: 0 }] {
        let mut state = at(&owned, Bits(3), None);
        state.phase = phase;
        let mut told = Told { report: [LockReport::Closed; 8], ..Told::default() };
        let (n, decision) = ticks(&owned, &mut state, &mut told, 50);
        assert_eq!((n, decision.plan), (end + 1, Plan::Cut), "{phase:?}");
        assert_eq!(state.refusal, Some(Refusal::OverlapTooLong));
    }
}

/// A dragged engine is released in every phase, also while another lock opens, and only when it is joined.
#[test]
fn sw_d3_a_dragged_engine_is_released_at_once() {
    let mut owned = Owned::new();
    owned.sets[1].engine_joined = true;
    let phases = [
        (Phase::Rest, true),
        (Phase::Settle, true),
        (Phase::Prepare { step: 0, ready: 0 }, true),
        (Phase::Closing { step: 1 }, true),
        (Phase::Wake, true),
        (Phase::Opening { step: 1 }, true),
    ];
    for (phase, acts) in phases {
        for (joined, dragged) in [(true, true), (true, false), (false, true)] {
            owned.sets[1].engine_joined = joined;
            let mut state = at(&owned, A, Some(0));
            state.phase = phase;
            let mut told = Told { engine_endangered: dragged, ..Told::default() };
            told.report[0] = LockReport::Closed;
            let first = decide(&owned.table(), &mut state, &mut told).plan;
            let released = acts && joined && dragged;
            assert_eq!(first == Plan::Off, released, "{phase:?} {joined} {dragged}");
            assert_eq!(!state.locks.ordered.has(0), released, "{phase:?} {joined} {dragged}");
            assert_eq!(state.refusal == Some(Refusal::EngineNotRunning), released);
            // Nor does a torque come back by a ramp while the lock lets go.
            told.engine_endangered = false;
            let then = decide(&owned.table(), &mut state, &mut told).plan;
            assert_eq!(then == Plan::Off, released, "{phase:?} {joined} {dragged}");
        }
    }
}

/// The engine's own lock is stuck: another goes where it and the wheels push each other, whether or not they
/// still do without that one.
#[test]
fn sw_d3_where_the_engines_own_lock_is_stuck_the_wheels_lose_their_grip_on_it() {
    for (geared, geared_without, released) in
        [(true, false, true), (true, true, true), (false, false, false), (false, true, false)]
    {
        let mut owned = Owned::new();
        (owned.sets[2].engine_joined, owned.sets[3].engine_joined) = (true, true);
        (owned.sets[3].engine_geared, owned.sets[2].engine_geared) = (geared, geared_without);
        owned.conflicts.clear();
        let mut state = at(&owned, A, Some(0));
        (state.locks.stuck_closed, state.locks.open) = (B, NONE);
        let mut told = Told { engine_endangered: true, ..Told::default() };
        told.report[..2].fill(LockReport::Closed);
        let _ = decide(&owned.table(), &mut state, &mut told);
        assert_eq!(!state.locks.ordered.has(0), released, "{geared} {geared_without}");
        assert_eq!(state.refusal == Some(Refusal::EngineNotRunning), released);
    }
}

/// Of several locks the one goes first that parts engine and wheels by itself; where none does, plates before
/// a dog, one after the other.
#[test]
fn where_no_lock_parts_engine_and_wheels_by_itself_plates_go_first() {
    const STUCK: Bits = Bits::one(2);
    let ours = Bits(3);
    for (dogs, parts, goes) in [
        ([true, false], None, [Some(1), Some(0), None]),
        ([false, true], None, [Some(0), Some(1), None]),
        ([true, true], None, [Some(0), Some(1), None]),
        ([false, false], Some(1), [Some(1), None, None]),
        ([true, false], Some(0), [Some(0), None, None]),
    ] {
        let mut owned = Owned::new();
        owned.sets.resize(8, owned.sets[0]);
        for set in 4..8u8 {
            let left = Bits(set).without(STUCK);
            let apart = left.is_empty() || parts.is_some_and(|lock| !left.has(lock));
            let data = &mut owned.sets[usize::from(set)];
            (data.engine_joined, data.engine_geared) = (true, !apart);
        }
        for (lock, dog) in owned.locks.iter_mut().zip(dogs) {
            lock.dog = dog;
        }
        let table = owned.table();
        let mut state = at(&owned, ours, Some(0));
        for lock in goes {
            let set = state.locks.ordered.or(STUCK);
            assert_eq!(frees_engine(&table, &state, set), lock, "{dogs:?} {parts:?} {set:?}");
            state.locks.ordered = lock.map_or(NONE, |lock| state.locks.ordered.with(lock, false));
        }
    }
}

/// Plates that are ordered closed press before they are shown, after a reset as well; teeth only when
/// their way is over.
#[test]
fn a_dragged_engine_does_not_wait_until_its_lock_is_shown() {
    for (dog, since, released) in [(false, 0, true), (true, 0, false), (true, 5, true)] {
        let mut owned = Owned::new();
        owned.sets[1].engine_joined = true;
        owned.locks[0].dog = dog;
        let mut state = State::default();
        state.adopt(&owned.table(), A, true);
        assert_eq!(state.held(), NONE);
        state.locks.since[0] = since;
        let mut told = Told { engine_endangered: true, ..Told::default() };
        told.report[0] = LockReport::Closed;
        let _ = decide(&owned.table(), &mut state, &mut told);
        assert_eq!(!state.locks.ordered.has(0), released, "{dog} {since}");
    }
}

/// After the last attempt the next way is taken where there is a way to go on from, and the
/// request is given up with the last one; without a route, or with two stuck locks, there is none.
#[test]
fn the_last_attempt_ends_a_way_only_where_there_is_one() {
    let owned = Owned::new();
    let table = owned.table();
    let refusal = Refusal::NotClosed { lock: 0 };
    for (on_its_way, stuck_open, given_up) in [
        (route(0, 0), NONE, true),
        (route(0, 0), A, true),
        (route(0, 0), Bits(3), false),
        (None, NONE, false),
    ] {
        let mut state = at(&owned, NONE, Some(0));
        (state.route, state.locks.stuck_open) = (on_its_way, stuck_open);
        for tries in 1..=owned.timing.retries {
            assert!(!state.given_up, "not before the last attempt");
            state.failed(&table, refusal);
            assert_eq!(state.tries, if tries < owned.timing.retries { tries } else { 0 });
        }
        assert_eq!(state.given_up, given_up, "{on_its_way:?} {stuck_open:?}");
        assert_eq!(state.route.is_some(), on_its_way.is_some());
        assert!(state.route == on_its_way || given_up, "the way is kept");
        assert_eq!((state.refusal, state.phase), (Some(refusal), Phase::Settle));
    }
}

/// A lock that only would not open makes no arrival, and the reason is told: an earlier one first.
#[test]
fn what_is_only_stuck_is_no_arrival() {
    let owned = Owned::new();
    let table = owned.table();
    let not_opened = Some(Refusal::NotOpened { lock: 0 });
    for (before, told) in [(None, not_opened), (Some(Refusal::NotCalm), Some(Refusal::NotCalm))] {
        let mut state = at(&owned, A, Some(0));
        (state.locks.closed, state.locks.stuck_closed) = (NONE, A);
        (state.refusal, state.tries) = (before, 1);
        assert_eq!(rest(&table, &mut state, &mut Told::default()), Plan::Arrangement(0));
        assert_eq!((state.refusal, state.tries, state.stood), (told, 1, None));
    }
}

/// What bars the next step in an overlap is not waited for: the request is given up in that tick,
/// and no torque goes through a lock that is only stuck.
#[test]
fn an_overlap_is_no_place_to_wait_in() {
    let mut owned = with_overlap();
    owned.sets[3].drives = true;
    let table = owned.table();
    for (overlap, ordered, given_up, plan) in
        [(0, Bits(3), false, Plan::Coast), (2, Bits(3), true, Plan::Coast), (2, A, true, Plan::Cut)]
    {
        let mut state = at(&owned, Bits(3), Some(0));
        (state.overlap, state.locks.ordered) = (overlap, ordered);
        let refusal = Refusal::NotOpened { lock: 1 };
        let set = Bits(3);
        let got = super::blocked(&table, &mut state, &mut Told::default(), set, refusal);
        assert_eq!((state.given_up, got), (given_up, plan), "{overlap} {ordered:?}");
        assert_eq!(state.refusal, given_up.then_some(refusal));
    }
}

/// A lock that would not open ends no overlap: in every phase that does not move a lock by itself the
/// other one is let go in the next tick, and the request is not given up for it.
#[test]
fn an_overlap_with_a_stuck_lock_is_ended_at_once() {
    let owned = with_overlap();
    for phase in [
        Phase::Rest,
        Phase::Settle,
        Phase::Prepare { step: 1, ready: 0 },
        Phase::Closing { step: 1 },
    ] {
        for stuck in [B, NONE] {
            let mut state = at(&owned, Bits(3), Some(0));
            (state.phase, state.locks.stuck_closed) = (phase, stuck);
            (state.locks.closed, state.locks.ordered) = (Bits(3).without(stuck), A);
            if stuck.is_empty() {
                state.locks.ordered = Bits(3);
            }
            let mut told = Told { report: [LockReport::Closed; 8], ..Told::default() };
            let decision = decide(&owned.table(), &mut state, &mut told);
            let ends = !stuck.is_empty();
            assert_eq!(!state.locks.ordered.has(0), ends, "{phase:?} {stuck:?}");
            if ends {
                assert_eq!((decision.plan, state.phase), (Plan::Cut, Phase::Settle));
                assert!(!state.given_up, "{phase:?}");
            }
        }
    }
}
