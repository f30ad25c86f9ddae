//! Inputs that lead the shuttle's supervisor through its whole table: a small world in which locks
//! follow their orders, shafts come to where they are wanted, and now and then something is broken.
//! No plant: only what makes the supervisor go on to the next tick's work.

use host_sim::plant::random::Random;
use supervisor::Output;
use supervisor::bits::Bits;
use supervisor::io::{Inputs, LockOrder, LockReport, Speed, Torque};
use supervisor::link::message::Call;
use supervisor::status::Phase;
use supervisor::table::{Action, Table};

const LOCKS: u8 = 3;
/// From one cold reset to the next, in ticks.
pub(crate) const PERIOD: u32 = 10_000;
const STORIES: u32 = 15;
/// From one request to the next, in ticks.
const CHANGE: u32 = 450;

/// So many ticks after a change of the request two locks are closed, on the way from one to the other;
/// a few more each time.
const fn overlapped(at: u32) -> bool {
    at % CHANGE == 255 + 4 * (at / CHANGE)
}

/// What is broken for a while.
#[derive(Clone, Copy, Debug, Default)]
struct Broken {
    stuck_open: Bits,
    stuck_closed: Bits,
    lying: Bits,
    slipping: Bits,
    sensor: Option<usize>,
    /// A sensor whose shaft is far too fast.
    racing: Option<usize>,
    /// Whether a lock that closes is torn apart by a large slip.
    tears: bool,
}

/// For a tick or two something else speaks against a step than what keeps it from being taken.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Flicker {
    None,
    Demand,
    Road,
    Target,
}

pub(crate) struct Walk {
    random: Random,
    tick: u32,
    closed: Bits,
    /// Ticks since each lock's order changed.
    since: [u16; 3],
    ordered: Bits,
    broken: Broken,
    /// How many things were broken.
    breaks: u32,
    request: Option<u8>,
    demand_nm: f32,
    output: f32,
    ring: f32,
    generator: f32,
    crank: f32,
    /// Speed of the engine when it runs.
    idle: f32,
    /// Speeds of ring and generator while no lock ties them.
    free: [f32; 2],
    /// Ticks for which a lock is still torn apart.
    torn: u16,
    flicker: Flicker,
    helps: bool,
    loaded: bool,
    engine: bool,
}

impl Walk {
    pub(crate) fn new(seed: u64) -> Walk {
        Walk {
            random: Random::new(seed),
            tick: 0,
            closed: Bits::EMPTY,
            since: [0; 3],
            ordered: Bits::EMPTY,
            broken: Broken::default(),
            breaks: 0,
            request: None,
            demand_nm: 0.0,
            output: 0.0,
            ring: 0.0,
            generator: 0.0,
            crank: 0.0,
            idle: 150.0,
            free: [60.0, -60.0],
            torn: 0,
            flicker: Flicker::None,
            helps: true,
            loaded: false,
            engine: true,
        }
    }

    /// The next tick's call; `last` is what the supervisor gave.
    pub(crate) fn call(&mut self, table: &Table, last: &Output) -> Call {
        self.tick += 1;
        let (period, at) = (self.tick / PERIOD, self.tick % PERIOD);
        match period {
            0..STORIES => self.story(period, at),
            _ => self.wander(at),
        }
        let cold_reset = at == 0;
        // What was pressed goes on after it, an overlap for one.
        let warm_reset = match period {
            11 => at >= 600 && at.is_multiple_of(211),
            12 => at > CHANGE && overlapped(at),
            _ => false,
        };
        self.follow(table, last);
        self.turn(table, last);
        let inputs = self.inputs();
        Call { called: true, cold_reset, warm_reset, inputs }
    }

