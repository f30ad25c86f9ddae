//! `SW-ALARM`: nothing is blamed in a driveline in which nothing has failed, and no lock is said to be
//! unready that was ready.

use std::sync::Arc;

use supervisor::bits::{Bits, MAX_LOCKS};
use supervisor::status::{Faults, Refusal};

use super::inside::Inside;
use super::truth::set_text;
use super::{Checker, Claim, Finding, Findings, LockSets, Margin, RPM, TickTruth};
use crate::driveline::{Driveline, LockKind};
use crate::kinematics::Kinematics;

const RULE: &str = "SW-ALARM";

/// Of what a lock may slip when it begins to close, or carry when it is let go: with less it was ready.
const READY_SHARE: f64 = 0.1;

/// For how long it must have been ready before it is wrong to say that it was not, s.
const READY_S: f64 = 0.3;

/// Since when one lock has been ready, s; infinite while it is not.
#[derive(Clone, Copy, Debug)]
struct Ready {
    to_close_s: f64,
    to_open_s: f64,
}

const NEVER: Ready = Ready { to_close_s: f64::INFINITY, to_open_s: f64::INFINITY };

/// Up to where a lock is ready.
#[derive(Clone, Copy, Debug, Default)]
struct Limits {
    slip_radps: f64,
    torque_nm: f64,
}

/// Watches what the supervisor blames until the first fault of a run.
#[derive(Clone, Debug)]
pub struct AlarmChecker {
    driveline: Arc<Driveline>,
    /// A fault has been in this run, or a lock was driven against its order.
    faulty: bool,
    blamed: Faults,
    reason: Option<Refusal>,
    limits: [Limits; MAX_LOCKS],
    /// Locks of an overlap, and the shafts that it holds.
    overlaps: Vec<(u8, Vec<usize>)>,
    rest_radps: f64,
    ready: [Ready; MAX_LOCKS],
    /// The lock that the last step was to open, where the last one was to open any.
    opens: Option<u8>,
    /// Where arrangements and steps can be driven.
    inside: Inside,
    findings: Findings,
}

/// What a refusal blames: that a lock, switch or sensor is not as it should be.
fn blame(d: &Driveline, refusal: Option<Refusal>) -> Option<(&'static str, Option<u8>)> {
    // Teeth may stand on teeth: that the lock is to blame is said by a fault, when it has been tried enough.
    let has_plates = |lock: u8| {
        let kind = d.locks.get(usize::from(lock)).map(|l| &l.kind);
        matches!(kind, Some(LockKind::Friction(_)))
    };
    match refusal? {
        Refusal::NotClosed { lock } if has_plates(lock) => {
            Some(("is said not to close", Some(lock)))
        }
        Refusal::NotOpened { lock } => Some(("is said not to open", Some(lock))),
        Refusal::Switch { lock } => Some(("is said to have a wrong switch", Some(lock))),
        Refusal::Sensors { .. } => Some(("the sensors are said to be wrong", None)),
        _ => None,
    }
}

impl AlarmChecker {
    /// For any driveline; a lock without a stated slip limit or capacity is not said to be ready.
    pub fn new(driveline: &Arc<Driveline>, kinematics: &Kinematics) -> AlarmChecker {
        let mut limits = [Limits::default(); MAX_LOCKS];
        for (limit, lock) in limits.iter_mut().zip(&driveline.locks) {
            let capacity_nm = lock.capacity_nm.unwrap_or(0.0);
            limit.torque_nm = READY_SHARE * driveline.timing.unloaded_share * capacity_nm;
            limit.slip_radps = READY_SHARE * lock.engage_slip_max_rpm.unwrap_or(0.0) * RPM;
            if let LockKind::Dog(dog) = &lock.kind {
                limit.slip_radps += dog.offset_rpm * RPM;
            }
        }
        let shaft = |&m: &usize| driveline.machines[m].shaft;
        let held = kinematics.overlaps.iter();
        AlarmChecker {
            limits,
            overlaps: held.map(|o| (o.locks, o.machines.iter().map(shaft).collect())).collect(),
            rest_radps: driveline.timing.rest_rpm * RPM,
            ready: [NEVER; MAX_LOCKS],
            opens: None,
            inside: Inside::new(driveline, kinematics),
            driveline: driveline.clone(),
            faulty: false,
            blamed: Faults::default(),
            reason: None,
            findings: Findings::default(),
        }
    }

    /// Whether a lock could have been closed, or let go, all this time.
    fn was_ready(&self, refusal: Option<Refusal>, t_s: f64) -> Option<(&'static str, u8)> {
        let ready = |lock: u8| self.ready.get(usize::from(lock)).copied().unwrap_or(NEVER);
        let (lock, since_s, said) = match refusal? {
            Refusal::SyncTimeout { lock } => {
                (lock, ready(lock).to_close_s, "is said to slip and did not")
            }
            Refusal::UnloadTimeout { lock } => {
                (lock, ready(lock).to_open_s, "is said to be loaded and was not")
            }
            Refusal::OverlapTooLong => {
                let said = "could be let go, and is said to have been closed for too long";
                (self.opens?, ready(self.opens?).to_open_s, said)
            }
            _ => return None,
        };
        (t_s - since_s >= READY_S).then_some((said, lock))
    }

