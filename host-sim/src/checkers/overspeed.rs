//! `SW-OVERSPEED`: every shaft stays within its speed limits.

use super::{Checker, Finding, Findings, Margin, RPM, TickTruth, Worst};
use crate::driveline::Driveline;

const RULE: &str = "SW-OVERSPEED";

/// Watches the true speed of every shaft with a limit.
#[derive(Clone, Debug)]
pub struct OverspeedChecker {
    driveline: Driveline,
    beyond: Vec<bool>,
    worst_up: Vec<Worst>,
    worst_down: Vec<Worst>,
    findings: Findings,
}

impl OverspeedChecker {
    /// For the shafts of a driveline.
    pub fn new(driveline: &Driveline) -> OverspeedChecker {
        let n = driveline.shafts.len();
        OverspeedChecker {
            driveline: driveline.clone(),
            beyond: vec![false; n],
            worst_up: vec![Worst::default(); n],
            worst_down: vec![Worst::default(); n],
            findings: Findings::default(),
        }
    }

    /// Lowest and highest allowed speed of a shaft, rpm.
    fn limits_rpm(&self, shaft: usize) -> (f64, f64) {
        let shaft = &self.driveline.shafts[shaft];
        let high = shaft.max_rpm.unwrap_or(f64::INFINITY);
        (shaft.min_rpm.unwrap_or(-high), high)
    }
}

impl Checker for OverspeedChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn observe(&mut self, truth: &TickTruth) {
        for s in 0..self.driveline.shafts.len() {
            let (low, high) = self.limits_rpm(s);
            let rpm = truth.speed_radps[s] / RPM;
            self.worst_up[s].see(rpm, truth.t_s);
            self.worst_down[s].see(-rpm, truth.t_s);
            let inside = (low..=high).contains(&rpm);
            if !inside && !self.beyond[s] {
                let text = format!(
                    "{} turned at {rpm:.0} rpm; allowed is {low:.0} to {high:.0} rpm",
                    self.driveline.shafts[s].name,
                );
                self.findings.add(RULE, truth.t_s, text);
            }
            self.beyond[s] = !inside;
        }
    }

    fn finish(&mut self) -> Vec<Finding> {
        self.findings.take()
    }

    fn margins(&self) -> Vec<Margin> {
        let mut margins = Vec::new();
        for (s, shaft) in self.driveline.shafts.iter().enumerate() {
            let (low, high) = self.limits_rpm(s);
            if high.is_finite() {
                margins.extend(self.worst_up[s].margin_if_positive(RULE, &shaft.name, high, "rpm"));
            }
            if low.is_finite() {
                let subject = format!("{} backwards", shaft.name);
                margins.extend(self.worst_down[s].margin_if_positive(RULE, &subject, -low, "rpm"));
            }
        }
        margins
    }
}
