//! Exploration of the real kernel: pinned state counts, and a planted defect for every property.

use host_sim::driveline::Driveline;
use host_sim::explore::live::liveness;
use host_sim::explore::model::{Always, Model, Node, Subject};
use host_sim::explore::path::words;
use host_sim::explore::search::{Bounds, Found, search};
use host_sim::explore::senses::Forced;
use host_sim::explore::shrink::shrunk;
use host_sim::kinematics::{Kinematics, analyse};
use host_sim::table::{TableData, build};
use slipwarden_tests::drivelines::{axle, shuttle};
use supervisor::bits::Bits;
use supervisor::table::{Conflict, Stuck, WAYS};

fn bounds(threads: usize) -> Bounds {
    Bounds { states: 1_000_000, bytes: 1 << 30, threads }
}

fn prepared(d: &Driveline) -> (Kinematics, TableData) {
    let k = analyse(d).expect("the output turns");
    let data = shrunk(&build(d, &k).expect("a demo makes a table"));
    (k, data)
}

/// Explore until everything is explored or a property is broken.
fn explored(d: &Driveline, k: &Kinematics, data: &TableData, subject: Subject) -> Found {
    let forced = Forced::new(d, k);
    let model = Model { table: data.table(), forced: &forced, budget: 0, subject };
    search(&model, &bounds(2), |_, _, _, _| true)
}

/// Every reachable state without lock faults, but with every sensor, load, request, engine and
/// reset against it. The counts are pinned: a change of the kernel that changes them is looked at.
#[test]
fn the_axle_holds_in_every_state() {
    let d = axle();
    let (k, data) = prepared(&d);
    let found = explored(&d, &k, &data, Subject::Kernel);
    assert!(found.complete);
    assert!(found.broken.is_empty(), "{:?}", found.broken.keys());
    assert_eq!(found.sometimes.arrangements.len(), 3, "every arrangement stands at some time");
    assert_eq!((found.store.len(), found.depth), AXLE, "states and depth");
    let forced = Forced::new(&d, &k);
    let model = Model { table: data.table(), forced: &forced, budget: 0, subject: Subject::Kernel };
    let live = liveness(&model, &found);
    assert_eq!(live.stuck, None);
    assert_eq!(live.bound, AXLE_TICKS, "ticks of the shrunk table");
    assert!(live.arrived > live.refused);
}

const AXLE: (usize, u32) = (265_187, 60);
const AXLE_TICKS: u32 = 15;

/// Two entries of the table that send each other round in a circle: every safety property holds,
/// and liveness finds it.
#[test]
fn a_table_that_goes_in_circles_is_found() {
    let d = axle();
    let (k, mut data) = prepared(&d);
    let (high, low, open) = (1, 0, Bits(0b100));
    let back = data.table().next_step(0, Stuck::None, open, low).expect("a way to low");
    let (sets, arrangements) = (data.sets.len(), data.arrangements.len());
    let stuck_variants = 1 + 2 * d.locks.len();
    for way in 0..WAYS {
        let row = way * stuck_variants * sets + usize::from(open.0);
        data.next[row * arrangements + usize::from(high)] = back;
    }
    let forced = Forced::new(&d, &k);
    let model = Model { table: data.table(), forced: &forced, budget: 0, subject: Subject::Kernel };
    let found = search(&model, &bounds(2), |_, _, _, _| true);
    assert!(found.complete && found.broken.is_empty());
    let live = liveness(&model, &found);
    assert_eq!(live.stuck.map(|(_, arrangement)| arrangement), Some(high));
}

#[test]
fn threads_change_nothing() {
    let d = axle();
    let (k, data) = prepared(&d);
    let forced = Forced::new(&d, &k);
    let model =
        Model { table: data.table(), forced: &forced, budget: 0, subject: Subject::InterlockAlone };
    let count = |threads| {
        let found = search(&model, &bounds(threads), |_, _, depth, _| depth < 7);
        (found.store.len(), found.transitions, found.depth)
    };
    assert_eq!(count(1), count(3));
}

