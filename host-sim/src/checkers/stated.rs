//! `SW-STATED`: when the supervisor states an arrangement, the locks truly are so.

use std::sync::Arc;

use super::truth::set_text;
use super::{
    Checker, Finding, Findings, LockSets, Margin, TickTruth, Worst, reaction_s, shows_radps,
};
use crate::driveline::Driveline;

const RULE: &str = "SW-STATED";

/// Watches the stated arrangement against the locks' true state.
#[derive(Clone, Debug)]
pub struct StatedChecker {
    driveline: Arc<Driveline>,
    /// Lock set of each arrangement.
    closed: Vec<u8>,
    reaction_s: f64,
    /// Slip of each lock beyond which its sides surely turn apart, rad/s.
    shows_radps: Vec<f64>,
    /// A fault has been in this run.
    faulty: bool,
    wrong_since_s: Option<f64>,
    reported: bool,
    worst: Worst,
    findings: Findings,
}

impl StatedChecker {
    /// For the arrangements of a driveline.
    pub fn new(driveline: &Arc<Driveline>) -> StatedChecker {
        StatedChecker {
            driveline: driveline.clone(),
            closed: driveline.arrangements.iter().map(|a| a.closed).collect(),
            reaction_s: reaction_s(driveline),
            shows_radps: driveline.locks.iter().map(shows_radps).collect(),
            faulty: false,
            wrong_since_s: None,
            reported: false,
            worst: Worst::default(),
            findings: Findings::default(),
        }
    }
}

impl StatedChecker {
    /// Whether nothing could tell that these locks are not as they are stated: the switch of each lies,
    /// and its sides do not turn apart.
    fn is_hidden(&self, locks: u8, truth: &TickTruth) -> bool {
        let lie = truth.faults.switches & locks == locks;
        let mut of_them = truth.locks.iter().zip(&self.shows_radps).enumerate();
        lie && of_them
            .all(|(i, (lock, shows))| locks >> i & 1 == 0 || lock.slip_radps.abs() <= *shows)
    }
}

impl Checker for StatedChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn look(&mut self, truth: &TickTruth, sets: &LockSets) {
        self.faulty |= truth.faults.any || truth.engine_fault;
        let stated = truth.stated_reached.map(usize::from);
        let engaged = sets.engaged;
        let differs = |a: usize| self.closed.get(a).map_or(0, |&set| set ^ engaged);
        let shows = |locks: u8| locks != 0 && !self.is_hidden(locks, truth);
        let wrong = stated.filter(|&a| shows(differs(a)));
        let Some(arrangement) = wrong else {
            self.wrong_since_s = None;
            self.reported = false;
            return;
        };
        let since = *self.wrong_since_s.get_or_insert(truth.t_s - truth.dt_s);
        let lasted = truth.t_s - since;
        self.worst.see(lasted, truth.t_s);
        // Nothing that is sound takes time to be found out.
        let limit_s = if self.faulty { self.reaction_s } else { 0.0 };
        if lasted > limit_s && !self.reported {
            self.reported = true;
            let text = format!(
                "{} was stated for {lasted:.2} s while {} closed truly",
                self.driveline.arrangements[arrangement].name,
                match engaged.count_ones() {
                    0 | 1 => set_text(&self.driveline, engaged) + " is",
                    _ => set_text(&self.driveline, engaged) + " are",
                },
            );
            self.findings.add(RULE, truth.t_s, text);
        }
    }

    fn finish(&mut self) -> Vec<Finding> {
        self.findings.take()
    }

    fn margins(&self) -> Vec<Margin> {
        let limit = self.reaction_s;
        self.worst.margin(RULE, "wrong arrangement stated", limit, "s").into_iter().collect()
    }

    fn reset(&mut self) {
        (self.wrong_since_s, self.reported, self.worst) = (None, false, Worst::default());
        self.faulty = false;
        self.findings.clear();
    }
}
