//! Who asks in a run and what the driver is shown: the requests of the setup or a schedule's, and
//! the speed limit of the locks.

use supervisor::schedule::{Chooser, Schedule};
use supervisor::status::Status;
use supervisor::table::{Table, Window};

use super::Run;

/// How fast a driver goes on who is told that a shaft is about to pass its limits, of the speed then
/// (an invented round value).
const RACING_SHARE: f64 = 0.97;

/// Speeds of the output within which the arrangement that stands may be driven, rad/s.
pub(super) fn window_that_stands(table: &Table, status: &Status) -> Option<Window> {
    status.arrangement.and_then(|a| table.arrangements.get(usize::from(a))).map(|a| a.window)
}

impl<'a> Run<'a> {
    /// With a schedule that asks, by the measured speed of the output and the driver's demand,
    /// instead of the setup's requests.
    #[must_use = "the run as it was is gone"]
    pub fn asked_by(mut self, schedule: Schedule<'a>) -> Run<'a> {
        self.schedule = Some((schedule, Chooser::default()));
        self
    }

    /// Speed of the output as the schedule sees it: measured where a sensor sits on that shaft.
    fn output_radps(&self) -> f32 {
        let d = self.prepared.driveline;
        let sensor = d.sensors.iter().position(|s| s.shaft == d.output.shaft);
        let sensed = self.state.sensed_speeds();
        match sensor.and_then(|s| sensed.get(s)) {
            Some(speed) if speed.valid => speed.radps,
            Some(_) => f32::NAN,
            None => self.state.speeds_radps()[d.output.shaft] as f32,
        }
    }

    /// How fast the vehicle may go, m/s: a driver sees that limit. It is that of the arrangement
    /// that stands; between two, the last one goes on, and no shaft may pass its limits with the
    /// locks that are closed now. With each lock that is stated not to open, or whose switch contradicts
    /// the speeds, no shaft may pass them either: it may be pressed.
    pub(super) fn keep_speed_limit(&mut self) {
        let prepared = &self.prepared;
        let status = &self.output.status;
        let held = status.held;
        let doubtful = status.faults.stuck_closed.or(status.faults.switch).without(held);
        let alone = doubtful.is_empty() && status.faults.racing.is_empty();
        if alone && status.arrangement.is_some() && status.arrangement == self.limited_by {
            self.braked_to_mps = f64::INFINITY;
            return;
        }
        self.limited_by = None;
        if let Some(window) = window_that_stands(&self.table, status) {
            let [min, max] = [window.min, window.max]
                .map(|radps| f64::from(radps) * prepared.model.metres_per_radian());
            self.driver.limit(min.min(max), min.max(max));
            self.limited_by = status.arrangement.filter(|_| alone);
        } else if let Some([low, high]) = prepared.road_speeds(status.held.0) {
            self.driver.limit_further(low, high);
        }
        for lock in doubtful.iter() {
            if let Some([low, high]) = prepared.road_speeds(held.with(lock, true).0) {
                self.driver.limit_further(low, high);
            }
        }
        // Without torque the slope may carry a shaft over its limits: who is told so brakes.
        if status.faults.racing.is_empty() {
            self.braked_to_mps = f64::INFINITY;
        } else {
            let now_mps = self.state.road_speed_mps(&self.prepared.model).abs();
            self.braked_to_mps = self.braked_to_mps.min(RACING_SHARE * now_mps);
            self.driver.limit_further(-self.braked_to_mps, self.braked_to_mps);
        }
    }

    /// The request at `t_s`; times only rise.
    pub(super) fn request(&mut self, t_s: f64) -> Option<u8> {
        if self.schedule.is_some() {
            return self.request_of_schedule();
        }
        let list = &self.setup.requests;
        while list.get(self.requests).is_some_and(|r| r.0 <= t_s) {
            self.requests += 1;
        }
        let last = self.requests.checked_sub(1).and_then(|i| list.get(i));
        last.and_then(|r| u8::try_from(r.1).ok())
    }

    fn request_of_schedule(&mut self) -> Option<u8> {
        let (speed, demand) = (self.output_radps(), self.now.pedals.demand_nm as f32);
        let status = &self.output.status;
        let waits = status.goal.is_some() && status.goal != status.arrangement;
        let under_way = waits && status.refusal.is_none();
        let (schedule, chooser) = self.schedule.as_mut()?;
        chooser.tick(schedule, speed, demand, under_way)
    }
}
