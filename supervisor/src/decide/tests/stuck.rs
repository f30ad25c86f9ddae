//! Locks that would not open, and do in the end.

use super::*;

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
            state.stuck_found(refusal);
            assert_eq!((state.gave_up(), state.phase), (given_up, Phase::Settle));
            assert_eq!((state.refusal, state.route), (Some(refusal), None));
        }
        state.new_goal();
        assert!(!state.gave_up());
    }
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
