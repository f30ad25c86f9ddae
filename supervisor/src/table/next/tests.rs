//! Looking things up, each against the layout as it is described.

use super::{Stuck, Why};
use crate::bits::Bits;
use crate::fixture::Owned;
use crate::table::{Limit, NO_STEP, WAYS};

/// Two locks, two arrangements: every entry is its own place in `[way][stuck][set][arrangement]`.
#[test]
fn every_entry_is_found_at_its_place() {
    let mut owned = Owned::new();
    for (i, entry) in owned.next.iter_mut().enumerate() {
        *entry = i as u16;
    }
    let table = owned.table();
    let variants =
        [Stuck::None, Stuck::Open(0), Stuck::Open(1), Stuck::Closed(0), Stuck::Closed(1)];
    let mut place = 0;
    for way in 0..WAYS as u8 {
        for stuck in variants {
            for set in 0..4 {
                for arrangement in 0..2 {
                    let found = table.next_step(way, stuck, Bits(set), arrangement);
                    assert_eq!(found, Ok(place), "{way} {stuck:?} {set} {arrangement}");
                    place += 1;
                }
            }
        }
    }
    assert_eq!(usize::from(place), owned.next.len());
}

/// An index out of range never reaches into a neighbouring row.
#[test]
fn what_is_out_of_range_is_impossible() {
    let mut owned = Owned::new();
    owned.next.fill(0);
    let table = owned.table();
    let at = |way, stuck, set, arrangement| table.next_step(way, stuck, Bits(set), arrangement);
    assert_eq!(at(0, Stuck::None, 3, 1), Ok(0));
    for out in [
        at(WAYS as u8, Stuck::None, 0, 0),
        at(0, Stuck::Open(2), 0, 0),
        at(0, Stuck::Closed(2), 0, 0),
        at(0, Stuck::Closed(255), 0, 0),
        at(0, Stuck::None, 4, 0),
        at(0, Stuck::None, 0, 2),
    ] {
        assert_eq!(out, Err(Why::Impossible));
    }
}

#[test]
fn an_entry_without_a_step_says_why() {
    use Why::{Arrived, Conflict, Impossible, NoOtherWay, NothingSynchronises, Stuck as InTheWay};
    let reasons = [Arrived, Conflict, NothingSynchronises, InTheWay, Impossible, NoOtherWay];
    let mut owned = Owned::new();
    for (code, reason) in reasons.into_iter().enumerate() {
        owned.next.fill(NO_STEP | code as u16);
        let found = owned.table().next_step(0, Stuck::None, Bits(0), 0);
        assert_eq!((found, reason as usize), (Err(reason), code));
    }
    assert_eq!(Why::from_code(6), Conflict, "an unknown code forbids");
}

#[test]
fn counts_never_pass_what_the_supervisor_can_hold() {
    let mut owned = Owned::new();
    for n in 0..20usize {
        owned.locks.resize(n, crate::fixture::Owned::new().locks[0]);
        owned.arrangements.resize(n, crate::fixture::Owned::new().arrangements[0]);
        let table = owned.table();
        assert_eq!(usize::from(table.lock_count()), n.min(8));
        assert_eq!(usize::from(table.arrangement_count()), n.min(16));
        assert_eq!(table.set_count(), 1 << n.min(8));
        assert_eq!(table.stuck_count(), 1 + 2 * n.min(8));
    }
}

#[test]
fn limits_and_sets_by_number() {
    let mut owned = Owned::new();
    let limit = |min| Limit { min, ..owned.limits[0] };
    owned.limits = std::vec![limit(0.0), limit(1.0), limit(2.0), limit(3.0)];
    (owned.steps[0].limits_from, owned.steps[0].limits_count) = (1, 2);
    (owned.steps[1].limits_from, owned.steps[1].limits_count) = (3, 2);
    (owned.steps[2].limits_from, owned.steps[2].limits_count) = (u32::MAX, 1);
    let table = owned.table();
    let of = |step: usize| table.limits_of(&owned.steps[step]);
    assert_eq!(of(0), &owned.limits[1..3]);
    assert!(of(1).is_empty() && of(2).is_empty(), "what reaches beyond the end is none");
    assert_eq!(table.step(3), Some(&owned.steps[3]));
    assert_eq!(table.step(4), None);
    assert_eq!(table.set(Bits(2)), owned.sets[2]);
    let unknown = table.set(Bits(4));
    assert!(!unknown.drives && unknown.engine_joined && unknown.held_machines.is_empty());
    assert_eq!(unknown.fallback, 255);
}

#[test]
fn a_set_is_forbidden_when_it_contains_a_conflict() {
    let mut owned = Owned::new();
    owned.conflicts[0].locks = Bits(0b101);
    let table = owned.table();
    for set in 0..8u8 {
        assert_eq!(table.forbids(Bits(set)), set & 0b101 == 0b101, "{set}");
    }
}

#[test]
fn the_lock_to_let_go_is_the_hosts_choice_if_it_is_ours() {
    let conflict = crate::table::Conflict { locks: Bits(0b111), release_first: 1 };
    for (mine, first) in
        [(0b111, Some(1)), (0b010, Some(1)), (0b101, Some(0)), (0b100, Some(2)), (0, None)]
    {
        assert_eq!(conflict.first_of(Bits(mine)), first);
    }
}