/// A bound that is reached is not a pass.
#[test]
fn a_bound_makes_it_incomplete() {
    let d = axle();
    let (k, data) = prepared(&d);
    let forced = Forced::new(&d, &k);
    let model = Model { table: data.table(), forced: &forced, budget: 0, subject: Subject::Kernel };
    let found = search(&model, &Bounds { states: 500, ..bounds(1) }, |_, _, _, _| true);
    assert!(!found.complete && found.store.len() >= 500);
}

/// With any orders at all and nothing denied, every property is broken: none is vacuous.
#[test]
fn every_property_fires_without_the_gate() {
    let d = shuttle();
    let (k, data) = prepared(&d);
    let found = explored_until(&d, &k, &data, Subject::NoGate, 2_000);
    let fired: Vec<Always> = found.broken.keys().copied().collect();
    assert_eq!(fired, Always::ALL);
}

/// The interlock alone keeps them all, whatever is ordered.
#[test]
fn nothing_breaks_the_interlock_alone() {
    let d = shuttle();
    let (k, data) = prepared(&d);
    let found = explored_until(&d, &k, &data, Subject::InterlockAlone, 3_000);
    assert!(found.broken.is_empty(), "{:?}", found.broken.keys());
}

/// A conflict set lost from the interlock's data is found, the true sets being the judge.
#[test]
fn a_lost_conflict_set_is_found() {
    let d = shuttle();
    let (k, data) = prepared(&d);
    let mut lost = data.clone();
    lost.conflicts.clear();
    let forced = Forced::new(&d, &k);
    let subject = Subject::InterlockAlone;
    let model = Model { table: lost.table(), forced: &forced, budget: 0, subject };
    let judge = data.table();
    let pressed = |n: &Node| n.closing.or(n.filling).or(n.world.pressed());
    let mut seen = false;
    let _ = search(&model, &bounds(2), |store, _, _, _| {
        seen = (0..store.len() as u32).any(|n| judge.forbids(pressed(store.node(n))));
        !seen && store.len() < 60_000
    });
    assert!(seen, "a forbidden lock set is pressed and nobody notices");
}

fn explored_until(
    d: &Driveline,
    k: &Kinematics,
    data: &TableData,
    subject: Subject,
    states: usize,
) -> Found {
    let forced = Forced::new(d, k);
    let model = Model { table: data.table(), forced: &forced, budget: 0, subject };
    search(&model, &Bounds { states, ..bounds(2) }, |_, _, _, _| true)
}

/// A set that the decision closes in its ordinary work, declared forbidden: without the interlock
/// it is closed, and the shortest way there is told tick by tick.
#[test]
fn a_way_to_a_broken_property_is_told_in_words() {
    let d = shuttle();
    let (k, data) = prepared(&d);
    let mut strict = data.clone();
    strict.conflicts.push(Conflict { locks: Bits(0b010), release_first: 1 });
    let forced = Forced::new(&d, &k);
    let subject = Subject::DecisionAlone;
    let model = Model { table: strict.table(), forced: &forced, budget: 0, subject };
    let found = search(&model, &bounds(2), |store, _, _, _| store.len() < 60_000);
    let (parent, last) = found.broken.get(&Always::NoConflict).expect("it is broken");
    let lines = words(&d, &model, &found, *parent, last);
    let ordered = |l: &String| {
        l.contains("orders closed ring-clutch") || l.contains("orders filled ring-clutch")
    };
    assert!(ordered(lines.last().expect("a way")), "{lines:#?}");
    assert_eq!(lines.len() as u32, found_depth(&found, *parent) + 2, "a shortest way");
}

fn found_depth(found: &Found, number: u32) -> u32 {
    found.store.path_to(number).len() as u32 - 1
}
