//! A second opinion on exploration by general-purpose model checkers. stateright searches our own
//! model with its own search, hashing and store; spin searches a model of the interlock that was
//! written a second time from the documented rules. Counts, verdicts and depths are compared.

use std::collections::{BTreeSet, HashSet};
use std::path::Path;

use ::stateright::{Checker, Model as _};
use host_sim::driveline::Driveline;
use host_sim::explore::always::Always;
use host_sim::explore::chooser::Chooser;
use host_sim::explore::codes::{Codes, Parts, node_of, parts_of};
use host_sim::explore::environment::Environment;
use host_sim::explore::expand::{Expander, Next, StateCodes};
use host_sim::explore::model::{Model, Node, Reset, Subject};
use host_sim::explore::search::{Bounds, Found, search};
use host_sim::explore::senses::{Forced, Mood};
use host_sim::explore::shrink::shrunk;
use host_sim::explore::table::level_of;
use host_sim::kinematics::{Kinematics, analyse};
use host_sim::plant::random::Random;
use host_sim::table::build;
use host_sim::with_states;
use slipwarden_tests::drivelines::{axle, railcar, shuttle};
use supervisor::bits::Bits;
use supervisor::table::Conflict;

#[path = "../second-opinion/spin.rs"]
mod spin;
#[path = "../second-opinion/stateright.rs"]
mod stateright;

use stateright::{At, Second, all_after};

fn prepared(d: &Driveline, subject: Subject, budget: u8) -> (Kinematics, Second) {
    let k = analyse(d).expect("the output turns");
    let data = shrunk(&build(d, &k).expect("a demo makes a table"));
    let forced = Forced::new(d, &k);
    (k, Second::new(data, forced, subject, budget))
}

fn ours(second: &Second) -> Found {
    let bounds = Bounds { states: 10_000_000, bytes: 1 << 30, threads: 2 };
    let found = search(&second.model(), &bounds, |_| true);
    assert!(found.complete);
    found
}

/// The same states, levels and verdicts, by a search that is not ours. It tries every combination
/// of answers, and so knows nothing of how ours leaves out what looks alike.
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
        println!("{what}: {} states, {:?}", found.store.len(), found.reached);
        assert_eq!(theirs.discoveries().into_keys().collect::<BTreeSet<_>>(), broken, "{what}");
        let ends = theirs.model().ends.lock().expect("no thread panicked").len();
        assert_eq!(theirs.unique_state_count(), found.store.len() + ends, "{what}");
        if broken.is_empty() {
            assert_eq!(theirs.max_depth() as u32, found.reached.depth + 1, "{what}");
        }
    }
}

/// As many states on each level, and not only in all.
#[test]
fn stateright_finds_as_many_states_on_each_level() {
    let d = shuttle();
    let of = || prepared(&d, Subject::InterlockAlone, 1).1;
    let found = ours(&of());
    assert!(found.broken.is_empty());
    let levels: Vec<usize> = with_states!(&found.store, states => {
        states.words().map(|(_, _, word)| level_of(word) as usize).collect()
    });
    let deepest = *levels.iter().max().expect("there are states");
    assert_eq!(deepest, found.reached.depth as usize);
    for depth in 1..=deepest + 1 {
        let theirs = of().checker().target_max_depth(depth).spawn_bfs().join();
        let up_to = levels.iter().filter(|&&level| level < depth).count();
        assert_eq!(theirs.unique_state_count(), up_to, "{depth} levels");
    }
}

/// A defect of the model: of the kernel's table or of the truth that it is judged by.
type Plant = fn(&mut Second);

const AS_IT_IS: Plant = |_| {};

/// Sets that the decision closes in its ordinary work, forbidden; `of` is told.
fn forbid(of: &mut Vec<Conflict>) {
    of.push(Conflict { locks: Bits(0b010), release_first: 1 });
}

