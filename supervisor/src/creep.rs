//! A vehicle that stood and moves off although nothing is asked for gets no torque.
//!
//! A torque that is not what was ordered, and is reported as if it were, shows in nothing but the motion that it
//! makes. Out of standstill with nothing asked for no motion is wanted, so that this one needs no other sign.

use crate::observe::Wheels;
use crate::table::Table;

#[cfg(test)]
mod tests;

/// It must have stood for the retry wait, in ticks, but for no more than this.
const STOOD_MAX: u8 = 100;
/// From here on it moves off, and the engine has gained speed for one tick less than what is more.
const MOVES_OFF: u8 = STOOD_MAX + 1;

/// What is remembered of a vehicle that stands or moves off.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub(crate) struct Creep {
    /// Ticks for which it has stood with nothing asked for, or [`MOVES_OFF`] and more.
    ticks: u8,
}

impl Creep {
    /// See whether a vehicle that stood, with nothing asked for, moves off: from when its wheels turn faster than the
    /// sensors of a standing one can say, until something is asked for or it rolls so fast that no machine without torque can be
    /// what makes it. Meanwhile an engine that `gains` speed is counted.
    pub(crate) fn look(&mut self, table: &Table, wheels: Wheels, gains: impl FnOnce() -> bool) {
        let stood = table.timing.retry_wait.min(u16::from(STOOD_MAX));
        self.ticks = match (wheels, self.ticks) {
            (Wheels::Asked | Wheels::Roll, _) => 0,
            (_, ticks) if ticks >= MOVES_OFF => {
                if gains() {
                    ticks.saturating_add(1)
                } else {
                    MOVES_OFF
                }
            }
            (Wheels::Stand, ticks) => ticks.saturating_add(1).min(STOOD_MAX),
            (Wheels::Creep, ticks) if u16::from(ticks) >= stood => MOVES_OFF,
            (Wheels::Creep, _) => 0,
            (Wheels::Unknown, ticks) => ticks,
        };
    }

    /// Whether the vehicle moves off.
    pub(crate) const fn moves_off(self) -> bool {
        self.ticks >= MOVES_OFF
    }

    /// Whether the engine has gained speed meanwhile for longer than torque that was cut takes to go.
    pub(crate) fn is_driven_by_engine(self, table: &Table) -> bool {
        let ticks = u16::from(self.ticks.saturating_sub(MOVES_OFF));
        ticks >= table.timing.retry_wait.min(u16::from(STOOD_MAX))
    }
}
