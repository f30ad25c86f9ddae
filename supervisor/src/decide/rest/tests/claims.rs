//! A switch claims a lock closed whose sides move apart; and overlaps that nobody may wait for.

use super::super::{barred_by, end_claim};
use crate::bits::Bits;
use crate::decide::{Plan, State, count_overlap, decide, overlap_end};
use crate::fixture::{APART, Owned, READY, Told, step};
use crate::io::LockReport;
use crate::status::{Phase, Refusal};
use crate::table::{Action, Overlap};

const A: Bits = Bits::one(0);
const B: Bits = Bits::one(1);
const BOTH: Bits = Bits(3);

/// Standing with this lock set, and everything shown.
fn standing(held: Bits) -> State {
    let mut state = State { phase: Phase::Rest, ..State::default() };
    (state.locks.ordered, state.locks.closed) = (held, held);
    state.locks.open = BOTH.without(held);
    state
}

fn with_overlap() -> Owned {
    let mut owned = Owned::new();
    owned.conflicts.clear();
    owned.overlaps.push(Overlap { locks: BOTH, machines: Bits(1) });
    owned.sets[3].held_machines = Bits(1);
    owned
}

/// One tick in which lock 0 is said to be closed and moves.
fn claims() -> Told {
    let mut told = Told::default();
    told.slip[0] = APART;
    told.report = [LockReport::Closed; 8];
    told
}

/// What would be forbidden with the claimed lock is let go after the debounce, and the claim is
/// the reason; without the claim, or without a forbidden set, nothing is.
#[test]
fn sw_d1_what_a_claimed_lock_forbids_is_let_go() {
    for (forbids, moves, ends) in [(true, true, true), (true, false, false), (false, true, false)] {
        let mut owned = Owned::new();
        if !forbids {
            owned.conflicts.clear();
        }
        let table = owned.table();
        let mut state = standing(B);
        let mut told = claims();
        told.slip[0] = if moves { APART } else { READY };
        let debounce = table.timing.debounce;
        for tick in 1..=debounce {
            let plan = decide(&table, &mut state, &mut told);
            let gone = state.held() != B;
            assert_eq!(gone, ends && tick == debounce, "{forbids} {moves} {tick}");
            if gone {
                assert_eq!((plan.plan, plan.close), (Plan::Cut, Bits::EMPTY));
            }
        }
        let reason = Refusal::Switch { lock: 0 };
        assert_eq!(state.refusal == Some(reason), ends);
        assert_eq!(state.given_up, ends);
    }
}

/// An overlap counts like a conflict, unless the two locks together are an arrangement.
#[test]
fn a_claimed_overlap_is_ended_unless_it_is_meant() {
    let mut owned = with_overlap();
    let barred = |owned: &Owned, claimed, pressed| barred_by(&owned.table(), claimed, pressed);
    assert_eq!(barred(&owned, A, B), Some((BOTH, Some(1))));
    assert_eq!(barred(&owned, A, Bits::EMPTY), None, "nothing to complete");
    assert_eq!(barred(&owned, Bits::EMPTY, BOTH), None, "nothing is claimed");
    owned.arrangements[1].closed = BOTH;
    assert_eq!(barred(&owned, A, B), None, "meant");
    let conflict = Owned::new();
    assert_eq!(barred(&conflict, A, B), Some((BOTH, Some(1))));
    assert_eq!(barred(&conflict, A, Bits::EMPTY), None);
}

/// Another lock of the set goes when the first one is not ours; when none is, only the torque.
#[test]
fn a_lock_that_is_ours_goes() {
    let owned = Owned::new();
    let table = owned.table();
    let mut state = standing(B);
    assert_eq!(end_claim(&table, &mut state, A, (BOTH, Some(0))), Plan::Cut);
    assert_eq!((state.locks.ordered, state.phase), (Bits::EMPTY, Phase::Settle));
    let mut state = standing(Bits::EMPTY);
    state.locks.stuck_closed = B;
    assert_eq!(end_claim(&table, &mut state, A, (BOTH, Some(1))), Plan::Cut);
    assert_eq!((state.held(), state.phase), (B, Phase::Rest));
    assert_eq!(state.refusal, Some(Refusal::Switch { lock: 0 }), "it is said all the same");
    // A set with nothing in it that is claimed is no claim's: its lock goes, and nothing is blamed.
    let mut state = standing(B);
    assert_eq!(end_claim(&table, &mut state, A, (B, Some(1))), Plan::Cut);
    assert_eq!((state.locks.ordered, state.phase), (Bits::EMPTY, Phase::Settle));
    assert_eq!((state.refusal, state.given_up), (None, false));
}

