//! What must always hold, and how a tick is judged.

use supervisor::bits::Bits;
use supervisor::decide::{Plan, overlap_end};
use supervisor::interlock::pass;
use supervisor::kernel::{Kernel, Ruling};
use supervisor::status::Phase;
use supervisor::table::Table;

use super::model::{Node, Subject};
use super::senses::Senses;

/// What must always hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[repr(u8)]
pub enum Always {
    /// No forbidden lock set is pressed or held, in truth or by order.
    NoConflict,
    /// A closing begins only with its slip known, small and steady.
    SlipFirst,
    /// A closing that completes an overlap begins only with the held shafts at rest.
    RestFirst,
    /// A closing never joins the engine to a lock set that holds a machine.
    NoEngine,
    /// An overlap that lasts too long gets no torque unless it is being left, and then ends.
    ShortOverlap,
    /// Nothing is closed before every other lock is known.
    KnownFirst,
    /// At most one closing begins in a tick.
    OneAtATime,
    /// The interlock only ever takes orders away, and never keeps a lock closed.
    OnlyDenies,
}

impl Always {
    /// All of them.
    pub const ALL: [Always; 8] = [
        Always::NoConflict,
        Always::SlipFirst,
        Always::RestFirst,
        Always::NoEngine,
        Always::ShortOverlap,
        Always::KnownFirst,
        Always::OneAtATime,
        Always::OnlyDenies,
    ];

    /// Its identifier.
    pub fn id(self) -> &'static str {
        match self {
            Always::NoConflict => "EX-CONFLICT",
            Always::SlipFirst => "EX-SLIP",
            Always::RestFirst => "EX-REST",
            Always::NoEngine => "EX-ENGINE",
            Always::ShortOverlap => "EX-OVERLAP",
            Always::KnownFirst => "EX-KNOWN",
            Always::OneAtATime => "EX-ONE",
            Always::OnlyDenies => "EX-DENY",
        }
    }

    /// In words.
    pub fn text(self) -> &'static str {
        match self {
            Always::NoConflict => "no forbidden lock set is ever pressed or held",
            Always::SlipFirst => "a closing begins only with its slip known, small and steady",
            Always::RestFirst => "an overlap is closed only with the held shafts at rest",
            Always::NoEngine => "the engine is never joined to a lock set that holds a machine",
            Always::ShortOverlap => {
                "an overlap that lasts too long gets no torque but to leave it, and then ends"
            }
            Always::KnownFirst => "a closing begins only when every other lock is known",
            Always::OneAtATime => "at most one closing begins in a tick",
            Always::OnlyDenies => "the interlock only takes orders away",
        }
    }

    /// Whether it can be asked of this subject at all. Orders that stand in for a decision leave
    /// no belief about locks and no plan for the machines; where they are a planted defect, that
    /// nothing is known before a closing is part of it.
    pub fn is_judged(self, subject: Subject) -> bool {
        match self {
            Always::ShortOverlap => matches!(subject, Subject::Kernel | Subject::DecisionAlone),
            Always::KnownFirst => subject != Subject::InterlockAlone,
            Always::OnlyDenies => subject != Subject::DecisionAlone,
            _ => true,
        }
    }

    /// Its bit in a mask.
    pub const fn bit(self) -> u8 {
        1 << self as u8
    }
}

/// Those of a mask.
pub fn of_mask(mask: u8) -> impl Iterator<Item = Always> {
    Always::ALL.into_iter().filter(move |always| mask & always.bit() != 0)
}

/// What one tick of the kernel broke, or will have broken if the world is so.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Verdict {
    /// Broken whatever the world.
    pub broken: u8,
    /// Locks whose closing began.
    pub begun: Bits,
    /// Overlaps that `begun` belongs to and whose shafts were not found at rest.
    pub unrested: u64,
}

/// The true rules that a tick is judged by.
#[derive(Clone, Copy)]
pub struct Judge<'a> {
    /// Conflicts, overlaps, lock sets and the longest overlap as they truly are; the kernel's
    /// own table may be a broken one.
    pub truth: &'a Table<'a>,
    /// What is explored.
    pub subject: Subject,
}

