//! Planted defects in campaigns: what the shortcut says (only the supervisor is run until it says
//! something else, many defects together) against whole runs, one table at a time.

use std::sync::atomic::AtomicBool;

use host_sim::campaign::defects::Outcome;
use host_sim::campaign::trial::{State, Trial, Trials};
use host_sim::campaign::{Arena, Came, Candidate, Case, Court, Grouping, World, case, defects};
use host_sim::checkers::Finding;
use host_sim::drive::closed_loop::CannotRun;
use host_sim::explore::defects::{Defect, read_alike};
use host_sim::table::TableData;
use slipwarden_tests::defects_found::{found_by, place_of, world_of};
use supervisor::table::NO_STEP;

fn world() -> World {
    world_of("axle")
}

/// What a whole run says: the rules that it breaks, and the plant's last state.
fn judged(world: &World, case: &Case) -> Result<(Vec<&'static str>, u64), CannotRun> {
    let prepared = world.prepared().expect("demos have all");
    let judged = Court::new(world, &prepared).judge(case)?;
    let rule = |finding: &Finding| finding.rule;
    Ok((judged.findings.iter().map(rule).collect(), judged.digest))
}

#[test]
fn tried_together_and_in_part_is_tried_alone_and_whole() {
    let world = world();
    let list = defects::defects(&world);
    // A prime, so that every kind has its turn; the last ones are those that only a plant shows.
    let some = list.iter().enumerate().filter(|(i, _)| i % 37 == 0 || i + 12 > list.len());
    let candidates: Vec<Candidate> =
        some.filter_map(|(i, defect)| Candidate::new(&world.table, i, defect)).collect();
    let grouping = Grouping { good: &world.table, list: &candidates };
    let groups = grouping.all();
    let together = groups.iter().filter(|group| group.members.len() > 1).count();
    assert!(together > 2, "some are tried together");
    let prepared = world.prepared().expect("demos have all");
    let arena = Arena::new(&world, &prepared);
    let (mut broke, mut alike, mut differed) = (0, 0, 0);
    for number in 0..4 {
        let case = case(&world, 1, 1, number);
        let stop = AtomicBool::new(false);
        let Ok(came) = arena.duel(&case, (&grouping, &groups), &stop) else { continue };
        let (_, came) = came.expect("nobody stops it");
        let (known, digest) = judged(&world, &case).expect("the duel started");
        for (candidate, came) in candidates.iter().zip(came) {
            let broken = world.with_table(candidate.defect.planted(&world.table));
            let (rules, digest_of_broken) = judged(&broken, &case).expect("it starts as the other");
            let what = (&candidate.defect.kind, &candidate.defect.place, number);
            match rules.iter().find(|rule| !known.contains(rule)) {
                Some(rule) => {
                    assert_eq!(came, Came::Broke(rule), "{what:?}");
                    broke += 1;
                }
                None if came == Came::Alike => {
                    assert_eq!(digest, digest_of_broken, "{what:?}");
                    alike += 1;
                }
                None => {
                    assert_eq!(came, Came::Differed, "{what:?}");
                    differed += 1;
                }
            }
        }
    }
    assert!(broke > 0 && alike > 0 && differed > 0, "{broke} {alike} {differed}");
}

#[test]
fn a_trial_that_was_stopped_ends_as_one_that_was_not() {
    let world = world();
    let list = defects::defects(&world);
    let chosen: Vec<usize> = (0..list.len()).step_by(53).collect();
    let trial = Trial { seeds: &[1, 2], cases: 5, faults: 1 };
    let trials = Trials::new(&world, &list, &chosen, trial);
    let mut whole = State::new(&trial);
    trials.go_on(&mut whole, 1, |_| true).expect("demos have all");
    assert!(trials.is_whole(&whole));

    let mut parts = State::new(&trial);
    let mut turns = 0;
    while !trials.is_whole(&parts) {
        turns += 1;
        assert!(turns < 20, "{parts:?}");
        // Stopped after each block, on another number of threads.
        trials.go_on(&mut parts, 2, |after_block| after_block.is_none()).expect("demos have all");
    }
    assert!(turns > 2, "it was stopped in between");
    assert_eq!(parts, whole);
    // What is told of it is of every chosen one.
    let tried = trials.tried(&whole, 2, || true);
    assert_eq!(tried.iter().map(|t| t.number).collect::<Vec<_>>(), chosen);
}

/// What the aimed cases are for: without one of its checks the supervisor comes to harm in few of
/// them, by the rule that the check is there for.
#[test]
fn a_check_that_is_off_is_found_in_few_cases() {
    let heat = |kind, words| found_by("axle", kind, words, 150);
    assert_eq!(heat("heat inhibit", "off").as_deref(), Some("SW-HEAT"));
    assert_eq!(heat("heat estimate", "cools").as_deref(), Some("SW-HEAT"));
}

