//! `SW-LOAD`: a lock that a step opens is unloaded when it is told to.

use std::sync::Arc;

use supervisor::bits::MAX_LOCKS;
use supervisor::io::LockOrder;

use super::inertia::{PerAcceleration, added_nm, per_acceleration};
use super::truth::lock_name;
use super::{Checker, Finding, Findings, LockSets, MAX_SHAFTS, Margin, TickTruth, Worst};
use crate::driveline::Driveline;
use crate::kinematics::Kinematics;

const RULE: &str = "SW-LOAD";

/// What a lock may carry, of what counts as unloaded where it is measured: the balance of the machines'
/// torques leaves out what shafts that accelerate add, drag and losses.
const ALLOWED: f64 = 2.0;

/// What it may carry without what shafts that accelerate add.
const ALLOWED_STEADY: f64 = 1.25;

/// Watches the true torque in a lock in the tick in which a step lets it go.
#[derive(Clone, Debug)]
pub struct LoadChecker {
    driveline: Arc<Driveline>,
    limit_nm: [Option<f64>; MAX_LOCKS],
    /// Without what shafts add that accelerate.
    steady_nm: [f64; MAX_LOCKS],
    ordered: [LockOrder; MAX_LOCKS],
    /// What each lock carried when the order came, before anything could follow from it.
    carried_nm: [f64; MAX_LOCKS],
    /// By lock set and lock: what shafts that accelerate add to what a lock carries that is opened.
    per_acceleration: Vec<[Option<PerAcceleration>; MAX_LOCKS]>,
    /// The most that they added when the order came, and the speeds before.
    added_nm: f64,
    speed_before: [f64; MAX_SHAFTS],
    /// The lock that the step under way opens.
    opens: Option<usize>,
    /// A fault has been in this run after which what is told of the torques, or of the locks, may be wrong.
    faulty: bool,
    worst: [Worst; MAX_LOCKS],
    worst_steady: [Worst; MAX_LOCKS],
    findings: Findings,
}

impl LoadChecker {
    /// For the locks of a driveline; locks without a stated capacity are not judged.
    pub fn new(driveline: &Arc<Driveline>, kinematics: &Kinematics) -> LoadChecker {
        let opened = |set: u8| {
            std::array::from_fn(|lock| {
                let closed = lock < driveline.locks.len() && set >> lock & 1 == 1;
                closed.then(|| per_acceleration(driveline, kinematics, set, lock)).flatten()
            })
        };
        let sets = (0..=u8::MAX).take(1 << driveline.locks.len());
        let mut limit_nm = [None; MAX_LOCKS];
        for (limit, lock) in limit_nm.iter_mut().zip(&driveline.locks) {
            *limit = lock.capacity_nm.map(|nm| ALLOWED * driveline.timing.unloaded_share * nm);
        }
        let steady_nm = limit_nm.map(|limit| limit.unwrap_or(0.0) / ALLOWED * ALLOWED_STEADY);
        LoadChecker {
            driveline: driveline.clone(),
            limit_nm,
            steady_nm,
            ordered: [LockOrder::Open; MAX_LOCKS],
            carried_nm: [0.0; MAX_LOCKS],
            per_acceleration: sets.map(opened).collect(),
            added_nm: 0.0,
            speed_before: [0.0; MAX_SHAFTS],
            opens: None,
            faulty: false,
            worst: [Worst::default(); MAX_LOCKS],
            worst_steady: [Worst::default(); MAX_LOCKS],
            findings: Findings::default(),
        }
    }

    fn judge(&mut self, i: usize, truth: &TickTruth) {
        let Some(limit) = self.limit_nm[i] else { return };
        let nm = self.carried_nm[i].abs();
        self.worst[i].see(nm, truth.t_s);
        let without_nm = (nm - self.added_nm).max(0.0);
        self.worst_steady[i].see(without_nm, truth.t_s);
        let allowed_nm = match nm > limit || nm.is_nan() {
            true => limit,
            false if without_nm > self.steady_nm[i] => self.steady_nm[i] + self.added_nm,
            false => return,
        };
        let text = format!(
            "{} was let go by a step under {nm:.0} Nm; allowed are {allowed_nm:.0} Nm",
            lock_name(&self.driveline, i),
        );
        self.findings.add(RULE, truth.t_s, text);
    }
}

/// Whether there is any fault but those of speed sensors, and of machines that report what they give: no
/// speed tells how a lock is loaded, and a torque that comes late is seen to.
fn misleads(truth: &TickTruth) -> bool {
    let f = &truth.faults;
    let others = f.actuators | f.switches | f.misreported != 0;
    let seen = f.sensors != 0 || f.machines != 0;
    others || f.supply_lost || f.grip_lost || truth.engine_fault || f.any && !seen
}

impl Checker for LoadChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn look(&mut self, truth: &TickTruth, sets: &LockSets) {
        self.faulty |= misleads(truth);
        let opens = truth.claim.filter(|claim| !claim.closes).map(|claim| usize::from(claim.lock));
        let opens = opens.filter(|i| *i < MAX_LOCKS && !self.faulty);
        if let Some(i) = opens {
            let goes = self.ordered[i] == LockOrder::Close;
            if goes && truth.locks[i].order == LockOrder::Open {
                self.judge(i, truth);
            }
            let of_set = self.per_acceleration.get(usize::from(sets.engaged | 1 << i));
            let per = of_set.and_then(|locks| locks[i].as_ref());
            // In the first tick of a step what the speeds were before is not known.
            let known = per.filter(|_| self.opens == opens);
            let added_nm = known.map(|per| added_nm(per, &self.speed_before, truth));
            self.added_nm = added_nm.unwrap_or(f64::INFINITY);
            self.speed_before = truth.speed_radps;
        }
        self.opens = opens;
        let before = self.ordered.iter_mut().zip(&mut self.carried_nm);
        for ((ordered, carried_nm), lock) in before.zip(&truth.locks) {
            (*ordered, *carried_nm) = (lock.order, lock.torque_nm);
        }
    }

    fn finish(&mut self) -> Vec<Finding> {
        self.findings.take()
    }

    fn margins(&self) -> Vec<Margin> {
        let mut margins = Vec::new();
        for (i, lock) in self.driveline.locks.iter().enumerate().take(MAX_LOCKS) {
            let Some(limit) = self.limit_nm[i] else { continue };
            margins.extend(self.worst[i].margin(RULE, &lock.name, limit, "Nm"));
            let name = format!("{} without acceleration", lock.name);
            margins.extend(self.worst_steady[i].margin(RULE, &name, self.steady_nm[i], "Nm"));
        }
        margins
    }

    fn reset(&mut self) {
        self.ordered = [LockOrder::Open; MAX_LOCKS];
        self.carried_nm = [0.0; MAX_LOCKS];
        self.faulty = false;
        (self.added_nm, self.speed_before, self.opens) = (0.0, [0.0; MAX_SHAFTS], None);
        self.worst = [Worst::default(); MAX_LOCKS];
        self.worst_steady = [Worst::default(); MAX_LOCKS];
        self.findings.clear();
    }
}
