//! One run: truth -> sensors -> supervisor -> drive controller -> plant, tick by tick.

use supervisor::bits::{Bits, MAX_LOCKS, MAX_MACHINES};
use supervisor::io::{Inputs, LockOrder, LockReport, MachineOrder};
use supervisor::status::{Phase, Status};
use supervisor::table::Table;
use supervisor::trace::Trace;
use supervisor::{Output, Supervisor};

use crate::checkers::{LockTruth, TickTruth};
use crate::drive::calls::Calls;
use crate::drive::driver::{Driver, Wish, profile_at};
use crate::drive::faults::{Injected, Reset, TimedFault, faults_at, present_mask, reset_at};
use crate::drive::governor::{Command, Governor, Seen};
use crate::drive::motion::calm_speeds;
use crate::drive::record::{StepNow, TickRecord, phase_step};
use crate::drive::witness::{claim, fault_truth};
use crate::driveline::{Driveline, EngineUse, MachineKind};
use crate::plant::{
    self, ActuatorFault, EngineFault, LockActual, PlantInputs, PlantModel, PlantState,
};

const RPM: f64 = std::f64::consts::PI / 30.0;
/// After this long at rest short of the request no further attempt is expected, s.
const RETRY_WAIT_S: f64 = 1.0;

/// What happens in a run, with every name resolved.
#[derive(Clone, Debug, PartialEq)]
pub struct Setup {
    /// Length, s.
    pub duration_s: f64,
    /// Road speed at the start, km/h.
    pub start_speed_kmh: f64,
    /// Arrangement at the start; `None`: every lock open.
    pub start_arrangement: Option<usize>,
    /// State of charge at the start, 0 to 1.
    pub start_charge: f64,
    /// What the driver follows.
    pub wish: Wish,
    /// Slope over time: (s, rise per horizontal distance).
    pub grade: Vec<(f64, f64)>,
    /// Requests: (s, arrangement), rising in time.
    pub requests: Vec<(f64, usize)>,
    /// Faults.
    pub faults: Vec<TimedFault>,
}

/// Why a run cannot start.
#[derive(Clone, Debug, PartialEq)]
pub struct CannotRun(pub String);

impl std::fmt::Display for CannotRun {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for CannotRun {}

/// A run under way.
#[derive(Clone, Debug)]
pub struct Run<'a> {
    driveline: &'a Driveline,
    table: Table<'a>,
    setup: &'a Setup,
    model: PlantModel,
    state: PlantState,
    supervisor: Supervisor,
    /// What the supervisor last gave.
    output: Output,
    calls: Calls,
    governor: Governor,
    driver: Driver,
    command: Command,
    rest_s: f64,
    steps_per_tick: u32,
    tick: u64,
    ticks: u64,
}

/// Length of one plant step for a supervisor period, s, and how many make a tick: near 1 ms.
pub(crate) fn plant_step(tick_ms: f64) -> (f64, u32) {
    let count = tick_ms.round().clamp(1.0, 1000.0);
    (tick_ms / 1e3 / count, count as u32)
}

