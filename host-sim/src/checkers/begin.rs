//! `SW-BEGIN`: a closing is begun only while its slip is steady, what it will hold stands, and the wheels
//! grip.

use std::sync::Arc;

use supervisor::bits::MAX_LOCKS;
use supervisor::io::LockOrder;

use super::truth::{lock_name, set_text};
use super::{
    Checker, Finding, Findings, LockSets, MAX_SHAFTS, Margin, RPM, TickTruth, Worst, reaction_s,
};
use crate::driveline::{Driveline, ShaftId};
use crate::kinematics::Kinematics;

const RULE: &str = "SW-BEGIN";

/// Over how long a change is taken, s. It counts when it was there in two such whiles one after the other.
const SPAN_S: f64 = 0.008;

/// Of what wheels in grip can do at most, what surely tells that they slip: sensors are coarse, and service
/// brakes and slopes may add to it.
const SLIPS: f64 = 1.5;

/// The last values of something, one a tick.
#[derive(Clone, Debug)]
struct Past {
    /// In a ring: the oldest is at `next`, once it is full.
    values: Vec<f64>,
    next: usize,
    full: bool,
}

impl Past {
    /// Two whiles of so many ticks.
    fn new(span: usize) -> Past {
        Past { values: vec![0.0; 2 * span + 1], next: 0, full: false }
    }

    fn forget(&mut self) {
        (self.next, self.full) = (0, false);
    }

    fn note(&mut self, value: f64) {
        self.values[self.next] = value;
        self.next += 1;
        if self.next == self.values.len() {
            (self.next, self.full) = (0, true);
        }
    }

    /// How much it has changed at least in each of the two whiles, in the same direction; none where that
    /// long was not seen.
    fn change(&self) -> Option<f64> {
        let (all, span) = (self.values.len(), self.values.len() / 2);
        let at = |ago: usize| self.values[(self.next + all - 1 - ago) % all];
        let (late, early) = (at(0) - at(span), at(span) - at(2 * span));
        let both = late.abs().min(early.abs());
        self.full.then_some(if late * early < 0.0 { 0.0 } else { both })
    }
}

/// A lock set that holds machines.
#[derive(Clone, Debug)]
struct Held {
    locks: u8,
    shafts: Vec<ShaftId>,
    worst: Worst,
}

/// Watches the truth in the tick in which a step tells its lock to close.
#[derive(Clone, Debug)]
pub struct BeginChecker {
    driveline: Arc<Driveline>,
    held: Vec<Held>,
    meant: Vec<u8>,
    span_s: f64,
    /// Fastest change of each lock's slip, rpm/s.
    rate_rpm_per_s: Vec<f64>,
    /// m/s of the road per rad/s of the output; none without a vehicle.
    metres_per_radian: Option<f64>,
    /// Of the lock that the step under way closes, rad/s, and of the output.
    slip: Past,
    output: Past,
    /// That lock.
    closes: Option<usize>,
    ordered: [LockOrder; MAX_LOCKS],
    speed_before: [f64; MAX_SHAFTS],
    reaction_s: f64,
    /// Locks that a fault presses, and since when each does.
    pressed: u8,
    pressed_since_s: [f64; MAX_LOCKS],
    /// A sensor has had a fault in this run: what it told may have been wrong.
    sensors_faulty: bool,
    worst_rate: [Worst; MAX_LOCKS],
    worst_output: Worst,
    findings: Findings,
}

/// Fastest change of a lock's slip at which it may begin to close, rpm/s: what machines are asked for, and no
/// more than a quarter of the slip limit in the time by which the newest sensor and a tick are late.
fn rate_max(d: &Driveline, lock: usize) -> f64 {
    let asked = d.timing.sync_rate_max_rpm_per_s;
    let latest_ms = d.sensors.iter().map(|s| s.latency_ms).fold(f64::INFINITY, f64::min);
    let late_s = (latest_ms + d.timing.tick_ms) / 1e3;
    let limit_rpm = d.locks[lock].engage_slip_max_rpm.unwrap_or(f64::INFINITY);
    asked.min(0.25 * limit_rpm / late_s)
}

