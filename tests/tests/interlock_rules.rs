//! The canonical test of each interlock rule, on the demo shuttle's static table: the rule
//! denies what it must and grants what differs only in its own condition.
//!
//! Locks: 0 ring-brake, 1 ring-clutch, 2 engine-clutch. Machine 1 is the generator. Forbidden:
//! all three. Overlap: ring-brake with ring-clutch, only with the generator at rest.

use slipwarden_tests::tables::railcar;
use slipwarden_tests::tables::shuttle::TABLE;
use supervisor::bits::Bits;
use supervisor::interlock::{Seen, pass};

const NONE: Bits = Bits::EMPTY;
const RING_BRAKE: Bits = Bits(0b001);
const RING_CLUTCH: Bits = Bits(0b010);
const ENGINE_CLUTCH: Bits = Bits(0b100);
const ALL: Bits = Bits(0b111);

/// Everything measured as a closing likes it; nothing is closed.
fn calm() -> Seen {
    Seen { ready: ALL, at_rest: ALL, ..Seen::default() }
}

#[test]
fn sw_i1_a_closing_begins_only_with_its_slip_within_limit() {
    let seen = Seen { wanted: RING_BRAKE, ..calm() };
    assert_eq!(pass(&TABLE, &seen), RING_BRAKE);
    let unsynchronised = Seen { ready: RING_CLUTCH.or(ENGINE_CLUTCH), ..seen };
    assert_eq!(pass(&TABLE, &unsynchronised), NONE);
    // A lock granted before is not let go because its slip is no longer measured well.
    let kept = Seen { granted: RING_BRAKE, ready: NONE, ..seen };
    assert_eq!(pass(&TABLE, &kept), RING_BRAKE);
}

#[test]
fn sw_i2_a_closing_never_completes_a_forbidden_lock_set() {
    let two = RING_BRAKE.or(ENGINE_CLUTCH);
    let seen = Seen { wanted: ALL, granted: two, ..calm() };
    assert_eq!(pass(&TABLE, &seen), two, "both others are granted");
    let maybe = Seen { wanted: RING_CLUTCH, maybe_closed: two, ..calm() };
    assert_eq!(pass(&TABLE, &maybe), NONE, "both others are ordered open but may be closed");
    let one = Seen { wanted: RING_CLUTCH, maybe_closed: ENGINE_CLUTCH, ..calm() };
    assert_eq!(pass(&TABLE, &one), RING_CLUTCH, "only one of the others may be closed");
}

#[test]
fn sw_i3_a_closing_completes_an_overlap_only_with_the_held_shafts_at_rest() {
    let both = RING_BRAKE.or(RING_CLUTCH);
    let seen = Seen { wanted: both, granted: RING_BRAKE, ..calm() };
    assert_eq!(pass(&TABLE, &seen), both);
    let generator_turns = Seen { at_rest: Bits(0b101), ..seen };
    assert_eq!(pass(&TABLE, &generator_turns), RING_BRAKE);
    let traction_turns = Seen { at_rest: Bits(0b010), ..seen };
    assert_eq!(pass(&TABLE, &traction_turns), both, "the overlap does not hold that shaft");
}

#[test]
fn sw_i4_at_most_one_closing_begins_in_a_tick() {
    let two = RING_BRAKE.or(ENGINE_CLUTCH);
    assert_eq!(pass(&TABLE, &Seen { wanted: two, ..calm() }), NONE);
    let second = Seen { wanted: two, granted: RING_BRAKE, ..calm() };
    assert_eq!(pass(&TABLE, &second), two, "one after the other");
}

#[test]
fn sw_i5_a_forbidden_lock_set_found_held_is_let_go() {
    let held = Seen { wanted: ALL, granted: ALL, surely_held: ALL, ..calm() };
    assert_eq!(TABLE.conflicts[0].release_first, 2);
    assert_eq!(pass(&TABLE, &held), RING_BRAKE.or(RING_CLUTCH), "the engine is let go first");
    let not_sure = Seen { surely_held: RING_BRAKE.or(RING_CLUTCH), ..held };
    assert_eq!(pass(&TABLE, &not_sure), ALL, "no conflict is shown");
    // The first choice is not ours to let go (stuck closed, not granted): another one goes.
    let stuck = Seen { granted: RING_BRAKE.or(RING_CLUTCH), ..held };
    assert_eq!(pass(&TABLE, &stuck).count(), 1);
    // One of it is on its way out: the others stay.
    let going = Seen { releasing: ENGINE_CLUTCH, ..stuck };
    assert_eq!(pass(&TABLE, &going), RING_BRAKE.or(RING_CLUTCH));
}

/// On the railcar: the shuttle's only overlap makes a conflict with the engine clutch.
#[test]
fn sw_i6_the_engine_is_never_joined_to_an_overlap() {
    let table = railcar::TABLE;
    let joins = |set: Bits| table.set(set).engine_joined && !table.forbids(set);
    let mut tried = 0;
    for overlap in table.overlaps {
        for other in (0..5).map(Bits::one).filter(|b| b.and(overlap.locks).is_empty()) {
            let with = overlap.locks.or(other);
            if !joins(with) {
                continue;
            }
            tried += 1;
            for lock in with.iter().map(Bits::one) {
                let rest = with.without(lock);
                let all = Bits(0b11111);
                let seen = Seen {
                    wanted: lock,
                    maybe_closed: rest,
                    ready: all,
                    at_rest: all,
                    ..Seen::default()
                };
                assert_eq!(pass(&table, &seen), NONE, "{lock:?} with {rest:?}");
                let apart = Seen { maybe_closed: rest.without(other), ..seen };
                if lock != other {
                    assert_eq!(pass(&table, &apart), lock, "{lock:?} without the engine");
                }
            }
        }
    }
    assert!(tried > 0);
}
