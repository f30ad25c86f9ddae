//! Planted defects in campaigns: what the shortcut says (only the supervisor is run until it says
//! something else, many defects together) against whole runs, one table at a time.

use std::sync::atomic::AtomicBool;

use host_sim::campaign::trial::{State, Trial, Trials};
use host_sim::campaign::{Arena, Came, Candidate, Case, Court, Grouping, World, case, defects};
use host_sim::checkers::Finding;
use host_sim::drive::closed_loop::CannotRun;
use host_sim::review::Subject;

fn world() -> World {
    World::new(Subject::read("axle", 1).expect("a demo"))
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
    let tried = trials.tried(&whole, || true);
    assert_eq!(tried.iter().map(|t| t.number).collect::<Vec<_>>(), chosen);
}