impl BeginChecker {
    /// For any driveline; wheels are judged where there is a vehicle.
    pub fn new(driveline: &Arc<Driveline>, kinematics: &Kinematics) -> BeginChecker {
        let tick_s = driveline.timing.tick_ms / 1e3;
        let span = ((SPAN_S / tick_s).round() as usize).max(2);
        let shaft = |&m: &usize| driveline.machines[m].shaft;
        let held = kinematics.overlaps.iter().filter(|o| o.locks != 0).map(|o| Held {
            locks: o.locks,
            shafts: o.machines.iter().map(shaft).collect(),
            worst: Worst::default(),
        });
        let per_kmh = driveline.output_radps_per_kmh().filter(|_| driveline.vehicle.is_some());
        BeginChecker {
            rate_rpm_per_s: (0..driveline.locks.len()).map(|i| rate_max(driveline, i)).collect(),
            held: held.collect(),
            meant: driveline.arrangements.iter().map(|a| a.closed).collect(),
            span_s: span as f64 * tick_s,
            metres_per_radian: per_kmh.map(|per_kmh| 1.0 / (3.6 * per_kmh)),
            slip: Past::new(span),
            output: Past::new(span),
            closes: None,
            ordered: [LockOrder::Open; MAX_LOCKS],
            speed_before: [0.0; MAX_SHAFTS],
            reaction_s: reaction_s(driveline),
            pressed: 0,
            pressed_since_s: [0.0; MAX_LOCKS],
            sensors_faulty: false,
            worst_rate: [Worst::default(); MAX_LOCKS],
            worst_output: Worst::default(),
            driveline: driveline.clone(),
            findings: Findings::default(),
        }
    }

    fn note_pressed(&mut self, pressed: u8, t_s: f64) {
        let began = pressed & !self.pressed;
        for (i, since_s) in self.pressed_since_s.iter_mut().enumerate() {
            *since_s = if began >> i & 1 == 1 { t_s } else { *since_s };
        }
        self.pressed = pressed;
    }

    /// This lock is told to close in this tick.
    #[cold]
    fn judge(&mut self, i: usize, truth: &TickTruth, sets: &LockSets) {
        self.judge_steady(i, truth);
        self.judge_grip(i, truth);
        self.judge_rest(i, truth, sets);
    }

    fn judge_steady(&mut self, i: usize, truth: &TickTruth) {
        let Some(change) = self.slip.change() else { return };
        let rate = change / self.span_s / RPM;
        let Some(&limit) = self.rate_rpm_per_s.get(i) else { return };
        self.worst_rate[i].see(rate, truth.t_s);
        if rate > limit || rate.is_nan() {
            let text = format!(
                "{} was told to close while its slip changed by {rate:.0} rpm/s; allowed are {limit:.0}",
                lock_name(&self.driveline, i),
            );
            self.findings.add(RULE, truth.t_s, text);
        }
    }

    fn judge_grip(&mut self, i: usize, truth: &TickTruth) {
        let (Some(vehicle), Some(metres)) = (&self.driveline.vehicle, self.metres_per_radian)
        else {
            return;
        };
        let Some(change) = self.output.change() else { return };
        let mps2 = change / self.span_s * metres;
        let limit = SLIPS * vehicle.max_acceleration_mps2;
        self.worst_output.see(mps2, truth.t_s);
        if mps2 > limit || mps2.is_nan() {
            let text = format!(
                "{} was told to close while the wheels changed their speed by {mps2:.1} m/s2; \
                 allowed are {limit}",
                lock_name(&self.driveline, i),
            );
            self.findings.add(RULE, truth.t_s, text);
        }
    }

