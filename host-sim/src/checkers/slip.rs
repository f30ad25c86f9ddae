//! `SW-SLIP`: a lock begins to carry torque only within its engage slip limit.

use std::sync::Arc;

use supervisor::bits::MAX_LOCKS;

use super::truth::lock_name;
use super::{Checker, Finding, Findings, LockSets, Margin, RPM, TickTruth, Worst};
use crate::driveline::Driveline;

const RULE: &str = "SW-SLIP";

/// Watches the true slip at each closing.
#[derive(Clone, Debug)]
pub struct SlipChecker {
    driveline: Arc<Driveline>,
    limit_rpm: [Option<f64>; MAX_LOCKS],
    worst: [Worst; MAX_LOCKS],
    findings: Findings,
}

impl SlipChecker {
    /// For the locks of a driveline; locks without a stated limit are not judged.
    pub fn new(driveline: &Arc<Driveline>) -> SlipChecker {
        let mut limit_rpm = [None; MAX_LOCKS];
        for (limit, lock) in limit_rpm.iter_mut().zip(&driveline.locks) {
            *limit = lock.engage_slip_max_rpm;
        }
        SlipChecker {
            driveline: driveline.clone(),
            limit_rpm,
            worst: [Worst::default(); MAX_LOCKS],
            findings: Findings::default(),
        }
    }
}

impl Checker for SlipChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn look(&mut self, truth: &TickTruth, sets: &LockSets) {
        if sets.began == 0 {
            return;
        }
        for (i, lock) in truth.locks.iter().enumerate() {
            let Some(slip) = lock.closed_at_radps else { continue };
            // A fault that presses the plates against the order is not our closing.
            let (Some(limit), false) = (self.limit_rpm[i], lock.forced || truth.faults.regrips)
            else {
                continue;
            };
            let slip_rpm = slip.abs() / RPM;
            self.worst[i].see(slip_rpm, truth.t_s);
            if slip_rpm > limit || slip_rpm.is_nan() {
                let text = format!(
                    "{} began to carry torque at {slip_rpm:.1} rpm of slip; its limit is {limit} rpm",
                    lock_name(&self.driveline, i),
                );
                self.findings.add(RULE, truth.t_s, text);
            }
        }
    }

    fn finish(&mut self) -> Vec<Finding> {
        self.findings.take()
    }

    fn margins(&self) -> Vec<Margin> {
        let of = |(i, worst): (usize, &Worst)| {
            let limit = self.limit_rpm[i]?;
            worst.margin(RULE, lock_name(&self.driveline, i), limit, "rpm")
        };
        self.worst.iter().enumerate().filter_map(of).collect()
    }

    fn reset(&mut self) {
        self.worst = [Worst::default(); MAX_LOCKS];
        self.findings.clear();
    }
}
