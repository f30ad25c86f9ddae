//! The update of the belief about one lock as a decision table, and the test of all of it.

use std::string::String;

use super::Locks;
use crate::bits::Bits;
use crate::decision_tables::{Column, Decisions, Row};
use crate::fixture::{Owned, STRIDE, Told};
use crate::guards::SlipBits;
use crate::io::LockReport;
use crate::table::Lock;

/// What the update does to the belief.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(crate) enum Effect {
    Keep,
    ShownClosed,
    ShownOpen,
    Unshown,
    StuckClosed,
    Lost,
}

pub(crate) const BELIEF: Decisions<Effect> = Decisions {
    title: "What is believed of a lock",
    about: "Once a tick for each lock. Time counts from the last change of the order (or of the \
            belief, where a lock shown open is doubted again).",
    columns: &[
        Column { name: "order", letters: "`C` ordered closed, `O` ordered open" },
        Column { name: "belief", letters: "`s` shown to be as ordered, `?` not (yet) shown" },
        Column {
            name: "switch",
            letters: "`c` says closed, `o` says open, `m` says nothing, `n` there is none",
        },
        Column {
            name: "slip",
            letters: "`u` unknown, `m` the sides move apart for sure, `r` they do not",
        },
        Column {
            name: "time",
            letters: "`w` before the lock can have moved, `d` it can have moved, `l` the time-out \
                      is over, `x` the time-out and the debounce are over",
        },
        Column {
            name: "debounce",
            letters: "`b` evidence not yet long enough, `e` long enough with this tick",
        },
    ],
    rows: &[
        Row {
            label: "HOLDS",
            when: "Cscu..",
            then: Effect::Keep,
            prose: "Without slip there is no evidence against it.",
        },
        Row {
            label: "HOLDS-SILENT",
            when: "Csmu..",
            then: Effect::Keep,
            prose: "The same with a silent switch.",
        },
        Row {
            label: "HOLDS-NO-SWITCH",
            when: "Csnu..",
            then: Effect::Keep,
            prose: "The same without a switch.",
        },
        Row {
            label: "DENIED-UNSEEN",
            when: "Csou.b",
            then: Effect::Keep,
            prose: "The switch says open and no slip tells that it lies; not yet for long enough.",
        },
        Row {
            label: "LOST-UNSEEN",
            when: "Csou.e",
            then: Effect::Lost,
            prose: "Nothing shows any more that it is closed: it may have opened, and would be pressed at any slip when what opened it is over.",
        },
        Row {
            label: "HOLDS-STILL",
            when: "Cs.r..",
            then: Effect::Keep,
            prose: "Closed and not moving.",
        },
        Row {
            label: "SLIPS",
            when: "Cs.m.b",
            then: Effect::Keep,
            prose: "Moving, but not for long enough to call it lost.",
        },
        Row {
            label: "LOST",
            when: "Cs.m.e",
            then: Effect::Lost,
            prose: "It opened or slipped by itself: ordered open, counted as lost, torque is cut; the second time it counts as stuck open. It is not pressed again at slip.",
        },
        Row {
            label: "FILLING",
            when: "C?..w.",
            then: Effect::Keep,
            prose: "It cannot be closed yet, whatever switch and speeds say.",
        },
        Row {
            label: "UNSEEN",
            when: "C?.ud.",
            then: Effect::Keep,
            prose: "Never shown closed on an unknown slip.",
        },
        Row {
            label: "DRAGS",
            when: "C?.md.",
            then: Effect::Keep,
            prose: "Never shown closed while the sides move: drag is not closure.",
        },
        Row {
            label: "SWITCH-SAYS-NO",
            when: "C?ord.",
            then: Effect::Keep,
            prose: "The sides stand still relative to each other, but the switch says open: synchronous is not closed.",
        },
        Row {
            label: "SWITCH-SILENT",
            when: "C?mrd.",
            then: Effect::Keep,
            prose: "The same while the switch says nothing.",
        },
        Row {
            label: "CLOSES",
            when: "C?crdb",
            then: Effect::Keep,
            prose: "Order, switch and speeds agree, not yet for long enough.",
        },
        Row {
            label: "CLOSED",
            when: "C?crde",
            then: Effect::ShownClosed,
            prose: "Order, switch and speeds have agreed for the debounce.",
        },
        Row {
            label: "CLOSES-BY-SPEED",
            when: "C?nrdb",
            then: Effect::Keep,
            prose: "Without a switch, order and speeds have to do.",
        },
        Row {
            label: "CLOSED-BY-SPEED",
            when: "C?nrde",
            then: Effect::ShownClosed,
            prose: "The same for the debounce. Weaker than with a switch: a synchronous open lock looks alike until torque moves it (then LOST).",
        },
        Row {
            label: "OPEN",
            when: "Oso...",
            then: Effect::Keep,
            prose: "Open, and the switch says so.",
        },
        Row {
            label: "OPEN-SILENT",
            when: "Osm...",
            then: Effect::Keep,
            prose: "Shown open before; a silent switch does not undo it (but the interlock counts the lock as maybe closed).",
        },
        Row {
            label: "OPEN-NO-SWITCH",
            when: "Osn...",
            then: Effect::Keep,
            prose: "Shown open before, and there is no switch to say otherwise.",
        },
        Row {
            label: "OPEN-MOVES",
            when: "Oscm..",
            then: Effect::Keep,
            prose: "The switch says closed, the sides move apart: the speeds decide (see the next table).",
        },
        Row {
            label: "OPEN-DOUBTED",
            when: "Oscr.b",
            then: Effect::Keep,
            prose: "The switch says closed and may be right.",
        },
        Row {
            label: "OPEN-DOUBTED-BLIND",
            when: "Oscu.b",
            then: Effect::Keep,
            prose: "The same with unknown slip.",
        },
        Row {
            label: "REOPENED",
            when: "Oscr.e",
            then: Effect::Unshown,
            prose: "It no longer counts as open; transitions wait until it is shown again, or counts as stuck closed.",
        },
        Row {
            label: "REOPENED-BLIND",
            when: "Oscu.e",
            then: Effect::Unshown,
            prose: "The same with unknown slip.",
        },
        Row {
            label: "RELEASING",
            when: "O?..w.",
            then: Effect::Keep,
            prose: "It cannot be open yet, whatever the switch says.",
        },
        Row {
            label: "OPENS",
            when: "O?o.db",
            then: Effect::Keep,
            prose: "The switch says open, not yet for long enough.",
        },
        Row { label: "OPENS-LATE", when: "O?o.lb", then: Effect::Keep, prose: "The same, late." },
        Row {
            label: "OPENED",
            when: "O?o.de",
            then: Effect::ShownOpen,
            prose: "Time and switch agree for the debounce.",
        },
        Row {
            label: "OPENED-LATE",
            when: "O?o.le",
            then: Effect::ShownOpen,
            prose: "The same, late.",
        },
        Row {
            label: "OPENED-AT-LAST",
            when: "O?o.xe",
            then: Effect::ShownOpen,
            prose: "A lock that counted as stuck closed is free again.",
        },
        Row {
            label: "TOO-LATE",
            when: "O?o.xb",
            then: Effect::StuckClosed,
            prose: "Out of time before the evidence was complete: it counts as closed until shown open.",
        },
        Row {
            label: "OPENS-UNSEEN",
            when: "O?n.db",
            then: Effect::Keep,
            prose: "Without a switch, the time has to do for `decide`; the interlock waits until the sides were seen to move.",
        },
        Row {
            label: "OPENS-UNSEEN-LATE",
            when: "O?n.lb",
            then: Effect::Keep,
            prose: "The same, late.",
        },
        Row {
            label: "OPENED-UNSEEN",
            when: "O?n.de",
            then: Effect::ShownOpen,
            prose: "The same for the debounce.",
        },
        Row {
            label: "OPENED-UNSEEN-LATE",
            when: "O?n.le",
            then: Effect::ShownOpen,
            prose: "The same, late.",
        },
        Row {
            label: "OPENED-UNSEEN-AT-LAST",
            when: "O?n.xe",
            then: Effect::ShownOpen,
            prose: "The same after it counted as stuck closed.",
        },
        Row {
            label: "UNSEEN-TOO-LATE",
            when: "O?n.xb",
            then: Effect::StuckClosed,
            prose: "Cannot come about while time only counts up; fails to the safe side.",
        },
        Row {
            label: "SWITCH-CLOSED-WAIT",
            when: "O?c.d.",
            then: Effect::Keep,
            prose: "The switch still says closed: it may be right until the time-out.",
        },
        Row {
            label: "SWITCH-SILENT-WAIT",
            when: "O?m.d.",
            then: Effect::Keep,
            prose: "The switch says nothing: wait until the time-out.",
        },
        Row {
            label: "SPEEDS-DECIDE",
            when: "O?cmlb",
            then: Effect::Keep,
            prose: "The switch never said open, but the sides move apart: the speeds decide.",
        },
        Row {
            label: "SPEEDS-DECIDE-SILENT",
            when: "O?mmlb",
            then: Effect::Keep,
            prose: "The same with a silent switch.",
        },
        Row {
            label: "OPENED-BY-SPEED",
            when: "O?cmle",
            then: Effect::ShownOpen,
            prose: "The same for the debounce; the switch is then in doubt (next table).",
        },
        Row {
            label: "OPENED-BY-SPEED-SILENT",
            when: "O?mmle",
            then: Effect::ShownOpen,
            prose: "The same with a silent switch.",
        },
        Row {
            label: "FREED-BY-SPEED",
            when: "O?cmxe",
            then: Effect::ShownOpen,
            prose: "A lock that counted as stuck closed moves: it is free.",
        },
        Row {
            label: "FREED-BY-SPEED-SILENT",
            when: "O?mmxe",
            then: Effect::ShownOpen,
            prose: "The same with a silent switch.",
        },
        Row {
            label: "SLOW",
            when: "O?crl.",
            then: Effect::Keep,
            prose: "The switch says closed, nothing moves, the time-out is just over.",
        },
        Row {
            label: "SLOW-BLIND",
            when: "O?cul.",
            then: Effect::Keep,
            prose: "The same with unknown slip.",
        },
        Row {
            label: "SLOW-SILENT",
            when: "O?mrl.",
            then: Effect::Keep,
            prose: "The same with a silent switch.",
        },
        Row {
            label: "SLOW-SILENT-BLIND",
            when: "O?mul.",
            then: Effect::Keep,
            prose: "The same with neither.",
        },
        Row {
            label: "STUCK",
            when: "O?crx.",
            then: Effect::StuckClosed,
            prose: "It did not open: it counts as closed until it is shown open.",
        },
        Row {
            label: "STUCK-BLIND",
            when: "O?cux.",
            then: Effect::StuckClosed,
            prose: "The same with unknown slip.",
        },
        Row {
            label: "STUCK-SILENT",
            when: "O?mrx.",
            then: Effect::StuckClosed,
            prose: "Never shown open: it counts as closed.",
        },
        Row {
            label: "STUCK-SILENT-BLIND",
            when: "O?mux.",
            then: Effect::StuckClosed,
            prose: "The same with neither.",
        },
        Row {
            label: "STUCK-MOVING",
            when: "O?cmxb",
            then: Effect::StuckClosed,
            prose: "It begins to move: still stuck until it has moved for the debounce.",
        },
        Row {
            label: "STUCK-MOVING-SILENT",
            when: "O?mmxb",
            then: Effect::StuckClosed,
            prose: "The same with a silent switch.",
        },
    ],
};

