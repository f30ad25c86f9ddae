//! What was seen at least once.

use std::collections::BTreeSet;

use supervisor::status::{Phase, Refusal};

use super::model::{KernelTick, Released};

/// A set of small numbers.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Seen(Vec<u64>);

impl Seen {
    /// Put a number in.
    pub fn put(&mut self, number: usize) {
        if self.0.len() <= number / 64 {
            self.0.resize(number / 64 + 1, 0);
        }
        self.0[number / 64] |= 1 << (number % 64);
    }

    /// Whether a number is in.
    pub fn has(&self, number: usize) -> bool {
        self.0.get(number / 64).is_some_and(|word| word >> (number % 64) & 1 == 1)
    }

    /// The numbers, rising.
    pub fn numbers(&self) -> BTreeSet<usize> {
        (0..self.0.len() * 64).filter(|&n| self.has(n)).collect()
    }

    fn take(&mut self, other: &Seen) {
        other.numbers().into_iter().for_each(|n| self.put(n));
    }
}

/// What the supervisor does about a fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[repr(u8)]
pub enum Reaction {
    /// A lock that would not close is not tried again.
    StuckOpen,
    /// A lock that would not open is reckoned with.
    StuckClosed,
    /// A switch that the speeds speak against.
    Switch,
    /// A lock opened by itself.
    Lost,
    /// A failed attempt is made again.
    Retry,
    /// A way that is not the first is followed.
    OtherWay,
    /// A request is given up.
    GaveUp,
    /// The interlock lets a lock go to end a conflict.
    LetGo,
    /// A closing is denied by the interlock.
    Denied,
    /// A lock is filled before it is closed.
    Filled,
    /// An overlap that has lasted too long is ended, loaded or not.
    OverlapEnded,
    /// An engine that is being dragged down is released, loaded or not.
    EngineReleased,
}

impl Reaction {
    /// All of them.
    pub const ALL: [Reaction; 12] = [
        Reaction::StuckOpen,
        Reaction::StuckClosed,
        Reaction::Switch,
        Reaction::Lost,
        Reaction::Retry,
        Reaction::OtherWay,
        Reaction::GaveUp,
        Reaction::LetGo,
        Reaction::Denied,
        Reaction::Filled,
        Reaction::OverlapEnded,
        Reaction::EngineReleased,
    ];

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            Reaction::StuckOpen => "stuck-open",
            Reaction::StuckClosed => "stuck-closed",
            Reaction::Switch => "switch-doubted",
            Reaction::Lost => "opened-by-itself",
            Reaction::Retry => "tried-again",
            Reaction::OtherWay => "other-way",
            Reaction::GaveUp => "given-up",
            Reaction::LetGo => "let-go",
            Reaction::Denied => "denied",
            Reaction::Filled => "filled",
            Reaction::OverlapEnded => "overlap-ended",
            Reaction::EngineReleased => "engine-released",
        }
    }
}

/// Kinds of refusal, by name, in the order of their numbers.
pub const REFUSALS: [&str; 17] = [
    "no-way",
    "arrangement-speed",
    "road-speed",
    "target-speed",
    "torque",
    "hot",
    "engine-not-running",
    "sensors",
    "not-calm",
    "switch",
    "sync-timeout",
    "unload-timeout",
    "not-closed",
    "not-opened",
    "interlock",
    "overlap-too-long",
    "table",
];

pub(crate) fn refusal_number(refusal: Refusal) -> usize {
    match refusal {
        Refusal::NoWay(_) => 0,
        Refusal::ArrangementSpeed { .. } => 1,
        Refusal::RoadSpeed { .. } => 2,
        Refusal::TargetSpeed { .. } => 3,
        Refusal::Torque { .. } => 4,
        Refusal::Hot { .. } => 5,
        Refusal::EngineNotRunning => 6,
        Refusal::Sensors { .. } => 7,
        Refusal::NotCalm => 8,
        Refusal::Switch { .. } => 9,
        Refusal::SyncTimeout { .. } => 10,
        Refusal::UnloadTimeout { .. } => 11,
        Refusal::NotClosed { .. } => 12,
        Refusal::NotOpened { .. } => 13,
        Refusal::Interlock { .. } => 14,
        Refusal::OverlapTooLong => 15,
        Refusal::Table(_) => 16,
    }
}

/// One word for a kind of refusal.
pub fn refusal_word(refusal: Refusal) -> &'static str {
    REFUSALS[refusal_number(refusal)]
}

/// What was seen at least once.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sometimes {
    /// Steps whose lock was ordered.
    pub steps: Seen,
    /// Arrangements that stood.
    pub arrangements: Seen,
    /// Kinds of refusal that were stated, by their place in [`REFUSALS`].
    pub refusals: Seen,
    /// Reactions, by their place in [`Reaction::ALL`].
    pub reactions: Seen,
}

impl Sometimes {
    /// Take in another's.
    pub fn take(&mut self, other: &Sometimes) {
        self.steps.take(&other.steps);
        self.arrangements.take(&other.arrangements);
        self.refusals.take(&other.refusals);
        self.reactions.take(&other.reactions);
    }

    /// Look at a tick of the kernel.
    pub fn note(&mut self, tick: &KernelTick) {
        let state = tick.kernel.state();
        if let Phase::Closing { step } | Phase::Opening { step } = state.phase() {
            self.steps.put(usize::from(step));
        }
        if let Some(arrangement) = state.stands() {
            self.arrangements.put(usize::from(arrangement));
        }
        if let Some(refusal) = state.refusal() {
            self.refusals.put(refusal_number(refusal));
            if let Refusal::Interlock { .. } = refusal {
                self.reactions.put(Reaction::Denied as usize);
            }
        }
        let faults = state.locks().faults();
        for (reaction, is) in [
            (Reaction::StuckOpen, !faults.stuck_open.is_empty()),
            (Reaction::StuckClosed, !faults.stuck_closed.is_empty()),
            (Reaction::Switch, !faults.switch.is_empty()),
            (Reaction::Lost, !faults.lost.is_empty()),
            (Reaction::Retry, state.tries() > 0),
            (Reaction::OtherWay, state.way().is_some_and(|way| way > 0)),
            (Reaction::GaveUp, state.gave_up()),
            (Reaction::LetGo, !tick.ruling.let_go.is_empty()),
            (Reaction::Filled, !tick.filling.is_empty()),
            (Reaction::OverlapEnded, tick.released == Released::Overlap),
            (Reaction::EngineReleased, tick.released == Released::Engine),
        ] {
            if is {
                self.reactions.put(reaction as usize);
            }
        }
    }
}
