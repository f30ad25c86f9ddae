//! `SW-OVERLAP`: a lock set that holds a machine is closed only at rest, for a bounded
//! time, and never with the engine joined.

use std::sync::Arc;

use super::truth::set_text;
use super::{
    Checker, Finding, Findings, LockSets, MAX_SHAFTS, Margin, RPM, TickTruth, Worst, ramp_ms,
    reaction_s,
};
use crate::driveline::{Driveline, Lock, ShaftId};
use crate::kinematics::Kinematics;

const RULE: &str = "SW-OVERLAP";

#[derive(Clone, Debug)]
struct Watched {
    locks: u8,
    limit_s: f64,
    shafts: Vec<ShaftId>,
    reason: String,
    since_s: Option<f64>,
    excused_since_s: Option<f64>,
    /// Since when the held machine turns while a fault pushes some shaft.
    pushed_since_s: Option<f64>,
    /// All of its locks were ordered closed at once.
    stood: bool,
    /// They were, and one was told to open since.
    ends: bool,
    /// A fault pressed a lock in the tick before.
    was_pressed: bool,
    said_turning: bool,
    said_long: bool,
    said_engine: bool,
    worst_turn: Worst,
    worst_time: Worst,
}

/// Watches every smallest lock set that holds a machine.
#[derive(Clone, Debug)]
pub struct OverlapChecker {
    driveline: Arc<Driveline>,
    rest_radps: f64,
    reaction_s: f64,
    engine_joined: Vec<bool>,
    meant: Vec<u8>,
    speed_before: [f64; MAX_SHAFTS],
    /// Time in which the slowest lock lets go: nothing that is ordered shows sooner.
    release_s: f64,
    /// Since when tyres that grip again pull the wheels, or did until a moment ago, s.
    regrips_since_s: Option<f64>,
    watched: Vec<Watched>,
    findings: Findings,
}

impl OverlapChecker {
    /// For the overlaps that the kinematics derives.
    pub fn new(driveline: &Arc<Driveline>, kinematics: &Kinematics) -> OverlapChecker {
        let watched = kinematics.overlaps.iter().filter(|o| o.locks != 0).map(|o| Watched {
            locks: o.locks,
            limit_s: limit_s(driveline, o.locks),
            shafts: o.machines.iter().map(|&m| driveline.machines[m].shaft).collect(),
            reason: o.reason.clone(),
            since_s: None,
            excused_since_s: None,
            pushed_since_s: None,
            stood: false,
            ends: false,
            was_pressed: false,
            said_turning: false,
            said_long: false,
            said_engine: false,
            worst_turn: Worst::default(),
            worst_time: Worst::default(),
        });
        OverlapChecker {
            driveline: driveline.clone(),
            rest_radps: driveline.timing.rest_rpm * RPM,
            reaction_s: reaction_s(driveline),
            engine_joined: engine_joined(driveline),
            meant: driveline.arrangements.iter().map(|a| a.closed).collect(),
            speed_before: [0.0; MAX_SHAFTS],
            release_s: driveline.locks.iter().map(|l| l.release_ms).fold(0.0, f64::max) / 1e3,
            regrips_since_s: None,
            watched: watched.collect(),
            findings: Findings::default(),
        }
    }

    /// The watched locks are engaged together, and that is no arrangement.
    fn judge(&mut self, k: usize, truth: &TickTruth, sets: &LockSets) {
        let w = &mut self.watched[k];
        let at_onset = w.since_s.is_none();
        let since = *w.since_s.get_or_insert(truth.t_s - truth.dt_s);
        let speed_of = |s: ShaftId| {
            let before = if at_onset { self.speed_before[s].abs() } else { 0.0 };
            truth.speed_radps[s].abs().max(before)
        };
        let turn = w.shafts.iter().map(|&s| speed_of(s)).fold(0.0, f64::max);
        let lasted = truth.t_s - since;
        let excused = w.is_excused(truth, sets, self.reaction_s);
        // A lock that a fault holds against its order takes the others' reaction time as well.
        let faulty = truth.has_actuator_fault_of(w.locks);
        let limit_s = w.limit_s + if faulty { self.reaction_s } else { 0.0 };
        // A fault that pushes a shaft turns it in the moment in which plates that were ordered at rest
        // begin to press.
        let beyond_rest = turn > self.rest_radps;
        if beyond_rest && w.pushed_since_s.is_none() && truth.is_pushed_by_fault_beside(w.locks) {
            w.pushed_since_s = Some(truth.t_s);
        }
        let pushed = w.pushed_since_s.is_some_and(|s| truth.t_s - s <= self.reaction_s);
        let pulled = self.regrips_since_s.is_some_and(|s| truth.t_s - s <= self.release_s);
        let turns = !excused && !pushed && !pulled;
        if turns {
            w.worst_turn.see(turn / RPM, truth.t_s);
        }
        if !faulty {
            w.worst_time.see(lasted, truth.t_s);
        }
        if beyond_rest && turns && !w.said_turning {
            let text = format!(
                "{} closed together while the held machine turns at {:.0} rpm: {}",
                set_text(&self.driveline, w.locks),
                turn / RPM,
                w.reason,
            );
            self.findings.add(RULE, truth.t_s, text);
            w.said_turning = true;
        }
        if lasted > limit_s && !w.said_long {
            let text = format!(
                "{} closed together for longer than {:.2} s",
                set_text(&self.driveline, w.locks),
                limit_s
            );
            self.findings.add(RULE, truth.t_s, text);
            w.said_long = true;
        }
        if self.engine_joined[usize::from(sets.engaged)] && !excused && !w.said_engine {
            let text = format!(
                "{} closed together while the engine is joined",
                set_text(&self.driveline, w.locks)
            );
            self.findings.add(RULE, truth.t_s, text);
            w.said_engine = true;
        }
    }
}