    /// What chance would seldom come to.
    fn story(&mut self, number: u32, at: u32) {
        if at <= 1 {
            (self.broken, self.closed, self.idle) = (Broken::default(), Bits::EMPTY, 150.0);
            (self.helps, self.loaded, self.free) = (true, false, [60.0, -60.0]);
            let first = [
                Some(0),
                None,
                Some(3),
                Some(0),
                Some(1),
                Some(2),
                Some(1),
                Some(1),
                Some(1),
                Some(2),
                Some(0),
                Some(0),
                Some(0),
                Some(0),
                Some(3),
            ];
            self.request = first[number as usize];
            self.engine = true;
            (self.output, self.demand_nm) = (20.0, 0.0);
        }
        match (number, at) {
            // The engine has to come to the generator, because neither can the generator come to
            // it (it races) nor the brake be opened (loaded): the third way.
            (0, 1_000) => self.idle = 480.0,
            (0, 2_000) => {
                (self.request, self.loaded) = (Some(2), true);
                self.free = [60.0, 150.0];
            }
            (0, 2_400) => self.idle = 150.0,
            // The same where the ring clutch would not open.
            (1, 1_000) => self.jam(Bits::one(1)),
            (1, 2_000) => {
                (self.request, self.demand_nm) = (Some(3), 1e6);
                (self.loaded, self.free) = (false, [150.0, 150.0]);
            }
            // All three held at once, and none of them pressed.
            (2, 2) => self.jam(Bits::first(LOCKS)),
            // Each lock would not close.
            (3..6, 2) => self.broken.stuck_open = Bits::one((number - 3) as u8),
            // A step whose slip is never brought to zero, with something else against it now and
            // then.
            (6..9, 2_000) => {
                (self.request, self.helps) = (Some(3), false);
                let all = [Flicker::Demand, Flicker::Road, Flicker::Target];
                self.flicker = all[(number - 6) as usize];
            }
            // A lock that is not unloaded; an engine that does not start.
            (9, 2_000) => (self.request, self.loaded) = (Some(0), true),
            (10, 2_000) => (self.request, self.engine) = (Some(2), false),
            // One after the other, for the resets and what breaks.
            (11..14, _) if at.is_multiple_of(CHANGE) => {
                self.request = Some([0, 1, 0, 1, 3, 1, 2][(at / CHANGE % 7) as usize]);
            }
            // The engine's clutch jams for a moment, on the way through an overlap too: the last gate
            // sees it before the decision does.
            (13, _) if overlapped(at) => self.jam(Bits::one(2)),
            (13, _) if at % CHANGE == 350 => self.broken.stuck_closed = Bits::EMPTY,
            // The engine's sensors are missing while it drives, first one and then the other.
            (14, 1_600) => self.broken.sensor = Some(4),
            (14, 1_900) => self.broken.sensor = Some(6),
            (14, 2_200) => self.broken.racing = Some(4),
            _ => {}
        }
    }

    /// Anything, for a while.
    fn wander(&mut self, at: u32) {
        if at.is_multiple_of(PERIOD / 4) {
            self.break_something();
        }
        // In the last half of every second period a step that nothing helps is given all its time.
        let patient = at > PERIOD / 2 && (self.breaks / 4).is_multiple_of(2);
        if self.random.below(if patient { 4_000 } else { 400 }) == 0 {
            self.wish_something();
        }
    }

    /// Shut, whatever was ordered.
    fn jam(&mut self, lock: Bits) {
        self.broken.stuck_closed = lock;
        self.closed = self.closed.or(lock);
    }

    fn wish_something(&mut self) {
        let mut any = |of: &[f32]| of[self.random.below(of.len() as u64) as usize];
        self.demand_nm = any(&[0.0, 0.0, 50.0, -80.0, 1e6]);
        self.output = any(&[0.0, 5.0, 20.0, -20.0, 60.0, 110.0, 290.0]);
        self.free = [any(&[60.0, 30.0, 470.0]), any(&[-60.0, 150.0, -30.0])];
        self.request = (self.random.below(9) != 0).then(|| self.random.below(5) as u8);
        self.helps = self.random.below(4) != 0;
        self.loaded = self.random.below(8) == 0;
        self.engine = self.random.below(8) != 0;
        self.idle = 150.0;
        let all = [Flicker::None, Flicker::Demand, Flicker::Road, Flicker::Target];
        self.flicker = all[self.random.below(4) as usize];
    }

    fn break_something(&mut self) {
        self.broken = Broken::default();
        // Each in turn, with each lock and sensor in turn.
        let lock = Bits::one((self.breaks / 7 % 3) as u8);
        let sensor = (self.breaks / 7 % 7) as usize;
        match self.breaks % 7 {
            0 => self.broken.stuck_open = lock,
            1 => self.broken.stuck_closed = lock,
            2 => self.broken.lying = lock,
            3 => self.broken.slipping = lock,
            4 => self.broken.sensor = Some(sensor),
            5 => self.broken.racing = Some(sensor),
            _ if self.random.below(2) == 0 => self.jam(lock),
            _ => self.broken.tears = true,
        }
        self.breaks += 1;
    }