/// What the update does to the doubt in a switch.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(crate) enum Doubt {
    Keep,
    Clear,
    Flag,
}

pub(crate) const SWITCH: Decisions<Doubt> = Decisions {
    title: "Whether a switch is in doubt",
    about: "Only a lock that is shown to be as ordered can speak against its switch. While a \
            switch is in doubt, no step is begun and none is prepared further.",
    columns: &[
        Column { name: "order", letters: "`C` ordered closed, `O` ordered open" },
        Column { name: "belief", letters: "`s` shown to be as ordered, `?` not shown" },
        Column {
            name: "switch",
            letters: "`c` says closed, `o` says open, `m` says nothing, `n` there is none",
        },
        Column { name: "slip", letters: "`u` unknown, `m` the sides move apart, `r` they do not" },
        Column { name: "debounce", letters: "`b` not yet long enough, `e` long enough" },
    ],
    rows: &[
        Row {
            label: "NOT-SHOWN",
            when: ".?...",
            then: Doubt::Keep,
            prose: "What the lock does is not known: no judgement.",
        },
        Row {
            label: "CLOSED-AGREES",
            when: "Csc..",
            then: Doubt::Clear,
            prose: "It says what the lock was shown to do.",
        },
        Row {
            label: "CLOSED-SILENT",
            when: "Csm..",
            then: Doubt::Clear,
            prose: "It says nothing, so nothing wrong.",
        },
        Row {
            label: "CLOSED-NO-SWITCH",
            when: "Csn..",
            then: Doubt::Clear,
            prose: "There is none.",
        },
        Row {
            label: "CLOSED-LOSING",
            when: "Csom.",
            then: Doubt::Clear,
            prose: "It says open and the sides move: it is right, the lock is being lost.",
        },
        Row {
            label: "CLOSED-DENIED",
            when: "Csorb",
            then: Doubt::Keep,
            prose: "It says open while the sides hold together; not yet for long enough to change anything.",
        },
        Row {
            label: "CLOSED-UNSEEN",
            when: "Csou.",
            then: Doubt::Clear,
            prose: "It says open and no slip speaks against it: the lock is being lost.",
        },
        Row {
            label: "CLOSED-LIES",
            when: "Csore",
            then: Doubt::Flag,
            prose: "It has said open for the debounce while the sides hold together.",
        },
        Row {
            label: "OPEN-AGREES",
            when: "Oso..",
            then: Doubt::Clear,
            prose: "It says what the lock was shown to do.",
        },
        Row { label: "OPEN-SILENT", when: "Osm..", then: Doubt::Clear, prose: "It says nothing." },
        Row { label: "OPEN-NO-SWITCH", when: "Osn..", then: Doubt::Clear, prose: "There is none." },
        Row {
            label: "OPEN-MAYBE",
            when: "Oscr.",
            then: Doubt::Clear,
            prose: "It says closed and may be right (REOPENED above).",
        },
        Row {
            label: "OPEN-MAYBE-BLIND",
            when: "Oscu.",
            then: Doubt::Clear,
            prose: "The same with unknown slip.",
        },
        Row {
            label: "OPEN-DENIED",
            when: "Oscmb",
            then: Doubt::Keep,
            prose: "It says closed while the sides move apart; not yet for long enough.",
        },
        Row {
            label: "OPEN-LIES",
            when: "Oscme",
            then: Doubt::Flag,
            prose: "It has said closed for the debounce while the sides move apart.",
        },
    ],
};

