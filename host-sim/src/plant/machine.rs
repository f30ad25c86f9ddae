//! Electric machines and the engine: limits, lag, start, idle, stall.

use super::MAX_SHAFTS;
use super::inputs::{EngineFault, MachineFaults, PlantInputs, TorqueFault};
use super::model::PlantModel;
use super::parts::{EngineModel, MachineModel};
use super::state::{EngineActual, MachineState, PlantState};
use super::step::finite;
use supervisor::bits::MAX_MACHINES;
use supervisor::io::Torque;

/// After a stall or a start given up the engine's controller waits this long before it tries again
/// (an invented, round value).
const RESTART_PAUSE_S: f64 = 1.0;

/// Share of the idle speed at which an engine that is started runs by itself.
const TAKES_OVER_SHARE: f64 = 0.97;

/// Set the torque of every machine for this step.
pub(super) fn advance(model: &PlantModel, state: &mut PlantState, inputs: &PlantInputs) {
    for m in 0..model.machines.min(MAX_MACHINES) {
        let part = &model.machine[m];
        if part.engine {
            continue;
        }
        let limit = electric_limit_nm(part, state.speed[part.shaft % MAX_SHAFTS]);
        let off = inputs.off >> m & 1 == 1;
        let command = (!off).then(|| finite(inputs.torque_nm[m]));
        let machine = &mut state.machine[m];
        match inputs.suspects.machines >> m & 1 == 0 {
            // Inlined by itself, with all that a fault changes left out.
            true => electric(part, machine, limit, command, &MachineFaults::SOUND),
            false => faulty_electric(part, machine, limit, command, &inputs.faults.machines[m]),
        }
    }
    if let Some(engine) = &model.engine {
        advance_engine(model, engine, state, inputs);
    }
}

/// `x` within limits: as the library's, without a look at whether the first is not above the second.
#[inline]
pub(crate) fn clamp(x: f64, low: f64, high: f64) -> f64 {
    let x = if x < low { low } else { x };
    if x > high { high } else { x }
}

fn electric_limit_nm(part: &MachineModel, speed: f64) -> f64 {
    let w = speed.abs();
    if w * part.max_torque_nm > part.max_power_w {
        part.max_power_w / w
    } else {
        part.max_torque_nm
    }
}

/// Share of a torque error that is left after one step; a slow machine moves less.
fn left_share(part: &MachineModel, slow: f64) -> f64 {
    if slow.is_finite() && slow > 1.0 {
        1.0 - (1.0 - part.lag_factor) / slow
    } else {
        part.left_share
    }
}

/// The torque that a machine really gives where its controller believes in another one.
fn falsified(faults: &MachineFaults, nm: f64) -> Option<f64> {
    let (scale, offset_nm) = (finite(faults.scale), finite(faults.offset_nm));
    let wrong = faults.torque != TorqueFault::Lost && (scale != 1.0 || offset_nm != 0.0);
    wrong.then_some(nm * scale + offset_nm)
}

#[inline]
fn electric(
    part: &MachineModel,
    machine: &mut MachineState,
    limit: f64,
    command: Option<f64>,
    faults: &MachineFaults,
) {
    let asked = clamp(command.unwrap_or(0.0), -limit, limit);
    let target = match faults.torque {
        TorqueFault::None => asked,
        TorqueFault::Lost => 0.0,
        TorqueFault::WrongSign => -asked,
    };
    // A slow controller does not slow an inverter that is switched off: only its current decays.
    let slow = if command.is_some() { faults.slow } else { 1.0 };
    let left = left_share(part, slow);
    machine.lagged_nm = target + (machine.lagged_nm - target) * left;
    machine.torque_nm = clamp(machine.lagged_nm, -limit, limit);
    let believed = match faults.torque {
        TorqueFault::WrongSign => -machine.torque_nm,
        _ => machine.torque_nm,
    };
    // Without its inverter a machine cannot give what it does not believe in either.
    if let Some(nm) = falsified(faults, machine.torque_nm).filter(|_| command.is_some()) {
        machine.torque_nm = clamp(nm, -limit, limit);
    }
    machine.smooth_nm = machine.torque_nm;
    machine.reported = Torque { nm: believed as f32, valid: !faults.report_lost };
}

/// One that may have a fault.
#[inline(never)]
fn faulty_electric(
    part: &MachineModel,
    machine: &mut MachineState,
    limit: f64,
    command: Option<f64>,
    faults: &MachineFaults,
) {
    electric(part, machine, limit, command, faults);
}

/// Full-load torque of the engine at this speed: linear between points, flat outside, none when
/// it stands, turns in reverse or is beyond its highest speed.
pub(super) fn full_load_nm(engine: &EngineModel, speed: f64) -> f64 {
    if speed <= 0.0 || speed > engine.max_radps || engine.points == 0 {
        return 0.0;
    }
    let points = &engine.curve[..engine.points];
    if speed <= points[0].0 {
        return points[0].1;
    }
    for pair in points[engine.starts.before(speed).min(engine.points - 1)..].windows(2) {
        if speed <= pair[1].0 {
            let width = pair[1].0 - pair[0].0;
            let share = if width > 0.0 { (speed - pair[0].0) / width } else { 1.0 };
            return pair[0].1 + share * (pair[1].1 - pair[0].1);
        }
    }
    points[engine.points - 1].1
}

/// Largest torque of a machine at this speed of its shaft, Nm.
pub(super) fn torque_limit_nm(model: &PlantModel, machine: usize, speed: f64) -> f64 {
    let part = &model.machine[machine];
    match &model.engine {
        Some(engine) if part.engine => full_load_nm(engine, speed),
        _ => electric_limit_nm(part, speed),
    }
}

