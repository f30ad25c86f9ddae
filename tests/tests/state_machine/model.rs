//! The model: a rig as the kinematics know it, what may happen to it, and what was told so far.

use std::fmt::Debug;
use std::marker::PhantomData;
use std::sync::{Arc, OnceLock};

use host_sim::campaign::World;
use host_sim::checkers::answer_bound_s;
use host_sim::drive::closed_loop::{Prepared, Run, Setup};
use host_sim::drive::driver::Wish;
use host_sim::drive::faults::Injected;
use host_sim::plant::{ActuatorFault, SwitchFault};
use host_sim::review::Subject;
use host_sim::table::TableData;
use proptest::prelude::*;
use proptest::strategy::Union;
use proptest_state_machine::ReferenceStateMachine;
use supervisor::hash::table_hash;

/// Rad/s per rpm.
pub(crate) const RPM: f64 = std::f64::consts::PI / 30.0;
/// Seed of the plant's chance.
pub(crate) const SEED: u64 = 5;

/// A driveline with its supervisor's table, and what the kinematics say of it.
pub(crate) struct Rig {
    pub(crate) world: &'static World,
    pub(crate) prepared: Arc<Prepared<'static>>,
    /// By lock set: shafts that must turn and that it holds.
    pub(crate) forbidden: Vec<Vec<usize>>,
    /// By lock set that no arrangement wants: shafts of machines that it holds.
    pub(crate) overlaps: Vec<Vec<usize>>,
    /// By arrangement: its lock set.
    pub(crate) closed: Vec<u8>,
    pub(crate) rest_radps: f64,
    /// In this time a fault's reaction must show.
    pub(crate) reaction_s: f64,
    /// For so long a lock that was pressed by a fault may be on its way.
    pub(crate) let_go_s: f64,
    pub(crate) answer_s: f64,
}

impl Rig {
    /// The demo of this name with a table that `plant` may break. It lives as long as the tests.
    fn new(demo: &str, plant: impl Fn(&mut TableData)) -> Rig {
        let sound = World::new(Subject::read(demo, 1).expect("an embedded demo"));
        let mut table = sound.table.clone();
        plant(&mut table);
        table.hash = table_hash(&table.table());
        let world: &'static World = Box::leak(Box::new(sound.with_table(table)));
        let (d, k) = (world.driveline(), world.kinematics());
        let closed: Vec<u8> = d.arrangements.iter().map(|a| a.closed).collect();
        let engine = d.engine().map(|(m, _)| d.machines[m].shaft);
        let must_turn = |s: &&usize| **s == d.output.shaft || Some(**s) == engine;
        let held = |set: u8| k.set(set).held.iter();
        let machine = |s: &&usize| d.machines.iter().any(|m| m.shaft == **s);
        let sets = || 0..=(((1u16 << d.locks.len()) - 1) as u8);
        let t = &d.timing;
        let slowest = d.locks.iter().map(|l| l.release_ms).fold(0.0, f64::max);
        let reaction_s = t.fault_tolerant_time_ms.unwrap_or(500.0) / 1e3;
        Rig {
            prepared: world.prepared().expect("demos have all that a plant needs"),
            forbidden: sets().map(|set| held(set).filter(must_turn).copied().collect()).collect(),
            overlaps: sets()
                .map(|set| match closed.contains(&set) {
                    true => Vec::new(),
                    false => held(set).filter(machine).copied().collect(),
                })
                .collect(),
            closed,
            rest_radps: t.rest_rpm * RPM,
            reaction_s,
            let_go_s: reaction_s + (slowest + t.confirm_timeout_ms) / 1e3,
            answer_s: answer_bound_s(d),
            world,
        }
    }
}

/// Which rig a suite is for.
pub(crate) trait Bench: Clone + Debug + 'static {
    fn rig() -> &'static Rig;
}

macro_rules! bench {
    ($name:ident, $demo:literal, $plant:expr) => {
        #[derive(Clone, Debug)]
        pub(crate) struct $name;
        impl Bench for $name {
            fn rig() -> &'static Rig {
                static RIG: OnceLock<Rig> = OnceLock::new();
                RIG.get_or_init(|| Rig::new($demo, $plant))
            }
        }
    };
}

bench!(Shuttle, "shuttle", |_| {});
bench!(Railcar, "railcar", |_| {});
bench!(Axle, "axle", |_| {});
// Planted: the synchronising aims beside zero slip, and locks may close there.
bench!(Rough, "shuttle", |table| {
    for lock in &mut table.locks {
        (lock.slip_max, lock.begin_max) = (20.0 * lock.slip_max, 20.0 * lock.begin_max);
    }
    table.steps.iter_mut().for_each(|step| step.target_offset += 30.0);
});
// Planted: that the first lock comes apart is never seen.
bench!(Blind, "shuttle", |table| {
    table.locks[0].moving_min = 1e9;
    table.locks[0].has_switch = false;
});

/// Something that breaks; one at a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Broken {
    StuckOpen(usize),
    StuckClosed(usize),
    Opens(usize),
    Closes(usize),
    SaysOpen(usize),
    SaysClosed(usize),
    Silent(usize),
    Frozen(usize),
    NoTorque(usize),
}

