//! An engine that pushes the vehicle against what is asked is stopped.
//!
//! Its governor may make torque that nobody asked for, and a lock that joins it brings that to the
//! wheels for as long as the driver does not brake it down. What all machines give together is known
//! whatever the gears between them: torque times speed, summed.

use crate::io::Orders;
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
    /// times the retry wait, and until the demand is with the motion again.
    pub(crate) fn cut(
        &mut self,
        table: &Table,
        geared: bool,
        reading: &Reading,
        orders: &mut Orders,
    ) {
        let opposes = geared && reading.powers().is_some_and(|powers| powers.oppose());
        self.ticks = if opposes { self.ticks.saturating_add(1) } else { 0 };
        let late = self.ticks > table.timing.retry_wait.saturating_mul(4);
        let along = reading.asked_w().is_some_and(|asked_w| asked_w > 0.0);
        self.stops = (self.stops || late) && !along;
        // SW-M4
        orders.engine_run = orders.engine_run && !self.stops;
    }
}
