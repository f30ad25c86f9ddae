//! `SW-HEAT`: no friction lock closes while its plates are too hot, and none gets hotter than one
//! more closing makes it.

use std::sync::Arc;

use supervisor::bits::MAX_LOCKS;

use super::truth::lock_name;
use super::{Checker, Finding, Findings, LockSets, Margin, TickTruth, Worst};
use crate::driveline::{Driveline, LockKind};

const RULE: &str = "SW-HEAT";
/// Heat that a fault brought in is forgiven until the rise is below this share of the limit.
const COOLED_SHARE: f64 = 0.25;

/// Limits of one lock's plates, K over the oil.
#[derive(Clone, Copy, Debug)]
struct Limits {
    /// Above this no closing may begin.
    begin_k: f64,
    /// That, and what the budget of one closing adds.
    most_k: f64,
}

#[derive(Clone, Copy, Debug, Default)]
struct Plates {
    before_k: f64,
    forgiven: bool,
    reported: bool,
    at_closing: Worst,
    hottest: Worst,
}

/// Watches the true temperature of every friction lock.
#[derive(Clone, Debug)]
pub struct HeatChecker {
    driveline: Arc<Driveline>,
    count: usize,
    limits: [Option<Limits>; MAX_LOCKS],
    plates: [Plates; MAX_LOCKS],
    findings: Findings,
}

impl HeatChecker {
    /// For the friction locks of a driveline.
    pub fn new(driveline: &Arc<Driveline>) -> HeatChecker {
        let mut limits = [None; MAX_LOCKS];
        for (limit, lock) in limits.iter_mut().zip(&driveline.locks) {
            if let LockKind::Friction(f) = &lock.kind {
                let one_k = f.energy_budget_kj / f.heat_capacity_kj_per_k;
                *limit = Some(Limits { begin_k: f.max_rise_k, most_k: f.max_rise_k + one_k });
            }
        }
        HeatChecker {
            driveline: driveline.clone(),
            count: driveline.locks.len().min(MAX_LOCKS),
            limits,
            plates: [Plates::default(); MAX_LOCKS],
            findings: Findings::default(),
        }
    }

    #[cold]
    fn report(&mut self, lock: usize, t_s: f64, did: &str, rise_k: f64, limit_k: f64) {
        let name = lock_name(&self.driveline, lock);
        let text = format!("{name} {did} {rise_k:.1} K over the oil; its limit is {limit_k:.1} K");
        self.findings.add(RULE, t_s, text);
    }
}

impl Checker for HeatChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn look(&mut self, truth: &TickTruth, _: &LockSets) {
        for i in 0..self.count {
            let Some(limits) = self.limits[i] else { continue };
            let (lock, plates) = (&truth.locks[i], &mut self.plates[i]);
            let before_k = std::mem::replace(&mut plates.before_k, lock.rise_k);
            if truth.has_actuator_fault(i) {
                plates.forgiven = true;
            }
            if plates.forgiven {
                let cooled = lock.rise_k < COOLED_SHARE * limits.begin_k;
                plates.forgiven = !cooled || truth.has_actuator_fault(i);
                continue;
            }
            plates.hottest.see(lock.rise_k, truth.t_s);
            let too_hot = lock.rise_k > limits.most_k || lock.rise_k.is_nan();
            let fresh = too_hot && !plates.reported;
            plates.reported = too_hot;
            let closes_hot = lock.closed_at_radps.is_some() && {
                plates.at_closing.see(before_k, truth.t_s);
                before_k > limits.begin_k
            };
            if closes_hot {
                self.report(i, truth.t_s, "began to close at", before_k, limits.begin_k);
            }
            if fresh {
                self.report(i, truth.t_s, "became as hot as", lock.rise_k, limits.most_k);
            }
        }
    }

    fn finish(&mut self) -> Vec<Finding> {
        self.findings.take()
    }

    fn margins(&self) -> Vec<Margin> {
        let mut margins = Vec::new();
        for (i, plates) in self.plates.iter().enumerate() {
            let Some(limits) = self.limits[i] else { continue };
            let name = lock_name(&self.driveline, i);
            let closing = format!("{name} at its closing");
            margins.extend(plates.at_closing.margin(RULE, &closing, limits.begin_k, "K"));
            margins.extend(plates.hottest.margin_if_positive(RULE, name, limits.most_k, "K"));
        }
        margins
    }

    fn reset(&mut self) {
        self.plates = [Plates::default(); MAX_LOCKS];
        self.findings.clear();
    }
}
