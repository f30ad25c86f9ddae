//! The parts of a plant in SI units, collected from a driveline; missing values are named.

use super::curve::CurveStarts;
use super::dense::exp_neg;
use super::model::ShaftValues;
use super::{MAX_SHAFTS, SENSOR_HISTORY, STANDARD_GRAVITY};
use crate::driveline::{
    Battery, Driveline, Electric, Engine, Lock, LockKind, Loss, MachineKind, Sensor,
};
use crate::exact;
use supervisor::bits::{MAX_LOCKS, MAX_MACHINES, MAX_SENSORS};

/// rad/s per rpm.
pub(super) const RADPS_PER_RPM: f64 = core::f64::consts::PI / 30.0;
/// Points of an engine's torque curve at most.
pub(super) const MAX_CURVE: usize = 32;

/// A lock and its actuator.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub(super) struct LockModel {
    pub(super) dog: bool,
    pub(super) capacity_nm: f64,
    pub(super) static_ratio: f64,
    pub(super) drag_nm: f64,
    pub(super) normally_open: bool,
    pub(super) has_switch: bool,
    /// Share of the way to the kiss point (or of the insertion) in one step.
    pub(super) fill_per_step: f64,
    /// Share of the capacity gained in one step of the ramp.
    pub(super) ramp_per_step: f64,
    /// Share of the capacity lost in one step of the release.
    pub(super) release_per_step: f64,
    /// Dog: largest slip at which it goes in, rad/s.
    pub(super) window_radps: f64,
    /// Dog: angle from tooth to tooth and the part of it that is gap, rad.
    pub(super) pitch_rad: f64,
    pub(super) gap_rad: f64,
    /// Dog: above this torque it does not come out, Nm.
    pub(super) hold_in_nm: f64,
    /// Friction: rise of the plates per J, and the share of the rise that is left after a step.
    pub(super) rise_per_j: f64,
    pub(super) cooling_factor: f64,
    /// What it carries with no pressure and with all of it, without a fault.
    pub(super) open: Carried,
    pub(super) pressed: Carried,
}

/// What a lock carries at most, Nm.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub(super) struct Carried {
    /// When it slides.
    pub(super) slide_nm: f64,
    /// When it sticks.
    pub(super) stick_nm: f64,
}

impl LockModel {
    /// What a friction lock carries at this mean pressure, with drag that a fault adds.
    #[inline]
    pub(super) fn carried(&self, mean: f64, extra_drag_nm: f64) -> Carried {
        let drag = self.drag_nm + extra_drag_nm;
        let applied = mean * self.capacity_nm;
        Carried { slide_nm: drag.max(applied), stick_nm: drag.max(applied * self.static_ratio) }
    }
}

/// What is common to all machines, and the electric ones' limits.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub(super) struct MachineModel {
    pub(super) shaft: usize,
    pub(super) engine: bool,
    pub(super) max_torque_nm: f64,
    pub(super) max_power_w: f64,
    pub(super) lag_s: f64,
    /// Share of a torque error that is left after one step.
    pub(super) lag_factor: f64,
    /// The same by way of what is not left, as a machine that is slowed by a fault reckons.
    pub(super) left_share: f64,
    pub(super) loss: Loss,
}

/// The engine in SI units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct EngineModel {
    pub(super) machine: usize,
    pub(super) idle_radps: f64,
    pub(super) max_radps: f64,
    pub(super) stall_radps: f64,
    /// It fires once it is turned faster than this.
    pub(super) fire_radps: f64,
    pub(super) own_starter: bool,
    /// Torque with which its own starter takes the bare crankshaft to idle in the stated time.
    pub(super) starter_nm: f64,
    /// Steps after which a start is given up.
    pub(super) start_steps_max: u32,
    pub(super) drag_nm: f64,
    /// Gains of the idle governor: Nm per rad/s, and Nm per rad.
    pub(super) governor_p: f64,
    pub(super) governor_i: f64,
    pub(super) points: usize,
    pub(super) curve: [(f64, f64); MAX_CURVE],
    pub(super) starts: CurveStarts,
}

