//! A machine that drives its shaft away from the speed it is to bring it to gets no more torque.
//!
//! Whatever is wrong (the sign of its torque, its position sensor, a speed that lies), it would
//! drive the shaft to its limits; and there the last gate could only watch it.

use crate::bits::MAX_MACHINES;
use crate::io::MachineOrder;
use crate::observe::Reading;
use crate::status::Phase;
use crate::table::{StepDuty, Table};

#[cfg(test)]
mod tests;

/// What is remembered of a shaft that goes the wrong way.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub(crate) struct Stray {
    /// Ticks in which it went the wrong way.
    ticks: u16,
    /// Ticks for which the torque stays cut.
    left: u16,
}

impl Stray {
    /// SW-M2: no torque from a machine that synchronises and drives its shaft away from the target,
    /// until the step is over or the retry wait is.
    pub(crate) fn cut(
        &mut self,
        table: &Table,
        phase: Phase,
        reading: &Reading,
        orders: &mut [MachineOrder; MAX_MACHINES],
    ) {
        let step = match phase {
            Phase::Prepare { step, .. } => table.step(step),
            _ => None,
        };
        let mut syncs = step.into_iter().flat_map(|step| step.duties.iter().zip(0..));
        let machine = syncs.find(|(duty, _)| **duty == StepDuty::Sync).map(|(_, i)| i);
        let (Some(step), Some(machine)) = (step, machine) else {
            *self = Stray::default();
            return;
        };
        let Some(order) = orders.get_mut(usize::from(machine)) else { return };
        let rate_max = table.locks.get(step.lock as usize).map(|lock| lock.rate_max);
        self.ticks = match (*order, rate_max) {
            (MachineOrder::HoldSpeed { target_radps }, Some(rate_max))
                if reading.goes_away(machine, target_radps, rate_max) =>
            {
                self.ticks.saturating_add(1)
            }
            _ => 0,
        };
        // Torque from before has gone, and what was asked for has come, after the reaction time.
        if self.ticks > table.timing.react.saturating_mul(2) {
            *self = Stray { ticks: 0, left: table.timing.retry_wait };
        }
        if self.left > 0 {
            self.left = self.left.saturating_sub(1);
            // SW-M2
            *order = MachineOrder::Off;
        }
    }
}
