//! What `decide` does in each phase, as decision tables, and the test of all of them.

use std::collections::BTreeSet;
use std::string::String;

use super::{Plan, State, moves, rest};
use crate::bits::Bits;
use crate::choose::Route;
use crate::decision_tables::{Column, Decisions, Row};
use crate::fixture::{APART, Owned, READY, STRIDE, Told, UNKNOWN};
use crate::guards::SlipBits;
use crate::status::{Phase, Refusal};
use crate::table::{EngineNeed, EngineUse, Timing, Window};

pub(crate) use locks::{CLOSING, OPENING};

mod locks;

/// Where one tick of a phase leads.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(crate) enum To {
    /// Back to rest; nothing has moved.
    Rest,
    /// Goes on, and the guards have to hold anew.
    Again,
    /// Goes on; the guards have held for a tick more.
    Holds,
    /// The lock is ordered.
    Begins,
    /// The attempt failed; the last one leads to the next way.
    Fails,
    /// Waits in the same phase.
    Waits,
    /// The lock action is done.
    Done,
    /// The lock counts as stuck.
    Stuck,
    /// Waits until every lock is known.
    Settles,
    /// Lets a lock of a conflict go.
    LetsGo,
    /// Nothing to do.
    Stays,
    /// The goal is reached.
    Arrives,
    /// The goal is reached outside its window: after a while it is given up.
    Leaves,
    /// Waits for the engine; after a while the goal is given up.
    AwaitsEngine,
    /// The goal is given up.
    GivesUp,
    /// No step may be taken; after a while, in an overlap at once, the reason is told.
    Blocked,
    /// A step is prepared.
    Prepares,
}

const YES_NO: &str = "`y` yes, `n` no";

pub(crate) const PREPARE: Decisions<To> = Decisions {
    title: "Preparing a step",
    about: "The machines synchronise or unload. Nothing is ordered until the guards have held \
            for the dwell.",
    columns: &[
        Column {
            name: "locks",
            letters: "`y` every lock is known and where the step begins, `n` not",
        },
        Column {
            name: "allowed",
            letters: "`y` the step may be taken and no switch is in doubt, `n` not",
        },
        Column {
            name: "doubt",
            letters: "`b` refused for no longer than the debounce, `e` longer",
        },
        Column { name: "overlap", letters: "`o` it has lasted too long, `k` it has not" },
        Column {
            name: "guards",
            letters: "`y` slip ready and shafts at rest, or unloaded; `n` not",
        },
        Column {
            name: "dwell",
            letters: "`b` not yet held for the dwell, `e` held with this tick",
        },
        Column { name: "time", letters: "`b` before the time-out, `e` over with this tick" },
    ],
    rows: &[
        Row {
            label: "MOVED",
            when: "n......",
            then: To::Rest,
            prose: "The locks are elsewhere, or one is not known any more: look again from where they are.",
        },
        Row {
            label: "BROKEN-OFF",
            when: "yne....",
            then: To::Rest,
            prose: "Refused for longer than a flicker: look for another way.",
        },
        Row {
            label: "OVERLAP-OVER",
            when: "yy.o...",
            then: To::Rest,
            prose: "An overlap ends now, not after this step.",
        },
        Row { label: "OVERLAP-OVER-DOUBTED", when: "ynbo...", then: To::Rest, prose: "The same." },
        Row {
            label: "DOUBTED",
            when: "ynbk..b",
            then: To::Again,
            prose: "A flicker of a guard or a dropout of a sensor: wait, and the dwell begins anew.",
        },
        Row {
            label: "DOUBTED-LATE",
            when: "ynbk..e",
            then: To::Fails,
            prose: "Out of time; the guard that fails now is the reason told.",
        },
        Row {
            label: "NOT-READY",
            when: "yy.kn.b",
            then: To::Again,
            prose: "Not synchronous, not at rest or not unloaded yet.",
        },
        Row {
            label: "NOT-READY-LATE",
            when: "yy.kn.e",
            then: To::Fails,
            prose: "Out of time: SyncTimeout or UnloadTimeout.",
        },
        Row {
            label: "HOLDS",
            when: "yy.kybb",
            then: To::Holds,
            prose: "The guards hold; in the second half of the dwell a friction lock is filled to its kiss point.",
        },
        Row {
            label: "HOLDS-LATE",
            when: "yy.kybe",
            then: To::Fails,
            prose: "Out of time though the guards hold just now.",
        },
        Row {
            label: "BEGINS",
            when: "yy.kye.",
            then: To::Begins,
            prose: "The lock is ordered; the interlock judges the order by itself.",
        },
    ],
};

