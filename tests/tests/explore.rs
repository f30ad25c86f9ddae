//! Exploration of the real kernel: pinned state counts, and a planted defect for every property.

use std::collections::BTreeMap;

use host_sim::drive::closed_loop::Run;
use host_sim::drive::scenario::parse;
use host_sim::driveline::Driveline;
use host_sim::explore::always::Always;
use host_sim::explore::chooser::Chooser;
use host_sim::explore::environment::LockFault;
use host_sim::explore::excuses::{Dead, dead};
use host_sim::explore::live::liveness;
use host_sim::explore::model::{Model, Node, Reset, Subject};
use host_sim::explore::path::{way_to, words};
use host_sim::explore::scenario::scenario;
use host_sim::explore::search::{Bounds, Found, Reached, search};
use host_sim::explore::senses::{Forced, Mood};
use host_sim::explore::shrink::shrunk;
use host_sim::explore::sometimes::REFUSALS;
use host_sim::kinematics::{Kinematics, analyse};
use host_sim::table::{TableData, build};
use slipwarden_tests::drivelines::{axle, railcar, shuttle};
use supervisor::bits::Bits;
use supervisor::decide::overlap_end;
use supervisor::table::{Action, Conflict, Stuck, WAYS};

const THREADS: usize = 2;

/// A driveline with its kinematics and its table with shrunk timers.
struct Demo {
    d: Driveline,
    forced: Forced,
    data: TableData,
}

impl Demo {
    fn new(d: Driveline) -> Demo {
        let k: Kinematics = analyse(&d).expect("the output turns");
        let data = shrunk(&build(&d, &k).expect("a demo makes a table"));
        let forced = Forced::new(&d, &k);
        Demo { d, forced, data }
    }

    fn model(&self, budget: u8, subject: Subject) -> Model<'_> {
        Model::new(self.data.table(), &self.forced, budget, subject)
    }

    /// With another table, judged by the right one.
    fn broken<'a>(&'a self, data: &'a TableData, budget: u8, subject: Subject) -> Model<'a> {
        Model { table: data.table(), ..self.model(budget, subject) }
    }
}

fn bounds(states: usize, threads: usize) -> Bounds {
    Bounds { states, bytes: 1 << 30, threads }
}

/// Explore to the end.
fn explored(model: &Model) -> Found {
    let found = search(model, &bounds(10_000_000, THREADS), |_| true);
    assert!(found.complete);
    found
}

fn names(found: &Found) -> Vec<&'static str> {
    found.broken.keys().map(|always| always.id()).collect()
}

/// States, transitions, levels, and the bound of liveness in ticks of the shrunk table.
type Counts = (usize, u64, u32, u32);

/// The counts are pinned: a change of kernel, table or world that changes them is looked at.
fn holds_in_every_state(demo: &Demo, budget: u8, counts: Counts) {
    let model = demo.model(budget, Subject::Kernel);
    let found = explored(&model);
    assert_eq!(names(&found), Vec::<&str>::new());
    let stood = found.sometimes.arrangements.numbers().len();
    assert_eq!(stood, demo.d.arrangements.len(), "every arrangement stands at some time");
    let live = liveness(&model, &found, THREADS);
    assert_eq!(live.stuck, None);
    assert!(live.arrived > 0 && live.refused > 0);
    let Reached { states, transitions, depth, .. } = found.reached;
    assert_eq!((states, transitions, depth, live.bound), counts, "{} {budget}", demo.d.name);
    let (never, _) = dead(&demo.d, &demo.data, &found, budget, &BTreeMap::new());
    let unexcused: Vec<_> = never.iter().filter(|dead| dead.excuse.is_none()).collect();
    assert!(unexcused.is_empty(), "{unexcused:?}");
}

#[test]
fn the_axle_holds_in_every_state_with_one_lock_fault() {
    holds_in_every_state(&Demo::new(axle()), 1, (3_028_713, 43_967_654, 91, 28));
}

#[test]
fn the_shuttle_holds_in_every_state_without_lock_faults() {
    holds_in_every_state(&Demo::new(shuttle()), 0, (247_532, 4_180_273, 72, 34));
}

#[test]
fn the_railcar_holds_in_every_state_without_lock_faults() {
    holds_in_every_state(&Demo::new(railcar()), 0, (1_118_669, 21_285_380, 76, 44));
}