impl<'a> Run<'a> {
    /// A run of `setup` with the supervisor's `table`; all chance comes from `seed`.
    ///
    /// # Errors
    /// When the driveline lacks data for the plant or the start is not possible.
    pub fn new(
        driveline: &'a Driveline,
        table: Table<'a>,
        setup: &'a Setup,
        seed: u64,
    ) -> Result<Run<'a>, CannotRun> {
        let tick_ms = driveline.timing.tick_ms;
        let (dt_s, steps_per_tick) = plant_step(tick_ms);
        let model = plant_model(driveline, dt_s, setup).map_err(|e| CannotRun(e.to_string()))?;
        let driver = Driver::new(driveline, setup.wish.clone()).ok_or_else(|| {
            CannotRun(
                "a drive needs [vehicle], and final_drive and tyre_radius_m in [output]".into(),
            )
        })?;
        let state = start(driveline, &model, setup)?.with_seed(&model, seed);
        let ticks = (setup.duration_s * 1e3 / tick_ms).round().max(0.0) as u64;
        Ok(Run {
            driveline,
            table,
            setup,
            model,
            state,
            supervisor: Supervisor::after_reset(Trace::pressing(closed(&state))),
            output: Output::default(),
            calls: Calls::new(seed),
            governor: Governor::new(driveline, tick_ms / 1e3),
            driver,
            command: Command::default(),
            rest_s: 0.0,
            steps_per_tick,
            tick: 0,
            ticks,
        })
    }

    /// How fast the vehicle may go in the arrangement that stands, m/s: a driver sees that limit.
    fn speed_limit_mps(&self) -> f64 {
        let status = self.supervisor.status();
        let stands = status.arrangement.and_then(|a| self.table.arrangements.get(usize::from(a)));
        let Some(window) = stands.map(|a| a.window) else { return f64::INFINITY };
        let highest = window.max.abs().max(window.min.abs());
        (f64::from(highest) * self.model.metres_per_radian()).abs()
    }

    /// Number of ticks of the whole run.
    pub fn ticks(&self) -> u64 {
        self.ticks
    }

    /// The plant as it is.
    pub fn plant(&self) -> &PlantState {
        &self.state
    }

    fn request(&self, t_s: f64) -> Option<u8> {
        let past = self.setup.requests.iter().take_while(|r| r.0 <= t_s);
        past.last().and_then(|r| u8::try_from(r.1).ok())
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
        if self.tick >= self.ticks {
            return None;
        }
        let dt_s = self.model.dt_s() * f64::from(self.steps_per_tick);
        let t_s = self.tick as f64 * dt_s;
        let reset = self.reset(t_s, dt_s);
        let grade = profile_at(&self.setup.grade, t_s);
        let speed_mps = self.state.road_speed_mps(&self.model);
        self.driver.limit(self.speed_limit_mps());
        let pedals = self.driver.tick(t_s, dt_s, speed_mps, grade, self.command.output_nm);
        let inputs = Inputs {
            speeds: self.state.sensed_speeds(),
            reports: self.state.lock_reports(),
            torques: self.state.torque_reports(),
            request: self.request(t_s),
            demand_nm: pedals.demand_nm as f32,
            engine_running: self.state.engine_running(),
        };
        if self.calls.are_due(&self.setup.faults, t_s) {
            self.output = self.supervisor.tick(&self.table, &inputs);
        }
        let output = self.output;
        self.control(&output, pedals.demand_nm, dt_s);
        let plant_inputs = PlantInputs {
            locks: output.orders.locks,
            torque_nm: self.command.torque_nm,
            engine_run: output.orders.engine_run,
            brake_nm: pedals.brake_nm,
            grade,
            faults: faults_at(&self.setup.faults, t_s),
        };
        let closed_at = self.advance(&plant_inputs);
        self.tick += 1;
        let mut truth = self.truth(t_s + dt_s, dt_s, &plant_inputs, &closed_at);
        truth.state_by(&output.status, inputs.request, reset);
        truth.demand_nm = pedals.demand_nm;
        truth.claim = claim(&self.table, &output.status);
        let any = reset || self.setup.faults.iter().any(|f| f.is_present(t_s));
        truth.faults = fault_truth(&plant_inputs.faults, any);
        Some(TickRecord {
            truth,
            road_mps: self.state.road_speed_mps(&self.model),
            demand_nm: pedals.demand_nm,
            brake_nm: pedals.brake_nm,
            charge: self.state.battery().charge,
            sensed: inputs.speeds,
            reports: inputs.reports,
            orders: output.orders,
            command_nm: self.command.torque_nm,
            status: output.status,
            step: self.step_now(&output.status),
            faults: present_mask(&self.setup.faults, t_s),
        })
    }

    fn step_now(&self, status: &Status) -> Option<StepNow> {
        let number = phase_step(status.phase)?;
        let step = self.table.step(number)?;
        Some(StepNow { number, lock: step.lock, action: step.action })
    }

    /// The drive controller's tick.
    fn control(&mut self, output: &Output, demand_nm: f64, dt_s: f64) {
        let settled = self.is_settled(&output.status, dt_s);
        let speeds = self.state.speeds_radps();
        let mut machine_radps = [0.0; MAX_MACHINES];
        for (radps, machine) in machine_radps.iter_mut().zip(&self.driveline.machines) {
            *radps = speeds[machine.shaft];
        }
        self.command = self.governor.tick(&Seen {
            orders: &output.orders.machines,
            engine_run: output.orders.engine_run,
            held: output.status.held.0,
            settled,
            demand_nm,
            machine_radps,
            output_radps: speeds[self.driveline.output.shaft],
            engine_running: self.state.engine_running(),
            charge: self.state.battery().charge,
        });
        // An inverter that is switched off does not wait for the drive controller's ramp.
        for (nm, order) in self.command.torque_nm.iter_mut().zip(&output.orders.machines) {
            if *order == MachineOrder::Off {
                *nm = 0.0;
            }
        }
    }

    /// Move the plant by one tick; the slip of each closing that began in it.
    fn advance(&mut self, inputs: &PlantInputs) -> [Option<f64>; MAX_LOCKS] {
        let mut closed_at = [None; MAX_LOCKS];
        for _ in 0..self.steps_per_tick {
            let before: [u32; MAX_LOCKS] = core::array::from_fn(|i| self.state.lock(i).closings);
            plant::step(&self.model, &mut self.state, inputs);
            for (i, slot) in closed_at.iter_mut().enumerate() {
                let lock = self.state.lock(i);
                if lock.closings > before[i] {
                    let slip = lock.slip_at_touch_radps;
                    let worse = slot.is_none_or(|s: f64| slip.abs() > s.abs());
                    *slot = if worse { Some(slip) } else { *slot };
                }
            }
        }
        closed_at
    }

    fn truth(
        &self,
        t_s: f64,
        dt_s: f64,
        inputs: &PlantInputs,
        closed_at: &[Option<f64>; MAX_LOCKS],
    ) -> TickTruth {
        let state = &self.state;
        let mut truth = TickTruth {
            t_s,
            dt_s,
            speed_radps: *state.speeds_radps(),
            output_nm: state.output_torque_nm(),
            brake_nm: inputs.brake_nm,
            grade: inputs.grade,
            engine_running: state.engine_running(),
            engine_run_order: inputs.engine_run,
            engine_fault: matches!(inputs.faults.engine, EngineFault::Stall | EngineFault::NoStart),
            ..TickTruth::default()
        };
        for (m, nm) in truth.machine_nm.iter_mut().enumerate() {
            *nm = state.machine(m).torque_nm;
        }
        let reports = state.lock_reports();
        for (i, closed_at) in closed_at.iter().enumerate().take(self.driveline.locks.len()) {
            let lock = state.lock(i);
            truth.locks[i] = LockTruth {
                slip_radps: state.slip_radps(&self.model, i),
                engaged: matches!(lock.actual, LockActual::Locked | LockActual::Slipping),
                sticking: lock.actual == LockActual::Locked,
                closed_at_radps: *closed_at,
                torque_nm: lock.torque_nm,
                work_j: lock.heat_j,
                rise_k: lock.rise_k,
                said_closed: reports[i] == LockReport::Closed,
                order: inputs.locks[i],
                forced: is_forced(self.driveline, i, inputs),
            };
        }
        truth
    }
}

