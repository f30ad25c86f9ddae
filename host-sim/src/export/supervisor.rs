//! The supervisor as a unit: the code of the board, a step is a tick.

use supervisor::bits::Bits;
use supervisor::io::{Inputs, LockOrder, LockReport, MachineOrder, Speed, Torque};
use supervisor::status::Phase;
use supervisor::trace::Trace;
use supervisor::{Output, Supervisor};

use super::source::Source;
use super::variable::{
    ARRANGEMENT, Kind, LOCK_ORDER, LOCK_REPORT, MACHINE_ORDER, NONE, PHASE, RESET, Role, Value,
    Variables, arrangement, of_arrangement, of_set, real, truth, whole,
};
use crate::drive::reason::refusal_text;
use crate::drive::record::phase_step;

/// Places of the variables; of a list, of its first.
#[derive(Clone, Copy, Debug, Default)]
struct Places {
    pressed: usize,
    sensed: usize,
    valid: usize,
    reported: usize,
    torque: usize,
    torque_valid: usize,
    running: usize,
    demand: usize,
    request: usize,
    called: usize,
    reset: usize,
    commanded: usize,
    order: usize,
    order_value: usize,
    engine_run: usize,
    held: usize,
    at_rest: usize,
    standing: usize,
    goal: usize,
    maybe: usize,
    phase: usize,
    step: usize,
    faults: usize,
    refusal: usize,
}

/// What is known of the locks of a supervisor that begins without a trace.
const NOTHING_KNOWN: i32 = -1;
const ZERO: Value = Value::Real(0.0);
const OFF: Value = Value::Whole(0);
const NO: Value = Value::Truth(false);
const YES: Value = Value::Truth(true);

fn inputs(source: &Source, all: &mut Variables, at: &mut Places) {
    use Role::{Input, Parameter};
    let d = &source.driveline;
    let (sensors, locks) = (|| d.sensors.iter().map(|x| &x.name), d.locks.iter().map(|x| &x.name));
    let machines = || d.machines.iter().map(|x| &x.name);
    let about = "Locks that it pressed before it begins, bit i is the i-th; -1: nothing is known";
    at.pressed = all.add(Parameter, "pressed", about, Kind::Whole, Value::Whole(NOTHING_KNOWN));
    let about = ("sensed_radps", "Speed that the sensor measures");
    at.sensed = all.each(Input, about, Kind::Real("rad/s"), &ZERO, sensors());
    let about = ("sensed_valid", "Whether the sensor stands by its value");
    at.valid = all.each(Input, about, Kind::Truth, &NO, sensors());
    let about = ("reported", "What the lock's switch says");
    let missing = Value::Whole(2);
    at.reported = all.each(Input, about, Kind::Choice(LOCK_REPORT), &missing, locks);
    let about = ("reported_nm", "Torque that the machine's controller reports");
    at.torque = all.each(Input, about, Kind::Real("N.m"), &ZERO, machines());
    let about = ("reported_nm_valid", "Whether the controller stands by its report");
    at.torque_valid = all.each(Input, about, Kind::Truth, &NO, machines());
    let about = "Whether the engine's controller says that it runs by itself";
    at.running = all.add(Input, "engine_running", about, Kind::Truth, NO);
    let about = "Torque asked at the output shaft";
    at.demand = all.add(Input, "demand_nm", about, Kind::Real("N.m"), ZERO);
    let list = Kind::Choice(ARRANGEMENT);
    at.request = all.add(Input, "request", "Arrangement asked for", list, Value::Whole(NONE));
    let about = "Whether it gets this tick; without it every output stays";
    at.called = all.add(Input, "called", about, Kind::Truth, YES);
    let about = "How it begins anew before this tick";
    at.reset = all.add(Input, "reset", about, Kind::Choice(RESET), OFF);
}

