//! Decision and interlock together: the first tick after a reset, and orders from outside.

use super::{Kernel, Ruling};
use crate::bits::Bits;
use crate::fixture::{APART, Owned, Told, UNKNOWN, ticks};
use crate::guards::Guards;
use crate::io::LockOrder::{Close, Open as OrderOpen, Prefill};
use crate::io::LockReport::{Closed, Missing, Open};
use crate::table::{Overlap, Table};
use crate::trace::Trace;

const A: Bits = Bits::one(0);
const B: Bits = Bits::one(1);
const NONE: Bits = Bits::EMPTY;

/// A kernel for which every lock has been open for long enough.
fn settled(table: &Table, told: &mut Told) -> Kernel {
    let mut kernel = Kernel::default();
    for _ in 0..50 {
        let ruling = kernel.step_wanting(table, told, NONE, NONE);
        assert_eq!((ruling.passed, ruling.let_go), (NONE, NONE));
    }
    kernel
}

#[test]
fn orders_of_the_locks() {
    let ruling = Ruling { passed: Bits(0b0110), granted: Bits(0b0010), ..Ruling::default() };
    let orders = ruling.lock_orders();
    assert_eq!(orders[..4], [OrderOpen, Close, Prefill, OrderOpen]);
    assert!(orders[4..].iter().all(|&order| order == OrderOpen));
}

/// Orders from outside pass the same gate, tick by tick, and decide remembers nothing of them.
#[test]
fn orders_from_outside_pass_the_same_gate() {
    let owned = Owned::new();
    let table = owned.table();
    let mut told = Told::default();
    let mut fresh = Kernel::default();
    let ruling = fresh.step_wanting(&table, &mut told, A, NONE);
    assert_eq!(ruling.granted, NONE, "just reset: everything may be closed");
    let mut kernel = settled(&table, &mut told);
    assert_eq!(kernel.watch().possibly_closed(&table, &told.reports(&table)), NONE);
    let filled = kernel.step_wanting(&table, &mut told, NONE, A);
    assert_eq!((filled.passed, filled.granted), (A, NONE));
    assert_eq!(filled.lock_orders()[0], Prefill);
    let closed = kernel.step_wanting(&table, &mut told, A, NONE);
    assert_eq!((closed.passed, closed.granted, closed.seen.granted), (A, A, NONE));
    told.report[0] = Closed;
    let second = kernel.step_wanting(&table, &mut told, Bits(3), NONE);
    assert_eq!((second.granted, second.let_go), (A, NONE), "the other one would conflict");
    assert_eq!((kernel.watch().granted(), kernel.state().held()), (A, NONE));
    // The other one closes by itself: a conflict, which is ended.
    told.report[1] = Closed;
    let ended = kernel.step_wanting(&table, &mut told, A, NONE);
    assert_eq!((ended.passed, ended.let_go, ended.seen.surely_held), (NONE, A, Bits(3)));
}

/// A closing begins with its own slip, whatever the slip of the others is.
#[test]
fn only_the_new_lock_is_asked_for_its_slip() {
    let owned = Owned::new();
    let table = owned.table();
    for (slips, begins) in
        [([APART, Told::default().slip[1]], false), ([Told::default().slip[0], APART], true)]
    {
        let mut told = Told::default();
        let mut kernel = settled(&table, &mut told);
        (told.slip[0], told.slip[1]) = (slips[0], slips[1]);
        let ruling = kernel.step_wanting(&table, &mut told, A, NONE);
        assert_eq!((ruling.granted == A, ruling.seen.ready == A), (begins, begins));
    }
}

/// Machines are asked for when the closing would hold them, and only then.
#[test]
fn an_overlap_asks_for_rest() {
    let mut owned = Owned::new();
    owned.conflicts.clear();
    owned.overlaps = std::vec![Overlap { locks: Bits(3), machines: Bits(0b10) }];
    let table = owned.table();
    for (at_rest, report, begins) in [
        (true, Closed, true),
        (true, Open, true),
        (false, Closed, false),
        (false, Open, true),
        (false, Missing, false),
    ] {
        let mut told = Told::default();
        let mut kernel = settled(&table, &mut told);
        (told.at_rest, told.report[1]) = (at_rest, report);
        let ruling = kernel.step_wanting(&table, &mut told, A, NONE);
        assert_eq!(ruling.granted == A, begins, "{at_rest} {report:?}");
        let asked = at_rest && report != Open;
        assert_eq!(ruling.seen.at_rest, if asked { Bits(0b10) } else { NONE });
    }
}

