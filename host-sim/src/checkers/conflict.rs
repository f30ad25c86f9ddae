//! `SW-CONFLICT`: no forbidden lock set is truly closed while a shaft that it holds turns.

use std::sync::Arc;

use supervisor::bits::MAX_LOCKS;

use super::truth::set_text;
use super::{
    Checker, Finding, Findings, LockSets, MAX_SHAFTS, Margin, RPM, TickTruth, Worst, reaction_s,
};
use crate::driveline::{Driveline, ShaftId};
use crate::kinematics::Kinematics;

const RULE: &str = "SW-CONFLICT";

#[derive(Clone, Debug)]
struct Watched {
    locks: u8,
    holds: Vec<ShaftId>,
    reason: String,
    /// When the fault showed that completed the set, or that pressed a lock of it after the closing
    /// that completed it had begun; `None` where no fault excuses it.
    fault_s: Option<f64>,
    /// Whether the set was closed in the tick before.
    closed: bool,
    reported: bool,
    worst: Worst,
}

/// Watches every smallest forbidden lock set.
#[derive(Clone, Debug)]
pub struct ConflictChecker {
    driveline: Arc<Driveline>,
    rest_radps: f64,
    reaction_s: f64,
    /// Lock sets in which any watched one is closed, one bit a set.
    concerned: [u64; 4],
    watched: Vec<Watched>,
    engaged_before: u8,
    speed_before: [f64; MAX_SHAFTS],
    onsets: Onsets,
    findings: Findings,
}

/// Since when each lock is ordered closed, and pressed by a fault against its order.
#[derive(Clone, Copy, Debug, Default)]
struct Onsets {
    ordered_s: [Option<f64>; MAX_LOCKS],
    pressed_s: [Option<f64>; MAX_LOCKS],
    /// The locks for which these are not `None`.
    ordered: u8,
    pressed: u8,
}

impl Onsets {
    fn see(&mut self, t_s: f64, sets: &LockSets) {
        if sets.ordered_closed != self.ordered {
            note(&mut self.ordered_s, &mut self.ordered, sets.ordered_closed, t_s);
        }
        if sets.pressed != self.pressed {
            note(&mut self.pressed_s, &mut self.pressed, sets.pressed, t_s);
        }
    }

    /// Since when a fault shows that excuses `closers`, which complete a set of `locks`: it presses a
    /// lock of the set, and those of the closers that it does not press had been ordered by then.
    fn excuse_s(&self, locks: u8, closers: u8) -> Option<f64> {
        let of = |set: u8| (0..MAX_LOCKS).filter(move |i| set >> i & 1 == 1);
        let ours = |i: &usize| self.pressed_s[*i].is_none();
        let began_s = |i: usize| self.ordered_s[i].unwrap_or(f64::INFINITY);
        let last_s = of(closers).filter(ours).map(began_s).fold(f64::NEG_INFINITY, f64::max);
        let shown_s = of(locks).filter_map(|i| self.pressed_s[i]);
        shown_s.filter(|&s| s >= last_s).min_by(f64::total_cmp)
    }
}

/// Those of `now` have been so since `t_s`, or since before where they were so `before`.
fn note(since_s: &mut [Option<f64>; MAX_LOCKS], before: &mut u8, now: u8, t_s: f64) {
    for (i, slot) in since_s.iter_mut().enumerate() {
        *slot = if now >> i & 1 == 1 { slot.or(Some(t_s)) } else { None };
    }
    *before = now;
}

impl ConflictChecker {
    /// For the conflicts that the kinematics derives.
    pub fn new(driveline: &Arc<Driveline>, kinematics: &Kinematics) -> ConflictChecker {
        let watched: Vec<Watched> = kinematics
            .conflicts
            .iter()
            .filter(|c| c.locks != 0)
            .map(|c| Watched {
                locks: c.locks,
                holds: c.holds.clone(),
                reason: c.reason.clone(),
                fault_s: None,
                closed: false,
                reported: false,
                worst: Worst::default(),
            })
            .collect();
        let mut concerned = [0u64; 4];
        for set in 0..=u8::MAX {
            if watched.iter().any(|w| w.locks & !set == 0) {
                concerned[usize::from(set >> 6)] |= 1 << (set & 63);
            }
        }
        ConflictChecker {
            driveline: driveline.clone(),
            rest_radps: driveline.timing.rest_rpm * RPM,
            reaction_s: reaction_s(driveline),
            concerned,
            watched,
            engaged_before: 0,
            speed_before: [0.0; MAX_SHAFTS],
            onsets: Onsets::default(),
            findings: Findings::default(),
        }
    }