/// Of its own, so that what it reads is not read ahead for machines that are no engine.
#[inline(never)]
fn advance_engine(
    model: &PlantModel,
    engine: &EngineModel,
    state: &mut PlantState,
    inputs: &PlantInputs,
) {
    let part = &model.machine[engine.machine % MAX_MACHINES];
    let faults = match inputs.suspects.machines >> engine.machine & 1 == 0 {
        true => &MachineFaults::SOUND,
        false => &inputs.faults.machines[engine.machine % MAX_MACHINES],
    };
    let speed = state.speed[part.shaft % MAX_SHAFTS];
    change_phase(engine, state, speed, inputs.engine_run, inputs.faults.engine, model.dt_s);
    let machine = &mut state.machine[engine.machine % MAX_MACHINES];
    machine.report_error_nm = 0.0;
    machine.torque_nm = match state.engine.actual {
        EngineActual::Running => {
            let full = full_load_nm(engine, speed);
            let asked = match faults.torque {
                TorqueFault::Lost => 0.0,
                _ => finite(inputs.torque_nm[engine.machine % MAX_MACHINES]),
            };
            let asked = if speed > engine.max_radps { -engine.drag_nm } else { asked };
            let governed = governor(engine, &mut state.engine.integral_nm, speed, full, model.dt_s);
            let overrun = inputs.faults.engine == EngineFault::Overrun;
            let wished = if overrun { full } else { asked.max(governed) };
            let target = clamp(wished, -engine.drag_nm, full);
            let left = left_share(part, faults.slow);
            machine.lagged_nm = target + (machine.lagged_nm - target) * left;
            let believed = clamp(machine.lagged_nm, -engine.drag_nm, full);
            match falsified(faults, believed) {
                Some(nm) => {
                    let given = clamp(nm, -engine.drag_nm, full);
                    machine.report_error_nm = believed - given;
                    given
                }
                None => believed,
            }
        }
        EngineActual::Cranking => starter_nm(engine, speed),
        EngineActual::Stopped | EngineActual::StartFailed => 0.0,
    };
    if state.engine.actual != EngineActual::Running {
        machine.lagged_nm = 0.0;
        state.engine.integral_nm = 0.0;
    }
    machine.smooth_nm = machine.torque_nm;
    machine.reported = Torque { nm: machine.torque_nm as f32, valid: !faults.report_lost };
}

/// Torque of the starter: in full up to the speed at which a sound engine takes over, and none
/// from idle speed on, so that an engine that does not fire is not turned ever faster.
fn starter_nm(engine: &EngineModel, speed: f64) -> f64 {
    let full_to = TAKES_OVER_SHARE * engine.idle_radps;
    if speed < full_to {
        return engine.starter_nm;
    }
    engine.starter_nm * ((engine.idle_radps - speed) / (engine.idle_radps - full_to)).max(0.0)
}

/// Idle governor: pulls up to idle speed, never down.
fn governor(engine: &EngineModel, integral: &mut f64, speed: f64, full: f64, dt_s: f64) -> f64 {
    let error = engine.idle_radps - speed;
    if speed > 1.1 * engine.idle_radps {
        *integral = 0.0;
        return -engine.drag_nm;
    }
    *integral = clamp(*integral + engine.governor_i * error * dt_s, -engine.drag_nm, full);
    engine.governor_p * error + *integral
}

fn change_phase(
    engine: &EngineModel,
    state: &mut PlantState,
    speed: f64,
    run: bool,
    fault: EngineFault,
    dt_s: f64,
) {
    let e = &mut state.engine;
    let may_fire = matches!(fault, EngineFault::None | EngineFault::Overrun);
    e.actual = match e.actual {
        EngineActual::Running if !run => EngineActual::Stopped,
        EngineActual::Running if fault == EngineFault::Stall || speed < engine.stall_radps => {
            e.stalls += 1;
            e.steps = 0;
            EngineActual::StartFailed
        }
        EngineActual::Running => EngineActual::Running,
        _ if !run => EngineActual::Stopped,
        EngineActual::StartFailed if f64::from(e.steps) >= RESTART_PAUSE_S / dt_s => {
            EngineActual::Stopped
        }
        EngineActual::StartFailed => {
            e.steps += 1;
            EngineActual::StartFailed
        }
        _ if may_fire && e.actual == EngineActual::Stopped && speed >= engine.fire_radps => {
            EngineActual::Running
        }
        EngineActual::Cranking if may_fire && speed >= TAKES_OVER_SHARE * engine.idle_radps => {
            EngineActual::Running
        }
        EngineActual::Cranking if e.steps >= engine.start_steps_max => {
            e.steps = 0;
            EngineActual::StartFailed
        }
        EngineActual::Cranking => {
            e.steps += 1;
            EngineActual::Cranking
        }
        EngineActual::Stopped if engine.own_starter && speed > -1.0 => {
            e.steps = 0;
            EngineActual::Cranking
        }
        EngineActual::Stopped => EngineActual::Stopped,
    };
}

/// The mean drag of the last step belongs to the engine's net torque.
pub(super) fn add_engine_drag(state: &mut PlantState, machine: usize, drag_nm: f64) {
    let m = &mut state.machine[machine];
    m.torque_nm += drag_nm;
    let wrong = m.report_error_nm != 0.0;
    m.reported.nm = if wrong { m.torque_nm + m.report_error_nm } else { m.torque_nm } as f32;
}