pub(crate) const REST: Decisions<To> = Decisions {
    title: "At rest, with a goal",
    about: "Every lock is known and nothing moves; the goal has not been given up.",
    columns: &[
        Column { name: "known", letters: "`y` every lock is known, `n` not" },
        Column { name: "conflict", letters: "`y` a forbidden lock set is held, `n` not" },
        Column {
            name: "goal",
            letters: "`-` none, and an arrangement stands; `h` it stands here; `e` its locks are closed but the engine does not run; `o` elsewhere",
        },
        Column { name: "window", letters: "`y` road speed inside the goal's window, `n` not" },
        Column {
            name: "stay",
            letters: "`b` an arrangement stands for less than the shortest stay, `e` longer or none",
        },
        Column { name: "overlap", letters: "`o` it has lasted too long, `k` it has not" },
        Column { name: "switches", letters: "`y` none in doubt, `n` one is" },
        Column {
            name: "step",
            letters: "`s` one may be taken, `e` the engine must run first, `r` none may",
        },
    ],
    rows: &[
        Row {
            label: "UNKNOWN",
            when: "n.......",
            then: To::Settles,
            prose: "Torque is cut until it is known again.",
        },
        Row {
            label: "CONFLICT",
            when: "yy......",
            then: To::LetsGo,
            prose: "One lock of it is let go, loaded or not.",
        },
        Row {
            label: "NOTHING-ASKED",
            when: "yn-.....",
            then: To::Stays,
            prose: "The arrangement stays.",
        },
        Row {
            label: "ARRIVED",
            when: "ynhy....",
            then: To::Arrives,
            prose: "The goal is reached.",
        },
        Row {
            label: "OUTSIDE",
            when: "ynhn....",
            then: To::Leaves,
            prose: "The road speed has left the window of the arrangement: after a while it is given up for the fallback.",
        },
        Row {
            label: "ENGINE-LATE",
            when: "yne.....",
            then: To::AwaitsEngine,
            prose: "The locks are closed, the engine is not running yet, or no longer.",
        },
        Row {
            label: "STAYS",
            when: "yno.b...",
            then: To::Stays,
            prose: "The shortest stay in an arrangement.",
        },
        Row {
            label: "OVERLAP-OVER",
            when: "yno.eo..",
            then: To::GivesUp,
            prose: "On to the fallback at once.",
        },
        Row {
            label: "SWITCH",
            when: "yno.ekn.",
            then: To::Blocked,
            prose: "A switch and the speeds contradict each other: no step.",
        },
        Row {
            label: "GOAL-WINDOW",
            when: "ynoneky.",
            then: To::Blocked,
            prose: "The goal does not fit this road speed.",
        },
        Row {
            label: "PREPARES",
            when: "ynoyekys",
            then: To::Prepares,
            prose: "The first way whose step may be taken.",
        },
        Row {
            label: "ENGINE-FIRST",
            when: "ynoyekye",
            then: To::AwaitsEngine,
            prose: "The engine is started first.",
        },
        Row {
            label: "REFUSED",
            when: "ynoyekyr",
            then: To::Blocked,
            prose: "No way may be taken now. In an overlap the goal is given up at once.",
        },
    ],
};

const A: Bits = Bits::one(0);
const B: Bits = Bits::one(1);

/// A state whose locks are shown closed (`held`) and open (the others).
fn state_at(held: Bits) -> State {
    let mut state = State::default();
    state.locks.ordered = held;
    state.locks.closed = held;
    state.locks.open = Bits(3).without(held);
    state
}

fn yes(b: bool) -> char {
    if b { 'y' } else { 'n' }
}

fn all_hit<E>(table: &Decisions<E>, hits: &BTreeSet<&str>) {
    for row in table.rows {
        assert!(
            cfg!(miri) || hits.contains(row.label),
            "{}: row {} is dead",
            table.title,
            row.label
        );
    }
}

/// Guards that refuse in one of several ways, or allow.
fn refusing(kind: u32) -> Told {
    let mut told = Told::default();
    match kind {
        1 => told.plausible = false,
        2 => told.in_window = false,
        3 => told.demand_within = false,
        _ => {}
    }
    told
}

