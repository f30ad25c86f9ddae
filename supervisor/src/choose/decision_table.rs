//! Whether a step may be taken, as a decision table, and the test of all of it.

use std::string::String;

use super::{Choice, Route, choose, may_take, stuck_variant};
use crate::bits::Bits;
use crate::decision_tables::{Column, Decisions, Row};
use crate::fixture::{Owned, STRIDE, Told};
use crate::status::Refusal;
use crate::table::{Action, EngineNeed, Stuck, Why};

const STEP: u16 = 0;
const NONE: Bits = Bits::EMPTY;

pub(crate) const MAY_TAKE: Decisions<Result<(), Refusal>> = Decisions {
    title: "Whether a step may be taken",
    about: "Asked before a step is begun and in each tick of its preparation. The first reason \
            that speaks against it is the one that is told.",
    columns: &[
        Column { name: "sensors", letters: "`y` all valid and plausible, `n` not" },
        Column { name: "engine", letters: "`y` it runs or need not, `n` it must and does not" },
        Column { name: "window", letters: "`y` road speed inside the step's window, `n` not" },
        Column { name: "demand", letters: "`y` small enough to hand over, `n` not" },
        Column { name: "action", letters: "`O` opens, `C` closes" },
        Column { name: "target", letters: "`y` speeds after the step allowed, `n` not" },
        Column { name: "plates", letters: "`y` cool enough, `n` not" },
        Column { name: "output", letters: "`y` calm, `n` faster than tyres in grip can" },
    ],
    rows: &[
        Row {
            label: "SENSORS",
            when: "n.......",
            then: Err(Refusal::Sensors { step: STEP }),
            prose: "Nothing else can be judged.",
        },
        Row {
            label: "ENGINE",
            when: "yn......",
            then: Err(Refusal::EngineNotRunning),
            prose: "The engine is started and waited for.",
        },
        Row {
            label: "ROAD-SPEED",
            when: "yyn.....",
            then: Err(Refusal::RoadSpeed { step: STEP }),
            prose: "A shaft would leave its limits.",
        },
        Row {
            label: "TORQUE",
            when: "yyyn....",
            then: Err(Refusal::Torque { step: STEP }),
            prose: "More than the machines can hand over.",
        },
        Row {
            label: "MAY-OPEN",
            when: "yyyyO...",
            then: Ok(()),
            prose: "To open, no more is asked: neither heat nor wheel slip may trap a lock.",
        },
        Row {
            label: "TARGET",
            when: "yyyyCn..",
            then: Err(Refusal::TargetSpeed { step: STEP }),
            prose: "The synchronising machine, or a shaft after it, would overspeed.",
        },
        Row {
            label: "HOT",
            when: "yyyyCyn.",
            then: Err(Refusal::Hot { lock: 1 }),
            prose: "Wait for the plates to cool.",
        },
        Row {
            label: "NOT-CALM",
            when: "yyyyCyyn",
            then: Err(Refusal::NotCalm),
            prose: "Wheels slip or lock.",
        },
        Row { label: "MAY-CLOSE", when: "yyyyCyyy", then: Ok(()), prose: "The step is prepared." },
    ],
};

/// All 2^9 combinations; `choose` says the same, and waits where only the engine is missing.
#[test]
fn every_combination_hits_one_row() {
    let mut owned = Owned::new();
    for bits in (0..1u32 << 9).step_by(STRIDE) {
        let on = |n: u32| bits >> n & 1 == 1;
        let action = if on(0) { Action::Close } else { Action::Open };
        let from = if on(0) { Bits::EMPTY } else { Bits::one(1) };
        owned.steps[usize::from(STEP)] = crate::table::Step {
            engine: if on(1) { EngineNeed::Running } else { EngineNeed::Any },
            ..crate::fixture::step(from, 1, action)
        };
        owned.next.fill(STEP);
        let mut told = Told {
            plausible: on(2),
            engine_running: on(3),
            in_window: on(4),
            demand_within: on(5),
            target_allowed: on(6),
            cool: on(7),
            calm: on(8),
            ..Told::default()
        };
        let yes = |b: bool| if b { 'y' } else { 'n' };
        let letters: String = [
            yes(on(2)),
            yes(!on(1) || on(3)),
            yes(on(4)),
            yes(on(5)),
            if on(0) { 'C' } else { 'O' },
            yes(on(6)),
            yes(on(7)),
            yes(on(8)),
        ]
        .iter()
        .collect();
        let row = MAY_TAKE.row(&letters);
        let table = owned.table();
        assert_eq!(may_take(&table, &mut told, STEP), row.then, "{letters} {}", row.label);
        let route = Route { target: 0, way: 0 };
        let want = match row.then {
            Ok(()) => Choice::Step { step: STEP, way: 0 },
            Err(Refusal::EngineNotRunning) => Choice::WaitForEngine,
            Err(refusal) => Choice::Refused(refusal),
        };
        assert_eq!(choose(&table, &mut told, route, Stuck::None, from, NONE), want, "{letters}");
    }
}

