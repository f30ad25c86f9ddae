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

/// What is given counts from this share of what is asked the other way.
const ASKED_SHARE: f32 = 0.25;
/// And from this share of what the engine gives: losses in gears and bearings take some of it.
const LOST_SHARE: f32 = 0.1;

/// What is remembered of an engine that pushes against what is asked.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub(crate) struct Unasked {
    /// Ticks in which it did so.
    ticks: u16,
    /// Whether it is stopped until that is asked for which it gives.
    stops: bool,
}

/// Power that is asked for at the output, that all machines give, and that the engine gives, W.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(crate) struct Powers {
    pub(crate) asked_w: f32,
    pub(crate) given_w: f32,
    pub(crate) engine_w: f32,
}

impl Powers {
    fn oppose(&self) -> bool {
        let floor = LOST_SHARE * self.engine_w - ASKED_SHARE * self.asked_w;
        self.asked_w < 0.0 && self.engine_w > 0.0 && self.given_w > floor
    }
}

impl Unasked {
    /// SW-M4: an engine that is `joined` to the wheels, with no step under way, and gives power that the
    /// other machines do not take, while the demand is against the motion, is stopped: after four
    /// times the retry wait, and until the demand is with the motion again.
    pub(crate) fn cut(
        &mut self,
        table: &Table,
        joined: bool,
        reading: &Reading,
        orders: &mut Orders,
    ) {
        let powers = reading.powers();
        let opposes = joined && powers.is_some_and(|powers| powers.oppose());
        self.ticks = if opposes { self.ticks.saturating_add(1) } else { 0 };
        self.stops = match reading.asked_w() {
            Some(asked_w) if asked_w > 0.0 => false,
            _ => self.stops || self.ticks > table.timing.retry_wait.saturating_mul(4),
        };
        // SW-M4
        orders.engine_run = orders.engine_run && !self.stops;
    }
}
