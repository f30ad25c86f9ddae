//! Whether a shaft moves to where it is to be brought, or away from there.

use crate::table::{Lock, Step};

use super::{Reading, row_times};

/// How a machine's shaft moves towards where a step is to bring it.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(crate) struct Course {
    /// How far beyond the target it is, rad/s.
    now: f32,
    /// How that changes, and its own speed, over the table's rate distance.
    soon: f32,
    change: f32,
    /// What the lock bears of such a change.
    bears: f32,
}

impl Course {
    /// Whether it moves away from the target, and that does not merely move along: both faster than a `share` of
    /// what the lock bears.
    pub(crate) fn goes_away(self, share: f32) -> bool {
        let least = share * self.bears;
        (self.now > 0.0 && self.soon > least && self.change > least)
            || (self.now < 0.0 && self.soon < -least && self.change < -least)
    }

    /// Whether it comes nearer faster than a `share` of what the lock bears.
    pub(crate) fn comes_nearer(self, share: f32) -> bool {
        let least = share * self.bears;
        (self.now > 0.0 && self.soon < -least) || (self.now < 0.0 && self.soon > least)
    }
}

impl Reading<'_> {
    /// How a machine's shaft moves towards a target, rad/s; `None` when that is not known.
    pub(crate) fn course(&self, step: &Step, machine: u8, target_radps: f32) -> Option<Course> {
        let rest = self.table.rests.get(machine as usize)?;
        let now = self.machine_radps(machine)? - target_radps;
        let lock: &Lock = self.table.locks.get(step.lock as usize)?;
        if !self.change_known.contains(rest.sensors.or(step.sensors)) {
            return None;
        }
        let change = row_times(&rest.row, &self.change);
        // A target at the end of its range stays there.
        let moves = target_radps > step.target_min && target_radps < step.target_max;
        let along = if moves { row_times(&step.target_row, &self.change) } else { 0.0 };
        Some(Course { now, soon: change - along, change, bears: lock.rate_max * self.age_share })
    }

    /// Whether a lock's slip is known and within its limit.
    pub(crate) fn is_near(&self, lock: u8) -> bool {
        let data = self.table.locks.get(usize::from(lock));
        self.slip_radps(lock).zip(data).is_some_and(|(slip, data)| slip <= data.slip_max)
    }

    /// Whether the wheels turn, or change their speed, against what is asked for; not when that is not known.
    pub(crate) fn wheels_go_against(&self) -> bool {
        let known = self.change_known.contains(self.table.output_sensors);
        let change = row_times(&self.table.output_row, &self.change);
        let against = |radps: f32| radps * self.inputs.demand_nm < 0.0;
        known && (against(change) || self.output_radps().is_some_and(against))
    }
}