impl Watched {
    /// A lock that a fault moves or holds against its order cannot be kept out or in; locks of which
    /// one at least is let go after they all stood, or all are (after a reset), are on their way. What
    /// begins so must be over within the reaction time, whatever comes on top.
    fn is_excused(&mut self, truth: &TickTruth, sets: &LockSets, reaction_s: f64) -> bool {
        let pressed = sets.pressed != 0;
        let asked = self.locks & sets.ordered_closed;
        // Let go after all stood together, not closed onto one that is still letting go.
        self.stood |= asked == self.locks;
        let ending = self.stood && asked != self.locks;
        if ending && !self.ends && !self.was_pressed {
            // A lock that a fault holds shows it only now that it is told to open.
            (self.ends, self.excused_since_s) = (true, Some(truth.t_s));
        }
        self.was_pressed = pressed;
        let let_go = ending || asked == 0;
        let faulty = truth.has_actuator_fault_of(self.locks);
        if self.excused_since_s.is_none() && (pressed || let_go || faulty) {
            self.excused_since_s = Some(truth.t_s);
        }
        self.excused_since_s.is_some_and(|since| truth.t_s - since <= reaction_s)
    }

    fn forget(&mut self) {
        (self.since_s, self.excused_since_s, self.pushed_since_s) = (None, None, None);
        (self.stood, self.ends, self.was_pressed) = (false, false, false);
        (self.said_turning, self.said_long, self.said_engine) = (false, false, false);
    }
}

/// Longest time the locks may be engaged together: the stated one, and what the slowest of
/// them takes to press and to let go.
fn limit_s(driveline: &Driveline, locks: u8) -> f64 {
    let slowest = |ms: &dyn Fn(usize) -> f64| {
        let members = (0..driveline.locks.len()).filter(|i| locks >> i & 1 == 1);
        members.map(ms).fold(0.0, f64::max)
    };
    let ramp = slowest(&|i| ramp_ms(driveline, i));
    let release = slowest(&|i| driveline.locks[i].release_ms);
    (driveline.timing.overlap_max_ms + ramp + release) / 1e3
}

impl Checker for OverlapChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn look(&mut self, truth: &TickTruth, sets: &LockSets) {
        let engaged = sets.engaged;
        let regrips = truth.faults.regrips;
        let pulls = |s: &f64| regrips || truth.t_s - s <= self.release_s;
        let since_s = self.regrips_since_s.filter(pulls);
        self.regrips_since_s = since_s.or(regrips.then_some(truth.t_s));
        for k in 0..self.watched.len() {
            let w = &mut self.watched[k];
            if w.locks & !engaged != 0 {
                // What is remembered begins with this.
                if w.since_s.is_some() {
                    w.forget();
                }
                continue;
            }
            if self.meant.contains(&engaged) {
                w.forget();
            } else {
                self.judge(k, truth, sets);
            }
        }
        self.speed_before = truth.speed_radps;
    }

    fn finish(&mut self) -> Vec<Finding> {
        self.findings.take()
    }

    fn margins(&self) -> Vec<Margin> {
        let mut margins = Vec::new();
        for w in &self.watched {
            let names = set_text(&self.driveline, w.locks);
            let rest = self.driveline.timing.rest_rpm;
            margins.extend(w.worst_turn.margin(RULE, &names, rest, "rpm"));
            margins.extend(w.worst_time.margin(RULE, &names, w.limit_s, "s"));
        }
        margins
    }

    fn reset(&mut self) {
        for w in &mut self.watched {
            w.forget();
            (w.worst_turn, w.worst_time) = (Worst::default(), Worst::default());
        }
        self.speed_before = [0.0; MAX_SHAFTS];
        self.regrips_since_s = None;
        self.findings.clear();
    }
}

/// Of each lock set whether a closed lock of it (or a gear) sits on the engine's shaft.
fn engine_joined(driveline: &Driveline) -> Vec<bool> {
    let sets = 0..1usize << driveline.locks.len();
    let Some((engine, _)) = driveline.engine() else { return sets.map(|_| false).collect() };
    let shaft = driveline.machines[engine].shaft;
    let geared = driveline.planetaries.iter().any(|p| [p.sun, p.ring, p.carrier].contains(&shaft))
        || driveline.gear_pairs.iter().any(|g| g.a == shaft || g.b == shaft);
    let ends_there = |lock: &Lock| lock.a == shaft || lock.b == Some(shaft);
    let locks = driveline.locks.iter().enumerate();
    let there = locks.filter(|(_, l)| ends_there(l)).fold(0, |set, (i, _)| set | 1 << i);
    sets.map(|set| geared || set & there != 0).collect()
}
