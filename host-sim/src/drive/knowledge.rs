//! What the drive controller knows of a driveline: made once and shared by all its runs.
//!
//! What it needs of a lock set is worked out when a run first comes to it; whichever run that is,
//! the numbers are the same.

use std::sync::OnceLock;

use supervisor::bits::MAX_MACHINES;

use crate::drive::balance::{Balance, Part};
use crate::drive::charge::Strategy;
use crate::drive::motion::{Motion, motion};
use crate::drive::plan::Plan;
use crate::driveline::{Driveline, Engine, Machine, MachineKind};
use crate::plant::CurveStarts;

const RPM: f64 = std::f64::consts::PI / 30.0;
/// Time constant, s, with which a held speed learns what the balance does not know (drag,
/// losses): from the acceleration that was ordered and did not come.
const LEARN_S: f64 = 0.015;
/// Time for a machine's torque to go from nothing to full, s.
const TORQUE_RISE_S: f64 = 0.02;
/// Time for a given torque (unload, take) to go from nothing to full, s.
const GIVEN_RISE_S: f64 = 0.1;
/// Time for the demand to rise by all machines' torque together, s.
const DEMAND_RISE_S: f64 = 0.2;
/// Time for the engine's load to rise from nothing to full, s.
const ENGINE_RISE_S: f64 = 0.4;
/// Time constant of the driver's power as the charge strategy sees it, s.
const POWER_FILTER_S: f64 = 1.0;
/// Time for a wished acceleration to grow from nothing to the fastest allowed, s.
const PACE_RISE_S: f64 = 0.02;
/// Number of lock sets.
const SETS: usize = 256;
/// Kinds of [`Part`].
const KINDS: usize = 5;

/// A driveline as the drive controller sees it.
#[derive(Clone, Debug)]
pub struct Knowledge {
    pub(super) driveline: Driveline,
    pub(super) dt_s: f64,
    pub(super) machines: usize,
    pub(super) machine: [MachineKnown; MAX_MACHINES],
    pub(super) engine: Option<EngineKnown>,
    pub(super) pace: Pace,
    /// Lowest and highest electric power that the battery takes, W.
    pub(super) battery_w: Option<(f64, f64)>,
    sets: Vec<OnceLock<Box<SetKnown>>>,
}

/// How fast things may change: the constants of the drive controller for its tick, worked out once.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pace {
    /// Largest change of the demand in a tick, Nm.
    pub(super) demand_nm: f64,
    /// Share of the driver's new power that is seen in a tick.
    pub(super) power_share: f64,
    /// Share of what did not come that is learned in a tick.
    pub(super) learn_share: f64,
    /// Fastest wished acceleration, rad/s2, and its largest change in a tick.
    pub(super) rate_max: f64,
    pub(super) rate_step: f64,
}

/// One machine.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct MachineKnown {
    pub(super) shaft: usize,
    pub(super) electric: bool,
    pub(super) largest_nm: f64,
    /// Largest power of an electric one, W.
    pub(super) power_w: f64,
    pub(super) lag_s: f64,
    /// Largest change in a tick, Nm: of its torque, and of a torque that is given.
    pub(super) slew_nm: f64,
    pub(super) given_step_nm: f64,
}

/// The engine.
#[derive(Clone, Debug)]
pub(super) struct EngineKnown {
    pub(super) machine: usize,
    pub(super) data: Engine,
    /// Where to look on its torque curve for a speed in rpm.
    pub(super) starts: CurveStarts,
    /// Speed that its own limiter keeps below, rpm.
    pub(super) end_rpm: f64,
    pub(super) strategy: Strategy,
    /// Share of the asked torque that it takes on in a tick.
    pub(super) lag_share: f64,
    /// Largest change of its load in a tick, Nm.
    pub(super) load_step_nm: f64,
}

/// One lock set.
#[derive(Clone, Debug)]
pub(super) struct SetKnown {
    pub(super) motion: Motion,
    pub(super) plan: Plan,
    /// By the pattern of parts, as a number to the base of their kinds.
    balances: Vec<OnceLock<Box<Balance>>>,
}

