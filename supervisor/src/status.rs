//! What the supervisor says of itself: phase, refusal with its reason, faults.

use crate::bits::Bits;
use crate::check::TableFault;
use crate::table::Why;

/// Where the supervisor stands in its work.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Phase {
    /// After a reset: finding out the state of every lock.
    #[default]
    Wake,
    /// Every lock is known; nothing moves.
    Rest,
    /// Synchronising or unloading for a step; the guards have held for `ready` ticks.
    Prepare {
        /// The step.
        step: u16,
        /// Ticks for which its guards have held.
        ready: u16,
    },
    /// A lock has been ordered closed and is not yet shown closed.
    Closing {
        /// The step.
        step: u16,
    },
    /// A lock has been ordered open and is not yet shown open.
    Opening {
        /// The step.
        step: u16,
    },
    /// Waiting until every lock is known again.
    Settle,
}

impl Phase {
    /// Kind, step, and for how long the guards have held: how a phase is stored and sent.
    pub(crate) const fn numbers(self) -> (u8, u16, u16) {
        match self {
            Phase::Wake => (0, 0, 0),
            Phase::Rest => (1, 0, 0),
            Phase::Prepare { step, ready } => (2, step, ready),
            Phase::Closing { step } => (3, step, 0),
            Phase::Opening { step } => (4, step, 0),
            Phase::Settle => (5, 0, 0),
        }
    }
}

/// Why a request is not (or not yet) being fulfilled.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Refusal {
    /// No steps lead there from here.
    NoWay(Why),
    /// In the arrangement asked for, a shaft would leave its speed limits at this road speed.
    ArrangementSpeed {
        /// The arrangement.
        arrangement: u8,
    },
    /// A shaft would leave its speed limits at this road speed.
    RoadSpeed {
        /// The step that is refused.
        step: u16,
    },
    /// The machine would have to be brought to a speed beyond its limits.
    TargetSpeed {
        /// The step that is refused.
        step: u16,
    },
    /// The demand is larger than the machines can hand over.
    Torque {
        /// The step that is refused.
        step: u16,
    },
    /// The lock's plates are too hot.
    Hot {
        /// The lock.
        lock: u8,
    },
    /// The engine does not run.
    EngineNotRunning,
    /// A speed sensor is missing or contradicts the others.
    Sensors {
        /// The step that is refused.
        step: u16,
    },
    /// The output accelerates faster than wheels in grip can.
    NotCalm,
    /// A lock's switch and the speeds contradict each other.
    Switch {
        /// The lock.
        lock: u8,
    },
    /// The slip was not brought to zero in time, or did not stay there until the lock had closed.
    SyncTimeout {
        /// The lock.
        lock: u8,
    },
    /// The lock was not unloaded in time.
    UnloadTimeout {
        /// The lock.
        lock: u8,
    },
    /// The lock was ordered closed but not shown closed in time.
    NotClosed {
        /// The lock.
        lock: u8,
    },
    /// The lock was ordered open but not shown open in time.
    NotOpened {
        /// The lock.
        lock: u8,
    },
    /// The interlock denied the closing: a conflicting lock is not surely open.
    Interlock {
        /// The lock that was to close.
        lock: u8,
    },
    /// The table is not one that this supervisor can work with: nothing is closed.
    Table(TableFault),
    /// Two locks stayed closed together for longer than an overlap may last.
    OverlapTooLong,
}

/// Faults that are present now.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Faults {
    /// Locks that would not close, or whose closing was never shown: until the reset they are not tried again.
    pub stuck_open: Bits,
    /// Locks that would not open.
    pub stuck_closed: Bits,
    /// Locks whose switch contradicts the speeds.
    pub switch: Bits,
    /// Locks that opened or slipped by themselves since the last reset.
    pub lost: Bits,
    /// Sensors that are missing or that a parity relation speaks against.
    pub sensors: Bits,
    /// Sensors of shafts about to pass their limits, or of wheels that slip or move off unasked: no machine gives torque.
    pub racing: Bits,
}

/// What the supervisor reports every tick.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
// It is copied in every tick: by words, wherever it lies.
#[repr(align(4))]
pub struct Status {
    /// Locks shown closed.
    pub held: Bits,
    /// Locks that are not surely open.
    pub possibly_closed: Bits,
    /// The arrangement that stands, if one does.
    pub arrangement: Option<u8>,
    /// The request as accepted.
    pub goal: Option<u8>,
    /// Where the work stands.
    pub phase: Phase,
    /// Why the request is not being fulfilled.
    pub refusal: Option<Refusal>,
    /// Faults.
    pub faults: Faults,
}

impl Faults {
    /// Locks with any fault.
    pub const fn locks(&self) -> Bits {
        self.stuck_open.or(self.stuck_closed).or(self.switch).or(self.lost)
    }
}

impl Status {
    /// The phase without its counter: which step is in which part of its work.
    pub(crate) const fn phase_step(&self) -> (u8, u16) {
        match self.phase {
            Phase::Wake => (0, 0),
            Phase::Rest => (1, 0),
            Phase::Prepare { step, .. } => (2, step),
            Phase::Closing { step } => (3, step),
            Phase::Opening { step } => (4, step),
            Phase::Settle => (5, 0),
        }
    }
}