/// Planted defects: both find each at the same depth, stateright when and only when it may look
/// so deep. There is one for every property.
#[test]
fn stateright_finds_planted_defects_at_the_same_depth() {
    let d = shuttle();
    let both: Plant = |second| {
        forbid(&mut second.data.conflicts);
        forbid(&mut second.truth.conflicts);
    };
    let lost: Plant = |second| forbid(&mut second.truth.conflicts);
    let forgotten: Plant = |second| {
        let another = second.data.locks[0];
        second.truth.locks.push(another);
    };
    let too_long: Plant = |second| second.truth.timing.overlap_max = 0;
    let planted = [
        (Subject::NoGate, AS_IT_IS, Always::NoConflict),
        (Subject::NoGate, AS_IT_IS, Always::SlipFirst),
        (Subject::NoGate, AS_IT_IS, Always::RestFirst),
        (Subject::NoGate, AS_IT_IS, Always::NoEngine),
        (Subject::NoGate, AS_IT_IS, Always::KnownFirst),
        (Subject::NoGate, AS_IT_IS, Always::OneAtATime),
        (Subject::NoGate, AS_IT_IS, Always::OnlyDenies),
        // Without the interlock a set that its table forbids is closed all the same.
        (Subject::DecisionAlone, both, Always::NoConflict),
        // A conflict that is lost from the table.
        (Subject::Kernel, lost, Always::NoConflict),
        // A lock that the table does not know of, so that nobody waits until it is known.
        (Subject::Kernel, forgotten, Always::KnownFirst),
        // A table that allows overlaps to last longer than they may.
        (Subject::Kernel, too_long, Always::ShortOverlap),
    ];
    let fired: BTreeSet<Always> = planted.iter().map(|(_, _, always)| *always).collect();
    assert_eq!(fired, BTreeSet::from(Always::ALL), "a defect for each property");
    for (subject, plant, always) in planted {
        let second = || {
            let (_, mut second) = prepared(&d, subject, 0);
            plant(&mut second);
            second
        };
        let what = format!("{subject:?} {always:?}");
        let found = search_until(&second(), always);
        let breach = found.broken.get(&always).unwrap_or_else(|| panic!("{what}: not broken"));
        // From the first state to the one before, and the one after.
        let states = breach.level as usize + 2;
        println!("{what}: {states} states on the way");
        let finds = |depth: usize| {
            let theirs = second().checker().target_max_depth(depth).spawn_bfs().join();
            theirs.discovery(always.id()).is_some()
        };
        // It looks at states before its bound on depth.
        assert!(!finds(states), "{what}: a way shorter than {states}");
        assert!(finds(states + 1), "{what}: no way of {states} states");
    }
}

/// Level by level, at least until this is broken.
fn search_until(second: &Second, always: Always) -> Found {
    let model = second.model();
    let mut depth = 8;
    loop {
        let bounds = Bounds { states: 10_000_000, bytes: 1 << 30, threads: 2 };
        let found = search(&model, &bounds, |reached| reached.depth < depth);
        if found.complete || found.broken.contains_key(&always) {
            return found;
        }
        depth *= 2;
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
        let starts = starts(&d, subject);
        let (differ, wrong) = walk(&second, &starts, |node| second.model().canonical(*node));
        assert_eq!(wrong, None, "{what}");
        println!("{what}: {differ} of {WALK} states were not canonical");
        assert!(differ > WALK / 2, "{what}: only {differ} states were not canonical");
        let (_, wrong) = walk(&second, &starts, |node| {
            let opening = Default::default();
            Node { world: Environment { opening, ..node.world }, ..*node }
        });
        assert!(wrong.is_some(), "{what}: the planted defect was not found");
    }
}