/// What the table itself excuses without a fault, it does not with one, nor once a step leads to
/// the lock set in question. Excuses of the user that nothing needs are told.
#[test]
fn excuses_are_only_for_what_needs_one() {
    let demo = Demo::new(railcar());
    // Nothing has occurred after one tick, so that all is dead.
    let found = search(&demo.model(0, Subject::Kernel), &bounds(1, 1), |_| true);
    let excused = |data: &TableData, budget: u8, why: &str| {
        let (never, _) = dead(&demo.d, data, &found, budget, &BTreeMap::new());
        let told = |dead: &&Dead| dead.excuse.as_ref().is_some_and(|e| e.contains(why));
        never.iter().filter(told).count()
    };
    // Ring brake and cross clutch hold a machine; with the engine joined that is ended, faults or not.
    let joined = "ended at once";
    assert_eq!([0, 1].map(|budget| excused(&demo.data, budget, joined)), [6, 6]);
    let mut free = demo.data.clone();
    free.sets[0b111].engine_joined = false;
    assert_eq!([0, 1].map(|budget| excused(&free, budget, joined)), [0, 0]);
    let mut meant = demo.data.clone();
    meant.arrangements[0].closed = Bits(0b111);
    assert_eq!(excused(&meant, 1, joined), 0, "an arrangement is no overlap");
    let only_with_a_fault = |data: &TableData, budget: u8| excused(data, budget, "no step leads");
    assert_eq!((only_with_a_fault(&free, 0), only_with_a_fault(&free, 1)), (6, 0));
    // Without the pass through it, no lock set of the railcar is an overlap and nothing else.
    let overlap_excused = |data: &TableData| {
        let (never, _) = dead(&demo.d, data, &found, 0, &BTreeMap::new());
        let told = never.iter().find(|dead| dead.name == "refusal:overlap-too-long");
        told.expect("it did not occur").excuse.is_some()
    };
    assert!(!overlap_excused(&demo.data));
    let mut none = demo.data.clone();
    none.steps.retain(|step| step.action != Action::Close);
    assert!(overlap_excused(&none));
    let mut led = free.clone();
    let closing = led.steps.iter_mut().find(|s| s.action == Action::Close && s.lock == 0);
    let closing = closing.expect("a closing of the engine clutch");
    closing.from = Bits(0b110);
    assert_eq!(only_with_a_fault(&led, 0), 0);
    let found = search(&demo.model(0, Subject::Kernel), &bounds(5_000, 1), |_| true);
    let all = |named: &BTreeMap<String, String>| dead(&demo.d, &demo.data, &found, 0, named);
    let seen = found.sometimes.refusals.numbers().into_iter().next().expect("a refusal by now");
    let (never, _) = all(&BTreeMap::new());
    let unexcused = never.iter().find(|d| d.excuse.is_none()).expect("not all occurred yet");
    let occurs = format!("refusal:{}", REFUSALS[seen]);
    let named: BTreeMap<String, String> =
        [unexcused.name.as_str(), occurs.as_str(), "refusal:table"]
            .map(|n| (n.to_string(), "x".into()))
            .into();
    let (never, idle) = all(&named);
    let idle: Vec<&str> = idle.iter().map(|idle| idle.name.as_str()).collect();
    assert_eq!(idle, [occurs.as_str(), "refusal:table"], "one occurs, one excuses itself");
    assert!(never.iter().any(|d| d.name == unexcused.name && d.excuse.as_deref() == Some("x")));
}

/// Other shrunk times, in the same order: more states, the same verdict.
#[test]
fn slower_timers_change_no_verdict() {
    let mut demo = Demo::new(axle());
    let timing = &mut demo.data.timing;
    for time in [&mut timing.dwell, &mut timing.sync_timeout, &mut timing.unload_timeout] {
        *time += 1;
    }
    timing.overlap_max += 2;
    timing.retry_wait += 1;
    for lock in &mut demo.data.locks {
        lock.close_ticks += 1;
        lock.close_timeout += 2;
        lock.release_ticks += 1;
        lock.release_timeout += 2;
    }
    let model = demo.model(0, Subject::Kernel);
    let found = explored(&model);
    let plain = explored(&Demo::new(axle()).model(0, Subject::Kernel));
    assert!(found.store.len() > plain.store.len());
    assert_eq!(names(&found), Vec::<&str>::new());
    assert_eq!(found.sometimes.refusals, plain.sometimes.refusals);
    assert_eq!(found.sometimes.steps, plain.sometimes.steps);
    assert_eq!(liveness(&model, &found, THREADS).stuck, None);
}

