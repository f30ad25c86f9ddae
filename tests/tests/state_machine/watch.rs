//! What may be true and what may be stated, tick by tick, as far as the model knows.

use host_sim::checkers::TickTruth;
use host_sim::drive::record::TickRecord;
use supervisor::io::LockOrder;

use super::model::{Bench, Broken, Model, RPM, Rig};

/// Share of a shaft's highest speed below which it cannot be said to race.
const NEAR_SHARE: f64 = 0.85;

/// Faster than this brakes may slow wheels so that they count as not holding the road, m/s2 (SW-M6); as long
/// after that is said, s.
const HARD: (f64, f64) = (6.0, 0.4);
/// Slower than this a vehicle that is asked for nothing may count as moving off, m/s (SW-M5).
const SLOW_MPS: f64 = 0.6;

/// What was seen so far, and the first thing that may not be.
#[derive(Default)]
pub(crate) struct Watch {
    /// When each lock was last pressed by a fault, s.
    pressed_s: [Option<f64>; 8],
    /// Since when each lock is ordered open and nothing presses it, s.
    let_go_since_s: [Option<f64>; 8],
    reset_s: Option<f64>,
    /// When something was last broken, s.
    broken_s: Option<f64>,
    wrong_since_s: Option<f64>,
    /// Since when an answer is missing, s.
    pub(crate) waits_since_s: Option<f64>,
    request: Option<u8>,
    engaged_before: u8,
    /// Road speed in the tick before, m/s, and when it last changed fast, s.
    road_before_mps: Option<f64>,
    hard_s: Option<f64>,
    pub(crate) wrong: Option<String>,
}

impl Watch {
    pub(crate) fn see<B: Bench>(&mut self, model: &Model<B>, record: &TickRecord) {
        let (rig, truth) = (B::rig(), &record.truth);
        let t_s = truth.t_s;
        if model.broken.is_some() {
            self.broken_s = Some(t_s);
        }
        if let Some(i) = model.broken.and_then(Broken::presses) {
            self.pressed_s[i] = Some(t_s);
        }
        if truth.reset {
            self.reset_s = Some(t_s);
        }
        let mut wrong = self.holds(rig, truth).or_else(|| self.closes(rig, truth));
        wrong = wrong.or_else(|| self.opens(rig, truth));
        wrong = wrong.or_else(|| self.states(model, truth));
        let change = self.road_before_mps.map_or(0.0, |before| record.road_mps - before);
        if change.abs() > HARD.0 * truth.dt_s {
            self.hard_s = Some(t_s);
        }
        self.road_before_mps = Some(record.road_mps);
        wrong = wrong.or_else(|| self.blames(model, record));
        wrong = wrong.or_else(|| self.answers(model, truth));
        self.engaged_before = truth.engaged_set();
        if self.wrong.is_none() {
            self.wrong = wrong.map(|what| format!("at {t_s:.3} s: {what}"));
        }
    }

    /// A lock set that holds what turns is never closed, but by what a fault presses.
    fn holds(&self, rig: &Rig, truth: &TickTruth) -> Option<String> {
        let set = truth.engaged_set();
        let pressed =
            |i: &usize| set >> i & 1 == 1 && recent(self.pressed_s[*i], truth.t_s, rig.let_go_s);
        if (0..8).any(|i| pressed(&i)) {
            return None;
        }
        let turns = |s: &&usize| truth.speed_radps[**s].abs() > rig.rest_radps;
        if let Some(s) = rig.forbidden[usize::from(set)].iter().find(turns) {
            return Some(format!("forbidden lock set {set:03b} while shaft {s} turns"));
        }
        // After a reset locks may be on their way out.
        if recent(self.reset_s, truth.t_s, rig.let_go_s) {
            return None;
        }
        let held = rig.overlaps[usize::from(set)].iter().find(turns);
        held.map(|s| format!("lock set {set:03b} while the machine on shaft {s} turns"))
    }

    /// A lock closes only at small slip, unless a fault closes it.
    fn closes(&self, rig: &Rig, truth: &TickTruth) -> Option<String> {
        let d = rig.world.driveline();
        let locks = d.locks.iter().zip(&truth.locks).enumerate();
        let mut wrong = locks.filter_map(|(i, (data, lock))| {
            let slip = lock.closed_at_radps?.abs() / RPM;
            let most = data.engage_slip_max_rpm?;
            let pressed = recent(self.pressed_s[i], truth.t_s, 0.0);
            (slip > most && !pressed)
                .then(|| format!("{} closed at {slip:.1} rpm of slip", data.name))
        });
        wrong.next()
    }

