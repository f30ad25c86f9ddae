//! The plant as a unit: orders in, measurements and truth out, a step is a tick.
//!
//! The drive controller belongs to it, because the supervisor's orders to machines are for it. A
//! plant made with a scenario has its driver, requests and faults inside and tells what is asked;
//! without one the driver is outside.

use std::sync::Arc;

use supervisor::Output;
use supervisor::bits::{Bits, MAX_MACHINES};
use supervisor::io::{LockOrder, LockReport, MachineOrder, Orders};
use supervisor::status::{Faults, Phase, Status};

use super::source::Source;
use super::variable::{
    ARRANGEMENT, DIRECT, Kind, LOCK_ACTUAL, LOCK_ORDER, LOCK_REPORT, MACHINE_ORDER, NONE, RESET,
    Role, Value, Variables, arrangement, of_arrangement, real, truth, whole,
};
use crate::drive::closed_loop::{Call, Prepared, Run, Setup, is_engaged};
use crate::drive::driver::Pedals;
use crate::drive::faults::Reset;
use crate::driveline::Lock;
use crate::plant::LockActual;

/// Places of the variables; of a list, of its first.
#[derive(Clone, Copy, Debug, Default)]
struct Places {
    speed_kmh: usize,
    arrangement: usize,
    charge: usize,
    seed: usize,
    commanded: usize,
    order: usize,
    order_value: usize,
    engine_run: usize,
    held: usize,
    at_rest: usize,
    standing: usize,
    goal: usize,
    racing: usize,
    demand: usize,
    brake: usize,
    grade: usize,
    request: usize,
    called: usize,
    reset: usize,
    sensed: usize,
    valid: usize,
    reported: usize,
    torque: usize,
    torque_valid: usize,
    running: usize,
    road: usize,
    distance: usize,
    out_charge: usize,
    output_nm: usize,
    shafts: usize,
    slip: usize,
    actual: usize,
    lock_nm: usize,
    work: usize,
    command: usize,
    machine_nm: usize,
    digest: usize,
}

const NM: Kind = Kind::Real("N.m");
const RADPS: Kind = Kind::Real("rad/s");
const ONE: Kind = Kind::Real("1");
const ZERO: Value = Value::Real(0.0);
const OFF: Value = Value::Whole(0);
const NO: Value = Value::Truth(false);

/// Names of the entries of a list.
macro_rules! names {
    ($list:expr) => {
        $list.iter().map(|x| &x.name)
    };
}

fn variables(source: &Source) -> (Variables, Places) {
    let mut all = Variables::new(&source.driveline);
    let mut at = Places::default();
    parameters(source, &mut all, &mut at);
    orders(source, &mut all, &mut at);
    driver(source, &mut all, &mut at);
    measurements(source, &mut all, &mut at);
    truths(source, &mut all, &mut at);
    (all, at)
}

fn parameters(source: &Source, all: &mut Variables, at: &mut Places) {
    use Role::Parameter;
    let story = &source.story;
    let (kmh, list) = (Kind::Real("km/h"), Kind::Choice(ARRANGEMENT));
    let start = Value::Real(story.start_speed_kmh);
    at.speed_kmh = all.add(Parameter, "start_speed_kmh", "Road speed at the start", kmh, start);
    let number = story.start_arrangement.and_then(|a| u8::try_from(a).ok());
    let start = of_arrangement(number, source.driveline.arrangements.len());
    let about = "Arrangement at the start, its locks closed; (none): every lock open";
    at.arrangement = all.add(Parameter, "start_arrangement", about, list, start);
    let about = "State of charge at the start, 0 to 1";
    at.charge = all.add(Parameter, "start_charge", about, ONE, Value::Real(story.start_charge));
    let about = "Seed of all chance: sensor errors and noise, dog positions";
    at.seed = all.add(Parameter, "seed", about, Kind::Whole, Value::Whole(source.seed()));
}

