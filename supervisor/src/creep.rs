//! A vehicle that stood and moves off although nothing is asked for gets no torque.
//!
//! A torque that is not what was ordered, and is reported as if it were, shows in nothing but the motion that it
//! makes. Out of standstill with nothing asked for no motion is wanted, so that this one needs no other sign.

use crate::observe::Wheels;
use crate::table::Table;

#[cfg(test)]
mod tests;

/// The machines stay off for so many times the retry wait at most: what pushed the vehicle has let it come to rest by
/// then, or it is the slope.
const LASTS: u16 = 16;

/// What is remembered of a vehicle that stands or moves off.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub(crate) struct Creep {
    /// Ticks for which it has stood with nothing asked for, up to the retry wait; and what is more, ticks for which it
    /// has moved off.
    ticks: u16,
}

impl Creep {
    /// Whether a vehicle that stood, with nothing asked for, moves off: from when its wheels turn faster than the
    /// sensors of a standing one can say, until something is asked for, it rolls so fast that no machine without torque can be
    /// what makes it, or that has lasted long.
    pub(crate) fn look(&mut self, table: &Table, wheels: Wheels) -> bool {
        let stood = table.timing.retry_wait;
        let longest = stood.saturating_mul(LASTS);
        self.ticks = match (wheels, self.ticks) {
            (Wheels::Asked | Wheels::Roll, _) => 0,
            (_, ticks) if ticks >= longest => 0,
            (_, ticks) if ticks > stood => ticks.saturating_add(1),
            (Wheels::Stand, ticks) => ticks.saturating_add(1).min(stood),
            (Wheels::Creep, ticks) if ticks == stood => ticks.saturating_add(1),
            (Wheels::Creep, _) => 0,
            (Wheels::Unknown, ticks) => ticks,
        };
        self.ticks > stood
    }
}
