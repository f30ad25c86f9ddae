//! What of a board failed, and what the supervisor may no longer be told because of it.

use crate::bits::Bits;
use crate::io::{Inputs, LockReport};

/// Parts of a board that failed in this tick or the last.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use = "a failed pin is a fault"]
pub struct BoardFaults {
    /// Locks whose valve could not be set: nobody knows what it does.
    pub valves: Bits,
    /// Locks whose switch could not be read.
    pub switches: Bits,
    /// Sensors that could not be read.
    pub sensors: Bits,
    /// Machines whose enable line or torque report failed.
    pub machines: Bits,
}

impl BoardFaults {
    /// Whether anything failed.
    pub const fn any(&self) -> bool {
        !self.valves.or(self.switches).or(self.sensors).or(self.machines).is_empty()
    }

    /// Take out of a tick's inputs what the board cannot vouch for. The report of a lock whose
    /// valve failed goes too: a switch that agrees with an order that was never carried out
    /// would otherwise be believed. And nothing new is asked for while a valve or a machine's
    /// line is out of hand: what stands is held, no step begins.
    pub fn mark(&self, inputs: &mut Inputs) {
        let blind = self.valves.or(self.switches);
        for (lock, report) in (0u8..).zip(&mut inputs.reports) {
            if blind.has(lock) {
                *report = LockReport::Missing;
            }
        }
        for (sensor, speed) in (0u8..).zip(&mut inputs.speeds) {
            speed.valid = speed.valid && !self.sensors.has(sensor);
        }
        for (machine, torque) in (0u8..).zip(&mut inputs.torques) {
            torque.valid = torque.valid && !self.machines.has(machine);
        }
        if !self.valves.or(self.machines).is_empty() {
            inputs.request = None;
        }
    }
}