/// How many states differ from the one that stands for them, and the first that behaves
/// differently, with the step of the walk.
fn walk(
    second: &Second,
    starts: &[Node],
    stands_for: impl Fn(&Node) -> Node,
) -> (u32, Option<(u32, Node)>) {
    let mut random = Random::new(SEED);
    let model = second.model();
    let from = |node: &Node| {
        let mut set = HashSet::new();
        all_after(&model, node, |broken, next| {
            set.insert(At::new(broken, next));
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
        at = random_next(&model, &at, starts, &mut random);
    }
    (differ, None)
}

const SEED: u64 = 1;
const WALK: u32 = 2_000;

/// Where walks start, for by themselves they do not come far: states that are reached without a
/// fault, all or as many as this. One thread, for several give states another order each time.
fn starts(d: &Driveline, subject: Subject) -> Vec<Node> {
    let (_, second) = prepared(d, subject, 0);
    let bounds = Bounds { states: 50_000, bytes: 1 << 30, threads: 1 };
    let found = search(&second.model(), &bounds, |_| true);
    let mut nodes = Vec::new();
    found.store.for_each(|node| nodes.push(*node));
    nodes
}

/// One of the ticks from here, as it comes; a reset or a new start now and then.
fn random_next(model: &Model, before: &Node, starts: &[Node], random: &mut Random) -> Node {
    match random.below(50) {
        0 => return model.reset(before, Reset::Warm),
        1 => return model.reset(before, Reset::Cold),
        _ => {}
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
    one_of(&next, before, starts, random)
}

/// One of what follows, or a new start. Most ways go on through a fault: it is taken only now and
/// then.
fn one_of(next: &[Node], before: &Node, starts: &[Node], random: &mut Random) -> Node {
    let faulty = random.below(20) == 0;
    let may = |node: &&Node| faulty || node.world.faults == before.world.faults;
    let next: Vec<Node> = next.iter().filter(may).copied().collect();
    let from = if next.is_empty() || random.below(20) == 0 { starts } else { &next[..] };
    from[random.below(from.len() as u64) as usize]
}

/// Worlds and answers taken apart, and only the different ones of each put together, lead to the
/// same states and break the same as every combination of them: on long random walks. An
/// expansion that tries no fault does not.
#[test]
fn what_is_expanded_is_what_every_combination_leads_to() {
    println!("seed {SEED}");
    for (d, subject) in [
        (axle(), Subject::Kernel),
        (shuttle(), Subject::Kernel),
        (railcar(), Subject::Kernel),
        (shuttle(), Subject::InterlockAlone),
        (shuttle(), Subject::NoGate),
    ] {
        let what = format!("{} {subject:?}", d.name);
        let (_, second) = prepared(&d, subject, 1);
        let model = second.model();
        let starts = starts(&d, subject);
        let without_faults = Model { budget: 0, ..model };
        let mut random = Random::new(SEED);
        let (mut missed, mut most, mut broken) = (0, 0, 0);
        let mut met = HashSet::new();
        let mut at = model.canonical(Node::default());
        for step in 0..WALK {
            let mut all = HashSet::new();
            all_after(&model, &at, |broken, next| {
                all.insert((broken, next));
            });
            assert_eq!(expanded(&model, &at), all, "{what}: step {step} from {at:?}");
            missed += u32::from(expanded(&without_faults, &at) != all);
            most = most.max(all.len());
            broken += all.iter().filter(|(broken, _)| *broken != 0).count();
            let mut whole: Vec<Node> = all.iter().filter(|a| a.0 == 0).map(|a| a.1).collect();
            // A set has no order of its own, and a walk is to come again.
            whole.sort_by_cached_key(|node| parts_of(node, d.locks.len()));
            met.insert(at);
            at = one_of(&whole, &at, &starts, &mut random);
        }
        let met = met.len();
        println!(
            "{what}: {met} states, at most {most} after one, {broken} broken, {missed} missed"
        );
        assert!(missed > 0, "{what}: the planted defect was not found");
        assert_eq!(broken > 0, subject == Subject::NoGate, "{what}");
    }
}

/// What our search takes as following from a state.
fn expanded(model: &Model, before: &Node) -> HashSet<(u8, Node)> {
    let codes = Codes::default();
    let mut view = codes.view();
    let mut states: Vec<StateCodes> = Vec::new();
    let mut set = HashSet::new();
    Expander::default().expand(model, before, &mut view, |next| match next {
        Next::State(state) => states.push(*state),
        Next::Broken(broken, node) => {
            set.insert((broken, node()));
        }
    });
    let locks = usize::from(model.table.lock_count());
    for state in states {
        let mut parts = Parts { rest: view.rest_part(state.rest), ..Parts::default() };
        for lock in 0..locks {
            parts.locks[lock] = view.lock_part(state.locks[lock]);
        }
        set.insert((0, node_of(&parts, locks)));
    }
    set
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

/// A rule that is left out of spin's model breaks what it is for: the model is not blind. On the
/// shuttle the one overlap and the engine together are the one conflict, so SW-I2 and SW-I6 deny
/// the same, and only both of them left out can be seen.
#[test]
fn spin_finds_planted_defects() {
    let d = shuttle();
    let (k, second) = prepared(&d, Subject::InterlockAlone, 0);
    for (defects, broken) in [
        (&["NO_I1"][..], vec![Always::SlipFirst]),
        (&["NO_I2"], vec![]),
        (&["NO_I6"], vec![]),
        (&["NO_I2", "NO_I6"], vec![Always::NoConflict, Always::NoEngine]),
        (&["NO_I3"], vec![Always::RestFirst]),
        (&["NO_I4"], vec![Always::OneAtATime]),
        (&["NO_TIME"], vec![Always::NoConflict, Always::RestFirst, Always::NoEngine]),
        (&["KEEPS_ALL"], vec![Always::SlipFirst, Always::RestFirst, Always::OneAtATime]),
    ] {
        let pan = with_defects(&d, &k, &second, defects);
        assert_eq!(pan.broken, broken.into_iter().collect(), "{defects:?}");
    }
}

fn with_defects(d: &Driveline, k: &Kinematics, second: &Second, defects: &[&str]) -> spin::Pan {
    let defines: Vec<String> = defects.iter().map(|defect| format!("-D{defect}")).collect();
    let defines: Vec<&str> = defines.iter().map(String::as_str).chain(["-DFAULTS=0"]).collect();
    run(&format!("{}-{}", d.name, defects.join("-")), d, k, second, &defines)
}

/// Where the engine can join an overlap that is no conflict, SW-I6 alone denies it: with the
/// engine's clutch on the output, the same states are found, and without the rule it is broken.
#[test]
fn spin_finds_what_only_the_engine_rule_denies() {
    let mut d = shuttle();
    d.name = "engine-on-output".to_string();
    d.locks[2].a = d.output.shaft;
    let (k, second) = prepared(&d, Subject::InterlockAlone, 0);
    let found = ours(&second);
    let pan = with_defects(&d, &k, &second, &[]);
    assert!(found.broken.is_empty() && pan.broken.is_empty());
    assert_eq!(pan.stored, found.store.len() as u64);
    assert_eq!(with_defects(&d, &k, &second, &["NO_I6"]).broken, [Always::NoEngine].into());
}