fn orders(source: &Source, all: &mut Variables, at: &mut Places) {
    use Role::Input;
    let d = &source.driveline;
    let about = ("commanded", "What the lock's actuator is asked to do");
    at.commanded = all.each(Input, about, Kind::Choice(LOCK_ORDER), &OFF, names!(d.locks));
    let about = ("order", "What the machine is asked to do; direct: its value as torque, at once");
    at.order = all.each(Input, about, Kind::Choice(MACHINE_ORDER), &OFF, names!(d.machines));
    let about = ("order_value", "Speed to hold in rad/s, or torque in N.m");
    at.order_value = all.each(Input, about, ONE, &ZERO, names!(d.machines));
    let about = "Whether the engine should run";
    at.engine_run = all.add(Input, "engine_run_order", about, Kind::Truth, NO);
    let about = "Locks that the supervisor holds closed, bit i is the i-th";
    at.held = all.add(Input, "held", about, Kind::Whole, OFF);
    let about = "Whether the supervisor rests: no step is under way";
    at.at_rest = all.add(Input, "at_rest", about, Kind::Truth, NO);
    let list = Kind::Choice(ARRANGEMENT);
    let about = "Arrangement that the supervisor states";
    at.standing = all.add(Input, "arrangement", about, list, Value::Whole(NONE));
    let about = "Arrangement that the supervisor has accepted as asked for";
    at.goal = all.add(Input, "goal", about, list, Value::Whole(NONE));
    let about =
        "Sensors of shafts that the supervisor says race, bit i is the i-th: the driver brakes";
    at.racing = all.add(Input, "faults_racing", about, Kind::Whole, OFF);
}

/// Outside, or told by the scenario inside.
fn driver(source: &Source, all: &mut Variables, at: &mut Places) {
    let inside = source.scenario.is_some();
    let way = if inside { Role::Output } else { Role::Input };
    at.demand = all.add(way, "demand_nm", "Torque asked at the output shaft", NM, ZERO);
    let about = "Service brake torque at the output shaft, 0 or more";
    at.brake = all.add(way, "brake_torque_nm", about, NM, ZERO);
    let about = "Slope: rise per horizontal distance, positive uphill when driving forward";
    at.grade = all.add(way, "grade", about, ONE, ZERO);
    if inside {
        let list = Kind::Choice(ARRANGEMENT);
        at.request = all.add(way, "request", "Arrangement asked for", list, Value::Whole(NONE));
        let about = "Whether the supervisor gets this tick (a fault may keep it away)";
        at.called = all.add(way, "called", about, Kind::Truth, Value::Truth(true));
        let about = "How the supervisor begins anew before this tick";
        at.reset = all.add(way, "reset", about, Kind::Choice(RESET), OFF);
    }
}

fn measurements(source: &Source, all: &mut Variables, at: &mut Places) {
    use Role::Output;
    let d = &source.driveline;
    let about = ("sensed_radps", "Speed that the sensor measures");
    at.sensed = all.each(Output, about, RADPS, &ZERO, names!(d.sensors));
    let about = ("sensed_valid", "Whether the sensor stands by its value");
    at.valid = all.each(Output, about, Kind::Truth, &NO, names!(d.sensors));
    let about = ("reported", "What the lock's switch says");
    at.reported = all.each(Output, about, Kind::Choice(LOCK_REPORT), &OFF, names!(d.locks));
    let about = ("reported_nm", "Torque that the machine's controller reports");
    at.torque = all.each(Output, about, NM, &ZERO, names!(d.machines));
    let about = ("reported_nm_valid", "Whether the controller stands by its report");
    at.torque_valid = all.each(Output, about, Kind::Truth, &NO, names!(d.machines));
    let about = "Whether the engine's controller says that it runs by itself";
    at.running = all.add(Output, "engine_running", about, Kind::Truth, NO);
}

