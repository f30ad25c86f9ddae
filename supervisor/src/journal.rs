//! Event memory: the last events, for a debugger, a rig or a report to read out.

use heapless::Deque;

use crate::bits::Bits;
use crate::status::{Phase, Refusal, Status};

/// How many events are kept.
pub const JOURNAL_LENGTH: usize = 16;

/// Something worth remembering.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum EventKind {
    /// First tick after a reset.
    Reset,
    /// A request was accepted.
    Goal(Option<u8>),
    /// An arrangement stands.
    Arrived(u8),
    /// A step is being prepared.
    Preparing(u16),
    /// The step's lock has been ordered closed.
    Closing(u16),
    /// The step's lock has been ordered open.
    Opening(u16),
    /// A request is refused, or an attempt failed.
    Refused(Refusal),
    /// Locks newly stuck, lost or with a lying switch.
    LockFault(Bits),
    /// The interlock let these locks go to end a conflict.
    LetGo(Bits),
    /// Sensors newly missing or implausible.
    SensorFault(Bits),
}

/// An event and its tick, with what was held then (the freeze frame).
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Event {
    /// Ticks since the reset, wrapping.
    pub tick: u32,
    /// What happened.
    pub kind: EventKind,
    /// Locks shown closed at that tick.
    pub held: Bits,
}

/// The last events; the oldest is dropped when it is full. A queue for each part of an event: side by
/// side they would leave gaps.
#[derive(Clone, Debug, Default)]
pub struct Journal {
    ticks: Deque<u32, JOURNAL_LENGTH>,
    kinds: Deque<EventKind, JOURNAL_LENGTH>,
    held: Deque<Bits, JOURNAL_LENGTH>,
    dropped: u32,
}

impl Journal {
    /// Events from the oldest to the newest.
    pub fn iter(&self) -> impl Iterator<Item = Event> + '_ {
        let parts = self.ticks.iter().zip(&self.kinds).zip(&self.held);
        parts.map(|((&tick, &kind), &held)| Event { tick, kind, held })
    }

    /// How many events were dropped since the reset.
    pub const fn dropped(&self) -> u32 {
        self.dropped
    }

    #[cold]
    #[inline(never)]
    pub(crate) fn push(&mut self, event: Event) {
        if self.ticks.is_full() {
            let _ = (self.ticks.pop_front(), self.kinds.pop_front(), self.held.pop_front());
            self.dropped = self.dropped.saturating_add(1);
        }
        // There is room in each: they are as long as each other.
        let _ = self.ticks.push_back(event.tick);
        let _ = self.kinds.push_back(event.kind);
        let _ = self.held.push_back(event.held);
    }

    /// Remember what changed between two ticks.
    #[inline(never)]
    pub(crate) fn compare(&mut self, tick: u32, before: &Status, after: &Status) {
        let mut add = |kind| self.push(Event { tick, kind, held: after.held });
        if before.goal != after.goal {
            add(EventKind::Goal(after.goal));
        }
        if before.phase_step() != after.phase_step() {
            match after.phase {
                Phase::Prepare { step, .. } => add(EventKind::Preparing(step)),
                Phase::Closing { step } => add(EventKind::Closing(step)),
                Phase::Opening { step } => add(EventKind::Opening(step)),
                Phase::Wake | Phase::Rest | Phase::Settle => {}
            }
        }
        if let (true, Some(arrangement)) =
            (before.arrangement != after.arrangement, after.arrangement)
        {
            add(EventKind::Arrived(arrangement));
        }
        if let (true, Some(refusal)) = (before.refusal != after.refusal, after.refusal) {
            add(EventKind::Refused(refusal));
        }
        let locks = after.faults.locks().without(before.faults.locks());
        if !locks.is_empty() {
            add(EventKind::LockFault(locks));
        }
        let sensors = after.faults.sensors.without(before.faults.sensors);
        if !sensors.is_empty() {
            add(EventKind::SensorFault(sensors));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::status::Faults;
    use std::vec::Vec;

    fn kinds(journal: &Journal) -> Vec<EventKind> {
        journal.iter().map(|e| e.kind).collect()
    }

    /// What changes in one tick comes in a fixed order, each with the tick and what was held.
    #[test]
    fn order_and_freeze_frame() {
        let mut journal = Journal::default();
        let before = Status::default();
        let after = Status {
            held: Bits(5),
            arrangement: Some(2),
            goal: Some(2),
            phase: Phase::Closing { step: 7 },
            refusal: Some(Refusal::NotCalm),
            faults: Faults { lost: Bits(1), sensors: Bits(2), ..Faults::default() },
            ..before
        };
        journal.compare(9, &before, &after);
        let want = [
            EventKind::Goal(Some(2)),
            EventKind::Closing(7),
            EventKind::Arrived(2),
            EventKind::Refused(Refusal::NotCalm),
            EventKind::LockFault(Bits(1)),
            EventKind::SensorFault(Bits(2)),
        ];
        assert_eq!(kinds(&journal), want);
        assert!(journal.iter().all(|e| e.tick == 9 && e.held == Bits(5)));
        journal.compare(10, &after, &after);
        assert_eq!(journal.iter().count(), want.len(), "no change, no event");
        journal.compare(11, &after, &before);
        assert_eq!(kinds(&journal)[want.len()..], [EventKind::Goal(None)], "an end is no event");
    }

    /// Full: the oldest goes, the newest stays, and the loss is counted.
    #[test]
    fn overflow_drops_the_oldest() {
        let mut journal = Journal::default();
        let many = JOURNAL_LENGTH as u32 + 5;
        for tick in 0..many {
            journal.push(Event { tick, kind: EventKind::Reset, held: Bits::EMPTY });
        }
        let ticks: Vec<u32> = journal.iter().map(|e| e.tick).collect();
        assert_eq!(ticks, (5..many).collect::<Vec<u32>>());
        assert_eq!(journal.dropped(), 5);
    }
}
