//! One run: truth -> sensors -> supervisor -> drive controller -> plant, tick by tick.

use std::sync::Arc;

use supervisor::bits::{Bits, MAX_LOCKS, MAX_MACHINES};
use supervisor::io::{Inputs, LockOrder, LockReport, MachineOrder};
use supervisor::schedule::{Chooser, Schedule};
use supervisor::status::{Phase, Status};
use supervisor::table::Table;
use supervisor::{Output, Supervisor};

use crate::checkers::{FaultTruth, LockTruth};
use crate::drive::calls::Calls;
use crate::drive::driver::{Driver, Pedals, profile_at};
use crate::drive::faults::{Injected, Reset, reset_at};
use crate::drive::faults_now::FaultsNow;
use crate::drive::governor::{Command, Mind, Seen};
pub use crate::drive::prepared::Prepared;
use crate::drive::record::{StepNow, TickRecord, phase_step};
use crate::drive::witness::{claim, machine_acts, refused_sets};
use crate::driveline::{Driveline, Lock, LockKind};
use crate::plant::{
    self, ActuatorFault, EngineFault, LockActual, PlantInputs, PlantState, Suspects,
};

mod asking;
mod elsewhere;
mod setup;

use elsewhere::trace_at_start;
pub use elsewhere::{Call, looks_alike};
pub use setup::{CannotRun, Setup};

/// After this long at rest short of the request no further attempt is expected, s.
const RETRY_WAIT_S: f64 = 1.0;

/// What the parts of one tick hand on.
#[derive(Clone, Copy, Debug, Default)]
struct Now {
    t_s: f64,
    reset: bool,
    /// Whether the supervisor gets this tick.
    called: bool,
    pedals: Pedals,
    inputs: Inputs,
    closed_at: [Option<f64>; MAX_LOCKS],
}

/// A run under way.
#[derive(Clone, Debug)]
pub struct Run<'a> {
    prepared: Arc<Prepared<'a>>,
    /// The supervisor's.
    table: Table<'a>,
    setup: &'a Setup,
    /// Whether the wheels may slip.
    loose: bool,
    state: PlantState,
    supervisor: Supervisor,
    /// What the supervisor last gave.
    output: Output,
    calls: Calls,
    faults: FaultsNow,
    mind: Mind,
    driver: Driver<'a>,
    command: Command,
    inputs: PlantInputs,
    now: Now,
    record: TickRecord,
    goes: bool,
    rest_s: f64,
    /// Requests that are past.
    requests: usize,
    /// What asks instead of the setup's requests, with its memory.
    schedule: Option<(Schedule<'a>, Chooser)>,
    /// The speed to which the driver brakes while a shaft races, m/s.
    braked_to_mps: f64,
    /// The arrangement whose speed limit alone the driver keeps.
    limited_by: Option<u8>,
    tick: u64,
    ticks: u64,
}