const REPORTS: [LockReport; 3] = [LockReport::Open, LockReport::Closed, LockReport::Missing];

struct Case {
    before: Locks,
    data: Lock,
    report: LockReport,
    slip: SlipBits,
}

fn letters(case: &Case, debounce: u16) -> (String, String) {
    let b = &case.before;
    let closed = b.ordered.has(0);
    let shown = if closed { b.closed.has(0) } else { b.open.has(0) };
    let since = b.since[0].saturating_add(1);
    let switch = match case.report {
        _ if !case.data.has_switch => 'n',
        LockReport::Open => 'o',
        LockReport::Closed => 'c',
        LockReport::Missing => 'm',
    };
    let slip = match case.slip {
        s if s.moving => 'm',
        s if s.known => 'r',
        _ => 'u',
    };
    let d = &case.data;
    let time = match (closed, since) {
        (true, t) if t < d.close_ticks => 'w',
        (true, _) => 'd',
        (false, t) if t < d.release_ticks => 'w',
        (false, t) if t < d.release_timeout => 'd',
        (false, t) if t <= d.release_timeout + debounce => 'l',
        (false, _) => 'x',
    };
    let enough = |count: u8| if u16::from(count.saturating_add(1)) >= debounce { 'e' } else { 'b' };
    let order = if closed { 'C' } else { 'O' };
    let belief = if shown { 's' } else { '?' };
    (
        [order, belief, switch, slip, time, enough(b.count[0])].iter().collect(),
        [order, belief, switch, slip, enough(b.doubt[0])].iter().collect(),
    )
}