/// A step that does not begin in this lock set, or that moves nothing, is no step.
#[test]
fn an_inconsistent_step_is_refused() {
    let mut owned = Owned::new();
    let route = Route { target: 1, way: 0 };
    owned.next.fill(3);
    let at = |owned: &Owned, set| {
        choose(&owned.table(), &mut Told::default(), route, Stuck::None, set, NONE)
    };
    assert_eq!(at(&owned, Bits::EMPTY), Choice::Step { step: 3, way: 0 });
    let no = Choice::Refused(Refusal::NoWay(Why::Impossible));
    assert_eq!(at(&owned, Bits::one(0)), no);
    owned.next.fill(999);
    assert_eq!(at(&owned, Bits::EMPTY), no);
    owned.next.fill(3);
    for lock in [2, 7, 255] {
        owned.steps[3].lock = lock;
        assert_eq!(at(&owned, Bits::EMPTY), no);
    }
    let unknown = may_take(&owned.table(), &mut Told::default(), 99);
    assert_eq!(unknown, Err(Refusal::NoWay(Why::Impossible)));
}

/// The table knows ways for one stuck lock at most.
#[test]
fn two_stuck_locks_have_no_variant() {
    let none = Bits::EMPTY;
    let two = Err(Refusal::NoWay(Why::Stuck));
    for (open, closed, want) in [
        (none, none, Ok(Stuck::None)),
        (Bits(0b10), none, Ok(Stuck::Open(1))),
        (none, Bits(0b100), Ok(Stuck::Closed(2))),
        (Bits(0b11), none, two),
        (none, Bits(0b110), two),
        (Bits(0b10), Bits(0b100), two),
        (Bits(0b10), Bits(0b10), two),
    ] {
        assert_eq!(stuck_variant(open, closed), want, "{open:?} {closed:?}");
    }
}

/// A later way is taken when the first one is barred, and the reason of the first is told when
/// none is left.
#[test]
fn ways_are_tried_in_order() {
    let mut owned = Owned::new();
    // Way 0 closes lock 0, way 1 closes lock 1, way 2 does not lead there.
    let per_way = owned.next.len() / 3;
    owned.next[..per_way].fill(3);
    owned.next[per_way..2 * per_way].fill(1);
    owned.limits =
        std::vec![crate::table::Limit { row: crate::fixture::unit(2), min: -1.0, max: 1.0 }];
    let table = owned.table();
    let mut told = Told { cool: false, ..Told::default() };
    let route = Route { target: 1, way: 0 };
    let refused = choose(&table, &mut told, route, Stuck::None, Bits::EMPTY, NONE);
    assert_eq!(refused, Choice::Refused(Refusal::Hot { lock: 0 }));
    let route = Route { target: 1, way: 3 };
    let none = choose(&table, &mut Told::default(), route, Stuck::None, Bits::EMPTY, NONE);
    assert_eq!(none, Choice::Refused(Refusal::NoWay(Why::NoOtherWay)));
    let route = Route { target: 1, way: 0 };
    assert_eq!(super::next_way(&table, route, Stuck::None, Bits::EMPTY), 1);
    assert_eq!(super::next_way(&table, Route { way: 1, ..route }, Stuck::None, Bits::EMPTY), 3);
}

/// What may not be closed is neither asked about nor taken, whatever else holds; it may be opened.
#[test]
fn a_barred_lock_is_not_closed() {
    let mut owned = Owned::new();
    let per_way = owned.next.len() / 3;
    owned.next[..per_way].fill(3);
    owned.next[per_way..].fill(1);
    let route = Route { target: 1, way: 0 };
    let at = |owned: &Owned, set: Bits, barred: Bits| {
        let mut told = Told::default();
        choose(&owned.table(), &mut told, route, Stuck::None, set, barred)
    };
    let (a, b) = (Bits::one(0), Bits::one(1));
    assert_eq!(at(&owned, NONE, NONE), Choice::Step { step: 3, way: 0 });
    assert_eq!(at(&owned, NONE, b), Choice::Step { step: 3, way: 0 });
    assert_eq!(at(&owned, NONE, a), Choice::Step { step: 1, way: 1 }, "another way");
    let first = Choice::Refused(Refusal::Interlock { lock: 0 });
    assert_eq!(at(&owned, NONE, Bits::ALL), first, "the first reason is told");
    owned.next.fill(0);
    assert_eq!(at(&owned, a, Bits::ALL), Choice::Step { step: 0, way: 0 }, "it opens");
}

/// A step that neighbouring ways share is asked about once: an exhaustive search tries every
/// answer to every question.
#[test]
fn a_shared_step_is_asked_about_once() {
    let mut owned = Owned::new();
    let per_way = owned.next.len() / 3;
    owned.next.fill(3);
    let asked = |owned: &Owned| {
        let mut told = Told { cool: false, ..Told::default() };
        let route = Route { target: 1, way: 0 };
        let choice = choose(&owned.table(), &mut told, route, Stuck::None, Bits::EMPTY, NONE);
        assert_eq!(choice, Choice::Refused(Refusal::Hot { lock: 0 }));
        told.asked
    };
    assert_eq!(asked(&owned), 1);
    owned.next[2 * per_way..].fill(1);
    assert_eq!(asked(&owned), 2);
    owned.next[per_way..2 * per_way].fill(1);
    assert_eq!(asked(&owned), 2);
}
