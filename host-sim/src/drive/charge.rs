//! When the engine runs and is joined: how much power it gives and at which speed.
//!
//! A plain strategy: the engine covers the driver's power and brings the charge back to
//! the middle of its window, at the lowest speed at which it can do so with something
//! in reserve. It is no optimisation, only a load that is near to what an engine sees.

use crate::driveline::{Battery, Engine};

const RPM: f64 = std::f64::consts::PI / 30.0;
/// Share of the full-load torque that the strategy uses.
const LOAD_SHARE: f64 = 0.85;
/// Power asked per unit of missing charge, W.
const CHARGE_GAIN_W: f64 = 60_000.0;

/// Speed and torque that the engine is asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OperatingPoint {
    /// Speed, rad/s.
    pub radps: f64,
    /// Torque on its shaft, Nm.
    pub torque_nm: f64,
}

/// Full-load torque at a speed, Nm: the curve, straight between its points; nothing
/// above its end, its first point below its beginning.
pub fn full_load_nm(engine: &Engine, radps: f64) -> f64 {
    let rpm = radps / RPM;
    let curve = &engine.torque_curve_rpm_nm;
    let (Some(first), Some(last)) = (curve.first(), curve.last()) else {
        return 0.0;
    };
    if rpm <= first.0 {
        return first.1;
    }
    for pair in curve.windows(2) {
        let ((r0, t0), (r1, t1)) = (pair[0], pair[1]);
        if rpm <= r1 {
            return t0 + (t1 - t0) * (rpm - r0) / (r1 - r0);
        }
    }
    if rpm <= engine.max_rpm.max(last.0) { last.1 } else { 0.0 }
}

/// Power the engine should give for a driver's power of `driver_w` at a state of charge.
pub fn wanted_w(battery: Option<&Battery>, charge: f64, driver_w: f64) -> f64 {
    let middle = battery.map_or(0.5, |b| 0.5 * (b.charge_window[0] + b.charge_window[1]));
    (driver_w + CHARGE_GAIN_W * (middle - charge)).max(0.0)
}

/// The lowest speed at which `power_w` is within `LOAD_SHARE` of full load, between a
/// little above idle and the highest running speed, and the torque there.
pub fn operating_point(engine: &Engine, power_w: f64) -> OperatingPoint {
    let low = (engine.idle_rpm * 1.15).min(engine.max_rpm) * RPM;
    let high = (engine.max_rpm * 0.9).max(engine.idle_rpm) * RPM;
    let steps = 60;
    let mut radps = low.max(1e-3);
    for i in 0..=steps {
        radps = (low + (high - low) * f64::from(i) / f64::from(steps)).max(1e-3);
        if LOAD_SHARE * full_load_nm(engine, radps) * radps >= power_w {
            break;
        }
    }
    OperatingPoint { radps, torque_nm: torque_at(engine, radps, power_w) }
}

/// Torque for `power_w` at the speed the engine has, within `LOAD_SHARE` of full load.
pub fn torque_at(engine: &Engine, radps: f64, power_w: f64) -> f64 {
    let idle = engine.idle_rpm * RPM;
    (power_w / radps.max(idle)).clamp(0.0, LOAD_SHARE * full_load_nm(engine, radps))
}
