//! Board and host on the same inputs: orders, status and memory equal bit for bit.

use host_sim::campaign::{Court, World, case};
use host_sim::review::Subject;
use host_sim::rig::Via;
use host_sim::rig::lockstep::Lockstep;
use std::cell::RefCell;

use crate::images::{Demo, drive, image};

/// Ticks that are compared at least.
const MILLION: u64 = 1_000_000;
/// Seed of the campaign whose cases fill the million; it has two faults in each case.
const SEED: u64 = 20;

/// The ready scenarios of the shuttle, then cases of a campaign until a million ticks are full.
#[test]
fn a_million_ticks_are_equal() {
    let demo = Demo::new("shuttle");
    let mut link = demo.link(image("pipes", "release", "shuttle"), Via::Pipes).expect("it greets");
    let mut board = Lockstep::new(&mut link);
    for scenario in ["shuttle-tour", "shuttle-stuck-ring-brake", "shuttle-reset"] {
        drive(&demo, &mut board, &demo.setup(scenario), u64::MAX);
        assert!(board.mismatch.is_none(), "{scenario}: {}", told(&board));
    }
    let world = World::new(Subject::read("shuttle", 1).expect("embedded"));
    let prepared = world.prepared().expect("it has a plant");
    let table = *prepared.table();
    let mut court = Court::new(&world, &prepared);
    let mut cases = 0;
    while board.ticks < MILLION {
        let case = case(&world, SEED, 2, cases);
        let shared = RefCell::new(&mut board);
        let judged = court.judge_by(
            &case,
            |run| shared.borrow_mut().begin(run, &table, 1000).expect("the board begins"),
            |run| shared.borrow_mut().step(run, &table),
        );
        assert!(board.failed.is_none(), "case {cases}: {:?}", board.failed);
        assert!(board.mismatch.is_none(), "case {cases}: {}", told(&board));
        // The same case, judged without a board, ends in the same state of the plant.
        if cases % 40 == 0
            && let Ok(judged) = judged
        {
            let alone = Court::new(&world, &prepared).judge(&case).expect("it started");
            assert_eq!((alone.digest, alone.ticks), (judged.digest, judged.ticks));
        }
        cases += 1;
    }
    assert!(cases >= 10, "{cases} cases");
}

fn told(board: &Lockstep) -> String {
    board.mismatch.as_ref().map(|m| m.text()).unwrap_or_default()
}

/// The other demos: another table in flash.
#[test]
fn other_tables_are_equal() {
    for (name, scenario) in [("railcar", "railcar-climb"), ("axle", "axle-shift")] {
        let demo = Demo::new(name);
        let mut link = demo.link(image("pipes", "release", name), Via::Pipes).expect("it greets");
        let mut board = Lockstep::new(&mut link);
        let ticks = drive(&demo, &mut board, &demo.setup(scenario), 20_000);
        assert!(board.mismatch.is_none(), "{name}: {}", told(&board));
        assert!(ticks > 5000, "{name}: {ticks}");
        assert_eq!(link.end().map(|end| end.0), Some(0), "{name}");
    }
}

/// A board that is asked for another arrangement than the host from tick 1000 on: the first tick
/// that differs is told, with both states.
#[test]
fn a_planted_difference_is_found() {
    let demo = Demo::new("shuttle");
    let planted = image("pipes", "release", "shuttle,planted-order");
    let mut link = demo.link(planted, Via::Pipes).expect("it greets");
    let mut board = Lockstep::new(&mut link);
    drive(&demo, &mut board, &demo.setup("shuttle-tour"), u64::MAX);
    let mismatch = board.mismatch.as_ref().expect("it was not found");
    assert_eq!(mismatch.tick, 1000);
    let text = mismatch.text();
    for word in ["first at tick 1000", "memory: DIFFERENT", "    host  ", "    board "] {
        assert!(text.contains(word), "{word:?} is missing in\n{text}");
    }
}
