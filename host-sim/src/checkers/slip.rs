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
    /// Time in which each lock lets go: nothing that is ordered shows sooner.
    release_s: [f64; MAX_LOCKS],
    /// Since when tyres that grip again pull the wheels, s.
    regrips_since_s: Option<f64>,
    worst: [Worst; MAX_LOCKS],
    findings: Findings,
}

impl SlipChecker {
    /// For the locks of a driveline; locks without a stated limit are not judged.
    pub fn new(driveline: &Arc<Driveline>) -> SlipChecker {
        let mut limit_rpm = [None; MAX_LOCKS];
        let mut release_s = [0.0; MAX_LOCKS];
        for (i, lock) in driveline.locks.iter().enumerate().take(MAX_LOCKS) {
            limit_rpm[i] = lock.engage_slip_max_rpm;
            release_s[i] = lock.release_ms / 1e3;
        }
        SlipChecker {
            driveline: driveline.clone(),
            limit_rpm,
            release_s,
            regrips_since_s: None,
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
        let since_s = self.regrips_since_s.filter(|_| truth.faults.regrips);
        self.regrips_since_s = since_s.or(truth.faults.regrips.then_some(truth.t_s));
        if sets.began == 0 {
            return;
        }
        for (i, lock) in truth.locks.iter().enumerate() {
            let Some(slip) = lock.closed_at_radps else { continue };
            // A fault that presses the plates against the order is not our closing.
            let pulls = |since_s: f64| truth.t_s - since_s <= self.release_s[i];
            let excused = lock.forced || self.regrips_since_s.is_some_and(pulls);
            let (Some(limit), false) = (self.limit_rpm[i], excused) else { continue };
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
        self.regrips_since_s = None;
        self.findings.clear();
    }
}