/// Two entries of the table that send each other round in a circle: every safety property holds,
/// and liveness finds it.
#[test]
fn a_table_that_goes_in_circles_is_found() {
    let mut demo = Demo::new(axle());
    let (high, low, open) = (1, 0, Bits(0b100));
    let back = demo.data.table().next_step(0, Stuck::None, open, low).expect("a way to low");
    let (sets, arrangements) = (demo.data.sets.len(), demo.data.arrangements.len());
    let stuck_variants = 1 + 2 * demo.d.locks.len();
    for way in 0..WAYS {
        let row = way * stuck_variants * sets + usize::from(open.0);
        demo.data.next[row * arrangements + usize::from(high)] = back;
    }
    let model = demo.model(0, Subject::Kernel);
    let found = explored(&model);
    assert!(found.broken.is_empty());
    let live = liveness(&model, &found, THREADS);
    assert_eq!(live.stuck.map(|(_, arrangement)| arrangement), Some(high));
}

/// The same states, transitions, levels and shortest ways, whatever threads do.
#[test]
fn threads_change_nothing() {
    let demo = Demo::new(axle());
    for subject in [Subject::InterlockAlone, Subject::NoGate] {
        let model = demo.model(1, subject);
        let count = |threads| {
            let found = search(&model, &bounds(10_000_000, threads), |r| r.depth < 5);
            let Reached { states, transitions, kernel_ticks, depth, .. } = found.reached;
            (states, transitions, kernel_ticks, depth, found.broken, found.sometimes)
        };
        assert_eq!(count(1), count(3));
    }
}

/// A bound that is reached is not a pass.
#[test]
fn a_bound_makes_it_incomplete() {
    let demo = Demo::new(axle());
    let model = demo.model(0, Subject::Kernel);
    let found = search(&model, &bounds(500, 1), |_| true);
    assert!(!found.complete && found.store.len() >= 500);
    let memory = Bounds { bytes: 100_000, ..bounds(10_000_000, 1) };
    assert!(!search(&model, &memory, |_| true).complete);
}

/// With any orders at all and nothing denied, all that the gate is for is broken; what the
/// decision is for is in other tests.
#[test]
fn every_property_of_the_gate_fires_without_it() {
    let demo = Demo::new(shuttle());
    let found = search(&demo.model(0, Subject::NoGate), &bounds(2_000, THREADS), |_| true);
    let fired = ["EX-CONFLICT", "EX-SLIP", "EX-REST", "EX-ENGINE", "EX-KNOWN", "EX-ONE", "EX-DENY"];
    for id in fired {
        assert!(names(&found).contains(&id), "{id}: {:?}", names(&found));
    }
}

/// A decision that may keep an overlap for as long as it likes: the longest overlap is the only
/// thing that differs from the true table.
#[test]
fn an_overlap_without_limit_is_found() {
    let demo = Demo::new(shuttle());
    let mut endless = demo.data.clone();
    endless.timing.overlap_max *= 3;
    let found = explored(&demo.broken(&endless, 0, Subject::Kernel));
    assert_eq!(names(&found), ["EX-OVERLAP"]);
}

/// A decision that cuts the torque in time but lets no lock go: the dwell after which it should is
/// the only thing that differs, with the times that leave room for a step to be prepared.
#[test]
fn an_overlap_that_never_ends_is_found() {
    let mut demo = Demo::new(axle());
    demo.data.timing.sync_timeout = 7;
    demo.data.timing.unload_timeout = 7;
    let sound = explored(&demo.model(0, Subject::Kernel));
    assert_eq!(names(&sound), Vec::<&str>::new());
    let mut slow = demo.data.clone();
    slow.timing.dwell *= 3;
    let model = demo.broken(&slow, 0, Subject::Kernel);
    let found = explored(&model);
    assert_eq!(names(&found), ["EX-OVERLAP"]);
    let breach = found.broken.get(&Always::ShortOverlap).expect("it is broken");
    let way = way_to(&model, &found, breach, THREADS);
    let last = words(&demo.d, &model, &way).pop().expect("a way");
    let state = *way.last().expect("a way").kernel.state();
    assert!(state.overlap_ticks() > overlap_end(&demo.data.table()), "{last}");
}

/// A decision that believes every lock known sooner than its release takes closes too early, and
/// the gate, with the same wrong time, lets it.
#[test]
fn a_release_that_is_believed_too_short_is_found() {
    let demo = Demo::new(axle());
    let mut hasty = demo.data.clone();
    for lock in &mut hasty.locks {
        lock.release_ticks = 0;
    }
    let found = explored(&demo.broken(&hasty, 1, Subject::Kernel));
    assert!(names(&found).contains(&"EX-CONFLICT"), "{:?}", names(&found));
}

