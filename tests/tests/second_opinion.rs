//! A second opinion on exploration by general-purpose model checkers. stateright searches our own
//! model with its own search, hashing and store; spin searches a model of the interlock that was
//! written a second time from the documented rules. Counts, verdicts and depths are compared.

use std::collections::{BTreeSet, HashSet};
use std::path::Path;

use ::stateright::{Checker, Model as _};
use host_sim::driveline::Driveline;
use host_sim::explore::chooser::Chooser;
use host_sim::explore::environment::Environment;
use host_sim::explore::model::{Always, Node, Subject};
use host_sim::explore::search::{Bounds, Found, search};
use host_sim::explore::senses::{Forced, Mood};
use host_sim::explore::shrink::shrunk;
use host_sim::kinematics::{Kinematics, analyse};
use host_sim::plant::random::Random;
use host_sim::table::build;
use slipwarden_tests::drivelines::{axle, railcar, shuttle};
use supervisor::bits::Bits;
use supervisor::table::Conflict;

#[path = "../second-opinion/spin.rs"]
mod spin;
#[path = "../second-opinion/stateright.rs"]
mod stateright;

use stateright::{Second, canonical, successors};

fn prepared(d: &Driveline, subject: Subject, budget: u8) -> (Kinematics, Second) {
    let k = analyse(d).expect("the output turns");
    let data = shrunk(&build(d, &k).expect("a demo makes a table"));
    let forced = Forced::new(d, &k);
    (k, Second { data, forced, subject, budget, ends: 0.into() })
}

fn ours(second: &Second) -> Found {
    let bounds = Bounds { states: 10_000_000, bytes: 1 << 30, threads: 2 };
    let found = search(&second.model(), &bounds, |_, _, _, _| true);
    assert!(found.complete);
    found
}

/// The same states, transitions, levels and verdicts, by a search that is not ours.
#[test]
fn stateright_finds_the_same_states() {
    for (d, subject, budget) in [
        (axle(), Subject::Kernel, 0),
        (shuttle(), Subject::Kernel, 0),
        (shuttle(), Subject::InterlockAlone, 0),
        (shuttle(), Subject::InterlockAlone, 1),
    ] {
        let (_, second) = prepared(&d, subject, budget);
        let found = ours(&second);
        let broken: BTreeSet<&str> = found.broken.keys().map(|always| always.id()).collect();
        let theirs = second.checker().spawn_bfs().join();
        let what = format!("{} {subject:?} {budget}", d.name);
        assert_eq!(theirs.discoveries().into_keys().collect::<BTreeSet<_>>(), broken, "{what}");
        let ends = theirs.model().ends.load(std::sync::atomic::Ordering::Relaxed).count_ones();
        assert_eq!(theirs.unique_state_count(), found.store.len() + ends as usize, "{what}");
        // One start, and from every state every tick and a reset.
        let tried = 1 + found.transitions + found.store.len() as u64;
        assert_eq!(theirs.state_count() as u64, tried, "{what}");
        if broken.is_empty() {
            assert_eq!(theirs.max_depth() as u32, found.depth, "{what}");
        }
    }
}

/// Number of states on the shortest way to a broken property.
fn shortest(found: &Found, always: Always) -> usize {
    let (parent, _) = found.broken.get(&always).expect("it is broken");
    found.store.path_to(*parent).len() + 1
}

/// Planted defects: both find each at the same depth, stateright when and only when it may look
/// so deep.
#[test]
fn stateright_finds_planted_defects_at_the_same_depth() {
    let d = shuttle();
    let strict = |second: &mut Second| {
        second.data.conflicts.push(Conflict { locks: Bits(0b010), release_first: 1 });
    };
    for (subject, plant, always) in [
        (Subject::NoGate, None, Always::NoConflict),
        (Subject::NoGate, None, Always::SlipFirst),
        (Subject::NoGate, None, Always::RestFirst),
        (Subject::NoGate, None, Always::OneAtATime),
        (Subject::NoGate, None, Always::OnlyDenies),
        // A set that the decision closes in its ordinary work, declared forbidden.
        (Subject::DecisionAlone, Some(strict), Always::NoConflict),
    ] {
        let second = |depth: usize| {
            let (_, mut second) = prepared(&d, subject, 0);
            plant.iter().for_each(|plant| plant(&mut second));
            (second, depth)
        };
        let states = shortest(&ours(&second(0).0), always);
        let finds = |(second, depth): (Second, usize)| {
            let theirs = second.checker().target_max_depth(depth).spawn_bfs().join();
            theirs.discovery(always.id()).is_some()
        };
        // It looks at states before its bound on depth.
        assert!(!finds(second(states)), "{subject:?} {always:?}: a way shorter than {states}");
        assert!(finds(second(states + 1)), "{subject:?} {always:?}: no way of {states} states");
    }
}

