//! The drive controller: what the inverters and the vehicle controller do outside the
//! supervisor. It turns the supervisor's machine orders and the driver's demand into
//! machine torques, so that the wheels keep their torque while a machine synchronises.
//!
//! It reads each machine's own speed (an inverter has a rotor position sensor of its
//! own) and the output speed; it believes the lock set that the supervisor holds.

use std::sync::Arc;

use supervisor::bits::MAX_MACHINES;
use supervisor::io::MachineOrder;

use crate::drive::balance::{Asked, Part};
use crate::drive::charge;
use crate::drive::knowledge::{EngineKnown, Knowledge, SetKnown};
use crate::drive::limits::Limits;
use crate::driveline::{Driveline, Engine};
use crate::plant::{MAX_SHAFTS, ShaftValues, clamp};

const RPM: f64 = std::f64::consts::PI / 30.0;
/// Gain of a held speed, 1/s.
const HOLD_GAIN_PER_S: f64 = 30.0;
/// Time over which the change of a held speed's target is smoothed, s: the target is reckoned from
/// measured speeds, which are rounded.
const TARGET_RATE_S: f64 = 0.05;
/// Gain towards the speed plan, 1/s.
const PLAN_GAIN_PER_S: f64 = 4.0;
/// Fastest change of the engine speed that the charge strategy wishes, rad/s2.
const ENGINE_GLIDE_RADPS2: f64 = 60.0;
/// Share over its wished speed at which the engine gives no torque any more.
const ENGINE_DROOP_SHARE: f64 = 0.15;
/// Torque against falling below idle, Nm per rad/s.
const IDLE_GAIN_NM_PER_RADPS: f64 = 4.0;

/// What the drive controller sees in one tick.
#[derive(Clone, Copy, Debug)]
pub struct Seen<'a> {
    /// The supervisor's machine orders.
    pub orders: &'a [MachineOrder; MAX_MACHINES],
    /// Whether the supervisor wants the engine to run.
    pub engine_run: bool,
    /// Lock set that the supervisor holds.
    pub held: u8,
    /// Whether an arrangement is reached and no step is under way.
    pub settled: bool,
    /// Torque that the driver asks for at the output shaft, Nm.
    pub demand_nm: f64,
    /// Speed of each machine's shaft, rad/s.
    pub machine_radps: [f64; MAX_MACHINES],
    /// Speed of the output shaft, rad/s.
    pub output_radps: f64,
    /// Whether the engine runs by itself.
    pub engine_running: bool,
    /// State of charge, 0 to 1.
    pub charge: f64,
}

/// What the drive controller orders.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Command {
    /// Torque command of each machine on its shaft, the engine included, Nm.
    pub torque_nm: [f64; MAX_MACHINES],
    /// Output torque that the machines can give with this, Nm (what the brakes need not).
    pub output_nm: f64,
}

/// The drive controller and its state.
#[derive(Clone, Debug)]
pub struct Governor {
    known: Arc<Knowledge>,
    mind: Mind,
}

impl Governor {
    /// A drive controller for a driveline with the plant's data, called every `dt_s` seconds.
    pub fn new(driveline: &Driveline, dt_s: f64) -> Governor {
        Governor { known: Arc::new(Knowledge::new(driveline, dt_s)), mind: Mind::default() }
    }

    /// One tick.
    pub fn tick(&mut self, seen: &Seen) -> Command {
        self.mind.tick(&self.known, seen)
    }
}

/// What changes in a drive controller from tick to tick.
#[derive(Clone, Debug, Default)]
pub struct Mind {
    torque_nm: [f64; MAX_MACHINES],
    given_nm: [f64; MAX_MACHINES],
    pull: [f64; MAX_MACHINES],
    expected: [f64; MAX_MACHINES],
    speed_before: [Option<f64>; MAX_MACHINES],
    /// Target of a held speed in the tick before, rad/s, and its smoothed change, rad/s2.
    target_before: [Option<f64>; MAX_MACHINES],
    target_rate: [f64; MAX_MACHINES],
    demand_nm: f64,
    engine_load_nm: f64,
    engine_gives_nm: f64,
    driver_w: f64,
    engine_radps: Option<f64>,
    pace: [f64; MAX_MACHINES],
}