/// Another lock that is just closing does not go on beside the one that is let go, which still presses;
/// one that stands does, and without a closing under way nothing else is touched.
#[test]
fn a_closing_under_way_is_broken_off_by_a_claim() {
    const C: Bits = Bits::one(2);
    let mut owned = Owned::new();
    owned.steps.push(step(B, 2, Action::Close));
    let table = owned.table();
    let none = Phase::Closing { step: 99 };
    for (phase, left) in [(Phase::Closing { step: 4 }, Bits::EMPTY), (Phase::Rest, C), (none, C)] {
        // The set that the claim completes has a lock of ours that is not the closing one; or none.
        for (ours, barred) in [(B, Some(1)), (Bits::EMPTY, None)] {
            let mut state = standing(ours);
            state.locks.ordered = ours.or(C);
            state.phase = phase;
            assert_eq!(end_claim(&table, &mut state, A, (A.or(ours), barred)), Plan::Cut);
            assert_eq!(state.locks.ordered, left, "{phase:?} {ours:?}");
            let settles = left.is_empty() || !ours.is_empty();
            assert_eq!(state.phase == Phase::Settle, settles, "{phase:?} {ours:?}");
        }
    }
}

/// With the engine joined an overlap is ended at once; else when it has lasted too long.
#[test]
fn sw_d2_an_overlap_with_the_engine_joined_is_not_waited_for() {
    for joined in [true, false] {
        let mut owned = with_overlap();
        owned.sets[3].engine_joined = joined;
        let table = owned.table();
        for phase in [Phase::Rest, Phase::Settle, Phase::Closing { step: 0 }] {
            let mut state = standing(BOTH);
            state.phase = phase;
            let mut told = Told { report: [LockReport::Closed; 8], ..Told::default() };
            let _ = decide(&table, &mut state, &mut told);
            assert_eq!(state.locks.ordered.count() == 1, joined, "{phase:?}");
            assert_eq!(state.refusal == Some(Refusal::OverlapTooLong), joined);
        }
    }
}

/// How long an overlap has stood that a reset finds, nobody knows: it ends as soon as anything is
/// decided. An arrangement, or a single lock, does not.
#[test]
fn an_overlap_that_a_reset_finds_is_ended() {
    let mut owned = with_overlap();
    for (locks, meant, counted) in [(BOTH, false, true), (BOTH, true, false), (A, false, false)] {
        owned.arrangements[1].closed = if meant { BOTH } else { B };
        let table = owned.table();
        let mut state = State::default();
        state.adopt(&table, locks, true);
        assert_eq!(state.overlap, if counted { overlap_end(&table) } else { 0 });
        assert!(state.engine_run);
        let mut told = Told { report: [LockReport::Closed; 8], ..Told::default() };
        let _ = decide(&table, &mut state, &mut told);
        assert_eq!(state.locks.ordered.count() < locks.count(), counted, "{locks:?} {meant}");
    }
}

/// A shaft that is to be held has begun to turn before the lock holds it: the closing is broken off.
#[test]
fn a_closing_that_would_hold_a_turning_shaft_is_broken_off() {
    for at_rest in [true, false] {
        let owned = with_overlap();
        let table = owned.table();
        let mut state = standing(Bits::EMPTY);
        (state.locks.ordered, state.locks.open) = (A, B);
        state.phase = Phase::Closing { step: 0 };
        let mut told = Told { at_rest, report: [LockReport::Open; 8], ..Told::default() };
        let _ = decide(&table, &mut state, &mut told);
        assert_eq!(state.locks.ordered == A, at_rest);
    }
}

/// What is only ordered counts while an overlap is counted already (found after a reset), and starts no
/// count by itself; what may press always does.
#[test]
fn what_is_ordered_goes_on_with_a_count() {
    let mut owned = Owned::new();
    owned.conflicts.clear();
    owned.sets[3].held_machines = Bits(1);
    let table = owned.table();
    for (closed, ordered, pressed, before, after) in [
        (A, Bits(3), A, 0, 0),
        (A, Bits(3), A, 1, 2),
        (A, Bits(3), A, u16::MAX, u16::MAX),
        (A, Bits(3), Bits(3), 0, 1),
        (Bits(3), Bits::EMPTY, Bits::EMPTY, 0, 1),
        (A, A, A, 7, 0),
    ] {
        let mut state = State { overlap: before, ..State::default() };
        (state.locks.closed, state.locks.ordered) = (closed, ordered);
        let counted = count_overlap(&table, &mut state, pressed);
        assert_eq!(
            (state.overlap, counted),
            (after, after > 0),
            "{ordered:?} {pressed:?} {before}"
        );
    }
}