impl MachineKnown {
    fn new(machine: &Machine, dt_s: f64) -> MachineKnown {
        let (electric, largest_nm, power_w, lag_ms) = match &machine.kind {
            MachineKind::Electric(e) => {
                let power_w = e.max_power_kw.map_or(f64::INFINITY, |kw| 1e3 * kw);
                (true, e.max_torque_nm.unwrap_or(0.0), power_w, e.lag_ms)
            }
            MachineKind::Engine(e) => {
                let most = e.torque_curve_rpm_nm.iter().fold(1.0, |most: f64, p| most.max(p.1));
                (false, most, 0.0, e.lag_ms)
            }
        };
        MachineKnown {
            shaft: machine.shaft,
            electric,
            largest_nm,
            power_w,
            lag_s: lag_ms / 1e3,
            slew_nm: largest_nm * dt_s / TORQUE_RISE_S,
            given_step_nm: largest_nm * dt_s / GIVEN_RISE_S,
        }
    }
}

impl Knowledge {
    /// For a driveline with the plant's data and a controller that is called every `dt_s` seconds.
    pub fn new(driveline: &Driveline, dt_s: f64) -> Knowledge {
        let machines = driveline.machines.len().min(MAX_MACHINES);
        let mut machine = [MachineKnown::default(); MAX_MACHINES];
        for (slot, m) in machine.iter_mut().zip(&driveline.machines) {
            *slot = MachineKnown::new(m, dt_s);
        }
        // The demand rises at the scale of the output, whatever gears are between.
        let all_nm: f64 = machine[..machines].iter().map(|m| m.largest_nm).sum();
        let all_nm = all_nm.max(pull_nm(driveline));
        let rate_max = driveline.timing.sync_rate_max_rpm_per_s * RPM;
        let engine = driveline.engine().map(|(m, e)| {
            let shaft = driveline.machines[m].shaft;
            let most_rpm = driveline.shafts[shaft].max_rpm.unwrap_or(f64::INFINITY);
            EngineKnown {
                machine: m,
                data: e.clone(),
                starts: CurveStarts::new(&e.torque_curve_rpm_nm),
                end_rpm: e.max_rpm.min(most_rpm).max(1.0),
                strategy: Strategy::new(e),
                lag_share: dt_s / (dt_s + machine[m].lag_s),
                load_step_nm: machine[m].largest_nm * dt_s / ENGINE_RISE_S,
            }
        });
        Knowledge {
            driveline: driveline.clone(),
            dt_s,
            machines,
            machine,
            engine,
            pace: Pace {
                demand_nm: all_nm * dt_s / DEMAND_RISE_S,
                power_share: (dt_s / POWER_FILTER_S).min(1.0),
                learn_share: dt_s / (dt_s + LEARN_S),
                rate_max,
                rate_step: rate_max * dt_s / PACE_RISE_S,
            },
            battery_w: driveline
                .battery
                .as_ref()
                .map(|b| (-1e3 * b.charge_max_kw, 1e3 * b.discharge_max_kw)),
            sets: (0..SETS).map(|_| OnceLock::new()).collect(),
        }
    }

    /// What is known of a lock set.
    pub(super) fn set(&self, set: u8) -> &SetKnown {
        self.sets[usize::from(set)].get_or_init(|| {
            let motion = motion(&self.driveline, set);
            let plan = Plan::new(&self.driveline, &motion);
            let patterns = KINDS.pow(self.machines as u32);
            let balances = (0..patterns).map(|_| OnceLock::new()).collect();
            Box::new(SetKnown { motion, plan, balances })
        })
    }

    /// The balance of a lock set for a pattern of parts, one a machine.
    #[inline]
    pub(super) fn balance<'a>(&'a self, set: &'a SetKnown, parts: &[Part]) -> &'a Balance {
        let key = parts.iter().fold(0, |key, part| key * KINDS + *part as usize);
        set.balances[key]
            .get_or_init(|| Box::new(Balance::new(&self.driveline, &set.motion, parts)))
    }
}

/// Torque at the output that gives the vehicle's largest acceleration, Nm; 0 without a vehicle.
fn pull_nm(driveline: &Driveline) -> f64 {
    let metres_per_radian = driveline.output_radps_per_kmh().map(|per_kmh| 1.0 / (3.6 * per_kmh));
    let (Some(vehicle), Some(metres)) = (&driveline.vehicle, metres_per_radian) else { return 0.0 };
    let mass_kg = vehicle.mass_kg * vehicle.rotating_mass_factor;
    (mass_kg * vehicle.max_acceleration_mps2 * metres).abs()
}
