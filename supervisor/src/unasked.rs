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

/// Not a number of ticks: the engine is stopped until that is asked for which it gives.
const STOPPED: u16 = u16::MAX;

/// What is remembered of an engine that pushes against what is asked.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub(crate) struct Unasked {
    /// Ticks in which it did so, or [`STOPPED`].
    ticks: u16,
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
        let along = reading.asked_w().is_some_and(|asked_w| asked_w > 0.0);
        let most = table.timing.retry_wait.saturating_mul(4);
        self.ticks = match self.ticks {
            _ if along => 0,
            STOPPED => STOPPED,
            _ if !opposes => 0,
            ticks if ticks >= most => STOPPED,
            ticks => ticks.saturating_add(1),
        };
        let stops = self.ticks == STOPPED;
        // SW-M4
        orders.engine_run = orders.engine_run && !stops;
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
