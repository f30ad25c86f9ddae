//! One steady operating point: speeds, torques, every loss, every limit.

use super::model::{Model, Variant};
use super::{Demand, MAX};

/// A limit that an operating point may meet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Limit {
    /// The road speed at which the arrangement may be asked, or the vehicle's highest.
    RoadSpeed,
    /// Highest (true) or lowest speed of a shaft.
    Shaft(usize, bool),
    /// The engine's idle speed.
    EngineIdle,
    /// The engine's highest speed.
    EngineMax,
    /// Full load of the engine, or its drag on the overrun.
    EngineTorque,
    /// Torque of a machine.
    MachineTorque(usize),
    /// Shaft power of a machine.
    MachinePower(usize),
    /// Capacity of a lock.
    Lock(usize),
    /// Discharge power of the battery.
    Discharge,
    /// Charge power of the battery.
    Charge,
    /// The battery is to be held, and nothing gives the power.
    Held,
    /// Nothing balances a torque.
    Unbalanced,
}

/// Where the power goes, W. All are losses but `wheel`.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Losses {
    /// Each machine with its inverter; the engine's is heat of its fuel.
    pub machine: [f64; MAX],
    /// Gear meshes.
    pub mesh: f64,
    /// Bearings and oil of shafts.
    pub spin: f64,
    /// Open locks.
    pub lock: f64,
    /// Engine that is dragged unfired.
    pub dragged: f64,
    /// Final drive.
    pub final_drive: f64,
    /// Battery resistance.
    pub battery: f64,
    /// Auxiliaries.
    pub auxiliary: f64,
}

impl Losses {
    /// Sum of all.
    pub fn sum(&self) -> f64 {
        self.machine.iter().sum::<f64>()
            + self.mesh
            + self.spin
            + self.lock
            + self.dragged
            + self.final_drive
            + self.battery
            + self.auxiliary
    }
}

/// A steady operating point.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Point {
    /// Speed of each shaft, rad/s.
    pub speed: [f64; MAX],
    /// Torque of each machine, Nm.
    pub torque: [f64; MAX],
    /// Torque of each closed lock of the arrangement, in file order, Nm.
    pub lock: [f64; MAX],
    /// Fuel power, W.
    pub fuel_w: f64,
    /// Electric power of the machines alone, W.
    pub machines_w: f64,
    /// Power at the battery's terminals, auxiliaries included, W; positive discharges.
    pub terminal_w: f64,
    /// Power out of the cells, W.
    pub cell_w: f64,
    /// Power at the wheels, W.
    pub wheel_w: f64,
    /// Losses.
    pub losses: Losses,
    /// How far the worst limit is exceeded, as a share of it; 0 within all.
    pub excess: f64,
    /// That limit.
    pub limit: Option<Limit>,
}

impl Point {
    /// What comes in less what goes out, W: rounding only.
    pub fn residual_w(&self) -> f64 {
        self.fuel_w + self.cell_w - self.wheel_w - self.losses.sum()
    }

    fn meet(&mut self, excess: f64, limit: Limit) {
        if excess > 1e-9 && excess > self.excess {
            self.excess = excess;
            self.limit = Some(limit);
        }
    }
}

/// Speeds of all shafts for these free speeds.
pub(super) fn speeds(model: &Model, v: &Variant, demand: &Demand, free: &[f64]) -> [f64; MAX] {
    let mut speed = [0.0; MAX];
    for s in 0..model.shafts {
        let own: f64 = v.motions[1..].iter().zip(free).map(|(m, q)| m[s] * q).sum();
        speed[s] = v.motions[0][s] * demand.output_radps + own;
    }
    speed
}

/// Torque against a motion.
fn against(nm: f64, speed: f64) -> f64 {
    if speed == 0.0 { 0.0 } else { -nm * speed.signum() }
}

