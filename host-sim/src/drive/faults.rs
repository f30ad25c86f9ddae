//! Faults of a scenario over time, and what they do to the plant's inputs.

use crate::plant::{
    ActuatorFault, EngineFault, Faults, LockFaults, MachineFaults, SensorFaults, SwitchFault,
    TorqueFault,
};

/// One fault while it is present. Locks, sensors and machines by their number in the file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Injected {
    /// A lock's actuator.
    Actuator(usize, ActuatorFault),
    /// A lock's switch.
    Switch(usize, SwitchFault),
    /// Closing takes this many times as long.
    SlowClose(usize, f64),
    /// Releasing takes this many times as long.
    SlowRelease(usize, f64),
    /// Drag torque added to an open lock, Nm.
    ExtraDrag(usize, f64),
    /// Added to a sensor's speed, rpm.
    SensorBias(usize, f64),
    /// Factor on a sensor's speed.
    SensorScale(usize, f64),
    /// A sensor without valid value.
    SensorDropout(usize),
    /// A sensor that repeats its last value.
    SensorStuck(usize),
    /// Uniform noise on a sensor's samples, from minus this to this, rpm.
    SensorNoise(usize, f64),
    /// A sensor that reads in steps of this many rpm.
    SensorCoarse(usize, f64),
    /// Added to a sensor's latency, ms.
    SensorLate(usize, f64),
    /// A sensor that holds its values by chance, each up to this many ms.
    SensorJitter(usize, f64),
    /// A machine without torque.
    TorqueLost(usize),
    /// A machine with torque of the wrong sign.
    TorqueWrongSign(usize),
    /// Added to the torque that a machine gives, Nm.
    TorqueOffset(usize, f64),
    /// Factor on the torque that a machine gives.
    TorqueScale(usize, f64),
    /// A machine whose lag is this many times as long.
    TorqueSlow(usize, f64),
    /// A machine whose torque report is lost.
    TorqueReportLost(usize),
    /// The engine stops firing.
    EngineStall,
    /// The engine cannot be started.
    EngineNoStart,
    /// The engine gives its full-load torque while it runs.
    EngineOverrun,
    /// The tyres carry at most this share of the vehicle's weight.
    WheelSlip(f64),
    /// No supply for the lock actuators.
    SupplyLost,
    /// The same, and the supervisor begins anew when the supply is back, with the trace that the
    /// last one left.
    SupplyDip,
    /// The same without a trace.
    SupplyColdDip,
    /// The supervisor gets no tick.
    TickMissed,
    /// After each tick that the supervisor gets it misses some by chance, up to this many.
    TickJitter(u32),
    /// The supervisor begins anew (once, at the beginning of the fault), with the trace that the
    /// last one left.
    SupervisorReset,
    /// The same without a trace.
    SupervisorColdReset,
}

/// A fault from one time to another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TimedFault {
    /// Begin, s.
    pub from_s: f64,
    /// End, s; infinite for one that stays.
    pub to_s: f64,
    /// What it is.
    pub fault: Injected,
}

impl TimedFault {
    /// Whether it is present at `t_s`.
    pub fn is_present(&self, t_s: f64) -> bool {
        self.from_s <= t_s && t_s < self.to_s
    }
}

/// How a supervisor begins anew.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reset {
    /// With the trace that the last one left.
    Warm,
    /// Without one.
    Cold,
}

/// The reset that is due in the tick of `dt_s` at `t_s`; of two, the cold one.
pub fn reset_at(list: &[TimedFault], t_s: f64, dt_s: f64) -> Option<Reset> {
    let is_now = |at_s: f64| at_s <= t_s && at_s > t_s - dt_s;
    let due = |on_begin: Injected, on_end: Injected| {
        list.iter().any(|f| {
            (f.fault == on_begin && is_now(f.from_s)) || (f.fault == on_end && is_now(f.to_s))
        })
    };
    if due(Injected::SupervisorColdReset, Injected::SupplyColdDip) {
        return Some(Reset::Cold);
    }
    due(Injected::SupervisorReset, Injected::SupplyDip).then_some(Reset::Warm)
}

/// The plant's faults at `t_s`.
pub fn faults_at(list: &[TimedFault], t_s: f64) -> Faults {
    let mut faults = Faults::default();
    for timed in list.iter().filter(|f| f.is_present(t_s)) {
        apply(&mut faults, timed.fault);
    }
    faults
}

/// Which faults are present at `t_s`, bit `i` is the i-th (up to 32).
pub fn present_mask(list: &[TimedFault], t_s: f64) -> u32 {
    let present = |(i, f): (usize, &TimedFault)| if f.is_present(t_s) { 1u32 << i } else { 0 };
    list.iter().take(32).enumerate().map(present).fold(0, |a, b| a | b)
}

fn apply(faults: &mut Faults, fault: Injected) {
    fn on<T>(list: &mut [T], index: usize, change: impl FnOnce(&mut T)) {
        if let Some(item) = list.get_mut(index) {
            change(item);
        }
    }
    let (locks, sensors) = (&mut faults.locks, &mut faults.sensors);
    let machines = &mut faults.machines;
    match fault {
        Injected::Actuator(i, kind) => on(locks, i, |l: &mut LockFaults| l.actuator = kind),
        Injected::Switch(i, kind) => on(locks, i, |l| l.switch = kind),
        Injected::SlowClose(i, times) => on(locks, i, |l| l.slow_close = times),
        Injected::SlowRelease(i, times) => on(locks, i, |l| l.slow_release = times),
        Injected::ExtraDrag(i, nm) => on(locks, i, |l| l.extra_drag_nm = nm),
        Injected::SensorBias(i, rpm) => on(sensors, i, |s: &mut SensorFaults| s.bias_rpm = rpm),
        Injected::SensorScale(i, factor) => on(sensors, i, |s| s.scale = factor),
        Injected::SensorDropout(i) => on(sensors, i, |s| s.dropout = true),
        Injected::SensorStuck(i) => on(sensors, i, |s| s.stuck = true),
        Injected::SensorNoise(i, rpm) => on(sensors, i, |s| s.noise_rpm = rpm),
        Injected::SensorCoarse(i, rpm) => on(sensors, i, |s| s.coarse_rpm = rpm),
        Injected::SensorLate(i, ms) => on(sensors, i, |s| s.late_ms = ms),
        Injected::SensorJitter(i, ms) => on(sensors, i, |s| s.hold_ms = ms),
        Injected::TorqueLost(i) => {
            on(machines, i, |m: &mut MachineFaults| m.torque = TorqueFault::Lost);
        }
        Injected::TorqueWrongSign(i) => on(machines, i, |m| m.torque = TorqueFault::WrongSign),
        Injected::TorqueOffset(i, nm) => on(machines, i, |m| m.offset_nm = nm),
        Injected::TorqueScale(i, factor) => on(machines, i, |m| m.scale = factor),
        Injected::TorqueSlow(i, times) => on(machines, i, |m| m.slow = times),
        Injected::TorqueReportLost(i) => on(machines, i, |m| m.report_lost = true),
        Injected::EngineStall => faults.engine = EngineFault::Stall,
        Injected::EngineNoStart => faults.engine = EngineFault::NoStart,
        Injected::EngineOverrun => faults.engine = EngineFault::Overrun,
        Injected::WheelSlip(share) => faults.grip = Some(share),
        Injected::SupplyLost | Injected::SupplyDip | Injected::SupplyColdDip => {
            faults.supply_lost = true;
        }
        Injected::SupervisorReset
        | Injected::SupervisorColdReset
        | Injected::TickMissed
        | Injected::TickJitter(_) => {}
    }
}