impl<'a> Run<'a> {
    /// A run of `setup` with the supervisor's `table`; all chance comes from `seed`. For many
    /// runs of one driveline, [prepare](Prepared) them once and [begin](Run::of) each from that.
    ///
    /// # Errors
    /// When the driveline lacks data for the plant or the start is not possible.
    pub fn new(
        driveline: &'a Driveline,
        table: Table<'a>,
        setup: &'a Setup,
        seed: u64,
    ) -> Result<Run<'a>, CannotRun> {
        Run::of(&Arc::new(Prepared::new(driveline, table)?), setup, seed)
    }

    /// A run of `setup` from what was prepared; all chance comes from `seed`.
    ///
    /// # Errors
    /// When the start is not possible.
    pub fn of(
        prepared: &Arc<Prepared<'a>>,
        setup: &'a Setup,
        seed: u64,
    ) -> Result<Run<'a>, CannotRun> {
        Run::started(prepared, setup, setup, seed)
    }

    /// A run of `setup` that begins as another one does.
    ///
    /// # Errors
    /// When the start is not possible.
    pub fn started(
        prepared: &Arc<Prepared<'a>>,
        setup: &'a Setup,
        start: &Setup,
        seed: u64,
    ) -> Result<Run<'a>, CannotRun> {
        let loose = setup.faults.iter().any(|f| matches!(f.fault, Injected::WheelSlip(_)));
        let model = prepared.model(loose)?;
        let state = prepared.start(start)?.with_seed(model, seed);
        Ok(Run {
            prepared: Arc::clone(prepared),
            table: prepared.table,
            setup,
            loose,
            state,
            supervisor: Supervisor::after_reset(trace_at_start(&state, start)),
            output: Output::default(),
            calls: Calls::new(seed),
            faults: FaultsNow::default(),
            mind: Mind::default(),
            driver: Driver::new(&prepared.vehicle, &setup.wish),
            command: Command::default(),
            inputs: PlantInputs { suspects: Suspects::NONE, ..PlantInputs::default() },
            now: Now::default(),
            record: TickRecord::default(),
            goes: false,
            rest_s: 0.0,
            requests: 0,
            schedule: None,
            braked_to_mps: f64::INFINITY,
            limited_by: None,
            tick: 0,
            ticks: ticks_of(prepared, setup),
        })
    }

    /// Go on under a `story` that says the same of what is past and more of what comes: for those
    /// who ask, drive and break things while they watch. A driver looks 0.1 s ahead, so that of
    /// what he follows this is past too. Wheels slip only if they might before.
    pub fn go_on(&mut self, story: &'a Setup) {
        self.setup = story;
        self.faults.forget();
        self.driver.follow(&story.wish);
        self.ticks = ticks_of(&self.prepared, story);
    }

    /// Number of ticks of the whole run.
    pub fn ticks(&self) -> u64 {
        self.ticks
    }

    /// Number of ticks that are still to come.
    pub fn ticks_left(&self) -> u64 {
        self.ticks.saturating_sub(self.tick)
    }

    /// The last tick.
    pub fn record(&self) -> &TickRecord {
        &self.record
    }

    /// The plant as it is.
    pub fn plant(&self) -> &PlantState {
        &self.state
    }

    /// Whether the drive controller may go where the arrangement is best run. Between two
    /// attempts at a step the speeds are left as they are.
    fn is_settled(&mut self, status: &Status, dt_s: f64) -> bool {
        let rests = status.phase == Phase::Rest && status.arrangement.is_some();
        self.rest_s = if rests { self.rest_s + dt_s } else { 0.0 };
        let arrived = status.goal.is_none() || status.goal == status.arrangement;
        rests && (arrived || self.rest_s > RETRY_WAIT_S)
    }

    /// Reset the supervisor when that is due in this tick; true when it was.
    fn reset(&mut self, t_s: f64, dt_s: f64) -> bool {
        let due = reset_at(&self.setup.faults, t_s, dt_s);
        match due {
            Some(Reset::Cold) => self.supervisor = Supervisor::new(),
            Some(Reset::Warm) => {
                self.supervisor = Supervisor::after_reset(self.supervisor.trace());
            }
            None => {}
        }
        due.is_some()
    }

    /// One tick; `None` after the last one.
    pub fn tick(&mut self) -> Option<TickRecord> {
        self.next_tick().copied()
    }

    /// One tick, without a copy of its record; `None` after the last one. Allocates nothing, but
    /// for what the [preparation](Prepared) learns when a run is the first to need it.
    pub fn next_tick(&mut self) -> Option<&TickRecord> {
        if self.is_over() {
            return None;
        }
        self.see();
        self.decide();
        self.control();
        self.move_plant();
        self.take_truth();
        Some(&self.record)
    }

    /// One tick of each run that is not over, part by part instead of run by run: the code of a
    /// part is then at hand for all of them, and a few runs (four or so) take less time than one
    /// after the other. Each comes to the same bits as by itself. The records are then
    /// [there](Run::record_of_this_tick); returns how many runs had a tick.
    pub fn next_tick_of_each(runs: &mut [Run<'_>]) -> usize {
        let mut count = 0;
        for run in runs.iter_mut() {
            run.goes = !run.is_over();
            count += usize::from(run.goes);
        }
        for part in [Run::see, Run::decide, Run::control, Run::move_plant, Run::take_truth] {
            runs.iter_mut().filter(|run| run.goes).for_each(part);
        }
        count
    }

    /// Whether every tick was made.
    pub fn is_over(&self) -> bool {
        self.tick >= self.ticks
    }

    /// The tick that was made when ticks were last made together; `None` when this run was over.
    pub fn record_of_this_tick(&self) -> Option<&TickRecord> {
        self.goes.then_some(&self.record)
    }

    /// The driver's tick, and what the supervisor is to see.
    fn see(&mut self) {
        let dt_s = self.prepared.tick_s;
        let t_s = self.tick as f64 * dt_s;
        self.now.t_s = t_s;
        let faulty = !self.setup.faults.is_empty();
        if faulty {
            self.faults.come_to(&self.setup.faults, t_s, &mut self.inputs.faults);
            self.inputs.suspects = self.faults.suspects;
            self.record.faults = self.faults.mask;
        }
        self.now.reset = faulty && self.faults.is_fresh && self.reset(t_s, dt_s);
        let grade = profile_at(&self.setup.grade, t_s);
        let speed_mps = self.state.road_speed_mps(&self.prepared.model);
        self.keep_speed_limit();
        let pedals = self.driver.tick(t_s, dt_s, speed_mps, grade, self.command.output_nm);
        self.now.pedals = pedals;
        let request = self.request(t_s);
        let inputs = &mut self.now.inputs;
        inputs.speeds = self.state.sensed_speeds();
        inputs.reports = self.state.lock_reports();
        inputs.torques = self.state.torque_reports();
        inputs.request = request;
        inputs.demand_nm = pedals.demand_nm as f32;
        inputs.engine_running = self.state.engine_running();
        self.now.called = match (faulty, self.faults.takes_ticks) {
            (false, _) => true,
            (true, false) => self.calls.are_all_due(),
            (true, true) => self.calls.are_due(&self.setup.faults, t_s),
        };
        self.inputs.brake_nm = pedals.brake_nm;
        self.inputs.grade = grade;
        self.tick += 1;
    }

    /// The supervisor's tick.
    fn decide(&mut self) {
        if self.now.called {
            self.output = self.supervisor.tick(&self.table, &self.now.inputs);
        }
    }

    /// Note what was seen, asked and ordered in this tick.
    fn take_words(&mut self) {
        let (record, output) = (&mut self.record, &self.output);
        let Now { inputs, pedals, reset, .. } = &self.now;
        record.truth.state_by(&output.status, inputs.request, *reset);
        record.truth.demand_nm = pedals.demand_nm;
        record.truth.claim = claim(&self.table, &output.status);
        record.truth.refused_sets = refused_sets(&self.table, &output.status);
        let any = *reset || self.faults.truth.any;
        let (lost, slide) = (self.faults.truth.grip_lost, self.state.wheels_slide());
        let (grip_lost, regrips) = (lost || slide, slide && !lost);
        let faulty = self.faults.truth.machines;
        let machine_acts = machine_acts(faulty, &self.inputs.torque_nm, &record.truth.machine_nm);
        let told = self.faults.truth;
        record.truth.faults = FaultTruth { any, grip_lost, regrips, machine_acts, ..told };
        record.truth.wheel_slip_radps = self.state.wheel_slip_radps(&self.prepared.model);
        record.road_mps = self.state.road_speed_mps(&self.prepared.model);
        record.demand_nm = pedals.demand_nm;
        record.brake_nm = pedals.brake_nm;
        record.charge = self.state.battery().charge;
        record.sensed = inputs.speeds;
        record.reports = inputs.reports;
        record.orders = output.orders;
        record.command_nm = self.command.torque_nm;
        record.status = output.status;
        record.step = step_now(&self.table, &output.status);
    }

    /// The drive controller's tick.
    fn control(&mut self) {
        let status = self.output.status;
        let settled = self.is_settled(&status, self.prepared.tick_s);
        let prepared = &*self.prepared;
        let speeds = self.state.speeds_radps();
        let mut machine_radps = [0.0; MAX_MACHINES];
        for (radps, machine) in machine_radps.iter_mut().zip(&prepared.driveline.machines) {
            *radps = speeds[machine.shaft];
        }
        let seen = Seen {
            orders: &self.output.orders.machines,
            engine_run: self.output.orders.engine_run,
            held: status.held.0,
            settled,
            demand_nm: self.now.pedals.demand_nm,
            machine_radps,
            output_radps: speeds[prepared.driveline.output.shaft],
            engine_running: self.state.engine_running(),
            charge: self.state.battery().charge,
        };
        self.command = self.mind.tick(&prepared.known, &seen);
        // An inverter that is switched off does not wait for the drive controller's ramp.
        self.inputs.off = 0;
        let orders = self.output.orders.machines.iter().zip(&mut self.command.torque_nm);
        for (m, (_, nm)) in orders.enumerate().filter(|(_, o)| *o.0 == MachineOrder::Off) {
            *nm = 0.0;
            self.inputs.off |= 1 << m;
        }
        self.inputs.locks = self.output.orders.locks;
        self.inputs.torque_nm = self.command.torque_nm;
        self.inputs.engine_run = self.output.orders.engine_run;
    }

    /// Move the plant by one tick, and note the slip of each closing that begins in it.
    fn move_plant(&mut self) {
        let closed_at = &mut self.now.closed_at;
        *closed_at = [None; MAX_LOCKS];
        let model = self.prepared.model_or_stiff(self.loose);
        for _ in 0..self.prepared.steps_per_tick {
            plant::step(model, &mut self.state, &self.inputs);
            let touched = self.state.touched_set();
            if touched == 0 {
                continue;
            }
            for (i, slot) in closed_at.iter_mut().enumerate().filter(|(i, _)| touched >> i & 1 == 1)
            {
                let slip = self.state.lock(i).slip_at_touch_radps;
                let worse = slot.is_none_or(|s: f64| slip.abs() > s.abs());
                *slot = if worse { Some(slip) } else { *slot };
            }
        }
    }

    /// Note the plant's truth at the end of this tick.
    fn take_truth(&mut self) {
        let (t_s, dt_s) = (self.now.t_s + self.prepared.tick_s, self.prepared.tick_s);
        let closed_at = &self.now.closed_at;
        let (state, inputs) = (&self.state, &self.inputs);
        let model = &self.prepared.model;
        let truth = &mut self.record.truth;
        truth.t_s = t_s;
        truth.dt_s = dt_s;
        truth.speed_radps = *state.speeds_radps();
        truth.output_nm = state.output_torque_nm();
        truth.brake_nm = inputs.brake_nm;
        truth.grade = inputs.grade;
        truth.engine_running = state.engine_running();
        truth.engine_run_order = inputs.engine_run;
        truth.engine_fault =
            matches!(inputs.faults.engine, EngineFault::Stall | EngineFault::NoStart);
        for (m, nm) in truth.machine_nm.iter_mut().enumerate() {
            *nm = state.machine(m).torque_nm;
        }
        let reports = state.lock_reports();
        let locks = self.prepared.driveline.locks.iter().zip(&mut truth.locks).enumerate();
        for (i, (data, told)) in locks {
            let lock = state.lock(i);
            let engaged = is_engaged(data, lock.actual);
            // What a fault has pressed lets go no sooner than a sound lock does.
            let still = told.forced && engaged && inputs.locks[i] != LockOrder::Close;
            *told = LockTruth {
                slip_radps: state.slip_radps(model, i),
                engaged,
                sticking: lock.actual == LockActual::Locked,
                closed_at_radps: closed_at[i],
                torque_nm: lock.torque_nm,
                work_j: lock.heat_j,
                rise_k: lock.rise_k,
                said_closed: reports[i] == LockReport::Closed,
                order: inputs.locks[i],
                forced: still || is_forced(data, i, inputs),
            };
        }
        self.take_words();
    }
}