/// A speed sensor in SI units.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub(super) struct SensorModel {
    pub(super) shaft: usize,
    /// Infinite where it has none.
    pub(super) range_radps: f64,
    pub(super) error_radps: f64,
    /// The part of the error that changes from sample to sample.
    pub(super) noise_radps: f64,
    pub(super) resolution_radps: f64,
    pub(super) latency_steps: usize,
}

/// The road and the vehicle as seen from the output shaft.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub(super) struct RoadModel {
    pub(super) shaft: usize,
    pub(super) metres_per_radian: f64,
    pub(super) final_drive: f64,
    pub(super) efficiency: f64,
    /// Loss of the final drive as a share of what comes out of it.
    pub(super) loss_when_driving: f64,
    pub(super) vehicle_inertia: f64,
    /// Weight times lever: torque at the output of a vertical wall, Nm.
    pub(super) weight_nm: f64,
    pub(super) f0_nm: f64,
    /// Nm per rad/s and per (rad/s)^2 at the output shaft.
    pub(super) f1: f64,
    pub(super) f2: f64,
    pub(super) auxiliary_w: f64,
}

/// The battery in SI units.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub(super) struct BatteryModel {
    pub(super) charge_c: f64,
    pub(super) voltage_v: f64,
    pub(super) resistance_ohm: f64,
    pub(super) discharge_max_w: f64,
    pub(super) charge_max_w: f64,
}

/// All parts together.
pub(super) struct Parts {
    pub(super) inertia: ShaftValues,
    pub(super) lock: [LockModel; MAX_LOCKS],
    pub(super) machine: [MachineModel; MAX_MACHINES],
    pub(super) engine: Option<EngineModel>,
    pub(super) sensor: [SensorModel; MAX_SENSORS],
    pub(super) road: RoadModel,
    pub(super) battery: Option<BatteryModel>,
}

/// Collects every part; what is missing is added to `missing` (then the parts are not usable).
pub(super) fn collect(d: &Driveline, dt_s: f64, missing: &mut Vec<String>) -> Option<Parts> {
    for (what, count, most) in [
        ("shafts", d.shafts.len(), MAX_SHAFTS),
        ("locks", d.locks.len(), MAX_LOCKS),
        ("machines", d.machines.len(), MAX_MACHINES),
        ("sensors", d.sensors.len(), MAX_SENSORS),
    ] {
        if count > most {
            missing.push(format!("{count} {what}, of which the plant takes {most} at most"));
            return None;
        }
    }
    let mut inertia = [0.0; MAX_SHAFTS];
    for (value, shaft) in inertia.iter_mut().zip(&d.shafts) {
        let what = format!("shaft \"{}\" has no inertia_kg_m2 above 0", shaft.name);
        *value = need(shaft.inertia_kg_m2, what, missing);
    }
    let mut lock = [LockModel::default(); MAX_LOCKS];
    for (out, l) in lock.iter_mut().zip(&d.locks) {
        *out = lock_model(l, dt_s, d.timing.unloaded_share, missing);
    }
    let mut machine = [MachineModel::default(); MAX_MACHINES];
    let mut engine = None;
    for (id, m) in d.machines.iter().enumerate() {
        match &m.kind {
            MachineKind::Electric(e) => {
                machine[id] = electric_model(&m.name, m.shaft, e, dt_s, missing);
            }
            MachineKind::Engine(e) => {
                if engine.is_some() {
                    missing.push("more than one engine: the plant takes one".to_string());
                }
                machine[id] = MachineModel {
                    shaft: m.shaft,
                    engine: true,
                    ..MachineModel::with_lag(dt_s, e.lag_ms * 1e-3)
                };
                engine = Some(engine_model(id, &m.name, inertia[m.shaft], e, dt_s, missing));
            }
        }
    }
    let mut sensor = [SensorModel::default(); MAX_SENSORS];
    for (out, s) in sensor.iter_mut().zip(&d.sensors) {
        *out = sensor_model(s, dt_s, missing);
    }
    let road = road_model(d, missing);
    let battery = d.battery.as_ref().map(battery_model);
    Some(Parts { inertia, lock, machine, engine, sensor, road, battery })
}