    /// Note which locks are ready.
    fn watch(&mut self, truth: &TickTruth, sets: &LockSets) {
        // A demand that no step may be taken under keeps every lock from being ready.
        let asks_much = |claim: &Claim| truth.demand_nm.abs() > claim.demand_max_nm;
        let too_much = truth.claim.as_ref().is_some_and(asks_much);
        let locks = self.ready.iter_mut().zip(&self.limits).zip(&truth.locks);
        for (i, ((ready, limits), lock)) in locks.enumerate() {
            let slips = lock.slip_radps.abs() >= limits.slip_radps;
            let loaded = lock.torque_nm.abs() >= limits.torque_nm;
            let note = |since_s: &mut f64, not: bool| {
                *since_s = if not { f64::INFINITY } else { since_s.min(truth.t_s) };
            };
            let turns = |shaft: &usize| truth.speed_radps[*shaft].abs() >= 0.5 * self.rest_radps;
            let completes =
                |locks: u8| locks & !(sets.engaged | 1 << i) == 0 && locks >> i & 1 == 1;
            let holds =
                |(locks, shafts): &(u8, Vec<usize>)| completes(*locks) && shafts.iter().any(turns);
            note(&mut ready.to_close_s, too_much || slips || self.overlaps.iter().any(holds));
            note(&mut ready.to_open_s, too_much || loaded);
        }
    }

    #[cold]
    fn report(&mut self, truth: &TickTruth, blame: Option<(&'static str, Option<u8>)>) {
        let d = &self.driveline;
        let faults = &truth.stated_faults;
        let locks = |what: &str, locks: Bits| {
            (!locks.is_empty()).then(|| format!("{} {what}", set_text(d, locks.0)))
        };
        let sensors: Vec<&str> = faults
            .sensors
            .iter()
            .filter_map(|s| Some(&*d.sensors.get(usize::from(s))?.name))
            .collect();
        let told = blame.map(|(what, lock)| match lock {
            Some(lock) => format!("{} {what}", set_text(d, Bits::one(lock).0)),
            None => what.to_owned(),
        });
        let said: Vec<String> = [
            locks("is said not to close", faults.stuck_open),
            locks("is said not to open", faults.stuck_closed),
            locks("is said to have a wrong switch", faults.switch),
            locks("is said to have opened by itself", faults.lost),
            (!sensors.is_empty()).then(|| format!("{} is said to be wrong", sensors.join(" + "))),
            told,
        ]
        .into_iter()
        .flatten()
        .collect();
        let text = format!("nothing has failed, and {}", said.join(", "));
        self.findings.add(RULE, truth.t_s, text);
    }
}

impl Checker for AlarmChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn look(&mut self, truth: &TickTruth, sets: &LockSets) {
        if truth.reset {
            (self.ready, self.opens) = ([NEVER; MAX_LOCKS], None);
            self.inside.reset();
        }
        self.faulty |= truth.faults.any || truth.engine_fault || sets.pressed != 0;
        if self.faulty {
            return;
        }
        // A shaft that is about to pass its limits is told among the faults and is none.
        let blamed = Faults { racing: Bits::EMPTY, ..truth.stated_faults };
        self.watch(truth, sets);
        self.inside.see(&truth.speed_radps, truth.t_s);
        let unready = self.was_ready(truth.stated_reason, truth.t_s);
        let unready = unready.map(|(said, lock)| (said, Some(lock)));
        let denied = self.inside.denies(truth.stated_reason, truth.refused_sets);
        let denied = denied.then_some(("the road speed is said to be wrong and was not", None));
        let refused = blame(&self.driveline, truth.stated_reason).or(unready).or(denied);
        let fresh = blamed != self.blamed && blamed != Faults::default();
        let anew = refused.is_some() && truth.stated_reason != self.reason;
        (self.blamed, self.reason) = (blamed, truth.stated_reason);
        if let Some(claim) = &truth.claim {
            self.opens = (!claim.closes).then_some(claim.lock);
        }
        if fresh || anew {
            self.report(truth, refused);
        }
    }

    fn finish(&mut self) -> Vec<Finding> {
        self.findings.take()
    }

    fn margins(&self) -> Vec<Margin> {
        Vec::new()
    }

    fn reset(&mut self) {
        (self.faulty, self.blamed, self.reason) = (false, Faults::default(), None);
        (self.ready, self.opens) = ([NEVER; MAX_LOCKS], None);
        self.inside.reset();
        self.findings.clear();
    }
}
