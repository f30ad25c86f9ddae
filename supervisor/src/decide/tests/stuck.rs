//! Locks that would not open, and do in the end.

use super::*;
use crate::table::{NO_STEP, WAYS};

#[test]
fn a_lock_stuck_closed_is_held_and_freed_when_shown_open() {
    let owned = Owned::new();
    let mut world = World::new(owned.table(), Some(0));
    arrived(&mut world, 0);
    world.frozen = A;
    world.told.request = Some(1);
    world.until("stuck", |s| s.locks.stuck_closed.has(0));
    world.run(300);
    assert_eq!(world.state.held(), A);
    assert_eq!(world.last.close, Bits::EMPTY, "nothing is closed against a stuck lock");
    // The speeds show it open although the switch never says so: it may go on from there, but
    // the switch is in doubt and stops transitions.
    world.told.slip[0] = APART;
    world.run(10);
    assert!(world.state.locks.open.has(0) && world.state.locks.switch.has(0));
    world.told.request = None;
    world.run(10);
    world.told.request = Some(1);
    world.run(100);
    assert_eq!(world.state.refusal, Some(Refusal::Switch { lock: 0 }));
    // The switch comes free: asked again, on it goes.
    world.frozen = Bits::EMPTY;
    world.told.report[0] = Open;
    world.told.slip[0] = READY;
    world.told.request = None;
    world.run(10);
    world.told.request = Some(1);
    arrived(&mut world, 1);
}

/// One that moves in the end, each time when it has just been found stuck, is not tried for ever.
#[test]
fn a_second_stuck_lock_under_one_request_ends_it() {
    let mut state = State::default();
    let refusal = Refusal::NotOpened { lock: 0 };
    for _ in 0..3 {
        for given_up in [false, true, true] {
            state.enter(Phase::Opening { step: 0 });
            state.stuck_found(0, refusal);
            assert_eq!((state.gave_up(), state.phase), (given_up, Phase::Settle));
            assert_eq!((state.refusal, state.route), (Some(refusal), None));
        }
        // None of those that have been found so is closed on the way back.
        assert_eq!(state.barred(), A);
        state.stuck_found(1, refusal);
        assert_eq!(state.barred(), A.or(Bits::one(1)));
        state.new_goal();
        assert_eq!((state.gave_up(), state.barred()), (false, Bits::EMPTY));
    }
}

/// Found by a campaign: a dog that let go late each time was closed again and again, since the way back from no lock
/// at all began with it, could not be gone on from there, and let it go. It is closed once more, and then the way back
/// is another one.
#[test]
fn a_lock_that_is_found_stuck_again_and_again_is_not_closed_for_ever() {
    let mut owned = Owned::new();
    let (per_way, per_variant) = (owned.next.len() / WAYS, owned.next.len() / WAYS / 5);
    let no = NO_STEP | Why::NothingSynchronises as u16;
    for variant in 0..5 {
        let at = |way: usize, set: usize| way * per_way + variant * per_variant + set * 2 + 1;
        // From no lock at all the first way to arrangement 1 closes lock 0, and ends there; the second opens it.
        (owned.next[at(0, 0)], owned.next[at(0, 1)]) = (3, no);
        (owned.next[at(1, 0)], owned.next[at(1, 1)]) = (1, 0);
    }
    (owned.sets[0].fallback, owned.sets[1].fallback) = (1, 1);
    let mut world = World::new(owned.table(), Some(1));
    world.late = A;
    let closes_a = |s: &State| s.phase == Phase::Closing { step: 3 };
    for _ in 0..2 {
        world.until("closes lock 0", closes_a);
        world.until("finds it stuck", |s| s.locks.stuck_closed.has(0));
    }
    assert!(world.state.gave_up());
    let mut closed = 0;
    for _ in 0..2000 {
        let _ = world.tick();
        closed += usize::from(closes_a(&world.state));
    }
    assert_eq!((closed, world.state.held()), (0, Bits::one(1)), "on the other way");
    assert_eq!(world.state.refusal(), None, "which is where it was to go");
}

/// Found by a campaign: a clutch whose switch had fallen silent was closed again and again, since the other one that
/// was let go and closed in between made each attempt the first.
#[test]
fn failed_attempts_count_on_when_another_lock_has_moved() {
    let owned = Owned::new();
    let table = owned.table();
    let mut state = State { phase: Phase::Closing { step: 1 }, ..State::default() };
    for tries in 1..table.timing.retries {
        state.failed(&table, Refusal::NotClosed { lock: 1 });
        assert_eq!(state.tries(), tries);
        state.done();
        assert_eq!((state.tries(), state.phase), (tries, Phase::Rest));
    }
    state.new_goal();
    assert_eq!(state.tries(), 0);
}
