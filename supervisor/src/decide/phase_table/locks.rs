//! Closing and opening a lock: the tables, and that the code does what they say.

use super::*;

pub(crate) const CLOSING: Decisions<To> = Decisions {
    title: "Closing a lock",
    about: "It has been ordered closed.",
    columns: &[
        Column { name: "shown closed", letters: YES_NO },
        Column { name: "time", letters: "`b` before the time-out, `e` over" },
        Column { name: "overlap", letters: "`o` it has lasted too long, `k` it has not" },
        Column {
            name: "slip",
            letters: "`u` unknown, `d` unknown for longer than the debounce, `w` within its limit or not \
                      moving, `l` has left its limit and moves",
        },
        Column { name: "attempt", letters: "`b` not the last one, `l` the last one" },
    ],
    rows: &[
        Row { label: "DONE", when: "y....", then: To::Done, prose: "Order, switch, speeds agree." },
        Row { label: "OVERLAP-OVER", when: "nbo..", then: To::Fails, prose: "It ends now." },
        Row { label: "WAITS", when: "nbkw.", then: To::Waits, prose: "Filling, or moving in." },
        Row {
            label: "WAITS-BLIND",
            when: "nbku.",
            then: To::Waits,
            prose: "A dropout: it is not shown closed before the slip is known again.",
        },
        Row {
            label: "BLIND",
            when: "nbkd.",
            then: To::Fails,
            prose: "Nobody sees whether the sides come apart before it presses: opened, tried again.",
        },
        Row { label: "LATE-UNSEEN", when: "ne.d.", then: To::Fails, prose: "The same." },
        Row {
            label: "CAME-APART",
            when: "nbkl.",
            then: To::Fails,
            prose: "The sides come apart before it holds: opened at once, tried again later.",
        },
        Row {
            label: "LATE",
            when: "ne.wb",
            then: To::Fails,
            prose: "Never shown closed: opened, tried again.",
        },
        Row { label: "LATE-APART", when: "ne.lb", then: To::Fails, prose: "The same, apart." },
        Row {
            label: "LATE-BLIND",
            when: "ne.u.",
            then: To::Fails,
            prose: "Without its slip nobody knows: opened, but not called stuck.",
        },
        Row {
            label: "STUCK",
            when: "ne.wl",
            then: To::Stuck,
            prose: "The last attempt: it counts as stuck open, and the table's ways around it apply.",
        },
        Row { label: "STUCK-APART", when: "ne.ll", then: To::Stuck, prose: "The same." },
    ],
};

pub(crate) const OPENING: Decisions<To> = Decisions {
    title: "Opening a lock",
    about: "It has been ordered open.",
    columns: &[
        Column { name: "shown open", letters: YES_NO },
        Column { name: "stuck closed", letters: YES_NO },
    ],
    rows: &[
        Row { label: "DONE", when: "y.", then: To::Done, prose: "Go on from the new lock set." },
        Row {
            label: "STUCK",
            when: "ny",
            then: To::Stuck,
            prose: "It counts as closed; the table's ways with it apply.",
        },
        Row { label: "WAITS", when: "nn", then: To::Waits, prose: "Not yet shown." },
    ],
};

#[test]
fn closing_and_opening_do_what_their_tables_say() {
    let owned = Owned::new();
    let table = owned.table();
    let late = table.locks[0].close_timeout;
    let near_but_moving = SlipBits { moving: true, ..READY };
    let far_but_still = SlipBits { within: false, near: false, ..READY };
    let slips = [
        (UNKNOWN, 'u'),
        (UNKNOWN, 'd'),
        (READY, 'w'),
        (near_but_moving, 'w'),
        (far_but_still, 'w'),
        (APART, 'l'),
    ];
    let mut hits = BTreeSet::new();
    for shown in [false, true] {
        for (ticks, over) in [(0, 0), (late, 0), (late, 1), (late + 1, 0), (u16::MAX, 1)] {
            for (slip, letter) in slips {
                for tries in [0, table.timing.retries - 1] {
                    let last = tries + 1 >= table.timing.retries;
                    let mut state = state_at(Bits::EMPTY);
                    state.locks.order(0, true);
                    state.locks.closed = if shown { A } else { Bits::EMPTY };
                    (state.ticks, state.tries) = (ticks, tries);
                    state.overlap = table.timing.overlap_max + over;
                    state.route = Some(Route { target: 0, way: 0 });
                    state.phase = Phase::Closing { step: 3 };
                    let blind_before = if letter == 'u' { 1 } else { 0 };
                    state.doubt = table.timing.debounce - blind_before;
                    let time = if ticks > late { 'e' } else { 'b' };
                    let overlap = if over > 0 { 'o' } else { 'k' };
                    let last_try = if last { 'l' } else { 'b' };
                    let letters: String =
                        [yes(shown), time, overlap, letter, last_try].iter().collect();
                    let row = CLOSING.row(&letters);
                    hits.insert(row.label);
                    let mut told = Told::default();
                    told.slip[0] = slip;
                    moves::closing(&table, &mut state, &mut told, 3);
                    let refusal = Some(match letter {
                        'd' => Refusal::Sensors { step: 3 },
                        _ if ticks > late => Refusal::NotClosed { lock: 0 },
                        _ if over > 0 => Refusal::OverlapTooLong,
                        _ => Refusal::SyncTimeout { lock: 0 },
                    });
                    let (phase, ordered, told_why, stuck) = match row.then {
                        To::Done => (Phase::Rest, true, None, false),
                        To::Waits => (Phase::Closing { step: 3 }, true, None, false),
                        To::Fails => (Phase::Settle, false, refusal, false),
                        To::Stuck => (Phase::Settle, false, refusal, true),
                        _ => unreachable!(),
                    };
                    assert_eq!((state.phase, state.refusal), (phase, told_why), "{letters}");
                    assert_eq!(state.locks.ordered.has(0), ordered, "{letters}");
                    assert_eq!(state.locks.stuck_open.has(0), stuck, "{letters}");
                    assert_eq!(state.route.is_none(), stuck, "a stuck lock has ways of its own");
                }
            }
        }
    }
    all_hit(&CLOSING, &hits);
    hits.clear();
    for (open, stuck) in [(false, false), (false, true), (true, false), (true, true)] {
        let mut state = state_at(A);
        state.locks.order(0, false);
        state.locks.open = state.locks.open.with(0, open);
        state.locks.stuck_closed = state.locks.stuck_closed.with(0, stuck);
        state.phase = Phase::Opening { step: 0 };
        let letters: String = [yes(open), yes(stuck)].iter().collect();
        let row = OPENING.row(&letters);
        hits.insert(row.label);
        moves::opening(&table, &mut state, 0);
        let refusal = (row.then == To::Stuck).then_some(Refusal::NotOpened { lock: 0 });
        let phase = match row.then {
            To::Done => Phase::Rest,
            To::Stuck => Phase::Settle,
            _ => Phase::Opening { step: 0 },
        };
        assert_eq!((state.phase, state.refusal), (phase, refusal), "{letters}");
    }
    all_hit(&OPENING, &hits);
}
