//! A case as a scenario file that `slipwarden replay` and `slipwarden drive` repeat exactly.

use std::fmt::Write;

use super::case::Case;
use crate::drive::driver::Wish;
use crate::drive::faults::{Injected, TimedFault};
use crate::driveline::Driveline;
use crate::plant::{ActuatorFault, SwitchFault};

/// A fault in the words of a scenario file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Words {
    pub(super) word: &'static str,
    /// Number of the lock, sensor or machine; 0 where there is no target.
    pub(super) target: usize,
    pub(super) value: Option<f64>,
}

/// The words of a fault; `None` for what a scenario cannot say.
pub(super) fn words(fault: &Injected) -> Option<Words> {
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
pub(super) fn target_name<'a>(d: &'a Driveline, words: &Words) -> Option<&'a str> {
    match words.word.split('-').next()? {
        "lock" | "switch" => d.locks.get(words.target).map(|l| l.name.as_str()),
        "sensor" => d.sensors.get(words.target).map(|s| s.name.as_str()),
        "machine" => d.machines.get(words.target).map(|m| m.name.as_str()),
        _ => None,
    }
}

/// The scenario of a case. Rust writes every number so that it reads back as the same one.
pub fn scenario_text(d: &Driveline, case: &Case, name: &str, about: &str) -> String {
    let mut out = String::new();
    // Writing to a string cannot fail.
    let _ = write_all(&mut out, d, case, name, about);
    out
}

fn write_all(
    out: &mut String,
    d: &Driveline,
    case: &Case,
    name: &str,
    about: &str,
) -> std::fmt::Result {
    let arrangement = |a: usize| d.arrangements.get(a).map_or("", |a| a.name.as_str());
    let setup = &case.setup;
    writeln!(out, "# From a campaign: case {}. Run it with `slipwarden replay`.", case.number)?;
    writeln!(
        out,
        "format = 1\nname = \"{name}\"\nabout = \"{}\"",
        about.replace(['"', '\\'], "'")
    )?;
    writeln!(out, "seed = {}", case.plant_seed)?;
    writeln!(out, "duration_s = {}", setup.duration_s)?;
    writeln!(out, "start_speed_kmh = {}", setup.start_speed_kmh)?;
    if let Some(a) = setup.start_arrangement {
        writeln!(out, "start_arrangement = \"{}\"", arrangement(a))?;
    }
    writeln!(out, "start_charge = {}", setup.start_charge)?;
    let (table, key, points) = match &setup.wish {
        Wish::Speed(points) => ("speed", "kmh", points),
        Wish::Pedal(points) => ("pedal", "share", points),
    };
    for (t_s, value) in points {
        writeln!(out, "\n[[{table}]]\nt_s = {t_s}\n{key} = {value}")?;
    }
    for (t_s, rise) in &setup.grade {
        // Tenths of a percent, so that the percent reads back as the same slope.
        writeln!(out, "\n[[grade]]\nt_s = {t_s}\npercent = {}", percent(*rise))?;
    }
    for (t_s, a) in &setup.requests {
        writeln!(out, "\n[[request]]\nt_s = {t_s}\narrangement = \"{}\"", arrangement(*a))?;
    }
    setup.faults.iter().try_for_each(|fault| write_fault(out, d, fault))
}

/// The percent that divides back to the very slope.
fn percent(rise: f64) -> f64 {
    let near = (rise * 1000.0).round() / 10.0;
    if near / 100.0 == rise { near } else { rise * 100.0 }
}

fn write_fault(out: &mut String, d: &Driveline, fault: &TimedFault) -> std::fmt::Result {
    let Some(said) = words(&fault.fault) else { return Ok(()) };
    writeln!(out, "\n[[fault]]\nfrom_s = {}", fault.from_s)?;
    if fault.to_s.is_finite() {
        writeln!(out, "to_s = {}", fault.to_s)?;
    }
    writeln!(out, "kind = \"{}\"", said.word)?;
    if let Some(name) = target_name(d, &said) {
        writeln!(out, "target = \"{name}\"")?;
    }
    if let Some(value) = said.value {
        writeln!(out, "value = {value}")?;
    }
    Ok(())
}