    /// The locks after their orders.
    fn follow(&mut self, table: &Table, last: &Output) {
        for lock in 0..LOCKS {
            let i = usize::from(lock);
            let close = last.orders.locks[i] == LockOrder::Close;
            let changed = close != self.ordered.has(lock);
            self.since[i] = if changed { 0 } else { self.since[i].saturating_add(1) };
            self.ordered = self.ordered.with(lock, close);
            let data = &table.locks[i];
            if close && self.since[i] >= data.close_ticks && !self.broken.stuck_open.has(lock) {
                self.closed = self.closed.with(lock, true);
            }
            if !close && self.since[i] >= data.release_ticks && !self.broken.stuck_closed.has(lock)
            {
                self.closed = self.closed.with(lock, false);
            }
        }
    }

    /// The shafts: what is closed turns together, and what is to be closed comes together.
    fn turn(&mut self, table: &Table, last: &Output) {
        // An engine that races does not stop when it is told to.
        let runs = last.orders.engine_run && self.engine || self.idle > 400.0;
        // It comes up and down slowly enough not to be foreseen beyond its limits.
        let wanted = if runs { self.idle } else { 0.0 };
        self.crank += (wanted - self.crank).clamp(-1.0, 1.0);
        let mut together = self.closed;
        if let (Phase::Prepare { step, .. } | Phase::Closing { step }, true) =
            (last.status.phase, self.helps)
        {
            let step = &table.steps[usize::from(step)];
            if step.action == Action::Close {
                together = together.with(step.lock, true);
            }
        }
        let [ring, generator] = self.free;
        self.ring = if together.has(0) { 0.0 } else { ring };
        self.generator = match (together.has(1), together.has(2)) {
            (true, _) => self.ring,
            (false, true) => self.crank,
            _ => generator,
        };
        if together.has(2) && together.has(1) && !together.has(0) {
            (self.ring, self.generator) = (self.crank, self.crank);
        } else if together.has(2) {
            self.crank = self.generator;
        }
        self.torn = match last.status.phase {
            Phase::Closing { .. } if self.broken.tears => 100,
            _ => self.torn.saturating_sub(1),
        };
        if self.torn > 0 {
            (self.ring, self.generator) = (400.0, 0.0);
        }
        let off = 40.0;
        if self.broken.slipping.has(0) {
            self.ring += off;
        }
        if self.broken.slipping.has(1) || self.broken.slipping.has(2) {
            self.generator += off;
        }
    }

    fn inputs(&mut self) -> Inputs {
        let flickers = if self.tick % 5 < 2 && !self.helps { self.flicker } else { Flicker::None };
        if flickers == Flicker::Target {
            self.generator = -440.0;
        }
        let output = if flickers == Flicker::Road { 310.0 } else { self.output };
        let sun = (output - 0.6875 * self.ring) / 0.3125;
        let mut speeds =
            [sun, output, self.ring, self.generator, self.crank, self.generator, self.crank];
        if let Some(sensor) = self.broken.racing {
            // All that sit on the same shaft, or the relations would speak against it.
            let race = [900.0, 330.0, 500.0, 500.0, 450.0, 500.0, 450.0][sensor];
            match sensor {
                3 | 5 => (speeds[3], speeds[5]) = (race, race),
                4 | 6 => (speeds[4], speeds[6]) = (race, race),
                0 => (speeds[0], speeds[1]) = (1000.0, 0.3125 * 1000.0 + 0.6875 * speeds[2]),
                1 => (speeds[1], speeds[0]) = (race, (race - 0.6875 * speeds[2]) / 0.3125),
                _ => (speeds[2], speeds[1]) = (race, 0.3125 * speeds[0] + 0.6875 * race),
            }
        }
        let mut inputs = Inputs::default();
        for (sensor, radps) in speeds.into_iter().enumerate() {
            inputs.speeds[sensor] = Speed { radps, valid: self.broken.sensor != Some(sensor) };
        }
        for lock in 0..LOCKS {
            let says = self.closed.has(lock) != self.broken.lying.has(lock);
            let word = if says { LockReport::Closed } else { LockReport::Open };
            inputs.reports[usize::from(lock)] = word;
        }
        for (torque, nm) in inputs.torques.iter_mut().zip([90.0, -200.0, 0.0]) {
            *torque = Torque { nm: if self.loaded { nm } else { 0.0 }, valid: true };
        }
        inputs.request = self.request;
        let demand = flickers == Flicker::Demand;
        inputs.demand_nm = if demand { 1e6 } else { self.demand_nm };
        inputs.engine_running = self.crank > 60.0;
        inputs
    }
}
