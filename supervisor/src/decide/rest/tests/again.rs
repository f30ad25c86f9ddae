//! A switch that claims what it claimed before: under one request locks are closed and let go only so often.

use crate::bits::Bits;
use crate::decide::{CLAIMS_MAX, State, decide};
use crate::fixture::{APART, Owned, READY, Told};
use crate::io::LockReport;
use crate::status::{Phase, Refusal};

const B: Bits = Bits::one(1);

/// A valve that always obeys, beside a switch of lock 0 that claims whenever lock 1 is closed.
fn tick(owned: &Owned, state: &mut State, told: &mut Told, claims: bool) -> Bits {
    let lies = claims && state.locks.closed.has(1);
    told.slip = [if lies { APART } else { READY }; 8];
    told.slip[1] = READY;
    let of = |closed: bool| if closed { LockReport::Closed } else { LockReport::Open };
    told.report[0] = of(lies);
    told.report[1] = of(state.locks.ordered.has(1));
    decide(&owned.table(), state, told).close
}

/// How often lock 1 is closed in a while.
fn closings(owned: &Owned, state: &mut State, told: &mut Told, claims: bool) -> usize {
    let mut closed = state.locks.ordered;
    let mut count = 0;
    for _ in 0..2000 {
        let now = tick(owned, state, told, claims);
        count += usize::from(now.has(1) && !closed.has(1));
        closed = now;
    }
    count
}

/// Found by a campaign: a switch that chatters had a lock closed and let go for ever, since the arrangement
/// that was given up is the one that is fallen back to, and reaching it forgets that it was given up.
#[test]
fn what_a_switch_claims_again_and_again_is_not_closed_for_ever() {
    let mut owned = Owned::new();
    // From no lock the way back leads to the very arrangement that was asked for.
    owned.sets[0].fallback = 1;
    let mut state = State::default();
    let mut told = Told { request: Some(1), ..Told::default() };
    let most = usize::from(CLAIMS_MAX);
    assert_eq!(closings(&owned, &mut state, &mut told, true), most, "the first, and once more");
    assert_eq!((state.held(), state.phase), (Bits::EMPTY, Phase::Rest));
    assert!(matches!(state.refusal, Some(Refusal::Switch { .. } | Refusal::Interlock { .. })));
    // It does not begin again by itself, whatever the switch says later; another request is a new start.
    assert_eq!(closings(&owned, &mut state, &mut told, false), 0);
    told.request = None;
    assert_eq!(closings(&owned, &mut state, &mut told, false), 1);
    assert_eq!(state.held(), B);
    // Without a lie nothing is let go, and the lock stays closed.
    told.request = Some(1);
    assert_eq!(closings(&owned, &mut state, &mut told, false), 0);
    assert_eq!((state.held(), state.refusal), (B, None));
}

/// A lock may still be opened by a step.
#[test]
fn openings_go_on() {
    let owned = Owned::new();
    let mut state = State { phase: Phase::Rest, claims: CLAIMS_MAX, ..State::default() };
    (state.locks.ordered, state.locks.closed, state.locks.open) = (B, B, Bits::one(0));
    // The request is the same as before, so that what was counted under it counts.
    state.request = crate::request::Request::of_parts(Some(0), Some(0), 0);
    let mut told = Told { request: Some(0), ..Told::default() };
    told.report[1] = LockReport::Closed;
    let closed = closings(&owned, &mut state, &mut told, false);
    assert_eq!((closed, state.held()), (0, Bits::EMPTY));
    assert_eq!(state.refusal, Some(Refusal::Interlock { lock: 0 }), "and why it ends there");
}