/// The interlock alone keeps what it is for, whatever is ordered and with one lock fault.
#[test]
fn nothing_breaks_the_interlock_alone() {
    for (d, states) in [(shuttle(), SHUTTLE_ALONE), (axle(), AXLE_ALONE)] {
        let demo = Demo::new(d);
        let found = explored(&demo.model(1, Subject::InterlockAlone));
        assert_eq!(names(&found), Vec::<&str>::new());
        assert_eq!(found.store.len(), states, "{}", demo.d.name);
    }
}

const SHUTTLE_ALONE: usize = 50_954;
const AXLE_ALONE: usize = 50_954;

/// Each conflict set lost from the interlock's data is found, the true sets being the judge.
#[test]
fn a_lost_conflict_set_is_found() {
    let demo = Demo::new(axle());
    for lost in 0..demo.data.conflicts.len() {
        let mut data = demo.data.clone();
        data.conflicts.remove(lost);
        let found = search(
            &demo.broken(&data, 0, Subject::InterlockAlone),
            &bounds(60_000, THREADS),
            |_| true,
        );
        assert_eq!(names(&found), ["EX-CONFLICT"], "without conflict {lost}");
    }
}

/// A set that the decision closes in its ordinary work, declared forbidden: without the interlock
/// it is closed, and the shortest way there is told tick by tick.
#[test]
fn a_way_to_a_broken_property_is_told_in_words() {
    let mut demo = Demo::new(shuttle());
    demo.data.conflicts.push(Conflict { locks: Bits(0b010), release_first: 1 });
    let model = demo.model(0, Subject::DecisionAlone);
    let found = search(&model, &bounds(60_000, THREADS), |_| true);
    let breach = found.broken.get(&Always::NoConflict).expect("it is broken");
    let way = way_to(&model, &found, breach, THREADS);
    assert_eq!(way.len() as u32, breach.level + 2, "a shortest way");
    assert_eq!(way[0], Node::default());
    let lines = words(&demo.d, &model, &way);
    assert_eq!(lines.len(), way.len());
    let ordered = |l: &String| {
        l.contains("orders closed ring-clutch") || l.contains("orders filled ring-clutch")
    };
    assert!(ordered(lines.last().expect("a way")), "{lines:#?}");
    assert!(lines.last().is_some_and(|l| l.contains(Always::NoConflict.text())), "{lines:#?}");
    let text = scenario(&demo.d, &model, Always::NoConflict, &way);
    drives(&demo.d, &text, 0);
}

/// The scenario of a way can be driven, to its end; returns what it says of faults.
fn drives(d: &Driveline, text: &str, faults: usize) {
    let read =
        parse("counterexample", text, d).unwrap_or_else(|e| panic!("{}\n{text}", e.render(false)));
    assert!(!read.setup.requests.is_empty(), "{text}");
    assert_eq!(read.setup.faults.len(), faults, "{text}");
    let full = build(d, &analyse(d).expect("the output turns")).expect("a table");
    let mut run = Run::new(d, full.table(), &read.setup, 1).expect("it starts");
    let ticks = std::iter::from_fn(|| run.tick()).count() as u64;
    assert_eq!(ticks, run.ticks());
}

/// A lock fault and a reset on the way stand in the scenario too.
#[test]
fn faults_and_resets_stand_in_the_scenario() {
    let demo = Demo::new(axle());
    let model = demo.model(1, Subject::NoGate);
    let start = model.canonical(Node::default());
    let mut way = vec![start, model.canonical(model.reset(&start, Reset::Cold))];
    let mut chooser = Chooser::default();
    let tick = loop {
        chooser.begin();
        let tick = model.tick(&way[1], Mood::Hostile, &mut chooser);
        if tick.happened.fault == Some((1, LockFault::SwitchClosed)) {
            break tick;
        }
        assert!(chooser.advance(), "every fault is tried");
    };
    way.push(tick.after);
    let text = scenario(&demo.d, &model, Always::NoConflict, &way);
    assert!(
        text.contains(
            "kind = \"switch-stuck-closed\"\ntarget = \"{}\""
                .replace("{}", &demo.d.locks[1].name)
                .as_str()
        ),
        "{text}"
    );
    assert!(text.contains("kind = \"reset\""), "{text}");
    let with_request =
        text.replace("[[speed]]", "[[request]]\nt_s = 0\narrangement = \"low\"\n[[speed]]");
    drives(&demo.d, &with_request, 2);
}
