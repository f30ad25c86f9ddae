//! The checked driveline: every name resolved to an index, every value in range.
//!
//! Speeds at this edge are rpm and road speed km/h, as a person writes them; the
//! plant and the table convert to SI once. `Option` marks what `survey` does not
//! need; later commands name what is missing.

use super::model_parts::{GearPair, Lock, Planetary, Shaft};
use crate::exact::Q;

/// Index of a shaft in [`Driveline::shafts`].
pub type ShaftId = usize;
/// Index of a lock in [`Driveline::locks`].
pub type LockId = usize;
/// Index of a machine in [`Driveline::machines`].
pub type MachineId = usize;

/// A driveline that passed every check of the file reader.
#[derive(Clone, Debug, PartialEq)]
pub struct Driveline {
    /// Version of the file format.
    pub format: u32,
    /// Short name, used in file names and module names.
    pub name: String,
    /// One sentence for a person.
    pub about: String,
    /// Shafts in file order.
    pub shafts: Vec<Shaft>,
    /// Planetary gear sets in file order.
    pub planetaries: Vec<Planetary>,
    /// Gear pairs in file order.
    pub gear_pairs: Vec<GearPair>,
    /// Brakes and clutches in file order; bit `i` of a lock set is lock `i`.
    pub locks: Vec<Lock>,
    /// Electric machines and engine in file order.
    pub machines: Vec<Machine>,
    /// Speed sensors (the stated ones, or the default: one on every shaft, at most eight).
    pub sensors: Vec<Sensor>,
    /// Output to the wheels.
    pub output: Output,
    /// Vehicle, needed by the plant.
    pub vehicle: Option<Vehicle>,
    /// Battery; absent means an ideal supply without limits.
    pub battery: Option<Battery>,
    /// Named arrangements in file order.
    pub arrangements: Vec<Arrangement>,
    /// Weights of the step search.
    pub costs: Costs,
    /// Tick, dwell and time-outs.
    pub timing: Timing,
}

/// An electric machine or the engine.
#[derive(Clone, Debug, PartialEq)]
pub struct Machine {
    /// Name as in the file.
    pub name: String,
    /// Shaft it turns.
    pub shaft: ShaftId,
    /// Electric or engine, with what belongs to it.
    pub kind: MachineKind,
}

/// What differs between electric machines and the engine.
#[derive(Clone, Debug, PartialEq)]
pub enum MachineKind {
    /// An electric machine with its inverter.
    Electric(Electric),
    /// The combustion engine.
    Engine(Engine),
}

/// Data of an electric machine.
#[derive(Clone, Debug, PartialEq)]
pub struct Electric {
    /// Torque limit, both signs, Nm (needed by the plant).
    pub max_torque_nm: Option<f64>,
    /// Shaft power limit, both signs, kW (needed by the plant).
    pub max_power_kw: Option<f64>,
    /// First-order lag of the torque, ms.
    pub lag_ms: f64,
    /// Loss polynomial.
    pub loss: Loss,
    /// File of a measured loss map that replaces the polynomial in energy figures.
    pub loss_map: Option<String>,
}

/// Loss in W: constant + copper*T^2 + linear*|w| + square*w^2 + inverter*|T*w|, T in Nm, w in rad/s.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Loss {
    /// W.
    pub constant: f64,
    /// W per Nm^2.
    pub copper: f64,
    /// W per rad/s.
    pub linear: f64,
    /// W per (rad/s)^2.
    pub square: f64,
    /// W per W of shaft power.
    pub inverter: f64,
}