fn truths(source: &Source, all: &mut Variables, at: &mut Places) {
    use Role::Output;
    let d = &source.driveline;
    at.road = all.add(Output, "road_speed_mps", "True road speed", Kind::Real("m/s"), ZERO);
    at.distance = all.add(Output, "distance_m", "Way driven", Kind::Real("m"), ZERO);
    at.out_charge = all.add(Output, "charge", "State of charge", ONE, ZERO);
    let about = "True torque from the output shaft into the final drive";
    at.output_nm = all.add(Output, "output_torque_nm", about, NM, ZERO);
    let about = ("speed_radps", "True speed of the shaft");
    at.shafts = all.each(Output, about, RADPS, &ZERO, names!(d.shafts));
    let about = ("slip_radps", "True speed of the lock's first side minus that of its second");
    at.slip = all.each(Output, about, RADPS, &ZERO, names!(d.locks));
    let about = ("actual", "What the lock really does");
    at.actual = all.each(Output, about, Kind::Choice(LOCK_ACTUAL), &OFF, names!(d.locks));
    let about = ("lock_torque_nm", "True torque on the lock's first side");
    at.lock_nm = all.each(Output, about, NM, &ZERO, names!(d.locks));
    let about = ("friction_work_j", "Heat of the lock since the start");
    at.work = all.each(Output, about, Kind::Real("J"), &ZERO, names!(d.locks));
    let about = ("command_nm", "Torque that the drive controller makes of the order");
    at.command = all.each(Output, about, NM, &ZERO, names!(d.machines));
    let about = ("machine_torque_nm", "True torque on the machine's shaft");
    at.machine_nm = all.each(Output, about, NM, &ZERO, names!(d.machines));
    let about = "Digest of everything that moves: equal digests mean equal runs";
    at.digest = all.add(Output, "digest", about, Kind::Text, Value::Text(String::new()));
}

/// As the trace of a drive tells it.
fn actual(data: &Lock, actual: LockActual) -> i32 {
    match (is_engaged(data, actual), actual == LockActual::Locked) {
        (false, _) => 0,
        (true, false) => 1,
        (true, true) => 2,
    }
}

/// A plant under way.
#[derive(Clone, Debug)]
pub(super) struct Plant<'a> {
    source: &'a Source,
    prepared: Arc<Prepared<'a>>,
    at: Places,
    run: Option<Run<'a>>,
}

impl<'a> Plant<'a> {
    pub(super) fn new(source: &'a Source) -> Result<(Plant<'a>, Variables), String> {
        let (all, at) = variables(source);
        Ok((Plant { source, prepared: source.prepared()?, at, run: None }, all))
    }

    /// Begin, as the parameters say.
    pub(super) fn begin(&mut self, values: &mut [Value]) -> Result<(), String> {
        let (at, story) = (&self.at, &self.source.story);
        let (speed, charge) = (real(values, at.speed_kmh), real(values, at.charge));
        if !speed.is_finite() || speed.abs() > 600.0 {
            return Err(format!("start_speed_kmh is {speed}; it goes from -600 to 600"));
        }
        if !(0.0..=1.0).contains(&charge) {
            return Err(format!("start_charge is {charge}; it goes from 0 to 1"));
        }
        let start = Setup {
            start_speed_kmh: speed,
            start_arrangement: arrangement(values, at.arrangement).map(usize::from),
            start_charge: charge,
            ..story.clone()
        };
        // A seed below zero is as good as any other.
        let seed = u64::from(whole(values, at.seed) as u32);
        let mut run =
            Run::started(&self.prepared, story, &start, seed).map_err(|e| e.to_string())?;
        let call = if self.source.scenario.is_some() { run.begin_tick() } else { None };
        self.run = Some(run);
        self.tell(values, call);
        Ok(())
    }

    /// One tick.
    pub(super) fn tick(&mut self, values: &mut [Value]) {
        let (output, direct) = self.asked(values);
        let at = self.at;
        let Some(run) = &mut self.run else { return };
        let inside = self.source.scenario.is_some();
        if !inside {
            let pedals =
                Pedals { demand_nm: real(values, at.demand), brake_nm: real(values, at.brake) };
            run.begin_tick_driven(pedals, real(values, at.grade));
        }
        run.finish_tick_with(output, &direct);
        let call = if inside { run.begin_tick() } else { None };
        self.tell(values, call);
    }