/// Whether an injected fault presses a lock, or keeps it pressed, against its order.
fn is_forced(driveline: &Driveline, lock: usize, inputs: &PlantInputs) -> bool {
    if inputs.locks[lock] == LockOrder::Close {
        return false;
    }
    let fault = inputs.faults.locks[lock].actuator;
    let without_supply = inputs.faults.supply_lost && !driveline.locks[lock].normally_open;
    let slow = inputs.faults.locks[lock].slow_release > 1.0;
    let holds = matches!(fault, ActuatorFault::ClosesByItself | ActuatorFault::StuckClosed);
    holds || slow || without_supply
}

/// The plant, with loose wheels where a fault of the drive asks for them: they cost a second model.
fn plant_model(
    driveline: &Driveline,
    dt_s: f64,
    setup: &Setup,
) -> Result<PlantModel, plant::MissingData> {
    let model = PlantModel::with_step(driveline, dt_s)?;
    let slips = |f: &TimedFault| matches!(f.fault, Injected::WheelSlip(_));
    if setup.faults.iter().any(slips) { model.with_loose_wheels(driveline) } else { Ok(model) }
}

/// The plant at the start: locks of the arrangement closed, every speed consistent, the
/// engine at idle or faster where it is to run.
/// Locks that are closed at the start.
fn closed(state: &PlantState) -> Bits {
    let reports = state.lock_reports();
    let with = |bits: Bits, (i, report): (usize, &LockReport)| {
        bits.with(i as u8, *report == LockReport::Closed)
    };
    reports.iter().enumerate().fold(Bits::EMPTY, with)
}