    /// A lock that is ordered open and that nothing presses is open in time, or its fault stated.
    fn opens(&mut self, rig: &Rig, truth: &TickTruth) -> Option<String> {
        let d = rig.world.driveline();
        for (i, lock) in truth.locks.iter().enumerate().take(d.locks.len()) {
            let free = lock.order != LockOrder::Close
                && !recent(self.pressed_s[i], truth.t_s, 0.0)
                && truth.stated_locks >> i & 1 == 0;
            let since = self.let_go_since_s[i].filter(|_| free && lock.engaged);
            self.let_go_since_s[i] = (free && lock.engaged).then(|| since.unwrap_or(truth.t_s));
            if since.is_some_and(|since| truth.t_s - since > rig.let_go_s) {
                return Some(format!("{} was ordered open and holds", d.locks[i].name));
            }
        }
        None
    }

    /// What is stated is true.
    fn states<B: Bench>(&mut self, model: &Model<B>, truth: &TickTruth) -> Option<String> {
        let rig = B::rig();
        let stated = truth.stated_reached.map(|a| rig.closed[usize::from(a)]);
        // What a fault presses shows when its sides turn as one; while it slips nobody can tell.
        let shows =
            |i: &usize| truth.locks[*i].sticking || !recent(self.pressed_s[*i], truth.t_s, 0.0);
        let hidden = (0..8).filter(|i| !shows(i)).fold(0u8, |set, i| set | 1 << i);
        let differs = stated.is_some_and(|set| (set ^ truth.engaged_set()) & !hidden != 0);
        let since = self.wrong_since_s.filter(|_| differs);
        self.wrong_since_s = differs.then(|| since.unwrap_or(truth.t_s));
        let lasts_s = since.map_or(0.0, |since| truth.t_s - since);
        // Where nothing ever broke, what is stated is true at once.
        let allowed_s = if model.ever.is_empty() { 0.0 } else { rig.reaction_s };
        if differs && lasts_s >= allowed_s {
            return Some(format!(
                "lock set {:03b} is stated and {:03b} is true",
                stated.unwrap_or(0),
                truth.engaged_set()
            ));
        }
        None
    }

    /// Each request is answered within its bound; a reset asks anew.
    fn answers<B: Bench>(&mut self, model: &Model<B>, truth: &TickTruth) -> Option<String> {
        if truth.request.map(usize::from) != Some(model.asked) {
            return Some(format!("{} is asked and {:?} told", model.asked, truth.request));
        }
        if truth.reset || truth.request != self.request {
            self.request = truth.request;
            self.waits_since_s = Some(truth.t_s);
        }
        if truth.stated_reached == truth.request || truth.stated_refusal {
            self.waits_since_s = None;
        }
        let late = self.waits_since_s.is_some_and(|s| truth.t_s - s > B::rig().answer_s);
        late.then(|| "no answer within the bound".to_string())
    }

    /// Nothing is blamed while nothing ever broke; that a shaft races is said only near its limits, and of the wheels
    /// while brakes slow them hard, or a vehicle that is asked for nothing hardly moves.
    fn blames<B: Bench>(&self, model: &Model<B>, record: &TickRecord) -> Option<String> {
        if !model.ever.is_empty() {
            return None;
        }
        let (truth, faults) = (&record.truth, &record.status.faults);
        if (truth.stated_locks, faults.sensors.0) != (0, 0) {
            return Some(format!(
                "nothing ever broke, and locks {:03b}, sensors {:b} are blamed",
                truth.stated_locks, faults.sensors.0
            ));
        }
        let shafts = &B::rig().world.driveline().shafts;
        let near = shafts.iter().zip(&truth.speed_radps).any(|(shaft, radps)| {
            shaft.max_rpm.is_some_and(|most| radps.abs() / RPM > NEAR_SHARE * most)
        });
        let d = B::rig().world.driveline();
        let of_wheels = |i: u8| d.sensors[usize::from(i)].shaft == d.output.shaft;
        let others = faults.racing.iter().any(|i| !of_wheels(i));
        let hard = self.hard_s.is_some_and(|s| truth.t_s - s < HARD.1);
        let slow = record.road_mps.abs() < SLOW_MPS && record.demand_nm.abs() <= 1.0;
        let said_wrongly = others || !(hard || slow);
        (faults.racing.0 != 0 && !near && said_wrongly)
            .then(|| "a shaft is said to race and none does".to_string())
    }
}

/// Whether something was at most `within_s` ago.
fn recent(when_s: Option<f64>, t_s: f64, within_s: f64) -> bool {
    when_s.is_some_and(|s| t_s - s <= within_s + 1e-9)
}