fn expected(case: &Case, debounce: u16, hits: &mut std::collections::BTreeSet<&str>) -> Locks {
    let (belief, switch) = letters(case, debounce);
    let (row, doubt) = (BELIEF.row(&belief), SWITCH.row(&switch));
    hits.extend([row.label, doubt.label]);
    let mut after = case.before;
    after.since[0] = after.since[0].saturating_add(1);
    match doubt.then {
        Doubt::Keep => {}
        Doubt::Clear => after.switch = Bits::EMPTY,
        Doubt::Flag => after.switch = Bits::one(0),
    }
    let one = Bits::one(0);
    match row.then {
        Effect::Keep => {}
        Effect::ShownClosed => (after.closed, after.stuck_closed) = (one, Bits::EMPTY),
        Effect::ShownOpen => (after.open, after.stuck_closed) = (one, Bits::EMPTY),
        Effect::Unshown => (after.open, after.since[0]) = (Bits::EMPTY, 0),
        Effect::StuckClosed => after.stuck_closed = one,
        Effect::Lost => {
            (after.closed, after.ordered) = (Bits::EMPTY, Bits::EMPTY);
            after.stuck_open = if after.lost.has(0) { one } else { after.stuck_open };
            (after.lost, after.since[0]) = (one, 0);
        }
    }
    after
}

