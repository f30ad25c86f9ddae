//! `SW-SLIP`: a lock begins to carry torque only within its engage slip limit.

use super::truth::lock_name;
use super::{Checker, Finding, Findings, Margin, RPM, TickTruth, Worst};
use crate::driveline::Driveline;

const RULE: &str = "SW-SLIP";

/// Watches the true slip at each closing.
#[derive(Clone, Debug)]
pub struct SlipChecker {
    driveline: Driveline,
    worst: Vec<Worst>,
    findings: Findings,
}

impl SlipChecker {
    /// For the locks of a driveline; locks without a stated limit are not judged.
    pub fn new(driveline: &Driveline) -> SlipChecker {
        SlipChecker {
            driveline: driveline.clone(),
            worst: vec![Worst::default(); driveline.locks.len()],
            findings: Findings::default(),
        }
    }
}

impl Checker for SlipChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn observe(&mut self, truth: &TickTruth) {
        for (i, lock) in self.driveline.locks.iter().enumerate() {
            let (Some(limit), Some(slip)) =
                (lock.engage_slip_max_rpm, truth.locks[i].closed_at_radps)
            else {
                continue;
            };
            // A fault that presses the plates against the order is not our closing.
            if truth.locks[i].forced {
                continue;
            }
            let slip_rpm = slip.abs() / RPM;
            self.worst[i].see(slip_rpm, truth.t_s);
            if slip_rpm > limit || slip_rpm.is_nan() {
                let text = format!(
                    "{} began to carry torque at {slip_rpm:.1} rpm of slip; its limit is {limit} rpm",
                    lock.name,
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
            let limit = self.driveline.locks[i].engage_slip_max_rpm?;
            worst.margin(RULE, lock_name(&self.driveline, i), limit, "rpm")
        };
        self.worst.iter().enumerate().filter_map(of).collect()
    }
}