/// A state that prepares in one of the ways that the lowest five bits tell.
fn preparing_at(t: &Timing, from: Bits, bits: u32, kind: u32) -> State {
    let on = |n: u32| bits >> n & 1 == 1;
    let mut state = state_at(from);
    state.locks.open = if on(0) { Bits::EMPTY } else { state.locks.open };
    state.locks.closed = if on(1) { B } else { state.locks.closed };
    state.locks.switch = if kind == 4 { A } else { Bits::EMPTY };
    state.overlap = if on(2) { t.overlap_max + 1 } else { t.overlap_max };
    state.given_up = on(3);
    state.tries = if on(4) { t.retries - 1 } else { 0 };
    state.route = Some(Route { target: 0, way: 0 });
    state
}

#[test]
fn preparing_does_what_its_table_says() {
    let owned = Owned::new();
    let table = owned.table();
    let t = table.timing;
    let mut hits = BTreeSet::new();
    let mut combinations = 0;
    // Step 3 closes the friction lock, 1 the dog, 0 opens the friction lock.
    for (number, lock, from) in [(3u16, 0u8, Bits::EMPTY), (1, 1, Bits::EMPTY), (0, 0, A)] {
        let close = number != 0;
        let limit = if close { t.sync_timeout } else { t.unload_timeout };
        for bits in (0..1u32 << 8).step_by(STRIDE) {
            let on = |n: u32| bits >> n & 1 == 1;
            for kind in 0..5 {
                for (doubt, spent, ready) in
                    edges(t.debounce, limit, t.dwell).step_by(STRIDE.min(5))
                {
                    let mut state = preparing_at(&t, from, bits, kind);
                    (state.doubt, state.spent) = (doubt, spent);
                    state.phase = Phase::Prepare { step: number, ready };
                    let mut told = refusing(kind);
                    told.slip[usize::from(lock)].steady = on(5);
                    told.at_rest = on(6);
                    told.unloaded = on(7);
                    let known = state.locks.all_known(&table) && state.held() == from;
                    let allowed = kind == 0;
                    let guards = if close { on(5) && on(6) } else { on(7) };
                    let letters: String = [
                        yes(known),
                        yes(allowed),
                        if !allowed && doubt >= t.debounce { 'e' } else { 'b' },
                        if on(2) && !on(3) { 'o' } else { 'k' },
                        yes(guards),
                        if ready + 1 >= t.dwell { 'e' } else { 'b' },
                        if spent >= limit { 'e' } else { 'b' },
                    ]
                    .iter()
                    .collect();
                    let row = PREPARE.row(&letters);
                    hits.insert(row.label);
                    let mut after = state;
                    let plan = moves::prepare(&table, &mut after, &mut told, number, ready);
                    let same = Phase::Prepare { step: number, ready: 0 };
                    let ordered = if close { from.or(Bits::one(lock)) } else { Bits::EMPTY };
                    let fill = close && lock == 0 && 2 * (ready + 1) >= t.dwell;
                    match row.then {
                        To::Rest => assert_eq!(after.phase, Phase::Rest),
                        To::Again => assert_eq!((after.phase, after.prefill), (same, Bits::EMPTY)),
                        To::Holds => {
                            let next = Phase::Prepare { step: number, ready: ready + 1 };
                            assert_eq!(after.phase, next);
                            assert_eq!(after.prefill, if fill { A } else { Bits::EMPTY });
                        }
                        To::Begins if close => {
                            assert_eq!(after.phase, Phase::Closing { step: number })
                        }
                        To::Begins => assert_eq!(after.phase, Phase::Opening { step: number }),
                        To::Fails => {
                            assert_eq!(after.phase, Phase::Settle);
                            assert!(after.refusal.is_some());
                            assert_eq!(
                                after.given_up,
                                on(3) || on(4),
                                "no other way in this table"
                            );
                        }
                        _ => unreachable!(),
                    }
                    let begins = row.then == To::Begins;
                    assert_eq!(
                        after.locks.ordered,
                        if begins { ordered } else { state.locks.ordered }
                    );
                    assert_eq!(plan, if known { Plan::Step(number) } else { Plan::Cut });
                    combinations += 1;
                }
            }
        }
    }
    std::println!("{combinations} combinations");
    all_hit(&PREPARE, &hits);
}

fn edges(debounce: u16, limit: u16, dwell: u16) -> impl Iterator<Item = (u16, u16, u16)> {
    let doubts = [0, debounce - 1, debounce, u16::MAX];
    doubts.into_iter().flat_map(move |doubt| {
        [0, limit - 1, limit, u16::MAX].into_iter().flat_map(move |spent| {
            [0, dwell - 2, dwell - 1].into_iter().map(move |ready| (doubt, spent, ready))
        })
    })
}