/// Every combination of order, belief, switch, slip bits, times at their edges, counters at
/// their edges and faults hits exactly one row of each table, and the code does what it says.
#[test]
fn every_combination_hits_one_row() {
    let mut owned = Owned::new();
    owned.locks.truncate(1);
    let debounce = owned.timing.debounce;
    let bit = |on: bool| Bits(u8::from(on));
    let mut hits = std::collections::BTreeSet::new();
    let mut combinations = 0u32;
    for bits in (0..1u32 << 11).step_by(STRIDE * STRIDE.min(3)) {
        let on = |n: u32| bits >> n & 1 == 1;
        owned.locks[0].has_switch = on(0);
        let data = owned.locks[0];
        let table = owned.table();
        // The guards promise that an unknown slip has no other bit.
        if !on(1) && bits & 0b11_1100 != 0 {
            continue;
        }
        let slip = if on(1) {
            SlipBits { known: true, within: on(2), near: on(3), steady: on(4), moving: on(5) }
        } else {
            SlipBits::default()
        };
        let ordered = on(6);
        let ends = [data.close_ticks, data.release_ticks, data.release_timeout];
        let edges = ends.iter().flat_map(|&t| t - 2..=t + 1).chain([0, 17, 18, 19, u16::MAX]);
        for since in edges.step_by(STRIDE.min(11)) {
            for count in [0, 1, 2, 255] {
                for doubt in [0, 1, 2] {
                    for report in REPORTS {
                        let mut before = Locks {
                            ordered: bit(ordered),
                            closed: bit(ordered && on(7)),
                            open: bit(!ordered && on(7)),
                            stuck_closed: bit(on(8)),
                            switch: bit(on(9)),
                            lost: bit(on(10)),
                            ..Locks::default()
                        };
                        (before.since[0], before.count[0], before.doubt[0]) = (since, count, doubt);
                        let case = Case { before, data, report, slip };
                        let want = expected(&case, debounce, &mut hits);
                        let mut told = Told::default();
                        (told.slip[0], told.report[0]) = (slip, report);
                        let mut after = before;
                        let lost = after.update(&table, &mut told);
                        assert_eq!(lost.has(0), ordered && !after.ordered.has(0));
                        (after.count, after.doubt) = (want.count, want.doubt);
                        assert_eq!(after, want, "{:?}", letters(&case, debounce));
                        combinations += 1;
                    }
                }
            }
        }
    }
    std::println!("{combinations} combinations");
    let rows = BELIEF.rows.iter().map(|r| r.label).chain(SWITCH.rows.iter().map(|r| r.label));
    for label in rows {
        assert!(cfg!(miri) || hits.contains(label), "row {label} is never hit: it is dead");
    }
}

/// An inconsistent step may name a lock that does not exist: it is never ordered, and no other
/// lock's belief is touched.
#[test]
fn a_lock_that_does_not_exist_is_never_ordered() {
    let mut locks = Locks { open: Bits(3), since: [7; 8], count: [1; 8], ..Locks::default() };
    let before = locks;
    for lock in [8, 200, 255] {
        locks.order(lock, true);
        locks.order(lock, false);
        assert_eq!(locks, before);
        assert_eq!(locks.ticks_since(lock), 0);
        locks.take_bytes(lock, [0xff; 5]);
        assert_eq!((locks, locks.to_bytes(lock)), (before, [0; 5]));
    }
    locks.order(1, true);
    assert_eq!((locks.ordered, locks.open), (Bits(2), Bits(1)));
    assert_eq!((locks.since, locks.count), ([7, 0, 7, 7, 7, 7, 7, 7], [1, 0, 1, 1, 1, 1, 1, 1]));
}