fn outputs(source: &Source, all: &mut Variables, at: &mut Places) {
    use Role::Output;
    let d = &source.driveline;
    let machines = || d.machines.iter().map(|x| &x.name);
    let about = ("commanded", "What the lock's actuator is asked to do");
    let locks = d.locks.iter().map(|x| &x.name);
    at.commanded = all.each(Output, about, Kind::Choice(LOCK_ORDER), &OFF, locks);
    let about = ("order", "What the machine is asked to do");
    at.order = all.each(Output, about, Kind::Choice(MACHINE_ORDER), &OFF, machines());
    let about = ("order_value", "Speed to hold in rad/s, or torque to take in N.m, else 0");
    at.order_value = all.each(Output, about, Kind::Real("1"), &ZERO, machines());
    let about = "Whether the engine should run";
    at.engine_run = all.add(Output, "engine_run_order", about, Kind::Truth, NO);
    let about = "Locks that it holds closed, bit i is the i-th";
    at.held = all.add(Output, "held", about, Kind::Whole, OFF);
    let about = "Whether it rests: no step is under way";
    at.at_rest = all.add(Output, "at_rest", about, Kind::Truth, NO);
    let list = Kind::Choice(ARRANGEMENT);
    let none = Value::Whole(NONE);
    let about = "Arrangement that stands";
    at.standing = all.add(Output, "arrangement", about, list, none.clone());
    let about = "Arrangement that it has accepted as asked for";
    at.goal = all.add(Output, "goal", about, list, none.clone());
    let about = "Locks that are not surely open, bit i is the i-th";
    at.maybe = all.add(Output, "possibly_closed", about, Kind::Whole, OFF);
    let about = "Where it stands in its work";
    at.phase = all.add(Output, "phase", about, Kind::Choice(PHASE), OFF);
    let about = "Number of the step under way; -1: none";
    at.step = all.add(Output, "step", about, Kind::Whole, none);
    at.faults = all.list.len();
    for (name, about) in [
        ("faults_stuck_open", "Locks that would not close, bit i is the i-th"),
        ("faults_stuck_closed", "Locks that would not open, bit i is the i-th"),
        ("faults_switch", "Locks whose switch contradicts the speeds, bit i is the i-th"),
        ("faults_lost", "Locks that opened by themselves, bit i is the i-th"),
        ("faults_sensors", "Sensors that are missing or contradicted, bit i is the i-th"),
        ("faults_racing", "Sensors of shafts about to pass their limits, bit i is the i-th"),
    ] {
        all.add(Output, name, about, Kind::Whole, OFF);
    }
    let about = "Why the request is not being fulfilled, in words";
    at.refusal = all.add(Output, "refusal", about, Kind::Text, Value::Text(String::new()));
}

/// A supervisor under way.
#[derive(Clone, Debug)]
pub(super) struct Overseer<'a> {
    source: &'a Source,
    at: Places,
    supervisor: Supervisor,
    output: Output,
}

impl<'a> Overseer<'a> {
    pub(super) fn new(source: &'a Source) -> (Overseer<'a>, Variables) {
        let mut all = Variables::new(&source.driveline);
        let mut at = Places::default();
        inputs(source, &mut all, &mut at);
        outputs(source, &mut all, &mut at);
        let (supervisor, output) = (Supervisor::new(), Output::default());
        (Overseer { source, at, supervisor, output }, all)
    }

    /// Begin, as the parameter says.
    pub(super) fn begin(&mut self, values: &mut [Value]) -> Result<(), String> {
        let all = Bits::first(u8::try_from(self.source.driveline.locks.len()).unwrap_or(u8::MAX));
        self.supervisor = match whole(values, self.at.pressed) {
            NOTHING_KNOWN => Supervisor::new(),
            set => {
                let known = u8::try_from(set).ok().map(Bits).filter(|b| b.without(all).is_empty());
                let known = known.ok_or_else(|| format!("pressed is {set}: no set of locks"))?;
                Supervisor::after_reset(Trace::pressing(known))
            }
        };
        self.output = Output::default();
        self.tell(values);
        Ok(())
    }

    /// One tick.
    pub(super) fn tick(&mut self, values: &mut [Value]) {
        match whole(values, self.at.reset) {
            1 => self.supervisor = Supervisor::after_reset(self.supervisor.trace()),
            2 => self.supervisor = Supervisor::new(),
            _ => {}
        }
        if truth(values, self.at.called) {
            let seen = self.seen(values);
            self.output = self.supervisor.tick(&self.source.table.table(), &seen);
        }
        self.tell(values);
    }

