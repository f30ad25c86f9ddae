//! Random sequences of what people, vehicle and world may do to a driveline, against a small
//! model that knows only the kinematics: which lock sets hold what must turn, what was asked,
//! what was broken, and therefore what may be true and what may be stated.
//!
//! The supervisor and the full plant run tick by tick under a story that grows. A sequence that
//! breaks an invariant shrinks; what shrinking found once stands at the end as ordinary tests.

mod model;
mod watch;

use std::collections::BTreeSet;
use std::marker::PhantomData;

use host_sim::drive::closed_loop::{Run, Setup};
use host_sim::drive::driver::Wish;
use host_sim::drive::faults::{Injected, TimedFault};
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::{RngSeed, TestError, TestRunner};
use proptest_state_machine::{ReferenceStateMachine, StateMachineTest, prop_state_machine};

use model::{Act, Axle, Bench, Blind, Broken, Model, Railcar, Rough, SEED, Shuttle, leaked};
use watch::Watch;

/// The supervisor and the plant under a story that grows.
struct Live {
    story: Setup,
    run: Run<'static>,
    now_ms: u64,
    watch: Watch,
}

impl Live {
    /// Let time pass under the story as it is now.
    fn pass<B: Bench>(&mut self, model: &Model<B>, ms: u64) {
        self.now_ms += ms;
        self.story.duration_s = self.now_ms as f64 / 1e3;
        self.run.go_on(leaked(self.story.clone()));
        while let Some(record) = self.run.next_tick() {
            self.watch.see(model, record);
        }
    }

    /// Write what happens now into the story; how many ms then pass.
    fn tell(&mut self, act: Act) -> u64 {
        let now_s = self.now_ms as f64 / 1e3;
        let stays = |fault| TimedFault { from_s: now_s, to_s: f64::INFINITY, fault };
        match act {
            Act::Wait(ms) => return ms,
            Act::Ask(a) => {
                // Of two requests at one time the later one stands.
                self.story.requests.retain(|r| r.0 < now_s);
                self.story.requests.push((now_s, a));
            }
            Act::Drive(much) => {
                let (points, to) = match &mut self.story.wish {
                    Wish::Speed(points) => (points, f64::from(much)),
                    Wish::Pedal(points) => (points, f64::from(much) / 100.0),
                };
                let before = points.last().map_or(0.0, |p| p.1);
                // A driver looks 0.1 s ahead: what has been looked at is past.
                let from_s = (self.now_ms + 101) as f64 / 1e3;
                points.extend([(from_s, before), (from_s, to)]);
            }
            Act::Break(what) => self.story.faults.push(stays(what.injected())),
            Act::Mend => {
                let resets = [Injected::SupervisorReset, Injected::SupervisorColdReset];
                let last = self.story.faults.iter_mut().rev().find(|f| !resets.contains(&f.fault));
                last.expect("something is broken").to_s = now_s;
            }
            Act::Reset { cold: true } => {
                self.story.faults.push(stays(Injected::SupervisorColdReset))
            }
            Act::Reset { cold: false } => self.story.faults.push(stays(Injected::SupervisorReset)),
        }
        // What was told shows from the next tick on.
        10
    }
}

/// The suite for a bench.
struct Suite<B>(PhantomData<B>);

impl<B: Bench> StateMachineTest for Suite<B> {
    type SystemUnderTest = Live;
    type Reference = Model<B>;

    fn init_test(model: &Model<B>) -> Live {
        let story = model.story();
        let run =
            Run::of(&B::rig().prepared, leaked(story.clone()), SEED).expect("it was filtered");
        Live { story, run, now_ms: 0, watch: Watch::default() }
    }

    fn apply(mut live: Live, model: &Model<B>, act: Act) -> Live {
        let ms = live.tell(act);
        live.pass(model, ms);
        live
    }

    fn check_invariants(live: &Live, model: &Model<B>) {
        if let Some(wrong) = &live.watch.wrong {
            panic!("{wrong}\n{model:?}");
        }
    }

    /// Every request has its answer in the end; and the story, told at once, ends in the same.
    fn teardown(mut live: Live, model: Model<B>) {
        live.pass(&model, 100);
        while live.watch.waits_since_s.is_some() && live.watch.wrong.is_none() {
            live.pass(&model, 250);
        }
        Self::check_invariants(&live, &model);
        let mut whole = Run::of(&B::rig().prepared, leaked(live.story), SEED).expect("as before");
        while whole.next_tick().is_some() {}
        assert_eq!(whole.plant().digest(), live.run.plant().digest(), "told at once");
    }
}

/// One seed for all; `PROPTEST_CASES` and `PROPTEST_RNG_SEED` ask for more and for others.
fn config(cases: u32) -> ProptestConfig {
    let asked = |name: &str| std::env::var(name).ok()?.parse::<u32>().ok();
    let seed = asked("PROPTEST_RNG_SEED").unwrap_or(20);
    ProptestConfig {
        cases: asked("PROPTEST_CASES").unwrap_or(cases),
        rng_seed: RngSeed::Fixed(seed.into()),
        failure_persistence: None,
        max_shrink_iters: 3000,
        ..ProptestConfig::default()
    }
}

