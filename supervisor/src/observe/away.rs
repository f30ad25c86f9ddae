//! Whether a shaft moves to where it is to be brought, or away from there.

use crate::table::{Lock, Step};

use super::{Reading, magnitude, row_times};

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

/// A demand below this asks for nothing, Nm at the output (an invented round value).
const NOTHING_NM: f32 = 1.0;
/// Up to this share of what a standing vehicle's sensors can show it stands.
const STANDS: f32 = 0.5;
/// Up to so many times what a standing vehicle's sensors can show it has only just moved off.
const ROLLS: f32 = 8.0;

/// Brakes may slow the wheels of a vehicle on a good road faster than machines should; beyond so many times that
/// they do not hold the road.
const SLIDES: f32 = 2.0;

/// What the wheels do while nothing is asked for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Wheels {
    /// Something is asked for, or nobody knows whether it is.
    Asked,
    /// Their speed is not known, or it tells neither that they stand nor that they move.
    Unknown,
    /// Much slower than the sensors of a standing vehicle can say.
    Stand,
    /// A little faster than that.
    Creep,
    /// Much faster than that.
    Roll,
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

    /// What the wheels do while nothing is asked for.
    pub(crate) fn wheels(&self) -> Wheels {
        let nothing = magnitude(self.inputs.demand_nm) <= NOTHING_NM;
        if !nothing {
            return Wheels::Asked;
        }
        // What tyres and errors of sensors can change within the rate distance is more than errors alone.
        let moves = self.table.output_rate_max;
        match self.output_radps().map(magnitude) {
            Some(radps) if radps <= STANDS * moves => Wheels::Stand,
            Some(radps) if radps > ROLLS * moves => Wheels::Roll,
            Some(radps) if radps > moves => Wheels::Creep,
            _ => Wheels::Unknown,
        }
    }

    /// Whether the wheels change their speed much faster than tyres that grip let them; not when that is not known.
    pub(crate) fn wheels_slip(&self) -> bool {
        let known = self.change_known.contains(self.table.output_sensors);
        let change = magnitude(row_times(&self.table.output_row, &self.change));
        known && change > SLIDES * self.table.output_rate_max * self.age_share
    }
}