/// One tick of a [`Mind`]: what it knows and sees.
struct Moment<'a> {
    known: &'a Knowledge,
    set: &'a SetKnown,
    seen: &'a Seen<'a>,
    /// Full load of an engine that runs, at its speed, Nm.
    full_nm: f64,
}

impl Mind {
    /// One tick of a drive controller that knows this.
    pub fn tick(&mut self, known: &Knowledge, seen: &Seen) -> Command {
        // Code of its own for each number of machines, so that nothing counts them in a tick.
        match known.machines {
            0 => self.tick_of::<0>(known, seen),
            1 => self.tick_of::<1>(known, seen),
            2 => self.tick_of::<2>(known, seen),
            3 => self.tick_of::<3>(known, seen),
            _ => self.tick_of::<MAX_MACHINES>(known, seen),
        }
    }

    fn tick_of<const MACHINES: usize>(&mut self, known: &Knowledge, seen: &Seen) -> Command {
        let running = known.engine.as_ref().filter(|_| seen.engine_running);
        let full = |e: &EngineKnown| {
            let rpm = seen.machine_radps[e.machine] / RPM;
            charge::full_load_from(&e.data, e.starts.before(rpm), rpm)
        };
        let full_nm = running.map_or(0.0, full);
        let now = Moment { known, set: known.set(seen.held), seen, full_nm };
        self.shape_demand(&now);
        let (speeds, room) = self.planned(&now);
        let mut parts = [Part::Given; MACHINES];
        let mut asked = Asked { output_nm: self.demand_nm * room, ..Asked::default() };
        for (m, slot) in parts.iter_mut().enumerate() {
            let (part, value) = self.part(m, &now, &speeds);
            *slot = part;
            (asked.torque_nm[m], asked.acceleration_radps2[m]) =
                if part.is_open() { (0.0, value) } else { (value, 0.0) };
        }
        let limits = Limits::<MACHINES>::new(known, now.set, seen, full_nm);
        let engine = self.engine_command(&now, &limits, &parts, &asked);
        if let Some((m, _)) = engine {
            parts[m] = parts[m].at_limit();
            asked.torque_nm[m] = self.engine_gives_nm;
        }
        let mut answer = limits.solved_within(&parts, &asked);
        if let Some((m, nm)) = engine {
            answer.torque_nm[m] = nm;
        }
        let mut command = Command { output_nm: answer.output_nm, ..Command::default() };
        let share = self.slew_share::<MACHINES>(known, &answer.torque_nm);
        for m in 0..MACHINES {
            let (low, high) = limits.nm[m];
            let before = self.torque_nm[m];
            let share = if engine.is_some_and(|e| e.0 == m) { 1.0 } else { share };
            let next = before + (answer.torque_nm[m] - before) * share;
            self.torque_nm[m] = clamp(next, low, high);
            command.torque_nm[m] = self.torque_nm[m];
        }
        command
    }

    /// The engine and its torque command; `None` without one. An engine is slow: it is asked
    /// for its share, and the machines are then balanced against what it gives by now.
    #[inline]
    fn engine_command<const MACHINES: usize>(
        &mut self,
        now: &Moment,
        limits: &Limits<MACHINES>,
        parts: &[Part; MACHINES],
        asked: &Asked,
    ) -> Option<(usize, f64)> {
        let engine = now.known.engine.as_ref()?;
        let m = engine.machine;
        let mut nm = asked.torque_nm[m];
        if parts[m].is_open() {
            nm = limits.solved_within(parts, asked).torque_nm[m];
        }
        let share = if now.seen.engine_running { engine.lag_share } else { 1.0 };
        self.engine_gives_nm += (nm - self.engine_gives_nm) * share;
        Some((m, nm))
    }

