//! A shaft that is about to pass its speed limits gets no more torque.
//!
//! Whatever makes it race (a lock that let go, a machine with the wrong torque, a sensor that
//! lies), a machine that gives nothing cannot be wrong. Locks are not touched.

use crate::bits::{Bits, MAX_MACHINES};
use crate::io::{MachineOrder, Orders};
use crate::table::Table;

#[cfg(test)]
mod tests;

/// What is remembered of the last shaft that raced.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub(crate) struct Race {
    sensors: Bits,
    /// Ticks for which the torque stays cut.
    left: u16,
    /// Whether the engine is stopped as long.
    stops_engine: bool,
}

impl Race {
    /// Sensors of the shafts that raced, while the torque is cut for it.
    pub(crate) const fn sensors(&self) -> Bits {
        self.sensors
    }

    /// Whether the torque is cut.
    pub(crate) const fn is_on(&self) -> bool {
        !self.sensors.is_empty()
    }

    /// SW-M1: no torque while a shaft races, and for a while after. An engine that races itself is
    /// stopped as well, and one that `pushes` while a lock may join it to the others: it may make
    /// its torque without being asked.
    pub(crate) fn cut(&mut self, table: &Table, racing: Bits, pushes: bool, orders: &mut Orders) {
        if !racing.is_empty() {
            let engine = table.engine.and_then(|engine| table.rests.get(engine as usize));
            let itself = engine.is_some_and(|rest| !rest.sensors.and(racing).is_empty());
            let stops = self.stops_engine || itself || pushes;
            *self = Race { sensors: racing, left: table.timing.retry_wait, stops_engine: stops };
        } else if self.left > 0 {
            self.left = self.left.saturating_sub(1);
        } else {
            *self = Race::default();
            return;
        }
        // SW-M1
        orders.machines = [MachineOrder::Off; MAX_MACHINES];
        orders.engine_run = orders.engine_run && !self.stops_engine;
    }
}
