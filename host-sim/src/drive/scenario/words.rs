//! The words of scenario files for faults: the one place where each stands beside its fault.

use crate::drive::faults::Injected;
use crate::driveline::Driveline;
use crate::plant::{ActuatorFault, SwitchFault};

/// The fault of this word; `None` for an unknown word, or where a target or value is missing.
pub(crate) fn named(kind: &str, target: Option<usize>, value: Option<f64>) -> Option<Injected> {
    Some(match kind {
        "lock-stuck-open" => Injected::Actuator(target?, ActuatorFault::StuckOpen),
        "lock-stuck-closed" => Injected::Actuator(target?, ActuatorFault::StuckClosed),
        "lock-opens" => Injected::Actuator(target?, ActuatorFault::OpensByItself),
        "lock-closes" => Injected::Actuator(target?, ActuatorFault::ClosesByItself),
        "lock-slow-close" => Injected::SlowClose(target?, value?),
        "lock-slow-release" => Injected::SlowRelease(target?, value?),
        "lock-drag" => Injected::ExtraDrag(target?, value?),
        "switch-stuck-open" => Injected::Switch(target?, SwitchFault::StuckOpen),
        "switch-stuck-closed" => Injected::Switch(target?, SwitchFault::StuckClosed),
        "switch-missing" => Injected::Switch(target?, SwitchFault::Missing),
        "switch-chatter" => Injected::Switch(target?, SwitchFault::Chatter),
        "sensor-bias" => Injected::SensorBias(target?, value?),
        "sensor-scale" => Injected::SensorScale(target?, value?),
        "sensor-sign" => Injected::SensorScale(target?, -1.0),
        "sensor-dropout" => Injected::SensorDropout(target?),
        "sensor-stuck" => Injected::SensorStuck(target?),
        "sensor-noise" => Injected::SensorNoise(target?, value?),
        "sensor-coarse" => Injected::SensorCoarse(target?, value?),
        "sensor-late" => Injected::SensorLate(target?, value?),
        "sensor-jitter" => Injected::SensorJitter(target?, value?),
        "machine-lost" => Injected::TorqueLost(target?),
        "machine-sign" => Injected::TorqueWrongSign(target?),
        "machine-offset" => Injected::TorqueOffset(target?, value?),
        "machine-scale" => Injected::TorqueScale(target?, value?),
        "machine-lag" => Injected::TorqueSlow(target?, value?),
        "machine-silent" => Injected::TorqueReportLost(target?),
        "engine-stall" => Injected::EngineStall,
        "engine-no-start" => Injected::EngineNoStart,
        "engine-overrun" => Injected::EngineOverrun,
        "wheel-slip" => Injected::WheelSlip(value?),
        "supply-lost" => Injected::SupplyLost,
        "supply-dip" => Injected::SupplyDip,
        "supply-cold-dip" => Injected::SupplyColdDip,
        "tick-missed" => Injected::TickMissed,
        "tick-jitter" => Injected::TickJitter(value?.round().max(1.0) as u32),
        "reset" => Injected::SupervisorReset,
        "cold-reset" => Injected::SupervisorColdReset,
        _ => return None,
    })
}

/// A fault in the words of a scenario file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Words {
    pub(crate) word: &'static str,
    /// Number of the lock, sensor or machine; 0 where there is no target.
    pub(crate) target: usize,
    pub(crate) value: Option<f64>,
}

/// The words of a fault; `None` for what a scenario cannot say.
pub(crate) fn words(fault: &Injected) -> Option<Words> {
    let plain = |word, target| Some(Words { word, target, value: None });
    let valued = |word, target, value| Some(Words { word, target, value: Some(value) });
    match *fault {
        Injected::Actuator(_, ActuatorFault::None) | Injected::Switch(_, SwitchFault::None) => None,
        Injected::Actuator(i, ActuatorFault::StuckOpen) => plain("lock-stuck-open", i),
        Injected::Actuator(i, ActuatorFault::StuckClosed) => plain("lock-stuck-closed", i),
        Injected::Actuator(i, ActuatorFault::OpensByItself) => plain("lock-opens", i),
        Injected::Actuator(i, ActuatorFault::ClosesByItself) => plain("lock-closes", i),
        Injected::Switch(i, SwitchFault::StuckOpen) => plain("switch-stuck-open", i),
        Injected::Switch(i, SwitchFault::StuckClosed) => plain("switch-stuck-closed", i),
        Injected::Switch(i, SwitchFault::Missing) => plain("switch-missing", i),
        Injected::SlowClose(i, times) => valued("lock-slow-close", i, times),
        Injected::SlowRelease(i, times) => valued("lock-slow-release", i, times),
        Injected::ExtraDrag(i, nm) => valued("lock-drag", i, nm),
        Injected::SensorBias(i, rpm) => valued("sensor-bias", i, rpm),
        Injected::SensorScale(i, -1.0) => plain("sensor-sign", i),
        Injected::SensorScale(i, factor) => valued("sensor-scale", i, factor),
        Injected::SensorDropout(i) => plain("sensor-dropout", i),
        Injected::SensorStuck(i) => plain("sensor-stuck", i),
        Injected::SensorNoise(i, rpm) => valued("sensor-noise", i, rpm),
        Injected::SensorCoarse(i, rpm) => valued("sensor-coarse", i, rpm),
        Injected::SensorLate(i, ms) => valued("sensor-late", i, ms),
        Injected::SensorJitter(i, ms) => valued("sensor-jitter", i, ms),
        Injected::TorqueOffset(i, nm) => valued("machine-offset", i, nm),
        Injected::TorqueScale(i, factor) => valued("machine-scale", i, factor),
        Injected::Switch(i, SwitchFault::Chatter) => plain("switch-chatter", i),
        Injected::TorqueLost(i) => plain("machine-lost", i),
        Injected::TorqueWrongSign(i) => plain("machine-sign", i),
        Injected::TorqueSlow(i, times) => valued("machine-lag", i, times),
        Injected::TorqueReportLost(i) => plain("machine-silent", i),
        Injected::EngineStall => plain("engine-stall", 0),
        Injected::EngineNoStart => plain("engine-no-start", 0),
        Injected::EngineOverrun => plain("engine-overrun", 0),
        Injected::SupplyLost => plain("supply-lost", 0),
        Injected::SupplyDip => plain("supply-dip", 0),
        Injected::SupplyColdDip => plain("supply-cold-dip", 0),
        Injected::TickMissed => plain("tick-missed", 0),
        Injected::TickJitter(most) => valued("tick-jitter", 0, f64::from(most)),
        Injected::WheelSlip(share) => valued("wheel-slip", 0, share),
        Injected::SupervisorReset => plain("reset", 0),
        Injected::SupervisorColdReset => plain("cold-reset", 0),
    }
}

/// Name of the lock, sensor or machine that a fault is at; `None` without one.
pub(crate) fn target_name<'a>(d: &'a Driveline, words: &Words) -> Option<&'a str> {
    match words.word.split('-').next()? {
        "lock" | "switch" => d.locks.get(words.target).map(|l| l.name.as_str()),
        "sensor" => d.sensors.get(words.target).map(|s| s.name.as_str()),
        "machine" => d.machines.get(words.target).map(|m| m.name.as_str()),
        _ => None,
    }
}