    fn judge_rest(&mut self, i: usize, truth: &TickTruth, sets: &LockSets) {
        // What a fault has just pressed nobody can know yet.
        let fresh = |lock: &usize| {
            sets.pressed >> lock & 1 == 1
                && truth.t_s - self.pressed_since_s[*lock] <= self.reaction_s
        };
        let fresh = (0..MAX_LOCKS).filter(fresh).fold(0, |set, lock| set | 1 << lock);
        let closed = sets.engaged & !fresh | sets.ordered_closed | 1 << i;
        if self.meant.contains(&closed) {
            return;
        }
        let rest = self.driveline.timing.rest_rpm;
        for held in self.held.iter_mut().filter(|h| h.locks & !closed == 0 && h.locks >> i & 1 == 1)
        {
            let turn = |&s: &ShaftId| truth.speed_radps[s].abs().min(self.speed_before[s].abs());
            let rpm = held.shafts.iter().map(turn).fold(0.0, f64::max) / RPM;
            held.worst.see(rpm, truth.t_s);
            if rpm > rest {
                let text = format!(
                    "{} was told to close, which holds a machine with {}, while that turned at {rpm:.0} rpm; \
                     allowed are {rest:.0}",
                    lock_name(&self.driveline, i),
                    set_text(&self.driveline, held.locks & !(1 << i)),
                );
                self.findings.add(RULE, truth.t_s, text);
            }
        }
    }
}

impl Checker for BeginChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn look(&mut self, truth: &TickTruth, sets: &LockSets) {
        self.sensors_faulty |= truth.faults.sensors != 0;
        if sets.pressed != self.pressed {
            self.note_pressed(sets.pressed, truth.t_s);
        }
        let closes = truth.claim.filter(|claim| claim.closes).map(|claim| usize::from(claim.lock));
        let closes = closes.filter(|i| *i < MAX_LOCKS && !truth.reset);
        if closes != self.closes {
            self.closes = closes;
            self.slip.forget();
            self.output.forget();
        }
        if let Some(i) = closes {
            let begins =
                truth.locks[i].order == LockOrder::Close && self.ordered[i] != LockOrder::Close;
            if begins && !self.sensors_faulty {
                self.judge(i, truth, sets);
            }
            self.slip.note(truth.locks[i].slip_radps);
            self.output.note(truth.speed_radps[self.driveline.output.shaft]);
            self.speed_before = truth.speed_radps;
        }
        for (ordered, lock) in self.ordered.iter_mut().zip(&truth.locks) {
            *ordered = lock.order;
        }
    }

    fn finish(&mut self) -> Vec<Finding> {
        self.findings.take()
    }

    fn margins(&self) -> Vec<Margin> {
        let d = &self.driveline;
        let mut margins = Vec::new();
        for ((worst, lock), limit) in self.worst_rate.iter().zip(&d.locks).zip(&self.rate_rpm_per_s)
        {
            margins.extend(worst.margin(RULE, &lock.name, *limit, "rpm/s"));
        }
        let most = d.vehicle.as_ref().map(|v| SLIPS * v.max_acceleration_mps2);
        margins
            .extend(most.and_then(|most| self.worst_output.margin(RULE, "wheels", most, "m/s2")));
        for held in &self.held {
            let names = set_text(d, held.locks);
            margins.extend(held.worst.margin(RULE, &names, d.timing.rest_rpm, "rpm"));
        }
        margins
    }

    fn reset(&mut self) {
        self.slip.forget();
        self.output.forget();
        self.closes = None;
        self.ordered = [LockOrder::Open; MAX_LOCKS];
        self.sensors_faulty = false;
        (self.pressed, self.pressed_since_s) = (0, [0.0; MAX_LOCKS]);
        self.held.iter_mut().for_each(|held| held.worst = Worst::default());
        self.worst_rate = [Worst::default(); MAX_LOCKS];
        self.worst_output = Worst::default();
        self.findings.clear();
    }
}