    /// The share of the way to the new torques that this tick may go. One share for all
    /// machines: old and new torques are in balance, so what lies between them is too.
    #[inline]
    fn slew_share<const MACHINES: usize>(
        &self,
        known: &Knowledge,
        wanted_nm: &[f64; MAX_MACHINES],
    ) -> f64 {
        let mut share = 1.0;
        for m in 0..MACHINES {
            let machine = &known.machine[m];
            let change = (wanted_nm[m] - self.torque_nm[m]).abs();
            if machine.electric && change > machine.slew_nm {
                share = f64::min(share, machine.slew_nm / change);
            }
        }
        share
    }

    fn shape_demand(&mut self, now: &Moment) {
        let step = now.known.pace.demand_nm;
        let wanted = if now.seen.demand_nm.is_finite() { now.seen.demand_nm } else { 0.0 };
        self.demand_nm += clamp(wanted - self.demand_nm, -step, step);
        let power = self.demand_nm * now.seen.output_radps;
        self.driver_w += (power - self.driver_w) * now.known.pace.power_share;
    }

    /// Planned speeds of the shafts (where they are asked for) and the share of the demand that
    /// leaves every shaft inside its limits; the engine's load as a side effect.
    fn planned(&mut self, now: &Moment) -> (ShaftValues, f64) {
        let (known, seen) = (now.known, now.seen);
        let joined = now.set.motion.engine_joined;
        let mut wished = None;
        if let Some(engine) = &known.engine {
            let m = engine.machine;
            let runs = joined && seen.engine_running;
            let loaded = runs && seen.settled;
            let power =
                charge::wanted_w(known.driveline.battery.as_ref(), seen.charge, self.driver_w);
            let wished_radps = engine.strategy.speed_radps(power);
            let speed = seen.machine_radps[m];
            let load = match loaded {
                true => charge::torque_at(&engine.data, speed, now.full_nm, power),
                false => 0.0,
            };
            let step = engine.load_step_nm;
            // The wished speed glides, so that the machines need no torque to chase it.
            let glide = ENGINE_GLIDE_RADPS2 * known.dt_s;
            let from = self.engine_radps.filter(|_| loaded).unwrap_or(speed);
            let next = from + clamp(wished_radps - from, -glide, glide);
            self.engine_radps = Some(next);
            self.engine_load_nm += clamp(load - self.engine_load_nm, -2.0 * step, step);
            // An engine that is joined and does not run is to stand.
            wished = joined.then_some(if runs { next } else { 0.0 });
        }
        let plan = &now.set.plan;
        let drives = self.demand_nm * seen.output_radps > 0.0;
        if !drives && !seen.settled {
            return ([0.0; MAX_SHAFTS], 1.0);
        }
        let speeds = plan.speeds(seen.output_radps, wished);
        let room = if drives { plan.room(&speeds) } else { 1.0 };
        (speeds, room)
    }

    /// What machine `m` does in the balance, and its value.
    #[inline]
    fn part(&mut self, m: usize, now: &Moment, planned: &ShaftValues) -> (Part, f64) {
        let (known, seen) = (now.known, now.seen);
        let order = seen.orders[m];
        let speed = seen.machine_radps[m];
        let engine = known.engine.as_ref().filter(|e| e.machine == m).map(|e| &e.data);
        if let Some(engine) = engine {
            if !seen.engine_running {
                self.let_go(m);
                return (Part::Given, -engine.drag_nm * (speed / 5.0).clamp(-1.0, 1.0));
            }
            if !now.set.motion.engine_joined && !matches!(order, MachineOrder::HoldSpeed { .. }) {
                // Its own governor keeps it at idle; what is asked above that would lift it.
                self.let_go(m);
                self.given_nm[m] = self.torque_nm[m];
                return (Part::Given, -engine.drag_nm);
            }
        }
        let given = match order {
            MachineOrder::HoldSpeed { target_radps } => {
                return self.holding(known, m, speed, f64::from(target_radps));
            }
            MachineOrder::TakeTorque { nm } => Some(f64::from(nm)),
            MachineOrder::Unload | MachineOrder::Off => Some(0.0),
            MachineOrder::Free => None,
        };
        self.let_go(m);
        if let Some(nm) = given {
            self.pace[m] = 0.0;
            return (Part::Given, self.ramped(known, m, nm));
        }
        self.given_nm[m] = self.torque_nm[m];
        match engine {
            Some(engine) => (Part::Given, self.free_engine_nm(engine, speed)),
            None if seen.settled => {
                let most = known.pace.rate_max;
                let planned = planned[known.machine[m].shaft % MAX_SHAFTS];
                let wanted = clamp(PLAN_GAIN_PER_S * (planned - speed), -most, most);
                (Part::Shares, self.paced(known, m, wanted))
            }
            None => (Part::Shares, self.paced(known, m, 0.0)),
        }
    }

