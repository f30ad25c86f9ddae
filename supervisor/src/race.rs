//! A shaft that is about to pass its speed limits gets no more torque.
//!
//! Whatever makes it race (a lock that let go, a machine with the wrong torque, a sensor that
//! lies), a machine that gives nothing cannot be wrong. Locks are not touched.

use crate::bits::{Bits, MAX_MACHINES};
use crate::creep::Creep;
use crate::io::{MachineOrder, Orders};
use crate::observe::Wheels;
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
    /// Whether the vehicle stood.
    creep: Creep,
    /// Ticks for which the engine has gained speed since the vehicle moves off.
    gained: u8,
    /// Ticks for which the wheels have not held the road.
    slips: u8,
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
            let left = table.timing.retry_wait;
            *self = Race { sensors: racing, left, stops_engine: stops, ..*self };
        } else if self.left > 0 {
            self.left = self.left.saturating_sub(1);
        } else {
            let Race { creep, slips, .. } = *self;
            *self = Race { creep, slips, ..Race::default() };
            return;
        }
        // SW-M1
        all_off(orders);
        orders.engine_run = orders.engine_run && !self.stops_engine;
    }

    /// SW-M5: no torque while a vehicle that stood moves off although nothing is asked for; and an engine that `gains` speed
    /// with all machines off is stopped. The sensors of its wheels count as racing until that is over.
    pub(crate) fn cut_creep(
        &mut self,
        table: &Table,
        wheels: Wheels,
        gains: impl FnOnce() -> bool,
        orders: &mut Orders,
    ) {
        let moves_off = self.creep.look(table, wheels);
        self.gained = if moves_off && gains() { self.gained.saturating_add(1) } else { 0 };
        if !moves_off {
            return;
        }
        self.sensors = self.sensors.or(table.output_sensors);
        self.left = self.left.max(1);
        // Torque from before has gone after the reaction time.
        self.stops_engine |= is_over(self.gained, table.timing.react.saturating_mul(2));
        // SW-M5
        all_off(orders);
        orders.engine_run = orders.engine_run && !self.stops_engine;
    }

    /// SW-M6: no torque while the wheels change their speed faster than tyres that grip let them, for longer than the
    /// reaction, and for a while after. Their sensors count as racing.
    pub(crate) fn cut_slip(&mut self, table: &Table, slips: bool, orders: &mut Orders) {
        self.slips = if slips { self.slips.saturating_add(1) } else { 0 };
        if !is_over(self.slips, table.timing.react) {
            return;
        }
        self.sensors = self.sensors.or(table.output_sensors);
        self.left = table.timing.retry_wait;
        // SW-M6
        all_off(orders);
    }
}

/// Whether so many ticks are more than a time, or than 254 ticks where that is longer.
fn is_over(ticks: u8, time: u16) -> bool {
    u16::from(ticks) > time.min(u16::from(u8::MAX - 1))
}

/// In one place: to fill an array is a loop, whose bound is to be shown.
#[inline(never)]
fn all_off(orders: &mut Orders) {
    orders.machines = [MachineOrder::Off; MAX_MACHINES];
}