/// Data of the engine. An engine never turns in reverse.
#[derive(Clone, Debug, PartialEq)]
pub struct Engine {
    /// Idle speed, rpm.
    pub idle_rpm: f64,
    /// Highest running speed, rpm.
    pub max_rpm: f64,
    /// Below this speed it stalls, rpm.
    pub stall_rpm: f64,
    /// Whether it starts by itself; otherwise a machine must turn it.
    pub own_starter: bool,
    /// Time its own starter takes to idle, ms.
    pub start_ms: f64,
    /// Full-load torque over speed: (rpm, Nm), rising in rpm (needed by the plant).
    pub torque_curve_rpm_nm: Vec<(f64, f64)>,
    /// Drag torque when not fired, Nm.
    pub drag_nm: f64,
    /// First-order lag of the torque, ms.
    pub lag_ms: f64,
    /// Displacement in litres, for the fuel model.
    pub displacement_l: Option<f64>,
    /// Willans efficiency, for the fuel model.
    pub willans_efficiency: Option<f64>,
    /// Loss pressure in bar: constant, per krpm, per krpm^2.
    pub loss_pressure_bar: Option<[f64; 3]>,
    /// Heating value of the fuel, MJ/kg.
    pub fuel_mj_per_kg: f64,
    /// File of a measured fuel map that replaces the Willans line.
    pub fuel_map: Option<String>,
}

/// How a speed is measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SensorKind {
    /// Toothed wheel with this many pulses a turn (direction by a second pick-up).
    Pulses {
        /// Pulses per turn.
        per_turn: u32,
    },
    /// Resolver.
    Resolver,
}

/// One speed sensor.
#[derive(Clone, Debug, PartialEq)]
pub struct Sensor {
    /// Name (defaults to the shaft's).
    pub name: String,
    /// Shaft it sits on.
    pub shaft: ShaftId,
    /// Pulses or resolver.
    pub kind: SensorKind,
    /// Largest speed it reads, both signs, rpm.
    pub range_rpm: f64,
    /// Largest error apart from quantisation and latency, rpm.
    pub error_rpm: f64,
    /// Quantisation step, rpm.
    pub resolution_rpm: f64,
    /// Age of the value when the supervisor reads it, ms.
    pub latency_ms: f64,
}

/// The output to the wheels.
#[derive(Clone, Debug, PartialEq)]
pub struct Output {
    /// Shaft that drives the wheels.
    pub shaft: ShaftId,
    /// Speed of the output shaft per speed of the wheels (needed by the plant).
    pub final_drive: Option<Q>,
    /// Efficiency of the final drive.
    pub final_drive_efficiency: f64,
    /// Rolling radius in m (needed by the plant).
    pub tyre_radius_m: Option<f64>,
}

/// The vehicle.
#[derive(Clone, Debug, PartialEq)]
pub struct Vehicle {
    /// Mass in kg.
    pub mass_kg: f64,
    /// Mass with wheels turning, per mass.
    pub rotating_mass_factor: f64,
    /// Road load: constant part, N.
    pub road_load_f0_n: f64,
    /// Road load per m/s.
    pub road_load_f1_n_per_mps: f64,
    /// Road load per (m/s)^2.
    pub road_load_f2_n_per_mps2: f64,
    /// Highest road speed, km/h.
    pub max_speed_kmh: f64,
    /// Largest acceleration the tyres allow, m/s2 (bounds the margins).
    pub max_acceleration_mps2: f64,
    /// Largest deceleration that the driveline may cause unasked, m/s2.
    pub driveline_decel_max_mps2: f64,
    /// Electric auxiliaries, W.
    pub auxiliary_w: f64,
}

/// The battery.
#[derive(Clone, Debug, PartialEq)]
pub struct Battery {
    /// Energy content, kWh.
    pub energy_kwh: f64,
    /// Nominal voltage, V.
    pub nominal_v: f64,
    /// Internal resistance, ohm.
    pub resistance_ohm: f64,
    /// Largest discharge power, kW.
    pub discharge_max_kw: f64,
    /// Largest charge power, kW.
    pub charge_max_kw: f64,
    /// Allowed state of charge: from, to.
    pub charge_window: [f64; 2],
}

/// Whether the engine runs in an arrangement.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EngineUse {
    /// It runs.
    On,
    /// It stands.
    Off,
    /// As it is.
    Either,
}