    /// What the inputs order.
    fn asked(&self, values: &[Value]) -> (Output, [Option<f64>; MAX_MACHINES]) {
        let (at, d) = (&self.at, &self.source.driveline);
        let mut orders = Orders { engine_run: truth(values, at.engine_run), ..Orders::default() };
        for (i, order) in orders.locks.iter_mut().enumerate().take(d.locks.len()) {
            *order = match whole(values, at.commanded + i) {
                1 => LockOrder::Prefill,
                2 => LockOrder::Close,
                _ => LockOrder::Open,
            };
        }
        let mut direct = [None; MAX_MACHINES];
        for (m, order) in orders.machines.iter_mut().enumerate().take(d.machines.len()) {
            let value = real(values, at.order_value + m);
            *order = match whole(values, at.order + m) {
                1 => MachineOrder::HoldSpeed { target_radps: value as f32 },
                2 => MachineOrder::TakeTorque { nm: value as f32 },
                3 => MachineOrder::Unload,
                4 => MachineOrder::Off,
                DIRECT => {
                    direct[m] = Some(value);
                    MachineOrder::TakeTorque { nm: value as f32 }
                }
                _ => MachineOrder::Free,
            };
        }
        // Locks that do not exist cannot be held.
        let all = Bits::first(u8::try_from(d.locks.len()).unwrap_or(u8::MAX));
        let status = Status {
            held: Bits((whole(values, at.held) & 0xff) as u8).and(all),
            arrangement: arrangement(values, at.standing),
            goal: arrangement(values, at.goal),
            phase: if truth(values, at.at_rest) { Phase::Rest } else { Phase::Settle },
            faults: Faults {
                racing: Bits((whole(values, at.racing) & 0xff) as u8),
                ..Faults::default()
            },
            ..Status::default()
        };
        (Output { orders, status }, direct)
    }

    /// Write all outputs but words.
    fn tell(&self, values: &mut [Value], call: Option<Call>) {
        let (at, d) = (&self.at, &self.source.driveline);
        let Some(run) = &self.run else { return };
        let (state, model) = (run.plant(), run.model());
        let mut put = |place: usize, value: Value| {
            if let Some(slot) = values.get_mut(place) {
                *slot = value;
            }
        };
        for (i, speed) in state.sensed_speeds().iter().enumerate().take(d.sensors.len()) {
            put(at.sensed + i, Value::Real(f64::from(speed.radps)));
            put(at.valid + i, Value::Truth(speed.valid));
        }
        for (i, report) in state.lock_reports().iter().enumerate().take(d.locks.len()) {
            let told = match report {
                LockReport::Open => 0,
                LockReport::Closed => 1,
                LockReport::Missing => 2,
            };
            let lock = state.lock(i);
            put(at.reported + i, Value::Whole(told));
            put(at.slip + i, Value::Real(state.slip_radps(model, i)));
            put(at.actual + i, Value::Whole(actual(&d.locks[i], lock.actual)));
            put(at.lock_nm + i, Value::Real(lock.torque_nm));
            put(at.work + i, Value::Real(lock.heat_j));
        }
        for (m, torque) in state.torque_reports().iter().enumerate().take(d.machines.len()) {
            put(at.torque + m, Value::Real(f64::from(torque.nm)));
            put(at.torque_valid + m, Value::Truth(torque.valid));
            put(at.command + m, Value::Real(run.record().command_nm[m]));
            put(at.machine_nm + m, Value::Real(state.machine(m).torque_nm));
        }
        put(at.running, Value::Truth(state.engine_running()));
        put(at.road, Value::Real(state.road_speed_mps(model)));
        put(at.distance, Value::Real(state.distance_m(model)));
        put(at.out_charge, Value::Real(state.battery().charge));
        put(at.output_nm, Value::Real(state.output_torque_nm()));
        for (s, speed) in state.speeds_radps().iter().enumerate().take(d.shafts.len()) {
            put(at.shafts + s, Value::Real(*speed));
        }
        if let Some(call) = call {
            let (pedals, grade) = run.driven();
            put(at.demand, Value::Real(pedals.demand_nm));
            put(at.brake, Value::Real(pedals.brake_nm));
            put(at.grade, Value::Real(grade));
            put(at.request, of_arrangement(call.inputs.request, d.arrangements.len()));
            put(at.called, Value::Truth(call.called));
            let reset = match call.reset {
                None => 0,
                Some(Reset::Warm) => 1,
                Some(Reset::Cold) => 2,
            };
            put(at.reset, Value::Whole(reset));
        }
    }

    /// Write outputs that are words.
    pub(super) fn words(&self, values: &mut [Value]) {
        if let (Some(run), Some(slot)) = (&self.run, values.get_mut(self.at.digest)) {
            *slot = Value::Text(format!("{:016x}", run.plant().digest()));
        }
    }
}