fn start(
    driveline: &Driveline,
    model: &PlantModel,
    setup: &Setup,
) -> Result<PlantState, CannotRun> {
    let per_kmh = driveline
        .output_radps_per_kmh()
        .ok_or_else(|| CannotRun("[output] needs final_drive and tyre_radius_m".into()))?;
    let output_radps = setup.start_speed_kmh * per_kmh;
    let arrangement = setup.start_arrangement.and_then(|a| driveline.arrangements.get(a));
    let closed = arrangement.map_or(0, |a| a.closed);
    let has_engine = driveline.engine().is_some();
    let runs = has_engine && arrangement.is_some_and(|a| a.engine == EngineUse::On);
    let calm = calm_speeds(driveline, closed, output_radps);
    let impossible = |e: plant::StartError| {
        let name = arrangement.map_or("with every lock open", |a| a.name.as_str());
        CannotRun(format!("cannot start {name} at {} km/h: {e}", setup.start_speed_kmh))
    };
    let free = free_speeds(driveline, closed, runs, &calm);
    // A motion that the output already fixes cannot be chosen: then the calm speeds hold.
    let mut state = PlantState::at(model, output_radps, closed, &free)
        .or_else(|_| PlantState::at(model, output_radps, closed, &[]))
        .map_err(impossible)?;
    within_limits(driveline, &state, runs).map_err(|why| {
        let name = arrangement.map_or("with every lock open", |a| a.name.as_str());
        CannotRun(format!("cannot start {name} at {} km/h: {why}", setup.start_speed_kmh))
    })?;
    state.set_engine_running(runs);
    state.set_charge(setup.start_charge);
    Ok(state)
}

/// A start beyond a shaft's limits would be found by the judges but is nobody's doing.
fn within_limits(driveline: &Driveline, state: &PlantState, runs: bool) -> Result<(), String> {
    let rpm = |shaft: usize| state.speeds_radps()[shaft] / RPM;
    for (s, shaft) in driveline.shafts.iter().enumerate() {
        let high = shaft.max_rpm.unwrap_or(f64::INFINITY);
        let low = shaft.min_rpm.unwrap_or(-high);
        if !(low..=high).contains(&rpm(s)) {
            return Err(format!(
                "{} would turn at {:.0} rpm; allowed is {low:.0} to {high:.0} rpm",
                shaft.name,
                rpm(s)
            ));
        }
    }
    if let Some((m, engine)) = driveline.engine() {
        let speed = rpm(driveline.machines[m].shaft);
        if speed < -driveline.timing.rest_rpm {
            return Err(format!("the engine would be turned backwards at {speed:.0} rpm"));
        }
        if runs && (speed <= engine.stall_rpm || speed > engine.max_rpm) {
            return Err(format!(
                "the engine would turn at {speed:.0} rpm; it runs from {:.0} to {:.0} rpm",
                engine.stall_rpm, engine.max_rpm
            ));
        }
    }
    Ok(())
}

/// Speeds that the start may choose: a running engine a little above idle, one that would be
/// turned backwards at rest, or else the calmest.
fn free_speeds(driveline: &Driveline, closed: u8, runs: bool, calm: &[f64]) -> Vec<(usize, f64)> {
    let engine = driveline.engine().filter(|_| runs);
    if let Some((m, engine)) = engine {
        return vec![(driveline.machines[m].shaft, engine.idle_rpm * 1.2 * RPM)];
    }
    let backwards = driveline.engine().map(|(m, _)| driveline.machines[m].shaft);
    if let Some(shaft) = backwards.filter(|&shaft| calm[shaft] < 0.0) {
        return vec![(shaft, 0.0)];
    }
    let electric = driveline.machines.iter().find(|m| {
        let tied = closed != 0 && m.shaft != driveline.output.shaft;
        matches!(m.kind, MachineKind::Electric(_)) && tied
    });
    electric.map(|m| (m.shaft, calm[m.shaft])).into_iter().collect()
}