fn step_now(table: &Table, status: &Status) -> Option<StepNow> {
    let number = phase_step(status.phase)?;
    let step = table.step(number)?;
    Some(StepNow { number, lock: step.lock, action: step.action })
}

fn ticks_of(prepared: &Prepared, setup: &Setup) -> u64 {
    (setup.duration_s * 1e3 / prepared.driveline.timing.tick_ms).round().max(0.0) as u64
}

/// Whether a lock can carry more than its drag. A dog that ratchets cannot.
pub(crate) fn is_engaged(data: &Lock, actual: LockActual) -> bool {
    match (actual, &data.kind) {
        (LockActual::Locked, _) | (LockActual::Slipping, LockKind::Friction(_)) => true,
        (LockActual::Slipping, LockKind::Dog(_)) | (LockActual::Open | LockActual::Filling, _) => {
            false
        }
    }
}

/// Whether an injected fault presses a lock, or keeps it pressed, against its order.
fn is_forced(data: &Lock, lock: usize, inputs: &PlantInputs) -> bool {
    if inputs.locks[lock] == LockOrder::Close || inputs.suspects.locks >> lock & 1 == 0 {
        return false;
    }
    let fault = inputs.faults.locks[lock].actuator;
    let without_supply = inputs.faults.supply_lost && !data.normally_open;
    let slow = inputs.faults.locks[lock].slow_release > 1.0;
    let holds = matches!(fault, ActuatorFault::ClosesByItself | ActuatorFault::StuckClosed);
    holds || slow || without_supply
}

/// Locks that are closed at the start.
fn closed(state: &PlantState) -> Bits {
    let reports = state.lock_reports();
    let with = |bits: Bits, (i, report): (usize, &LockReport)| {
        bits.with(i as u8, *report == LockReport::Closed)
    };
    reports.iter().enumerate().fold(Bits::EMPTY, with)
}