/// The operating point of `v` with these free speeds and free torques.
pub(super) fn evaluate(
    model: &Model,
    v: &Variant,
    demand: &Demand,
    free_speeds: &[f64],
    free_torques: &[f64],
) -> Point {
    let speed = speeds(model, v, demand, free_speeds);
    let mut p = Point { speed, ..Point::default() };
    let outer = outer_torques(model, v, demand, &mut p);
    let found = v.statics.torques(&speed, &outer, free_torques, model.shafts);
    p.torque = found.machine;
    p.lock = found.lock;
    p.losses.mesh = found.mesh_w;
    p.meet(found.unbalanced_nm, Limit::Unbalanced);
    p.wheel_w = demand.force_n * demand.mps;
    p.losses.final_drive = demand.output_nm * demand.output_radps - p.wheel_w;
    p.losses.auxiliary = model.road.auxiliary_w;
    for e in &model.electric {
        let (nm, w) = (p.torque[e.machine], speed[e.shaft]);
        let loss = e.loss.loss_w(nm, w);
        p.losses.machine[e.machine] = loss;
        p.machines_w += nm * w + loss;
    }
    p.terminal_w = p.machines_w + p.losses.auxiliary;
    p.losses.battery = model.cells.map_or(0.0, |c| c.loss_w(p.terminal_w));
    p.cell_w = p.terminal_w + p.losses.battery;
    if let Some(e) = model.engine.as_ref().filter(|_| v.engine_on) {
        let (nm, w) = (p.torque[e.machine], speed[e.shaft]);
        p.fuel_w = e.fuel.power_w(nm, w);
        p.losses.machine[e.machine] = p.fuel_w - nm * w;
    }
    meet_limits(model, v, demand, &mut p);
    p
}

/// Torques on the shafts from outside: the load and the drags, whose losses are noted.
fn outer_torques(model: &Model, v: &Variant, demand: &Demand, p: &mut Point) -> [f64; MAX] {
    let mut outer = [0.0; MAX];
    outer[model.output] -= demand.output_nm;
    for s in 0..model.shafts {
        let [constant, linear] = model.spin[s];
        let nm = against(constant + linear * p.speed[s].abs(), p.speed[s]);
        outer[s] += nm;
        p.losses.spin -= nm * p.speed[s];
    }
    for (l, lock) in model.locks.iter().enumerate() {
        if v.closed >> l & 1 == 1 {
            continue;
        }
        let slip = p.speed[lock.a] - lock.b.map_or(0.0, |b| p.speed[b]);
        let nm = if slip.abs() < 1e-9 { 0.0 } else { against(lock.drag_nm, slip) };
        outer[lock.a] += nm;
        if let Some(b) = lock.b {
            outer[b] -= nm;
        }
        p.losses.lock -= nm * slip;
    }
    if let Some(e) = model.engine.as_ref().filter(|_| !v.engine_on) {
        let nm = against(e.drag_nm, p.speed[e.shaft]);
        outer[e.shaft] += nm;
        p.losses.dragged -= nm * p.speed[e.shaft];
    }
    outer
}

fn meet_limits(model: &Model, v: &Variant, demand: &Demand, p: &mut Point) {
    let [low, high] = v.range_mps;
    p.meet((demand.mps / high - 1.0).min(demand.mps - high), Limit::RoadSpeed);
    p.meet(low - demand.mps, Limit::RoadSpeed);
    for s in 0..model.shafts {
        let [low, high] = model.shaft_range[s];
        p.meet((p.speed[s] - high) / high.max(1.0), Limit::Shaft(s, true));
        p.meet((low - p.speed[s]) / low.abs().max(1.0), Limit::Shaft(s, false));
    }
    for e in &model.electric {
        let nm = p.torque[e.machine].abs();
        p.meet(nm / e.max_nm - 1.0, Limit::MachineTorque(e.machine));
        p.meet(nm * p.speed[e.shaft].abs() / e.max_w - 1.0, Limit::MachinePower(e.machine));
    }
    if let Some(e) = &model.engine {
        let (nm, w) = (p.torque[e.machine], p.speed[e.shaft]);
        p.meet((w - e.range[1]) / e.range[1], Limit::EngineMax);
        if v.engine_on {
            p.meet((e.range[0] - w) / e.range[0], Limit::EngineIdle);
            let full = e.full_nm(w);
            p.meet((nm - full) / full.max(1.0), Limit::EngineTorque);
            p.meet((-e.drag_nm - nm) / full.max(1.0), Limit::EngineTorque);
        }
    }
    for (i, &l) in v.locks.iter().enumerate() {
        p.meet(p.lock[i].abs() / model.locks[l].capacity_nm - 1.0, Limit::Lock(l));
    }
    if let Some(c) = &model.cells {
        let [low, high] = c.limits_w;
        let most = high.min(c.peak_w());
        p.meet((p.terminal_w - most) / most, Limit::Discharge);
        p.meet((low - p.terminal_w) / low.abs().max(1.0), Limit::Charge);
    }
}
