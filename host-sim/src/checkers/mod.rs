//! The judges: each looks at the plant's truth only, never at the supervisor's code.
//!
//! One checker a file, one rule identifier a checker. What the supervisor states (an
//! arrangement reached, a refusal) is input like any other and is held against the truth.

mod alarm;
mod begin;
mod chatter;
mod conflict;
mod decel;
mod energy;
mod engine;
mod gap;
mod heat;
mod inertia;
mod inside;
mod judges;
mod load;
mod motion;
mod overlap;
mod overspeed;
mod reaction;
mod recovery;
mod request;
mod slip;
mod stated;
mod truth;

pub use alarm::AlarmChecker;
pub use begin::BeginChecker;
pub use chatter::ChatterChecker;
pub use conflict::ConflictChecker;
pub use decel::DecelChecker;
pub use energy::EnergyChecker;
pub use engine::EngineChecker;
pub use gap::GapChecker;
pub use heat::HeatChecker;
pub use judges::Judges;
pub use load::LoadChecker;
pub use motion::MotionChecker;
pub use overlap::OverlapChecker;
pub use overspeed::OverspeedChecker;
pub use reaction::ReactionChecker;
pub use recovery::RecoveryChecker;
pub use request::{RequestChecker, answer_bound_s};
pub use slip::SlipChecker;
pub use stated::StatedChecker;
pub use truth::{Claim, FaultTruth, LockSets, LockTruth, MAX_SHAFTS, TickTruth};

use crate::driveline::{Driveline, Lock, LockKind};
use crate::kinematics::Kinematics;

/// Rad/s per rpm.
pub(crate) const RPM: f64 = std::f64::consts::PI / 30.0;
/// Most findings one checker reports; the rest is counted in the last one's text.
const MOST_FINDINGS: usize = 20;

/// Something that must not happen and did.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Identifier of the rule, like `SW-CONFLICT`.
    pub rule: &'static str,
    /// When, s from the start of the run.
    pub t_s: f64,
    /// What happened, in plain words with names and numbers.
    pub text: String,
}

/// How near a run came to a limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Margin {
    /// Identifier of the rule.
    pub rule: &'static str,
    /// The lock, shaft or request it is about.
    pub subject: String,
    /// Whether the limit is a lowest value (else a highest one).
    pub at_least: bool,
    /// The worst value seen.
    pub worst: f64,
    /// The limit it is held against.
    pub limit: f64,
    /// Unit of both.
    pub unit: &'static str,
    /// When the worst value was seen, s.
    pub t_s: f64,
}

/// One judge.
pub trait Checker {
    /// Identifier of its rule.
    fn id(&self) -> &'static str;
    /// Look at one tick, of which `sets` are the [lock sets](TickTruth::lock_sets); ticks come in
    /// order of time.
    fn look(&mut self, truth: &TickTruth, sets: &LockSets);
    /// The same, for one judge by itself.
    fn observe(&mut self, truth: &TickTruth) {
        self.look(truth, &truth.lock_sets());
    }
    /// All that was found; call it once, after the last tick.
    fn finish(&mut self) -> Vec<Finding>;
    /// How near the run came to the limits; empty when nothing to measure occurred.
    fn margins(&self) -> Vec<Margin>;
    /// Forget the run: as new, for the next run of the same driveline.
    fn reset(&mut self);
}

/// All judges for one driveline.
pub fn all(driveline: &Driveline, kinematics: &Kinematics) -> Vec<Box<dyn Checker>> {
    Judges::new(driveline, kinematics).into_list()
}

/// Longest time a fault may act before its reaction must show, s.
pub(crate) fn reaction_s(driveline: &Driveline) -> f64 {
    driveline.timing.fault_tolerant_time_ms.unwrap_or(500.0) / 1e3
}

/// Slip of a lock beyond which its sides surely turn apart, rad/s.
pub(crate) fn shows_radps(lock: &Lock) -> f64 {
    lock.engage_slip_max_rpm.unwrap_or(f64::INFINITY) * RPM
}

/// Time for the torque of a lock to rise from the kiss point to its capacity, ms.
pub(crate) fn ramp_ms(driveline: &Driveline, lock: usize) -> f64 {
    match &driveline.locks[lock].kind {
        LockKind::Friction(f) => f.ramp_ms,
        LockKind::Dog(_) => 0.0,
    }
}

/// Findings of one checker, bounded in number.
#[derive(Clone, Debug, Default)]
pub(crate) struct Findings {
    list: Vec<Finding>,
    more: usize,
}

impl Findings {
    #[cold]
    pub(crate) fn add(&mut self, rule: &'static str, t_s: f64, text: String) {
        if self.list.len() < MOST_FINDINGS {
            self.list.push(Finding { rule, t_s, text });
        } else {
            self.more += 1;
        }
    }

    pub(crate) fn clear(&mut self) {
        self.list.clear();
        self.more = 0;
    }

    pub(crate) fn take(&mut self) -> Vec<Finding> {
        let mut list = std::mem::take(&mut self.list);
        if let (Some(last), true) = (list.last_mut(), self.more > 0) {
            last.text += &format!(" (and {} more of this rule)", self.more);
        }
        self.more = 0;
        list
    }
}

/// The worst value of one subject so far.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Worst {
    /// Minus infinity: nothing was seen.
    value: f64,
    t_s: f64,
}

impl Default for Worst {
    fn default() -> Worst {
        Worst::NONE
    }
}

impl Worst {
    pub(crate) const NONE: Worst = Worst { value: f64::NEG_INFINITY, t_s: 0.0 };

    pub(crate) fn see(&mut self, value: f64, t_s: f64) {
        if value > self.value {
            *self = Worst { value, t_s };
        }
    }

    /// `None` when nothing was seen, or never anything on this side of zero.
    pub(crate) fn margin_if_positive(
        &self,
        rule: &'static str,
        subject: &str,
        limit: f64,
        unit: &'static str,
    ) -> Option<Margin> {
        self.margin(rule, subject, limit, unit).filter(|m| m.worst > 0.0)
    }

    pub(crate) fn margin(
        &self,
        rule: &'static str,
        subject: &str,
        limit: f64,
        unit: &'static str,
    ) -> Option<Margin> {
        let &Worst { value: worst, t_s } = self;
        let subject = subject.to_owned();
        let margin = Margin { rule, subject, at_least: false, worst, limit, unit, t_s };
        (worst > f64::NEG_INFINITY).then_some(margin)
    }
}