#[test]
fn rest_does_what_its_table_says() {
    let mut owned = Owned::new();
    let t = owned.timing;
    // Arrangement 1 needs the engine; so does the step that closes its lock.
    owned.arrangements[1].engine = EngineUse::On;
    owned.steps[1].engine = EngineNeed::Running;
    owned.arrangements[1].window = Window { min: -1.0, max: 1.0 };
    let table = owned.table();
    let mut hits = BTreeSet::new();
    let mut combinations = 0;
    for bits in (0..1u32 << 10).step_by(STRIDE) {
        let on = |n: u32| bits >> n & 1 == 1;
        for held in 0..4u8 {
            for goal in [None, Some(0), Some(1)] {
                let held = Bits(held);
                let mut state = state_at(held);
                state.phase = Phase::Rest;
                for _ in 0..t.request_dwell {
                    state.request.update(&table, goal);
                }
                if on(0) {
                    state.locks.open = Bits::EMPTY;
                }
                state.stay = if on(1) { t.min_stay } else { t.min_stay - 1 };
                state.overlap = if on(2) { t.overlap_max + 1 } else { t.overlap_max };
                state.locks.switch = if on(3) { A } else { Bits::EMPTY };
                let on_its_way = on(4) && goal.is_some();
                state.route = goal.filter(|_| on_its_way).map(|target| Route { target, way: 0 });
                let mut told = Told {
                    arrangement_in_window: on(5),
                    engine_running: on(6),
                    cool: on(7),
                    demand_within: on(8),
                    ..Told::default()
                };
                let stands_here = held == A || (held == B && on(6));
                let letter = match goal {
                    // Outside its window an arrangement is left even when nothing is asked:
                    // the fallback's business, tested apart.
                    None if !stands_here || !on(5) => continue,
                    None => '-',
                    Some(g) if Bits::one(g) != held => 'o',
                    Some(1) if !on(6) => 'e',
                    Some(_) => 'h',
                };
                let engine_first = held == Bits::EMPTY && goal == Some(1) && !on(6);
                let closes = held == Bits::EMPTY;
                let choice = match () {
                    () if engine_first => 'e',
                    () if !on(8) || (closes && !on(7)) => 'r',
                    () => 's',
                };
                let staying = !on(1) && stands_here && !on_its_way;
                let letters: String = [
                    yes(state.locks.all_known(&table)),
                    yes(held == Bits(3)),
                    letter,
                    yes(on(5)),
                    if staying { 'b' } else { 'e' },
                    if on(2) { 'o' } else { 'k' },
                    yes(!on(3)),
                    choice,
                ]
                .iter()
                .collect();
                let row = REST.row(&letters);
                hits.insert(row.label);
                let before = state;
                rest::rest(&table, &mut state, &mut told);
                check_rest(row.then, &before, &state, &letters);
                combinations += 1;
            }
        }
    }
    std::println!("{combinations} combinations");
    all_hit(&REST, &hits);
}

fn check_rest(then: To, before: &State, after: &State, letters: &str) {
    let prepares = matches!(after.phase, Phase::Prepare { ready: 0, .. });
    match then {
        To::Settles => assert_eq!(after.phase, Phase::Settle),
        To::LetsGo => {
            assert_eq!(after.locks.ordered, A, "the host's choice goes first");
            assert_eq!(after.phase, Phase::Settle);
        }
        To::Prepares => assert!(prepares, "{letters}"),
        _ => assert_eq!(after.phase, Phase::Rest, "{letters}"),
    }
    if then != To::LetsGo {
        assert_eq!(after.locks, before.locks, "rest moves no lock: {letters}");
    }
    let counted = |a: u16, b: u16| a == b + 1;
    match then {
        To::Stays => assert_eq!((after.blocked, after.engine_wait), (before.blocked, 0)),
        To::Arrives => assert_eq!((after.stood, after.route), (before.request.accepted(), None)),
        To::Leaves => assert!(counted(after.blocked, before.blocked), "{letters}"),
        To::Blocked => {
            let ended = before.overlap > 0 && !before.given_up && after.given_up;
            assert!(ended || counted(after.blocked, before.blocked), "{letters}");
        }
        To::AwaitsEngine => assert!(counted(after.engine_wait, before.engine_wait), "{letters}"),
        To::GivesUp => {
            assert_eq!(after.refusal, Some(Refusal::OverlapTooLong));
            assert!(after.given_up);
        }
        _ => {}
    }
}
