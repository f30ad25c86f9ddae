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

/// Full-load torque at a speed, Nm: the curve, straight between its points; nothing
/// above its end, its first point below its beginning.
pub fn full_load_nm(engine: &Engine, radps: f64) -> f64 {
    full_load_from(engine, 0, radps / RPM)
}

/// The same at a speed that begins above the end of so many pairs of points.
#[inline]
pub(super) fn full_load_from(engine: &Engine, pairs: usize, rpm: f64) -> f64 {
    let curve = &engine.torque_curve_rpm_nm;
    let (Some(first), Some(last)) = (curve.first(), curve.last()) else {
        return 0.0;
    };
    if rpm <= first.0 {
        return first.1;
    }
    for pair in curve[pairs.min(curve.len() - 1)..].windows(2) {
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

/// Steps between the lowest and the highest speed of the strategy.
const SPEED_STEPS: usize = 60;

/// The speeds among which the strategy chooses, worked out once for an engine.
#[derive(Clone, Debug)]
pub struct Strategy {
    radps: [f64; SPEED_STEPS + 1],
    /// Largest power at this speed or a lower one, W.
    most_w: [f64; SPEED_STEPS + 1],
}

impl Strategy {
    /// For an engine: from a little above idle to the highest running speed.
    pub fn new(engine: &Engine) -> Strategy {
        let low = (engine.idle_rpm * 1.15).min(engine.max_rpm) * RPM;
        let high = (engine.max_rpm * 0.9).max(engine.idle_rpm) * RPM;
        let mut radps = [0.0; SPEED_STEPS + 1];
        let mut most_w = [f64::NEG_INFINITY; SPEED_STEPS + 1];
        let mut most = f64::NEG_INFINITY;
        for (i, (speed, slot)) in radps.iter_mut().zip(&mut most_w).enumerate() {
            *speed = (low + (high - low) * i as f64 / SPEED_STEPS as f64).max(1e-3);
            most = most.max(LOAD_SHARE * full_load_nm(engine, *speed) * *speed);
            *slot = most;
        }
        Strategy { radps, most_w }
    }

    /// The lowest speed at which `power_w` is within `LOAD_SHARE` of full load, rad/s; the highest
    /// when it is at none.
    pub fn speed_radps(&self, power_w: f64) -> f64 {
        let first = self.most_w.partition_point(|most| *most < power_w);
        self.radps[first.min(SPEED_STEPS)]
    }
}

/// Torque for `power_w` at the speed the engine has, within `LOAD_SHARE` of its full load there.
pub fn torque_at(engine: &Engine, radps: f64, full_nm: f64, power_w: f64) -> f64 {
    let idle = engine.idle_rpm * RPM;
    (power_w / radps.max(idle)).clamp(0.0, LOAD_SHARE * full_nm)
}