impl Broken {
    pub(crate) fn injected(self) -> Injected {
        match self {
            Broken::StuckOpen(i) => Injected::Actuator(i, ActuatorFault::StuckOpen),
            Broken::StuckClosed(i) => Injected::Actuator(i, ActuatorFault::StuckClosed),
            Broken::Opens(i) => Injected::Actuator(i, ActuatorFault::OpensByItself),
            Broken::Closes(i) => Injected::Actuator(i, ActuatorFault::ClosesByItself),
            Broken::SaysOpen(i) => Injected::Switch(i, SwitchFault::StuckOpen),
            Broken::SaysClosed(i) => Injected::Switch(i, SwitchFault::StuckClosed),
            Broken::Silent(i) => Injected::SensorDropout(i),
            Broken::Frozen(i) => Injected::SensorStuck(i),
            Broken::NoTorque(i) => Injected::TorqueLost(i),
        }
    }

    /// The lock that it presses against its order.
    pub(crate) fn presses(self) -> Option<usize> {
        match self {
            Broken::StuckClosed(i) | Broken::Closes(i) => Some(i),
            _ => None,
        }
    }
}

/// What happens next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Act {
    /// Another arrangement is asked for.
    Ask(usize),
    /// So many ms pass.
    Wait(u64),
    /// The driver wants this speed, km/h, or presses the pedal by so many percent.
    Drive(i32),
    Break(Broken),
    Mend,
    /// The supervisor begins anew, with its trace or without.
    Reset {
        cold: bool,
    },
}

/// What the model knows.
#[derive(Clone, Debug)]
pub(crate) struct Model<B> {
    pub(crate) start: usize,
    pub(crate) start_kmh: f64,
    pub(crate) by_pedal: bool,
    pub(crate) asked: usize,
    pub(crate) broken: Option<Broken>,
    /// All that was ever broken.
    pub(crate) ever: Vec<Broken>,
    pub(crate) was_reset: bool,
    bench: PhantomData<B>,
}

impl<B: Bench> Model<B> {
    pub(crate) fn begin(start: usize, start_kmh: f64, by_pedal: bool) -> Model<B> {
        Model {
            start,
            start_kmh,
            by_pedal,
            asked: start,
            broken: None,
            ever: Vec::new(),
            was_reset: false,
            bench: PhantomData,
        }
    }

    pub(crate) fn story(&self) -> Setup {
        Setup {
            duration_s: 0.0,
            start_speed_kmh: self.start_kmh,
            start_arrangement: Some(self.start),
            start_charge: 0.5,
            start_rises_k: Vec::new(),
            wish: match self.by_pedal {
                true => Wish::Pedal(vec![(0.0, 0.0)]),
                false => Wish::Speed(vec![(0.0, self.start_kmh)]),
            },
            grade: Vec::new(),
            requests: vec![(0.0, self.start)],
            faults: Vec::new(),
        }
    }
}

impl<B: Bench> ReferenceStateMachine for Model<B> {
    type State = Model<B>;
    type Transition = Act;

    fn init_state() -> BoxedStrategy<Model<B>> {
        let windows = &B::rig().world.windows_kmh;
        let begin = |(start, tenths, by_pedal): (usize, u8, bool)| {
            let (low, high) = B::rig().world.windows_kmh[start];
            let low = low.max(0.0);
            let kmh = low + (0.05 + 0.08 * f64::from(tenths)) * (high - low);
            Model::begin(start, (kmh * 10.0).round() / 10.0, by_pedal)
        };
        let starts = |m: &Model<B>| Run::of(&B::rig().prepared, leaked(m.story()), SEED).is_ok();
        (0..windows.len(), 0..=10u8, any::<bool>())
            .prop_map(begin)
            .prop_filter("this start contradicts itself", starts)
            .boxed()
    }

    fn transitions(state: &Model<B>) -> BoxedStrategy<Act> {
        let d = B::rig().world.driveline();
        let drive = if state.by_pedal { -100..=100i32 } else { 0..=70i32 };
        let mut list: Vec<(u32, BoxedStrategy<Act>)> = vec![
            (6, (0..d.arrangements.len()).prop_map(Act::Ask).boxed()),
            (6, (1..=1500u64).prop_map(Act::Wait).boxed()),
            (3, drive.prop_map(Act::Drive).boxed()),
            (1, any::<bool>().prop_map(|cold| Act::Reset { cold }).boxed()),
        ];
        if state.broken.is_some() {
            list.push((3, Just(Act::Mend).boxed()));
        } else {
            let of = |kinds: &[fn(usize) -> Broken], count: usize| {
                (proptest::sample::select(kinds.to_vec()), 0..count)
                    .prop_map(|(kind, i)| Act::Break(kind(i)))
                    .boxed()
            };
            list.push((
                2,
                of(
                    &[
                        Broken::StuckOpen,
                        Broken::StuckClosed,
                        Broken::Opens,
                        Broken::Closes,
                        Broken::SaysOpen,
                        Broken::SaysClosed,
                    ],
                    d.locks.len(),
                ),
            ));
            list.push((1, of(&[Broken::Silent, Broken::Frozen], d.sensors.len())));
            list.push((1, of(&[Broken::NoTorque], d.machines.len())));
        }
        Union::new_weighted(list).boxed()
    }

    fn preconditions(state: &Model<B>, act: &Act) -> bool {
        match act {
            Act::Break(_) => state.broken.is_none(),
            Act::Mend => state.broken.is_some(),
            _ => true,
        }
    }

    fn apply(mut state: Model<B>, act: &Act) -> Model<B> {
        match *act {
            Act::Ask(a) => state.asked = a,
            Act::Break(what) => {
                state.broken = Some(what);
                state.ever.push(what);
            }
            Act::Mend => state.broken = None,
            Act::Reset { .. } => state.was_reset = true,
            Act::Wait(_) | Act::Drive(_) => {}
        }
        state
    }
}

/// Stories live as long as the tests: a run only borrows them.
pub(crate) fn leaked(story: Setup) -> &'static Setup {
    Box::leak(Box::new(story))
}
