//! Whether a shaft moves away from where it is to be brought.

use crate::table::Step;

use super::{Reading, row_times};

impl Reading<'_> {
    /// Whether a machine's shaft moves away from where a step is to bring it, rad/s, while that does not
    /// move along: both faster than a `share` of what the lock bears; not when that is not known.
    pub(crate) fn goes_away(
        &self,
        step: &Step,
        machine: u8,
        target_radps: f32,
        share: f32,
    ) -> bool {
        let rest = self.table.rests.get(machine as usize);
        let (Some(rest), Some(radps)) = (rest, self.machine_radps(machine)) else { return false };
        let Some(lock) = self.table.locks.get(step.lock as usize) else { return false };
        let known = self.change_known.contains(rest.sensors.or(step.sensors));
        let change = row_times(&rest.row, &self.change);
        // A target at the end of its range stays there.
        let moves = target_radps > step.target_min && target_radps < step.target_max;
        let along = if moves { row_times(&step.target_row, &self.change) } else { 0.0 };
        let least = share * lock.rate_max * self.age_share;
        let (now, soon) = (radps - target_radps, change - along);
        let grows = (now > 0.0 && soon > least && change > least)
            || (now < 0.0 && soon < -least && change < -least);
        known && grows
    }
}
