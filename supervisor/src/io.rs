//! What goes into a tick and what comes out of it.
//!
//! Commanded, reported and actual are three different things and have three
//! different types: a [`LockOrder`] is what we ask, a [`LockReport`] is what a
//! switch says, and the actual state is known only to the plant.

use crate::bits::{Bits, MAX_LOCKS, MAX_MACHINES, MAX_SENSORS};

/// One speed measurement.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Speed {
    /// Signed speed in rad/s; positive moves the vehicle forward.
    pub radps: f32,
    /// Whether the sender stands by the value (fresh, CRC right, no dropout).
    pub valid: bool,
}

/// What a lock's position switch says. Not what the lock does.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum LockReport {
    /// The switch says open.
    Open,
    /// The switch says closed.
    Closed,
    /// There is no switch, or its word is stale or invalid this tick.
    #[default]
    Missing,
}

/// What the switches of the locks say; a lock without a switch says nothing.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Hash)]
pub struct Reports {
    /// Locks that have a switch.
    pub switched: Bits,
    /// Locks whose switch says open.
    pub open: Bits,
    /// Locks whose switch says closed.
    pub closed: Bits,
}

impl Reports {
    /// What the switch of one lock says.
    pub const fn of(&self, lock: u8) -> LockReport {
        if self.open.has(lock) {
            LockReport::Open
        } else if self.closed.has(lock) {
            LockReport::Closed
        } else {
            LockReport::Missing
        }
    }

    /// Take in what the switch of the lock in the set `one` says, if it has one.
    pub(crate) fn put(&mut self, one: Bits, has_switch: bool, report: LockReport) {
        if has_switch {
            let when = |said| if report == said { one } else { Bits::EMPTY };
            self.switched = self.switched.or(one);
            self.open = self.open.or(when(LockReport::Open));
            self.closed = self.closed.or(when(LockReport::Closed));
        }
    }
}

/// One machine torque as its own controller reports it.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Torque {
    /// Signed torque on the machine's shaft in Nm.
    pub nm: f32,
    /// Whether the sender stands by the value.
    pub valid: bool,
}

/// Everything the supervisor sees in one tick.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Inputs {
    /// Speed sensors, in the order of the table.
    pub speeds: [Speed; MAX_SENSORS],
    /// Lock switches, in the order of the table.
    pub reports: [LockReport; MAX_LOCKS],
    /// Machine torques, in the order of the table.
    pub torques: [Torque; MAX_MACHINES],
    /// The arrangement that is asked for; out of range counts as none.
    pub request: Option<u8>,
    /// Torque asked at the output shaft, in Nm (driver's demand).
    pub demand_nm: f32,
    /// Whether the engine's controller says that it runs by itself.
    pub engine_running: bool,
}

/// What a lock's actuator is asked to do. Not what the lock does.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum LockOrder {
    /// Release (the state without supply of a normally open lock).
    #[default]
    Open,
    /// Fill a friction lock to its kiss point, without torque.
    Prefill,
    /// Apply.
    Close,
}

/// What a machine is asked to do.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum MachineOrder {
    /// Follow the driver's demand as the arrangement is meant to.
    #[default]
    Free,
    /// Hold this speed.
    HoldSpeed {
        /// Target speed of the machine's shaft in rad/s.
        target_radps: f32,
    },
    /// Give this torque.
    TakeTorque {
        /// Torque on the machine's shaft in Nm.
        nm: f32,
    },
    /// Ramp to no torque and stay there.
    Unload,
    /// No torque, at once.
    Off,
}

/// Everything the supervisor asks for in one tick.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Orders {
    /// One order per lock, in the order of the table.
    pub locks: [LockOrder; MAX_LOCKS],
    /// One order per machine, in the order of the table.
    pub machines: [MachineOrder; MAX_MACHINES],
    /// Whether the engine should run.
    pub engine_run: bool,
}
