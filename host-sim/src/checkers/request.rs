//! `SW-REQUEST`: every request ends, within a bound, in the arrangement or a stated refusal.

use std::sync::Arc;

use super::{Checker, Finding, Findings, LockSets, Margin, TickTruth, Worst};
use crate::driveline::Driveline;

const RULE: &str = "SW-REQUEST";

/// Longest time from a request to its answer, s: every lock moved twice with all its
/// time-outs, one step tried as often as allowed, and the dwells. A bound on waiting for
/// an answer, not a promise of speed.
pub fn answer_bound_s(driveline: &Driveline) -> f64 {
    let t = &driveline.timing;
    let slowest = driveline.locks.iter().map(|l| l.close_ms.max(l.release_ms)).fold(0.0, f64::max);
    let step = t.sync_timeout_ms.max(t.unload_timeout_ms) + t.confirm_timeout_ms + slowest;
    let engine = driveline.engine().map_or(0.0, |(_, e)| 3.0 * e.start_ms);
    let steps = 2.0 * driveline.locks.len() as f64 + f64::from(t.retries);
    (steps * step + engine + t.request_dwell_ms + t.min_stay_ms) / 1e3
}

/// Watches requests and their answers.
#[derive(Clone, Debug)]
pub struct RequestChecker {
    driveline: Arc<Driveline>,
    bound_s: f64,
    asked: Option<(u8, f64)>,
    request: Option<u8>,
    worst: Worst,
    findings: Findings,
}

impl RequestChecker {
    /// With the bound of [`answer_bound_s`].
    pub fn new(driveline: &Arc<Driveline>) -> RequestChecker {
        RequestChecker {
            driveline: driveline.clone(),
            bound_s: answer_bound_s(driveline),
            asked: None,
            request: None,
            worst: Worst::default(),
            findings: Findings::default(),
        }
    }
}

impl Checker for RequestChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn look(&mut self, truth: &TickTruth, _: &LockSets) {
        if truth.request != self.request || truth.reset {
            self.request = truth.request;
            self.asked = truth.request.map(|r| (r, truth.t_s - truth.dt_s));
        }
        let Some((asked, since)) = self.asked else { return };
        let waited = truth.t_s - since;
        if truth.stated_reached == Some(asked) || truth.stated_refusal {
            self.worst.see(waited, truth.t_s);
            self.asked = None;
        } else if waited > self.bound_s {
            self.worst.see(waited, truth.t_s);
            self.asked = None;
            let name = match self.driveline.arrangements.get(usize::from(asked)) {
                Some(a) => a.name.as_str(),
                None => "an arrangement that does not exist",
            };
            let text = format!(
                "{name}, asked at {since:.2} s, was neither reached nor refused within {:.1} s",
                self.bound_s,
            );
            self.findings.add(RULE, truth.t_s, text);
        }
    }

    fn finish(&mut self) -> Vec<Finding> {
        self.findings.take()
    }

    fn margins(&self) -> Vec<Margin> {
        self.worst.margin(RULE, "slowest answer", self.bound_s, "s").into_iter().collect()
    }

    fn reset(&mut self) {
        (self.asked, self.request, self.worst) = (None, None, Worst::default());
        self.findings.clear();
    }
}