    /// One tick in which a watched set is closed, or was in the tick before.
    #[inline(never)]
    fn judge(&mut self, truth: &TickTruth, engaged: u8, fresh: u8) {
        let rest = self.rest_radps;
        for watched in &mut self.watched {
            if watched.locks & !engaged != 0 {
                (watched.fault_s, watched.closed) = (None, false);
                watched.reported = false;
                continue;
            }
            // A lock that a fault closes against its order cannot be kept out, and nobody can know
            // of it when a closing begins before the fault shows; the others of the conflict must
            // then be let go within the reaction time.
            let at_onset = !watched.closed;
            watched.closed = true;
            if at_onset {
                watched.fault_s = self.onsets.excuse_s(watched.locks, fresh & watched.locks);
            }
            // Dogs stop a shaft within the tick: at the onset the speed before counts too.
            let speed_of = |s: ShaftId| {
                let (now, before) = (truth.speed_radps[s], self.speed_before[s]);
                if at_onset && before.abs() > now.abs() { before } else { now }
            };
            let fastest = watched
                .holds
                .iter()
                .map(|&s| (s, speed_of(s)))
                .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
            let Some((shaft, speed)) = fastest else { continue };
            watched.worst.see(speed.abs() / RPM, truth.t_s);
            let excused = watched.fault_s.is_some_and(|s| truth.t_s - s <= self.reaction_s);
            if speed.abs() > rest && !excused && !watched.reported {
                watched.reported = true;
                let text = format!(
                    "{} closed together while {} turns at {:.0} rpm: {}",
                    set_text(&self.driveline, watched.locks),
                    self.driveline.shafts[shaft].name,
                    speed / RPM,
                    watched.reason,
                );
                self.findings.add(RULE, truth.t_s, text);
            }
        }
    }
}

impl Checker for ConflictChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn look(&mut self, truth: &TickTruth, sets: &LockSets) {
        let engaged = sets.engaged;
        self.onsets.see(truth.t_s, sets);
        let fresh = engaged & !self.engaged_before;
        // What is closed now and what was decide alike while nothing of it is watched.
        let concerns = |set: u8| self.concerned[usize::from(set >> 6)] >> (set & 63) & 1 == 1;
        let calm = !concerns(engaged) && !concerns(self.engaged_before);
        self.engaged_before = engaged;
        if !calm {
            self.judge(truth, engaged, fresh);
        }
        self.speed_before = truth.speed_radps;
    }

    fn finish(&mut self) -> Vec<Finding> {
        self.findings.take()
    }

    fn margins(&self) -> Vec<Margin> {
        let limit = self.driveline.timing.rest_rpm;
        let margin =
            |w: &Watched| w.worst.margin(RULE, &set_text(&self.driveline, w.locks), limit, "rpm");
        self.watched.iter().filter_map(margin).collect()
    }

    fn reset(&mut self) {
        for w in &mut self.watched {
            (w.fault_s, w.closed) = (None, false);
            (w.reported, w.worst) = (false, Worst::default());
        }
        self.engaged_before = 0;
        self.speed_before = [0.0; MAX_SHAFTS];
        self.onsets = Onsets::default();
        self.findings.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// The second method is to look at each lock in every tick.
        #[test]
        fn onsets_are_those_of_a_look_in_every_tick(
            ticks in prop::collection::vec(any::<[u8; 2]>(), 1..40),
            lasts in 1..4usize,
        ) {
            let mut onsets = Onsets::default();
            let mut looked = [[None::<f64>; MAX_LOCKS]; 2];
            for (tick, sets) in ticks.iter().flat_map(|sets| vec![sets; lasts]).enumerate() {
                let t_s = tick as f64 * 1e-3;
                let now = LockSets { ordered_closed: sets[0], pressed: sets[1], ..LockSets::default() };
                onsets.see(t_s, &now);
                for (since_s, set) in looked.iter_mut().zip(sets) {
                    for (i, slot) in since_s.iter_mut().enumerate() {
                        *slot = if set >> i & 1 == 1 { slot.or(Some(t_s)) } else { None };
                    }
                }
                prop_assert_eq!([onsets.ordered_s, onsets.pressed_s], looked);
            }
        }
    }
}