impl Judge<'_> {
    /// What a tick of the kernel broke by itself.
    pub fn tick(
        &self,
        before: &Node,
        after: &Kernel,
        ruling: &Ruling,
        ordered: Bits,
        senses: &Senses,
    ) -> Verdict {
        let begun = ordered.without(before.closing);
        let mut broken = 0;
        let mut fire = |always: Always, is: bool| broken |= if is { always.bit() } else { 0 };
        fire(Always::SlipFirst, begun.iter().any(|lock| !senses.was_ready(lock)));
        fire(Always::OneAtATime, begun.count() > 1);
        let gated = Always::OnlyDenies.is_judged(self.subject);
        let gate = pass(senses.table(), &ruling.seen);
        let only_denies = gate.contains(ordered) && ruling.seen.wanted.contains(ordered);
        fire(Always::OnlyDenies, gated && !only_denies);
        let locks = after.state().locks();
        let known = locks.held().or(locks.shown_open()).or(begun);
        let all = Bits::first(self.truth.lock_count());
        let judged = |always: Always| always.is_judged(self.subject);
        let unknown = !begun.is_empty() && !known.contains(all);
        fire(Always::KnownFirst, judged(Always::KnownFirst) && unknown);
        let outlasted = self.outlasted(before, after, ruling) || self.kept(before, after, ordered);
        fire(Always::ShortOverlap, judged(Always::ShortOverlap) && outlasted);
        let unrested = (0u32..).zip(self.truth.overlaps).fold(0, |mask, (i, overlap)| {
            let bad =
                !overlap.locks.and(begun).is_empty() && !senses.were_at_rest(overlap.machines);
            mask | u64::from(bad) << i.min(63)
        });
        Verdict { broken, begun, unrested }
    }

    /// Whether an overlap has lasted too long and torque is still asked for.
    fn outlasted(&self, before: &Node, after: &Kernel, ruling: &Ruling) -> bool {
        let state = after.state();
        if state.overlap_ticks() <= self.truth.timing.overlap_max {
            return false;
        }
        let leaving = match state.phase() {
            Phase::Prepare { .. } => state.gave_up(),
            Phase::Closing { .. } | Phase::Opening { .. } => true,
            // The tick in which a lock action ends still asks for what its step needs.
            Phase::Wake | Phase::Rest | Phase::Settle => matches!(
                before.kernel.state().phase(),
                Phase::Prepare { .. } | Phase::Closing { .. } | Phase::Opening { .. }
            ),
        };
        !matches!(ruling.decision.plan, Plan::Cut | Plan::Off) && !leaving
    }

    /// Whether an overlap should have ended by now and a lock of it is still ordered closed,
    /// although no lock is being let go: while there is one, each tick lets one go.
    fn kept(&self, before: &Node, after: &Kernel, ordered: Bits) -> bool {
        let state = after.state();
        let acting =
            matches!(before.kernel.state().phase(), Phase::Closing { .. } | Phase::Opening { .. });
        let due = state.overlap_ticks() > overlap_end(self.truth);
        let lets_go = !before.closing.without(ordered).is_empty();
        let closed = state.held().or(ordered);
        let mine = |locks: Bits| closed.contains(locks) && !locks.and(ordered).is_empty();
        due && !acting && !lets_go && self.truth.overlaps.iter().any(|o| mine(o.locks))
    }

    /// What the tick broke in this world.
    pub fn in_world(&self, verdict: &Verdict, ordered: Bits, pressed: Bits) -> u8 {
        let pressed = pressed.or(ordered);
        let mut broken = verdict.broken;
        if self.truth.forbids(pressed) {
            broken |= Always::NoConflict.bit();
        }
        let within = |locks: Bits| pressed.contains(locks);
        for (i, overlap) in (0u32..).zip(self.truth.overlaps) {
            let unrested = verdict.unrested >> i.min(63) & 1 == 1;
            if unrested && within(overlap.locks) {
                broken |= Always::RestFirst.bit();
            }
        }
        if !verdict.begun.is_empty()
            && self.truth.set(pressed).engine_joined
            && self.truth.overlaps.iter().any(|overlap| within(overlap.locks))
        {
            broken |= Always::NoEngine.bit();
        }
        broken
    }
}
