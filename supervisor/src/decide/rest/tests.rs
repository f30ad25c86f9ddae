//! Where to go from here: which way, which fallback, and what the machines do meanwhile.

use super::{fallback, next_route, rest, stay_plan};
use crate::bits::Bits;
use crate::choose::Route;
use crate::decide::{Plan, State};
use crate::fixture::{Owned, Told};
use crate::status::{Phase, Refusal};
use crate::table::{EngineUse, NO_STEP, Why};

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
