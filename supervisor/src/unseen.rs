//! A machine whose speed nobody knows gives torque only where its locks are shown to hold.

use crate::bits::MAX_MACHINES;
use crate::io::MachineOrder;
use crate::observe::Reading;
use crate::table::Table;

#[cfg(test)]
mod tests;

/// SW-M3: no torque from a machine whose own speed cannot be measured now, unless the arrangement
/// that stands is `shown`. With neither its sensor nor its locks to go by, its shaft may be free, and
/// nothing would see it race. Nor is one left on that has nothing to do anyway: only its controller
/// would keep it from giving torque that nobody asked for. That one, where an arrangement stands, for any speed
/// that nobody knows: it may turn other shafts than its own; but not the engine, which runs on. A machine that
/// never had a sensor is left as it is.
pub(crate) fn cut(
    table: &Table,
    reading: &Reading,
    shown: bool,
    orders: &mut [MachineOrder; MAX_MACHINES],
) {
    if reading.bad_sensors().is_empty() {
        return;
    }
    for ((machine, rest), order) in (0u8..).zip(table.rests).zip(orders) {
        let needed = shown && !matches!(order, MachineOrder::Unload);
        let unseen = !reading.trusts(rest.sensors) || (shown && table.engine != Some(machine));
        if !needed && unseen && rest.max > 0.0 {
            // SW-M3
            *order = MachineOrder::Off;
        }
    }
}
