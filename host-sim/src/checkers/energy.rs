//! `SW-ENERGY`: the friction work of one closing stays within the lock's budget.

use std::sync::Arc;

use supervisor::bits::MAX_LOCKS;

use super::truth::lock_name;
use super::{Checker, Finding, Findings, LockSets, Margin, TickTruth, Worst, reaction_s};
use crate::driveline::{Driveline, LockKind};

const RULE: &str = "SW-ENERGY";
/// After turning as one for this long, new slip counts as a new event, s.
const SETTLED_S: f64 = 1.0;

#[derive(Clone, Copy, Debug, Default)]
struct Event {
    work_at_start_j: f64,
    work_before_j: f64,
    sticking_s: f64,
    open: bool,
    forced_s: f64,
    reported: bool,
    worst: Worst,
}

/// Watches the friction work of each closing.
#[derive(Clone, Debug)]
pub struct EnergyChecker {
    driveline: Arc<Driveline>,
    count: usize,
    reaction_s: f64,
    budget_kj: [Option<f64>; MAX_LOCKS],
    events: [Event; MAX_LOCKS],
    findings: Findings,
}

impl EnergyChecker {
    /// For the friction locks of a driveline.
    pub fn new(driveline: &Arc<Driveline>) -> EnergyChecker {
        let mut budget_kj = [None; MAX_LOCKS];
        for (budget, lock) in budget_kj.iter_mut().zip(&driveline.locks) {
            if let LockKind::Friction(f) = &lock.kind {
                *budget = Some(f.energy_budget_kj);
            }
        }
        EnergyChecker {
            driveline: driveline.clone(),
            count: driveline.locks.len().min(MAX_LOCKS),
            reaction_s: reaction_s(driveline),
            budget_kj,
            events: [Event::default(); MAX_LOCKS],
            findings: Findings::default(),
        }
    }
}

impl Checker for EnergyChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn look(&mut self, truth: &TickTruth, _: &LockSets) {
        for i in 0..self.count {
            let Some(budget) = self.budget_kj[i] else { continue };
            let (lock, event) = (&truth.locks[i], &mut self.events[i]);
            let before = std::mem::replace(&mut event.work_before_j, lock.work_j);
            if !lock.engaged {
                event.open = false;
                continue;
            }
            event.sticking_s = if lock.sticking { event.sticking_s + truth.dt_s } else { 0.0 };
            if !event.open || event.sticking_s > SETTLED_S {
                event.work_at_start_j = before;
                event.sticking_s = 0.0;
                event.open = true;
                event.reported = false;
            }
            // What a fault's press takes in the reaction time cannot be kept from the plates; what
            // it takes after that counts.
            event.forced_s = if lock.forced { event.forced_s + truth.dt_s } else { 0.0 };
            if lock.forced && event.forced_s <= self.reaction_s {
                event.work_at_start_j = lock.work_j;
            }
            let work_kj = (lock.work_j - event.work_at_start_j) * 1e-3;
            event.worst.see(work_kj, truth.t_s);
            if (work_kj > budget || work_kj.is_nan()) && !event.reported {
                event.reported = true;
                let text = format!(
                    "{} took {work_kj:.2} kJ of friction work in one closing; its budget is {budget} kJ",
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
        let of = |(i, event): (usize, &Event)| {
            let budget = self.budget_kj[i]?;
            event.worst.margin(RULE, lock_name(&self.driveline, i), budget, "kJ")
        };
        self.events.iter().enumerate().filter_map(of).collect()
    }

    fn reset(&mut self) {
        self.events = [Event::default(); MAX_LOCKS];
        self.findings.clear();
    }
}
