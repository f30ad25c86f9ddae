//! Planted defects of a whole table: the list of them, the judges, and what nothing finds.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use host_sim::audit::{Scope, audit, examine};
use host_sim::explore::always::Always;
use host_sim::explore::defects::run::{Judges, choose, run, sample};
use host_sim::explore::defects::{Defect, Drives, Explored, Explorer, Judged, Outcome, Part, all};
use host_sim::explore::model::{Model, Subject};
use host_sim::explore::search::{Bounds, search};
use host_sim::explore::senses::Forced;
use host_sim::explore::shrink::shrunk;
use slipwarden_tests::demo::Demo;
use supervisor::bits::Bits;

/// How many defects of the axle the tests try.
const SAMPLE: usize = 60;

fn bounds() -> Bounds {
    Bounds { states: 2_000_000, bytes: 1 << 30, threads: 2 }
}

fn judges(demo: &Demo) -> Judges<'_> {
    let Demo { driveline: d, kinematics: k, table: good } = demo;
    let explorer = Explorer::new(d, k, good, 0, &bounds(), |_| true);
    let explorer = explorer.unwrap_or_else(|unfit| panic!("{}: {unfit:?}", d.name));
    let audited = examine(d, k, good, Scope { timing: true });
    Judges { d, k, good, explorer, audited, drives: Some(Drives::of(d, k, good)) }
}

/// A sample of the axle's defects, judged once for all tests.
fn judged() -> &'static [Judged] {
    static JUDGED: OnceLock<Vec<Judged>> = OnceLock::new();
    JUDGED.get_or_init(|| {
        let demo = Demo::new("axle");
        let defects = all(&demo.driveline, &demo.table);
        let chosen = sample(defects.len(), SAMPLE);
        run(&judges(&demo), &defects, &chosen, 2, |_| true)
    })
}

/// The first defect of a demo whose kind and words are these.
fn planted(defects: &[Defect], kind: &str, words: &str) -> usize {
    let is = |defect: &Defect| {
        defect.kind == kind && format!("{} {}", defect.place, defect.name).contains(words)
    };
    defects.iter().position(is).unwrap_or_else(|| panic!("no {kind} with {words:?}"))
}

/// Defects are chosen by kind, and a sample of them within the kinds; a kind that there is not is told with
/// those that there are.
#[test]
fn defects_are_chosen_by_kind() {
    let demo = Demo::new("axle");
    let defects = all(&demo.driveline, &demo.table);
    let kinds = |words: &[&str]| words.iter().map(|w| w.to_string()).collect::<Vec<_>>();
    let every = choose(&defects, &[], None).expect("no kind is named");
    assert_eq!(every, (0..defects.len()).collect::<Vec<_>>());
    let two = kinds(&["overlap removed", "step duty"]);
    let some = choose(&defects, &two, None).expect("there are such");
    let is = |i: &usize| two.contains(&defects[*i].kind.to_string());
    assert_eq!(some, every.iter().copied().filter(is).collect::<Vec<_>>());
    let few = choose(&defects, &two, Some(5)).expect("there are such");
    assert!(few.len() == 5 && few.iter().all(|i| some.contains(i)), "{few:?}");
    let error = choose(&defects, &kinds(&["step duty", "duty"]), None).expect_err("no such kind");
    assert!(error.contains("\"duty\"") && error.contains("\"overlap removed\""), "{error}");
    assert!(error.lines().all(|line| line.len() <= 80), "{error}");
}