/// Every table that is excused because the supervisor cannot tell it from the good one gives the
/// same orders and words in real cases; one that is nearly like it is not excused.
#[test]
fn what_is_excused_does_the_same_and_what_is_near_to_it_does_not() {
    for (demo, least) in [("shuttle", 5), ("axle", 6)] {
        let world = world_of(demo);
        let list = defects::defects(&world);
        let alike = |d: &Defect| read_alike(&world.table, &d.planted(&world.table)).is_some();
        let excused: Vec<Candidate> = list
            .iter()
            .enumerate()
            .filter(|(_, defect)| alike(defect))
            .filter_map(|(i, defect)| Candidate::new(&world.table, i, defect))
            .collect();
        assert!(excused.len() >= least, "{demo}: {}", excused.len());
        let grouping = Grouping { good: &world.table, list: &excused };
        let groups = grouping.all();
        let prepared = world.prepared().expect("demos have all");
        let arena = Arena::new(&world, &prepared);
        for number in 0..40 {
            let case = case(&world, 2, 1, number);
            let Ok(came) = arena.duel(&case, (&grouping, &groups), &AtomicBool::new(false)) else {
                continue;
            };
            let (_, came) = came.expect("nobody stops it");
            for (candidate, came) in excused.iter().zip(came) {
                let Defect { kind, place, name, .. } = candidate.defect;
                assert_eq!(came, Came::Alike, "{demo} {number}: {kind}, {place}, {name}");
            }
        }
    }
}

#[test]
fn only_whole_rows_whose_magnitude_counts_are_excused() {
    let (shuttle, axle) = (world_of("shuttle"), world());
    let why = |world: &World, kind, words: &str| {
        let list = defects::defects(world);
        let defect = &list[place_of(&list, kind, words)];
        read_alike(&world.table, &defect.planted(&world.table))
    };
    let magnitude = Some("only the magnitude of what this row gives is compared".to_string());
    // The axle has one machine, so that a load row has one number.
    assert_eq!(why(&axle, "step load sign", "of motor flipped"), magnitude);
    assert_eq!(why(&axle, "slip row", "low-brake sign"), magnitude);
    // One number of two, a row of nothing, and another size are other rows.
    assert_eq!(why(&shuttle, "step load sign", "of traction flipped"), None);
    assert_eq!(why(&axle, "slip row", "high-clutch sign"), None);
    assert_eq!(why(&axle, "slip row", "low-brake nothing"), None);
    assert_eq!(why(&axle, "load limit", "x4"), None);
    assert_eq!(why(&shuttle, "heat inhibit", "off"), None);
    // A whole row of two numbers turned round is the same row.
    let mut turned = axle.table.clone();
    turned.locks[1].slip_row.iter_mut().for_each(|c| *c = -*c);
    assert_eq!(read_alike(&axle.table, &turned), magnitude);
    // The speed of the output is compared with windows. As soon as one of them does not reach as far
    // back as forward, its sign counts.
    let output = |table: &TableData| {
        let mut turned = table.clone();
        turned.output_row.iter_mut().for_each(|c| *c = -*c);
        read_alike(table, &turned)
    };
    assert_eq!(output(&shuttle.table), None);
    let even = output(&axle.table);
    assert!(even.is_some_and(|why| why.starts_with("every window reaches")), "the axle is even");
    let mut uneven = axle.table.clone();
    uneven.steps[0].window.max *= 0.5;
    assert_eq!(output(&uneven), None);
    // Heat without a limit is not reckoned, with one it is.
    let heat = |limit_k: f32| {
        let mut without = axle.table.clone();
        without.locks[0].rise_max_k = limit_k;
        let mut other = without.clone();
        other.locks[0].heat_k_per_radps_tick *= 2.0;
        read_alike(&without, &other).is_some()
    };
    assert!(heat(0.0) && !heat(1.0));
    // A step to which no way leads may be anything, until one does.
    let mut without = axle.table.clone();
    let number = without.steps.len() as u16 - 1;
    without.next.iter_mut().filter(|e| **e == number).for_each(|e| *e = NO_STEP);
    let mut other = without.clone();
    other.steps[usize::from(number)].demand_max = 1.0;
    assert!(read_alike(&without, &other).is_some());
    for table in [&mut without, &mut other] {
        table.next[0] = number;
    }
    assert_eq!(read_alike(&without, &other), None);
    assert_eq!(read_alike(&axle.table, &axle.table), Some("nothing is another".to_string()));
}

/// The audit is told beside what cases find, and an excuse is no audit's word.
#[test]
fn what_the_audit_finds_is_told_beside_what_cases_find() {
    let world = world();
    let list = defects::defects(&world);
    let kinds =
        [("rest check", "all"), ("step load sign", "of motor flipped"), ("conflict removed", "")];
    let chosen = kinds.map(|(kind, words)| place_of(&list, kind, words));
    let trial = Trial { seeds: &[1], cases: 2, faults: 1 };
    let trials = Trials::new(&world, &list, &chosen, trial);
    let mut state = State::new(&trial);
    trials.go_on(&mut state, 1, |_| true).expect("demos have all");
    let tried = trials.tried(&state, 2, || true);
    let of = |at: usize| (tried[at].outcome(), tried[at].audit().to_vec());
    assert_eq!(of(0), (Outcome::Missed, vec!["AU-REST-LIMIT"]));
    assert!(tried[0].is_found_by_any() && tried[0].excuse().is_none());
    // The audit wants the sign as it is derived; the supervisor cannot tell it.
    assert_eq!(of(1), (Outcome::Excused, vec!["AU-ROW"]));
    assert!(!of(2).1.is_empty(), "{:?}", of(2));
    // Stopped before: nothing is told of the audit.
    let none = trials.tried(&state, 1, || false);
    assert!(none.iter().any(|t| t.examined.is_none()));
}