/// States that are stored as one behave alike: from memories that no one made canonical, on long
/// random walks, a tick leads to the same states as from the canonical ones. A state that has
/// lost how long a lock has been letting go does not.
#[test]
fn canonical_states_behave_as_those_that_they_stand_for() {
    println!("seed {SEED}");
    for (d, subject) in [
        (axle(), Subject::Kernel),
        (shuttle(), Subject::Kernel),
        (railcar(), Subject::Kernel),
        (shuttle(), Subject::InterlockAlone),
    ] {
        let (_, second) = prepared(&d, subject, 1);
        let what = format!("{} {subject:?}", d.name);
        let (differ, wrong) = walk(&second, |node| canonical(&second.model(), *node));
        assert_eq!(wrong, None, "{what}");
        assert!(differ > WALK / 2, "{what}: only {differ} states were not canonical");
        let (_, wrong) = walk(&second, |node| {
            let opening = Default::default();
            Node { world: Environment { opening, ..node.world }, ..*node }
        });
        assert!(wrong.is_some(), "{what}: the planted defect was not found");
    }
}

/// How many states differ from the one that stands for them, and the first that behaves
/// differently, with the step of the walk.
fn walk(second: &Second, stands_for: impl Fn(&Node) -> Node) -> (u32, Option<(u32, Node)>) {
    let mut random = Random::new(SEED);
    let model = second.model();
    let from = |node: &Node| {
        let mut set = HashSet::new();
        successors(&model, node, |next| {
            set.insert(next);
        });
        set
    };
    let mut differ = 0;
    let mut at = Node::default();
    for step in 0..WALK {
        let stands = stands_for(&at);
        if stands != at {
            differ += 1;
            if from(&at) != from(&stands) {
                return (differ, Some((step, at)));
            }
        }
        at = random_next(second, &at, &mut random);
    }
    (differ, None)
}

const SEED: u64 = 1;
const WALK: u32 = 2_000;

/// One of the ticks from here, as it comes; a reset now and then.
fn random_next(second: &Second, before: &Node, random: &mut Random) -> Node {
    let model = second.model();
    if random.below(100) == 0 {
        return if random.below(3) == 0 { Node::default() } else { model.reset(before) };
    }
    let mut next = Vec::new();
    let mut chooser = Chooser::default();
    loop {
        chooser.begin();
        let tick = model.tick(before, Mood::Hostile, &mut chooser);
        if tick.broken.is_empty() {
            next.push(tick.after);
        }
        if !chooser.advance() {
            break;
        }
    }
    match next.len() {
        0 => Node::default(),
        count => next[random.below(count as u64) as usize],
    }
}

/// The interlock, written twice: the same states and the same verdict.
#[test]
fn spin_finds_the_same_states() {
    let d = shuttle();
    for budget in [0, 1] {
        let (k, second) = prepared(&d, Subject::InterlockAlone, budget);
        let found = ours(&second);
        let faults = format!("-DFAULTS={budget}");
        let pan = run(&format!("faults-{budget}"), &d, &k, &second, &[&faults]);
        assert_eq!(pan.broken, found.broken.keys().copied().collect());
        // All that is broken is one state of spin's.
        let end = u64::from(!pan.broken.is_empty());
        assert_eq!(pan.stored - end, found.store.len() as u64, "{budget} faults");
    }
}

fn run(name: &str, d: &Driveline, k: &Kinematics, second: &Second, defines: &[&str]) -> spin::Pan {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("second-opinion").join(name);
    spin::make(&folder, &spin::header(d, k, &second.data), defines);
    spin::search(&folder)
}

/// A rule that is left out of spin's model breaks what it is for: the model is not blind.
#[test]
fn spin_finds_planted_defects() {
    let d = shuttle();
    let (k, second) = prepared(&d, Subject::InterlockAlone, 0);
    for (defect, broken) in [
        ("NO_I1", vec![Always::SlipFirst]),
        ("NO_I2", vec![Always::NoConflict]),
        ("NO_I3", vec![Always::RestFirst]),
        ("NO_I4", vec![Always::OneAtATime]),
        ("NO_TIME", vec![Always::NoConflict, Always::RestFirst]),
    ] {
        let pan = run(defect, &d, &k, &second, &["-DFAULTS=0", &format!("-D{defect}")]);
        assert_eq!(pan.broken, broken.into_iter().collect(), "{defect}");
    }
}
