//! Which ticks the supervisor gets: all of them, unless a fault takes some.

use crate::drive::faults::{Injected, TimedFault};
use crate::plant::random::Random;

/// What separates this chance from the plant's, which starts from the same seed.
const STREAM: u64 = 0x7469_636b_7321_2121;

/// The calls of the supervisor over a run.
#[derive(Clone, Debug)]
pub(super) struct Calls {
    chance: Random,
    begun: bool,
    /// Ticks that it still misses.
    to_miss: u64,
}

impl Calls {
    /// For a run with this seed.
    pub(super) fn new(seed: u64) -> Calls {
        Calls { chance: Random::new(seed ^ STREAM), begun: false, to_miss: 0 }
    }

    /// What [`Calls::are_due`] does without a fault that takes ticks: the supervisor gets it.
    #[inline]
    pub(super) fn are_all_due(&mut self) -> bool {
        self.to_miss = 0;
        self.begun = true;
        true
    }

    /// Whether the supervisor gets the tick at `t_s`. It always gets the first of a run: before,
    /// there are no orders that could be held.
    pub(super) fn are_due(&mut self, faults: &[TimedFault], t_s: f64) -> bool {
        let mut missed = false;
        let mut most = None;
        for timed in faults.iter().filter(|f| f.is_present(t_s)) {
            match timed.fault {
                Injected::TickMissed => missed = true,
                Injected::TickJitter(ticks) => most = Some(u64::from(ticks)),
                _ => {}
            }
        }
        match most {
            None => self.to_miss = 0,
            Some(_) if self.to_miss > 0 => {
                self.to_miss -= 1;
                missed = true;
            }
            Some(most) => self.to_miss = self.chance.below(most + 1),
        }
        let due = !missed || !self.begun;
        self.begun = true;
        due
    }
}