fn need(value: Option<f64>, what: String, missing: &mut Vec<String>) -> f64 {
    match value {
        Some(x) if x.is_finite() && x > 0.0 => x,
        _ => {
            missing.push(what);
            1.0
        }
    }
}

/// Share that is left after `dt_s` with time constant `time_s`; none without a time constant.
pub(super) fn decay(dt_s: f64, time_s: f64) -> f64 {
    if time_s > 0.0 { exp_neg(dt_s / time_s) } else { 0.0 }
}

/// Share of the way in one step; infinite when it takes no time, above 1 when less than a step.
fn per_step(dt_s: f64, time_ms: f64) -> f64 {
    if time_ms > 0.0 { dt_s / (time_ms * 1e-3) } else { f64::INFINITY }
}

fn lock_model(l: &Lock, dt_s: f64, unloaded_share: f64, missing: &mut Vec<String>) -> LockModel {
    let what = format!("lock \"{}\" has no capacity_nm", l.name);
    let capacity_nm = need(l.capacity_nm, what, missing);
    let common = LockModel {
        capacity_nm,
        static_ratio: 1.0,
        drag_nm: l.drag_nm.max(0.0),
        normally_open: l.normally_open,
        has_switch: l.has_switch,
        fill_per_step: per_step(dt_s, l.close_ms),
        ramp_per_step: f64::INFINITY,
        release_per_step: per_step(dt_s, l.release_ms),
        cooling_factor: 1.0,
        ..LockModel::default()
    };
    let model = match &l.kind {
        LockKind::Friction(f) => LockModel {
            static_ratio: f.static_ratio.max(1.0),
            ramp_per_step: per_step(dt_s, f.ramp_ms),
            rise_per_j: if f.heat_capacity_kj_per_k > 0.0 {
                1e-3 / f.heat_capacity_kj_per_k
            } else {
                0.0
            },
            cooling_factor: decay(dt_s, f.cooling_time_s),
            ..common
        },
        LockKind::Dog(g) => {
            let gap_rad = g.backlash_deg.max(0.0) * core::f64::consts::PI / 180.0;
            // Geometry: it must not turn further than the backlash while it goes in.
            let insertion_s = if l.close_ms > 0.0 { l.close_ms * 1e-3 } else { dt_s };
            LockModel {
                dog: true,
                window_radps: gap_rad / insertion_s,
                pitch_rad: core::f64::consts::TAU / f64::from(g.teeth.max(1)),
                gap_rad,
                hold_in_nm: (2.0 * unloaded_share).max(super::DOG_HOLD_SHARE_MIN) * capacity_nm,
                ..common
            }
        }
    };
    LockModel { open: model.carried(0.0, 0.0), pressed: model.carried(1.0, 0.0), ..model }
}

fn electric_model(
    name: &str,
    shaft: usize,
    e: &Electric,
    dt_s: f64,
    missing: &mut Vec<String>,
) -> MachineModel {
    let torque = format!("machine \"{name}\" has no max_torque_nm");
    let power = format!("machine \"{name}\" has no max_power_kw");
    MachineModel {
        shaft,
        engine: false,
        max_torque_nm: need(e.max_torque_nm, torque, missing),
        max_power_w: 1e3 * need(e.max_power_kw, power, missing),
        loss: e.loss,
        ..MachineModel::with_lag(dt_s, e.lag_ms * 1e-3)
    }
}

impl MachineModel {
    fn with_lag(dt_s: f64, lag_s: f64) -> MachineModel {
        let lag_factor = decay(dt_s, lag_s);
        let left_share = 1.0 - (1.0 - lag_factor);
        MachineModel { lag_s, lag_factor, left_share, ..MachineModel::default() }
    }
}