/// Each defect changes one thing, says where, and no two are the same.
#[test]
fn every_defect_is_one_change_and_another_one() {
    for name in ["axle", "shuttle"] {
        let demo = Demo::new(name);
        let defects = all(&demo.driveline, &demo.table);
        let again = all(&demo.driveline, &demo.table);
        println!("{name}: {} defects", defects.len());
        let mut seen = BTreeMap::new();
        for (defect, again) in defects.iter().zip(&again) {
            let what = (defect.kind, defect.place.as_str(), defect.name.as_str());
            assert_eq!(what, (again.kind, again.place.as_str(), again.name.as_str()), "the order");
            let broken = defect.planted(&demo.table);
            let own = supervisor::hash::table_hash(&broken.table());
            assert_eq!(broken.hash, own, "{what:?}: the checksum is that of the content");
            let apart = differences(&format!("{:#?}", demo.table), &format!("{broken:#?}"));
            assert!(apart > 0, "{what:?} changes nothing");
            let whole = what.0.ends_with("removed") || what.0 == "step limit dropped";
            assert!(whole || apart <= 2, "{what:?} changes {apart} things");
            let alike = seen.insert(format!("{broken:?}"), what);
            assert_eq!(alike, None, "the same change as {what:?}");
        }
        assert_eq!(defects.len(), again.len());
    }
}

/// How many values differ between two tables as told by `Debug`, a value a line, checksum aside.
/// A duty is one value, although it has a name and up to two numbers.
fn differences(a: &str, b: &str) -> usize {
    let lines = |text: &str| -> Vec<String> {
        let kept = text.lines().filter(|line| !line.trim_start().starts_with("hash:"));
        kept.map(str::to_string).collect()
    };
    let (a, b) = (lines(a), lines(b));
    if a.len() == b.len() {
        return a.iter().zip(&b).filter(|(a, b)| a != b).count();
    }
    // Another number of lines: what is between the common start and the common end is one place.
    let start = a.iter().zip(&b).take_while(|(a, b)| a == b).count();
    let end = a.iter().rev().zip(b.iter().rev()).take_while(|(a, b)| a == b).count();
    let (short, long) = (a.len().min(b.len()), a.len().max(b.len()));
    assert!(long - short.min(start + end) <= 40, "more than one entry apart");
    1
}

/// Whatever nothing finds was shown to be none.
#[test]
fn nothing_of_the_sample_survives() {
    let judged = judged();
    assert_eq!(judged.len(), SAMPLE);
    let kinds: std::collections::BTreeSet<&str> =
        judged.iter().map(|judged| judged.what[0].as_str()).collect();
    println!("{} kinds in a sample of {SAMPLE}", kinds.len());
    assert!(kinds.len() >= 15, "{kinds:?}");
    for one in judged {
        assert_ne!(one.outcome(), Outcome::Survived, "{one:#?}");
        assert_ne!(one.explored, Explored::Panicked, "{one:#?}");
    }
}

/// A table that was not changed is not found by anyone: the judges are not trigger-happy.
#[test]
fn an_unchanged_table_survives() {
    for name in ["axle", "shuttle"] {
        let demo = Demo::new(name);
        let none = Defect::new((Part::Decides, "none"), "nowhere", "nothing", |_| {});
        let judged = judges(&demo).judge(0, &none, &|| false).expect("nobody stops it");
        assert_eq!(judged.outcome(), Outcome::Survived, "{name}: {judged:#?}");
        assert!(matches!(judged.explored, Explored::Holds(_)), "{name}");
        let driven = judged.driven.expect("it was driven").text();
        let words: Vec<&str> = driven.split_whitespace().collect();
        assert_eq!(words[0], words[4], "{name}: every drive is the same to the last bit: {driven}");
    }
}

/// Each judge finds something that others, asked by themselves, do not: the board what an
/// exploration cannot see, an exploration what is well formed, the audit what neither sees.
#[test]
fn each_judge_finds_what_others_miss() {
    let judged = judged();
    let found = |which: fn([bool; 4]) -> bool| judged.iter().any(|one| which(one.found_by()));
    assert!(found(|[board, explore, ..]| board && !explore), "the board alone of two");
    assert!(found(|[board, explore, ..]| explore && !board), "the exploration alone of two");
    assert!(found(|[board, explore, audit, _]| audit && !board && !explore), "the audit alone");
}