prop_state_machine! {
    #![proptest_config(config(150))]
    #[test]
    fn the_shuttle_keeps_to_the_model(sequential 1..20 => Suite<Shuttle>);
    #[test]
    fn the_railcar_keeps_to_the_model(sequential 1..20 => Suite<Railcar>);
    #[test]
    fn the_axle_keeps_to_the_model(sequential 1..20 => Suite<Axle>);
}

/// Tell a sequence to a bench from its beginning to its end.
fn tell<B: Bench>(begin: (usize, f64, bool), acts: &[Act]) {
    let (start, kmh, by_pedal) = begin;
    let model = Model::<B>::begin(start, kmh, by_pedal);
    Suite::<B>::test_sequential(config(1), model, acts.to_vec(), None);
}

/// The smallest sequence that breaks an invariant of a bench with a planted defect: why, its
/// beginning and its acts. The sound bench keeps to the model under it.
fn smallest<B: Bench, Sound: Bench>() -> (String, Vec<Act>) {
    let mut runner = TestRunner::new(ProptestConfig { cases: 200, ..config(1) });
    let strategy = Model::<B>::sequential_strategy(1..20);
    let run = |(model, acts, seen)| {
        Suite::<B>::test_sequential(config(1), model, acts, seen);
        Ok(())
    };
    match runner.run(&strategy, run) {
        Err(TestError::Fail(why, (model, acts, _))) => {
            tell::<Sound>((model.start, model.start_kmh, model.by_pedal), &acts);
            (why.message().to_string(), acts)
        }
        other => panic!("the planted defect was not found: {other:?}"),
    }
}

#[test]
fn locks_that_close_roughly_are_found_and_the_sequence_shrinks() {
    let (why, acts) = smallest::<Rough, Shuttle>();
    // It slips too much itself, or so does the machine that an overlap then holds.
    assert!(why.contains("rpm of slip") || why.contains("while the machine"), "{why}\n{acts:?}");
    // Another arrangement must be asked for, or what stands be left and taken again.
    let moves = |a: &Act| matches!(a, Act::Ask(_) | Act::Reset { .. } | Act::Break(_));
    assert!(acts.iter().any(moves) && acts.len() <= 5, "{acts:?}");
}

#[test]
fn a_supervisor_that_does_not_see_a_lock_come_apart_is_found_and_the_sequence_shrinks() {
    let (why, acts) = smallest::<Blind, Shuttle>();
    assert!(why.contains("is stated and"), "{why}\n{acts:?}");
    // It takes a fault of that very lock, and time for it to be stated.
    let of_it = |a: &Act| matches!(a, Act::Break(Broken::Opens(0) | Broken::Closes(0)));
    assert!(acts.iter().any(of_it) && acts.len() <= 5, "{acts:?}");
}

/// The sequences move things: else the suites would hold and show nothing.
#[test]
fn the_sequences_are_not_idle() {
    let mut runner = TestRunner::new(config(1));
    let strategy = Model::<Shuttle>::sequential_strategy(1..20);
    let (mut ways, mut refusals, mut blamed, mut resets) = (BTreeSet::new(), 0, 0, 0);
    for _ in 0..60 {
        let (mut model, acts, _) = strategy.new_tree(&mut runner).expect("a sequence").current();
        let mut live = Suite::<Shuttle>::init_test(&model);
        let mut from = model.start;
        for act in acts {
            model = Model::apply(model, &act);
            let ms = live.tell(act);
            live.pass(&model, ms);
            let status = live.run.record().status;
            if let Some(to) = status.arrangement.map(usize::from).filter(|to| *to != from) {
                ways.insert((from, to));
                from = to;
            }
            refusals += u32::from(status.refusal.is_some());
            blamed += u32::from(status.faults.locks().0 != 0 || status.faults.sensors.0 != 0);
            resets += u32::from(matches!(act, Act::Reset { .. }));
        }
    }
    let seen = (ways.len(), refusals, blamed, resets);
    assert!(seen.0 >= 6 && seen.1 >= 10 && seen.2 >= 10 && seen.3 >= 10, "{seen:?}");
}

/// What shrinking found while these suites were written, of the model or of what it watches.
#[test]
fn what_was_found_once_stays_as_it_is_now() {
    // A driver looks ahead: what he is told must not change what he has seen.
    tell::<Shuttle>((0, 5.8, false), &[Act::Ask(0), Act::Drive(0)]);
    // A dog that a fault presses rattles for half a second before it is in, and nothing shows it.
    tell::<Axle>((2, 4.9, false), &[Act::Break(Broken::Closes(2)), Act::Wait(432)]);
    // A clutch that a fault presses slips for as long.
    tell::<Railcar>((4, 34.0, false), &[Act::Break(Broken::Closes(1)), Act::Ask(0)]);
    // Asked otherwise half-way at speed, a shaft comes near its limit and torque is cut.
    tell::<Railcar>((4, 71.3, false), &[Act::Ask(2), Act::Ask(0)]);
}