    fn free_engine_nm(&self, engine: &Engine, speed: f64) -> f64 {
        let below = (engine.idle_rpm * RPM - speed).max(0.0);
        // Nothing may be holding it: faster than wished, it gives less.
        let wished = self.engine_radps.unwrap_or(speed).max(1.0);
        let droop = (1.0 - (speed / wished - 1.0) / ENGINE_DROOP_SHARE).clamp(0.0, 1.0);
        self.engine_load_nm * droop + IDLE_GAIN_NM_PER_RADPS * below
    }

    fn ramped(&mut self, known: &Knowledge, m: usize, nm: f64) -> f64 {
        let step = known.machine[m].given_step_nm;
        let wanted = if nm.is_finite() { nm } else { 0.0 };
        self.given_nm[m] += clamp(wanted - self.given_nm[m], -step, step);
        self.given_nm[m]
    }

    /// Acceleration towards a held speed. What is not modelled is learned from the
    /// acceleration that does not come, not from the speed error: so nothing is carried over
    /// the target on a long way to it.
    fn holding(&mut self, known: &Knowledge, m: usize, speed: f64, target: f64) -> (Part, f64) {
        let dt_s = known.dt_s;
        self.given_nm[m] = self.torque_nm[m];
        let most = known.pace.rate_max;
        let missing = if target.is_finite() { target - speed } else { 0.0 };
        if let Some(before) = self.speed_before[m] {
            let came = (speed - before) / dt_s;
            let lost = self.expected[m] - came - self.pull[m];
            let learned = lost * known.pace.learn_share;
            self.pull[m] = clamp(self.pull[m] + learned, -0.5 * most, 0.5 * most);
        }
        self.speed_before[m] = Some(speed);
        // A target that goes with the road is followed without lagging behind it.
        if let (Some(before), true) = (self.target_before[m], target.is_finite()) {
            let moved = clamp((target - before) / dt_s, -most, most);
            self.target_rate[m] += (moved - self.target_rate[m]) * dt_s / (dt_s + TARGET_RATE_S);
        }
        self.target_before[m] = Some(target).filter(|target| target.is_finite());
        let wanted = HOLD_GAIN_PER_S * missing + self.pull[m] + self.target_rate[m];
        let wanted = clamp(wanted, -most, most);
        let paced = self.paced(known, m, wanted);
        let lag_s = known.machine[m].lag_s;
        self.expected[m] += (paced - self.expected[m]) * dt_s / (dt_s + lag_s);
        (Part::HoldsSpeed, paced)
    }

    /// Forget what a held speed has learned.
    fn let_go(&mut self, m: usize) {
        self.pull[m] = 0.0;
        self.expected[m] = 0.0;
        self.speed_before[m] = None;
        self.target_before[m] = None;
        self.target_rate[m] = 0.0;
    }

    /// A wished acceleration that grows no faster than the torques can follow in step.
    fn paced(&mut self, known: &Knowledge, m: usize, wanted: f64) -> f64 {
        let step = known.pace.rate_step;
        self.pace[m] += clamp(wanted - self.pace[m], -step, step);
        self.pace[m]
    }
}