/// A machine that should push and gives no torque is seen on the road.
#[test]
fn drives_find_a_machine_that_does_not_push() {
    let demo = Demo::new("axle");
    let Demo { driveline: d, kinematics: k, table: good } = &demo;
    let defects = all(d, good);
    let number = planted(&defects, "arrangement duty", "low duty of motor unload");
    let drives = Drives::of(d, k, good);
    let driven = drives.judge(&defects[number].planted(good), &|| false);
    assert!(driven.finds(), "{driven:?}");
    println!("{}", driven.text());
}

/// Whether some defect of this kind makes the exploration say so.
fn some_breaks(demo: &Demo, kind: &str, says: impl Fn(&Explored) -> bool) -> bool {
    let Demo { driveline: d, kinematics: k, table: good } = demo;
    let explorer = Explorer::new(d, k, good, 0, &bounds(), |_| true);
    let explorer = explorer.unwrap_or_else(|unfit| panic!("{}: {unfit:?}", d.name));
    let defects = all(d, good);
    let mut of_kind = defects.iter().filter(|defect| defect.kind == kind);
    of_kind.any(|defect| says(&explorer.judge(defect, &|| false)))
}

/// Every property that data can break is broken by a defect. The others (EX-SLIP, EX-KNOWN,
/// EX-ONE, EX-DENY) are kept by code that reads no data.
#[test]
fn properties_are_broken_by_defects_of_the_table() {
    let axle = Demo::new("axle");
    for (kind, property) in [
        ("conflict removed", Always::NoConflict),
        ("overlap removed", Always::RestFirst),
        ("timing", Always::ShortOverlap),
    ] {
        let says = |explored: &Explored| match explored {
            Explored::Broken(broken, ..) => broken.contains(&property),
            _ => false,
        };
        assert!(some_breaks(&axle, kind, says), "{}: {kind}", property.id());
    }
    let stuck = |explored: &Explored| matches!(explored, Explored::Stuck(..));
    assert!(some_breaks(&axle, "way wrong step", stuck), "EX-LIVE");
    let dead = |explored: &Explored| matches!(explored, Explored::Dead(..));
    assert!(some_breaks(&axle, "arrangement closed", dead), "what never occurs");
}

/// EX-ENGINE needs an overlap that the engine can be joined to without a conflict: the railcar has
/// one. Its interlock alone, until something is broken.
#[test]
fn an_engine_that_is_not_known_to_be_joined_is_found() {
    let Demo { driveline: d, kinematics: k, table } = Demo::new("railcar");
    let (small, forced) = (shrunk(&table), Forced::new(&d, &k));
    let good = small.table();
    let joins = |set: &usize| {
        let locks = Bits(*set as u8);
        let held = good.overlaps.iter().any(|overlap| locks.contains(overlap.locks));
        held && good.set(locks).engine_joined && !good.forbids(locks)
    };
    let set = (0..small.sets.len()).find(joins).expect("the railcar has such a lock set");
    let defect = Defect::new((Part::Decides, "set engine_joined"), "a set", "flipped", move |t| {
        t.sets[set].engine_joined = false;
    });
    let broken = defect.planted(&small);
    let model =
        Model { table: broken.table(), ..Model::new(good, &forced, 0, Subject::InterlockAlone) };
    let found = search(&model, &bounds(), |reached| reached.broken == 0);
    println!("{} states", found.store.len());
    assert!(found.broken.contains_key(&Always::NoEngine), "{:?}", found.broken.keys());
}

/// What machines are told is seen by no exploration: the audit must find every change of it.
#[test]
fn every_change_of_a_duty_is_found_by_the_audit() {
    for name in ["axle", "shuttle"] {
        let Demo { driveline: d, kinematics: k, table } = Demo::new(name);
        let defects = all(&d, &table);
        let duties = ["arrangement duty", "step duty", "step keeps_push"];
        let mut tried = 0;
        for defect in defects.iter().filter(|defect| duties.contains(&defect.kind)) {
            let found = audit(&d, &k, &defect.planted(&table));
            assert!(!found.is_empty(), "{name}: {} {}", defect.place, defect.name);
            tried += 1;
        }
        println!("{name}: {tried} changes of duties");
        assert!(tried > 40, "{name}: {tried}");
    }
}
