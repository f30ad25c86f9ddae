//! An engine that pushes the vehicle against what is asked is stopped.
//!
//! Its governor may make torque that nobody asked for, and a lock that joins it brings that to the
//! wheels for as long as the driver does not brake it down. What all machines give together is known
//! whatever the gears between them: torque times speed, summed.

use crate::io::{MachineOrder, Orders};
use crate::observe::Reading;
use crate::table::Table;

#[cfg(test)]
mod tests;

/// What is remembered of an engine that pushes against what is asked.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub(crate) struct Unasked {
    /// Ticks in which it did so.
    ticks: u16,
    /// Whether it is stopped until that is asked for which it gives.
    stops: bool,
}

impl Unasked {
    /// SW-M4: an engine that is `geared` to the wheels, with no step under way that needs its push, and gives power that the
    /// other machines do not take, while the demand is against the motion, is stopped: after four
    /// times the retry wait, and until the demand is with the motion again. So is one that is to give nothing and
    /// gives something, when speeds are missing that would tell what that does to the wheels.
    pub(crate) fn cut(
        &mut self,
        table: &Table,
        geared: bool,
        reading: &Reading,
        orders: &mut Orders,
    ) {
        let opposes = geared
            && match reading.powers() {
                Some(powers) => powers.oppose(),
                // What it does to the wheels nobody knows.
                None => reading.engine_may_oppose() && is_unloaded(table, orders),
            };
        self.ticks = if opposes { self.ticks.saturating_add(1) } else { 0 };
        let late = self.ticks > table.timing.retry_wait.saturating_mul(4);
        let along = reading.asked_w().is_some_and(|asked_w| asked_w > 0.0);
        self.stops = (self.stops || late) && !along;
        // SW-M4
        orders.engine_run = orders.engine_run && !self.stops;
    }
}

/// What the engine is told.
fn order_of<'a>(table: &Table, orders: &'a Orders) -> Option<&'a MachineOrder> {
    table.engine.and_then(|engine| orders.machines.get(usize::from(engine)))
}

fn is_unloaded(table: &Table, orders: &Orders) -> bool {
    matches!(order_of(table, orders), Some(MachineOrder::Unload))
}

/// Whether the engine is told to give nothing, as for the step that lets it go; or to hold a speed that it has
/// passed: what would bring it back is the opposite of a push.
pub(crate) fn needs_no_push(table: &Table, reading: &Reading, orders: &Orders) -> bool {
    match order_of(table, orders) {
        Some(MachineOrder::Unload) => true,
        Some(&MachineOrder::HoldSpeed { target_radps }) => {
            let radps = table.engine.and_then(|engine| reading.machine_radps(engine));
            radps.is_some_and(|radps| radps > target_radps)
        }
        _ => false,
    }
}
