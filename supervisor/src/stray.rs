//! A machine that drives its shaft away from the speed it is to bring it to, or drives the wheels in its place, gets
//! no more torque.
//!
//! Whatever is wrong (the sign of its torque, its position sensor, a speed that lies), it would
//! drive the shaft to its limits; and there the last gate could only watch it. And where an open lock drags, gears
//! bring to the wheels what does not bring the shaft to its speed.

use crate::bits::MAX_MACHINES;
use crate::io::MachineOrder;
use crate::observe::{Course, Reading};
use crate::status::Phase;
use crate::table::{Step, StepDuty, Table};

#[cfg(test)]
mod tests;

/// A shaft goes away when it does so faster than this share of the change at which the lock may
/// still be closed. Noise is faster, but never for long in one direction.
const AWAY_SHARE: f32 = 0.25;
/// It comes nearer when it does so faster than this share of it.
const NEARER_SHARE: f32 = 0.0625;
/// So many ticks of not coming nearer one of coming nearer makes up for: coarse sensors show either.
const MAKES_UP: u16 = 8;
/// The torque stays cut for so many times the retry wait at most.
const WAITS_MAX: u16 = 64;

/// What is remembered of a shaft that goes the wrong way.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub(crate) struct Stray {
    /// Ticks in which it went the wrong way.
    ticks: u16,
    /// Ticks in which it came no nearer while the wheels went the wrong way.
    idle: u16,
    /// Ticks for which the torque stays cut.
    left: u16,
    /// For how many retry waits it was cut last.
    waits: u16,
}

impl Stray {
    /// SW-M2: no torque from a machine that synchronises and drives its shaft away from the target, or does not bring
    /// it nearer for four retry waits while the wheels turn, or change their speed, against what is asked,
    /// until the step is over or the retry wait is. When it does so again the wait is twice as long,
    /// until a machine has brought its shaft to where a lock may close.
    pub(crate) fn cut(
        &mut self,
        table: &Table,
        phase: Phase,
        reading: &Reading,
        orders: &mut [MachineOrder; MAX_MACHINES],
    ) {
        self.left = self.left.saturating_sub(1);
        let (step, arrived) = match phase {
            Phase::Prepare { step, .. } => (table.step(step), false),
            Phase::Closing { step } => (table.step(step), true),
            _ => (None, false),
        };
        let mut syncs = step.into_iter().flat_map(|step| step.duties.iter().zip(0..));
        let machine = syncs.find(|(duty, _)| **duty == StepDuty::Sync).map(|(_, i)| i);
        let (Some(step), Some(machine)) = (step, machine) else {
            (self.ticks, self.idle) = (0, 0);
            return;
        };
        if arrived {
            *self = Stray::default();
            return;
        }
        let Some(order) = orders.get_mut(usize::from(machine)) else { return };
        let course = match *order {
            MachineOrder::HoldSpeed { target_radps } if self.left == 0 => {
                reading.course(step, machine, target_radps)
            }
            _ => None,
        };
        self.count(reading, step, course);
        // Torque from before has gone, and what was asked for has come, after the reaction time.
        let away = self.ticks > table.timing.react.saturating_mul(2);
        if away || self.idle > table.timing.retry_wait.saturating_mul(4) {
            let waits = self.waits.saturating_mul(2).clamp(1, WAITS_MAX);
            let left = table.timing.retry_wait.saturating_mul(waits);
            *self = Stray { ticks: 0, idle: 0, left, waits };
        }
        if self.left > 0 {
            // SW-M2
            *order = MachineOrder::Off;
        }
    }

    #[inline(never)]
    fn count(&mut self, reading: &Reading, step: &Step, course: Option<Course>) {
        let away = course.is_some_and(|course| course.goes_away(AWAY_SHARE));
        self.ticks = if away { self.ticks.saturating_add(1) } else { 0 };
        let idle = course.is_some_and(|course| !course.comes_nearer(NEARER_SHARE))
            && !reading.is_near(step.lock)
            && reading.wheels_go_against();
        self.idle =
            if idle { self.idle.saturating_add(1) } else { self.idle.saturating_sub(MAKES_UP) };
    }
}
