//! `SW-REACTION`: what goes wrong and shows is stated or ended within the fault tolerant time.

use std::sync::Arc;

use supervisor::bits::{MAX_LOCKS, MAX_SENSORS};
use supervisor::io::LockOrder;

use super::truth::lock_name;
use super::{Checker, Finding, Findings, LockSets, LockTruth, Margin, TickTruth, Worst};
use super::{ramp_ms, reaction_s, shows_radps};
use crate::driveline::{Driveline, EngineUse, Lock, LockKind};

const RULE: &str = "SW-REACTION";

/// What may be wrong with a lock and shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Wrong {
    /// Ordered closed and never came to carry torque.
    NeverClosed = 0,
    /// Held, is still ordered closed, and its sides turn apart.
    CameApart = 1,
    /// Ordered open, and holds, and its switch says so.
    HoldsOn = 2,
}

/// Longest times and the slip that shows, of one lock.
#[derive(Clone, Copy, Debug, Default)]
struct Bounds {
    /// By [`Wrong`], s.
    longest_s: [f64; 3],
    /// Slip beyond this surely shows, rad/s.
    shows_radps: f64,
    has_switch: bool,
}

/// What was seen of one lock.
#[derive(Clone, Copy, Debug, Default)]
struct Seen {
    /// For how long each has been so and was not stated, s.
    lasts_s: [f64; 3],
    worst: [Worst; 3],
}

/// Watches each lock, the sensors and the engine against what is stated.
#[derive(Clone, Debug)]
pub struct ReactionChecker {
    driveline: Arc<Driveline>,
    count: usize,
    reaction_s: f64,
    /// Arrangements that want the engine to run, a bit each.
    with_engine: u16,
    bounds: [Bounds; MAX_LOCKS],
    seen: [Seen; MAX_LOCKS],
    /// Locks that have stuck under the present order to close, a bit each.
    held: u8,
    /// Locks of which something was wrong in the last tick.
    wrong: u8,
    dropouts_s: [f64; MAX_SENSORS],
    worst_dropout: Worst,
    engine_s: f64,
    worst_engine: Worst,
    findings: Findings,
}

impl ReactionChecker {
    /// With the bounds that follow from the locks' times and the fault tolerant time.
    pub fn new(driveline: &Arc<Driveline>) -> ReactionChecker {
        let mut bounds = [Bounds::default(); MAX_LOCKS];
        for (i, bound) in bounds.iter_mut().enumerate().take(driveline.locks.len()) {
            *bound = bounds_of(driveline, i);
        }
        let on = |(i, a): (usize, &crate::driveline::Arrangement)| {
            if a.engine == EngineUse::On { 1u16 << i } else { 0 }
        };
        ReactionChecker {
            driveline: driveline.clone(),
            count: driveline.locks.len().min(MAX_LOCKS),
            reaction_s: reaction_s(driveline),
            with_engine: driveline.arrangements.iter().enumerate().map(on).sum(),
            bounds,
            seen: [Seen::default(); MAX_LOCKS],
            held: 0,
            wrong: 0,
            dropouts_s: [0.0; MAX_SENSORS],
            worst_dropout: Worst::NONE,
            engine_s: 0.0,
            worst_engine: Worst::NONE,
            findings: Findings::default(),
        }
    }

    #[cold]
    fn report_lock(&mut self, lock: usize, wrong: usize, t_s: f64) {
        let name = lock_name(&self.driveline, lock);
        let (lasted, what) = (
            self.seen[lock].lasts_s[wrong],
            match wrong {
                0 => "was ordered closed and never came to carry torque",
                1 => "was ordered closed while its sides turned apart",
                _ => "was ordered open and held on, as its switch said,",
            },
        );
        let text = format!("{name} {what} for {lasted:.2} s, and no fault of it was stated");
        self.findings.add(RULE, t_s, text);
    }

    #[inline]
    fn judge_locks(&mut self, truth: &TickTruth, sets: &LockSets) {
        // Nothing is wrong with locks that do what they are ordered to.
        if sets.ordered_closed == sets.sticking && self.wrong == 0 {
            self.held = sets.ordered_closed;
        } else {
            self.judge_each_lock(truth);
        }
    }