    /// What the inputs say. Numbers become those of the board: 32 bits.
    fn seen(&self, values: &[Value]) -> Inputs {
        let (at, d) = (&self.at, &self.source.driveline);
        let mut seen = Inputs {
            request: arrangement(values, at.request),
            demand_nm: real(values, at.demand) as f32,
            engine_running: truth(values, at.running),
            ..Inputs::default()
        };
        for (i, speed) in seen.speeds.iter_mut().enumerate().take(d.sensors.len()) {
            let radps = real(values, at.sensed + i) as f32;
            *speed = Speed { radps, valid: truth(values, at.valid + i) };
        }
        for (i, report) in seen.reports.iter_mut().enumerate().take(d.locks.len()) {
            *report = match whole(values, at.reported + i) {
                0 => LockReport::Open,
                1 => LockReport::Closed,
                _ => LockReport::Missing,
            };
        }
        for (m, torque) in seen.torques.iter_mut().enumerate().take(d.machines.len()) {
            let nm = real(values, at.torque + m) as f32;
            *torque = Torque { nm, valid: truth(values, at.torque_valid + m) };
        }
        seen
    }

    /// Write all outputs but words.
    fn tell(&self, values: &mut [Value]) {
        let (at, d) = (&self.at, &self.source.driveline);
        let Output { orders, status } = &self.output;
        let mut put = |place: usize, value: Value| {
            if let Some(slot) = values.get_mut(place) {
                *slot = value;
            }
        };
        for (i, order) in orders.locks.iter().enumerate().take(d.locks.len()) {
            let number = match order {
                LockOrder::Open => 0,
                LockOrder::Prefill => 1,
                LockOrder::Close => 2,
            };
            put(at.commanded + i, Value::Whole(number));
        }
        for (m, order) in orders.machines.iter().enumerate().take(d.machines.len()) {
            let (number, value) = match *order {
                MachineOrder::Free => (0, 0.0),
                MachineOrder::HoldSpeed { target_radps } => (1, target_radps),
                MachineOrder::TakeTorque { nm } => (2, nm),
                MachineOrder::Unload => (3, 0.0),
                MachineOrder::Off => (4, 0.0),
            };
            put(at.order + m, Value::Whole(number));
            put(at.order_value + m, Value::Real(f64::from(value)));
        }
        let count = d.arrangements.len();
        put(at.engine_run, Value::Truth(orders.engine_run));
        put(at.held, of_set(status.held));
        put(at.at_rest, Value::Truth(status.phase == Phase::Rest));
        put(at.standing, of_arrangement(status.arrangement, count));
        put(at.goal, of_arrangement(status.goal, count));
        put(at.maybe, of_set(status.possibly_closed));
        put(at.phase, Value::Whole(phase_number(status.phase)));
        put(at.step, Value::Whole(phase_step(status.phase).map_or(NONE, i32::from)));
        let f = &status.faults;
        let sets = [f.stuck_open, f.stuck_closed, f.switch, f.lost, f.sensors, f.racing];
        for (i, set) in sets.into_iter().enumerate() {
            put(at.faults + i, of_set(set));
        }
    }

    /// Write outputs that are words.
    pub(super) fn words(&self, values: &mut [Value]) {
        let (d, table) = (&self.source.driveline, self.source.table.table());
        let told = self.output.status.refusal.map(|r| refusal_text(d, &table, r));
        if let Some(slot) = values.get_mut(self.at.refusal) {
            *slot = Value::Text(told.unwrap_or_default());
        }
    }
}

/// In the order of their list.
fn phase_number(phase: Phase) -> i32 {
    match phase {
        Phase::Wake => 0,
        Phase::Rest => 1,
        Phase::Prepare { .. } => 2,
        Phase::Closing { .. } => 3,
        Phase::Opening { .. } => 4,
        Phase::Settle => 5,
    }
}
