//! The full plant: any driveline as rigid shafts with Coulomb locks, its actuators, machines,
//! sensors, battery and vehicle, stepped at a fixed rate.
//!
//! [`PlantModel`] is made once from a driveline; [`PlantState`] is plain data; [`step`] moves a
//! state by one fixed tick and is a pure function of its arguments. A step uses only
//! `+ - * /`, comparisons and one square root, allocates nothing and asks no clock: the same
//! inputs give the same bits on every machine.
//!
//! Deliberately absent: torsion of shafts, backlash of gears (and of a dog once it is in), wheel
//! slip but as a fault, temperature of anything but the plates, derating of machines by the
//! battery, by heat or near a speed limit (an overspeed must be seen, not hidden), voltage over
//! state of charge.

mod actuator;
mod contact;
mod contact_table;
mod curve;
mod dense;
mod dog;
mod energy;
mod grip;
mod inputs;
mod machine;
mod mesh;
mod model;
mod parts;
mod power;
pub mod random;
mod sensor;
mod start;
mod state;
mod step;

pub(crate) use curve::CurveStarts;
pub use energy::EnergyBook;
pub use inputs::{
    ActuatorFault, EngineFault, Faults, LockFaults, MachineFaults, PlantInputs, SensorFaults,
    Suspects, SwitchFault, TorqueFault,
};
pub(crate) use machine::clamp;
pub use model::{MissingData, PlantModel, ShaftValues};
pub use start::StartError;
pub use state::{
    BatteryState, EngineActual, EngineState, LockActual, LockState, MachineState, PlantState,
};
pub use step::step;

/// Most shafts a plant may have.
pub const MAX_SHAFTS: usize = 16;
/// Most contacts: eight locks, the road, the engine's drag.
pub(crate) const MAX_CONTACTS: usize = 10;
/// Steps of sensor history that are kept.
pub(crate) const SENSOR_HISTORY: usize = 64;
const _: () = assert!(SENSOR_HISTORY.is_power_of_two(), "times go round in it");
/// Standard gravity in m/s2 (ISO 80000-3; from memory).
pub const STANDARD_GRAVITY: f64 = 9.80665;
/// How long a switch's word must stand before it is reported, s.
pub const SWITCH_DEBOUNCE_S: f64 = 0.005;
/// Share of a dog's capacity above which tooth friction always holds it in (an invented, round
/// value; the file's `unloaded_share` doubled when that is more).
pub(crate) const DOG_HOLD_SHARE_MIN: f64 = 0.05;
/// Drag of a ratcheting dog as a share of its capacity (an invented, round value).
pub(crate) const DOG_RATCHET_SHARE: f64 = 0.01;