    #[inline(never)]
    fn judge_each_lock(&mut self, truth: &TickTruth) {
        for i in 0..self.count {
            let (lock, bounds) = (&truth.locks[i], &self.bounds[i]);
            let stated = truth.stated_locks >> i & 1 == 1;
            let lies = truth.faults.switches >> i & 1 == 1;
            let bit = 1u8 << i;
            let (held, wrong) =
                wrong_of(lock, self.held & bit != 0, bounds, (truth.faults.sensors != 0, lies));
            self.held = if held { self.held | bit } else { self.held & !bit };
            let wrong = wrong.filter(|_| !stated).map(|w| w as usize);
            if wrong.is_none() && self.wrong & bit == 0 {
                continue;
            }
            self.wrong = if wrong.is_some() { self.wrong | bit } else { self.wrong & !bit };
            let seen = &mut self.seen[i];
            for k in 0..3 {
                let before = seen.lasts_s[k];
                seen.lasts_s[k] = if wrong == Some(k) { before + truth.dt_s } else { 0.0 };
            }
            let Some(k) = wrong else { continue };
            seen.worst[k].see(seen.lasts_s[k], truth.t_s);
            if passes(seen.lasts_s[k], truth.dt_s, bounds.longest_s[k]) {
                self.report_lock(i, k, truth.t_s);
            }
        }
    }

    fn judge_sensors(&mut self, truth: &TickTruth) {
        let silent = truth.faults.dropouts & !truth.stated_sensors;
        for i in 0..MAX_SENSORS {
            let lasts = &mut self.dropouts_s[i];
            *lasts = if silent >> i & 1 == 1 { *lasts + truth.dt_s } else { 0.0 };
            self.worst_dropout.see(*lasts, truth.t_s);
            if passes(*lasts, truth.dt_s, self.reaction_s) {
                let name = self.driveline.sensors.get(i).map_or("a sensor", |s| s.name.as_str());
                let text = format!("sensor {name} had no valid value for {lasts:.2} s, unstated");
                self.findings.add(RULE, truth.t_s, text);
            }
        }
    }

    fn judge_engine(&mut self, truth: &TickTruth) {
        let wanted = truth.stated_reached.is_some_and(|a| self.with_engine >> a.min(15) & 1 == 1);
        if !wanted || truth.engine_running {
            self.engine_s = 0.0;
            return;
        }
        self.engine_s += truth.dt_s;
        self.worst_engine.see(self.engine_s, truth.t_s);
        if passes(self.engine_s, truth.dt_s, self.reaction_s) {
            let text = format!(
                "an arrangement with the engine running was stated for {:.2} s without it running",
                self.engine_s
            );
            self.findings.add(RULE, truth.t_s, text);
        }
    }
}

/// Whether a time that has just grown by `dt_s` passes its limit with that. Rounding may let it
/// tell twice, never not at all.
fn passes(lasts_s: f64, dt_s: f64, limit_s: f64) -> bool {
    lasts_s > limit_s && lasts_s - dt_s <= limit_s * (1.0 + 1e-9)
}

fn bounds_of(driveline: &Driveline, lock: usize) -> Bounds {
    let (data, t) = (&driveline.locks[lock], &driveline.timing);
    let reaction = reaction_s(driveline);
    let in_ms = data.close_ms + ramp_ms(driveline, lock) + tooth_search_ms(data);
    let closing_ms = in_ms + t.confirm_timeout_ms;
    let opening_ms = data.release_ms + t.confirm_timeout_ms;
    Bounds {
        longest_s: [closing_ms / 1e3 + reaction, reaction, opening_ms / 1e3 + reaction],
        shows_radps: shows_radps(data),
        has_switch: data.has_switch,
    }
}

/// A dog that stands tooth on tooth waits for a gap: a pitch at half the slip that is aimed at, ms.
fn tooth_search_ms(lock: &Lock) -> f64 {
    match &lock.kind {
        LockKind::Dog(dog) if dog.offset_rpm > 0.0 => {
            // 1/teeth of a turn, at half of offset_rpm / 60000 turns a millisecond.
            2.0 * 60_000.0 / (f64::from(dog.teeth) * dog.offset_rpm)
        }
        _ => 0.0,
    }
}

