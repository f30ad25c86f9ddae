//! `SW-STATED`: when the supervisor states an arrangement, the locks truly are so.

use std::sync::Arc;

use supervisor::bits::MAX_LOCKS;
use supervisor::io::LockOrder;

use super::truth::{lock_name, set_text};
use super::{
    Checker, Finding, Findings, LockSets, Margin, TickTruth, Worst, ramp_ms, reaction_s,
    shows_radps,
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
    /// Time that each lock takes to hold all that it can, and to let go, s.
    takes_s: [(f64, f64); MAX_LOCKS],
    ordered: [LockOrder; MAX_LOCKS],
    /// Until when each lock cannot be as it was last told to be, s.
    not_before_s: [f64; MAX_LOCKS],
    said_early: bool,
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
        let mut takes_s = [(0.0, 0.0); MAX_LOCKS];
        for (i, lock) in driveline.locks.iter().enumerate().take(MAX_LOCKS) {
            takes_s[i] = ((lock.close_ms + ramp_ms(driveline, i)) / 1e3, lock.release_ms / 1e3);
        }
        StatedChecker {
            takes_s,
            ordered: [LockOrder::Open; MAX_LOCKS],
            not_before_s: [f64::NEG_INFINITY; MAX_LOCKS],
            said_early: false,
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
    /// Note what the locks are told, and until when they cannot be so.
    fn note_orders(&mut self, truth: &TickTruth) {
        for (i, lock) in truth.locks.iter().enumerate() {
            let before = std::mem::replace(&mut self.ordered[i], lock.order);
            let (close_s, release_s) = self.takes_s[i];
            let began_s = truth.t_s - truth.dt_s;
            if before == lock.order {
                continue;
            }
            if lock.order == LockOrder::Close && !lock.engaged {
                self.not_before_s[i] = began_s + close_s;
            } else if before == LockOrder::Close && lock.engaged {
                self.not_before_s[i] = began_s + release_s;
            }
        }
    }

    /// A lock that cannot have come yet to where the stated arrangement has it: no fault hides that.
    fn early(&self, truth: &TickTruth) -> Option<usize> {
        let mut locks = self.not_before_s.iter().zip(&truth.locks);
        let half_s = 0.5 * truth.dt_s;
        // One that is told to open and is open is where it should be, however soon.
        locks.position(|(not_before_s, lock)| {
            let closes = lock.order == LockOrder::Close;
            truth.t_s + half_s < *not_before_s && (closes || lock.engaged)
        })
    }

    #[cold]
    fn report_early(&mut self, arrangement: usize, lock: usize, truth: &TickTruth) {
        let text = format!(
            "{} was stated {:.0} ms before {} can be {}",
            self.driveline.arrangements[arrangement].name,
            (self.not_before_s[lock] - truth.t_s) * 1e3,
            lock_name(&self.driveline, lock),
            match truth.locks[lock].order {
                LockOrder::Close => "pressed",
                _ => "open",
            },
        );
        self.findings.add(RULE, truth.t_s, text);
    }

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
        self.note_orders(truth);
        let early = stated.filter(|a| *a < self.closed.len()).zip(self.early(truth));
        if let (Some((arrangement, lock)), false) = (early, self.said_early) {
            self.report_early(arrangement, lock, truth);
        }
        self.said_early = early.is_some();
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
        self.ordered = [LockOrder::Open; MAX_LOCKS];
        self.not_before_s = [f64::NEG_INFINITY; MAX_LOCKS];
        self.said_early = false;
        self.findings.clear();
    }
}
