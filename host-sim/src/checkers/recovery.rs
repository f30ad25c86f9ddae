//! `SW-RECOVERY`: once every fault is gone, the arrangement that is asked for or a stated
//! refusal comes back within a bound, and stays.

use std::sync::Arc;

use super::request::answer_bound_s;
use super::{Checker, Finding, Findings, LockSets, Margin, TickTruth, Worst, reaction_s};
use crate::driveline::Driveline;

const RULE: &str = "SW-RECOVERY";

#[derive(Clone, Copy, Debug, Default)]
struct Seen {
    request: Option<u8>,
    had_fault: bool,
    /// For how long there has been no fault and no answer, s.
    lost_s: f64,
    reported: bool,
    worst: Worst,
}

/// Watches what is stated after the faults.
#[derive(Clone, Debug)]
pub struct RecoveryChecker {
    driveline: Arc<Driveline>,
    bound_s: f64,
    seen: Seen,
    findings: Findings,
}

/// Longest time from the end of the last fault to an answer, s: that of a new request, and the
/// fault's own reaction that may still be under way.
fn recovery_bound_s(driveline: &Driveline) -> f64 {
    answer_bound_s(driveline) + reaction_s(driveline)
}

impl RecoveryChecker {
    /// With a bound from the driveline's timing.
    pub fn new(driveline: &Arc<Driveline>) -> RecoveryChecker {
        RecoveryChecker {
            driveline: driveline.clone(),
            bound_s: recovery_bound_s(driveline),
            seen: Seen::default(),
            findings: Findings::default(),
        }
    }

    #[cold]
    fn report(&mut self, truth: &TickTruth) {
        let asked = truth.request.and_then(|a| self.driveline.arrangements.get(usize::from(a)));
        let asked = asked.map_or("an arrangement", |a| a.name.as_str());
        let text = format!(
            "{:.1} s after the last fault {asked} neither stands nor is refused",
            self.seen.lost_s
        );
        self.findings.add(RULE, truth.t_s, text);
    }
}

impl Checker for RecoveryChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn look(&mut self, truth: &TickTruth, _: &LockSets) {
        let s = &mut self.seen;
        if truth.faults.any || truth.reset {
            s.had_fault = true;
        }
        let answered = match truth.request {
            Some(asked) => truth.stated_reached == Some(asked) || truth.stated_refusal,
            None => truth.stated_reached.is_some() || truth.stated_any_refusal,
        };
        let anew = truth.request != s.request || truth.faults.any || truth.reset;
        s.request = truth.request;
        if answered || anew || !s.had_fault {
            (s.lost_s, s.reported) = (0.0, false);
            return;
        }
        s.lost_s += truth.dt_s;
        s.worst.see(s.lost_s, truth.t_s);
        if s.lost_s > self.bound_s && !s.reported {
            s.reported = true;
            self.report(truth);
        }
    }

    fn finish(&mut self) -> Vec<Finding> {
        self.findings.take()
    }

    fn margins(&self) -> Vec<Margin> {
        let worst = &self.seen.worst;
        worst
            .margin(RULE, "without an answer after a fault", self.bound_s, "s")
            .into_iter()
            .collect()
    }

    fn reset(&mut self) {
        self.seen = Seen::default();
        self.findings.clear();
    }
}