/// Whether a lock, which was `held` or not, is it now, and what is wrong with it in this tick and
/// shows; `blind`: a sensor has a fault, `lies`: the lock's switch has.
fn wrong_of(
    lock: &LockTruth,
    held: bool,
    bounds: &Bounds,
    (blind, lies): (bool, bool),
) -> (bool, Option<Wrong>) {
    if lock.order != LockOrder::Close {
        let shows = bounds.has_switch && !lies && lock.said_closed && !blind;
        return (false, (shows && lock.sticking).then_some(Wrong::HoldsOn));
    }
    let held = held | lock.sticking;
    if !held {
        // With a switch that lies only sides that turn apart tell it.
        let shows = !lies || lock.slip_radps.abs() > bounds.shows_radps;
        return (held, (!lock.engaged && shows).then_some(Wrong::NeverClosed));
    }
    let apart = !lock.sticking && lock.slip_radps.abs() > bounds.shows_radps;
    (held, (apart && !blind).then_some(Wrong::CameApart))
}

impl Checker for ReactionChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn look(&mut self, truth: &TickTruth, sets: &LockSets) {
        if truth.reset {
            self.seen.iter_mut().for_each(|s| s.lasts_s = [0.0; 3]);
            self.held = 0;
            self.dropouts_s = [0.0; MAX_SENSORS];
            self.engine_s = 0.0;
        }
        self.judge_locks(truth, sets);
        if truth.faults.dropouts != 0 {
            self.judge_sensors(truth);
        } else {
            self.dropouts_s = [0.0; MAX_SENSORS];
        }
        self.judge_engine(truth);
    }

    fn finish(&mut self) -> Vec<Finding> {
        self.findings.take()
    }

    fn margins(&self) -> Vec<Margin> {
        let mut margins = Vec::new();
        for i in 0..self.count {
            let name = lock_name(&self.driveline, i);
            let says = ["ordered closed, not yet in", "come apart", "held against the order"];
            for (k, says) in says.iter().enumerate() {
                let limit = self.bounds[i].longest_s[k];
                let subject = format!("{name} {says}");
                margins.extend(self.seen[i].worst[k].margin(RULE, &subject, limit, "s"));
            }
        }
        let limit = self.reaction_s;
        let sensor = self.worst_dropout.margin_if_positive(RULE, "silent sensor", limit, "s");
        let engine = self.worst_engine.margin(RULE, "engine stated and not running", limit, "s");
        margins.into_iter().chain(sensor).chain(engine).collect()
    }

    fn reset(&mut self) {
        self.seen = [Seen::default(); MAX_LOCKS];
        (self.held, self.wrong) = (0, 0);
        (self.dropouts_s, self.worst_dropout) = ([0.0; MAX_SENSORS], Worst::NONE);
        (self.engine_s, self.worst_engine) = (0.0, Worst::NONE);
        self.findings.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Locks by bits: ordered closed, sticking, engaged, said closed, turning apart.
    fn truth_of((tick, bits, faults): (usize, [u8; 5], [u8; 2])) -> TickTruth {
        let mut truth = TickTruth { t_s: tick as f64 * 1e-3, dt_s: 1e-3, ..TickTruth::default() };
        truth.faults.switches = faults[0] & faults[1];
        truth.faults.sensors = faults[0] & 1;
        truth.stated_locks = faults[1] & 4;
        for (i, lock) in truth.locks.iter_mut().enumerate().take(3) {
            let [ordered, sticking, engaged, said, apart] = bits.map(|set| set >> i & 1 == 1);
            lock.order = if ordered { LockOrder::Close } else { LockOrder::Open };
            (lock.sticking, lock.engaged, lock.said_closed) = (sticking, engaged, said);
            lock.slip_radps = if apart { 500.0 } else { 0.0 };
        }
        truth
    }

    proptest! {
        /// The second method is to look at each lock in every tick.
        #[test]
        fn locks_that_are_passed_by_have_nothing_wrong(
            ticks in prop::collection::vec((any::<[u8; 5]>(), any::<[u8; 2]>(), any::<bool>()), 1..40),
        ) {
            let text = crate::driveline::demo("shuttle").expect("an embedded demo");
            let driveline = crate::driveline::parse("shuttle", text).expect("a valid file").driveline;
            let mut passing = ReactionChecker::new(&Arc::new(driveline));
            let mut each = passing.clone();
            for (tick, (mut bits, faults, obeys)) in ticks.into_iter().enumerate() {
                // Often every lock does as it is ordered to.
                bits[1] = if obeys { bits[0] } else { bits[1] };
                let truth = truth_of((tick, bits, faults));
                passing.judge_locks(&truth, &truth.lock_sets());
                each.judge_each_lock(&truth);
                prop_assert_eq!(format!("{passing:?}"), format!("{each:?}"));
            }
        }
    }
}
