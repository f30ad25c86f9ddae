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
use crate::driveline::{Driveline, Engine, MachineKind};

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
    /// Largest torque at the output that a driver asks for, Nm; at least that of all machines
    /// together.
    pub(super) all_nm: f64,
    /// Lowest and highest electric power that the battery takes, W.
    pub(super) battery_w: Option<(f64, f64)>,
    sets: Vec<OnceLock<Box<SetKnown>>>,
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
}

/// The engine.
#[derive(Clone, Debug)]
pub(super) struct EngineKnown {
    pub(super) machine: usize,
    pub(super) data: Engine,
    /// Speed that its own limiter keeps below, rpm.
    pub(super) end_rpm: f64,
    pub(super) strategy: Strategy,
}

/// One lock set.
#[derive(Clone, Debug)]
pub(super) struct SetKnown {
    pub(super) motion: Motion,
    pub(super) plan: Plan,
    /// By the pattern of parts, as a number to the base of their kinds.
    balances: Vec<OnceLock<Box<Balance>>>,
}

impl Knowledge {
    /// For a driveline with the plant's data and a controller that is called every `dt_s` seconds.
    pub fn new(driveline: &Driveline, dt_s: f64) -> Knowledge {
        let machines = driveline.machines.len().min(MAX_MACHINES);
        let mut machine = [MachineKnown::default(); MAX_MACHINES];
        for (slot, m) in machine.iter_mut().zip(&driveline.machines) {
            *slot = match &m.kind {
                MachineKind::Electric(e) => MachineKnown {
                    shaft: m.shaft,
                    electric: true,
                    largest_nm: e.max_torque_nm.unwrap_or(0.0),
                    power_w: e.max_power_kw.map_or(f64::INFINITY, |kw| 1e3 * kw),
                    lag_s: e.lag_ms / 1e3,
                },
                MachineKind::Engine(e) => MachineKnown {
                    shaft: m.shaft,
                    electric: false,
                    largest_nm: e
                        .torque_curve_rpm_nm
                        .iter()
                        .fold(1.0, |most: f64, p| most.max(p.1)),
                    power_w: 0.0,
                    lag_s: e.lag_ms / 1e3,
                },
            };
        }
        let engine = driveline.engine().map(|(m, e)| {
            let shaft = driveline.machines[m].shaft;
            let most_rpm = driveline.shafts[shaft].max_rpm.unwrap_or(f64::INFINITY);
            EngineKnown {
                machine: m,
                data: e.clone(),
                end_rpm: e.max_rpm.min(most_rpm).max(1.0),
                strategy: Strategy::new(e),
            }
        });
        Knowledge {
            driveline: driveline.clone(),
            dt_s,
            machines,
            machine,
            engine,
            all_nm: f64::max(
                machine[..machines].iter().map(|m| m.largest_nm).sum(),
                pull_nm(driveline),
            ),
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
