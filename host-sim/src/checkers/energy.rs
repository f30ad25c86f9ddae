//! `SW-ENERGY`: the friction work of one closing stays within the lock's budget.

use super::truth::lock_name;
use super::{Checker, Finding, Findings, Margin, TickTruth, Worst};
use crate::driveline::{Driveline, LockKind};

const RULE: &str = "SW-ENERGY";
/// After turning as one for this long, new slip counts as a new event, s.
const SETTLED_S: f64 = 1.0;

#[derive(Clone, Copy, Debug, Default)]
struct Event {
    work_at_start_j: f64,
    sticking_s: f64,
    open: bool,
    reported: bool,
}

/// Watches the friction work of each closing.
#[derive(Clone, Debug)]
pub struct EnergyChecker {
    driveline: Driveline,
    events: Vec<Event>,
    work_before_j: Vec<f64>,
    worst: Vec<Worst>,
    findings: Findings,
}

impl EnergyChecker {
    /// For the friction locks of a driveline.
    pub fn new(driveline: &Driveline) -> EnergyChecker {
        let n = driveline.locks.len();
        EnergyChecker {
            driveline: driveline.clone(),
            events: vec![Event::default(); n],
            work_before_j: vec![0.0; n],
            worst: vec![Worst::default(); n],
            findings: Findings::default(),
        }
    }

    fn budget_kj(&self, lock: usize) -> Option<f64> {
        match &self.driveline.locks[lock].kind {
            LockKind::Friction(f) => Some(f.energy_budget_kj),
            LockKind::Dog(_) => None,
        }
    }
}

impl Checker for EnergyChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn observe(&mut self, truth: &TickTruth) {
        for i in 0..self.driveline.locks.len() {
            let lock = truth.locks[i];
            let before = std::mem::replace(&mut self.work_before_j[i], lock.work_j);
            let Some(budget) = self.budget_kj(i) else { continue };
            let event = &mut self.events[i];
            if !lock.engaged {
                event.open = false;
                continue;
            }
            event.sticking_s = if lock.sticking { event.sticking_s + truth.dt_s } else { 0.0 };
            if !event.open || event.sticking_s > SETTLED_S {
                *event = Event { work_at_start_j: before, open: true, ..Event::default() };
            }
            let work_kj = (lock.work_j - event.work_at_start_j) / 1e3;
            self.worst[i].see(work_kj, truth.t_s);
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
        let of = |(i, worst): (usize, &Worst)| {
            worst.margin(RULE, lock_name(&self.driveline, i), self.budget_kj(i)?, "kJ")
        };
        self.worst.iter().enumerate().filter_map(of).collect()
    }
}
