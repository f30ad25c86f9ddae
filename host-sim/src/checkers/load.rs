//! `SW-LOAD`: a lock that a step opens is unloaded when it is told to.

use std::sync::Arc;

use supervisor::bits::MAX_LOCKS;
use supervisor::io::LockOrder;

use super::truth::lock_name;
use super::{Checker, Finding, Findings, LockSets, Margin, TickTruth, Worst};
use crate::driveline::Driveline;

const RULE: &str = "SW-LOAD";

/// What a lock may carry, of what counts as unloaded where it is measured: the balance of the machines'
/// torques leaves out what shafts that accelerate add.
const ALLOWED: f64 = 2.0;

/// Watches the true torque in a lock in the tick in which a step lets it go.
#[derive(Clone, Debug)]
pub struct LoadChecker {
    driveline: Arc<Driveline>,
    limit_nm: [Option<f64>; MAX_LOCKS],
    ordered: [LockOrder; MAX_LOCKS],
    /// What each lock carried when the order came, before anything could follow from it.
    carried_nm: [f64; MAX_LOCKS],
    /// A fault has been in this run after which what is told of the torques, or of the locks, may be wrong.
    faulty: bool,
    worst: [Worst; MAX_LOCKS],
    findings: Findings,
}

impl LoadChecker {
    /// For the locks of a driveline; locks without a stated capacity are not judged.
    pub fn new(driveline: &Arc<Driveline>) -> LoadChecker {
        let mut limit_nm = [None; MAX_LOCKS];
        for (limit, lock) in limit_nm.iter_mut().zip(&driveline.locks) {
            *limit = lock.capacity_nm.map(|nm| ALLOWED * driveline.timing.unloaded_share * nm);
        }
        LoadChecker {
            driveline: driveline.clone(),
            limit_nm,
            ordered: [LockOrder::Open; MAX_LOCKS],
            carried_nm: [0.0; MAX_LOCKS],
            faulty: false,
            worst: [Worst::default(); MAX_LOCKS],
            findings: Findings::default(),
        }
    }

    fn judge(&mut self, i: usize, truth: &TickTruth) {
        let Some(limit) = self.limit_nm[i] else { return };
        let nm = self.carried_nm[i].abs();
        self.worst[i].see(nm, truth.t_s);
        if nm > limit || nm.is_nan() {
            let text = format!(
                "{} was let go by a step under {nm:.0} Nm; allowed are {limit:.0} Nm",
                lock_name(&self.driveline, i),
            );
            self.findings.add(RULE, truth.t_s, text);
        }
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

    fn look(&mut self, truth: &TickTruth, _: &LockSets) {
        self.faulty |= misleads(truth);
        let opens = truth.claim.filter(|claim| !claim.closes).map(|claim| usize::from(claim.lock));
        if let (Some(i), false) = (opens.filter(|i| *i < MAX_LOCKS), self.faulty) {
            let goes = self.ordered[i] == LockOrder::Close;
            if goes && truth.locks[i].order == LockOrder::Open {
                self.judge(i, truth);
            }
        }
        let before = self.ordered.iter_mut().zip(&mut self.carried_nm);
        for ((ordered, carried_nm), lock) in before.zip(&truth.locks) {
            (*ordered, *carried_nm) = (lock.order, lock.torque_nm);
        }
    }

    fn finish(&mut self) -> Vec<Finding> {
        self.findings.take()
    }

    fn margins(&self) -> Vec<Margin> {
        let of = |(i, worst): (usize, &Worst)| {
            let limit = self.limit_nm[i]?;
            worst.margin(RULE, lock_name(&self.driveline, i), limit, "Nm")
        };
        self.worst.iter().enumerate().filter_map(of).collect()
    }

    fn reset(&mut self) {
        self.ordered = [LockOrder::Open; MAX_LOCKS];
        self.carried_nm = [0.0; MAX_LOCKS];
        self.faulty = false;
        self.worst = [Worst::default(); MAX_LOCKS];
        self.findings.clear();
    }
}