/// What is kept at a reset: granted by the last supervisor, said closed or without a switch, and
/// known not to move. Without a trace nothing is.
#[test]
fn what_is_kept_at_the_reset() {
    let mut owned = Owned::new();
    owned.conflicts.clear();
    let still = Told::default().slip[0];
    let all = Trace::pressing(Bits(3)).watch;
    for (kept, has_switch, report, slip, stays) in [
        (Some(all), true, Closed, still, true),
        (Some(all), true, Closed, UNKNOWN, false),
        (Some(all), true, Closed, APART, false),
        (Some(all), true, Open, still, false),
        (Some(all), true, Missing, still, false),
        (Some(all), false, Missing, still, true),
        (Some(all), false, Missing, APART, false),
        (Some(Trace::pressing(B).watch), true, Closed, still, false),
        (Some(Trace::pressing(A).watch), true, Closed, still, true),
        (None, true, Closed, still, false),
    ] {
        owned.locks[0].has_switch = has_switch;
        let table = owned.table();
        let mut told = Told::default();
        (told.report[0], told.slip[0]) = (report, slip);
        for engine_running in [false, true] {
            told.engine_running = engine_running;
            let mut kernel = Kernel::after_reset(kept);
            assert!(kernel.watch().is_asleep());
            let ruling = kernel.step(&table, &mut told);
            assert!(!kernel.watch().is_asleep());
            assert_eq!(ruling.granted == A, stays, "{report:?} {slip:?}");
            assert_eq!(kernel.state().locks().ordered, ruling.granted);
            assert_eq!(ruling.decision.engine_run, engine_running, "an engine goes on as it is");
        }
    }
}

/// A memory before its first tick is stored and comes back as such, and with what was kept.
#[test]
fn a_memory_before_its_first_tick_is_stored() {
    let owned = Owned::new();
    let table = owned.table();
    let fresh = Kernel::default();
    let kept = Kernel::after_reset(Some(Trace::pressing(A).watch));
    let mut woken = kept;
    let _ = woken.step(&table, &mut Told::default());
    assert!(Kernel::after_reset(Some(*woken.watch())).watch().is_asleep(), "it begins anew");
    let woken = woken.canonical(&table);
    for kernel in [fresh, kept, woken] {
        assert_eq!(Kernel::from_bytes(&kernel.to_bytes()), kernel);
    }
    assert!(fresh.to_bytes() != kept.to_bytes() && fresh.to_bytes() != woken.to_bytes());
}

/// Only a lock without a switch has to be seen moving before it counts as open.
#[test]
fn a_lock_without_a_switch_is_seen_moving() {
    let mut owned = Owned::new();
    owned.locks[1].has_switch = false;
    let table = owned.table();
    let mut told = Told::default();
    let mut kernel = settled(&table, &mut told);
    assert_eq!(kernel.watch().possibly_closed(&table, &told.reports(&table)), B);
    assert_eq!(kernel.step_wanting(&table, &mut told, A, NONE).granted, NONE, "it may be closed");
    told.slip[1] = APART;
    let _ = kernel.step_wanting(&table, &mut told, NONE, NONE);
    told.slip[1] = Told::default().slip[1];
    assert_eq!(kernel.watch().possibly_closed(&table, &told.reports(&table)), NONE);
    assert_eq!(kernel.step_wanting(&table, &mut told, A, NONE).granted, A);
}

/// A driveline in which nothing changes is soon one memory for a search, however long it lasts:
/// waking, at rest in an arrangement, and stuck with a lock that does not open.
#[test]
fn waiting_ends_in_one_memory() {
    let owned = Owned::new();
    let table = owned.table();
    for (request, reports, kept) in [
        (None, [Open, Open], NONE),
        (None, [Missing, Open], NONE),
        (Some(0), [Closed, Open], A),
        (Some(1), [Open, Closed], B),
        (Some(0), [Open, Closed], NONE),
    ] {
        let mut told = Told { request, ..Told::default() };
        (told.report[0], told.report[1]) = (reports[0], reports[1]);
        let mut kernel = Kernel::after_reset(Some(Trace::pressing(kept).watch));
        for _ in 0..ticks(1500).max(300) {
            let _ = kernel.step(&table, &mut told);
        }
        let early = kernel;
        for _ in 0..77 {
            let _ = kernel.step(&table, &mut told);
        }
        assert_ne!(early, kernel, "it counts on");
        assert_eq!(early.canonical(&table), kernel.canonical(&table), "{request:?} {reports:?}");
    }
}