fn engine_model(
    machine: usize,
    name: &str,
    inertia: f64,
    e: &Engine,
    dt_s: f64,
    missing: &mut Vec<String>,
) -> EngineModel {
    let points = e.torque_curve_rpm_nm.len();
    if points == 0 || points > MAX_CURVE {
        missing.push(format!(
            "engine \"{name}\" has {points} points in torque_curve_rpm_nm; 1 to {MAX_CURVE} are needed"
        ));
    }
    let mut curve = [(0.0, 0.0); MAX_CURVE];
    for (to, from) in curve.iter_mut().zip(&e.torque_curve_rpm_nm) {
        *to = (from.0 * RADPS_PER_RPM, from.1);
    }
    let idle_radps = e.idle_rpm * RADPS_PER_RPM;
    let stall_radps = e.stall_rpm * RADPS_PER_RPM;
    let start_s = (e.start_ms * 1e-3).max(dt_s);
    // The governor is critically damped on the bare crankshaft without lag; slower than the lag.
    let settle = (2e-3 * e.lag_ms).max(0.1);
    EngineModel {
        machine,
        idle_radps,
        max_radps: e.max_rpm * RADPS_PER_RPM,
        stall_radps,
        fire_radps: 0.5 * (idle_radps + stall_radps),
        own_starter: e.own_starter,
        starter_nm: inertia * idle_radps / start_s + e.drag_nm.max(0.0),
        start_steps_max: (4.0 * start_s / dt_s) as u32,
        drag_nm: e.drag_nm.max(0.0),
        governor_p: inertia / settle,
        governor_i: 0.25 * inertia / (settle * settle),
        points: points.min(MAX_CURVE),
        curve,
        starts: CurveStarts::new(&curve[..points.min(MAX_CURVE)]),
    }
}

fn sensor_model(s: &Sensor, dt_s: f64, missing: &mut Vec<String>) -> SensorModel {
    let steps = (s.latency_ms.max(0.0) * 1e-3 / dt_s + 0.5) as usize;
    if steps >= SENSOR_HISTORY {
        missing.push(format!(
            "sensor \"{}\" is {steps} steps late; the plant takes {} at most",
            s.name,
            SENSOR_HISTORY - 1
        ));
    }
    let error_radps = s.error_rpm.max(0.0) * RADPS_PER_RPM;
    SensorModel {
        shaft: s.shaft,
        range_radps: if s.range_rpm > 0.0 { s.range_rpm * RADPS_PER_RPM } else { f64::INFINITY },
        error_radps,
        noise_radps: (1.0 - super::sensor::CONSTANT_SHARE) * error_radps,
        resolution_radps: s.resolution_rpm.max(0.0) * RADPS_PER_RPM,
        latency_steps: steps.min(SENSOR_HISTORY - 1),
    }
}

fn road_model(d: &Driveline, missing: &mut Vec<String>) -> RoadModel {
    let ratio = d.output.final_drive.as_ref().map(exact::to_f64);
    let ratio = need(ratio, "[output] has no final_drive above 0".to_string(), missing);
    let radius = need(d.output.tyre_radius_m, "[output] has no tyre_radius_m".into(), missing);
    let Some(v) = d.vehicle.as_ref() else {
        missing.push("there is no [vehicle]".to_string());
        return RoadModel::default();
    };
    let lever = radius / ratio;
    RoadModel {
        shaft: d.output.shaft,
        metres_per_radian: lever,
        final_drive: ratio,
        efficiency: d.output.final_drive_efficiency,
        loss_when_driving: (1.0 - d.output.final_drive_efficiency)
            / d.output.final_drive_efficiency,
        vehicle_inertia: v.mass_kg * v.rotating_mass_factor * lever * lever,
        weight_nm: v.mass_kg * STANDARD_GRAVITY * lever,
        f0_nm: v.road_load_f0_n * lever,
        f1: v.road_load_f1_n_per_mps * lever * lever,
        f2: v.road_load_f2_n_per_mps2 * lever * lever * lever,
        auxiliary_w: v.auxiliary_w,
    }
}

fn battery_model(b: &Battery) -> BatteryModel {
    BatteryModel {
        charge_c: b.energy_kwh * 3.6e6 / b.nominal_v,
        voltage_v: b.nominal_v,
        resistance_ohm: b.resistance_ohm,
        discharge_max_w: b.discharge_max_kw * 1e3,
        charge_max_w: b.charge_max_kw * 1e3,
    }
}