/// What a machine is for in an arrangement.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// Pushes the wheels.
    Drives,
    /// Turns engine power into electric power.
    Generates,
    /// Holds the speed of a free shaft.
    HoldsSpeed,
    /// Not used.
    Idle,
}

/// A named lock set that the driveline is meant to run in.
#[derive(Clone, Debug, PartialEq)]
pub struct Arrangement {
    /// Name as in the file.
    pub name: String,
    /// Closed locks, bit `i` is lock `i`.
    pub closed: u8,
    /// Engine on, off or either (the default).
    pub engine: EngineUse,
    /// Role of each machine, in machine order; `None` where the file leaves it to the tool.
    pub roles: Vec<Option<Role>>,
    /// Lowest road speed at which it may be asked, km/h.
    pub min_speed_kmh: Option<f64>,
    /// Highest road speed at which it may be asked, km/h.
    pub max_speed_kmh: Option<f64>,
}

/// Weights of the step search: cost = time + gap x torque gap + work x friction work.
#[derive(Clone, Debug, PartialEq)]
pub struct Costs {
    /// Cost of a second.
    pub per_s: f64,
    /// Cost of a second without push at the wheels.
    pub per_gap_s: f64,
    /// Cost of a kJ of friction work.
    pub per_kj: f64,
    /// Cost of one lock action (wear).
    pub per_action: f64,
}

/// Tick, dwell and time-outs.
#[derive(Clone, Debug, PartialEq)]
pub struct Timing {
    /// Supervisor period, ms.
    pub tick_ms: f64,
    /// How long a slip must stay within its limit before the lock is closed, ms.
    pub sync_dwell_ms: f64,
    /// How long bringing a slip to zero may take, ms.
    pub sync_timeout_ms: f64,
    /// How long unloading a lock may take, ms.
    pub unload_timeout_ms: f64,
    /// How long a lock may take, over its own time, to be shown closed or open, ms.
    pub confirm_timeout_ms: f64,
    /// Longest time an overlap may last, ms.
    pub overlap_max_ms: f64,
    /// Shortest stay in an arrangement, ms.
    pub min_stay_ms: f64,
    /// How long a request must stand before it is taken up, ms.
    pub request_dwell_ms: f64,
    /// Attempts at one step before it is refused.
    pub retries: u32,
    /// Fastest change of slip, rpm/s, that machines are asked for while synchronising.
    pub sync_rate_max_rpm_per_s: f64,
    /// Torque, Nm, below which a lock counts as unloaded, as a share of its capacity.
    pub unloaded_share: f64,
    /// Below this a shaft counts as at rest, rpm.
    pub rest_rpm: f64,
    /// Longest time from a fault to its reaction, ms (fault tolerant time interval), if stated.
    pub fault_tolerant_time_ms: Option<f64>,
}

impl Driveline {
    /// Rad/s of the output shaft per km/h of road speed; `None` without final drive and tyre.
    pub fn output_radps_per_kmh(&self) -> Option<f64> {
        let drive = crate::exact::to_f64(self.output.final_drive.as_ref()?);
        Some(drive / self.output.tyre_radius_m? / 3.6)
    }

    /// Name of a lock's second side.
    pub fn lock_side_b_name(&self, lock: LockId) -> &str {
        match self.locks[lock].b {
            Some(shaft) => &self.shafts[shaft].name,
            None => "case",
        }
    }

    /// Lock names of a lock set in file order.
    pub fn lock_names(&self, set: u8) -> Vec<&str> {
        (0..self.locks.len())
            .filter(|&i| set >> i & 1 == 1)
            .map(|i| self.locks[i].name.as_str())
            .collect()
    }

    /// The engine, if there is one.
    pub fn engine(&self) -> Option<(MachineId, &Engine)> {
        self.machines.iter().enumerate().find_map(|(id, m)| match &m.kind {
            MachineKind::Engine(e) => Some((id, e)),
            MachineKind::Electric(_) => None,
        })
    }
}
