//! `SW-OVERSPEED`: every shaft stays within its speed limits.

use std::sync::Arc;

use super::{Checker, Finding, Findings, LockSets, MAX_SHAFTS, Margin, RPM, TickTruth, Worst};
use crate::driveline::Driveline;

const RULE: &str = "SW-OVERSPEED";

/// Lowest and highest allowed speed of a shaft and what was seen of it, rad/s.
#[derive(Clone, Copy, Debug, Default)]
struct Watched {
    low: f64,
    high: f64,
    beyond: bool,
    worst_up: Worst,
    worst_down: Worst,
}

/// Watches the true speed of every shaft with a limit.
#[derive(Clone, Debug)]
pub struct OverspeedChecker {
    driveline: Arc<Driveline>,
    count: usize,
    watched: [Watched; MAX_SHAFTS],
    findings: Findings,
}

/// Lowest and highest allowed speed of a shaft, rpm.
fn limits_rpm(driveline: &Driveline, shaft: usize) -> (f64, f64) {
    let shaft = &driveline.shafts[shaft];
    let high = shaft.max_rpm.unwrap_or(f64::INFINITY);
    (shaft.min_rpm.unwrap_or(-high), high)
}

impl OverspeedChecker {
    /// For the shafts of a driveline.
    pub fn new(driveline: &Arc<Driveline>) -> OverspeedChecker {
        let count = driveline.shafts.len().min(MAX_SHAFTS);
        let mut watched = [Watched::default(); MAX_SHAFTS];
        for (s, w) in watched.iter_mut().enumerate().take(count) {
            let (low, high) = limits_rpm(driveline, s);
            (w.low, w.high) = (low * RPM, high * RPM);
        }
        let findings = Findings::default();
        OverspeedChecker { driveline: driveline.clone(), count, watched, findings }
    }

    #[cold]
    fn report(&mut self, shaft: usize, radps: f64, t_s: f64) {
        let (low, high) = limits_rpm(&self.driveline, shaft);
        let text = format!(
            "{} turned at {:.0} rpm; allowed is {low:.0} to {high:.0} rpm",
            self.driveline.shafts[shaft].name,
            radps / RPM,
        );
        self.findings.add(RULE, t_s, text);
    }
}

impl Checker for OverspeedChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn look(&mut self, truth: &TickTruth, _: &LockSets) {
        for s in 0..self.count {
            let w = &mut self.watched[s];
            let radps = truth.speed_radps[s];
            w.worst_up.see(radps, truth.t_s);
            w.worst_down.see(-radps, truth.t_s);
            let beyond = !(w.low..=w.high).contains(&radps);
            if beyond && !std::mem::replace(&mut w.beyond, beyond) {
                self.report(s, radps, truth.t_s);
            } else {
                w.beyond = beyond;
            }
        }
    }

    fn finish(&mut self) -> Vec<Finding> {
        self.findings.take()
    }

    fn margins(&self) -> Vec<Margin> {
        let mut margins = Vec::new();
        let in_rpm = |m: Margin| Margin { worst: m.worst / RPM, ..m };
        for (s, shaft) in self.driveline.shafts.iter().enumerate().take(self.count) {
            let ((low, high), w) = (limits_rpm(&self.driveline, s), &self.watched[s]);
            if high.is_finite() {
                let up = w.worst_up.margin_if_positive(RULE, &shaft.name, high, "rpm");
                margins.extend(up.map(in_rpm));
            }
            if low.is_finite() {
                let subject = format!("{} backwards", shaft.name);
                let down = w.worst_down.margin_if_positive(RULE, &subject, -low, "rpm");
                margins.extend(down.map(in_rpm));
            }
        }
        margins
    }

    fn reset(&mut self) {
        for w in &mut self.watched {
            *w = Watched { low: w.low, high: w.high, ..Watched::default() };
        }
        self.findings.clear();
    }
}
